//! What goes in against the label in force: allergens, entries, and their order.
//! It never rewords a statement and never reads an allergen out of one.

use domain::formula::declaration::{ALLERGENS, Declaration, Line, declare};
use domain::rules::Rule;
use domain::verdict::Verdict;
use jiff::Timestamp;

use super::{Check, Portion};
use crate::book::{Label, Revision};

/// What a lot or a batch holds, as it would be declared.
#[derive(Clone, Debug, Default)]
pub struct Held {
    /// By descending mass.
    pub entries: Vec<String>,
    pub allergens: Vec<&'static str>,
}

impl Held {
    /// The ingredient statement.
    pub fn statement(&self) -> String {
        self.entries.join(", ")
    }
}

/// What lines hold. A line without words declares nothing, and its allergens count all the same.
pub fn held(lines: &[Line]) -> Held {
    let worded: Vec<_> = lines.iter().filter(|line| !line.statement.is_empty()).cloned().collect();
    let Declaration { statement, .. } = declare(&worded);
    let named = |word: &&str| lines.iter().any(|line| line.allergens.contains(word));
    let allergens = ALLERGENS.into_iter().filter(named).collect();
    Held { entries: entries(&statement), allergens }
}

/// The checks of a batch or formula against a label at an instant.
pub fn checks(portions: &[Portion<'_>], label: Option<&Label>, at: Timestamp) -> Vec<Check> {
    let lines: Vec<_> = portions.iter().flat_map(Portion::declared).collect();
    let held = held(&lines);
    let Some(revision) = label.and_then(|label| label.in_force(at)) else {
        let reason = format!("no revision of the label is in force at {at}");
        return vec![Check::because("LABEL", "label", Verdict::Fail, reason)];
    };
    let name = format!("{}, revision {}", revision.item, revision.revision);
    let shown = format!("{name} is in force");
    let mut checks = vec![Check::because("LABEL", &name, Verdict::Pass, shown)];
    for allergen in &held.allergens {
        let brings = |at: &usize| {
            portions[*at].declared().iter().any(|line| line.allergens.contains(allergen))
        };
        let from: Vec<_> = (0..portions.len()).filter(brings).collect();
        let names: Vec<_> = from.iter().map(|at| portions[*at].name()).collect();
        let is_declared = revision.allergens.iter().any(|declared| declared == allergen);
        let side = if is_declared { "declares it" } else { "does not declare it" };
        let reason = format!("{} brings {allergen}; {name} {side}", names.join(" and "));
        let check = Check::because("ALLERGEN", *allergen, Verdict::met(is_declared), reason);
        checks.push(check.about(from).under(Rule::newest("us.label.allergens")));
    }
    let mut declared = declaration(&held, revision, &name);
    for check in declared.iter_mut().filter(|check| check.verdict() == Verdict::Fail) {
        check.portions = (0..portions.len()).filter(|at| brings(&portions[*at], check)).collect();
    }
    checks.extend(declared);
    checks
}

/// True for a lot whose own specification names the entry: what its material says is so of every
/// other lot too.
fn brings(portion: &Portion<'_>, check: &Check) -> bool {
    let is_own = portion.specification.is_some_and(|stated| stated.lot.is_some());
    is_own && held(&portion.declared()).entries.contains(&check.subject)
}

/// Each entry that the label lacks, and whether the others stand in the order of their masses.
fn declaration(held: &Held, revision: &Revision, name: &str) -> Vec<Check> {
    let rule = Rule::newest("us.label.ingredients");
    let places = places(held, revision);
    let lacking = held.entries.iter().zip(&places).filter(|(_, place)| place.is_none());
    let mut checks: Vec<_> = lacking
        .map(|(entry, _)| {
            let reason = format!("{name} has no entry {entry:?}");
            Check::because("DECLARATION", entry, Verdict::Fail, reason).under(rule)
        })
        .collect();
    let found: Vec<_> =
        held.entries.iter().zip(places).filter_map(|(e, place)| Some((e, place?))).collect();
    let wrong = found.windows(2).find(|pair| pair[0].1 > pair[1].1);
    let (verdict, reason) = match wrong {
        Some(pair) => {
            let text = "weighs more and stands behind it on";
            let reason =
                format!("{:?} against {:?}: the first {text} {name}", pair[0].0, pair[1].0);
            (Verdict::Undetermined, reason)
        }
        None => (Verdict::Pass, format!("what {name} lists stands in descending order")),
    };
    checks.push(Check::because("DECLARATION", "order", verdict, reason).under(rule));
    checks
}

fn places(held: &Held, revision: &Revision) -> Vec<Option<usize>> {
    let printed: Vec<_> = entries(&revision.statement).iter().map(|one| plain(one)).collect();
    let place = |entry: &String| printed.iter().position(|one| *one == plain(entry));
    held.entries.iter().map(place).collect()
}

/// What a lot holds that a revision does not cover: allergens, then entries.
pub fn uncovered(held: &Held, revision: &Revision) -> (Vec<&'static str>, Vec<String>) {
    let is_lacking = |word: &&&str| !revision.allergens.iter().any(|one| one == **word);
    let allergens = held.allergens.iter().filter(is_lacking).copied().collect();
    let places = places(held, revision);
    let lacking = held.entries.iter().zip(places).filter(|(_, place)| place.is_none());
    (allergens, lacking.map(|(entry, _)| entry.clone()).collect())
}

/// The revision that a held lot would wait for.
pub fn coming(label: Option<&Label>, at: Timestamp, allergens: &[&str]) -> String {
    match label.and_then(|label| label.coming(at, allergens)) {
        Some(one) => {
            format!("revision {} of {}, in force from {}", one.revision, one.item, one.from)
        }
        None => "a revision of the label that declares it".to_owned(),
    }
}

/// The entries of a statement: parted by commas that stand in no bracket.
fn entries(statement: &str) -> Vec<String> {
    let (mut all, mut entry, mut depth) = (Vec::new(), String::new(), 0_i32);
    for sign in statement.chars() {
        match sign {
            '(' | '[' => depth += 1,
            ')' | ']' => depth -= 1,
            _ => {}
        }
        if sign == ',' && depth <= 0 {
            all.push(std::mem::take(&mut entry));
        } else {
            entry.push(sign);
        }
    }
    all.push(entry);
    let all = all.into_iter().map(|entry| entry.trim().to_owned());
    all.filter(|entry| !entry.is_empty()).collect()
}

/// An entry as it is compared: lower case, single blanks, without words such as "Ingredients:"
/// before it and the full stop behind.
fn plain(entry: &str) -> String {
    let before_bracket = entry.find(['(', '[']).unwrap_or(entry.len());
    let start = entry[..before_bracket].rfind(':').map_or(0, |colon| colon + 1);
    let words: Vec<_> = entry[start..].split_whitespace().collect();
    words.join(" ").trim_end_matches('.').to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;
    use domain::exact::Exact;

    fn line(grams: i64, statement: &str, allergens: &[&'static str]) -> Line {
        let (statement, allergens) = (statement.to_owned(), allergens.to_vec());
        Line { grams: Exact::whole(grams), statement, allergens }
    }

    fn revision(statement: &str, allergens: &[&str]) -> Revision {
        Revision {
            version: 1,
            item: "No. 1 Rope".into(),
            revision: "3".into(),
            statement: statement.into(),
            allergens: allergens.iter().map(|one| (*one).to_owned()).collect(),
            from: Timestamp::UNIX_EPOCH,
            to: None,
        }
    }

    #[test]
    fn an_entry_is_found_whole_and_not_as_a_part_of_another() {
        let held = held(&[
            line(900, "pork", &[]),
            line(50, "water", &[]),
            line(20, "seasoning (salt, garlic, soy flour)", &["soy"]),
            line(1, "", &["milk"]),
        ]);
        assert_eq!(held.statement(), "pork, water, seasoning (salt, garlic, soy flour)");
        assert_eq!(held.allergens, ["milk", "soy"]);
        let full = revision(
            "INGREDIENTS: Pork, Water, Seasoning (salt, garlic,  soy flour).",
            &["soy", "milk"],
        );
        assert_eq!(uncovered(&held, &full), (Vec::new(), Vec::new()));
        let wrong = revision("Pork collagen, water, seasoning (salt, garlic)", &["milk"]);
        let entries = vec!["pork".to_owned(), "seasoning (salt, garlic, soy flour)".to_owned()];
        assert_eq!(uncovered(&held, &wrong), (vec!["soy"], entries));
    }

    #[test]
    fn an_order_against_the_masses_is_told_and_left_to_a_person() {
        let held = held(&[line(900, "pork", &[]), line(20, "salt", &[]), line(50, "water", &[])]);
        let order = |statement: &str| {
            let checks = declaration(&held, &revision(statement, &[]), "it");
            checks.last().map(Check::verdict)
        };
        assert_eq!(order("Pork, water, salt"), Some(Verdict::Pass));
        assert_eq!(order("Pork, salt, water"), Some(Verdict::Undetermined));
        let small = "Pork, contains 2% or less of: water, salt.";
        assert_eq!(order(small), Some(Verdict::Pass));
    }
}
