//! The cooks and chills of the racks that the lot is or came of, each with its curves.
//! A probe that was left out is never hidden: its curve stays, and the reason beside it.

use maud::{Markup, html};
use wire::v1;

use super::gather::{Cooked, Cooks, File};
use super::{part, table};
use crate::pages::cooking;
use crate::pages::sentence::told;
use crate::pages::shown::{self, lot_link};
use crate::pages::visit::Visit;

/// The part of the file.
pub fn shown(visit: &Visit, file: &File) -> Markup {
    part(visit, "file-cooks", &file.cooks, |cooks| all(visit, cooks))
}

fn all(visit: &Visit, cooks: &Cooks) -> Markup {
    let words = visit.words;
    html! {
        @if cooks.loads.is_empty() {
            p { @if cooks.racks == 0 { (words.say("no-racks")) } @else { (words.say("no-cooks")) } }
        }
        @for cooked in &cooks.loads { (load(visit, cooked)) }
        (shown::more(visit, cooks.racks, cooks.has_more))
    }
}

fn load(visit: &Visit, cooked: &Cooked) -> Markup {
    let (words, load) = (visit.words, &cooked.load);
    html! {
        div.load {
            h3 { a href={ "/loads/" (load.load) } {
                (words.with("load-in", [("house", load.house_name.as_str().into())])) " "
                (shown::instant(visit, &load.observed_at)) } }
            @for product in &load.products { (cook(visit, product)) }
            (racks(visit, load))
            @match &cooked.curves {
                Ok(curves) => (cooking::picture(visit, load, curves)),
                Err(problem) => (shown::missing(visit, &words.say("curves"), problem)),
            }
            (cooking::left_out(visit, load))
            @if !load.note.is_empty() { p { (words.say("note")) ": " (load.note) } }
            p.code { (load.load) }
        }
    }
}

fn cook(visit: &Visit, product: &v1::LoadProduct) -> Markup {
    let words = visit.words;
    html! {
        p { strong { (product.check) } " " (product.plan_name) ", "
            (words.with("plan-version", [("version", product.plan_version.into())])) " "
            (shown::verdict(visit, product.verdict))
            @if !product.met_at.is_empty() {
                " " (words.say("met-at")) " " (shown::instant(visit, &product.met_at))
            } }
        ul lang="en" { @for reason in &product.reasons { li { (told(visit, reason)) } } }
        @if !product.support.is_empty() {
            ul.support lang="en" {
                @for support in &product.support { li { (told(visit, support)) } }
            }
        }
    }
}

fn racks(visit: &Visit, load: &v1::Load) -> Markup {
    let columns = ["rack", "pulled-at", "cook", "chill"];
    table(
        visit,
        "racks",
        &columns,
        html! {
            @for rack in &load.racks {
                tr {
                    th scope="row" { (lot_link(&rack.rack, &rack.code)) }
                    td { @if rack.pulled_at.is_empty() { (visit.words.say("in-the-house")) }
                        @else { (shown::instant(visit, &rack.pulled_at)) } }
                    td { (shown::verdict(visit, rack.cook))
                        @if !rack.deviation.is_empty() {
                            " " a href={ "#d-" (rack.deviation) } {
                            (visit.words.say("its-deviation"))
                        }
                        } }
                    td { @for chill in &rack.chills { (chilled(visit, chill)) } }
                }
            }
        },
    )
}

fn chilled(visit: &Visit, chill: &v1::RackChill) -> Markup {
    let words = visit.words;
    html! {
        p { strong { (chill.check) } " " (words.one_of("judged-by", &chill.judged_by)) " "
            (shown::verdict(visit, chill.verdict)) }
        (cooking::limbs(visit, chill))
    }
}
