//! The ingredient statement by descending mass, and the allergens in their fixed order.
//! It never rewords a statement and never finds an allergen that no line names.

use crate::exact::Exact;

/// The allergens in the order in which they are declared. Source: Federal Food, Drug, and Cosmetic
/// Act 201(qq), from memory.
pub const ALLERGENS: [&str; 9] = [
    "milk",
    "egg",
    "fish",
    "crustacean shellfish",
    "tree nuts",
    "peanuts",
    "wheat",
    "soy",
    "sesame",
];

/// A line of the formula as it is declared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its mass in grams, not negative.
    pub grams: Exact,
    /// Its words on the label, with its own ingredients in brackets if it has any.
    pub statement: String,
    /// Words of [`ALLERGENS`].
    pub allergens: Vec<&'static str>,
}

/// What the label says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Declaration {
    /// The statements by descending mass, joined with ", ".
    pub statement: String,
    /// Each allergen once, in the order of [`ALLERGENS`].
    pub allergens: Vec<&'static str>,
}

/// The word of an allergen as it stands in [`ALLERGENS`].
pub fn allergen(word: &str) -> Option<&'static str> {
    ALLERGENS.into_iter().find(|own| *own == word)
}

/// Declares a formula: equal statements are one entry, ties keep their order, a line without mass
/// is left out with its allergens. Source: 9 CFR 317.2(c), descending order.
pub fn declare(lines: &[Line]) -> Declaration {
    let held = lines.iter().filter(|line| line.grams.is_positive());
    let mut entries: Vec<(&str, Exact)> = Vec::new();
    for line in held.clone() {
        match entries.iter_mut().find(|(statement, _)| *statement == line.statement) {
            Some((_, grams)) => *grams = &*grams + &line.grams,
            None => entries.push((&line.statement, line.grams.clone())),
        }
    }
    entries.sort_by(|(_, a), (_, b)| b.cmp(a));
    let statements: Vec<_> = entries.into_iter().map(|(statement, _)| statement).collect();
    let named = |word: &&str| held.clone().any(|line| line.allergens.contains(word));
    Declaration {
        statement: statements.join(", "),
        allergens: ALLERGENS.into_iter().filter(named).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn line(grams: i64, statement: &str, allergens: &[&'static str]) -> Line {
        let allergens = allergens.to_vec();
        Line { grams: Exact::whole(grams), statement: statement.to_owned(), allergens }
    }

    #[test]
    fn a_blend_keeps_its_own_ingredients_as_written() {
        // 9 CFR 317.2(c): descending order.
        let lines = [
            line(20, "seasoning (salt, garlic, soy flour)", &["soy"]),
            line(900, "pork", &[]),
            line(20, "water", &[]),
            line(30, "cheese", &["milk"]),
        ];
        let declared = declare(&lines);
        assert_eq!(declared.statement, "pork, cheese, seasoning (salt, garlic, soy flour), water");
        assert_eq!(declared.allergens, ["milk", "soy"]);
    }

    #[test]
    fn equal_statements_are_one_entry_and_nothing_is_left_out() {
        let lines = [
            line(50, "beef", &[]),
            line(40, "pork", &[]),
            line(20, "pork", &[]),
            line(0, "egg white", &["egg"]),
        ];
        let declared = declare(&lines);
        assert_eq!(declared.statement, "pork, beef");
        assert!(declared.allergens.is_empty());
        assert_eq!(declare(&lines[3..]).statement, "");
    }

    proptest! {
        #[test]
        fn each_statement_stands_once(
            masses in prop::collection::vec((1i64..100, 0usize..5), 0..20),
        ) {
            let words = ["a", "b", "c", "d", "e"];
            let lines: Vec<_> = masses.iter().map(|(g, w)| line(*g, words[*w], &[])).collect();
            let statement = declare(&lines).statement;
            for word in words {
                let times = statement.split(", ").filter(|entry| *entry == word).count();
                prop_assert_eq!(times, usize::from(lines.iter().any(|l| l.statement == word)));
            }
        }
    }
}
