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
