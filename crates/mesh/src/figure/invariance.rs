//! The same shape in other triangles gives the same patches, totals and areas.

use super::sculpt;
use super::tests::{figure, porter};
use super::{Figure, Mesh, shapes};
use base::Vec3;

/// The porter bent and dented, so that nothing on it is there twice.
fn bent() -> Mesh {
    shapes::moved(&porter(), |p| {
        if p.z < 3.1 {
            return *p;
        }
        let dent = 1.0 + 0.18 * (0.4 * p.x + 0.7 * p.y).sin() * (0.3 * p.z).cos();
        Vec3::new(p.x * dent + 0.002 * p.z * p.z, p.y * dent - 0.05 * p.z, p.z)
    })
}

const KERNEL: f64 = 5e-4;

fn directions(count: usize) -> Vec<Vec3> {
    let mut random = base::random::stream(11, &["directions"], 0);
    (0..count)
        .map(|_| base::random::attitude(&mut random) * Vec3::z())
        .collect()
}

/// Dose per patch of contacts at the hull, and of planes pressed 0.6 mm deep.
fn doses(figure: &Figure) -> [Vec<f64>; 2] {
    let mut knocks = vec![0.0; figure.patches.len()];
    for d in directions(2000) {
        let along = |p: &&Vec3| p.dot(&d);
        let corner = figure
            .hull
            .iter()
            .max_by(|a, b| along(a).total_cmp(&along(b)))
            .unwrap();
        for (patch, share) in figure.surface.spread(corner, &d, KERNEL) {
            knocks[patch.index()] += share;
        }
    }
    let mut rubs = vec![0.0; figure.patches.len()];
    let depth = 6e-4;
    for d in directions(120) {
        let top = figure
            .hull
            .iter()
            .map(|p| p.dot(&d))
            .fold(f64::MIN, f64::max);
        for s in &figure.surface.samples {
            let into = 1.0 - (top - s.point.dot(&d)) / depth;
            if into > 0.0 {
                rubs[s.patch.index()] += s.area * into * s.normal.dot(&d).max(0.0);
            }
        }
    }
    [knocks, rubs]
}

/// The ten areas of 1 mm radius with the most dose: middle and dose.
fn areas(figure: &Figure, dose: &[f64]) -> Vec<(Vec3, f64)> {
    let sum_at = |p: &Vec3| -> f64 {
        let near = |q: &Vec3| (1.0 - (p - q).norm() / 1e-3).max(0.0);
        figure
            .patches
            .iter()
            .zip(dose)
            .map(|(q, d)| d * near(&q.centroid))
            .sum()
    };
    let mut left: Vec<(Vec3, f64)> = figure
        .patches
        .iter()
        .zip(dose)
        .filter(|(_, d)| **d > 0.0)
        .map(|(p, _)| (p.centroid, sum_at(&p.centroid)))
        .collect();
    let mut found = Vec::new();
    while found.len() < 14 {
        let Some(best) = left.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)) else {
            break;
        };
        left.retain(|p| (p.0 - best.0).norm() > 2e-3);
        found.push(best);
    }
    found
}

/// How far the same shape in other triangles may differ.
struct Allowed {
    total: f64,
    area: f64,
}

/// Patches, totals and the ten areas with the most dose, for contacts at the hull and for rubs.
fn holds_on(first: &Figure, others: &[(&str, Mesh)], allowed: &Allowed) {
    let wanted = doses(first);
    for (name, other) in others {
        let other = figure(other);
        let (mut same, mut kept) = (0, 0);
        let mut sorted: Vec<Vec3> = other.patches.iter().map(|p| p.centroid).collect();
        sorted.sort_by(|a, b| a.x.total_cmp(&b.x));
        for p in &first.patches {
            let from = sorted.partition_point(|q| q.x < p.centroid.x - 1e-7);
            same += usize::from(
                sorted[from..]
                    .iter()
                    .take_while(|q| q.x < p.centroid.x + 1e-7)
                    .any(|q| (q - p.centroid).norm() < 1e-7),
            );
        }
        let share = same as f64 / first.patches.len() as f64;
        assert!(share >= 0.98, "{name}: {share} of the patches are the same");
        for (ours, theirs) in wanted.iter().zip(doses(&other)) {
            let (a, b): (f64, f64) = (ours.iter().sum(), theirs.iter().sum());
            assert!((a / b - 1.0).abs() < allowed.total, "{name}: total {a} {b}");
            let found = areas(&other, &theirs);
            for (place, dose) in areas(first, ours).into_iter().take(10) {
                let near = found.iter().find(|f| (f.0 - place).norm() < 8e-4);
                let near = near.unwrap_or_else(|| panic!("{name}: no area at {place}"));
                assert!(
                    (near.1 / dose - 1.0).abs() < allowed.area,
                    "{name}: {} {dose}",
                    near.1
                );
                kept += 1;
            }
        }
        assert_eq!(kept, 20);
    }
}

/// Three triangulations: as it is, split at random points, each triangle in sixteen.
#[test]
fn doses_do_not_depend_on_the_triangles() {
    let shape = bent();
    let sixteen = shapes::split_in_four(&shapes::split_in_four(&shape));
    let others = [
        ("random", shapes::split_at_random(&shape, 0.15, 3)),
        ("sixteen", sixteen),
    ];
    let allowed = Allowed {
        total: 1e-4,
        area: 0.05,
    };
    holds_on(&figure(&shape), &others, &allowed);
}

/// The demo figure, with thin tips, folds and undersides: as it is sculpted, and cut in pieces at
/// random points and at the middles of its edges.
#[test]
fn neither_do_they_on_the_figure_that_ships() {
    let shape = sculpt::porter(12_000);
    let others = [
        ("random", shapes::split_at_random(&shape, 0.05, 7)),
        ("four", shapes::split_in_four(&shape)),
    ];
    let allowed = Allowed {
        total: 0.01,
        area: 0.05,
    };
    holds_on(&figure(&shape), &others, &allowed);
}

/// Why samples are cut and not taken from the artist: with the faces' middles as the places that
/// can take dose, most contacts find none within the kernel.
#[test]
fn the_artists_faces_would_lose_most_contacts() {
    let figure = figure(&bent());
    let middles: Vec<Vec3> = figure
        .mesh
        .corners()
        .map(|[a, b, c]| (a + b + c) / 3.0)
        .collect();
    let (mut lost, mut booked) = (0, 0);
    for d in directions(2000) {
        let along = |p: &&Vec3| p.dot(&d);
        let corner = figure
            .hull
            .iter()
            .max_by(|a, b| along(a).total_cmp(&along(b)))
            .unwrap();
        lost += usize::from(middles.iter().all(|m| (m - corner).norm() > KERNEL));
        let near = figure.surface.within(corner, KERNEL);
        booked += usize::from(near.iter().any(|i| figure.surface.samples[*i].exposed));
    }
    assert!(lost > 1300, "{lost} of 2000 lost");
    assert_eq!(booked, 2000);
}
