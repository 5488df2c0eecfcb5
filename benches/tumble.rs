//! How fast hard contact runs: our engine against two others, same scenes, same run.
//!
//! `cargo bench --bench tumble`. Prints simulated seconds per core-second (CPU time of the thread
//! where the system tells it, so that a busy machine does not count) and the ratios. Every window
//! takes at least 0.6 s of CPU: the scheduler's clock moves in ticks of some milliseconds.
//!
//! The second opinion (rapier) runs with our ledger on. MuJoCo runs when a Python that can import
//! it is found (`PYTHON`, `target/venv/bin/python`, `python3`), bare: nothing is read from it, and
//! its gravity, which stands for the moving box, is set every eighth step only.

use base::Unwatched;
use contact::exposure::{Names, Tumble};
use contact::rigid::{EngineKind, Ledger, Scene, run, specimens};
use contact::{Body, Restitution, Solidity, Touch};
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Instant;

/// [s] CPU time of this thread; wall time where the system does not tell.
fn cpu(since: Instant) -> f64 {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split(' ').next()?.parse::<f64>().ok())
        .map_or_else(|| since.elapsed().as_secs_f64(), |ns| 1e-9 * ns)
}

fn scene(corners: usize) -> Scene {
    specimens::shaken_box(specimens::pebble(corners, 7300.0).expect("a hull"))
}

/// The engine runs on in pieces of one second until 0.6 s of CPU are spent.
fn rate(kind: EngineKind, scene: &Scene, step: f64) -> (f64, Ledger) {
    let mut engine = kind.start(scene, step).expect("a scene");
    let mut ledgers = Vec::new();
    let clock = Instant::now();
    let start = cpu(clock);
    let mut touched = 0.0;
    loop {
        let ledger = run(engine.as_mut(), scene, 1.0, |c| touched += c.impact).expect("a run");
        ledgers.push(ledger);
        let spent = cpu(clock) - start;
        if spent > 0.6 {
            let all = Ledger::together(&ledgers);
            return (all.seconds / spent, all);
        }
    }
}

/// A Python that can import MuJoCo.
fn python() -> Option<String> {
    let named = std::env::var("PYTHON").ok();
    let tried = ["target/venv/bin/python", "python3"].map(str::to_owned);
    named.into_iter().chain(tried).find(|python| {
        Command::new(python)
            .args(["-c", "import mujoco"])
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|s| s.success())
    })
}

/// Simulated seconds per core-second of MuJoCo with the same hull.
fn mujoco(python: &str, scene: &Scene, step: f64) -> Option<f64> {
    let mut child = Command::new(python)
        .args(["benches/tumble_mujoco.py", &step.to_string()])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .ok()?;
    let hull = scene.shapes[0].hull.iter();
    let lines: String = hull.map(|p| format!("{} {} {}\n", p.x, p.y, p.z)).collect();
    child.stdin.take()?.write_all(lines.as_bytes()).ok()?;
    let answer = child.wait_with_output().ok()?;
    String::from_utf8(answer.stdout).ok()?.trim().parse().ok()
}

fn lone_figures() {
    println!("one figure: simulated s per core-second; box 200 x 150 x 100 mm, e 0.3, mu 0.3");
    let python = python();
    if python.is_none() {
        println!("no Python with mujoco here (pip install mujoco): that column stays empty");
    }
    for corners in [30, 100, 300] {
        let scene = scene(corners);
        for step in [1000.0, 2000.0, 4000.0] {
            let (own, books) = rate(EngineKind::Exact, &scene, 1.0 / step);
            let (other, theirs) = rate(EngineKind::Rapier, &scene, 1.0 / step);
            let third = python
                .as_deref()
                .and_then(|p| mujoco(p, &scene, 1.0 / step));
            println!(
                "{:>4} corners, 1/{step:<4} s: exact {own:>6.0} (residual {:>8.1e}, deepest {:.3} mm, \
                 negative {:.1e} {:.1e}, power {:.3} {:.3} W), rapier {other:>5.0} (residual {:>8.1e}), \
                 mujoco {}; ratios {:.1}, {}",
                scene.shapes[0].hull.len(),
                books.residual_share(),
                1e3 * books.deepest,
                books.share(books.negative_impact),
                books.share(books.negative_friction),
                books.impact / books.seconds,
                books.friction / books.seconds,
                theirs.residual_share(),
                third.map_or("-".into(), |r| format!("{r:.0}")),
                own / other,
                third.map_or("-".into(), |r| format!("{:.1}", own / r)),
            );
        }
    }
}

