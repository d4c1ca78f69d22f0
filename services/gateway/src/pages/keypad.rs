//! Fields for a value as an instrument shows it, with large keys beside them.
//! It never judges a value: it asks once more about one that no instrument of a plant shows.

use domain::exact::Exact;
use maud::{Markup, html};

use super::visit::Visit;
use super::{forms, shown};
use crate::problem::Problem;

/// Why a form of values is shown.
pub enum State<'p> {
    /// For the first time.
    Fresh,
    /// One more value is wanted.
    More,
    /// A value lies where no instrument of a plant shows one.
    Unlikely,
    /// It was refused.
    Refused(&'p Problem),
}

impl State<'_> {
    /// The status of a page with the form.
    pub fn status(&self) -> u16 {
        match self {
            Self::Refused(problem) => problem.kind.row().http,
            _ => 200,
        }
    }
}

/// Keys of the keypad, row by row.
const KEYS: [&str; 12] = ["7", "8", "9", "4", "5", "6", "1", "2", "3", "-", "0", "."];

/// What instruments of a plant show, by unit, from a little below the coldest freezer to a little
/// above the hottest house. Source: common practice, no source. It judges nothing: a value outside
/// is asked about once more.
pub fn plausible(unit: &str) -> Option<(i64, i64)> {
    match unit {
        "[degF]" => Some((-60, 450)),
        "Cel" => Some((-50, 230)),
        _ => None,
    }
}

/// True when a value of the form lies outside, and nobody has said that it was read so.
pub fn is_doubtful(visit: &Visit, unit: &str) -> bool {
    let form = &visit.asked.form;
    let is_outside = form.all("value").iter().any(|value| !is_plausible(unit, value));
    is_outside && form.get("sure").is_empty()
}

/// False for a value outside.
fn is_plausible(unit: &str, value: &str) -> bool {
    let (Some((low, high)), Ok(value)) = (plausible(unit), value.parse::<Exact>()) else {
        return true;
    };
    value >= Exact::whole(low) && value <= Exact::whole(high)
}

/// Asks whether such a value was read.
pub fn unlikely(visit: &Visit) -> Markup {
    html! {
        div.fault role="alert" {
            p { (visit.words.say("unlikely-value")) }
            label.choice {
                input type="checkbox" name="sure" value="yes" required;
                (visit.words.say("sure-value"))
            }
        }
    }
}

/// Within what values lie, and in which unit they are read.
pub fn range(visit: &Visit, unit: &str) -> Markup {
    let words = visit.words;
    html! {
        p.hint id="range" {
            @match plausible(unit) {
                Some((low, high)) => (words.with("plausible", [
                    ("low", shown::valued(&low.to_string(), unit).into()),
                    ("high", shown::valued(&high.to_string(), unit).into()),
                ])),
                None => (words.with("unit-is", [("unit", shown::unit(unit).into())])),
            }
        }
    }
}

/// The keys beside the fields.
pub fn keys(visit: &Visit) -> Markup {
    forms::keypad(visit, &KEYS)
}

#[cfg(test)]
mod tests {
    use super::is_plausible;

    #[test]
    fn what_no_thermometer_shows_is_asked_about() {
        assert!(is_plausible("[degF]", "38.9"));
        assert!(is_plausible("[degF]", "450"), "the end itself is taken");
        assert!(!is_plausible("[degF]", "450.1"));
        assert!(!is_plausible("Cel", "389"), "a point forgotten");
        assert!(is_plausible("[degF]", "x"), "what is no number haccp refuses");
        assert!(is_plausible("kg", "100000"));
    }
}
