//! Checks of whole figures.

use super::shell::double_area;
use super::{Axis, Figure, Mesh, Sample, Settings, Shape, shapes};
use base::Vec3;

/// A stout body on a 25 mm disc with a thin spike, in millimetres.
pub(crate) fn porter() -> Mesh {
    let body = [
        (0.0, 0.0),
        (12.5, 0.0),
        (12.5, 2.4),
        (11.9, 3.0),
        (5.0, 3.2),
        (6.0, 12.0),
        (4.0, 20.0),
        (5.0, 27.0),
        (2.0, 29.0),
        (3.4, 33.0),
        (2.5, 36.0),
        (0.4, 37.0),
        (0.0, 40.0),
    ];
    shapes::turned(&body, 36)
}

pub(crate) fn figure(mesh: &Mesh) -> Figure {
    Figure::from_mesh("porter", mesh, &Settings::default()).unwrap()
}

#[test]
fn patches_cover_the_surface_and_are_of_one_size() {
    let figure = figure(&porter());
    let area: f64 = figure
        .mesh
        .corners()
        .map(|t| double_area(&t).norm() / 2.0)
        .sum();
    let patched: f64 = figure.patch_areas().iter().sum();
    assert!(
        (patched / area - 1.0).abs() < 1e-9,
        "{}",
        patched / area - 1.0
    );
    let mean = area / figure.patches.len() as f64;
    assert!((0.2e-6..0.32e-6).contains(&mean), "{mean:e}");
    let spread = figure
        .patches
        .iter()
        .map(|p| (p.area / mean - 1.0).powi(2))
        .sum::<f64>();
    let cv = (spread / figure.patches.len() as f64).sqrt();
    assert!(cv < 0.35, "{cv}");
}

#[test]
fn a_sphere_has_its_radius_and_a_box_its_edges_and_corners() {
    let ball = figure(&shapes::icosphere(5, 10.0));
    let mut radii: Vec<f64> = ball.patches.iter().map(|p| p.radius).collect();
    radii.sort_by(f64::total_cmp);
    let median = radii[radii.len() / 2];
    assert!((0.008..0.0105).contains(&median), "{median}");
    assert!(ball.patches.iter().all(|p| p.shape == Shape::Face));

    let cube = figure(&shapes::block(Vec3::zeros(), Vec3::repeat(10.0)));
    let shape_at = |x: f64, y: f64, z: f64| {
        let i = cube
            .surface
            .nearest(&(Vec3::new(x, y, z) * 1e-3), &Vec3::zeros())
            .unwrap();
        cube.patches[cube.surface.samples[i].patch.index()].shape
    };
    assert_eq!(shape_at(5.0, 5.0, 10.0), Shape::Tip);
    assert_eq!(shape_at(5.0, 0.0, 10.0), Shape::Edge);
    assert_eq!(shape_at(0.0, 0.0, 10.0), Shape::Face);
    let mut sharp: Vec<f64> = cube
        .patches
        .iter()
        .filter(|p| p.shape == Shape::Edge)
        .map(|p| p.radius)
        .collect();
    sharp.sort_by(f64::total_cmp);
    let median = sharp[sharp.len() / 2];
    assert!(
        sharp.len() > 200 && median < 3e-4,
        "{} {median}",
        sharp.len()
    );
}

