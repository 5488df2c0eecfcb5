"""A run killed at random moments, a full disk, a vanished folder, two runs in one folder.

Called with the program. Needs nothing but Python. Prints "N passed, N failed".
"""

import json
import os
import random
import resource
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PROGRAM = str(Path(sys.argv[1]).resolve())
# 50 is the full trial; the everyday run takes fewer
KILLS = int(os.environ.get("KILLS", "12"))
passed = failed = 0

SCENARIO = """
title = "A block, interrupted"
seed = 3
precision_pct = 90
[figure]
file = "block.stl"
patch_mm = 2.5
[[specimen]]
name = "metal"
body = "tin pewter"
coats = ["acrylic primer, aerosol", "acrylic paint, brush", "satin topcoat, aerosol"]
[[exposure]]
name = "wipe"
kind = "rub"
pad = { like = "soft foam", thickness_mm = 15 }
load = "own weight"
strokes = 10
stroke_mm = 50
faces = ["top"]
[[exposure]]
name = "drop"
kind = "drop"
drops = 5
height_mm = 300
floor = "wood"
restitution = 0.4
[[whatif]]
vary = "topcoat.friction"
over = [0.3, 0.6]
steps = 2
exposure = "wipe"
"""


def told(name, good, detail=""):
    global passed, failed
    passed, failed = (passed + 1, failed) if good else (passed, failed + 1)
    print(f"{'ok  ' if good else 'FAIL'} {name} {detail if not good else ''}", flush=True)


def block(path, half=(8.0, 6.0, 10.0)):
    """A closed box as binary STL."""
    corner = [[(i >> k & 1) * 2 - 1 for k in range(3)] for i in range(8)]
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    data = b"\0" * 80 + struct.pack("<I", 12)
    for a, b, c, d in quads:
        for face in ((a, b, c), (a, c, d)):
            data += b"\0" * 12
            for v in face:
                data += struct.pack("<3f", *(corner[v][k] * half[k] for k in range(3)))
            data += b"\0\0"
    path.write_bytes(data)


def run(home, out, **how):
    return subprocess.run(
        [PROGRAM, "run", "s.toml", "-o", str(out)], cwd=home, capture_output=True, text=True, timeout=300, **how
    )


def files(folder):
    return {
        str(p.relative_to(folder)): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.name != "in-use"
    }


def broken(folder):
    """Files with a final name that are not whole. Temporary names may be left by a kill."""
    bad = []
    for name, data in files(folder).items():
        whole = True
        if name.endswith(".json"):
            try:
                json.loads(data)
            except ValueError:
                whole = False
        elif name.endswith(".csv"):
            whole = data.endswith(b"\n")
        elif name.endswith(".html"):
            whole = data.rstrip().endswith(b"</html>")
        elif name.endswith(".png"):
            whole = data.startswith(b"\x89PNG") and b"IEND" in data[-16:]
        elif name.endswith(".glb"):
            whole = len(data) >= 12 and struct.unpack("<I", data[8:12])[0] == len(data)
        if not whole:
            bad.append(name)
    return bad


