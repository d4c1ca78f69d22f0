//! Parts of a page that move by themselves, by one small script over the log's events.
//! It never hides how old a part is, and without script a link loads the page again.

use maud::{Markup, html};

use super::assets;
use super::shown;
use super::visit::Visit;

/// A part that is put in anew when something was recorded; forms in which somebody has begun stay.
pub fn part(id: &str, body: Markup) -> Markup {
    html! { div id=(id) data-live { (body) } }
}

/// From when what is shown is, and the way to look again.
pub fn as_of(visit: &Visit) -> Markup {
    let words = visit.words;
    html! {
        p.asked { (words.say("as-of")) " " (shown::instant(visit, &visit.now().to_string())) " "
            a.again.no-print href=(visit.asked.way_back()) { (words.say("load-again")) } }
    }
}

/// The script, and what is shown when it has lost the plant.
pub fn script() -> Markup {
    html! { script src=(assets::live_path()) defer {} }
}

/// What a page says when it no longer moves by itself.
pub fn lost(visit: &Visit) -> Markup {
    html! {
        p.absent role="status" hidden data-lost {
            (shown::mark(visit, "missing")) " " (visit.words.say("live-lost"))
        }
    }
}