#[test]
fn a_knife_blade_is_sharp_and_the_inside_of_a_bowl_hollow() {
    // A wedge of 11 degrees: its two sides are no neighbours.
    let blade = Mesh {
        vertices: [
            [0.0, -1.0, 0.0],
            [20.0, -1.0, 0.0],
            [0.0, 1.0, 0.0],
            [20.0, 1.0, 0.0],
            [0.0, 0.0, 10.0],
            [20.0, 0.0, 10.0],
        ]
        .map(Vec3::from)
        .to_vec(),
        triangles: vec![
            [0, 2, 1],
            [1, 2, 3],
            [0, 1, 4],
            [1, 5, 4],
            [2, 4, 3],
            [3, 4, 5],
            [0, 4, 2],
            [1, 3, 5],
        ],
    };
    let blade = Figure::from_mesh(
        "blade",
        &blade,
        &Settings {
            up: Some(Axis::Z),
            ..Settings::default()
        },
    )
    .unwrap();
    let i = blade
        .surface
        .nearest(&Vec3::new(0.0, 0.0, 0.010), &Vec3::zeros())
        .unwrap();
    let patch = &blade.patches[blade.surface.samples[i].patch.index()];
    assert!(
        patch.shape == Shape::Edge && patch.radius < 2e-4,
        "{patch:?}"
    );

    let bowl = [
        (0.0, 0.0),
        (8.0, 0.0),
        (8.0, 10.0),
        (1.2, 10.0),
        (1.1, 9.5),
        (0.85, 9.1),
        (0.45, 8.85),
        (0.0, 8.8),
    ];
    let bowl = figure(&shapes::turned(&bowl, 48));
    let i = bowl
        .surface
        .nearest(&Vec3::new(0.0, 0.0, 0.0088), &Vec3::zeros())
        .unwrap();
    assert_eq!(
        bowl.patches[bowl.surface.samples[i].patch.index()].shape,
        Shape::Hollow
    );
}

#[test]
fn a_contact_is_booked_whole_wherever_it_is() {
    let figure = figure(&porter());
    let mut random = base::random::stream(3, &["contacts"], 0);
    for _ in 0..500 {
        use rand::RngExt;
        let mut x = || random.random::<f64>() * 0.06 - 0.03;
        let (point, normal) = (
            Vec3::new(x(), x(), x() + 0.02),
            Vec3::new(x(), x(), x()).normalize(),
        );
        let shares = figure.surface.spread(&point, &normal, 5e-4);
        let total: f64 = shares.iter().map(|s| s.1).sum();
        assert!((total - 1.0).abs() < 1e-12 && !shares.is_empty());
        assert!(shares.windows(2).all(|w| w[0].0 < w[1].0));
    }
}

#[test]
fn a_contact_on_a_thin_plate_stays_on_its_side() {
    let plate = shapes::block(Vec3::zeros(), Vec3::new(20.0, 0.3, 20.0));
    let settings = Settings {
        up: Some(Axis::Z),
        ..Settings::default()
    };
    let plate = Figure::from_mesh("plate", &plate, &settings).unwrap();
    let shares = plate
        .surface
        .spread(&Vec3::new(0.0, -0.00015, 0.01), &-Vec3::y(), 5e-4);
    assert!(
        shares
            .iter()
            .all(|(p, _)| plate.patches[p.index()].normal.y < -0.9)
    );
}

#[test]
fn an_inside_out_file_is_turned_and_said_so() {
    let right = figure(&porter());
    let wrong = figure(&shapes::inside_out(&porter()));
    assert!(wrong.notes.iter().any(|n| n.text.contains("inside out")));
    assert_eq!(wrong.health.turned_shells, 0);
    assert!((wrong.solid.volume / right.solid.volume - 1.0).abs() < 1e-12);
    assert!((wrong.patches[0].normal - right.patches[0].normal).norm() < 1e-9);
}

fn says(figure: &Figure, words: &str) -> bool {
    figure
        .health
        .findings
        .iter()
        .any(|f| f.what.contains(words))
}

#[test]
fn a_sound_figure_has_nothing_to_say_and_is_reached_everywhere() {
    let figure = figure(&porter());
    assert_eq!(figure.health.findings, vec![]);
    assert!(figure.patches.iter().all(|p| p.exposed));
    assert!(figure.surface.samples.iter().all(|s| s.exposed));
}

