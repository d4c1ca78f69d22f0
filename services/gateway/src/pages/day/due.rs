//! What somebody must do by a time, what is overdue first, and how many items of the day are open.
//! It never makes up a time: only what a plan or a chill asks for is due.

use std::collections::BTreeMap;

use jiff::Timestamp;
use maud::{Markup, html};
use wire::v1;

use super::gather::Day;
use super::marks::{self, Mark};
use crate::pages::shown::{self, mark};
use crate::pages::visit::Visit;
use crate::pages::{chill, open_items};

/// Something that is due, with where it is done.
pub struct Due {
    pub mark: Mark,
    /// What is to be done, in words.
    pub what: String,
    /// The name of the place.
    pub place: String,
    /// Where it is entered.
    pub entry: String,
}

/// All that is due on a day that is now, what is overdue first.
pub fn all(visit: &Visit, day: &Day) -> Vec<Due> {
    if !day.is_today() {
        return Vec::new();
    }
    let looks = day.judged().flat_map(|load| {
        load.products.iter().filter_map(|product| look(visit, day, load, product))
    });
    let mut all: Vec<Due> = looks.collect();
    all.extend(marks::chills(day).iter().filter_map(|one| reading(visit, day, one)));
    all.sort_by_key(|due| due.mark.at);
    all
}

fn due(day: &Day, at: &str, place: String, what: String) -> Option<Due> {
    let at: Timestamp = at.parse().ok()?;
    let word = if at < day.now { "overdue" } else { "due" };
    let name = day.in_use().find(|one| one.place == place).map(|one| one.name.clone());
    let mark = Mark {
        place,
        at,
        to: None,
        is_open: false,
        word,
        what: String::new(),
        count: 1,
        href: String::new(),
    };
    Some(Due { mark, what, place: name.unwrap_or_default(), entry: String::new() })
}

fn look(visit: &Visit, day: &Day, load: &v1::Load, product: &v1::LoadProduct) -> Option<Due> {
    let named =
        [("check", product.check.as_str().into()), ("product", product.plan_name.as_str().into())];
    let what = visit.words.with("due-look", named);
    let mut due = due(day, &product.look_due_at, load.house.clone(), what)?;
    due.place.clone_from(&load.house_name);
    let href = format!("/loads/{}", load.load);
    due.mark = Mark { what: product.check.clone(), href: href.clone(), ..due.mark };
    Some(Due { entry: href, ..due })
}

fn reading(visit: &Visit, day: &Day, one: &marks::Chill<'_>) -> Option<Due> {
    if !one.is_running(day.now) {
        return None;
    }
    let what = visit.words.with(
        "due-chill",
        [("check", one.chill.check.as_str().into()), ("code", one.rack.code.as_str().into())],
    );
    let place = marks::chill_place(day, one);
    let due = due(day, &one.chill.reading_due_at, place, what)?;
    let href = chill::path(&one.load.load, &one.rack.rack);
    let mark = Mark { what: one.chill.check.clone(), href: href.clone(), ..due.mark };
    Some(Due { mark, entry: href, ..due })
}

/// The list.
pub fn shown(visit: &Visit, day: &Day) -> Markup {
    let words = visit.words;
    let all = all(visit, day);
    html! {
        @if all.is_empty() { p { (words.say("nothing-due")) } }
        @else {
            div.scroll tabindex="0" role="group" aria-label=(words.say("due")) {
                table {
                    thead { tr {
                        th scope="col" { (words.say("state")) }
                        th scope="col" { (words.say("by-when")) }
                        th scope="col" { (words.say("place")) }
                        th scope="col" { (words.say("to-do")) }
                    } }
                    tbody { @for due in &all { tr {
                        td { (mark(visit, due.mark.word)) }
                        td { (shown::time(visit, &due.mark.at.to_string())) }
                        td { (due.place) }
                        th scope="row" { a href=(due.entry) { (due.what) } }
                    } } }
                }
            }
        }
        (items(visit, day))
    }
}

/// How many checks of the day's lots are open, by what they are.
fn items(visit: &Visit, day: &Day) -> Markup {
    let words = visit.words;
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for item in day.items.iter().flat_map(|found| &found.items) {
        *counts.entry(&item.code).or_default() += 1;
    }
    html! {
        @if day.items.is_ok() {
            p { a href={ "/open-items?day=" (day.date) } { (words.say("open-items")) } ": "
                @if counts.is_empty() { (words.say("no-open-items")) }
                @for (code, count) in &counts {
                    span.counted { (mark(visit, &open_items::word(code))) "\u{a0}" (count) } " "
                }
                @if day.items.as_ref().is_ok_and(|found| !found.next_page_token.is_empty()) {
                    (words.say("and-more"))
                } }
        }
    }
}
