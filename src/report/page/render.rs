//! Words round the numbers: the page's template and what it is given.

use super::data::{AreaRow, Page, WhatIf};
use super::{chart, pack};
use crate::report::picture::scale::{plain_number, with_powers};
use base::{Error, Result};
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment, Value, context};
use serde::Serialize;
use serde_json::json;

/// Areas shown before "more".
const SHOWN: usize = 5;

/// One area as the page words it.
#[derive(Serialize)]
struct AreaWords {
    number: usize,
    rank: u32,
    name: String,
    life: String,
    share: String,
    range: String,
    rank_words: Option<String>,
    flip: bool,
    detail: String,
}

/// Areas of one specimen under one exposure.
#[derive(Serialize)]
struct Group {
    view: usize,
    exposure: String,
    specimen: String,
    first: Vec<AreaWords>,
    rest: Vec<AreaWords>,
}

#[derive(Serialize)]
struct Drawn<'a> {
    about: &'a WhatIf,
    chart: String,
}

/// The whole page as HTML.
///
/// # Errors
/// Maps that do not fit the figure, or a fault of the template (a test rules that out).
pub fn render(page: &Page) -> Result<String> {
    check(page)?;
    let (figure, geometry) = pack::geometry(&page.figure)?;
    let (views, values) = pack::values(page)?;
    let areas: Vec<serde_json::Value> = page
        .areas
        .iter()
        .map(|a| json!({ "name": a.name, "place": a.place_mm }))
        .collect();
    let json = pack::script_json(&json!({ "figure": figure, "views": views, "areas": areas }));
    let whatif: Vec<Drawn<'_>> = page
        .whatif
        .iter()
        .map(|about| Drawn {
            about,
            chart: chart(about),
        })
        .collect();
    // The packed arrays are written apart: the template must not copy megabytes of numbers.
    let words = Page {
        figure: super::data::FigureShape {
            name: page.figure.name.clone(),
            vertices_mm: Vec::new(),
            triangles: page.figure.triangles.iter().take(1).copied().collect(),
        },
        views: page.views.iter().map(without_values).collect(),
        ..page.clone_words()
    };
    let failed = |e: minijinja::Error| Error::refused(format!("cannot write the page: {e:#}"));
    let environment = environment().map_err(failed)?;
    let template = environment.get_template("page.html").map_err(failed)?;
    let filled = template.render(context! {
        page => Value::from(Serde(&words)), groups => Value::from(Serde(groups(page))),
        whatif => Value::from(Serde(&whatif)), json => json,
        geometry => geometry, values => values,
        style => include_str!("page.css"), script => include_str!("viewer.js"),
    });
    filled.map_err(failed)
}

fn without_values(view: &super::data::HeatView) -> super::data::HeatView {
    super::data::HeatView {
        exposure: view.exposure.clone(),
        ..Default::default()
    }
}

impl Page {
    /// Everything but the large arrays.
    fn clone_words(&self) -> Page {
        Page {
            title: self.title.clone(),
            lead: self.lead.clone(),
            questions: self.questions.clone(),
            answers: self.answers.clone(),
            footprints: self.footprints.clone(),
            compare: self.compare.clone(),
            ledger: self.ledger.clone(),
            notes: self.notes.clone(),
            priors: self.priors.clone(),
            limits: self.limits.clone(),
            cautions: self.cautions.clone(),
            provenance: self.provenance.clone(),
            reproduce: self.reproduce.clone(),
            ..Page::default()
        }
    }
}

/// Every map must have one value per corner, every area number a row.
fn check(page: &Page) -> Result<()> {
    let corners = page.figure.vertices_mm.len();
    let refuse = |what: String| Err(Error::refused(format!("cannot write the page: {what}")));
    if page
        .figure
        .triangles
        .iter()
        .flatten()
        .any(|&v| v as usize >= corners)
    {
        return refuse("a triangle names a corner that does not exist".into());
    }
    for view in &page.views {
        if view.layers.is_empty() || view.layers.iter().any(|l| l.panes.is_empty()) {
            return refuse(format!("exposure '{}' has no maps", view.exposure));
        }
        for pane in view.layers.iter().flat_map(|l| &l.panes) {
            if pane.values.len() != corners {
                let (got, name) = (pane.values.len(), &pane.name);
                return refuse(format!(
                    "map '{name}' has {got} values for {corners} corners"
                ));
            }
            if pane.areas.is_some_and(|a| a >= view.areas_of.len()) {
                return refuse(format!(
                    "map '{}' names a list of areas that is not there",
                    pane.name
                ));
            }
        }
        for list in &view.areas_of {
            let unknown = list
                .of_vertex
                .iter()
                .any(|&a| a as usize > page.areas.len());
            if list.of_vertex.len() != corners || unknown {
                return refuse(format!(
                    "the areas of '{}' do not fit the figure",
                    list.specimen
                ));
            }
        }
    }
    Ok(())
}

fn environment() -> std::result::Result<Environment<'static>, minijinja::Error> {
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.add_filter("num", |v: &Value| number(f64::try_from(v.clone()).ok()));
    environment.add_filter("pct", |v: &Value| {
        let value = f64::try_from(v.clone()).ok();
        value.map_or_else(|| "not known".into(), |v| format!("{} %", number(Some(v))))
    });
    environment.add_filter("unit", |v: &str| with_powers(v));
    environment.add_filter("span", |v: &Value| {
        let end = |i: usize| {
            v.get_item_by_index(i)
                .ok()
                .and_then(|x| f64::try_from(x).ok())
        };
        format!("{} to {}", number(end(0)), number(end(1)))
    });
    environment.add_template("page.html", include_str!("page.html"))?;
    Ok(environment)
}

