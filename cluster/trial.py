"""Shows that a sweep on a cluster survives what machines do, with the bytes of one process.

    python cluster/trial.py target/release/thumbworn                    (400 parts, about a quarter of an hour)
    python cluster/trial.py target/release/thumbworn --side 6           (36 parts)
    python cluster/trial.py target/release/thumbworn --efficiency       (parts of about 2 s: busy share of two workers)

A scheduler and two workers on loopback, in folders of their own; what they share goes through the
scheduler. Every connection of the second worker runs through a relay that can be cut.
"""

import argparse
import asyncio
import json
import os
import shutil
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
CLUSTER = HERE / "thumbworn_cluster.py"

SCENARIO = """
title = "A block in the hand"
seed = 3
[figure]
file = "block.stl"
patch_mm = {patch}
[[specimen]]
name = "metal"
body = "tin pewter"
coats = [{coats}]
[[exposure]]
name = "hands"
kind = "handle"
pick_ups = 100
skin = "clean skin"
"""

SWEEP = """
title = "Slips and margins"
scenario = "hands.toml"
[reading]
what = "{what}"
draws = 50
[[axis]]
name = "slip"
key = "exposure.hands.slip_mm"
from = 1
to = 9
steps = {side}
[[axis]]
name = "margin"
key = "exposure.hands.margin"
from = 1.2
to = 3
steps = {side}
"""


# Parts of a tenth of a second, to show what happens; parts of two seconds, to measure.
CHEAP = {"patch": 3, "coats": '"acrylic paint, brush"', "what": "friction work"}
COSTLY = {
    "patch": 0.2,
    "coats": '"acrylic primer, aerosol", "acrylic paint, brush", "satin topcoat, aerosol"',
    "what": "paint through",
}


