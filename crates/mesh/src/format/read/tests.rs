//! Checks of the readers on files made here.

use super::*;
use std::fmt::Write as _;

/// A tetrahedron's triangles.
pub(crate) const TETRA: [[[f32; 3]; 3]; 4] = [
    [[0.0, 0.0, 0.0], [0.0, 10.0, 0.0], [10.0, 0.0, 0.0]],
    [[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [0.0, 0.0, 10.0]],
    [[0.0, 0.0, 0.0], [0.0, 0.0, 10.0], [0.0, 10.0, 0.0]],
    [[10.0, 0.0, 0.0], [0.0, 10.0, 0.0], [0.0, 0.0, 10.0]],
];

pub(crate) fn binary(header: &str, triangles: &[[[f32; 3]; 3]]) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes[..header.len()].copy_from_slice(header.as_bytes());
    bytes.extend((triangles.len() as u32).to_le_bytes());
    for t in triangles {
        bytes.extend([0; 12]);
        t.iter()
            .flatten()
            .for_each(|x| bytes.extend(x.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

pub(crate) fn text(triangles: &[[[f32; 3]; 3]]) -> String {
    let mut out = String::from("solid a name with spaces\n");
    for t in triangles {
        out += "facet normal 0 0 0\n outer loop\n";
        for p in t {
            writeln!(out, "  vertex {:e} {} {}", p[0], p[1], p[2]).unwrap();
        }
        out += " endloop\nendfacet\n";
    }
    out + "endsolid\n"
}

pub(crate) fn read(bytes: &[u8]) -> Result<(MeshFile, Vec<Corners>)> {
    read_named("figure.stl", bytes)
}

pub(crate) fn read_named(name: &str, bytes: &[u8]) -> Result<(MeshFile, Vec<Corners>)> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    let file = open(&path)?;
    let mut all = Vec::new();
    file.visit(&mut |block| all.extend_from_slice(block))?;
    assert_eq!(all.len(), file.len());
    Ok((file, all))
}

pub(crate) fn tetra() -> Vec<Corners> {
    TETRA.map(|t| t.map(|p| p.map(f64::from))).to_vec()
}

#[test]
fn binary_stl_is_read_even_when_it_begins_with_solid() {
    for header in ["made by nobody", "solid facet vertex"] {
        let (file, all) = read(&binary(header, &TETRA)).unwrap();
        assert_eq!((file.kind, &all), (Kind::StlBinary, &tetra()));
    }
}

#[test]
fn text_stl_is_read_in_any_case_and_with_any_line_ends() {
    let text = text(&TETRA);
    for variant in [
        text.clone(),
        text.to_uppercase(),
        text.replace('\n', "\r\n"),
        format!("\u{feff}{text}"),
    ] {
        let (file, all) = read(variant.as_bytes()).unwrap();
        assert_eq!((file.kind, &all), (Kind::StlText, &tetra()));
    }
}

/// stl_io is the independent reader: same triangles, same order.
#[test]
fn both_kinds_agree_with_an_independent_reader() {
    for bytes in [binary("x", &TETRA), text(&TETRA).into_bytes()] {
        let theirs = stl_io::create_stl_reader(&mut std::io::Cursor::new(&bytes))
            .unwrap()
            .map(|t| t.unwrap().vertices.map(|v| v.0.map(f64::from)))
            .collect::<Vec<_>>();
        assert_eq!(read(&bytes).unwrap().1, theirs);
    }
}

#[test]
fn bytes_after_the_last_triangle_are_overlooked_and_told() {
    let mut bytes = binary("x", &TETRA);
    bytes.extend([7; 33]);
    let (file, all) = read(&bytes).unwrap();
    assert_eq!(all, tetra());
    assert!(file.notes[0].text.contains("33 bytes"));
}

#[test]
fn what_cannot_be_a_figure_is_refused_in_words() {
    let cut = &binary("x\0", &TETRA)[..200];
    let mut nan = TETRA;
    nan[2][1][0] = f32::NAN;
    let mut far = TETRA;
    far[2][1][0] = 3e20;
    let half = text(&TETRA);
    let half = &half[..half.len() / 2];
    let cases: [(&[u8], &str); 11] = [
        (b"", "empty"),
        (cut, "announces 4 triangles"),
        (&binary("x\0", &[]), "holds no triangle"),
        (
            &binary("x", &nan),
            "triangle 3 has a coordinate that is not a number",
        ),
        (
            &binary("x", &far),
            "triangle 3 has a coordinate of 3.000e20",
        ),
        (half.as_bytes(), "cut short"),
        (
            b"solid a\nfacet\nvertex 1 2\n",
            "2 coordinates instead of 3",
        ),
        (
            b"solid a\nfacet\nvertex 1 2 x\n",
            "\"x\" where a number belongs",
        ),
        (b"Dear all,\nthe figure is attached.\n", "text, not a mesh"),
        (
            b"<html><body>404 not found</body></html>",
            "text, not a mesh",
        ),
        (
            &[0x89, b'P', b'N', b'G', 13, 10, 26, 10, 0, 1, 2, 3],
            "no mesh file",
        ),
    ];
    for (bytes, words) in cases {
        let error = read(bytes).unwrap_err();
        assert!(
            error.to_string().contains(words),
            "{error} should say {words}"
        );
        assert!(!error.hints().is_empty() && error.place().is_some());
    }
    assert!(
        open(Path::new("no/such/figure.stl"))
            .unwrap_err()
            .to_string()
            .contains("no/such/figure.stl")
    );
}

fn obj() -> String {
    let mut out = String::from("# a comment\nmtllib ../../etc/passwd\no body\n");
    for p in TETRA.iter().flatten() {
        writeln!(out, "v {} {} {} 1.0", p[0], p[1], p[2]).unwrap();
    }
    out + "vn 0 0 1\nf 1/1/1 2//1 3\nf 4 5 6\nf -6 -5 -4\ns off\nf 10 11 12\n"
}

fn ply(format: &str) -> Vec<u8> {
    let header = format!(
        "ply\nformat {format} 1.0\ncomment made here\nelement vertex 12\nproperty float x\nproperty float y\nproperty double z\nproperty uchar red\nelement face 4\nproperty list uchar int vertex_indices\nproperty short flags\nend_header\n"
    );
    let mut out = header.into_bytes();
    let big = format == "binary_big_endian";
    if format == "ascii" {
        for p in TETRA.iter().flatten() {
            out.extend(format!("{} {} {} 7\n", p[0], p[1], p[2]).bytes());
        }
        for i in 0..4 {
            out.extend(format!("3 {} {} {} -2\n", 3 * i, 3 * i + 1, 3 * i + 2).bytes());
        }
        return out;
    }
    let order = |mut bytes: Vec<u8>| {
        if big {
            bytes.reverse();
        }
        bytes
    };
    for p in TETRA.iter().flatten() {
        out.extend(order(p[0].to_le_bytes().to_vec()));
        out.extend(order(p[1].to_le_bytes().to_vec()));
        out.extend(order(f64::from(p[2]).to_le_bytes().to_vec()));
        out.push(7);
    }
    for i in 0..4_i32 {
        out.push(3);
        (0..3).for_each(|k| out.extend(order((3 * i + k).to_le_bytes().to_vec())));
        out.extend(order((-2_i16).to_le_bytes().to_vec()));
    }
    out
}

/// A tetrahedron, placed twice: as it is, and by a component mirrored and moved by 100 along x.
fn model() -> String {
    let mut xml = String::from(
        "<?xml version=\"1.0\"?><!-- a > b --><model unit=\"inch\" xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\"><resources><object id=\"1\" type=\"model\"><mesh><vertices>",
    );
    for p in TETRA.iter().flatten() {
        write!(
            xml,
            "<vertex x=\"{}\" y='{}' z = \"{}\"/>",
            p[0], p[1], p[2]
        )
        .unwrap();
    }
    xml += "</vertices><triangles>";
    for i in 0..4 {
        write!(
            xml,
            "<triangle v1=\"{}\" v2=\"{}\" v3=\"{}\"/>",
            3 * i,
            3 * i + 1,
            3 * i + 2
        )
        .unwrap();
    }
    xml + "</triangles></mesh></object><object id=\"2\" type=\"model\"><components><component objectid=\"1\" transform=\"-1 0 0 0 1 0 0 0 1 100 0 0\"/></components></object></resources><build><item objectid=\"1\"/><item objectid=\"2\"/></build></model>"
}

pub(crate) fn zipped(name: &str, content: &[u8]) -> Vec<u8> {
    use std::io::Write as _;
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Deflated);
    for (name, content) in [
        ("[Content_Types].xml", &b"<?xml version=\"1.0\" encoding=\"UTF-8\"?><Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/></Types>"[..]),
        ("_rels/.rels", &b"<?xml version=\"1.0\" encoding=\"UTF-8\"?><Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Target=\"/3D/3dmodel.model\" Id=\"rel0\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>"[..]),
        (name, content),
    ] {
        writer.start_file(name, options).unwrap();
        writer.write_all(content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

pub(crate) fn gltf_json(buffer: &str) -> String {
    format!(
        r#"{{"asset":{{"version":"2.0"}},"scene":0,"scenes":[{{"nodes":[0]}}],
        "nodes":[{{"children":[1,2],"scale":[2,2,2]}},{{"mesh":0}},
        {{"mesh":0,"translation":[0,5,0],"rotation":[0,0,0.7071067811865476,0.7071067811865476],"scale":[-1,1,1]}}],
        "meshes":[{{"primitives":[{{"attributes":{{"POSITION":0}},"indices":1}}]}}],
        "accessors":[{{"bufferView":0,"componentType":5126,"count":12,"type":"VEC3","min":[0,0,0],"max":[10,10,10]}},
        {{"bufferView":1,"componentType":5123,"count":12,"type":"SCALAR"}}],
        "bufferViews":[{{"buffer":0,"byteLength":144}},{{"buffer":0,"byteOffset":144,"byteLength":24}}],
        "buffers":[{{{buffer}"byteLength":168}}]}}"#
    )
}

pub(crate) fn gltf_buffer() -> Vec<u8> {
    let mut buffer = Vec::new();
    TETRA
        .iter()
        .flatten()
        .flatten()
        .for_each(|x| buffer.extend(x.to_le_bytes()));
    (0..12_u16).for_each(|i| buffer.extend(i.to_le_bytes()));
    buffer
}

pub(crate) fn glb() -> Vec<u8> {
    let mut json = gltf_json("").into_bytes();
    while !json.len().is_multiple_of(4) {
        json.push(b' ');
    }
    let buffer = gltf_buffer();
    let mut out = b"glTF".to_vec();
    out.extend(2_u32.to_le_bytes());
    out.extend((12 + 8 + json.len() as u32 + 8 + buffer.len() as u32).to_le_bytes());
    out.extend((json.len() as u32).to_le_bytes());
    out.extend(b"JSON");
    out.extend(&json);
    out.extend((buffer.len() as u32).to_le_bytes());
    out.extend(b"BIN\0");
    out.extend(&buffer);
    out
}

/// One small sound file of every kind that is read.
pub(crate) fn samples() -> Vec<(&'static str, Vec<u8>)> {
    let data = gltf_json(&format!(
        "\"uri\":\"data:application/octet-stream;base64,{}\",",
        base64(&gltf_buffer())
    ));
    vec![
        ("binary.stl", binary("x", &TETRA)),
        ("text.stl", text(&TETRA).into_bytes()),
        ("body.obj", obj().into_bytes()),
        ("text.ply", ply("ascii")),
        ("little.ply", ply("binary_little_endian")),
        ("big.ply", ply("binary_big_endian")),
        ("model.3mf", zipped("3D/3dmodel.model", model().as_bytes())),
        ("scene.glb", glb()),
        ("scene.gltf", data.into_bytes()),
    ]
}

fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    bytes
        .chunks(3)
        .flat_map(|c| {
            let n = u32::from(c[0]) << 16
                | u32::from(*c.get(1).unwrap_or(&0)) << 8
                | u32::from(*c.get(2).unwrap_or(&0));
            [18, 12, 6, 0].map(|s| char::from(DIGITS[(n >> s & 63) as usize]))
        })
        .collect()
}

#[test]
fn obj_is_read_and_agrees_with_an_independent_reader() {
    let (file, all) = read(obj().as_bytes()).unwrap();
    assert_eq!((file.kind, &all), (Kind::Obj, &tetra()));
    let options = tobj::LoadOptions {
        triangulate: true,
        single_index: true,
        ..Default::default()
    };
    let text = obj();
    let (models, _) = tobj::load_obj_buf(&mut text.as_bytes(), &options, |_| {
        Ok((Vec::new(), Default::default()))
    })
    .unwrap();
    let theirs: Vec<Corners> = models
        .iter()
        .flat_map(|m| {
            m.mesh.indices.chunks(3).map(|t| {
                let corner =
                    |i: u32| [0, 1, 2].map(|k| f64::from(m.mesh.positions[3 * i as usize + k]));
                [corner(t[0]), corner(t[1]), corner(t[2])]
            })
        })
        .collect();
    assert_eq!(all, theirs);
}

#[test]
fn faces_with_more_corners_become_fans() {
    let square = b"v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nf 1 2 3 4\n";
    let (_, all) = read(square).unwrap();
    assert_eq!(all.len(), 2);
    assert_eq!(all[1], [[0.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0]]);
}

/// ply-rs-bw is the independent reader.
#[test]
fn ply_is_read_in_all_codings_and_agrees_with_an_independent_reader() {
    use ply_rs_bw::ply::{DefaultElement, Property};
    for format in ["ascii", "binary_little_endian", "binary_big_endian"] {
        let bytes = ply(format);
        let (file, all) = read(&bytes).unwrap();
        assert_eq!((file.kind, &all), (Kind::Ply, &tetra()), "{format}");
        let parser = ply_rs_bw::parser::Parser::<DefaultElement>::new();
        let theirs = parser.read_ply(&mut &bytes[..]).unwrap();
        let vertices = &theirs.payload["vertex"];
        let x: Vec<f32> = vertices
            .iter()
            .map(|v| match v["x"] {
                Property::Float(x) => x,
                _ => panic!("a float"),
            })
            .collect();
        let ours: Vec<f32> = all.iter().flatten().map(|p| p[0] as f32).collect();
        assert_eq!(ours, x);
        assert_eq!(theirs.payload["face"].len(), all.len());
    }
}

fn placed(all: &[Corners], map: impl Fn([f64; 3]) -> [f64; 3], mirrored: bool) -> Vec<Corners> {
    all.iter()
        .map(|t| {
            let [a, b, c] = t.map(&map);
            if mirrored { [a, c, b] } else { [a, b, c] }
        })
        .collect()
}

#[test]
fn three_mf_places_its_objects_and_keeps_outside_outside() {
    let bytes = zipped("3D/3dmodel.model", model().as_bytes());
    let (file, all) = read(&bytes).unwrap();
    assert_eq!((file.kind, file.unit), (Kind::ThreeMf, Some(0.0254)));
    assert_eq!(&all[..4], &tetra()[..]);
    assert_eq!(
        &all[4..],
        &placed(&tetra(), |p| [100.0 - p[0], p[1], p[2]], true)[..]
    );
}

/// threemf2 is the independent reader.
#[test]
fn three_mf_agrees_with_an_independent_reader() {
    let bytes = zipped("3D/3dmodel.model", model().as_bytes());
    let theirs = threemf2::package::ThreemfPackage::from_reader_with_memory_optimized_deserializer(
        std::io::Cursor::new(&bytes),
        true,
    )
    .unwrap();
    let mesh = theirs
        .root
        .resources
        .object
        .iter()
        .find_map(|o| o.get_mesh())
        .unwrap();
    assert_eq!(mesh.vertices.vertex.len(), 12);
    assert_eq!(mesh.triangles.triangle.len(), 4);
}

#[test]
fn gltf_places_its_nodes_in_every_packing() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("a b.bin"), gltf_buffer()).unwrap();
    let beside = folder.path().join("scene.gltf");
    std::fs::write(&beside, gltf_json("\"uri\":\"a%20b.bin\",")).unwrap();
    let mut found = Vec::new();
    open(&beside)
        .unwrap()
        .visit(&mut |b| found.push(b.to_vec()))
        .unwrap();
    let mut variants = vec![found.concat()];
    for (name, bytes) in samples() {
        if name.starts_with("scene") {
            let (file, all) = read_named(name, &bytes).unwrap();
            assert_eq!((file.unit, file.up), (Some(1.0), Some(Axis::Y)));
            variants.push(all);
        }
    }
    assert_eq!(variants.len(), 3);
    for all in variants {
        // First node: twice as large. Second: x mirrored, turned by 90 degrees about z, up by 5.
        assert_eq!(
            &all[..4],
            &placed(&tetra(), |p| p.map(|x| 2.0 * x), false)[..]
        );
        let wanted = placed(
            &tetra(),
            |p| [-2.0 * p[1], 2.0 * (5.0 - p[0]), 2.0 * p[2]],
            true,
        );
        for (a, b) in all[4..]
            .as_flattened()
            .as_flattened()
            .iter()
            .zip(wanted.as_flattened().as_flattened())
        {
            assert!((a - b).abs() < 1e-9);
        }
    }
}