#[test]
fn walls_inside_other_parts_get_no_dose() {
    // A rod through the body: its middle lies inside.
    let rod = shapes::block(Vec3::new(-10.0, -1.0, 14.0), Vec3::new(10.0, 1.0, 16.0));
    let figure = figure(&shapes::together(&[porter(), rod]));
    assert!(says(&figure, "parts overlap"));
    let inside =
        |s: &&Sample| s.point.x.hypot(s.point.y) < 4e-3 && (0.0139..0.0161).contains(&s.point.z);
    let (mut hidden, mut all) = (0.0, 0.0);
    for s in figure.surface.samples.iter().filter(inside) {
        all += s.area;
        hidden += if s.exposed { 0.0 } else { s.area };
    }
    assert!(hidden / all > 0.97, "{}", hidden / all);
    let outside = figure
        .surface
        .samples
        .iter()
        .filter(|s| s.point.x.abs() > 7e-3);
    assert!(outside.clone().count() > 100 && outside.clone().all(|s| s.exposed));
    let shares = figure
        .surface
        .spread(&Vec3::new(0.0, 0.0, 0.015), &Vec3::z(), 5e-4);
    assert!(
        shares
            .iter()
            .all(|(p, _)| figure.patches[p.index()].exposed)
    );
}

#[test]
fn cavities_are_told_and_get_no_dose() {
    let hole = shapes::moved(&shapes::icosphere(4, 3.0), |p| p + Vec3::z() * 10.0);
    let hollow = figure(&shapes::together(&[porter(), shapes::inside_out(&hole)]));
    assert_eq!((hollow.health.cavities, hollow.health.inner_shells), (1, 0));
    let wall = |s: &&Sample| (s.point - Vec3::z() * 0.010).norm() < 3.1e-3;
    assert!(
        hollow
            .surface
            .samples
            .iter()
            .filter(wall)
            .all(|s| !s.exposed)
    );
    let not = figure(&shapes::together(&[porter(), hole]));
    assert_eq!((not.health.cavities, not.health.inner_shells), (0, 1));
    assert!(says(&not, "face outward inside a solid"));
    assert!(not.solid.volume > hollow.solid.volume * 1.02);
}

#[test]
fn the_inside_of_a_print_with_a_drain_hole_gets_no_dose() {
    let profile = [
        (0.0, 0.0),
        (12.5, 0.0),
        (12.5, 3.0),
        (8.0, 20.0),
        (3.0, 36.0),
        (0.0, 36.0),
    ];
    let inner = [
        (2.0, 33.0),
        (6.5, 19.0),
        (10.5, 4.0),
        (10.0, 2.0),
        (1.0, 2.0),
        (1.0, 0.0),
    ];
    // Wall: up the outside, down the inside, out through a hole of 2 mm in the foot.
    let mut all: Vec<(f64, f64)> = vec![(1.0, 0.0)];
    all.extend(&profile[1..]);
    let outer = shapes::turned(&all, 48);
    let mut inside: Vec<(f64, f64)> = vec![(0.0, 33.0)];
    inside.extend(inner);
    let print = figure(&shapes::together(&[outer, shapes::turned(&inside, 48)]));
    assert!(print.shells.balanced && print.shells.list.len() == 1);
    let hidden = |z: f64| {
        let at = |s: &&Sample| {
            (s.point.z - z).abs() < 1e-3 && s.point.x.hypot(s.point.y) < 8.5e-3 - 0.25 * (z - 0.012)
        };
        let some: Vec<_> = print.surface.samples.iter().filter(at).collect();
        some.iter().filter(|s| !s.exposed).count() as f64 / some.len() as f64
    };
    assert!(hidden(0.012) > 0.98, "{}", hidden(0.012));
    let out = print
        .surface
        .samples
        .iter()
        .filter(|s| s.point.x.hypot(s.point.y) > 11e-3);
    assert!(out.clone().count() > 100 && out.clone().all(|s| s.exposed));
}

#[test]
fn one_shell_inside_out_among_right_ones_is_turned() {
    let rod = shapes::block(Vec3::new(-10.0, -1.0, 14.0), Vec3::new(10.0, 1.0, 16.0));
    let right = figure(&shapes::together(&[porter(), rod.clone()]));
    let wrong = figure(&shapes::together(&[porter(), shapes::inside_out(&rod)]));
    assert_eq!(wrong.health.turned_shells, 1);
    assert!((wrong.solid.volume / right.solid.volume - 1.0).abs() < 1e-9);
}

