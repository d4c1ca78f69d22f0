//! The timeline in words: the same marks, for keyboard, screen reader and paper.
//! It never leaves out a mark for want of room: what the picture drops stands here.

use maud::{Markup, html};

use super::gather::Day;
use super::marks::Mark;
use crate::pages::shown::{self, mark};
use crate::pages::visit::Visit;

/// The list, the newest first.
pub fn shown(visit: &Visit, day: &Day, marks: &[Mark]) -> Markup {
    let words = visit.words;
    if marks.is_empty() {
        return html! { p { (words.say("nothing-yet")) } };
    }
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("in-words")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("at-time")) }
                    th scope="col" { (words.say("place")) }
                    th scope="col" { (words.say("what")) }
                    th scope="col" { (words.say("state")) }
                } }
                tbody { @for mark in marks.iter().rev() { (row(visit, day, mark)) } }
            }
        }
        (shown::more(visit, marks.len(), day.has_more()))
    }
}

fn row(visit: &Visit, day: &Day, one: &Mark) -> Markup {
    let words = visit.words;
    let place = day.in_use().find(|place| place.place == one.place);
    html! {
        tr {
            td { (shown::time(visit, &one.at.to_string()))
                @if let Some(to) = one.to {
                    @if one.is_open { " – " (words.say("goes-on")) }
                    @else { " – " (shown::time(visit, &to.to_string())) }
                } }
            td { (place.map_or_else(|| words.say("no-place"), |place| place.name.clone())) }
            th scope="row" {
                @if one.href.is_empty() { (one.what) } @else { a href=(one.href) { (one.what) } }
                @if one.count > 1 { " ×" (one.count) }
            }
            td { (mark(visit, one.word)) }
        }
    }
}
