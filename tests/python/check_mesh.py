"""Volume, centre, inertia, area, hull and counts against an independent mesh library.

    python tests/python/check_mesh.py target/release/thumbworn

trimesh writes closed meshes in several formats; `thumbworn inspect --json` and trimesh read the very
same files, and every number must agree to SHARE.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import trimesh

SHARE = 1e-6
passed, failed = 0, 0
worst = {}


def check(what, gap, low, high):
    global passed, failed
    good = low <= gap <= high
    passed, failed = passed + good, failed + (not good)
    if not good:
        print(f"FAILED: {what} differs by {gap:.3e}")


def bodies():
    yield "box", trimesh.creation.box(extents=(10, 20, 30))
    yield "sphere", trimesh.creation.icosphere(subdivisions=5, radius=12)
    yield "can", trimesh.creation.cylinder(radius=7, height=25, sections=61)
    yield "ring", trimesh.creation.torus(major_radius=15, minor_radius=4)
    yield "pill", trimesh.creation.capsule(radius=5, height=20)
    bent = trimesh.creation.icosphere(subdivisions=5, radius=15)
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


def inspect(program, path, *more):
    command = [program, "--json", "--quiet", "inspect", str(path), "--up", "z", "--patch-mm", "2", *more]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def compare(name, ours, theirs):
    size = np.ptp(theirs.bounds, axis=0).max()
    inertia = np.array(ours["inertia_mm5"])
    centre = np.subtract(ours["centre_mm"], ours["low_corner_mm"])
    gaps = {
        "volume": ours["volume_mm3"] / theirs.volume - 1,
        "area": ours["area_mm2"] / theirs.area - 1,
        "samples": ours["surface_mm2"] / theirs.area - 1,
        "centre": np.linalg.norm(centre - (theirs.center_mass - theirs.bounds[0])) / size,
        "inertia": np.linalg.norm(inertia - theirs.moment_inertia) / np.linalg.norm(theirs.moment_inertia),
    }
    for key, gap in gaps.items():
        worst[key] = max(worst.get(key, 0), abs(gap))
        check(f"{name}: {key}", gap, -SHARE, SHARE)
    # The hull leaves out points up to 5 micrometres outside it.
    hull = ours["hull_volume_mm3"] / theirs.convex_hull.volume - 1
    worst["hull"] = max(worst.get("hull", 0), abs(hull))
    check(f"{name}: hull volume", hull, -2e-3, SHARE)
    check(f"{name}: triangles", ours["triangles"] - len(theirs.faces), 0, 0)
    check(f"{name}: corners", ours["vertices"] - len(theirs.vertices), 0, 0)
    check(f"{name}: closed", float(ours["closed"]) - float(theirs.is_watertight), 0, 0)


def main(program, folder):
    turns = np.random.default_rng(3)
    files = 0
    for name, body in bodies():
        body.apply_transform(trimesh.transformations.random_rotation_matrix(turns.random(3)))
        for kind in ("stl", "ply", "obj", "3mf", "glb"):
            if kind != "stl" and name not in ("box", "ring"):
                continue
            path = folder / f"{name}.{kind}"
            # glTF is in metres by its standard.
            (body.copy().apply_scale(1e-3) if kind == "glb" else body).export(path)
            more = () if kind in ("3mf", "glb") else ("--scale", "1")
            theirs = trimesh.load(path, force="mesh")
            if kind == "glb":
                theirs.apply_scale(1e3)
            theirs.merge_vertices()
            compare(path.name, inspect(program, path, *more), theirs)
            files += 1
    path = folder / "porter.stl"
    command = [program, "--quiet", "sculpt", "--triangles", "12000", "-o", str(path)]
    subprocess.run(command, check=True, capture_output=True)
    whole = trimesh.load(path)
    compare(path.name, inspect(program, path, "--scale", "1"), whole)
    print(f"{files + 1} files, worst", {k: f"{v:.1e}" for k, v in worst.items()})
    defects(program, folder, whole)


def defects(program, folder, whole):
    """Broken versions of the figure that ships weigh what their sound ones weigh, to a thousandth."""
    inside_out = whole.copy()
    inside_out.invert()
    # Cut off a little above the table, and the cut left open.
    under = trimesh.creation.box(extents=(60, 60, 10))
    under.apply_translation((0, 0, whole.bounds[0, 2] - 4.5))
    cut = trimesh.boolean.difference([whole, under], engine="manifold")
    lid = np.ptp(cut.triangles[:, :, 2], axis=1) + (cut.triangles[:, :, 2].max(1) - cut.bounds[0, 2]) < 1e-6
    assert 400 < cut.area_faces[lid].sum() < 500
    opened = cut.submesh([~lid], append=True)
    egg = trimesh.creation.icosphere(subdivisions=3, radius=3)
    egg.apply_translation((0, -0.3, 15))
    void = egg.copy()
    void.invert()
    beam = trimesh.creation.box(extents=(22, 3, 2.5))
    beam.apply_transform(trimesh.transformations.euler_matrix(0.3, 0.2, 0.5))
    beam.apply_translation((1, 2, 14))
    ball = trimesh.creation.icosphere(subdivisions=4, radius=6)
    ball.apply_translation((3, 1, 20))
    # An independent library of solids unites the parts.
    def together(first):
        return trimesh.boolean.union([first, beam, ball], engine="manifold").volume

    join = trimesh.util.concatenate
    for name, mesh, volume in (
        ("inside out", inside_out, whole.volume),
        ("open below", opened, cut.volume),
        ("open below, with parts", join([opened, beam, ball]), together(cut)),
        ("there twice", join([whole, whole]), whole.volume),
        ("hollow", join([whole, void]), whole.volume - egg.volume),
        ("hollow, wall facing outward", join([whole, egg]), whole.volume),
        ("overlapping parts", join([whole, beam, ball]), together(whole)),
    ):
        path = folder / f"{name}.stl"
        mesh.export(path)
        # A third of the size has a ninth of the patches, which are not looked at here.
        ours = inspect(program, path, "--scale", "0.3")
        gap = ours["volume_mm3"] / (0.027 * volume) - 1
        print(f"{name}: by {ours['volume_found_by']}, volume off by {gap:.1e}")
        check(f"{name}: volume", gap, -1e-3, 1e-3)


with tempfile.TemporaryDirectory() as made:
    main(str(pathlib.Path(sys.argv[1]).resolve()), pathlib.Path(made))
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)
