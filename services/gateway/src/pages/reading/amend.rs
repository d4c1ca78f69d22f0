//! The amendment of a reading: what was observed, and why the record says otherwise, signed.
//! It never replaces the original: both stand, each with its verdict.

use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use crate::pages::answer::Answer;
use crate::pages::keypad::{self, State};
use crate::pages::sentence::told;
use crate::pages::visit::{Signing, Visit, is_signed_out};
use crate::pages::{forms, methods, shown};
use crate::problem::Problem;

/// Records an amendment of a first reading, or shows the reading with its form again.
pub async fn send(visit: &Visit, reading: &v1::Reading) -> Result<Answer, Problem> {
    let form = &visit.asked.form;
    if keypad::is_doubtful(visit, &reading.unit) {
        return Ok(super::result::page(visit, reading, &State::Unlikely).await);
    }
    let question = v1::AmendReadingRequest {
        id: forms::record_id(visit),
        reading: reading.reading.clone(),
        readings: form.all("value"),
        unit: reading.unit.clone(),
        // What is amended is what was read, not when.
        observed_at: reading.observed_at.clone(),
        reason: form.get("reason").to_owned(),
        ..Default::default()
    };
    let subject = format!("reading:{}", reading.reading);
    let signing = Signing { subject, meaning: "signs-amendment" };
    let stands = || Answer::see(&format!("/readings/{}", reading.reading));
    match visit.ask_signed(methods::AMEND_READING, question, signing).await {
        Ok(_) => Ok(stands()),
        Err(problem) if problem.kind == Kind::IdInUse => Ok(stands()),
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(super::result::page(visit, reading, &State::Refused(&problem)).await),
    }
}

/// The amendments that stand beside a reading, the oldest first.
pub fn beside(visit: &Visit, reading: &v1::Reading) -> Markup {
    let words = visit.words;
    html! {
        @for amendment in &reading.amendments {
            h2 { (words.say("amendment")) " " (shown::verdict(visit, amendment.verdict)) }
            p.values { (shown::values(amendment)) }
            @for reason in &amendment.reasons { p lang="en" { (told(visit, reason)) } }
            p { (words.say("why-amended")) " " (amendment.reason) }
            p.who { (shown::instant(visit, &amendment.recorded_at)) " · "
                (amendment.entered_by_name) }
        }
    }
}

/// The form of an amendment, for those who may sign one, of a first reading.
pub fn form(visit: &Visit, reading: &v1::Reading, state: &State<'_>) -> Markup {
    let words = visit.words;
    let may = visit.holds(&[v1::Role::Supervisor, v1::Role::Qa]);
    if !may || !reading.supersedes.is_empty() {
        return html! {};
    }
    let is_fresh = matches!(state, State::Fresh);
    let typed = visit.asked.form.all("value");
    let typed = if typed.is_empty() { reading.readings.clone() } else { typed };
    html! {
        details open[!is_fresh] {
            summary { (words.say("amend-reading")) }
            p { (words.say("amend-words")) }
            @if let State::Refused(problem) = state { (forms::alert(visit, Some(problem))) }
            form.wide method="post" action={ "/readings/" (reading.reading) } {
                input type="hidden" name="id" value=(forms::record_id(visit));
                @for (at, value) in typed.iter().enumerate() {
                    @let id = format!("value-{at}");
                    label for=(id) { (words.with("value-in", [
                        ("number", (at + 1).into()),
                        ("unit", shown::unit(&reading.unit).into()),
                    ])) }
                    input id=(id) name="value" inputmode="decimal" autocomplete="off" required
                        pattern="-?[0-9]+([.][0-9]+)?" value=(value);
                }
                @if matches!(state, State::Unlikely) { (keypad::unlikely(visit)) }
                (forms::area(visit, "reason", "amend-why", 300))
                (forms::signature(visit, "signs-amendment", "amend-reading"))
            }
        }
    }
}
