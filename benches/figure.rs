//! How fast figures load: every time beside what no program can beat, reading the file and copying
//! it once, and beside stl_io and trimesh; then whole figures, and how many patches stay the same
//! when the same shape comes in other triangles. `FIGURE_PYTHON=target/venv/bin/python cargo bench
//! --bench figure`; without that variable trimesh is left out. Targets stand beside the numbers.
//! Files in the order of a program that walks the surface; a file in random order costs three times as
//! much at 3 million triangles, because every corner is then a miss of the cache.
//! Loading is measured in CPU time of the thread, so that a busy machine does not count.
//! Arguments: triangle counts in thousands, default 200 1000 3000.

use base::Vec3;
use mesh::figure::{Figure, Mesh, Settings, shapes, weld::weld};
use mesh::format::read;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// A dented sphere in millimetres, on a flat foot, of about so many triangles.
fn body(triangles: usize) -> Mesh {
    let sides = ((triangles / 2) as f64).sqrt() as usize;
    let rings = sides;
    let profile: Vec<(f64, f64)> = (0..=rings)
        .map(|i| {
            let t = i as f64 / rings as f64 * std::f64::consts::PI;
            let r = 15.0 * t.sin() * (1.0 + 0.1 * (9.0 * t).sin());
            let ends = i == 0 || i == rings;
            (if ends { 0.0 } else { r.max(1e-3) }, 20.0 - 20.0 * t.cos())
        })
        .collect();
    shapes::moved(&shapes::turned(&profile, sides), |p| {
        let bump = 1.0 + 0.05 * (0.9 * p.x).sin() * (1.1 * p.y).cos() * (0.7 * p.z).sin();
        Vec3::new(p.x * bump, p.y * bump, p.z.max(1.0))
    })
}

fn write_stl(mesh: &Mesh, path: &Path) -> std::io::Result<()> {
    let mut out = std::io::BufWriter::new(std::fs::File::create(path)?);
    out.write_all(&[b' '; 80])?;
    out.write_all(&(mesh.triangles.len() as u32).to_le_bytes())?;
    for t in mesh.corners() {
        out.write_all(&[0; 12])?;
        for x in t.iter().flat_map(|p| p.iter()) {
            out.write_all(&(*x as f32).to_le_bytes())?;
        }
        out.write_all(&[0; 2])?;
    }
    out.flush()
}

/// [s] CPU time of this thread; wall time where the system does not tell.
fn cpu(since: Instant) -> f64 {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split(' ').next()?.parse::<f64>().ok())
        .map_or_else(|| since.elapsed().as_secs_f64(), |ns| 1e-9 * ns)
}

fn best<T>(rounds: usize, mut work: impl FnMut() -> T) -> (f64, T) {
    let mut best: Option<(f64, T)> = None;
    for _ in 0..rounds {
        let start = Instant::now();
        let out = work();
        let seconds = start.elapsed().as_secs_f64();
        if best.as_ref().is_none_or(|b| seconds < b.0) {
            best = Some((seconds, out));
        }
    }
    best.expect("at least one round")
}

/// [MB] highest memory of this process so far, where the system tells.
fn peak() -> f64 {
    std::fs::read_to_string("/proc/self/status")
        .ok()
        .and_then(|s| {
            let line = s.lines().find(|l| l.starts_with("VmHWM"))?.to_string();
            line.split_whitespace().nth(1)?.parse::<f64>().ok()
        })
        .map_or(f64::NAN, |kb| kb / 1024.0)
}

/// Runs one piece of work in a process of its own, so that neither memory nor its reuse leaks from
/// one measurement into the next. Best of five.
fn apart(work: &str, path: &Path) -> (f64, f64, f64) {
    let program = std::env::current_exe().expect("this program");
    let runs = (0..5).map(|_| {
        let out = std::process::Command::new(&program)
            .args(["--work", work])
            .arg(path)
            .output()
            .expect("runs");
        let text = String::from_utf8_lossy(&out.stdout).into_owned();
        let mut words = text
            .split_whitespace()
            .map(|w| w.parse().unwrap_or(f64::NAN));
        let mut next = || words.next().unwrap_or(f64::NAN);
        (next(), next(), next())
    });
    runs.min_by(|a, b| a.0.total_cmp(&b.0)).expect("five runs")
}

/// Prints seconds, what came out, and the peak of memory [MB].
fn work(name: &str, path: &Path) {
    let clock = Instant::now();
    let start = cpu(clock);
    let count = match name {
        "own" => weld(&read::open(path).expect("readable"))
            .expect("welds")
            .0
            .vertices
            .len(),
        "limit" => {
            let copy = std::fs::read(path).expect("readable").clone();
            usize::from(copy[copy.len() / 2])
        }
        _ => {
            let mut file = std::fs::File::open(path).expect("readable");
            stl_io::read_stl(&mut std::io::BufReader::new(&mut file))
                .map_or(0, |m| m.vertices.len())
        }
    };
    println!("{} {count} {}", cpu(clock) - start, peak());
}