fn crowds() {
    println!("several figures in the same box, 1/2000 s");
    for (figures, pieces) in [(2, 8), (5, 8), (8, 16)] {
        let crowd = specimens::crowded_box(figures, pieces).expect("a box");
        let (own, books) = rate(EngineKind::Exact, &crowd, 1.0 / 2000.0);
        let (other, theirs) = rate(EngineKind::Rapier, &crowd, 1.0 / 2000.0);
        println!(
            "{figures} figures of {pieces} pieces: exact {own:.1} (residual {:.1e}, deepest {:.3} mm, \
             negative {:.1e} {:.1e}, power {:.2} {:.2} W), rapier {other:.1} (residual {:.1e}, \
             deepest {:.2} mm), ratio {:.1}",
            books.residual_share(),
            1e3 * books.deepest,
            books.share(books.negative_impact),
            books.share(books.negative_friction),
            books.impact / books.seconds,
            books.friction / books.seconds,
            theirs.residual_share(),
            1e3 * theirs.deepest,
            own / other
        );
    }
}

/// Replicates of a tumble on one thread and on two: wall time, and the CPU time of the busiest
/// thread, which is what the wall time would be on a machine that nobody else uses.
fn threads() {
    let figure = {
        let mesh =
            mesh::figure::shapes::turned(&[(8.0, 0.0), (8.0, 2.0), (1.0, 19.0), (0.2, 20.0)], 24);
        mesh::figure::Figure::from_mesh("cone", &mesh, &Default::default()).expect("a figure")
    };
    let side = Solidity {
        youngs: 52e9,
        poisson: 0.35,
        yield_stress: 40e6,
    };
    let touch = Touch {
        friction: 0.3,
        restitution: Restitution::Constant(0.3),
        figure: side,
        counterface: side,
    };
    let scene = scene(30);
    let half = 2.0 * base::Vec3::new(0.1, 0.075, 0.05);
    let mut tumble = Tumble::new(half, scene.path.clone(), touch);
    tumble.precision.relative = 1e-9;
    tumble.precision.budget = 160;
    let body = Body::homogeneous(&figure.solid, 7300.0);
    let names = Names {
        seed: 1,
        exposure: "bench",
        specimen: "metal",
    };
    let times = [1, 2].map(|count| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(count)
            .build()
            .expect("threads");
        let clock = Instant::now();
        let before = pool.broadcast(|_| cpu(clock));
        pool.install(|| tumble.run(&figure, &body, names, &Unwatched))
            .expect("a tumble");
        let wall = clock.elapsed().as_secs_f64();
        let after = pool.broadcast(|_| cpu(clock));
        let spent = before.iter().zip(&after).map(|(b, a)| a - b);
        (wall, spent.fold(0.0, f64::max))
    });
    println!(
        "160 replicates of 22 s: {:.2} s on one thread, {:.2} s on two, ratio {:.2}; by CPU time of \
         the busiest thread {:.2} s and {:.2} s, ratio {:.2}",
        times[0].0,
        times[1].0,
        times[0].0 / times[1].0,
        times[0].1,
        times[1].1,
        times[0].1 / times[1].1
    );
}

fn main() {
    lone_figures();
    crowds();
    threads();
}
