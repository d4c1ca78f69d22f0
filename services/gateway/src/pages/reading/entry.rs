//! The form of a reading: large fields, a keypad where the browser has script, one more value
//! without it. It never sends a value that no instrument shows before it was looked at again.

use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use super::{Bound, limit};
use crate::pages::answer::Answer;
use crate::pages::keypad::{self, State};
use crate::pages::visit::{Visit, is_signed_out};
use crate::pages::{assets, forms, instruments, layout, methods, shown};
use crate::problem::Problem;

/// Values of one reading at most.
const VALUES_MAX: usize = 20;
/// Records the reading and shows its verdict, or the form again.
pub async fn send(visit: &Visit, bound: &Bound, check: &v1::PlanCheck) -> Result<Answer, Problem> {
    let form = &visit.asked.form;
    let values = form.all("value");
    if !form.get("more").is_empty() {
        return Ok(self::form(visit, bound, check, State::More).await);
    }
    if keypad::is_doubtful(visit, &check.unit) {
        return Ok(self::form(visit, bound, check, State::Unlikely).await);
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
        instrument: instruments::chosen(visit),
        ..Default::default()
    };
    match visit.ask(methods::RECORD_READING, question).await {
        Ok(reading) => Ok(Answer::see(&format!("/readings/{}", reading.reading))),
        // The same form was sent before: what stands is shown, and that it does.
        Err(problem) if problem.kind == Kind::IdInUse => {
            Ok(Answer::see(&format!("/readings/{id}?before=1")))
        }
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(self::form(visit, bound, check, State::Refused(&problem)).await),
    }
}

/// The form.
pub async fn form(visit: &Visit, bound: &Bound, check: &v1::PlanCheck, state: State<'_>) -> Answer {
    let instruments = instruments::of_unit(visit, &check.unit).await;
    let words = visit.words;
    let title = words.with("reading-of", [("code", bound.lot.code.as_str().into())]);
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
            (instruments::choice(visit, &check.unit, &instruments))
            (values(visit, check, &state))
            @if matches!(state, State::Unlikely) { (keypad::unlikely(visit)) }
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
            (keypad::keys(visit))
        }
        script src=(assets::keypad_path()) defer {}
    };
    let mut page = layout::page(visit, &title, body);
    page.status = state.status();
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
        (keypad::range(visit, &check.unit))
    }
}