def kills(home, expected, seconds):
    rng = random.Random(11)
    wrong, caught = [], 0
    for n in range(KILLS):
        out = home / f"killed-{n}"
        child = subprocess.Popen(
            [PROGRAM, "run", "s.toml", "-o", out.name], cwd=home, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(rng.uniform(0.0, 1.05) * seconds)
        if child.poll() is None:
            caught += 1
        child.send_signal(signal.SIGKILL)
        child.wait()
        if out.exists() and broken(out):
            wrong.append(f"{n}: broken {broken(out)}")
        again = run(home, out.name)
        if again.returncode != 0:
            wrong.append(f"{n}: exit {again.returncode}: {again.stderr[-300:]}")
        else:
            now = files(out)
            differs = [k for k in expected if now.get(k) != expected[k]]
            if differs:
                wrong.append(f"{n}: differs {differs}")
        shutil.rmtree(out, ignore_errors=True)
    told(f"killed at {KILLS} random moments ({caught} while at work), resumes to the same bytes", not wrong, wrong[:3])
    told("most kills fell while it was at work", caught >= KILLS // 2, caught)


def full_disk(home, expected):
    """A limit on file size acts like a disk that is full: writes fail half way."""
    out = home / "earlier"
    assert run(home, out.name).returncode == 0
    before = files(out)
    text = (home / "s.toml").read_text()
    (home / "s.toml").write_text(text.replace("seed = 3", "seed = 4"))

    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (9000, 9000))

    done = run(home, out.name, preexec_fn=limit)
    (home / "s.toml").write_text(text)
    told("a full disk is an error with exit 1 or 2", done.returncode in (1, 2), done.stderr[-300:])
    told("it names the file and what failed", "earlier" in done.stderr and "too large" in done.stderr.lower(), done.stderr[-300:])
    told("it does not panic", "panicked" not in done.stderr, done.stderr[-300:])
    told("no broken file after a full disk", not broken(out), broken(out))
    kept = [k for k in before if len(before[k]) > 9000 and not k.startswith("parts") and files(out).get(k) != before[k]]
    told("earlier large results are intact", not kept, kept)
    again = run(home, out.name)
    same = {k for k in expected if files(out).get(k) == expected[k]}
    told("with room again it comes back to the same bytes", again.returncode == 0 and same == set(expected))


def small_disk(home):
    """A real full disk where this machine lets us mount one."""
    disk = home / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=200k", "tmpfs", str(disk)], capture_output=True)
    if mounted.returncode != 0:
        print("a small disk cannot be mounted here: the size limit above stands for it")
        return
    try:
        done = run(home, disk / "out")
        told("a really full disk is an error", done.returncode in (1, 2) and "panicked" not in done.stderr, done.stderr[-300:])
        told("nothing broken on it", not broken(disk), broken(disk))
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def vanishing(home, seconds):
    out = home / "gone"
    child = subprocess.Popen(
        [PROGRAM, "run", "s.toml", "-o", out.name], cwd=home, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    time.sleep(0.4 * seconds)
    shutil.rmtree(out, ignore_errors=True)
    try:
        _, error = child.communicate(timeout=120)
    except subprocess.TimeoutExpired:
        child.kill()
        told("a vanished folder ends the run", False, "hangs")
        return
    good = child.returncode in (0, 1, 2) and "panicked" not in error
    told("a vanished folder is told, or made anew", good, error[-300:])
    told("what it left is whole", not out.exists() or not broken(out))


def together(home, seconds):
    out = home / "shared"
    first = subprocess.Popen(
        [PROGRAM, "run", "s.toml", "-o", out.name], cwd=home, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    deadline = time.time() + 10
    while not list(out.rglob("in-use")) and time.time() < deadline:
        time.sleep(0.005)
    second = run(home, out.name)
    first.wait()
    if first.returncode == 0 and second.returncode == 0:
        told("two runs in one folder: the second is told", False, "both went through")
    else:
        told("two runs in one folder: the second is told", second.returncode in (1, 2) and "another run is using" in second.stderr, second.stderr[-300:])


def clock(home, expected):
    """No result depends on the wall clock: another date and time zone, same bytes."""
    out = home / "elsewhere"
    env = dict(os.environ, TZ="Pacific/Kiritimati", SOURCE_DATE_EPOCH="0")
    done = run(home, out.name, env=env)
    for path in out.rglob("*"):
        os.utime(path, (0, 0))
    again = run(home, out.name, env=env)
    now = files(out)
    told(
        "clock and time zone do not matter, nor do the dates of files",
        done.returncode == 0 and again.returncode == 0 and all(now.get(k) == v for k, v in expected.items()),
    )


def main():
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        block(home / "block.stl")
        (home / "s.toml").write_text(SCENARIO)
        start = time.time()
        done = run(home, "whole")
        seconds = time.time() - start
        told("the whole run", done.returncode == 0, done.stderr[-300:])
        every = files(home / "whole")
        expected = {k: v for k, v in every.items() if not k.startswith(("parts", ".")) and "report" not in k or k == "report.html"}
        told("there is a report to compare", "report.html" in expected and "patches.csv" in expected, list(every))
        print(f"one run takes {seconds:.2f} s and leaves {len(every)} files")
        kills(home, expected, seconds)
        full_disk(home, expected)
        small_disk(home)
        vanishing(home, seconds)
        together(home, seconds)
        clock(home, expected)
    print(f"{passed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


main()
