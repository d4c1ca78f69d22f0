//! Which AIs must, and which may not, stand together on one item, by the syntax dictionary.
//! It never judges a single value.

use super::dictionary::Ai;
use super::message::Element;

/// Every fault of the elements as a whole: an AI twice with different values, one without the
/// partner it needs, two that exclude each other.
pub(super) fn faults(elements: &[Element]) -> Vec<String> {
    let mut found = Vec::new();
    for (at, element) in elements.iter().enumerate() {
        let before = &elements[..at];
        if before.iter().any(|other| other.ai == element.ai && other.value != element.value) {
            found.push(format!("({}) stands twice with different values", element.ai.code));
        } else if !before.iter().any(|other| other.ai == element.ai) {
            found.extend(of_one(element.ai, elements));
        }
    }
    found
}

fn of_one(ai: &Ai, elements: &[Element]) -> Vec<String> {
    let stands = |pattern: &&str| elements.iter().any(|other| matches(pattern, other.ai.code));
    let mut found = Vec::new();
    for groups in ai.requires {
        if !groups.iter().any(|group| group.iter().all(stands)) {
            let names: Vec<String> = groups.iter().map(|group| group.join("+")).collect();
            found.push(format!("({}) needs {}", ai.code, names.join(" or ")));
        }
    }
    for other in elements.iter().filter(|other| other.ai != ai) {
        if ai.excludes.iter().any(|pattern| matches(pattern, other.ai.code)) {
            found.push(format!("({}) may not stand with ({})", ai.code, other.ai.code));
        }
    }
    found
}

/// True when a code fits a pattern, in which n is any digit.
fn matches(pattern: &str, code: &str) -> bool {
    pattern.len() == code.len()
        && pattern.bytes().zip(code.bytes()).all(|(p, c)| p == b'n' || p == c)
}