#[test]
fn kits_copies_and_supports_are_noticed() {
    let arm = shapes::block(Vec3::new(20.0, 0.0, 0.0), Vec3::new(24.0, 4.0, 20.0));
    let kit = figure(&shapes::together(&[porter(), arm]));
    assert_eq!(kit.health.parts_apart, 2);
    let copies = figure(&shapes::together(&[
        porter(),
        shapes::moved(&porter(), |p| p + Vec3::x() * 1e-4),
    ]));
    assert_eq!(copies.health.duplicated_shells, 1);
    let posts: Vec<Mesh> = (0..25)
        .map(|i| {
            let at = Vec3::new(
                f64::from(i % 5) * 5.0 - 10.0,
                f64::from(i / 5) * 5.0 - 10.0,
                0.0,
            );
            shapes::block(at, at + Vec3::new(0.7, 0.7, 12.0))
        })
        .collect();
    let raft = shapes::block(Vec3::new(-13.0, -13.0, 0.0), Vec3::new(13.0, 13.0, 0.8));
    let lifted = shapes::moved(&porter(), |p| p + Vec3::z() * 11.0);
    let mut all = vec![raft, lifted];
    all.extend(posts);
    let supported = figure(&shapes::together(&all));
    assert!(
        says(&supported, "probably print supports"),
        "{}",
        supported.health.thin_posts
    );
}

#[test]
fn convex_pieces_keep_the_outline_and_few_corners() {
    let pieces = figure(&porter()).pieces().unwrap();
    assert!(pieces.hulls.len() > 3);
    assert!(
        pieces
            .hulls
            .iter()
            .all(|h| h.points.len() <= super::pieces::MOST_CORNERS)
    );
    assert!(pieces.fit.support_error <= 2e-5, "{:?}", pieces.fit);
    assert!(
        (0.98..1.35).contains(&pieces.fit.volume_ratio),
        "{:?}",
        pieces.fit
    );
}

#[test]
fn heaps_of_triangles_are_no_figures() {
    let mut random = base::random::stream(5, &["heap"], 0);
    let mut point = || {
        use rand::RngExt;
        Vec3::new(random.random(), random.random(), random.random()) * 40.0
    };
    let settings = Settings::default();
    let refused = |mesh: &Mesh| Figure::from_mesh("heap", mesh, &settings).unwrap_err();
    let corners: Vec<Vec3> = (0..18_000).map(|_| point()).collect();
    let loose = Mesh {
        triangles: (0..6000).map(|i| [3 * i, 3 * i + 1, 3 * i + 2]).collect(),
        vertices: corners.clone(),
    };
    assert!(refused(&loose).what().contains("do not join"));
    let ribbon = Mesh {
        triangles: (0..6000).map(|i| [i, i + 1, i + 2]).collect(),
        vertices: corners[..6002].to_vec(),
    };
    assert!(refused(&ribbon).what().contains("as large as the box"));
}

#[test]
fn the_same_mesh_twice_is_the_same_figure_to_the_bit() {
    let (a, b) = (figure(&porter()), figure(&porter()));
    assert_eq!(a.hash, b.hash);
    assert_eq!(a.patches, b.patches);
    assert_eq!(a.surface.samples, b.surface.samples);
}

/// Neighbours on the map have different colours, and every colour is used.
#[test]
fn patches_that_touch_have_different_colours() {
    for mesh in [porter(), super::sculpt::porter(8_000)] {
        let figure = figure(&mesh);
        let colours = figure.patch_colours(7);
        let borders = figure.patch_borders();
        assert!(borders.len() > 2 * figure.patches.len());
        let same = borders
            .iter()
            .filter(|(a, b)| colours[a.index()] == colours[b.index()])
            .count();
        assert!(same * 1000 < borders.len(), "{same} of {}", borders.len());
        for colour in 0..7 {
            let used = colours.iter().filter(|c| **c == colour).count();
            assert!(used * 14 > colours.len(), "{colour}: {used}");
        }
    }
}
