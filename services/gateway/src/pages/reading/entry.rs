//! The form of a reading: large fields, a keypad where the browser has script, one more value
//! without it. It never sends a value that no instrument shows before it was looked at again.

use domain::exact::Exact;
use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use super::{Bound, limit};
use crate::pages::answer::Answer;
use crate::pages::visit::{Visit, is_signed_out};
use crate::pages::{assets, forms, layout, methods, shown};
use crate::problem::Problem;

/// Values of one reading at most.
const VALUES_MAX: usize = 20;
/// Keys of the keypad, row by row.
const KEYS: [&str; 12] = ["7", "8", "9", "4", "5", "6", "1", "2", "3", "-", "0", "."];

/// Why the form is shown.
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

/// What instruments of a plant show, by unit, from a little below the coldest freezer to a little
/// above the hottest house. Source: common practice, no source. It judges nothing: a value outside
/// is asked about once more.
fn plausible(unit: &str) -> Option<(i64, i64)> {
    match unit {
        "[degF]" => Some((-60, 450)),
        "Cel" => Some((-50, 230)),
        _ => None,
    }
}

fn is_plausible(unit: &str, value: &str) -> bool {
    let (Some((low, high)), Ok(value)) = (plausible(unit), value.parse::<Exact>()) else {
        return true;
    };
    value >= Exact::whole(low) && value <= Exact::whole(high)
}

/// Records the reading and shows its verdict, or the form again.
pub async fn send(visit: &Visit, bound: &Bound, check: &v1::PlanCheck) -> Result<Answer, Problem> {
    let form = &visit.asked.form;
    let values = form.all("value");
    if !form.get("more").is_empty() {
        return Ok(self::form(visit, bound, check, State::More));
    }
    let is_odd = values.iter().any(|value| !is_plausible(&check.unit, value));
    if is_odd && form.get("sure").is_empty() {
        return Ok(self::form(visit, bound, check, State::Unlikely));
    }
    let id = forms::record_id(visit);
    let question = v1::RecordReadingRequest {
        id: id.clone(),
        lots: vec![bound.lot.lot.clone()],
        plan: bound.lot.plan.clone(),
        plan_version: Some(bound.lot.plan_version),
        check: check.code.clone(),
        readings: values,
        unit: check.unit.clone(),
        observed_at: visit.pages.gateway.keeper.clock.now().to_string(),
        note: form.get("note").to_owned(),
        ..Default::default()
    };
    match visit.ask(methods::RECORD_READING, question).await {
        Ok(reading) => Ok(Answer::see(&format!("/readings/{}", reading.reading))),
        // The same form was sent before: what stands is shown, and that it does.
        Err(problem) if problem.kind == Kind::IdInUse => {
            Ok(Answer::see(&format!("/readings/{id}?before=1")))
        }
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(self::form(visit, bound, check, State::Refused(&problem))),
    }
}

/// The form.
pub fn form(visit: &Visit, bound: &Bound, check: &v1::PlanCheck, state: State<'_>) -> Answer {
    let words = visit.words;
    let title = words.with("reading-of", [("code", bound.lot.code.as_str().into())]);
    let status = match &state {
        State::Refused(problem) => problem.kind.row().http,
        _ => 200,
    };
    let body = html! {
        h1 { (title) }
        p { (bound.lot.material) }
        h2 { (check.code) " · " (check.title) }
        @if bound.is_same_version() { (asks(visit, check)) }
        @else { p { (words.with("judged-by-bound", [
            ("version", bound.lot.plan_version.into())
        ])) } }
        @if let State::Refused(problem) = &state { (forms::alert(visit, Some(problem))) }
        form.reading-entry method="post"
            action={ "/reading/" (bound.lot.lot) "/" (check.code) } {
            input type="hidden" name="id" value=(forms::record_id(visit));
            div.fields {
            (values(visit, check, &state))
            @if matches!(state, State::Unlikely) {
                div.fault role="alert" {
                    p { (words.say("unlikely-value")) }
                    label.choice {
                        input type="checkbox" name="sure" value="yes" required;
                        (words.say("sure-value"))
                    }
                }
            }
            label for="note" { (words.say("note-if-any")) }
            input id="note" name="note" maxlength="500" autocomplete="off"
                value=(visit.asked.form.raw("note"));
            p.ways {
                button type="submit" { (words.say("record-reading")) }
                button.second type="submit" name="more" value="1" formnovalidate {
                    (words.say("one-more-value"))
                }
            }
            }
            (forms::keypad(visit, &KEYS))
        }
        script src=(assets::keypad_path()) defer {}
    };
    let mut page = layout::page(visit, &title, body);
    page.status = status;
    page
}

fn asks(visit: &Visit, check: &v1::PlanCheck) -> Markup {
    let words = visit.words;
    html! {
        p.limit { (limit(visit, check)) }
        p { (words.say("rests-on")) " "
            @if check.source.is_empty() { (words.say("source-not-told")) }
            @else { (check.source) } }
    }
}

fn values(visit: &Visit, check: &v1::PlanCheck, state: &State<'_>) -> Markup {
    let words = visit.words;
    let mut typed = visit.asked.form.all("value");
    if typed.is_empty() || matches!(state, State::More) {
        typed.push(String::new());
    }
    typed.truncate(VALUES_MAX);
    let focus = typed.len() - 1;
    html! {
        @for (at, value) in typed.iter().enumerate() {
            @let id = format!("value-{at}");
            label for=(id) { (words.with("value-in", [
                ("number", (at + 1).into()),
                ("unit", shown::unit(&check.unit).into()),
            ])) }
            input.large id=(id) name="value" inputmode="decimal" autocomplete="off"
                pattern="-?[0-9]+([.][0-9]+)?" required[at == 0] value=(value)
                autofocus[at == focus] aria-describedby="range";
        }
        p.hint id="range" {
            @match plausible(&check.unit) {
                Some((low, high)) => (words.with("plausible", [
                    ("low", shown::valued(&low.to_string(), &check.unit).into()),
                    ("high", shown::valued(&high.to_string(), &check.unit).into()),
                ])),
                None => (words.with("unit-is", [("unit", shown::unit(&check.unit).into())])),
            }
        }
    }
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
