"""A sweep on a scheduler and two workers on loopback, in separate folders: a short form of
`cluster/trial.py`, and the spread design against an independent library.

    venv/bin/python tests/python/check_sweep.py target/release/thumbworn

Makes an environment of its own from `cluster/requirements.txt` in `target/venv-cluster`.
"""

import csv
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy.stats import qmc

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "cluster"))
from trial import block  # noqa: E402

CHECKS = 0
WIPE = """
title = "A block on foam"
[figure]
file = "block.stl"
patch_mm = 1.5
[[specimen]]
name = "metal"
body = "tin pewter"
coats = ["acrylic primer, aerosol", "acrylic paint, brush", "satin topcoat, aerosol"]
[[exposure]]
name = "wipe"
kind = "rub"
pad = { like = "soft foam", thickness_mm = 15 }
load = "hand 1 N"
strokes = 10
stroke_mm = 50
faces = ["top"]
"""
SPREAD = """
title = "Strokes and tilts"
scenario = "wipe.toml"
seed = 9
design = "spread"
points = 40
[reading]
draws = 50
[[axis]]
name = "stroke"
key = "exposure.wipe.stroke_mm"
from = 20
to = 80
[[axis]]
name = "tilt"
key = "exposure.wipe.tilt_deg"
from = 2
to = 10
"""


def check(what, good):
    global CHECKS
    CHECKS += 1
    if not good:
        sys.exit(f"FAILED: {what}")
    print(f"ok  {what}", flush=True)


def spread(program, folder):
    """The points of a spread design are Halton's, moved round by one shift for each axis."""
    (folder / "block.stl").write_bytes(block([8, 6, 10]))
    (folder / "wipe.toml").write_text(WIPE)
    (folder / "spread.toml").write_text(SPREAD)
    for command in (["plan", "spread.toml", "-o", "s", "--no-pilot"], ["run", "s"], ["merge", "s"]):
        subprocess.run([program, "--quiet", "sweep", *command], cwd=folder, check=True, stdout=subprocess.DEVNULL)
    rows = list(csv.DictReader((folder / "s/sweep.csv").open()))
    ours = np.array([[(float(r["stroke_mm"]) - 20) / 60, (float(r["tilt_deg"]) - 2) / 8] for r in rows])
    halton = qmc.Halton(d=2, scramble=False).random(len(rows))
    shift = (ours - halton) % 1.0
    round_circle = np.exp(2j * np.pi * shift)
    check("spread: Halton's points, moved round", np.abs(round_circle - round_circle[0]).max() < 1e-9)
    check("spread: more even than chance", qmc.discrepancy(ours) < 0.3 / len(rows))
    life = np.array([float(r["median"]) for r in rows])
    stroke = ours[:, 0] * 60 + 20
    check("spread: life against stroke has slope -1", abs(np.polyfit(np.log(stroke), np.log(life), 1)[0] + 1) < 0.2)
    findings = json.loads((folder / "s/sweep.json").read_text())
    check("spread: answers for programs", findings["findings"]["parts"] == len(rows))


FULL = """
mount -t tmpfs -o size=64m tmpfs room && cp -r s/plan.json s/inputs room
head -c 66960000 /dev/zero > room/filler
"$0" sweep run room --jobs 2; echo "code $?" >&2
ls room/parts/*/*.part 2>/dev/null | wc -l
rm room/filler
"$0" --quiet sweep run room --jobs 2 && "$0" --quiet sweep merge room && cmp room/sweep.csv s/sweep.csv && echo whole
"""


def disk_full(program, folder):
    """A small disk of its own, in a namespace of its own; where that is not allowed, a limit on
    the size of a file."""
    (folder / "room").mkdir()
    alone = ["unshare", "-m"] if os.geteuid() == 0 else ["unshare", "-rm"]
    probe = subprocess.run([*alone, "mount", "-t", "tmpfs", "tmpfs", folder / "room"], capture_output=True)
    if probe.returncode == 0:
        done = subprocess.run([*alone, "sh", "-c", FULL, program], cwd=folder, capture_output=True, text=True)
        check("disk full: told, exit code 2", "code 2" in done.stderr and "free some disk space" in done.stderr)
        check("disk full: goes on once there is room, same bytes", done.stdout.split()[-1:] == ["whole"])
        return
    shutil.copytree(folder / "s", folder / "room", dirs_exist_ok=True)
    shutil.rmtree(folder / "room/parts")
    shutil.rmtree(folder / "room/shared")
    limited = 'trap "" XFSZ; ulimit -f 2; exec "$0" sweep run room'
    done = subprocess.run(["sh", "-c", limited, program], cwd=folder, capture_output=True, text=True)
    check("file limit: told, exit code 2", done.returncode == 2 and "finished parts are kept" in done.stderr)
    done = subprocess.run([program, "--quiet", "sweep", "run", "room"], cwd=folder)
    check("file limit: goes on without it", done.returncode == 0)


def cluster(program):
    venv = ROOT / "target/venv-cluster"
    python = venv / "bin/python"
    subprocess.run([sys.executable, "-m", "venv", venv], check=True)
    subprocess.run(
        [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r", ROOT / "cluster/requirements.txt"],
        check=True,
    )
    done = subprocess.run([python, ROOT / "cluster/trial.py", program, "--side", "4", "--silent", "5s"], timeout=600)
    check("cluster: all stories end with the bytes of one process", done.returncode == 0)


def main(program):
    program = str(Path(program).resolve())
    with tempfile.TemporaryDirectory() as folder:
        spread(program, Path(folder))
        disk_full(program, Path(folder))
    cluster(program)
    print(f"{CHECKS} passed")


main(sys.argv[1] if len(sys.argv) > 1 else "target/release/thumbworn")
