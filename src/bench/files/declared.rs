//! A declared comparison, and what its test asks of it.

use crate::bench::design::Test;
use crate::bench::exact::Side;
use base::{Error, Result};
use serde::{Deserialize, Serialize};

/// One declared comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Comparison {
    /// Name in the tables.
    pub name: String,
    /// Which test.
    pub test: Test,
    /// Systems, from the one declared to wear least to the one declared to wear most.
    pub systems: Vec<String>,
    /// `higher` for "wears more towards the last", `two` for either way.
    pub side: Side,
    /// Grade that counts as worn through, 1 to 5; for `worn_through` only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<u8>,
    /// Number of the look by which it counts, 1 for the first after exposure began; for
    /// `worn_through` only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by_look: Option<usize>,
}

impl Comparison {
    /// Grade and number of the look of a `worn_through`.
    ///
    /// * `looks`: how many there are after exposure began
    ///
    /// # Errors
    /// One of the two keys is missing or out of range.
    pub fn through(&self, looks: usize) -> Result<(u8, usize)> {
        let grade = self.grade.filter(|g| (1..=5).contains(g));
        let look = self.by_look.filter(|l| (1..=looks).contains(l));
        grade.zip(look).ok_or_else(|| {
            self.wrong(&format!(
                "needs a grade from 1 to 5 and by_look from 1 to {looks}"
            ))
            .hint("grade = 3 and by_look = 4 ask: which systems read 3 by the fourth look?")
        })
    }

    /// Checks the number of systems and the keys that only some tests take.
    ///
    /// * `looks`: how many there are after exposure began
    ///
    /// # Errors
    /// Other than two systems for a test of two, fewer than two for any, a system twice, a side
    /// that no test has, `grade` or `by_look` missing, out of range, or given to a test that does
    /// not look at them; a direction where only "any difference" can be asked.
    pub fn check(&self, looks: usize) -> Result<()> {
        let count = self.systems.len();
        if count < 2 || self.side == Side::Lower {
            return Err(self.wrong(
                "needs two or more systems from least to most wear, and side higher or two",
            ));
        }
        if let Some(i) = (1..count).find(|i| self.systems[..*i].contains(&self.systems[*i])) {
            return Err(self.wrong(&format!("names the system {} twice", self.systems[i])));
        }
        if self.test.of_two() && count != 2 {
            return Err(self
                .wrong(&format!("is a test of two systems and names {count}"))
                .hint("declared_order and any_difference take more, with or without _in_blocks"));
        }
        if self.test != Test::WornThrough {
            return match (self.grade, self.by_look) {
                (None, None) => Ok(()),
                _ => Err(self
                    .wrong("gives grade or by_look, which only worn_through looks at")
                    .hint("delete the key, or set test = \"worn_through\"")),
            };
        }
        self.through(looks)?;
        if count > 2 && self.side != Side::Two {
            return Err(self
                .wrong("asks worn_through of more than two systems, which knows no direction")
                .hint("side = \"two\" asks for any difference; for an order of systems declare declared_order"));
        }
        Ok(())
    }

    fn wrong(&self, what: &str) -> Error {
        Error::input(format!("comparison \"{}\" {what}", self.name))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOKS: usize = 3;

    fn asked(test: Test, systems: usize) -> Comparison {
        Comparison {
            name: "bare against varnished".into(),
            test,
            systems: (1..=systems).map(|i| format!("S{i}")).collect(),
            side: Side::Two,
            grade: (test == Test::WornThrough).then_some(3),
            by_look: (test == Test::WornThrough).then_some(2),
        }
    }

    #[test]
    fn each_test_gets_what_it_needs_and_no_more() {
        for test in [Test::TwoGroups, Test::TwoGroupsInBlocks, Test::WornThrough] {
            assert!(asked(test, 2).check(LOOKS).is_ok());
        }
        assert!(asked(Test::WornThrough, 5).check(LOOKS).is_ok());
        let wrong = |c: Comparison| c.check(LOOKS).unwrap_err().to_string();
        for test in [Test::TwoGroups, Test::TwoGroupsInBlocks] {
            let error = wrong(asked(test, 3));
            assert!(
                error.contains("is a test of two systems and names 3"),
                "{error}"
            );
        }
        let through = asked(Test::WornThrough, 2);
        for (grade, by_look) in [
            (None, Some(2)),
            (Some(3), None),
            (Some(0), Some(2)),
            (Some(6), Some(2)),
            (Some(3), Some(0)),
            (Some(3), Some(4)),
        ] {
            let error = wrong(Comparison {
                grade,
                by_look,
                ..through.clone()
            });
            assert!(
                error.contains("grade from 1 to 5 and by_look from 1 to 3"),
                "{error}"
            );
            assert!(error.contains("bare against varnished"), "{error}");
        }
        let mut more = asked(Test::WornThrough, 3);
        more.side = Side::Higher;
        assert!(wrong(more).contains("knows no direction"));
        let mut stray = asked(Test::DeclaredOrder, 3);
        stray.grade = Some(3);
        assert!(wrong(stray).contains("only worn_through looks at"));
        let mut twice = asked(Test::AnyDifference, 3);
        twice.systems[2] = "S1".into();
        assert!(wrong(twice).contains("S1 twice"));
    }

    /// The keys are left out where no one asks for them: old plans keep their hash.
    #[test]
    fn keys_of_one_test_stay_out_of_the_others() {
        let plain = toml::to_string(&asked(Test::TwoGroupsInBlocks, 2)).unwrap();
        assert!(!plain.contains("grade") && plain.contains("two_groups_in_blocks"));
        let text = toml::to_string(&asked(Test::WornThrough, 2)).unwrap();
        assert!(
            text.contains("grade = 3") && text.contains("by_look = 2"),
            "{text}"
        );
        let back: Comparison = toml::from_str(&text).unwrap();
        assert_eq!(back, asked(Test::WornThrough, 2));
    }
}
