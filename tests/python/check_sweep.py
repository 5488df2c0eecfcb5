"""A sweep on a scheduler and two workers on loopback, in separate folders: a short form of
`cluster/trial.py`, and the spread design against an independent library.

    venv/bin/python tests/python/check_sweep.py target/release/thumbworn

Makes an environment of its own from `cluster/requirements.txt` in `target/venv-cluster`.
"""

import csv
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy.stats import qmc

ROOT = Path(__file__).resolve().parents[2]
CHECKS = 0


def check(what, good):
    global CHECKS
    CHECKS += 1
    if not good:
        sys.exit(f"FAILED: {what}")
    print(f"ok  {what}", flush=True)


def spread(program, folder):
    """The points of a spread design are Halton's, moved round by one shift for each axis."""
    sys.path.insert(0, str(ROOT / "cluster"))
    import trial_files

    (folder / "block.stl").write_bytes(trial_files.block([8, 6, 10]))
    (folder / "tin.toml").write_text(trial_files.RUB)
    (folder / "spread.toml").write_text(trial_files.SPREAD)
    for command in (["plan", "spread.toml", "-o", "s", "--no-pilot"], ["run", "s"], ["merge", "s"]):
        subprocess.run([program, "--quiet", "sweep", *command], cwd=folder, check=True, stdout=subprocess.DEVNULL)
    rows = list(csv.DictReader((folder / "s/sweep.csv").open()))
    ours = np.array([[(float(r["stroke_mm"]) - 20) / 60, (float(r["tilt_deg"]) - 2) / 8] for r in rows])
    halton = qmc.Halton(d=2, scramble=False).random(len(rows))
    shift = (ours - halton) % 1.0
    check("spread: Halton's points, moved round", np.ptp(np.exp(2j * np.pi * shift), axis=0).real.max() < 1e-9)
    check("spread: more even than chance", qmc.discrepancy(ours) < 0.3 / len(rows))
    life = np.array([float(r["median"]) for r in rows])
    stroke = ours[:, 0] * 60 + 20
    check("spread: life against stroke has slope -1", abs(np.polyfit(np.log(stroke), np.log(life), 1)[0] + 1) < 0.2)
    findings = json.loads((folder / "s/sweep.json").read_text())
    check("spread: answers for programs", findings["findings"]["parts"] == len(rows))


def cluster(program):
    venv = ROOT / "target/venv-cluster"
    python = venv / "bin/python"
    subprocess.run([sys.executable, "-m", "venv", venv], check=True)
    subprocess.run(
        [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r", ROOT / "cluster/requirements.txt"],
        check=True,
    )
    done = subprocess.run([python, ROOT / "cluster/trial.py", program, "--side", "5", "--silent", "5s"], timeout=600)
    check("cluster: all stories end with the bytes of one process", done.returncode == 0)


def main(program):
    program = str(Path(program).resolve())
    with tempfile.TemporaryDirectory() as folder:
        spread(program, Path(folder))
    cluster(program)
    print(f"{CHECKS} passed")


main(sys.argv[1] if len(sys.argv) > 1 else "target/release/thumbworn")
