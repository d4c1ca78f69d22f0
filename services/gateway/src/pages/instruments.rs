//! The thermometer with which something is read: what it shows too much comes off before a verdict.
//! It never chooses one by itself: whoever reads says which it was.

use domain::units::{Dimension, Unit};
use maud::{Markup, html};
use wire::v1;

use super::visit::Visit;
use super::{methods, shown};
use crate::problem::Problem;

/// What a form says of an instrument that is not among those to choose from.
const ANOTHER: &str = "another";

/// Those in use that show this unit's dimension, by name; none where none shows it.
pub async fn of_unit(visit: &Visit, unit: &str) -> Result<Vec<v1::Instrument>, Problem> {
    let is_temperature =
        Unit::from_code(unit).is_some_and(|unit| unit.dimension() == Dimension::Temperature);
    if !is_temperature {
        return Ok(Vec::new());
    }
    let mut found = all(visit).await?;
    found.retain(|instrument| instrument.in_use);
    found.sort_by(|one, other| one.name.cmp(&other.name));
    Ok(found)
}

async fn all(visit: &Visit) -> Result<Vec<v1::Instrument>, Problem> {
    let page = |page_size, page_token| async move {
        let question = v1::ListInstrumentsRequest { page_size, page_token };
        let answer = visit.ask(methods::LIST_INSTRUMENTS, question).await?;
        Ok((answer.instruments, answer.next_page_token))
    };
    Ok(visit.whole(page).await?.rows)
}

/// What an instrument is called; its id where that cannot be read.
pub async fn name(visit: &Visit, id: &str) -> String {
    let found = all(visit).await.unwrap_or_default();
    let found = found.into_iter().find(|instrument| instrument.instrument == id);
    found.map_or_else(|| id.to_owned(), |instrument| instrument.name)
}

/// Asks with which of them it is read; nothing where the plant has none.
pub fn choice(visit: &Visit, unit: &str, found: &Result<Vec<v1::Instrument>, Problem>) -> Markup {
    let words = visit.words;
    let instruments = match found {
        Ok(instruments) if instruments.is_empty() => return html! {},
        Ok(instruments) => instruments,
        Err(problem) => return shown::missing(visit, &words.say("instruments"), problem),
    };
    let chosen = visit.asked.form.get("instrument");
    html! {
        fieldset.read-with {
            legend { (words.say("read-with")) }
            @for instrument in instruments {
                @let good = good_check(instrument, unit);
                label.choice {
                    input type="radio" name="instrument" value=(instrument.instrument) required
                        checked[chosen == instrument.instrument] disabled[good.is_none()];
                    span { strong { (instrument.name) } " "
                        small { @match good {
                            Some(check) => (shows(visit, check)),
                            None => (words.say("no-good-check")),
                        } } }
                }
            }
            label.choice {
                input type="radio" name="instrument" value=(ANOTHER) required
                    checked[chosen == ANOTHER];
                span { (words.say("read-with-another")) }
            }
        }
    }
}

/// The instrument that a form names; empty for another one, or none.
pub fn chosen(visit: &Visit) -> String {
    let named = visit.asked.form.get("instrument");
    if named == ANOTHER { String::new() } else { named.to_owned() }
}

/// Its last check, where it may be read with in this unit.
fn good_check<'i>(instrument: &'i v1::Instrument, unit: &str) -> Option<&'i v1::InstrumentCheck> {
    let check = instrument.last_check.as_ref()?;
    let is_in_unit = check.shown.as_ref().is_some_and(|shown| shown.unit == unit);
    (check.verdict() == v1::Verdict::Pass && is_in_unit).then_some(check)
}

/// What it shows too much or too little, and since when that is known.
fn shows(visit: &Visit, check: &v1::InstrumentCheck) -> Markup {
    let words = visit.words;
    let unit = check.shown.as_ref().map_or("", |shown| shown.unit.as_str());
    let error = check.error.as_deref().unwrap_or_default();
    let (word, size) = match error.strip_prefix('-') {
        Some(size) => ("shows-too-little", size),
        None if error.bytes().all(|byte| b"0.".contains(&byte)) => ("shows-true", error),
        None => ("shows-too-much", error),
    };
    html! {
        (words.with(word, [("value", shown::valued(size, unit).into())])) ", "
        (words.say("checked-at")) " " (shown::instant(visit, &check.observed_at))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_was_good_at_its_last_check_in_the_same_unit_may_be_read_with() {
        let checked = |verdict: v1::Verdict, unit: &str| v1::Instrument {
            last_check: Some(v1::InstrumentCheck {
                verdict: Some(verdict.into()),
                shown: Some(v1::Quantity { value: Some("32.4".into()), unit: unit.into() }),
                ..Default::default()
            }),
            ..Default::default()
        };
        assert!(good_check(&checked(v1::Verdict::Pass, "[degF]"), "[degF]").is_some());
        assert!(good_check(&checked(v1::Verdict::Pass, "Cel"), "[degF]").is_none());
        assert!(good_check(&checked(v1::Verdict::Fail, "[degF]"), "[degF]").is_none());
        assert!(good_check(&v1::Instrument::default(), "[degF]").is_none(), "never checked");
    }
}