def block(half):
    """A closed block as binary STL."""
    corners = [[(-1) ** (n >> a & 1) * half[a] * -1 for a in range(3)] for n in range(8)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    data = b""
    for a, b, c, d in faces:
        for three in ((a, b, c), (a, c, d)):
            data += bytes(12) + b"".join(struct.pack("<3f", *corners[n]) for n in three) + bytes(2)
    return bytes(80) + struct.pack("<I", 12) + data


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Relay:
    """Carries bytes between two ports of loopback; while it is cut nothing passes, as with a pulled
    cable: neither side is told."""

    def __init__(self, target):
        self.port, self.target = free_port(), target
        self.open = threading.Event()
        self.open.set()
        threading.Thread(target=lambda: asyncio.run(self.serve()), daemon=True).start()

    async def serve(self):
        async with await asyncio.start_server(self.connect, "127.0.0.1", self.port) as server:
            await server.serve_forever()

    async def connect(self, reader, writer):
        await self.wait()
        try:
            there = await asyncio.open_connection("127.0.0.1", self.target)
        except OSError:
            writer.close()
            return
        await asyncio.gather(self.pump(reader, there[1]), self.pump(there[0], writer))

    async def wait(self):
        while not self.open.is_set():
            await asyncio.sleep(0.05)

    async def pump(self, reader, writer):
        try:
            while data := await reader.read(1 << 16):
                await self.wait()
                writer.write(data)
                await writer.drain()
        except OSError:
            pass
        await self.wait()
        writer.close()


class Site:
    """Scheduler, two workers and a client, each a process of its own."""

    def __init__(self, folder, program, silent):
        self.folder, self.program, self.silent = folder, program, silent
        self.port = free_port()
        self.processes = {}
        self.relay_in = Relay(self.port)  # the second worker to the scheduler
        self.worker_port = free_port()
        self.relay_out = Relay(self.worker_port)  # scheduler and client to the second worker

    def start(self, name, *args):
        log = (self.folder / f"{name}.log").open("ab")
        self.processes[name] = subprocess.Popen([sys.executable, CLUSTER, *map(str, args)], stdout=log, stderr=log)

    def scheduler(self):
        self.start("scheduler", "scheduler", "--port", self.port, "--silent", self.silent)

    def worker(self, n):
        common = ["--folder", self.folder / f"scratch{n}", "--threads", 1, "--name", f"w{n}-{time.time_ns()}"]
        if n == 1:
            self.start("worker1", "worker", f"tcp://127.0.0.1:{self.port}", *common)
        else:
            self.start(
                "worker2", "worker", f"tcp://127.0.0.1:{self.relay_in.port}", *common,
                "--port", self.worker_port, "--contact", f"tcp://127.0.0.1:{self.relay_out.port}",
            )

    def client(self, sweep):
        self.start("client", "run", sweep, f"tcp://127.0.0.1:{self.port}", "--program", self.program)

    def send(self, name, what):
        os.kill(self.processes[name].pid, what)

    def kill(self, name):
        """The hardest way, and wait until it is gone."""
        self.processes[name].kill()
        self.processes[name].wait()

    def cut(self, cut):
        for relay in (self.relay_in, self.relay_out):
            relay.open.clear() if cut else relay.open.set()

    def end(self):
        self.cut(False)
        for process in self.processes.values():
            if process.poll() is None:
                process.send_signal(signal.SIGCONT)
                process.kill()
                process.wait()


def there(sweep):
    return sum(1 for _ in sweep.glob("parts/*/*.part"))


def wait_for(sweep, count, site):
    """Waits until that many parts are there."""
    while there(sweep) < count:
        if site.processes["client"].poll() is not None:
            raise SystemExit("the client ended early:\n" + (site.folder / "client.log").read_text())
        time.sleep(0.05)


# What befalls the site once a quarter of the parts are there.


def nothing(site, sweep):
    pass


def worker_killed(site, sweep):
    site.kill("worker2")


def worker_hung(site, sweep):
    site.send("worker2", signal.SIGSTOP)


def network_cut(site, sweep):
    site.cut(True)
    time.sleep(site.away)
    site.cut(False)


def scheduler_restarted(site, sweep):
    site.kill("scheduler")
    time.sleep(1)
    site.scheduler()


def client_killed(site, sweep):
    site.kill("client")
    site.client(sweep)


STORIES = [nothing, worker_killed, worker_hung, network_cut, scheduler_restarted, client_killed]


def output_of(*command):
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{command}: {done.stderr}")
    return done.stdout


def merged(program, sweep):
    output_of(program, "sweep", "merge", sweep)
    return [(sweep / name).read_bytes() for name in ("sweep.csv", "sweep.json", "sweep.html")]


def planned(folder, program, side, cost):
    folder.mkdir(parents=True)
    (folder / "block.stl").write_bytes(block([8, 6, 10]))
    (folder / "hands.toml").write_text(SCENARIO.format(**cost))
    (folder / "sweep.toml").write_text(SWEEP.format(side=side, **cost))
    output_of(program, "sweep", "plan", folder / "sweep.toml", "-o", folder / "planned", "--no-pilot")
    return folder / "planned"


def carry_out(story, sweep, folder, program, silent, limit):
    """One sweep on a fresh site, with its story; gives the seconds it took."""
    folder.mkdir(parents=True)
    site = Site(folder, program, silent)
    site.away = 1.5 * float(silent.rstrip("s"))
    parts = json.loads((sweep / "plan.json").read_text())["parts"]
    try:
        site.scheduler()
        site.worker(1)
        site.worker(2)
        began = time.monotonic()
        site.client(sweep)
        wait_for(sweep, max(1, parts // 4), site)
        story(site, sweep)
        code = site.processes["client"].wait(timeout=limit)
        if code:
            raise SystemExit(f"{story.__name__}: the client gave {code}\n" + (folder / "client.log").read_text())
        return time.monotonic() - began
    finally:
        site.end()


def stranger(made, sweep, program):
    """A program file with one byte more is another one: refused before anything is handed out."""
    other = made / "other-program"
    other.write_bytes(program.read_bytes() + b"\n")
    other.chmod(0o755)
    command = [sys.executable, CLUSTER, "run", sweep, "tcp://127.0.0.1:1", "--program", other]
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True)
    if done.returncode == 0 or "not the one that made the plan" not in done.stderr:
        raise SystemExit(f"FAILED: another program was not refused: {done.stderr}")
    print("ok  another program refused", flush=True)


def trial(program, side=20, silent="30s", stories=STORIES, limit=3600):
    program = Path(program).resolve()
    passed = 0
    with tempfile.TemporaryDirectory() as made:
        made = Path(made)
        original = planned(made / "plan", program, side, CHEAP)
        alone = made / "alone"
        shutil.copytree(original, alone)
        began = time.monotonic()
        output_of(program, "sweep", "run", alone, "--jobs", 1)
        print(f"one process: {there(alone)} parts in {time.monotonic() - began:.1f} s", flush=True)
        expected = merged(program, alone)
        stranger(made, original, program)
        passed += 1
        for story in stories:
            sweep = made / story.__name__
            shutil.copytree(original, sweep)
            seconds = carry_out(story, sweep, made / f"site-{story.__name__}", program, silent, limit)
            if merged(program, sweep) != expected:
                raise SystemExit(f"FAILED: {story.__name__}: merged bytes differ")
            print(f"ok  {story.__name__.replace('_', ' ')}: {there(sweep)} parts, same bytes, {seconds:.1f} s", flush=True)
            passed += 1
    return passed


def efficiency(program, side, cost):
    """Two workers of one thread against one process of one thread."""
    program = Path(program).resolve()
    with tempfile.TemporaryDirectory() as made:
        made = Path(made)
        original = planned(made / "plan", program, side, cost)
        alone, both = made / "alone", made / "both"
        shutil.copytree(original, alone)
        shutil.copytree(original, both)
        load, before, began = os.getloadavg()[0], os.times(), time.monotonic()
        output_of(program, "sweep", "run", alone, "--jobs", 1)
        one = time.monotonic() - began
        cpu = os.times().children_user - before.children_user
        parts = there(alone)
        print(f"one process: {parts} parts, {one / parts:.2f} s and {cpu / parts:.2f} CPU s a part (load {load:.1f})", flush=True)
        seconds = carry_out(nothing, both, made / "site", program, "30s", 3600)
        came = sorted(file.stat().st_mtime for file in both.glob("parts/*/*.part"))
        print(f"two workers: {seconds:.1f} s, of which {came[-1] - came[1]:.1f} s from the second part to the last (load {os.getloadavg()[0]:.1f})")
        print(f"efficiency with start and end: {one / (2 * seconds):.3f}; from the second part on: {one * (parts - 2) / parts / (2 * (came[-1] - came[1])):.3f}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program")
    parser.add_argument("--side", type=int, default=20, help="values on each of two axes")
    parser.add_argument("--silent", default="30s", help="silence after which a worker is given up")
    parser.add_argument("--efficiency", action="store_true")
    args = parser.parse_args()
    if args.efficiency:
        efficiency(args.program, args.side, COSTLY)
    else:
        print(f"{trial(args.program, args.side, args.silent)} passed")
