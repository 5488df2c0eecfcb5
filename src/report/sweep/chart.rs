//! Charts of a sweep as SVG; colours come from the page.

use crate::report::page::escape;
use crate::report::words::two_digits;
use crate::study::Interval;
use crate::sweep::effect::TwoWay;
use crate::sweep::rank::Ranking;
use std::fmt::Write;

const WIDE: f64 = 560.0;
/// Height of a row of a ranking.
const ROW: f64 = 26.0;
/// Rows of a ranking that are drawn.
pub const ROWS: usize = 30;
/// Lines of a two-way chart.
const LINES: usize = 6;

/// A logarithmic axis from left to right.
struct Axis {
    low: f64,
    high: f64,
}

impl Axis {
    fn over(values: impl Iterator<Item = f64>) -> Option<Axis> {
        let finite = values.filter(|v| v.is_finite() && *v > 0.0);
        let (low, high) = finite.fold((f64::INFINITY, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
        if low > high {
            return None;
        }
        let room = (high / low).max(1.02).powf(0.06);
        Some(Axis {
            low: low / room,
            high: high * room,
        })
    }

    /// 0 to 1.
    fn share(&self, value: f64) -> f64 {
        ((value / self.low).ln() / (self.high / self.low).ln()).clamp(0.0, 1.0)
    }

    /// Round values to mark.
    fn ticks(&self) -> Vec<f64> {
        let decades = (self.high / self.low).log10();
        let steps: &[f64] = match decades {
            d if d > 3.0 => &[1.0],
            d if d > 0.8 => &[1.0, 2.0, 5.0],
            _ => &[1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0],
        };
        let from = self.low.log10().floor() as i32;
        let to = self.high.log10().ceil() as i32;
        let all = (from..=to).flat_map(|e| steps.iter().map(move |s| s * 10f64.powi(e)));
        let mut ticks: Vec<f64> = all.filter(|t| (self.low..=self.high).contains(t)).collect();
        while ticks.len() > 9 {
            ticks = ticks.into_iter().step_by(2).collect();
        }
        ticks
    }
}

/// Levels as dots with their 90 % interval, over the first in the list.
#[must_use]
pub fn ranking(ranking: &Ranking) -> String {
    let shown: Vec<_> = ranking.places.iter().take(ROWS).collect();
    let ends = shown.iter().flat_map(|p| [p.of_best.low, p.of_best.high]);
    let Some(axis) = Axis::over(ends) else {
        return String::new();
    };
    let tall = ROW * shown.len() as f64 + 30.0;
    let x = |v: f64| 12.0 + axis.share(v) * (WIDE - 24.0);
    let mut svg = start(
        WIDE,
        tall,
        &format!("{}: how the levels compare with the first", ranking.factor),
    );
    for tick in axis.ticks() {
        line(&mut svg, "grid", (x(tick), 0.0), (x(tick), tall - 26.0));
        text(
            &mut svg,
            ("tick", "middle"),
            (x(tick), tall - 8.0),
            &two_digits(tick),
        );
    }
    for (i, place) in shown.iter().enumerate() {
        let y = ROW * (i as f64 + 0.5);
        let Interval { median, low, high } = place.of_best;
        line(&mut svg, "span", (x(low), y), (x(high), y));
        let _ = write!(
            svg,
            "<circle class=\"dot\" cx=\"{:.1}\" cy=\"{y:.1}\" r=\"5\"><title>{}</title></circle>",
            x(median),
            escape(&format!(
                "{}: {}",
                place.level,
                super::words::times(&place.of_best)
            ))
        );
    }
    svg + "</svg>"
}

/// Geometric means of the quantity over the first factor, a line for each level of the second.
#[must_use]
pub fn two_way(two: &TwoWay) -> String {
    let (tall, left, right) = (240.0, 50.0, 150.0);
    let Some(axis) = Axis::over(two.cells.iter().map(|c| c.value.median)) else {
        return String::new();
    };
    let firsts = distinct(two.cells.iter().map(|c| c.first.as_str()));
    let seconds = distinct(two.cells.iter().map(|c| c.second.as_str()));
    let step = (WIDE - left - right) / (firsts.len().max(2) - 1) as f64;
    let y = |v: f64| 14.0 + (1.0 - axis.share(v)) * (tall - 60.0);
    let mut svg = start(
        WIDE,
        tall,
        &format!("{} and {} together", two.first, two.second),
    );
    for tick in axis.ticks() {
        line(&mut svg, "grid", (left, y(tick)), (WIDE - right, y(tick)));
        text(
            &mut svg,
            ("tick", "end"),
            (left - 6.0, y(tick) + 4.0),
            &two_digits(tick),
        );
    }
    for (i, first) in firsts.iter().enumerate() {
        let at = left + step * i as f64;
        text(
            &mut svg,
            ("tick", "middle"),
            (at, tall - 24.0),
            &cut(first, 16),
        );
    }
    text(
        &mut svg,
        ("tick", "middle"),
        ((left + WIDE - right) / 2.0, tall - 6.0),
        &two.first,
    );
    // Words of neighbouring lines must not lie on each other.
    let mut taken: Vec<f64> = Vec::new();
    for (j, second) in seconds.iter().take(LINES).enumerate() {
        let points: Vec<(f64, f64)> = two
            .cells
            .iter()
            .filter(|c| c.second == *second)
            .filter_map(|c| {
                let i = firsts.iter().position(|f| *f == c.first)?;
                Some((left + step * i as f64, y(c.value.median)))
            })
            .collect();
        let path: Vec<String> = points
            .iter()
            .map(|(x, y)| format!("{x:.1},{y:.1}"))
            .collect();
        let _ = write!(
            svg,
            "<polyline class=\"line l{j}\" points=\"{}\"/>",
            path.join(" ")
        );
        for (x, y) in &points {
            let _ = write!(
                svg,
                "<circle class=\"mark l{j}\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\"/>"
            );
        }
        if let Some((_, end)) = points.last() {
            let mut at = end + 4.0;
            while let Some(other) = taken.iter().find(|t| (*t - at).abs() < 14.0) {
                at = other + 14.5;
            }
            taken.push(at);
            let place = (WIDE - right + 10.0, at);
            text(
                &mut svg,
                (&format!("name l{j}"), "start"),
                place,
                &cut(second, 20),
            );
        }
    }
    svg + "</svg>"
}

fn distinct<'a>(all: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let mut list: Vec<&str> = Vec::new();
    for one in all {
        if !list.contains(&one) {
            list.push(one);
        }
    }
    list
}

/// At most `most` letters.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_string();
    }
    text.chars().take(most - 1).chain(['…']).collect()
}

fn start(wide: f64, tall: f64, words: &str) -> String {
    format!(
        "<svg viewBox=\"0 0 {wide} {tall}\" role=\"img\" aria-label=\"{}\">",
        escape(words)
    )
}

fn line(svg: &mut String, class: &str, from: (f64, f64), to: (f64, f64)) {
    let _ = write!(
        svg,
        "<line class=\"{class}\" x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\"/>",
        from.0, from.1, to.0, to.1
    );
}

fn text(svg: &mut String, (class, anchor): (&str, &str), (x, y): (f64, f64), words: &str) {
    let _ = write!(
        svg,
        "<text class=\"{class}\" text-anchor=\"{anchor}\" x=\"{x:.1}\" y=\"{y:.1}\">{}</text>",
        escape(words)
    );
}
