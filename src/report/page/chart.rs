//! The what-if chart as SVG: bands and lines that take their colours from the page.

use super::data::WhatIf;
use crate::report::picture::{Scale, Spread, scale::plain_number};
use std::fmt::Write;

const WIDE: f64 = 720.0;
const TALL: f64 = 380.0;
/// Left, top, right, bottom margins.
const EDGE: [f64; 4] = [62.0, 18.0, 20.0, 52.0];

/// Where values lie on the sheet.
struct Axes {
    x: Scale,
    y: Scale,
}

impl Axes {
    fn at(&self, x: f64, y: f64) -> (f64, f64) {
        let (u, v) = (
            self.x.place(x).unwrap_or(0.0),
            self.y.place(y).unwrap_or(0.0),
        );
        (
            EDGE[0] + u * (WIDE - EDGE[0] - EDGE[2]),
            TALL - EDGE[3] - v * (TALL - EDGE[1] - EDGE[3]),
        )
    }
}

/// Text made safe for XML.
pub(in crate::report) fn escape(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out += "&amp;",
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '"' => out += "&quot;",
            '\'' => out += "&#39;",
            c => out.push(c),
        }
    }
    out
}

fn axes(whatif: &WhatIf) -> Option<Axes> {
    let points: Vec<&[f64; 4]> = whatif.curves.iter().flat_map(|c| &c.points).collect();
    let fold = |values: &mut dyn Iterator<Item = f64>| {
        let finite = values.filter(|v| v.is_finite());
        finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        })
    };
    let (x0, x1) = fold(&mut points.iter().map(|p| p[0]));
    let (y0, y1) = fold(&mut points.iter().flat_map(|p| p[1..].to_vec()));
    if x0 >= x1 || y0 > y1 {
        return None;
    }
    let scale = |low, high, spread| Scale {
        label: String::new(),
        unit: String::new(),
        low,
        high,
        spread,
    };
    // Beyond a factor of twenty only a logarithmic axis shows both ends.
    let y = if y0 > 0.0 && y1 / y0 > 20.0 {
        scale(y0 / 1.15, y1 * 1.15, Spread::Log)
    } else {
        scale(
            y0.min(0.0),
            y1 * 1.06 + f64::from(u8::from(y1 == 0.0)),
            Spread::Linear,
        )
    };
    Some(Axes {
        x: scale(x0, x1, Spread::Linear),
        y,
    })
}

/// The chart, or an empty string when there is nothing to draw.
#[must_use]
pub fn chart(whatif: &WhatIf) -> String {
    let Some(axes) = axes(whatif) else {
        return String::new();
    };
    let mut out = format!(
        "<svg class=\"chart\" viewBox=\"0 0 {WIDE} {TALL}\" role=\"img\" aria-label=\"{}\">\n",
        escape(&format!("{}: {}", whatif.title, whatif.sentence))
    );
    grid(&mut out, &axes);
    for (number, curve) in whatif.curves.iter().enumerate() {
        band(&mut out, &axes, (number, &curve.points));
    }
    if let Some(now) = whatif.now {
        let (x, y) = axes.at(now, axes.y.high);
        let bottom = TALL - EDGE[3];
        // Writing to a string cannot fail.
        let _ = writeln!(
            out,
            "<line class=\"now\" x1=\"{x:.1}\" y1=\"{y:.1}\" x2=\"{x:.1}\" y2=\"{bottom}\"/>\
             <text class=\"tick\" x=\"{:.1}\" y=\"{:.1}\">now {}</text>",
            x + 6.0,
            y + 12.0,
            plain_number(now)
        );
    }
    labels(&mut out, whatif);
    out + "</svg>\n"
}

fn grid(out: &mut String, axes: &Axes) {
    let (right, bottom) = (WIDE - EDGE[2], TALL - EDGE[3]);
    for (t, text) in axes.y.ticks() {
        let y = bottom - t * (bottom - EDGE[1]);
        let _ = writeln!(
            out,
            "<line class=\"grid\" x1=\"{}\" y1=\"{y:.1}\" x2=\"{right}\" y2=\"{y:.1}\"/>\
             <text class=\"tick\" text-anchor=\"end\" x=\"{}\" y=\"{:.1}\">{text}</text>",
            EDGE[0],
            EDGE[0] - 8.0,
            y + 4.5
        );
    }
    for (t, text) in axes.x.ticks() {
        let x = EDGE[0] + t * (right - EDGE[0]);
        let _ = writeln!(
            out,
            "<line class=\"grid\" x1=\"{x:.1}\" y1=\"{bottom}\" x2=\"{x:.1}\" y2=\"{}\"/>\
             <text class=\"tick\" text-anchor=\"middle\" x=\"{x:.1}\" y=\"{}\">{text}</text>",
            bottom + 5.0,
            bottom + 20.0
        );
    }
}

fn band(out: &mut String, axes: &Axes, (number, points): (usize, &[[f64; 4]])) {
    let place = |x: f64, y: f64| {
        let (x, y) = axes.at(x, y);
        format!("{x:.1},{y:.1}")
    };
    let there = points.iter().map(|p| place(p[0], p[3]));
    let back = points.iter().rev().map(|p| place(p[0], p[2]));
    let outline: Vec<String> = there.chain(back).collect();
    let line: Vec<String> = points.iter().map(|p| place(p[0], p[1])).collect();
    let _ = writeln!(
        out,
        "<polygon class=\"band law{number}\" points=\"{}\"/>\
         <polyline class=\"line law{number}\" points=\"{}\"/>",
        outline.join(" "),
        line.join(" ")
    );
}

fn labels(out: &mut String, whatif: &WhatIf) {
    let _ = writeln!(
        out,
        "<text class=\"axis\" text-anchor=\"middle\" x=\"{}\" y=\"{}\">{}</text>\
         <text class=\"axis\" text-anchor=\"middle\" transform=\"translate(15 {}) rotate(-90)\">{}</text>",
        0.5 * (WIDE + EDGE[0] - EDGE[2]),
        TALL - 8.0,
        escape(&whatif.x_label),
        0.5 * (TALL + EDGE[1] - EDGE[3]),
        escape(&whatif.y_label)
    );
}

#[cfg(test)]
mod tests {
    use super::super::data::Curve;
    use super::*;

    fn sample() -> WhatIf {
        WhatIf {
            title: "Friction <b>".into(),
            sentence: "It \"rises\".".into(),
            x_label: "friction".into(),
            y_label: "wear & tear".into(),
            now: Some(0.4),
            curves: vec![Curve {
                name: "energy law".into(),
                points: vec![[0.2, 1.0, 0.5, 2.0], [0.6, 3.0, 1.5, 6.0]],
            }],
        }
    }

    #[test]
    fn words_stay_text_and_the_line_ends_where_it_should() {
        let svg = chart(&sample());
        assert!(svg.contains("Friction &lt;b&gt;") && svg.contains("wear &amp; tear"));
        let right = format!("{:.1},", WIDE - EDGE[2]);
        assert!(
            svg.contains(&right),
            "the last point lies on the right edge"
        );
        assert!(svg.contains("now 0.4"));
    }

    #[test]
    fn nothing_to_draw_draws_nothing() {
        let mut empty = sample();
        empty.curves[0].points.truncate(1);
        assert_eq!(chart(&empty), "");
    }
}
