"""Hostile mesh files at the finished program: a clear refusal, within seconds, in bounded memory.

    python tests/python/check_hostile.py target/release/thumbworn

Each file is small (or sparse) and asks for much: archives that unpack to gigabytes, counts that lie,
lists that grow in memory, buffers named a thousand times, paths that leave the folder, triangles that
reach to the moon. The program runs with a hard limit on its address space, so asking for more memory
ends it with another code than the one for wrong input.
"""

import pathlib
import resource
import struct
import subprocess
import sys
import tempfile
import zlib
import zipfile

import numpy as np

SECONDS = 20
MEMORY = 1500 << 20
WRONG_INPUT = 2

passed, failed = 0, 0


def limit():
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def spent():
    """CPU seconds of finished children: a busy machine does not count."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def check(program, path, words, codes=(WRONG_INPUT,)):
    global passed, failed
    start = spent()
    command = [program, "inspect", str(path)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", preexec_fn=limit, timeout=15 * SECONDS)
        code, said = done.returncode, " ".join((done.stderr + done.stdout).split())
    except subprocess.TimeoutExpired:
        code, said = "no end", ""
    took = spent() - start
    # A refusal is wrapped to the width of the terminal, with a bar in front.
    said = said.replace("│ ", "").replace("| ", "")
    good = code in codes and took < SECONDS and all(w in said for w in words)
    passed, failed = passed + good, failed + (not good)
    print(f"{'ok    ' if good else 'FAILED'} {took:5.1f} s  {path.name}" + ("" if good else f": code {code}, wanted {words}, said {said[:600]}"))


def repeated(block, times):
    """Raw deflate of `block` many times over, without packing it many times."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = packer.compress(block) + packer.flush(zlib.Z_FULL_FLUSH)
    return body * times + packer.flush(zlib.Z_FINISH)


def archive(path, parts):
    """A zip of (name, packed bytes, unpacked size, check sum)."""
    out, directory = bytearray(), bytearray()
    for name, packed, size, crc in parts:
        name = name.encode()
        size = min(size, 0xFFFFFFFE)
        head = struct.pack("<HHHHHIIIHH", 20, 0, 8, 0, 33, crc, len(packed), size, len(name), 0)
        directory += b"PK\x01\x02" + struct.pack("<H", 20) + head + struct.pack("<HHHII", 0, 0, 0, 0, len(out)) + name
        out += b"PK\x03\x04" + head + name + packed
    end = struct.pack("<HHHHIIH", 0, 0, len(parts) & 0xFFFF, len(parts) & 0xFFFF, len(directory), len(out), 0)
    path.write_bytes(out + directory + b"PK\x05\x06" + end)


def plain_3mf(path, model, name="3D/3dmodel.model"):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as z:
        z.writestr(name, model)


