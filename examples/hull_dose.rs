//! Energy per hull corner of a shaken figure, for the comparison with an independent engine:
//! `hull_dose SECONDS SEED DENSITY ENGINE` prints one line per corner: x, y, z [m], impact loss [J],
//! friction work [J]; the first line holds mass [kg] and seconds.

use base::Vec3;
use base::random::{attitude, stream};
use contact::rigid::{BoxPath, EngineKind, run, specimens};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let word = |i: usize, default: &str| words.get(i).cloned().unwrap_or_else(|| default.into());
    let (seconds, seed): (f64, u64) = (word(0, "10").parse()?, word(1, "1").parse()?);
    let density: f64 = word(2, "7300").parse()?;
    let kind = match word(3, "exact").as_str() {
        "rapier" => EngineKind::Rapier,
        _ => EngineKind::Exact,
    };
    let mut scene = specimens::shaken_box(specimens::pebble(100, density)?);
    let mut random = stream(seed, &["hull dose"], 0);
    if let BoxPath::Shake { phase, .. } = &mut scene.path {
        use rand::RngExt;
        *phase = Vec3::from_fn(|_, _| std::f64::consts::TAU * random.random::<f64>());
    }
    scene.start[0].position = scene.path.position(0.0);
    scene.start[0].rotation = attitude(&mut random);
    let mut engine = kind.start(&scene, 1.0 / 2000.0)?;
    let hull = &scene.shapes[0].hull;
    let mut dose = vec![(0.0, 0.0); hull.len()];
    run(engine.as_mut(), &scene, 2.0, |_| ())?;
    run(engine.as_mut(), &scene, seconds, |contact| {
        if let Some(corner) = contact.vertex {
            dose[corner as usize].0 += contact.impact;
            dose[corner as usize].1 += contact.friction;
        }
    })?;
    println!("{} {seconds}", scene.shapes[0].body.mass);
    for (p, (impact, friction)) in hull.iter().zip(&dose) {
        println!("{} {} {} {impact} {friction}", p.x, p.y, p.z);
    }
    Ok(())
}
