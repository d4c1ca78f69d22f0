//! What runs now: loads in their houses and chills, each with what remains.
//! It never counts a chill as running once its verdict stands.

use maud::{Markup, html};
use wire::v1;

use super::gather::Day;
use super::marks::{self, Chill};
use crate::pages::shown::{self, mark};
use crate::pages::visit::Visit;
use crate::pages::{chill, cooking, load};

/// Loads of which a rack is in the house.
pub fn loads(visit: &Visit, day: &Day) -> Markup {
    let words = visit.words;
    let inside = |load: &&v1::Load| load.racks.iter().any(|rack| rack.pulled_at.is_empty());
    let running: Vec<&v1::Load> = day.judged().filter(inside).collect();
    html! {
        @if running.is_empty() { p { (words.say("no-load-runs")) } }
        @else {
            div.scroll tabindex="0" role="group" aria-label=(words.say("in-houses")) {
                table {
                    thead { tr {
                        th scope="col" { (words.say("house")) }
                        th scope="col" { (words.say("went-in")) }
                        th scope="col" { (words.say("product")) }
                        th scope="col" { (words.say("state")) }
                        th scope="col" { (words.say("what-remains")) }
                        th scope="col" { (words.say("look-due")) }
                    } }
                    tbody { @for load in running { (load_rows(visit, load)) } }
                }
            }
        }
    }
}

fn load_rows(visit: &Visit, load: &v1::Load) -> Markup {
    let words = visit.words;
    let rows = load.products.len().max(1);
    let head = html! {
        th scope="row" rowspan=(rows) {
            a href={ "/loads/" (load.load) } { (load.house_name) }
        }
        td rowspan=(rows) { (shown::time(visit, &load.observed_at)) }
    };
    html! {
        @if load.products.is_empty() {
            tr { (head) td colspan="4" { (words.say("rack-unbound")) } }
        }
        @for (at, product) in load.products.iter().enumerate() {
            tr {
                @if at == 0 { (head) }
                td { (product.plan_name) " · " (product.check) }
                td { (load::state(visit, load, product)) }
                td { (load::remains(visit, product)) }
                td { @if product.look_due_at.is_empty() { "–" }
                    @else { (shown::time(visit, &product.look_due_at)) } }
            }
        }
    }
}

/// Chills that run.
pub fn chills(visit: &Visit, day: &Day) -> Markup {
    let words = visit.words;
    let all = marks::chills(day);
    let running: Vec<&Chill<'_>> = all.iter().filter(|one| one.is_running(day.now)).collect();
    html! {
        @if running.is_empty() { p { (words.say("no-chill-runs")) } }
        @else {
            div.scroll tabindex="0" role="group" aria-label=(words.say("chilling")) {
                table {
                    thead { tr {
                        th scope="col" { (words.say("racks")) }
                        th scope="col" { (words.say("product")) }
                        th scope="col" { (words.say("out-since")) }
                        th scope="col" { (words.say("check")) }
                        th scope="col" { (words.say("what-remains")) }
                        th scope="col" { (words.say("reading-due")) }
                    } }
                    tbody { @for one in running { (chill_row(visit, day, one)) } }
                }
            }
        }
    }
}

fn chill_row(visit: &Visit, day: &Day, one: &Chill<'_>) -> Markup {
    let words = visit.words;
    let open = one.chill.limbs.iter().find(|limb| limb.verdict() != v1::Verdict::Pass);
    html! {
        tr {
            th scope="row" {
                a href=(chill::path(&one.load.load, &one.rack.rack)) { (one.rack.code) }
                @if one.racks > 1 {
                    " " (words.with("and-racks", [("count", (one.racks - 1).into())]))
                }
            }
            td { (day.lots.lot(&one.rack.rack).map_or("", |lot| lot.material.as_str())) }
            td { (shown::time(visit, &one.rack.pulled_at)) }
            td { (one.chill.check) " " (mark(visit, one.word(day.now))) }
            td { @match open {
                Some(limb) => { (cooking::ends(limb)) ": " (chill::remains(visit, limb)) },
                None => (words.say("not-known")),
            } }
            td { @if one.chill.reading_due_at.is_empty() { "–" }
                @else { (shown::time(visit, &one.chill.reading_due_at)) } }
        }
    }
}