def models(folder):
    head = b"<model><resources><object id='1'><mesh><vertices>"
    vertex = b"<vertex x='0' y='0' z='0'/>" * 10_000
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    start = packer.compress(head) + packer.flush(zlib.Z_FULL_FLUSH)
    path = folder / "four gigabytes of corners.3mf"
    archive(path, [("3D/3dmodel.model", start + repeated(vertex, 16_000), 1 << 32, 0)])
    yield path, ["unpacks to more than"]
    path = folder / "many parts.3mf"
    some = b"<a/>" * 250_000
    empty, crc = repeated(some, 31), zlib.crc32(some * 31)
    first = b"<model><build>" + b"".join(b"<item objectid='1' path='/%d.model'/>" % i for i in range(1500)) + b"</build></model>"
    pack = zlib.compressobj(9, zlib.DEFLATED, -15)
    archive(path, [("3D/3dmodel.model", pack.compress(first) + pack.flush(), len(first), zlib.crc32(first))] + [(f"{i}.model", empty, 31_000_000, crc) for i in range(1500)])
    yield path, ["unpacks to more than"]
    path = folder / "a million components.3mf"
    plain_3mf(path, b"<model><resources><object id='1'><components>" + b"<component objectid='1'/>" * 1_000_000)
    yield path, ["more than 100000 objects"]
    path = folder / "objects in objects.3mf"
    levels = b"".join(b"<object id='%d'><components>%s</components></object>" % (i, b"<component objectid='%d'/>" % (i + 1) * 12) for i in range(15))
    plain_3mf(path, b"<model><resources>" + levels + b"<object id='15'><mesh/></object></resources><build><item objectid='0'/></build></model>")
    yield path, ["without end"]
    path = folder / "out of the folder.3mf"
    plain_3mf(path, b"<model><build><item objectid='1' path='/../../../../etc/passwd'/></build></model>")
    yield path, ["cannot be opened"]
    path = folder / "out of the folder by name.3mf"
    plain_3mf(path, b"<model/>", "../../3D/3dmodel.model")
    yield path, ["holds no triangle"]
    path = folder / "laughs.3mf"
    entities = b"".join(b"<!ENTITY l%d \"%s\">" % (i, b"&l%d;" % (i - 1) * 10) for i in range(1, 12))
    plain_3mf(path, b"<!DOCTYPE model [<!ENTITY l0 \"ha\">" + entities + b"]><model>&l11;</model>")
    yield path, ["holds no triangle"]
    path = folder / "directory of billions.3mf"
    end64 = b"PK\x06\x06" + struct.pack("<QHHIIQQQQ", 44, 45, 45, 0, 0, 1 << 60, 1 << 60, 1 << 60, 4)
    locator = b"PK\x06\x07" + struct.pack("<IQI", 0, 4, 1)
    path.write_bytes(b"PK\x03\x04" + end64 + locator + b"PK\x05\x06" + struct.pack("<HHHHIIH", 0, 0, 0xFFFF, 0xFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0))
    yield path, ["archive cannot be opened"]


def glb(path, text, blob=b"", told=None):
    text = text.encode() if isinstance(text, str) else text
    text += b" " * (-len(text) % 4)
    with open(path, "wb") as f:
        f.write(b"glTF" + struct.pack("<II", 2, 20 + len(text) + 8 + len(blob)) + struct.pack("<II", len(text), 0x4E4F534A) + text)
        f.write(struct.pack("<II", told or len(blob), 0x004E4942) + blob)


def scenes(folder):
    start = '{"asset":{"version":"2.0"},'
    path = folder / "five million nodes.glb"
    glb(path, start + '"nodes":[' + "{}," * 5_000_000 + "{}]}")
    yield path, ["at most 100000"]
    path = folder / "children without end.glb"
    some = ",".join(["1"] * 90_000)
    glb(path, start + '"nodes":[' + ",".join(['{"children":[%s]}' % some] * 200) + "]}")
    yield path, ["form a loop"]
    (folder / "large.bin").write_bytes(b"")
    with open(folder / "large.bin", "r+b") as f:
        f.truncate(200 << 20)
    path = folder / "one buffer a thousand times.gltf"
    path.write_text(start + '"buffers":[' + ",".join(['{"uri":"large.bin","byteLength":1}'] * 1000) + "]}")
    yield path, ["more than 1 GB"]
    for name, uri in (("up", "../secret.bin"), ("absolute", "/etc/hostname"), ("scheme", "file:///etc/hostname"), ("escaped", "%2e%2e/secret.bin")):
        path = folder / f"out of the folder, {name}.gltf"
        path.write_text(start + '"buffers":[{"uri":"%s","byteLength":1}]}' % uri)
        yield path, ["not a file in its folder"]
    (folder / "link.bin").symlink_to("/etc/hostname")
    path = folder / "out of the folder, link.gltf"
    path.write_text(start + '"buffers":[{"uri":"link.bin","byteLength":1}]}')
    yield path, ["not a file in its folder"]
    mesh = '"meshes":[{"primitives":[%s]}],"nodes":[%s],' % (
        ",".join(['{"attributes":{"POSITION":0}}'] * 50_000),
        ",".join(['{"mesh":0}'] * 50_000),
    )
    views = '"bufferViews":[{"buffer":0,"byteLength":36}],"buffers":[{"byteLength":36}]}'
    path = folder / "pieces without end.glb"
    glb(path, start + mesh + '"accessors":[{"bufferView":0,"componentType":5126,"count":0,"type":"VEC3"}],' + views, b"\0" * 36)
    yield path, ["without end"]
    path = folder / "the same corners without end.glb"
    mesh = '"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],"nodes":[%s],' % ",".join(['{"mesh":0}'] * 90_000)
    views = '"bufferViews":[{"buffer":0,"byteLength":1200000}],"buffers":[{"byteLength":1200000}]}'
    glb(path, start + mesh + '"accessors":[{"bufferView":0,"componentType":5126,"count":100000,"type":"VEC3"}],' + views, b"\0" * 1_200_000)
    yield path, ["more than 20 million triangles"]
    path = folder / "chunk longer than the file.glb"
    glb(path, start + '"buffers":[{"byteLength":4000000000}]}', b"\0" * 8, told=4_000_000_000)
    yield path, ["cut short"]


