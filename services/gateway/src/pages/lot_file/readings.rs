//! The readings of a lot, each amendment beside its original.
//! An original is never replaced: both stand with their verdicts.

use maud::{Markup, html};
use wire::v1;

use super::gather::File;
use super::{check, part};
use crate::pages::sentence::told;
use crate::pages::shown;
use crate::pages::visit::{Visit, Whole};

/// The part of the file.
pub fn shown(visit: &Visit, file: &File) -> Markup {
    part(visit, "file-readings", &file.readings, |readings| all(visit, file, readings))
}

fn all(visit: &Visit, file: &File, readings: &Whole<v1::Reading>) -> Markup {
    let words = visit.words;
    let firsts: Vec<_> = readings.rows.iter().filter(|one| one.supersedes.is_empty()).collect();
    if firsts.is_empty() {
        let more = shown::more(visit, 0, readings.has_more);
        return html! { p { (words.say("no-readings")) } (more) };
    }
    html! {
        @for reading in firsts {
            div.reading {
                h3 { (title(file, reading)) " " (shown::verdict(visit, reading.verdict)) }
                @let amendments = amendments(readings, reading);
                div.beside {
                    div.version {
                        @if !amendments.is_empty() { p.label { (words.say("original")) } }
                        (one(visit, file, reading))
                    }
                    @for amendment in amendments {
                        div.version {
                            p.label {
                                (words.say("amendment")) " "
                                (shown::verdict(visit, amendment.verdict))
                            }
                            (one(visit, file, amendment))
                        }
                    }
                }
            }
        }
        (shown::more(visit, readings.rows.len(), readings.has_more))
    }
}

/// Amendments as the reading carries them, or as they stand in the list.
fn amendments<'r>(readings: &'r Whole<v1::Reading>, of: &'r v1::Reading) -> Vec<&'r v1::Reading> {
    if of.amendments.is_empty() {
        return readings.rows.iter().filter(|one| one.supersedes == of.reading).collect();
    }
    of.amendments.iter().collect()
}

fn title(file: &File, reading: &v1::Reading) -> String {
    match check(&file.plan, reading.plan_version, &reading.check) {
        Some(check) => format!("{} · {}", reading.check, check.title),
        None => reading.check.clone(),
    }
}

fn one(visit: &Visit, file: &File, reading: &v1::Reading) -> Markup {
    let words = visit.words;
    html! {
        p.values { (shown::values(reading)) }
        @for reason in &reading.reasons { p lang="en" { (told(visit, reason)) } }
        p { (words.say("rests-on")) " " (source(visit, file, reading)) }
        p.who {
            (shown::instant(visit, &reading.observed_at)) " · " (reading.entered_by_name)
            @if reading.late_s > 0 {
                " · " (words.with("late", [("seconds", reading.late_s.into())]))
            }
            @if reading.happened { " · " (words.say("happened")) }
            @if reading.clock_off { " · " strong { (words.say("clock-off")) } }
        }
        @if let Some(correction) = &reading.correction {
            p { (words.with("corrected", [
                ("value", shown::valued(correction, &reading.unit).into())
            ])) }
        }
        @if !reading.reason.is_empty() { p { (words.say("why-amended")) " " (reading.reason) } }
        @if !reading.note.is_empty() { p { (words.say("note")) ": " (reading.note) } }
        @if !reading.deviation.is_empty() {
            p { a href={ "#d-" (reading.deviation) } { (words.say("its-deviation")) } }
        }
        p.code { a href={ "/readings/" (reading.reading) } { (reading.reading) } }
    }
}

/// What the limit rests on.
fn source(visit: &Visit, file: &File, reading: &v1::Reading) -> Markup {
    let words = visit.words;
    let of_plan = check(&file.plan, reading.plan_version, &reading.check);
    let source = match reading.source.as_str() {
        "" => of_plan.map_or("", |check| check.source.as_str()),
        source => source,
    };
    html! {
        @if source.is_empty() { (words.say("source-not-told")) } @else { (source) }
        " (" (words.with("plan-version", [("version", reading.plan_version.into())])) ")"
    }
}
