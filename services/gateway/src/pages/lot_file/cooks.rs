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
            p {
                @if cooks.racks.is_empty() { (words.say("no-racks")) }
                @else { (words.say("no-cooks")) }
            }
        }
        @for cooked in &cooks.loads { (load(visit, cooked, &cooks.racks)) }
        (shown::more(visit, cooks.racks.len(), cooks.has_more))
    }
}

/// A load, as far as it is about racks of the lot.
fn load(visit: &Visit, cooked: &Cooked, racks_of_lot: &[String]) -> Markup {
    let (words, load) = (visit.words, &cooked.load);
    let is_of_lot = |rack: &String| racks_of_lot.contains(rack);
    let others = load.racks.iter().filter(|rack| !is_of_lot(&rack.rack)).count();
    let products = load.products.iter().filter(|product| product.racks.iter().any(is_of_lot));
    html! {
        div.load {
            h3 { a href={ "/loads/" (load.load) } {
                (words.with("load-in", [("house", load.house_name.as_str().into())])) " "
                (shown::instant(visit, &load.observed_at)) } }
            @for product in products { (cook(visit, product)) }
            (racks(visit, load, racks_of_lot))
            @if others > 0 { p { (words.with("other-racks", [("count", others.into())])) } }
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

/// Racks of the lot of which the same is to be said, in the order of the load: what happened to one
/// of them happened to all.
fn alike<'l>(load: &'l v1::Load, racks_of_lot: &[String]) -> Vec<Vec<&'l v1::LoadRack>> {
    let said = |rack: &v1::LoadRack| v1::LoadRack {
        rack: String::new(),
        code: String::new(),
        ..rack.clone()
    };
    shown::alike(load.racks.iter().filter(|rack| racks_of_lot.contains(&rack.rack)), said)
}

fn racks(visit: &Visit, load: &v1::Load, racks_of_lot: &[String]) -> Markup {
    let columns = ["racks", "pulled-at", "cook", "chill"];
    table(
        visit,
        "racks",
        &columns,
        html! {
            @for group in alike(load, racks_of_lot) {
                @let rack = group[0];
                tr {
                    th scope="row" {
                        @for rack in &group { div { (lot_link(&rack.rack, &rack.code)) } }
                    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_racks_of_which_all_is_the_same_stand_together() {
        let rack = |code: &str, pulled_at: &str| v1::LoadRack {
            rack: format!("id of {code}"),
            code: code.to_owned(),
            pulled_at: pulled_at.to_owned(),
            ..v1::LoadRack::default()
        };
        let mut load = v1::Load {
            racks: [("R-1", "09:00"), ("R-2", "09:05"), ("R-3", "09:00"), ("other", "09:00")]
                .map(|(code, pulled_at)| rack(code, pulled_at))
                .into(),
            ..v1::Load::default()
        };
        let of_lot = ["R-1", "R-2", "R-3"].map(|code| format!("id of {code}"));
        let codes = |load: &v1::Load| -> Vec<Vec<String>> {
            let codes = |group: &Vec<&v1::LoadRack>| group.iter().map(|r| r.code.clone()).collect();
            alike(load, &of_lot).iter().map(codes).collect()
        };
        assert_eq!(codes(&load), [vec!["R-1", "R-3"], vec!["R-2"]]);
        load.racks[2].deviation = "a deviation of R-3 alone".to_owned();
        assert_eq!(codes(&load), [vec!["R-1"], vec!["R-2"], vec!["R-3"]]);
    }
}
