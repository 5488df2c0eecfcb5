"""Volume, centre, inertia, area, hull and counts against an independent mesh library.

Needs trimesh, numpy and scipy (PyPI). Run: python tests/python/mesh_library.py
It writes closed meshes in several formats, lets examples/solid_of.rs and trimesh read the very same
files, and compares. Exit code 1 if anything differs by more than the stated share.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import trimesh

ROOT = pathlib.Path(__file__).resolve().parents[2]
SHARE = 1e-6


def bodies():
    yield "box", trimesh.creation.box(extents=(10, 20, 30))
    yield "sphere", trimesh.creation.icosphere(subdivisions=5, radius=12)
    yield "can", trimesh.creation.cylinder(radius=7, height=25, sections=61)
    yield "ring", trimesh.creation.torus(major_radius=15, minor_radius=4)
    yield "pill", trimesh.creation.capsule(radius=5, height=20)
    bent = trimesh.creation.icosphere(subdivisions=6, radius=15)
    p = bent.vertices
    bent.vertices = p * (1 + 0.2 * np.sin(0.3 * p[:, :1] + 0.2 * p[:, 1:2]) * np.cos(0.25 * p[:, 2:]))
    yield "bent", bent
    two = trimesh.creation.box(extents=(10, 10, 10))
    far = trimesh.creation.icosphere(subdivisions=4, radius=6)
    far.apply_translation((25, 3, 2))
    yield "two", trimesh.util.concatenate([two, far])
    hollow = trimesh.creation.icosphere(subdivisions=4, radius=12)
    void = trimesh.creation.icosphere(subdivisions=4, radius=9)
    void.invert()
    yield "hollow", trimesh.util.concatenate([hollow, void])


def main():
    worst, failed = {}, []
    with tempfile.TemporaryDirectory() as folder:
        files = []
        for name, body in bodies():
            turn = trimesh.transformations.random_rotation_matrix(np.random.default_rng(3).random(3))
            body.apply_transform(turn)
            for kind in ("stl", "ply", "obj", "3mf"):
                if kind == "3mf" and name not in ("box", "ring"):
                    continue
                path = pathlib.Path(folder) / f"{name}.{kind}"
                body.export(path)
                files.append(path)
        command = ["cargo", "run", "--quiet", "--release", "--example", "solid_of", "--", *map(str, files)]
        lines = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()
        for path, line in zip(files, lines, strict=True):
            ours = json.loads(line)
            theirs = trimesh.load(path, force="mesh")
            theirs.merge_vertices()
            size = np.ptp(theirs.bounds, axis=0).max()
            inertia = np.array(ours["inertia_mm5"]).reshape(3, 3)
            gaps = {
                "volume": ours["volume_mm3"] / theirs.volume - 1,
                "area": ours["area_mm2"] / theirs.area - 1,
                "samples": ours["samples_area_mm2"] / theirs.area - 1,
                "centre": np.linalg.norm(ours["centre_from_low_corner_mm"] - (theirs.center_mass - theirs.bounds[0])) / size,
                "inertia": np.linalg.norm(inertia - theirs.moment_inertia) / np.linalg.norm(theirs.moment_inertia),
            }
            hull = ours["hull_volume_mm3"] / theirs.convex_hull.volume - 1
            for key, gap in gaps.items():
                worst[key] = max(worst.get(key, 0), abs(gap))
                if not abs(gap) < SHARE:
                    failed.append(f"{path.name}: {key} differs by {gap:.2e}")
            # The hull leaves out points up to a micrometre outside it.
            worst["hull"] = max(worst.get("hull", 0), abs(hull))
            if not -5e-4 < hull < 1e-6:
                failed.append(f"{path.name}: hull volume differs by {hull:.2e}")
            if (ours["triangles"], ours["closed"]) != (len(theirs.faces), True):
                failed.append(f"{path.name}: {ours['triangles']} triangles, they read {len(theirs.faces)}")
    print("files", len(files), "worst", {k: f"{v:.1e}" for k, v in worst.items()})
    print("\n".join(failed) or "all agree")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
