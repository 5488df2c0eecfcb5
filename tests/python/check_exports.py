"""Reads the exports back with libraries that know nothing of this project.

    python -m venv venv && venv/bin/pip install -r tests/python/requirements.txt
    venv/bin/python tests/python/check_exports.py

plyfile, trimesh, meshio, pygltflib and lib3mf must agree on counts, bounds, colours and raw values. The
files come from `cargo run --example exports`; a folder that already holds them may be named.
"""

import subprocess
import tempfile
import sys
from pathlib import Path

import lib3mf
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


def read_3mf(path, xyz, rgb, faces):
    by_trimesh = trimesh.load(path, force="mesh", process=False)
    check("3MF in trimesh: triangles", len(by_trimesh.faces) == len(faces))
    # The reader of the consortium that keeps the format; strict, so that a warning is a failure.
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    check("3MF in lib3mf: no warning", reader.GetWarningCount() == 0)
    check("3MF in lib3mf: millimetres", model.GetUnit() == lib3mf.ModelUnit.MilliMeter)
    objects = model.GetMeshObjects()
    objects.MoveNext()
    mesh = objects.GetCurrentMeshObject()
    check("3MF in lib3mf: closed and outward", mesh.IsManifoldAndOriented())
    at = np.array([list(v.Coordinates) for v in mesh.GetVertices()], np.float32)
    check("3MF in lib3mf: corners", np.array_equal(at, xyz))
    corners = np.array([list(t.Indices) for t in mesh.GetTriangleIndices()])
    check("3MF in lib3mf: triangles", np.array_equal(corners, faces))
    groups = model.GetColorGroups()
    groups.MoveNext()
    group = groups.GetCurrentColorGroup()
    colour = {}
    for number in group.GetAllPropertyIDs():
        c = group.GetColor(number)
        colour[number] = (c.Red, c.Green, c.Blue)
    properties = mesh.GetAllTriangleProperties()
    seen = np.array([[colour[i] for i in p.PropertyIDs] for p in properties])
    check("3MF in lib3mf: a colour for each corner of each triangle", np.array_equal(seen, rgb[faces]))


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

    read_3mf(folder / "porter.3mf", xyz, rgb, faces)
    print(f"{CHECKS} passed, 0 failed")


if len(sys.argv) > 1 and Path(sys.argv[1]).is_dir():
    main(Path(sys.argv[1]))
else:
    with tempfile.TemporaryDirectory() as made:
        subprocess.run(["cargo", "run", "--locked", "--quiet", "--example", "exports", "--", made], check=True)
        main(Path(made))