fn number(value: Option<f64>) -> String {
    match value {
        Some(v) if v.is_finite() => plain_number(v),
        _ => "not known".into(),
    }
}

fn groups(page: &Page) -> Vec<Group> {
    let mut groups = Vec::new();
    for (view, about) in page.views.iter().enumerate() {
        let mine = |a: &&AreaRow| a.exposure == about.exposure;
        let mut specimens: Vec<&str> = Vec::new();
        for row in page.areas.iter().filter(mine) {
            if !specimens.contains(&row.specimen.as_str()) {
                specimens.push(&row.specimen);
            }
        }
        for specimen in specimens {
            let rows = page.areas.iter().enumerate();
            let mut first: Vec<AreaWords> = rows
                .filter(|(_, a)| a.exposure == about.exposure && a.specimen == specimen)
                .map(|(number, a)| area_words(number, a))
                .collect();
            let rest = first.split_off(SHOWN.min(first.len()));
            groups.push(Group {
                view,
                exposure: about.exposure.clone(),
                specimen: specimen.to_string(),
                first,
                rest,
            });
        }
    }
    groups
}

/// Two significant digits: a life is never known better.
fn rough(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return plain_number(value);
    }
    let step = 10_f64.powf(value.abs().log10().floor() - 1.0);
    plain_number((value / step).round() * step)
}

fn area_words(number: usize, a: &AreaRow) -> AreaWords {
    let range = match a.life_90 {
        [Some(low), Some(high)] => format!("90 %: {} to {}", rough(low), rough(high)),
        [Some(low), None] => format!("90 %: at least {}", rough(low)),
        _ => "not within reach".into(),
    };
    let detail = [
        format!(
            "{} % of the wear on {} % of the surface, {} mm²",
            rough(a.dose_share_pct),
            rough(a.surface_share_pct),
            rough(a.area_mm2)
        ),
        format!(
            "{} {} ({} to {})",
            plain_number(a.dose),
            with_powers(&a.dose_label),
            plain_number(a.dose_95[0]),
            plain_number(a.dose_95[1])
        ),
    ];
    let sure = a.rank_certainty_pct;
    AreaWords {
        number,
        rank: a.rank,
        name: a.name.clone(),
        life: a.life.map_or_else(
            || "lasts".into(),
            |l| format!("{} {}", rough(l), a.life_unit),
        ),
        share: format!("{:.1}", a.dose_share_pct.clamp(0.0, 100.0)),
        range,
        rank_words: sure.map(|sure| match sure < 60.0 {
            true => "rank is a coin flip".to_string(),
            false => format!("rank {} % sure", rough(sure)),
        }),
        flip: sure.is_some_and(|sure| sure < 60.0),
        detail: detail.join(" · "),
    }
}

#[cfg(test)]
mod tests {
    use super::super::data::{FigureShape, HeatView, Layer, Pane, SpecimenAreas};
    use super::*;
    use crate::report::picture::{Scale, Spread};

    fn small() -> Page {
        let evil = "</script><img src=x onerror=alert(1)>\"'&";
        let scale = Scale {
            label: evil.into(),
            unit: "J/m2".into(),
            low: 0.0,
            high: 1.0,
            spread: Spread::Linear,
        };
        let pane = Pane {
            name: evil.into(),
            areas: Some(0),
            values: vec![0.0, 0.5, 1.0, f32::NAN],
        };
        Page {
            title: evil.into(),
            answers: vec![evil.into()],
            figure: FigureShape {
                name: evil.into(),
                vertices_mm: vec![[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
                triangles: vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
            },
            views: vec![HeatView {
                exposure: evil.into(),
                layers: vec![Layer {
                    scale,
                    panes: vec![pane],
                }],
                areas_of: vec![SpecimenAreas {
                    specimen: evil.into(),
                    of_vertex: vec![0, 1, 1, 0],
                }],
            }],
            areas: vec![AreaRow {
                exposure: evil.into(),
                specimen: evil.into(),
                name: evil.into(),
                life: Some(412.7),
                life_90: [Some(183.0), Some(961.0)],
                life_unit: "strokes".into(),
                rank_certainty_pct: Some(52.0),
                ..AreaRow::default()
            }],
            ..Page::default()
        }
    }

    #[test]
    fn words_of_the_user_stay_words() {
        let html = render(&small()).unwrap();
        assert!(!html.contains("<img"), "no element may come of a name");
        assert!(html.contains("&lt;img src=x onerror=alert(1)&gt;"));
        // Our own two script ends, the two packed blocks', and no fifth.
        assert_eq!(html.matches("</script>").count(), 4);
        assert!(
            !html.contains("http:") && !html.contains("https:"),
            "nothing to load"
        );
    }

    #[test]
    fn lives_are_told_with_two_digits_and_their_interval() {
        let html = render(&small()).unwrap();
        for words in ["410 strokes", "90 %: 180 to 960", "rank is a coin flip"] {
            assert!(html.contains(words), "{words}");
        }
    }

    #[test]
    fn a_page_without_maps_is_still_a_page() {
        let page = Page {
            answers: vec!["Nothing wears.".into()],
            ..Page::default()
        };
        let html = render(&page).unwrap();
        assert!(html.contains("Nothing wears.") && !html.contains("<canvas"));
    }

    #[test]
    fn maps_that_do_not_fit_are_refused() {
        let mut page = small();
        page.views[0].layers[0].panes[0].values.pop();
        assert!(
            render(&page)
                .unwrap_err()
                .what()
                .contains("3 values for 4 corners")
        );
        let mut page = small();
        page.views[0].areas_of[0].of_vertex[0] = 2;
        assert!(render(&page).unwrap_err().what().contains("do not fit"));
    }
}
