//! Comparisons and what-ifs.

use super::*;

impl Lifter<'_> {
    pub(super) fn index_of<'n>(
        &self,
        key: &str,
        typed: &str,
        names: impl Iterator<Item = &'n str>,
    ) -> Result<usize> {
        let names: Vec<&str> = names.collect();
        names.iter().position(|n| *n == typed).ok_or_else(|| {
            let error = self.wrong(key, format!("nothing is named \"{typed}\""));
            match nearest(typed, names.iter().copied()) {
                Some(near) => error.hint(format!("did you mean \"{near}\"?")),
                None => error.hint(format!("there is: {}", names.join("; "))),
            }
        })
    }

    pub(super) fn specimen_index(
        &self,
        key: &str,
        typed: &str,
        raw: &RawScenario,
    ) -> Result<usize> {
        self.index_of(key, typed, raw.specimen.iter().map(|s| s.name.as_str()))
    }

    pub(super) fn exposure_index(
        &self,
        key: &str,
        typed: Option<&String>,
        raw: &RawScenario,
    ) -> Result<Option<usize>> {
        typed
            .map(|t| {
                self.index_of(
                    &format!("{key}.exposure"),
                    t,
                    raw.exposure.iter().map(RawExposure::name),
                )
            })
            .transpose()
    }

    pub(super) fn compare(
        &self,
        key: &str,
        compare: &RawCompare,
        raw: &RawScenario,
    ) -> Result<ComparePlan> {
        let left = self.specimen_index(&format!("{key}.left"), &compare.left, raw)?;
        let right = self.specimen_index(&format!("{key}.right"), &compare.right, raw)?;
        if left == right {
            return Err(self.wrong(
                &format!("{key}.right"),
                "a specimen cannot be compared with itself",
            ));
        }
        Ok(ComparePlan {
            left,
            right,
            exposure: self.exposure_index(key, compare.exposure.as_ref(), raw)?,
        })
    }

    pub(super) fn whatif(
        &self,
        key: &str,
        whatif: &RawWhatIf,
        raw: &RawScenario,
    ) -> Result<WhatIfPlan> {
        let [from, to] = whatif.over;
        if !(from.is_finite() && to.is_finite() && from < to) {
            return Err(self
                .wrong(
                    &format!("{key}.over"),
                    format!("{from} to {to} is not a range"),
                )
                .hint("write the smaller value first: over = [0.3, 0.6]"));
        }
        let steps = self.number(
            &format!("{key}.steps"),
            f64::from(whatif.steps),
            &Range(2.0, 50.0, "values"),
        )?;
        let specimen = match &whatif.specimen {
            Some(name) => self.specimen_index(&format!("{key}.specimen"), name, raw)?,
            None => 0,
        };
        let values = (0..whatif.steps)
            .map(|i| from + (to - from) * f64::from(i) / (steps - 1.0))
            .collect();
        Ok(WhatIfPlan {
            vary: whatif.vary.clone(),
            values,
            specimen,
            exposure: self.exposure_index(key, whatif.exposure.as_ref(), raw)?,
        })
    }
}
