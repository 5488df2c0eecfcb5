"""Carries out the parts of a sweep on several machines with Dask (PyPI `distributed`).

    python thumbworn_cluster.py scheduler --port 8786
    python thumbworn_cluster.py worker tcp://HOST:8786 --folder SCRATCH      (on every machine)
    python thumbworn_cluster.py run DIR tcp://HOST:8786 --program thumbworn

DIR is a folder made by `thumbworn sweep plan`. The program, the scenario and the figures travel to
every worker; the bytes of each part come back and are written into DIR/parts, so no shared folder
is needed. Afterwards: `thumbworn sweep merge DIR`. Interrupted or killed, the same command goes on.

Workers run whatever a client sends them: listen only on networks you trust. Without --host,
everything listens on this machine alone.
"""

import argparse
import asyncio
import hashlib
import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import dask
from distributed import Client, Scheduler, Worker, WorkerPlugin, as_completed, get_worker

# A worker that is silent this long is given up and its parts go to others. Dask's own 5 minutes
# are long for parts of seconds; a worker sends a heartbeat twice a second.
SILENT = "30s"
SETTINGS = {
    "distributed.scheduler.worker-ttl": SILENT,
    # A part that was on a worker when it died is not to blame: never give a part up for that.
    "distributed.scheduler.allowed-failures": 1_000_000,
    "distributed.scheduler.work-stealing": False,
    "distributed.comm.timeouts.connect": "15s",
    "distributed.comm.timeouts.tcp": "30s",
    "distributed.worker.memory.pause": False,
    "distributed.worker.memory.terminate": False,
    "distributed.admin.low-level-log-length": 100,
}
# Parts handed out at a time: enough to keep many workers busy, few enough for a small scheduler.
WINDOW = 256
# A part that fails this often by no fault of its own is told.
ATTEMPTS = 5


# ---- on the worker -----------------------------------------------------------------------------


class PartFailed(Exception):
    """The program refused a part: doing it again would not help."""


