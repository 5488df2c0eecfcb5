//! Vibration schedules that ship. Break points are from memory (grade B); only their levels are
//! checked. All but the names marked in [`spectrum`] integrate to the published level.

use super::vibration::Spectrum;

/// A stretch of a journey at one level.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Share of the time.
    pub share: f64,
    /// What the floor does meanwhile.
    pub spectrum: Spectrum,
}

/// A journey: vertical levels in turn, and how much weaker the level axes are.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// Name in the scenario.
    pub name: &'static str,
    /// Stages; shares sum to 1.
    pub stages: Vec<Stage>,
    /// Amplitude of the two level axes over the vertical one.
    pub level_axes: f64,
    /// What it is and how well it is known.
    pub remark: &'static str,
}

/// Names of all journeys.
pub const NAMES: [&str; 4] = [
    "car boot",
    "truck, mixed levels",
    "over-the-road trailer",
    "highway truck",
];

/// A journey by name.
///
/// Road vibration is not one level: sliding sets in above a threshold, so a mean level would miss
/// most of it. The truck mixes 40 min low, 15 min medium and 5 min high (as the 2016 truck
/// schedule does; in print), the car the same mixture at a quarter of its level.
#[must_use]
pub fn journey(name: &str) -> Option<Schedule> {
    let mixed = |scale: f64| {
        [(0.40, 40.0), (0.54, 15.0), (0.70, 5.0)]
            .into_iter()
            .filter_map(|(grms, minutes)| {
                Some(Stage {
                    share: minutes / 60.0,
                    // Shape of the older schedule, whose points meet its level, at the newer
                    // one's published levels.
                    spectrum: spectrum("truck before 2016, level II")?.scaled_to(scale * grms),
                })
            })
            .collect()
    };
    let single = |name: &str| {
        spectrum(name).map(|spectrum| {
            vec![Stage {
                share: 1.0,
                spectrum,
            }]
        })
    };
    Some(match name {
        "car boot" => Schedule {
            name: NAMES[0],
            stages: mixed(0.1 / 0.469_5),
            level_axes: 0.5,
            remark: "passenger car boot, 0.1 g (0.04-0.25) on the mean square: engineering prior",
        },
        "truck, mixed levels" => Schedule {
            name: NAMES[1],
            stages: mixed(1.0),
            level_axes: 0.5,
            remark: "40, 15 and 5 minutes of an hour at 0.40, 0.54 and 0.70 g (levels in print)",
        },
        "over-the-road trailer" => Schedule {
            name: NAMES[2],
            stages: single("over-the-road trailer")?,
            level_axes: 0.5,
            remark: "0.53 g, break points from memory",
        },
        "highway truck" => Schedule {
            name: NAMES[3],
            stages: single("highway truck, vertical")?,
            level_axes: 0.5,
            remark: "1.04 g vertical, break points from memory: a severe test level",
        },
        _ => return None,
    })
}

/// A single spectral density by name: every one here integrates to its published level.
#[must_use]
pub fn spectrum(name: &str) -> Option<Spectrum> {
    let truck = |factor: f64| {
        [
            (1.0, 5e-5),
            (4.0, 0.01),
            (16.0, 0.01),
            (40.0, 0.001),
            (80.0, 0.001),
            (200.0, 1e-5),
        ]
        .map(|(f, g)| (f, g * factor))
        .to_vec()
    };
    let points = match name {
        "truck before 2016, level I" => truck(2.0),
        "truck before 2016, level II" => truck(1.0),
        "truck before 2016, level III" => truck(0.5),
        "over-the-road trailer" => vec![
            (1.0, 7e-4),
            (3.0, 0.02),
            (5.0, 0.02),
            (7.0, 0.001),
            (12.0, 0.001),
            (15.0, 0.004),
            (24.0, 0.004),
            (28.0, 0.001),
            (36.0, 0.001),
            (42.0, 0.003),
            (75.0, 0.003),
            (200.0, 4e-6),
        ],
        "highway truck, vertical" => vec![(10.0, 0.015), (40.0, 0.015), (500.0, 1.5e-4)],
        "highway truck, transverse" => vec![
            (10.0, 1.3e-4),
            (20.0, 6.5e-4),
            (30.0, 6.5e-4),
            (78.0, 2e-5),
            (79.0, 1.9e-4),
            (120.0, 1.9e-4),
            (500.0, 1e-5),
        ],
        "highway truck, longitudinal" => vec![
            (10.0, 0.0065),
            (20.0, 0.0065),
            (120.0, 2e-4),
            (121.0, 0.003),
            (200.0, 0.003),
            (240.0, 0.0015),
            (340.0, 3e-5),
            (500.0, 1.5e-4),
        ],
        _ => return None,
    };
    Some(Spectrum { points })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_journey_is_whole() {
        for name in NAMES {
            let journey = journey(name);
            let total: f64 = journey
                .iter()
                .flat_map(|j| &j.stages)
                .map(|s| s.share)
                .sum();
            assert!((total - 1.0).abs() < 1e-12, "{name}");
        }
        let mean_square = |name: &str| -> f64 {
            (journey(name).iter().flat_map(|j| &j.stages))
                .map(|s| s.share * s.spectrum.grms().powi(2))
                .sum()
        };
        assert!((mean_square("car boot").sqrt() - 0.1).abs() < 2e-3);
    }
}
