//! Figure, specimens and overruled values.

use super::*;

impl Lifter<'_> {
    pub(super) fn overrules(&mut self, raw: &RawScenario) -> Result<()> {
        for (i, row) in raw.stock.iter().enumerate() {
            let key = format!("stock[{i}]");
            let kind = Kind::ALL
                .into_iter()
                .find(|kind| self.stock.entry(*kind, &row.row).is_ok());
            let Some(kind) = kind else {
                return self.placed(
                    &format!("{key}.row"),
                    self.stock.entry(Kind::Film, &row.row).map(|_| ()),
                );
            };
            let with = Overrule {
                kind,
                name: row.row.clone(),
                property: row.value.clone(),
                value: row.set,
                range: Some((row.low.unwrap_or(row.set), row.high.unwrap_or(row.set))),
                source: format!("{}, [[stock]]", self.source.name),
            };
            let done = self.stock.overrule(&with);
            self.placed(&format!("{key}.value"), done)?;
        }
        Ok(())
    }

    pub(super) fn figure(&self, raw: &RawFigure) -> Result<FigureSource> {
        match (&raw.file, &raw.sculpt) {
            (Some(_), Some(_)) => Err(self
                .wrong("figure.sculpt", "give either a file or a sculpt, not both")
                .hint("delete one of the two lines")),
            (None, None) => Err(self
                .wrong("figure", "no figure is named")
                .hint("add file = \"my_figure.stl\", or sculpt = \"ferry porter\"")),
            (Some(file), None) => Ok(FigureSource::File(self.source.folder.join(file))),
            (None, Some(sculpt)) => {
                self.one_of("figure.sculpt", sculpt, &["ferry porter"])?;
                Ok(FigureSource::FerryPorter)
            }
        }
    }

    pub(super) fn up(&self, raw: &RawFigure) -> Result<Option<usize>> {
        let Some(up) = &raw.up else { return Ok(None) };
        let axis = self.one_of("figure.up", up, &["x", "y", "z"])?;
        Ok(["x", "y", "z"].iter().position(|a| *a == axis))
    }

    pub(super) fn specimen(&mut self, i: usize, raw: &RawSpecimen) -> Result<SpecimenPlan> {
        let key = format!("specimen[{i}]");
        let body = match &raw.body {
            RawBody::Named(name) => self.placed(&format!("{key}.body"), self.stock.body(name))?,
            RawBody::Given(numbers) => {
                let mut body =
                    self.placed(&format!("{key}.body.like"), self.stock.body(&numbers.like))?;
                let given = |name: &str,
                             value: Option<f64>,
                             range: Range,
                             si: f64|
                 -> Result<Option<Known>> {
                    let value = self.optional(&format!("{key}.body.{name}"), value, &range, si)?;
                    Ok(value.map(|v| Known::exact(v, "the scenario")))
                };
                if let Some(v) = given(
                    "density_g_cm3",
                    numbers.density_g_cm3,
                    Range(0.2, 20.0, "g/cm3"),
                    1e3,
                )? {
                    body.density = v;
                }
                if let Some(v) = given(
                    "youngs_gpa",
                    numbers.youngs_gpa,
                    Range(0.001, 1000.0, "GPa"),
                    1e9,
                )? {
                    body.youngs = v;
                }
                if let Some(v) = given(
                    "yield_mpa",
                    numbers.yield_mpa,
                    Range(0.1, 5000.0, "MPa"),
                    1e6,
                )? {
                    body.yield_stress = v;
                }
                body.name = format!("{}, own numbers", body.name);
                body
            }
        };
        let films = (0..)
            .zip(&raw.coats)
            .map(|(j, coat)| self.placed(&format!("{key}.coats[{j}]"), self.stock.film(coat)))
            .collect::<Result<Vec<_>>>()?;
        if films.is_empty() {
            return Err(self
                .wrong(
                    &format!("{key}.coats"),
                    "a specimen needs at least one coat",
                )
                .hint("name them from the body outward; `thumbworn stock film` lists them"));
        }
        let mut friction = Vec::new();
        for (name, value) in &raw.friction {
            let place = format!("{key}.friction");
            let face = self.placed(&place, self.stock.counterface(name))?;
            let value = self.number(
                &format!("{key}.friction.{name}"),
                *value,
                &Range(0.01, 3.0, "-"),
            )?;
            self.notes.push(Note::new(
                Topic::Overruled,
                format!("{}: friction on {} is {value}", raw.name, face.name),
            ));
            friction.push((face.name.to_lowercase(), value));
        }
        let mass = self.optional(
            &format!("{key}.mass_g"),
            raw.mass_g,
            &Range(0.1, 5000.0, "g"),
            GRAM,
        )?;
        Ok(SpecimenPlan {
            name: raw.name.clone(),
            body,
            mass,
            films,
            friction,
        })
    }
}
