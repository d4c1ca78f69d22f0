//! The verdict of a reading, what to do next, and its amendments.
//! It never softens a verdict and never hides what it rests on.

use maud::{Markup, html};
use wire::v1;

use super::amend;
use crate::pages::answer::Answer;
use crate::pages::asked::Verb;
use crate::pages::keypad::State;
use crate::pages::sentence::told;
use crate::pages::visit::Visit;
use crate::pages::{instruments, layout, methods, shown};
use crate::problem::Problem;

/// Shows a reading, or amends it.
pub async fn answer(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let question = v1::GetReadingRequest { reading: id.to_owned() };
    let reading = visit.ask(methods::GET_READING, question).await?;
    match visit.asked.verb {
        Verb::Get => Ok(page(visit, &reading, &State::Fresh).await),
        Verb::Post => amend::send(visit, &reading).await,
    }
}

/// The reading as it stands, with the form that amends it.
pub async fn page(visit: &Visit, reading: &v1::Reading, state: &State<'_>) -> Answer {
    let words = visit.words;
    let read_with = match reading.instrument.as_str() {
        "" => None,
        id => Some(instruments::name(visit, id).await),
    };
    let title = words.with("reading-title", [("check", reading.check.as_str().into())]);
    let body = html! {
        h1 { (title) }
        @if !visit.asked.query.get("before").is_empty() {
            p.fault role="alert" { (words.say("recorded-before")) }
        }
        p.verdict role="status" { (shown::verdict(visit, reading.verdict)) }
        p.values { (shown::values(reading)) }
        @if let Some(name) = &read_with { p { (words.say("read-with")) " " strong { (name) } } }
        @for reason in &reading.reasons { p lang="en" { (told(visit, reason)) } }
        p { (words.say("rests-on")) " "
            @if reading.source.is_empty() { (words.say("source-not-told")) }
            @else { (reading.source) }
            " (" (words.with("plan-version", [("version", reading.plan_version.into())])) ")" }
        @if !reading.supersedes.is_empty() {
            p { (words.say("why-amended")) " " (reading.reason) " "
                a href={ "/readings/" (reading.supersedes) } { (words.say("original")) } }
        }
        (amend::beside(visit, reading))
        h2 { (words.say("what-next")) }
        (next(visit, reading))
        (amend::form(visit, reading, state))
        p.ways {
            @for lot in reading.lots.iter().take(1) {
                a.button href={ "/reading/" (lot) } { (words.say("next-reading")) } " "
                a.button href={ "/lots/" (lot) } { (words.say("lot-file")) }
            }
        }
        p.who { (shown::instant(visit, &reading.observed_at)) " · " (reading.entered_by_name) }
        @if !reading.cautions.is_empty() {
            h2 { (words.say("cautions")) }
            ul lang="en" { @for caution in &reading.cautions { li { (caution) } } }
        }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = state.status();
    page
}

/// What to do next: what haccp did with the reading decides, nothing here.
fn next(visit: &Visit, reading: &v1::Reading) -> Markup {
    let words = visit.words;
    html! {
        @if !reading.deviation.is_empty() {
            ol {
                li { (words.say("next-apart")) }
                li { (words.say("next-tell-qa")) " "
                    a href={ "/deviations/" (reading.deviation) } { (words.say("its-deviation")) } }
                li { (words.say("next-no-heal")) }
            }
        } @else {
            @match reading.verdict() {
                v1::Verdict::Pass => p { (words.say("next-go-on")) },
                v1::Verdict::Fail => p { (words.say("next-not-met")) },
                _ => p { (words.say("next-undetermined")) },
            }
        }
    }
}
