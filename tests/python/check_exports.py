"""Reads the exports back with libraries that know nothing of this project.

    python -m venv venv && venv/bin/pip install -r tests/python/requirements.txt
    venv/bin/python tests/python/check_exports.py

plyfile, trimesh, meshio and pygltflib must agree on counts, bounds, colours and raw values. The
files come from `cargo run --example exports`; a folder that already holds them may be named.
"""

import subprocess
import tempfile
import sys
from pathlib import Path

import meshio
import numpy as np
import pygltflib
import trimesh
from plyfile import PlyData

CHECKS = 0


def check(what, good):
    global CHECKS
    CHECKS += 1
    if not good:
        sys.exit(f"FAILED: {what}")
    print(f"ok  {what}")


def linear(srgb):
    c = srgb / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def read_ply(path):
    data = PlyData.read(path)
    vertex = data["vertex"].data
    names = vertex.dtype.names
    check("PLY: properties", names == ("x", "y", "z", "red", "green", "blue", "height_mm", "slip_mm"))
    xyz = np.column_stack([vertex[k] for k in "xyz"])
    rgb = np.column_stack([vertex[k] for k in ("red", "green", "blue")])
    check("PLY: raw channel equals what it was made from", np.array_equal(vertex["height_mm"], vertex["z"]))
    check("PLY: second channel", np.array_equal(vertex["slip_mm"], vertex["x"] * np.float32(0.5)))
    faces = np.vstack(data["face"].data["vertex_indices"])
    return xyz, rgb, faces


def gltf_array(document, number):
    accessor = document.accessors[number]
    view = document.bufferViews[accessor.bufferView]
    kinds = {5123: np.uint16, 5125: np.uint32, 5126: np.float32}
    widths = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}
    raw = document.binary_blob()[view.byteOffset : view.byteOffset + view.byteLength]
    return np.frombuffer(raw, kinds[accessor.componentType]).reshape(accessor.count, widths[accessor.type])


def main(folder):
    xyz, rgb, faces = read_ply(folder / "porter.ply")
    mesh = trimesh.Trimesh(xyz, faces, process=False)
    check("PLY: closed, outward, positive volume", mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 3000)
    size = np.ptp(xyz, axis=0)
    check(f"PLY: millimetres, z up {size.round(1)}", 36 < size[2] < 40 and 24.8 < size[1] < 25.1)

    by_trimesh = trimesh.load(folder / "porter.ply", process=False)
    check("PLY in trimesh: colours", np.array_equal(by_trimesh.visual.vertex_colors[:, :3], rgb))
    check("PLY in trimesh: counts", len(by_trimesh.faces) == len(faces))

    document = pygltflib.GLTF2().load(str(folder / "porter.glb"))
    attributes = document.meshes[0].primitives[0].attributes
    at = gltf_array(document, attributes.POSITION)
    check("GLB: metres, y up", np.allclose(at, np.column_stack([xyz[:, 0], xyz[:, 2], -xyz[:, 1]]) * 1e-3, atol=1e-8))
    colours = gltf_array(document, attributes.COLOR_0)[:, :3] / 65535.0
    check("GLB: linear colours", np.abs(colours - linear(rgb.astype(float))).max() < 1e-4)
    check("GLB: raw channel", np.array_equal(gltf_array(document, attributes._HEIGHT_MM)[:, 0], xyz[:, 2]))
    check("GLB: indices", np.array_equal(gltf_array(document, document.meshes[0].primitives[0].indices).reshape(-1, 3), faces))
    limits = document.accessors[attributes.POSITION]
    check("GLB: bounds as promised", np.allclose(limits.min, at.min(0)) and np.allclose(limits.max, at.max(0)))
    scene = trimesh.load(folder / "porter.glb", process=False)
    check("GLB in trimesh: volume in m3", abs(scene.to_geometry().volume * 1e9 / mesh.volume - 1) < 1e-4)

    by_obj = trimesh.load(folder / "porter.obj", process=False)
    check("OBJ in trimesh: triangles and volume", len(by_obj.faces) == len(faces) and abs(by_obj.volume / mesh.volume - 1) < 1e-5)
    check("OBJ in trimesh: colours", np.abs(by_obj.visual.vertex_colors[:, :3].astype(int)[: len(rgb)] - rgb).max() <= 1)

    grid = meshio.read(folder / "porter.vtu")
    check("VTU in meshio: points", np.array_equal(grid.points.astype(np.float32), xyz))
    check("VTU in meshio: triangles", np.array_equal(grid.cells_dict["triangle"], faces))
    check("VTU in meshio: point data", np.array_equal(grid.point_data["height_mm"], xyz[:, 2]))
    check("VTU in meshio: colours", np.array_equal(grid.point_data["colour_srgb"], rgb))
    print(f"{CHECKS} passed")


if len(sys.argv) > 1 and Path(sys.argv[1]).is_dir():
    main(Path(sys.argv[1]))
else:
    with tempfile.TemporaryDirectory() as made:
        subprocess.run(["cargo", "run", "--locked", "--quiet", "--example", "exports", "--", made], check=True)
        main(Path(made))