/// The gltf crate is the independent reader of the structure.
#[test]
fn glb_agrees_with_an_independent_reader() {
    let bytes = glb();
    let theirs = gltf::Gltf::from_slice(&bytes).unwrap();
    let blob = theirs.blob.clone().unwrap();
    let primitive = theirs.meshes().next().unwrap().primitives().next().unwrap();
    let reader = primitive.reader(|_| Some(&blob));
    let points: Vec<[f32; 3]> = reader.read_positions().unwrap().collect();
    let order: Vec<u32> = reader.read_indices().unwrap().into_u32().collect();
    let (_, all) = read(&bytes).unwrap();
    for (t, ours) in order.chunks(3).zip(&all[..4]) {
        assert_eq!(
            t.iter()
                .map(|i| points[*i as usize].map(|x| f64::from(2.0 * x)))
                .collect::<Vec<_>>(),
            ours.to_vec()
        );
    }
}

#[test]
fn hostile_files_are_refused_quickly_and_in_words() {
    let ply = |count: &str| {
        format!("ply\nformat binary_little_endian 1.0\nelement vertex {count}\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uint int vertex_indices\nend_header\n").into_bytes()
    };
    let mut endless = ply("0");
    endless.extend([0xff; 64]);
    let nest = |n: usize| {
        let mut xml = String::from("<model><resources>");
        for i in 0..n {
            write!(xml, "<object id=\"{i}\"><components>").unwrap();
            (0..10).for_each(|_| write!(xml, "<component objectid=\"{}\"/>", i + 1).unwrap());
            xml += "</components></object>";
        }
        write!(xml, "<object id=\"{n}\"><mesh/></object></resources><build><item objectid=\"0\"/></build></model>").unwrap();
        zipped("3D/3dmodel.model", xml.as_bytes())
    };
    let own = zipped("3D/3dmodel.model", b"<model><resources><object id=\"1\"><components><component objectid=\"1\"/></components></object></resources><build><item objectid=\"1\"/></build></model>");
    let bomb = zipped("3D/3dmodel.model", &b"<model></model> ".repeat(4 << 20));
    let crowd = zipped(
        "3D/3dmodel.model",
        &b"<component objectid=\"1\"/>".repeat(100_001),
    );
    let long = zipped("3D/3dmodel.model", &vec![b' '; 3 << 20]);
    let not = zipped("figure.stl", b"solid");
    let uri = |u: &str| gltf_json(&format!("\"uri\":\"{u}\",")).into_bytes();
    let looped = gltf_json("")
        .replace("\"children\":[1,2]", "\"children\":[1,0]")
        .into_bytes();
    let data = format!(
        "\"buffers\":[{{\"uri\":\"data:;base64,{}\",",
        base64(&gltf_buffer())
    );
    let counting = |count: u64| {
        let json = gltf_json("").replace(
            "\"count\":12,\"type\":\"VEC3\"",
            &format!("\"count\":{count},\"type\":\"VEC3\""),
        );
        json.replace("\"buffers\":[{", &data).into_bytes()
    };
    let deep = format!(
        "{{\"asset\":{}{}}}",
        "[".repeat(100_000),
        "]".repeat(100_000)
    );
    let cases: Vec<(Vec<u8>, &str)> = vec![
        (ply("4000000000"), "announces more than it holds"),
        (ply("99999999999999999999"), "has a count"),
        (endless, "allowed are up to 10000"),
        (nest(9), "without end"),
        (nest(40), "without end"),
        (own, "without end"),
        (bomb, "unpacks to more than"),
        (crowd, "more than 100000 objects"),
        (long, "more than 1 MB"),
        (not, "holds no 3MF model"),
        (zipped("3D/3dmodel.model", b"<model><!-- > "), "comment without end"),
        (b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nelement face 1\nproperty list int int vertex_index\nend_header\n0\n3 0 0 1e999\n".to_vec(), "names corner"),
        (
            format!("{{\"nodes\":[{}{{}}]}}", "{},".repeat(100_000)).into_bytes(),
            "at most 100000",
        ),
        (uri("../secret.bin"), "not a file in its folder"),
        (uri("/etc/hostname"), "not a file in its folder"),
        (uri("..%2Fsecret.bin"), "not a file in its folder"),
        (uri("file:///etc/hostname"), "not a file in its folder"),
        (uri("gone.bin"), "cannot read the buffer"),
        (looped, "announces 168 bytes"),
        (counting(13), "reaches beyond its buffer"),
        (counting(99_999_999_999), "more than 20 million"),
        (deep.into_bytes(), "holds no triangle"),
        (glb()[..100].to_vec(), "cut short"),
        (
            b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n".to_vec(),
            "names corner 9",
        ),
        (b"v 0 0 0\nv 1 0 0\nf 1 2 -9\n".to_vec(), "does not exist"),
    ];
    for (bytes, words) in cases {
        let start = std::time::Instant::now();
        let error = read(&bytes).unwrap_err();
        assert!(
            error.to_string().contains(words),
            "{error} should say {words}"
        );
        assert!(!error.hints().is_empty());
        assert!(
            start.elapsed().as_secs() < 5,
            "{words}: {:?}",
            start.elapsed()
        );
    }
}

/// Without a scene the roots are the nodes that are nobody's children: a child keeps its place.
#[test]
fn without_a_scene_children_stay_with_their_parents() {
    let data = |scene: bool| {
        let json = gltf_json(&format!(
            "\"uri\":\"data:;base64,{}\",",
            base64(&gltf_buffer())
        ));
        match scene {
            true => json,
            false => json.replace("\"scene\":0,\"scenes\":[{\"nodes\":[0]}],", ""),
        }
    };
    assert!(!data(false).contains("scenes"));
    let with = read(data(true).as_bytes()).unwrap().1;
    assert_eq!(read(data(false).as_bytes()).unwrap().1, with);
}

#[test]
fn nodes_in_a_loop_are_refused() {
    let data = gltf_json(&format!(
        "\"uri\":\"data:;base64,{}\",",
        base64(&gltf_buffer())
    ));
    let looped = data.replace("\"children\":[1,2]", "\"children\":[1,0]");
    assert!(
        read(looped.as_bytes())
            .unwrap_err()
            .what()
            .contains("form a loop")
    );
}

/// The seeds of the fuzzer are these very files. To write them anew, delete them and run this.
#[test]
fn the_corpus_holds_every_kind() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus");
    for (name, bytes) in samples() {
        let file = folder.join(name);
        if !file.exists() {
            std::fs::create_dir_all(&folder).unwrap();
            std::fs::write(&file, &bytes).unwrap();
        }
        assert!(
            std::fs::read(&file).unwrap() == bytes,
            "{name} is not what the checks read"
        );
    }
}
