"""Tumble dose per hull corner against an independent physics engine (MuJoCo, from PyPI).

Same hull, mass, box, shake and friction in both. The other engine has soft contacts: its
damping ratio is TUNED on a dropped ball to a restitution near 0.3, and the value still depends on
step and speed, so the level of power is no independent agreement. Not tuned: the ranks of corners,
and metal against plastic.

usage: check_tumble_dose.py PROGRAM [seconds per seed]      (PROGRAM is not used; the example is)
Prints "N passed, N failed".
"""
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import mujoco
import numpy as np
from scipy.stats import spearmanr

AMPLITUDE = np.array([0.030, 0.025, 0.020])
OMEGA = 2 * np.pi * np.array([3.0, 3.71, 4.43])
HALF = [0.1, 0.075, 0.05]
STEP, TIME_CONSTANT, DAMPING = 1 / 4000, 0.001, 0.5
MU = 0.3


def ours(seconds, seed, density=7300.0, engine="exact"):
    root = os.path.join(os.path.dirname(__file__), "..", "..")
    command = os.environ.get("HULL_DOSE", "")
    command = [command] if command else ["cargo", "run", "--release", "-q", "--example", "hull_dose", "--"]
    out = subprocess.run(command + [str(seconds), str(seed), str(density), engine],
                         capture_output=True, text=True, check=True, cwd=root).stdout.splitlines()
    table = np.array([[float(x) for x in line.split()] for line in out[1:]])
    return table[:, :3], table[:, 3:], float(out[0].split()[0])


def model(corners, density, ball=False):
    """Planes cannot move here: the box stands still and gravity carries minus its acceleration."""
    planes = ""
    for axis in range(3):
        for side in (-1, 1):
            p, z, x = np.zeros(3), np.zeros(3), np.zeros(3)
            p[axis], z[axis], x[(axis + 1) % 3] = side * HALF[axis], -side, 1
            y = np.cross(z, x)
            planes += '<geom type="plane" size="1 1 .1" pos="%g %g %g" xyaxes="%g %g %g %g %g %g" friction="%g 0 0"/>' % (*p, *x, *y, MU)
    if ball:
        body = '<geom type="sphere" size=".005" density="%g" friction="%g 0 0"/>' % (density, MU)
    else:
        body = '<geom type="mesh" mesh="h" density="%g" friction="%g 0 0"/>' % (density, MU)
    points = " ".join("%.12g" % c for c in corners.ravel())
    return mujoco.MjModel.from_xml_string(f'''<mujoco>
      <option timestep="{STEP}" cone="elliptic" impratio="10" integrator="Euler" gravity="0 0 -9.81"/>
      <default><geom condim="3" solref="{TIME_CONSTANT} {DAMPING}" solimp="0.95 0.99 0.0001 0.5 2"/></default>
      <asset><mesh name="h" vertex="{points}"/></asset>
      <worldbody>{planes}<body name="f"><freejoint/>{body}</body></worldbody></mujoco>''')


def ball_restitution(corners):
    m = model(corners, 7300, ball=True)
    d = mujoco.MjData(m)
    fastest = 0.0
    for _ in range(int(0.4 / STEP)):
        mujoco.mj_step(m, d)
        fastest = min(fastest, d.qvel[2])
        if d.qvel[2] > 0 and d.ncon == 0:
            return -d.qvel[2] / fastest
    return 0.0


