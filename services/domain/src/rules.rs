//! Limits and tables as data, each with citation, edition and a mark of how its text is known.
//! It never judges: calculations read a rule's numbers and show the rule beside the verdict.

pub mod plant;

use crate::exact::Exact;

/// How the text of a rule is known to us.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Confirmation {
    /// The number was read in a copy of the named document.
    Read,
    /// The number was read where another text quotes the named document.
    SecondHand,
    /// The number is recalled; results that use it say so.
    Recalled,
}

/// For which products a rule is written; an empty list holds for all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scope {
    /// Species that the rule covers.
    pub species: &'static [&'static str],
    /// Product forms that the rule covers.
    pub forms: &'static [&'static str],
    /// Cured only, uncured only, or both.
    pub cured: Option<bool>,
}

/// One row of a table: columns by name, in alphabetical order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row(&'static [(&'static str, &'static str)]);

impl Row {
    /// The number of a column; nothing when the row leaves it out.
    pub fn number(&self, column: &str) -> Option<Exact> {
        self.word(column)?.parse().ok()
    }

    /// The text of a column.
    pub fn word(&self, column: &str) -> Option<&'static str> {
        find(self.0, column)
    }
}

/// A rule: its numbers and where they come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    /// Dotted identifier, ours: `us.cook.meat-6.5-log`.
    pub id: &'static str,
    /// What it is, in a few words.
    pub title: &'static str,
    /// The published source.
    pub citation: &'static str,
    /// Which text of the source.
    pub edition: &'static str,
    /// First day on which it holds, YYYY-MM-DD.
    pub effective_from: &'static str,
    /// First day on which it no longer holds, YYYY-MM-DD.
    pub effective_to: Option<&'static str>,
    /// How its text is known.
    pub confirmation: Confirmation,
    /// What a person should know before relying on it.
    pub caution: Option<&'static str>,
    /// For which products it is written.
    pub scope: Scope,
    numbers: &'static [(&'static str, &'static str)],
    words: &'static [(&'static str, &'static str)],
    /// The rows of its table, in the published order.
    pub rows: &'static [Row],
}

include!(concat!(env!("OUT_DIR"), "/rules.rs"));

impl Rule {
    /// Every rule and edition, in the order of their identifiers.
    pub fn all() -> &'static [Rule] {
        ALL
    }

    /// The newest edition of a rule.
    pub fn newest(id: &str) -> Option<&'static Rule> {
        ALL.iter().filter(|rule| rule.id == id).max_by_key(|rule| rule.effective_from)
    }

    /// One edition of a rule.
    pub fn edition(id: &str, edition: &str) -> Option<&'static Rule> {
        ALL.iter().find(|rule| rule.id == id && rule.edition == edition)
    }

    /// A number by name; units stand at the end of the name (`limit_ppm`, `floor_f`).
    pub fn number(&self, name: &str) -> Option<Exact> {
        find(self.numbers, name)?.parse().ok()
    }

    /// A word by name (`basis`).
    pub fn word(&self, name: &str) -> Option<&'static str> {
        find(self.words, name)
    }

    /// What every result that uses the rule must say: its own caution, and that it is recalled.
    pub fn cautions(&self) -> Vec<String> {
        let recalled = (self.confirmation == Confirmation::Recalled).then(|| {
            format!(
                "{}: the number is recalled, not read; confirm it in {}.",
                self.id, self.citation
            )
        });
        recalled
            .into_iter()
            .chain(self.caution.map(|text| format!("{}: {text}", self.id)))
            .collect()
    }
}

fn find(pairs: &'static [(&'static str, &'static str)], name: &str) -> Option<&'static str> {
    pairs.iter().find(|(key, _)| *key == name).map(|(_, value)| *value)
}

/// What every judged result says: it supports the plant's own plan and replaces nothing.
pub const SUPPORT_CAUTION: &str = "Supports, and does not replace, the plant's own validated \
    HACCP plan, its process authority and local codes.";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_of_every_rule_is_readable() {
        for rule in Rule::all() {
            for (name, _) in rule.numbers {
                assert!(rule.number(name).is_some(), "{} {name}", rule.id);
            }
        }
    }

    #[test]
    fn a_recalled_rule_says_so() {
        for rule in Rule::all().iter().filter(|r| r.confirmation == Confirmation::Recalled) {
            assert!(rule.cautions()[0].contains("recalled"), "{}", rule.id);
        }
    }
}
