//! The weighings of a lot, each amendment beside its original, and the shrink between stages.
//! An original is never replaced, and a stage weighed in part never has a shrink.

use maud::{Markup, html};
use wire::v1;

use super::gather::File;
use super::{part, table};
use crate::pages::shown;
use crate::pages::visit::{Visit, Whole};

/// The part of the file.
pub fn shown(visit: &Visit, file: &File) -> Markup {
    html! {
        (part(visit, "file-weighings", &file.weighings, |weighings| all(visit, weighings)))
        h3 { (visit.words.say("file-yields")) }
        (part(visit, "file-yields", &file.yields, |report| shrink(visit, report)))
    }
}

fn all(visit: &Visit, weighings: &Whole<v1::Weighing>) -> Markup {
    let words = visit.words;
    html! {
        @if weighings.rows.is_empty() { p { (words.say("no-weighings")) } }
        @for weighing in &weighings.rows {
            div.reading {
                h3 { (stage(visit, &weighing.stage)) }
                div.beside {
                    div.version {
                        @if !weighing.amendments.is_empty() {
                            p.label { (words.say("original")) }
                        }
                        (one(visit, weighing))
                    }
                    @for amendment in &weighing.amendments {
                        div.version {
                            p.label {
                                (words.say("amendment")) " " (stage(visit, &amendment.stage))
                            }
                            (one(visit, amendment))
                        }
                    }
                }
            }
        }
        (shown::more(visit, weighings.rows.len(), weighings.has_more))
    }
}

fn stage(visit: &Visit, word: &str) -> String {
    match word {
        "" => visit.words.say("no-stage"),
        word => visit.words.one_of("stage", word),
    }
}

/// Gross less tare is net, in the unit of the scale.
pub fn masses(weighing: &v1::Weighing) -> String {
    let mass =
        |value: &Option<String>| shown::valued(value.as_deref().unwrap_or("?"), &weighing.unit);
    format!("{} − {} = {}", mass(&weighing.gross), mass(&weighing.tare), mass(&weighing.net))
}

/// The codes of lots, for a sentence.
pub fn codes(lots: &[v1::NamedLot]) -> String {
    lots.iter().map(|lot| lot.code.as_str()).collect::<Vec<_>>().join(", ")
}

fn one(visit: &Visit, weighing: &v1::Weighing) -> Markup {
    let words = visit.words;
    html! {
        p.values { (masses(weighing)) }
        @if weighing.lots.len() > 1 {
            p { (words.with("weighed-together", [("count", weighing.lots.len().into())])) }
        }
        @if !weighing.scale_name.is_empty() {
            p { (words.say("scale")) ": " (weighing.scale_name) }
        }
        p.who {
            (shown::instant(visit, &weighing.observed_at)) " · " (weighing.entered_by_name)
            @if weighing.late_s > 0 {
                " · " (words.with("late", [("seconds", weighing.late_s.into())]))
            }
            @if weighing.happened { " · " (words.say("happened")) }
            @if weighing.clock_off { " · " strong { (words.say("clock-off")) } }
        }
        @if !weighing.reason.is_empty() { p { (words.say("why-amended")) " " (weighing.reason) } }
        @if !weighing.note.is_empty() { p { (words.say("note")) ": " (weighing.note) } }
        p.code { (weighing.weighing) }
    }
}

fn shrink(visit: &Visit, report: &v1::YieldReport) -> Markup {
    let words = visit.words;
    let percent = |text: &Option<String>| {
        text.as_deref().map(|text| shown::rounded(text, 2)).unwrap_or_default()
    };
    html! {
        @if !report.stages.is_empty() {
            (table(visit, "file-yields", COLUMNS, stages(visit, report)))
            p.hint { (words.say("rounded-two")) }
        }
        @if report.total_shrink_pct.is_some() {
            p { (words.with("lost-in-all", [
                ("percent", percent(&report.total_shrink_pct).into())
            ])) }
        }
        @if report.from_stuffed_shrink_pct.is_some() {
            p { (words.with("lost-since-stuffed", [
                ("percent", percent(&report.from_stuffed_shrink_pct).into())
            ])) }
        }
        @if let Some(compared) = &report.reconciliation {
            p { (words.with("lost-by-graph", [
                ("percent", percent(&compared.recorded_shrink_pct).into()),
                ("difference", percent(&compared.difference).into()),
            ])) }
        }
        @if report.verdict.is_some() { p { (shown::verdict(visit, report.verdict)) } }
        @for said in report.reasons.iter().chain(&report.cautions) { p lang="en" { (said) } }
    }
}

const COLUMNS: &[&str] =
    &["stage", "net-mass", "lost-since-before", "by-the-graph", "difference", "not-weighed-lots"];

fn stages(visit: &Visit, report: &v1::YieldReport) -> Markup {
    let mass = |value: &Option<String>| match value {
        Some(value) => shown::valued(&shown::rounded(value, 3), &report.unit),
        None => String::new(),
    };
    let percent = |value: &Option<String>| match value {
        Some(value) => format!("{}\u{a0}%", shown::rounded(value, 2)),
        None => String::new(),
    };
    html! {
        @for one in &report.stages {
            tr {
                th scope="row" { (stage(visit, &one.stage)) }
                td.number {
                    @if one.is_whole { (mass(&one.net)) }
                    @else { (shown::mark(visit, "undetermined")) }
                }
                td.number { (percent(&one.step_shrink_pct)) }
                td.number { (mass(&one.recorded)) }
                td.number { (mass(&one.difference)) }
                td { (codes(&one.lacking)) }
            }
        }
    }
}