/// CPU seconds, corners and peak [MB] of trimesh on the same file.
fn trimesh(path: &Path) -> Option<(f64, f64, f64)> {
    let python = std::env::var("FIGURE_PYTHON").ok()?;
    let out = std::process::Command::new(python)
        .arg(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/benches/figure_trimesh.py"
        ))
        .arg(path)
        .arg("3")
        .output()
        .ok()?;
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    let mut words = text.split_whitespace().filter_map(|w| w.parse().ok());
    Some((words.next()?, words.next()?, words.next()?))
}

fn row(path: &Path, target: f64) {
    let mb = std::fs::metadata(path).map_or(f64::NAN, |m| m.len() as f64 / 1e6);
    let (own, corners, memory) = apart("own", path);
    let (limit, ..) = apart("limit", path);
    let (other, theirs, _) = apart("stl_io", path);
    println!(
        "{mb:7.0} MB  limit {limit:.3} s  load+weld {own:.3} s = {:.2}x limit (target {target}x)  stl_io {other:.3} s = {:.1}x ours  corners {corners} / {theirs}  peak {memory:.0} MB = {:.2}x file (target 1.6x)",
        own / limit,
        other / own,
        memory * 1.048_576 / mb
    );
    match trimesh(path) {
        Some((seconds, theirs, memory)) => println!(
            "            trimesh {seconds:.3} s = {:.1}x ours (target 10x)  corners {theirs}  peak {memory:.0} MB",
            seconds / own
        ),
        None => {
            println!("            trimesh left out: FIGURE_PYTHON names no Python with trimesh")
        }
    }
}

/// Share of the first figure's patches that the second has at the same place, to 0.1 um.
fn same_patches(first: &Figure, second: &Figure) -> f64 {
    let mut sorted: Vec<Vec3> = second.patches.iter().map(|p| p.centroid).collect();
    sorted.sort_by(|a, b| a.x.total_cmp(&b.x));
    let same = first.patches.iter().filter(|p| {
        let from = sorted.partition_point(|q| q.x < p.centroid.x - 1e-7);
        sorted[from..]
            .iter()
            .take_while(|q| q.x < p.centroid.x + 1e-7)
            .any(|q| (q - p.centroid).norm() < 1e-7)
    });
    same.count() as f64 / first.patches.len() as f64
}

/// A figure of 7000 triangles: patches in time, and the same ones over triangulations.
fn patches() {
    let shape = body(7000);
    let settings = Settings::default();
    let make = |mesh: &Mesh| Figure::from_mesh("body", mesh, &settings).expect("a figure");
    let (seconds, first) = best(5, || make(&shape));
    println!(
        "{} triangles to {} patches, everything else of the figure included: {seconds:.2} s (target 1 s)",
        first.mesh.triangles.len(),
        first.patches.len()
    );
    for (name, other) in [
        ("split at random", shapes::split_at_random(&shape, 0.05, 3)),
        ("split in four", shapes::split_in_four(&shape)),
    ] {
        let other = make(&other);
        println!(
            "  {name}, {} triangles: {:.2} % of the patches are the same (target 98 %)",
            other.mesh.triangles.len(),
            100.0 * same_patches(&first, &other)
        );
    }
}

fn main() {
    let words: Vec<String> = std::env::args().collect();
    if let [_, flag, name, path, ..] = &words[..]
        && flag == "--work"
    {
        return work(name, Path::new(path));
    }
    let sizes: Vec<usize> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let sizes = if sizes.is_empty() {
        vec![200, 1000, 3000]
    } else {
        sizes
    };
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let files: Vec<(usize, PathBuf)> = sizes
        .iter()
        .map(|n| {
            let path = folder.path().join(format!("{n}k.stl"));
            write_stl(&body(n * 1000), &path).expect("writable");
            (*n, path)
        })
        .collect();
    println!("load and weld, CPU seconds, best of 5, each in a process of its own");
    for (n, path) in &files {
        row(path, if *n > 1000 { 4.0 } else { 3.0 });
    }
    patches();
    println!("whole figures: load, weld, solid, hull, samples, patches");
    let small = folder.path().join("small.stl");
    write_stl(&body(7000), &small).expect("writable");
    for path in std::iter::once(&small).chain(files.iter().map(|f| &f.1)) {
        let (seconds, figure) = best(3, || {
            Figure::load(path, &Settings::default()).expect("a figure")
        });
        println!(
            "{:9} triangles  {seconds:.2} s  {} samples  {} patches  hull of {}  peak {:.0} MB",
            figure.mesh.triangles.len(),
            figure.surface.samples.len(),
            figure.patches.len(),
            figure.hull.len(),
            peak()
        );
    }
}
