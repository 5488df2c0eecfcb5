"""Speed of MuJoCo (from PyPI) on the shaken box of benches/tumble.rs.

usage: tumble_mujoco.py STEP < CORNERS     one hull corner per line: x y z [m]
Prints simulated seconds per second of CPU time, in a window of at least 0.6 s of it.

Planes cannot move there: the box stands still and gravity carries minus its acceleration, set every
eighth step so that Python costs next to nothing. No contact is read. Contacts as stiff as in
tests/python/check_tumble_dose.py, but no stiffer than four steps.
"""
import sys
import time

import mujoco
import numpy as np

AMPLITUDE = np.array([0.030, 0.025, 0.020])
OMEGA = 2 * np.pi * np.array([3.0, 3.71, 4.43])
PHASE = np.array([0.5, 2.1, 4.4])
HALF = [0.1, 0.075, 0.05]
EVERY = 8


def model(corners, step):
    planes = ""
    for axis in range(3):
        for side in (-1, 1):
            p, z, x = np.zeros(3), np.zeros(3), np.zeros(3)
            p[axis], z[axis], x[(axis + 1) % 3] = side * HALF[axis], -side, 1
            y = np.cross(z, x)
            planes += '<geom type="plane" size="1 1 .1" pos="%g %g %g" xyaxes="%g %g %g %g %g %g"/>' % (*p, *x, *y)
    points = " ".join("%.12g" % c for c in corners.ravel())
    stiffness = max(0.001, 4 * step)
    return mujoco.MjModel.from_xml_string(f'''<mujoco>
      <option timestep="{step}" cone="elliptic" impratio="10" integrator="Euler" gravity="0 0 -9.81"/>
      <default><geom condim="3" friction="0.3 0 0" solref="{stiffness} 0.5" solimp="0.95 0.99 0.0001 0.5 2"/></default>
      <asset><mesh name="h" vertex="{points}"/></asset>
      <worldbody>{planes}<body name="f"><freejoint/><geom type="mesh" mesh="h" density="7300"/></body></worldbody></mujoco>''')


def main():
    step = float(sys.argv[1])
    corners = np.array([[float(x) for x in line.split()] for line in sys.stdin])
    m = model(corners, step)
    d = mujoco.MjData(m)
    d.qvel[:3] = 0.3, -0.2, 0.1
    down = np.array([0, 0, -9.81])
    touched = 0

    def go(steps):
        nonlocal touched
        for _ in range(steps // EVERY):
            m.opt.gravity[:] = down + AMPLITUDE * OMEGA**2 * np.sin(OMEGA * d.time + PHASE)
            mujoco.mj_step(m, d, EVERY)
            touched += d.ncon

    go(int(0.5 / step))
    begin, start, touched = d.time, time.process_time(), 0
    while time.process_time() - start < 0.6:
        go(int(1 / step))
    assert touched > 0 and np.all(np.abs(d.qpos[:3]) < HALF), "the figure left the box or never touched"
    print((d.time - begin) / (time.process_time() - start))


if __name__ == "__main__":
    main()
