//! The verdict of a reading that was just recorded, and what to do next.
//! It never softens a verdict and never hides what it rests on.

use maud::{Markup, html};
use wire::v1;

use crate::pages::answer::Answer;
use crate::pages::sentence::told;
use crate::pages::visit::Visit;
use crate::pages::{instruments, layout, methods, shown};
use crate::problem::Problem;

/// Shows a reading.
pub async fn show(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let words = visit.words;
    let question = v1::GetReadingRequest { reading: id.to_owned() };
    let reading = visit.ask(methods::GET_READING, question).await?;
    let values: Vec<_> =
        reading.readings.iter().map(|value| shown::valued(value, &reading.unit)).collect();
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
        p.values { (values.join("; ")) }
        @if let Some(name) = &read_with { p { (words.say("read-with")) " " strong { (name) } } }
        @for reason in &reading.reasons { p lang="en" { (told(visit, reason)) } }
        p { (words.say("rests-on")) " "
            @if reading.source.is_empty() { (words.say("source-not-told")) }
            @else { (reading.source) }
            " (" (words.with("plan-version", [("version", reading.plan_version.into())])) ")" }
        h2 { (words.say("what-next")) }
        (next(visit, &reading))
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
    Ok(layout::page(visit, &title, body))
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