class Parcel(WorkerPlugin):
    """The program and the plan's folder, unpacked on every worker before it takes parts.

    A plugin, not scattered data: scattered data is lost with the workers that hold it, and every
    part that needs it is then cancelled. The scheduler gives a plugin to each worker that comes.
    """

    def __init__(self, label, program, files):
        self.name = label
        self.program, self.files = program, files

    def setup(self, worker):
        self.folder = Path(worker.local_directory) / self.name
        self.idle, self.all, self.lock = queue.SimpleQueue(), [], threading.Lock()
        for name, content in {**self.files, "thumbworn-program": self.program}.items():
            to = self.folder / name
            if to.is_file() and to.read_bytes() == content:
                continue
            write_whole(to, content)
        self.exe = self.folder / "thumbworn-program"
        self.exe.chmod(0o755)
        self.program = self.files = None

    def teardown(self, worker):
        with self.lock:
            for child in self.all:
                child.kill()

    def child(self):
        """A running program that takes numbers and gives parts; it ends with this worker, because
        its standard input ends then."""
        while True:
            try:
                child = self.idle.get_nowait()
            except queue.Empty:
                break
            if child.poll() is None:
                return child
        log = (self.folder / f"program-{threading.get_ident()}.log").open("wb")
        child = subprocess.Popen(
            [str(self.exe), "--quiet", "sweep", "part", str(self.folder), "--serve"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, env={**os.environ, "NO_COLOR": "1"},
        )
        child.log = log.name
        with self.lock:
            self.all = [c for c in self.all if c.poll() is None] + [child]
        return child

    def part(self, k, deadline):
        child = self.child()
        timer = threading.Timer(deadline, child.kill)
        timer.daemon = True
        timer.start()
        try:
            try:
                child.stdin.write(b"%d\n" % k)
                child.stdin.flush()
            except BrokenPipeError:
                pass  # what it said is told below
            head = child.stdout.readline().split()
            if len(head) != 3:
                child.kill()
                child.wait()
                said = Path(child.log).read_text(errors="replace")[-2000:].strip()
                # A refusal at the start (another program, another version) stays a refusal.
                kind = PartFailed if said.startswith("error") else RuntimeError
                raise kind(f"the program ended: {said or 'killed'}")
            content = child.stdout.read(int(head[2]))
        finally:
            timer.cancel()
        if len(content) != int(head[2]):
            child.kill()
            raise RuntimeError("the program was killed while it gave a part")
        self.idle.put(child)
        if head[0] == b"error":
            raise PartFailed(content.decode(errors="replace"))
        return content


def work(label, k, deadline):
    return get_worker().plugins[label].part(k, deadline)


# ---- on the client -----------------------------------------------------------------------------


def write_whole(path, content):
    """The file is there whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".part-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise


def part_path(folder, k):
    return folder / "parts" / f"{k // 1000:06d}" / f"{k:09d}.part"


def is_whole(content):
    """A part is one line and the SHA-256 of that line."""
    line, _, rest = content.partition(b"\n")
    return rest == hashlib.sha256(line).hexdigest().encode() + b"\n"


class Sweep:
    def __init__(self, folder, program):
        self.folder = Path(folder)
        plan = (self.folder / "plan.json").read_bytes()
        self.parts = json.loads(plan)["parts"]
        self.files = {"plan.json": plan}
        for path in sorted((self.folder / "inputs").iterdir()):
            self.files[f"inputs/{path.name}"] = path.read_bytes()
        self.program = Path(program).read_bytes()
        content = hashlib.sha256(plan)
        content.update(self.program)
        self.label = "sweep-" + content.hexdigest()[:16]

    def parcel(self):
        return Parcel(self.label, self.program, self.files)

    def missing(self):
        def there(k):
            try:
                return is_whole(part_path(self.folder, k).read_bytes())
            except FileNotFoundError:
                return False

        return [k for k in range(self.parts) if not there(k)]


class Lost(Exception):
    """The scheduler is gone, or forgot what it was asked."""


class Progress:
    def __init__(self, parts, missing):
        self.parts, self.left, self.began = parts, missing, time.monotonic()
        self.done, self.said, self.seconds = 0, 0.0, []

    def took(self):
        self.done += 1
        now = time.monotonic()
        if now - self.said >= 5 or self.done == self.left:
            self.said = now
            rate = (now - self.began) / self.done
            rest = (self.left - self.done) * rate
            say(f"{self.parts - self.left + self.done} of {self.parts} parts, about {rest:.0f} s left")


def say(text):
    print(text, file=sys.stderr, flush=True)


def feed(client, sweep, deadline, failures, progress):
    """Hands out the missing parts, a window at a time, and writes what comes back."""
    client.register_plugin(sweep.parcel(), name=sweep.label)
    waiting = iter([k for k in sweep.missing() if k not in failures])
    attempts = {}
    flying = as_completed(loop=client.loop, with_results=False)

    def hand_out(k):
        # A new name for every attempt: a name that was cancelled or failed would give the old answer.
        attempts[k] = attempts.get(k, 0) + 1
        name = f"{sweep.label}-{k}-{attempts[k]}-{time.time_ns():x}"
        future = client.submit(work, sweep.label, k, deadline, key=name, pure=False)
        future.part = k
        flying.add(future)

    for k in (k for k, _ in zip(waiting, range(WINDOW))):
        hand_out(k)
    for future in flying:
        k = future.part
        if future.status == "finished":
            try:
                content = future.result(timeout=60)
            except Exception as error:
                # The worker died between finishing and giving the bytes, or the connection did.
                raise Lost(str(error)) from error
            if not is_whole(content):
                raise SystemExit(f"part {k} came back damaged")
            write_whole(part_path(sweep.folder, k), content)
            progress.took()
            following = next(waiting, None)
            if following is not None:
                hand_out(following)
        elif future.status == "error":
            error = future.exception()
            if isinstance(error, PartFailed) or attempts[k] >= ATTEMPTS:
                failures[k] = str(error)
                following = next(waiting, None)
                if following is not None:
                    hand_out(following)
            else:
                say(f"part {k} is tried again: {error}")
                hand_out(k)
        else:
            raise Lost(f"part {k} was {future.status}")
        future.release()


def run(args):
    # By value, so that plain `dask worker` processes without this file can be used too.
    import cloudpickle

    cloudpickle.register_pickle_by_value(sys.modules[__name__])
    sweep = Sweep(args.folder, args.program)
    # The program says itself whether it is the one that made the plan.
    asked = subprocess.run(
        [os.path.abspath(args.program), "--quiet", "sweep", "part", args.folder, "--serve"],
        stdin=subprocess.DEVNULL, capture_output=True, text=True,
    )
    if asked.returncode:
        raise SystemExit(asked.stderr.strip())
    missing, failures = sweep.missing(), {}
    say(f"{sweep.parts} parts, {len(missing)} missing")
    progress = Progress(sweep.parts, len(missing))
    last_gain, before = time.monotonic(), progress.done
    while [k for k in sweep.missing() if k not in failures]:
        try:
            with Client(args.scheduler, timeout="10s", set_as_default=False) as client:
                feed(client, sweep, args.deadline, failures, progress)
        except (Lost, OSError, TimeoutError, asyncio.TimeoutError, asyncio.CancelledError, RuntimeError) as error:
            say(f"connection to the scheduler lost, trying again: {type(error).__name__} {error}")
            if progress.done > before:
                last_gain, before = time.monotonic(), progress.done
            if time.monotonic() - last_gain > args.patience:
                raise SystemExit(f"nothing came for {args.patience:.0f} s; run the same command again to go on")
            time.sleep(1)
    for k, said in sorted(failures.items())[:5]:
        say(f"part {k} failed: {said}")
    if failures:
        raise SystemExit(f"{len(failures)} parts failed; all others are there")
    print(f"all {sweep.parts} parts are there\nnext: thumbworn sweep merge {sweep.folder}")


# ---- scheduler and worker ----------------------------------------------------------------------


async def until_stopped(make, again):
    """Runs a server until a signal; a worker starts again when its scheduler is gone or gave it up."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for name in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(name, stop.set)
    while not stop.is_set():
        try:
            async with make() as server:
                ended = asyncio.ensure_future(server.finished())
                stopped = asyncio.ensure_future(stop.wait())
                await asyncio.wait({ended, stopped}, return_when=asyncio.FIRST_COMPLETED)
        except Exception as error:
            if not again:
                raise
            say(f"worker: {type(error).__name__}: {error}")
        if not again:
            return
        if not stop.is_set():
            say("worker: looking for the scheduler again")
            await asyncio.sleep(1)


def scheduler(args):
    asyncio.run(until_stopped(lambda: Scheduler(host=args.host, port=args.port, dashboard=False), again=False))


def worker(args):
    Path(args.folder).mkdir(parents=True, exist_ok=True)

    def make():
        return Worker(
            args.scheduler, nthreads=args.threads, name=args.name, host=args.host, port=args.port,
            contact_address=args.contact, local_directory=args.folder, memory_limit=0,
            dashboard=False, death_timeout=20, heartbeat_interval="500ms",
        )

    asyncio.run(until_stopped(make, again=True))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    one = commands.add_parser("scheduler", help="hands out parts", epilog="example: thumbworn_cluster.py scheduler --port 8786")
    one.add_argument("--host", default="127.0.0.1")
    one.add_argument("--port", type=int, default=8786)
    one.add_argument("--silent", default=SILENT, help="silence after which a worker is given up")
    one.set_defaults(do=scheduler)
    one = commands.add_parser("worker", help="computes parts", epilog="example: thumbworn_cluster.py worker tcp://127.0.0.1:8786 --folder scratch")
    one.add_argument("scheduler")
    one.add_argument("--folder", required=True, help="scratch folder of this worker")
    one.add_argument("--threads", type=int, default=os.cpu_count(), help="parts at a time")
    one.add_argument("--name", default=None)
    one.add_argument("--host", default="127.0.0.1")
    one.add_argument("--port", type=int, default=0)
    one.add_argument("--contact", default=None, help="address others reach this worker at")
    one.set_defaults(do=worker)
    one = commands.add_parser("run", help="carries out a sweep", epilog="example: thumbworn_cluster.py run results/sweep tcp://127.0.0.1:8786 --program target/release/thumbworn")
    one.add_argument("folder")
    one.add_argument("scheduler")
    one.add_argument("--program", required=True, help="the program that made the plan")
    one.add_argument("--deadline", type=float, default=3600.0, help="seconds after which a part counts as hung")
    one.add_argument("--patience", type=float, default=600.0, help="seconds without any part before giving up")
    one.set_defaults(do=run)
    args = parser.parse_args()
    dask.config.set(SETTINGS)
    dask.config.set({"distributed.scheduler.worker-ttl": getattr(args, "silent", SILENT)})
    args.do(args)


if __name__ == "__main__":
    # Under its own name, so that what is sent to workers is not "__main__".
    import thumbworn_cluster

    thumbworn_cluster.main()
