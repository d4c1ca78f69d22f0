//! Deviations with what was done about them, holds, and open items of a lot.
//! What was closed or ended is never taken away: it stays beside what is open.

use maud::{Markup, html};
use wire::v1;

use super::gather::File;
use super::{part, table};
use crate::pages::holds::place_form;
use crate::pages::sentence::told;
use crate::pages::shown::{self, mark};
use crate::pages::visit::Visit;

/// Its deviations.
pub fn deviations(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    part(visit, "file-deviations", &file.deviations, |found| {
        html! {
            @if found.rows.is_empty() { p { (words.say("no-deviations")) } }
            @for deviation in &found.rows { (one(visit, deviation)) }
            (shown::more(visit, found.rows.len(), found.has_more))
        }
    })
}

/// One deviation with what was done about it.
pub fn one(visit: &Visit, deviation: &v1::Deviation) -> Markup {
    let words = visit.words;
    let is_open = deviation.closed_at.is_empty();
    let class = if deviation.is_ccp { "is-ccp" } else { "is-other" };
    html! {
        div.deviation id={ "d-" (deviation.deviation) } {
            h3 { (deviation.check) " · " (deviation.hazard) " "
                (mark(visit, if is_open { "open" } else { "closed" })) }
            p lang="en" { (told(visit, &deviation.what)) }
            p.who { (words.say(class)) " · " (words.say("opened")) " "
                (shown::instant(visit, &deviation.recorded_at)) }
            @if !deviation.span_from.is_empty() || !deviation.span_to.is_empty() {
                p { (words.say("span")) " " (shown::instant(visit, &deviation.span_from)) " – "
                    (shown::instant(visit, &deviation.span_to)) }
            }
            @if is_open { p { (words.say("deviation-open-means")) } }
            @else { (closing(visit, deviation)) }
            p.code { (deviation.deviation) }
        }
    }
}

fn closing(visit: &Visit, deviation: &v1::Deviation) -> Markup {
    let words = visit.words;
    let disposition = words.one_of("disposition", &deviation.disposition);
    html! {
        dl {
            dt { (words.say("cause")) } dd { (deviation.cause) }
            dt { (words.say("control")) } dd { (deviation.control) }
            dt { (words.say("prevention")) } dd { (deviation.prevention) }
            dt { (words.say("disposition")) }
            dd { strong { (disposition) } " " (deviation.disposition_text) }
            @if !deviation.evidence.is_empty() {
                dt { (words.say("evidence")) } dd { (deviation.evidence) }
            }
            dt { (words.say("signed")) }
            dd { (deviation.closed_by_name) " · " (shown::instant(visit, &deviation.closed_at)) }
        }
    }
}

/// Its holds, and the form that places one.
pub fn holds(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    let columns = ["state", "reason-of-hold", "scope", "placed", "ended"];
    html! {
        (part(visit, "file-holds", &file.holds, |found| html! {
            @if found.rows.is_empty() { p { (words.say("no-holds")) } }
            @else {
                (table(visit, "file-holds", &columns, html! {
                    @for hold in &found.rows { (hold_row(visit, hold)) }
                }))
            }
            (shown::more(visit, found.rows.len(), found.has_more))
        }))
        (place_form(visit, &file.lot.lot))
    }
}

fn hold_row(visit: &Visit, hold: &v1::Hold) -> Markup {
    let words = visit.words;
    let is_standing = hold.ended_at.is_empty();
    html! {
        tr {
            td { (mark(visit, if is_standing { "on-hold" } else { "ended" })) }
            td { (told(visit, &hold.reason))
                @if !hold.deviation.is_empty() {
                    " " a href={ "#d-" (hold.deviation) } { (words.say("its-deviation")) }
                } }
            td { (words.one_of("hold-scope", &hold.scope))
                @if !hold.cases.is_empty() { ": " (hold.cases.join(", ")) }
                @if !hold.span_to.is_empty() {
                    " " (shown::instant(visit, &hold.span_from)) " – "
                    (shown::instant(visit, &hold.span_to))
                } }
            td { (shown::instant(visit, &hold.placed_at)) " · "
                (shown::who(visit, &hold.placed_by_name)) }
            td { @if !is_standing {
                (shown::instant(visit, &hold.ended_at)) " · "
                (hold.ended_by_name) ": " (hold.end_reason)
            } }
        }
    }
}

/// What facts have broken.
pub fn items(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    part(visit, "file-items", &file.items, |found| {
        html! {
            @if found.rows.is_empty() { p { (words.say("no-items")) } }
            @for item in &found.rows {
                div.deviation {
                    @let is_open = item.answered_at.is_empty();
                p { (mark(visit, if is_open { "open" } else { "closed" })) " "
                    span lang="en" { (told(visit, &item.what)) } }
                    p.who {
                    (shown::instant(visit, &item.recorded_at)) " · " (item.entered_by_name)
                }
                    @if !item.answered_at.is_empty() {
                        p { (item.answer) }
                        p.who { (words.say("signed")) " " (item.answered_by_name) " · "
                            (shown::instant(visit, &item.answered_at)) }
                    }
                }
            }
            (shown::more(visit, found.rows.len(), found.has_more))
        }
    })
}
