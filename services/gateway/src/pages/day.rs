//! The plant's day: what is due, one timeline of its places, what runs, what stands in the way.
//! It never says that nothing is to be done when a part could not be asked.

mod due;
mod gather;
mod listed;
mod marks;
mod running;
mod timeline;

use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::shown;
use super::visit::{Visit, Whole, is_signed_out};
use super::{deviations, holds, layout, live, lots};
use crate::problem::Problem;
use gather::Day;
pub use gather::places;

/// Shows the day.
pub async fn show(visit: &Visit) -> Result<Answer, Problem> {
    let day = Day::gather(visit).await?;
    if let Some(problem) = day.problems().into_iter().find(|(_, one)| is_signed_out(one)) {
        return Err(problem.1.clone());
    }
    let words = visit.words;
    let name = day.date.to_string();
    let title = words.with("today-title", [("day", name.as_str().into())]);
    let marks = marks::of(visit, &day);
    let body = html! {
        h1 { (title) }
        (lots::find(visit, "/lots"))
        (live::part("day-now", html! {
            p { (words.say("now-is")) " " (shown::instant(visit, &day.now.to_string())) " "
                a.again.no-print href=(visit.asked.way_back()) { (words.say("load-again")) } }
            @for (word, problem) in day.problems() {
                (shown::missing(visit, &words.say(word), problem))
            }
            (section(visit, "due", due::shown(visit, &day)))
            (section(visit, "timeline", timeline::shown(visit, &day, &marks)))
            (section(visit, "in-houses", running::loads(visit, &day)))
            (section(visit, "chilling", running::chills(visit, &day)))
            (section(visit, "open-deviations", deviations_shown(visit, &day)))
            (section(visit, "standing-holds", holds_shown(visit, &day)))
            (section(visit, "in-words", listed::shown(visit, &day, &marks)))
            (section(visit, "newest-lots", newest(visit, &day)))
        }))
        (days(visit, &day))
        (live::script())
    };
    Ok(layout::page(visit, &title, body))
}

fn section(visit: &Visit, id: &'static str, body: Markup) -> Markup {
    html! {
        section aria-labelledby=(id) {
            h2 id=(id) { (visit.words.say(id)) }
            (body)
        }
    }
}

/// The ways to other days.
fn days(visit: &Visit, day: &Day) -> Markup {
    let words = visit.words;
    html! {
        p.ways.no-print {
            @if let Ok(before) = day.date.yesterday() {
                a.button href={ "/?day=" (before) } { (words.say("day-before")) }
            }
            @if !day.is_today() { a.button href="/" { (words.say("nav-today")) } }
        }
    }
}

fn deviations_shown(visit: &Visit, day: &Day) -> Markup {
    listed_part(visit, &day.open, "no-open-deviations", |rows| {
        deviations::table(visit, rows, &day.lots)
    })
}

fn holds_shown(visit: &Visit, day: &Day) -> Markup {
    listed_part(visit, &day.holds, "no-standing-holds", |rows| holds::table(visit, rows, &day.lots))
}

/// A list that was read; what was not stands at the head of the page as missing.
fn listed_part<T>(
    visit: &Visit,
    found: &Result<Whole<T>, Problem>,
    none: &str,
    table: impl FnOnce(&[T]) -> Markup,
) -> Markup {
    match found {
        Err(_) => html! { p { (shown::mark(visit, "missing")) } },
        Ok(found) if found.rows.is_empty() => html! { p { (visit.words.say(none)) } },
        Ok(found) => html! {
            (table(&found.rows))
            (shown::more(visit, found.rows.len(), found.has_more))
        },
    }
}

fn newest(visit: &Visit, day: &Day) -> Markup {
    let words = visit.words;
    match &day.newest {
        Ok(found) if found.is_empty() => html! { p { (words.say("no-lots")) } },
        Ok(found) => html! {
            (lots::table(visit, found))
            p { a.button href="/lots" { (words.say("all-lots")) } }
        },
        Err(_) => html! { p { (shown::mark(visit, "missing")) } },
    }
}

/// Products of a load by their names, each once.
fn products(day: &Day, load: &v1::Load) -> String {
    let mut names: Vec<&str> = load
        .racks
        .iter()
        .filter_map(|rack| day.lots.lot(&rack.rack))
        .map(|lot| lot.material.as_str())
        .collect();
    names.sort_unstable();
    names.dedup();
    names.join(", ")
}
