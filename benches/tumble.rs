//! How fast hard contact runs: our engine against the second opinion, same scene, same run.
//!
//! `cargo bench --bench tumble`. Prints simulated seconds per core-second (CPU time of the thread
//! where the system tells it, so that a busy machine does not count) and the ratios. Every window
//! takes at least 0.6 s of CPU: the scheduler's clock moves in ticks of some milliseconds.

use std::time::Instant;
use thumbworn::contact::rigid::{EngineKind, Ledger, Scene, run, specimens};

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

fn main() {
    println!("simulated s per core-second, ledger on; box 200 x 150 x 100 mm, e 0.3, mu 0.3");
    for corners in [30, 100, 300] {
        let scene = scene(corners);
        for step in [1000.0, 2000.0, 4000.0] {
            let (own, books) = rate(EngineKind::Exact, &scene, 1.0 / step);
            let (other, theirs) = rate(EngineKind::Rapier, &scene, 1.0 / step);
            println!(
                "{:>4} corners, 1/{step:<4} s: exact {own:>6.0} (residual {:>8.1e}, deepest {:.3} mm, \
                 negative {:.1e} {:.1e}, power {:.3} {:.3} W), rapier {other:>5.0} (residual {:>8.1e}), ratio {:.1}",
                scene.shapes[0].hull.len(),
                books.residual_share(),
                1e3 * books.deepest,
                books.share(books.negative_impact),
                books.share(books.negative_friction),
                books.impact / books.seconds,
                books.friction / books.seconds,
                theirs.residual_share(),
                own / other
            );
        }
    }
    let crowd = specimens::crowded_box(5, 8).expect("a box");
    let (own, books) = rate(EngineKind::Exact, &crowd, 1.0 / 2000.0);
    let (other, theirs) = rate(EngineKind::Rapier, &crowd, 1.0 / 2000.0);
    println!(
        "five figures of 8 pieces, 1/2000 s: exact {own:.1} (residual {:.1e}, deepest {:.3} mm, \
         negative {:.1e} {:.1e}), rapier {other:.1} (residual {:.1e}), ratio {:.1}",
        books.residual_share(),
        1e3 * books.deepest,
        books.share(books.negative_impact),
        books.share(books.negative_friction),
        theirs.residual_share(),
        own / other
    );
}
