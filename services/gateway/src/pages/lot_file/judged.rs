//! What is proved of the lot and of all that it came of, and its review before shipment.
//! It never judges: it shows the judgement of haccp whole.

use maud::{Markup, html};
use wire::v1;

use super::gather::File;
use super::{part, table};
use crate::pages::layout;
use crate::pages::sentence::told;
use crate::pages::shown::{check, lot_link, mark};
use crate::pages::visit::Visit;

/// The part of the file.
pub fn shown(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    part(visit, "file-review", &file.clearance, |clearance| {
        html! {
            p {
            @if clearance.is_reviewed {
                (mark(visit, "reviewed")) " " (words.say("review-stands"))
            } @else {
                (mark(visit, "open")) " " (words.say("review-none"))
            }
        }
            @if !clearance.reasons.is_empty() {
                h3 { (words.say("in-the-way")) }
                (layout::reasons(visit, &clearance.reasons))
            }
            @if !clearance.excepted_cases.is_empty() {
                p { (words.say("excepted-cases")) " " (clearance.excepted_cases.join(", ")) }
            }
            h3 { (words.say("proved")) }
            (items(visit, clearance, |lot| code(file, lot)))
            p { (words.say("review-digest")) " " span.code { (clearance.digest) } }
        }
    })
}

/// What is proved, item by item; `code` tells the code of a lot.
pub fn items<'c>(
    visit: &Visit,
    clearance: &v1::Clearance,
    code: impl Fn(&str) -> &'c str,
) -> Markup {
    let words = visit.words;
    if clearance.items.is_empty() {
        return html! { p { (words.say("nothing-demanded")) } };
    }
    let columns = ["lot", "check", "step", "class", "state", "found"];
    table(
        visit,
        "proved",
        &columns,
        html! {
            @for item in &clearance.items {
                tr {
                    th scope="row" { (lot_link(&item.lot, code(&item.lot))) }
                    td { (check(&item.check, &item.title)) }
                    td { (item.step) }
                    td { (words.one_of("class", &item.class))
                        @if !item.gates { " · " (words.say("gates-not")) } }
                    td { (mark(visit, &item.state.replace('_', "-")))
                        @if !item.satisfied_by.is_empty() {
                            " " (words.one_of("satisfied", &item.satisfied_by))
                        } }
                    td lang="en" { (told(visit, &item.what)) }
                }
            }
        },
    )
}

/// The code of a lot that this one came of; empty where it is not known.
fn code<'f>(file: &'f File, id: &str) -> &'f str {
    let found = file.back.iter().flat_map(|back| &back.lots).find(|lot| lot.lot == id);
    found.map_or("", |lot| lot.code.as_str())
}