def theirs(corners, seconds, seed, density=7300.0):
    m = model(corners, density)
    d = mujoco.MjData(m)
    random = np.random.default_rng(seed)
    phase = random.random(3) * 2 * np.pi
    q = random.normal(size=4)
    d.qpos[3:7] = q / np.linalg.norm(q)
    d.qvel[:3] = random.random(3) - 0.5
    # Corners stay where they were given in the frame of the body; its spin is told in that frame.
    dose, wrench, gravity = np.zeros((len(corners), 2)), np.zeros(6), np.array([0, 0, -9.81])
    for i in range(int(seconds / STEP)):
        m.opt.gravity[:] = gravity + AMPLITUDE * OMEGA**2 * np.sin(OMEGA * i * STEP + phase)
        before = d.qvel.copy()
        mujoco.mj_step(m, d)
        if not d.ncon:
            continue
        turn, origin = d.xmat[1].reshape(3, 3), d.xpos[1]
        mean = 0.5 * (before + d.qvel)
        for k in range(d.ncon):
            mujoco.mj_contactForce(m, d, k, wrench)
            if wrench[0] == 0:
                continue
            c = d.contact[k]
            frame = c.frame.reshape(3, 3)
            sign = 1.0 if m.geom_bodyid[c.geom[1]] == 1 else -1.0
            velocity = mean[:3] + np.cross(turn @ mean[3:6], c.pos - origin)
            force = sign * frame.T @ wrench[:3]
            normal = -(force @ frame[0]) * (velocity @ frame[0]) * STEP
            corner = np.argmin((((c.pos - origin) @ turn - corners) ** 2).sum(1))
            dose[corner] += normal, -(force @ velocity) * STEP - normal
    return dose, m.body_mass[1]


def main():
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 300.0
    seeds = [1, 2, 3, 4]
    passed = failed = 0

    def check(name, holds, text):
        nonlocal passed, failed
        passed, failed = passed + bool(holds), failed + (not holds)
        print(("ok   " if holds else "FAIL ") + name + ": " + text, flush=True)

    corners, _, mass = ours(1, 1)
    print("restitution of a dropped ball there: %.2f (tuned), here 0.3" % ball_restitution(corners))
    with ThreadPoolExecutor(2) as pool:
        far = [pool.submit(theirs, corners, seconds, s) for s in seeds]
        plastic = [pool.submit(theirs, corners, seconds / 3, s, 1050.0) for s in seeds[:2]]
        own = [ours(4 * seconds, s)[1] for s in seeds]
        own_plastic = [ours(4 * seconds, s, 1050.0)[1] for s in seeds]
        far = [f.result() for f in far]
        plastic = [f.result()[0] for f in plastic]
    check("mass", abs(far[0][1] / mass - 1) < 1e-6, "%.6g and %.6g kg" % (far[0][1], mass))
    far = [f[0] for f in far]
    total = lambda doses: sum(d.sum(1) for d in doses)
    half = lambda doses: spearmanr(total(doses[:2]), total(doses[2:]))[0]
    # Two halves of the seeds against each other, carried to the whole (Spearman 1910, Brown 1910).
    whole = lambda r: 2 * r / (1 + r)
    ceiling = np.sqrt(whole(half(own)) * whole(half(far)))
    rank = spearmanr(total(own), total(far))[0]
    print("pooled %.0f s here, %.0f s there; halves of seeds: %.3f here, %.3f there" % (
        16 * seconds, 4 * seconds, half(own), half(far)))
    check("rank correlation of hull corners", rank >= 0.9, "%.3f" % rank)
    check("rank correlation over its seed-noise ceiling", rank >= 0.95 * ceiling, "%.3f of %.3f" % (rank, ceiling))
    top = lambda t: set(np.argsort(-t)[:10])
    shared = len(top(total(own)) & top(total(far)))
    check("ten hardest-hit corners shared", shared >= 7, "%d" % shared)
    power = lambda doses, time: sum(d.sum() for d in doses) / (len(doses) * time)
    print("power: %.3f W here, %.3f W there (level tuned through restitution)" % (
        power(own, 4 * seconds), power(far, seconds)))
    here = power(own, 4 * seconds) / power(own_plastic, 4 * seconds)
    there = power(far, seconds) / power(plastic, seconds / 3)
    due = 7300 / 1050
    check("metal over plastic here", abs(here / due - 1) < 0.03, "%.3f for %.3f" % (here, due))
    check("metal over plastic there", abs(there / due - 1) < 0.06, "%.3f for %.3f" % (there, due))
    print("%d passed, %d failed" % (passed, failed))
    return failed


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
