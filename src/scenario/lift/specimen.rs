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

    /// Rubbed cards become overruled wear rates.
    pub(super) fn coupons(&mut self, raw: &RawScenario) -> Result<()> {
        for (i, typed) in raw.coupon.iter().enumerate() {
            let key = format!("coupon[{i}]");
            let at = |name: &str| format!("{key}.{name}");
            let length = Range(1.0, 1000.0, "mm");
            let load = self.number(&at("load_n"), typed.load_n, &Range(0.01, 1000.0, "N"))?;
            let [along, across] = typed.pad_mm;
            let along = self.number(&at("pad_mm"), along, &length)? * MM;
            let across = self.number(&at("pad_mm"), across, &length)? * MM;
            let stroke = self.number(&at("stroke_mm"), typed.stroke_mm, &length)? * MM;
            let passes = self.number(&at("passes"), typed.passes, &Range(1.0, 2.0, "passes"))?;
            let friction = Range(0.01, 3.0, "-");
            let friction = self.optional(&at("friction"), typed.friction, &friction, 1.0)?;
            let dry = Range(0.5, 1000.0, "um");
            let dry = self.optional(&at("dry_um"), typed.dry_um, &dry, 1e-6)?;
            let counts = Range(0.5, 1e7, "strokes");
            for n in &typed.strokes_to_sheen {
                self.number(&at("strokes_to_sheen"), *n, &counts)?;
            }
            for n in &typed.strokes_to_undercoat {
                self.number(&at("strokes_to_undercoat"), *n, &counts)?;
            }
            self.placed(&at("film"), self.stock.film(&typed.film))?;
            self.placed(
                &at("counterface"),
                self.stock.counterface(&typed.counterface),
            )?;
            let coupon = Coupon {
                film: typed.film.clone(),
                counterface: typed.counterface.clone(),
                pressure: load / (along * across),
                contact_length: along.min(stroke),
                passes,
                friction,
                thickness: dry.map(|d| Known {
                    low: d / 1.18,
                    high: d * 1.18,
                    ..Known::exact(d, "gauged dry on the card")
                }),
                to_sheen: typed.strokes_to_sheen.clone(),
                to_undercoat: typed.strokes_to_undercoat.clone(),
            };
            let rates = self.placed(&key, crate::study::calibrate(&self.stock, &coupon))?;
            for rate in &rates {
                let done = self.stock.overrule(rate);
                self.placed(&key, done)?;
            }
        }
        Ok(())
    }

    pub(super) fn pressure(&self, raw: Option<&RawPressure>) -> Result<PressureSensitivity> {
        let Some(raw) = raw else {
            return Ok(PressureSensitivity::default());
        };
        let exponent = Range(-1.0, 2.0, "-");
        let threshold = Range(0.0, 1000.0, "kPa");
        Ok(PressureSensitivity {
            exponent: self.number("pressure.exponent", raw.exponent, &exponent)?,
            threshold: self.number("pressure.threshold_kpa", raw.threshold_kpa, &threshold)? * KPA,
        })
    }

    /// Own thicknesses in place of the stock's.
    fn gauges(&self, key: &str, raw: &RawSpecimen, specimen: &mut Specimen) -> Result<()> {
        for (i, typed) in raw.gauged.iter().enumerate() {
            let key = format!("{key}.gauged[{i}]");
            let gauge = self.gauge(&key, typed)?;
            let Some(film) = typed.coat.checked_sub(1) else {
                return Err(self
                    .wrong(&format!("{key}.coat"), "there is no coat 0")
                    .hint("the coat next to the body is 1"));
            };
            self.placed(&format!("{key}.coat"), specimen.gauge(film, gauge))?;
        }
        Ok(())
    }

    fn gauge(&self, key: &str, raw: &RawGauge) -> Result<Gauge> {
        let at = |name: &str| format!("{key}.{name}");
        let film = Range(0.5, 2000.0, "um");
        match (raw.dry_um, raw.wet_um, raw.gain_mg) {
            (Some(dry), None, None) => Ok(Gauge::Dry {
                thickness: self.number(&at("dry_um"), dry, &film)? * 1e-6,
            }),
            (None, Some(wet), None) => {
                let Some(solids) = raw.solids_pct else {
                    return Err(self
                        .wrong(&at("wet_um"), "a wet film needs solids_pct")
                        .hint("volume solids stand on the paint's data sheet; hobby acrylics have about 30"));
                };
                let percent = Range(1.0, 100.0, "%");
                let thinner = Range(0.0, 1000.0, "%");
                Ok(Gauge::Wet {
                    thickness: self.number(&at("wet_um"), wet, &film)? * 1e-6,
                    solids: self.number(&at("solids_pct"), solids, &percent)? / 100.0,
                    thinner: self.number(&at("thinner_pct"), raw.thinner_pct, &thinner)? / 100.0,
                })
            }
            (None, None, Some(gain)) => {
                let Some(area) = raw.area_cm2 else {
                    return Err(self
                        .wrong(&at("gain_mg"), "a weighed coat needs area_cm2")
                        .hint("`thumbworn inspect` prints the surface of the figure"));
                };
                let weight = Range(0.1, 1e6, "mg");
                Ok(Gauge::Weighing {
                    gain: self.number(&at("gain_mg"), gain, &weight)? * 1e-6,
                    step: self.number(&at("step_mg"), raw.step_mg, &weight)? * 1e-6,
                    area: self.number(&at("area_cm2"), area, &Range(0.1, 1e4, "cm2"))? * 1e-4,
                })
            }
            _ => Err(self
                .wrong(key, "a coat is measured in exactly one way")
                .hint("give dry_um, or wet_um with solids_pct, or gain_mg with area_cm2")),
        }
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

    pub(super) fn settings(&self, raw: &RawFigure) -> Result<Settings> {
        let up = match &raw.up {
            None => None,
            Some(up) => Some(match self.one_of("figure.up", up, &["x", "y", "z"])? {
                "x" => Axis::X,
                "y" => Axis::Y,
                _ => Axis::Z,
            }),
        };
        let height = Range(5.0, 500.0, "mm");
        Ok(Settings {
            height: self.optional("figure.height_mm", raw.height_mm, &height, MM)?,
            scale: self.optional("figure.scale", raw.scale, &Range(1e-4, 1e4, "-"), 1.0)?,
            up,
            patch: self.number("figure.patch_mm", raw.patch_mm, &Range(0.2, 5.0, "mm"))? * MM,
        })
    }

    pub(super) fn specimen(&mut self, i: usize, raw: &RawSpecimen) -> Result<SpecimenPlan> {
        let key = format!("specimen[{i}]");
        let mut stock = self.stock.clone();
        stock.notes.clear();
        let (name, numbers) = match &raw.body {
            RawBody::Named(name) => (name, None),
            RawBody::Given(numbers) => (&numbers.like, Some(numbers)),
        };
        self.placed(&format!("{key}.body"), stock.body(name))?;
        if let Some(numbers) = numbers {
            self.own_body(&format!("{key}.body"), numbers, &mut stock)?;
        }
        for (j, coat) in raw.coats.iter().enumerate() {
            self.placed(&format!("{key}.coats[{j}]"), stock.film(coat))?;
        }
        let coats: Vec<&str> = raw.coats.iter().map(String::as_str).collect();
        let made = Specimen::from_stock(&stock, &raw.name, name, &coats);
        let mut specimen = self.placed(&format!("{key}.coats"), made)?;
        let grams = Range(0.1, 5000.0, "g");
        specimen.mass = self.optional(&format!("{key}.mass_g"), raw.mass_g, &grams, GRAM)?;
        self.gauges(&key, raw, &mut specimen)?;
        self.notes.append(&mut specimen.notes);
        self.own_friction(&format!("{key}.friction"), raw, &mut stock)?;
        let days = Range(0.0, 1e5, "days");
        let cured = self.optional(&format!("{key}.cure_days"), raw.cure_days, &days, 1.0)?;
        for note in &stock.notes {
            let text = format!("{}: {}", raw.name, note.text);
            self.notes.push(Note::new(note.topic, text));
        }
        Ok(SpecimenPlan {
            specimen,
            stock,
            young: cured.is_some_and(|d| d < 7.0),
            undermining: raw.undermining,
            measured: self.measured(&key, raw)?,
        })
    }

    /// The wear rate of the user's bench, read from its file.
    fn measured(&self, key: &str, raw: &RawSpecimen) -> Result<Option<(String, SystemRate)>> {
        let Some(typed) = &raw.measured else {
            return Ok(None);
        };
        let key = format!("{key}.measured");
        let path = self.source.folder.join(&typed.file);
        let text = std::fs::read_to_string(&path).map_err(|cause| {
            Error::system("read the calibration", &path, &cause)
                .at(self.source.place(&format!("{key}.file")))
                .hint("`thumbworn bench calibrate` writes it into the bench's folder calibration/")
        })?;
        let file: Calibration = toml::from_str(&text).map_err(|cause| {
            Error::input(format!("this is no calibration: {}", cause.message())).at(Place {
                span: cause.span(),
                text: Some(text.clone()),
                ..Place::file(&path)
            })
        })?;
        let rate = self.placed(&format!("{key}.system"), file.system(&typed.system))?;
        let name = typed.counterface.as_ref().unwrap_or(&file.counterface);
        if name.is_empty() {
            return Err(self
                .wrong(&key, "the bench does not say what rubbed its figures")
                .hint("add counterface = \"greasy skin\" or what it was"));
        }
        let face = self.placed(&format!("{key}.counterface"), self.stock.counterface(name))?;
        Ok(Some((face.name, rate)))
    }

    fn own_body(&self, key: &str, numbers: &RawBodyNumbers, stock: &mut Stock) -> Result<()> {
        let given = [
            (
                "density",
                "density_g_cm3",
                numbers.density_g_cm3,
                Range(0.2, 20.0, "g/cm3"),
                1e3,
            ),
            (
                "youngs",
                "youngs_gpa",
                numbers.youngs_gpa,
                Range(0.001, 1000.0, "GPa"),
                1e9,
            ),
            (
                "yield",
                "yield_mpa",
                numbers.yield_mpa,
                Range(0.1, 5000.0, "MPa"),
                1e6,
            ),
        ];
        for (property, name, value, range, si) in given {
            let place = format!("{key}.{name}");
            if let Some(value) = self.optional(&place, value, &range, si)? {
                let done = self.overrule(stock, (Kind::Body, &numbers.like), property, value);
                self.placed(&place, done)?;
            }
        }
        Ok(())
    }

    fn own_friction(&self, key: &str, raw: &RawSpecimen, stock: &mut Stock) -> Result<()> {
        let Some(outer) = raw.coats.last() else {
            return Ok(());
        };
        let film = stock.film(outer)?.name;
        for (name, value) in &raw.friction {
            self.placed(key, stock.counterface(name))?;
            let range = Range(0.01, 3.0, "-");
            let value = self.number(&format!("{key}.{name}"), *value, &range)?;
            let property = format!("friction_{film}");
            self.placed(
                key,
                self.overrule(stock, (Kind::Counterface, name), &property, value),
            )?;
        }
        Ok(())
    }

    fn overrule(
        &self,
        stock: &mut Stock,
        entry: (Kind, &str),
        property: &str,
        value: f64,
    ) -> Result<()> {
        stock.overrule(&Overrule {
            kind: entry.0,
            name: entry.1.to_owned(),
            property: property.to_owned(),
            value,
            range: None,
            source: self.source.name.clone(),
        })
    }
}
