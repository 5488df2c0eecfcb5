//! Several figures in a shaken box for long: `crowd FIGURES PIECES SECONDS STEPS_PER_SECOND` prints
//! the books every so often.

use contact::rigid::{EngineKind, Ledger, run, specimens};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<f64> = std::env::args()
        .skip(1)
        .map(|w| w.parse())
        .collect::<Result<_, _>>()?;
    let word = |i: usize, default: f64| words.get(i).copied().unwrap_or(default);
    let scene = specimens::crowded_box(word(0, 5.0) as usize, word(1, 8.0) as usize)?;
    let seconds = word(2, 10.0);
    let mut engine = EngineKind::Exact.start(&scene, 1.0 / word(3, 2000.0))?;
    let mut books = Vec::new();
    let clock = std::time::Instant::now();
    for _ in 0..10 {
        books.push(run(engine.as_mut(), &scene, seconds / 10.0, |_| ())?);
        let all = Ledger::together(&books);
        println!(
            "{:>7.1} s, {:.1} s wall: deepest {:.4} mm, residual {:.1e}, negative {:.2e} {:.2e}, projection {:.1e}, \
             between {:.3}, power {:.4} {:.4} W, {} touches",
            all.seconds,
            clock.elapsed().as_secs_f64(),
            1e3 * all.deepest,
            all.residual_share(),
            all.share(all.negative_impact),
            all.share(all.negative_friction),
            all.share(all.projection),
            all.share(all.between_figures),
            all.impact / all.seconds,
            all.friction / all.seconds,
            all.touches
        );
    }
    Ok(())
}