def lists(folder):
    path = folder / "four billion corners.ply"
    path.write_text("ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\nproperty float x\nproperty float y\nproperty float z\nend_header\n")
    yield path, ["announces more than it holds"]
    path = folder / "corners of nothing.ply"
    path.write_text("ply\nformat binary_little_endian 1.0\n" + "element vertex 20000000\n" * 60 + "end_header\n")
    with open(path, "r+b") as f:
        f.truncate(21 << 20)
    yield path, ["more than 20 million triangles"]
    path = folder / "count that lies.stl"
    path.write_bytes(b"\0" * 80 + struct.pack("<I", 4_000_000_000) + b"\0" * 500)
    yield path, ["announces 4000000000 triangles"]
    path = folder / "eighteen million times nothing.stl"
    path.write_bytes(b"\0" * 80 + struct.pack("<I", 18_000_000))
    with open(path, "r+b") as f:
        f.truncate(84 + 50 * 18_000_000)
    yield path, ["no triangle with an area"]
    path = folder / "twenty-one million.stl"
    path.write_bytes(b"\0" * 80 + struct.pack("<I", 21_000_000))
    with open(path, "r+b") as f:
        f.truncate(84 + 50 * 21_000_000)
    yield path, ["more than 20 million triangles"]
    path = folder / "one line.obj"
    path.write_bytes(b"v 0 0 0\n" + b"f" + b" 1" * 40_000_000)
    yield path, ["longer than 64 kB"]


def stl(path, triangles):
    rows = np.zeros(len(triangles), np.dtype([("n", "<f4", 3), ("t", "<f4", (3, 3)), ("a", "<u2")]))
    rows["t"] = triangles
    path.write_bytes(b"\0" * 80 + struct.pack("<I", len(triangles)) + rows.tobytes())


def shapes(folder):
    """Shapes that make later steps work hard: taken or refused, but quickly."""
    cube = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], float) * 40
    tetra = cube[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]]
    path = folder / "to the moon.stl"
    far = tetra.copy()
    far[far[..., 0] > 1, 0] = 9e7
    stl(path, far)
    yield path, [], (0, WRONG_INPUT)
    path = folder / "a corner far away.stl"
    stl(path, np.concatenate([tetra, [[[0, 0, 0], [1, 0, 0], [9e7, 9e7, 20]]]]))
    yield path, [], (0, WRONG_INPUT)
    random = np.random.default_rng(5)
    path = folder / "a heap of loose triangles.stl"
    at = random.random((200_000, 1, 3)) * 40
    stl(path, at + random.random((200_000, 3, 3)) * 2)
    yield path, ["do not join"]
    path = folder / "forty thousand large triangles.stl"
    stl(path, random.random((40_000, 3, 3)) * 60)
    yield path, ["do not join"]
    # A ribbon of large triangles that cross each other: one shell, a thousand layers deep.
    path = folder / "a ribbon without end.stl"
    at = random.random((6_000, 3)) * 40
    stl(path, np.stack([at[:-2], at[1:-1], at[2:]], 1))
    yield path, ["as large as the box"]


def main(program):
    with tempfile.TemporaryDirectory() as made:
        folder = pathlib.Path(made)
        for kind in (models, scenes, lists, shapes):
            for path, words, *codes in kind(folder):
                check(program, path, words, *codes)
                path.unlink()


main(str(pathlib.Path(sys.argv[1]).resolve()))
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)
