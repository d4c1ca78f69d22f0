//! The file of a lot: everything that is known of it on one page that can be printed.
//! It never leaves a part out in silence: what could not be read stands there as missing.

mod checkpoint;
mod cooks;
mod gather;
pub mod judged;
mod origin;
mod readings;
pub mod safety;
mod top;
pub mod weighings;

use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::visit::{Visit, is_signed_out};
use super::{files, layout, shown};
use crate::problem::Problem;
use gather::{File, Part};

/// Shows the file.
pub async fn show(visit: &Visit, lot: &str) -> Result<Answer, Problem> {
    let file = File::gather(visit, lot).await?;
    if let Some(problem) = file.problems().into_iter().find(|(_, problem)| is_signed_out(problem)) {
        return Err(problem.1.clone());
    }
    let title = visit.words.with("lot-title", [("code", file.lot.code.as_str().into())]);
    Ok(layout::page(visit, &title, page(visit, &file)))
}

/// A part of the file: where it stands, what it is called, what is in it.
type Section = (&'static str, &'static str, Markup);

fn sections(visit: &Visit, file: &File) -> Vec<Section> {
    vec![
        ("what", "file-what", origin::what(visit, file)),
        ("from", "file-from", origin::came_from(visit, file)),
        ("to", "file-to", origin::went_to(visit, file)),
        ("readings", "file-readings", readings::shown(visit, file)),
        ("weighings", "file-weighings", weighings::shown(visit, file)),
        ("cooks", "file-cooks", cooks::shown(visit, file)),
        ("deviations", "file-deviations", safety::deviations(visit, file)),
        ("holds", "file-holds", safety::holds(visit, file)),
        ("files", "files", files::shown(visit, &file.files)),
        ("review", "file-review", judged::shown(visit, file)),
        ("items", "file-items", safety::items(visit, file)),
        ("shipments", "file-shipments", origin::shipments(visit, file)),
        ("log", "file-log", checkpoint::shown(visit, file)),
    ]
}

fn page(visit: &Visit, file: &File) -> Markup {
    let (words, sections) = (visit.words, sections(visit, file));
    html! {
        article.file {
            (top::shown(visit, file))
            nav.contents aria-label=(words.say("file-contents")) {
                ul {
                    @for (id, word, _) in &sections {
                        li { a href={ "#" (id) } { (words.say(word)) } }
                    }
                }
            }
            @for (id, word, body) in &sections {
                section aria-labelledby=(id) {
                    h2 id=(id) { (words.say(word)) }
                    (body)
                }
            }
            (cautions(visit, file))
        }
    }
}

/// Every caution that came with a verdict, each once.
fn cautions(visit: &Visit, file: &File) -> Markup {
    let said = file.cautions();
    html! {
        @if !said.is_empty() {
            section.cautions aria-labelledby="cautions" {
                h2 id="cautions" { (visit.words.say("cautions")) }
                ul lang="en" { @for caution in said { li { (caution) } } }
            }
        }
    }
}

/// A part that was read, shown by `show`; or the word that it is missing.
fn part<T>(visit: &Visit, word: &str, part: &Part<T>, show: impl FnOnce(&T) -> Markup) -> Markup {
    match part {
        Ok(read) => show(read),
        Err(problem) => shown::missing(visit, &visit.words.say(word), problem),
    }
}

/// A table that can be scrolled sideways on a small screen.
fn table(visit: &Visit, label: &str, columns: &[&str], rows: Markup) -> Markup {
    html! {
        div.scroll tabindex="0" role="group" aria-label=(visit.words.say(label)) {
            table {
                thead { tr {
                    @for column in columns { th scope="col" { (visit.words.say(column)) } }
                } }
                tbody { (rows) }
            }
        }
    }
}

/// The check of a code, when the plan in force is the version that is named.
fn check<'p>(plan: &'p Part<v1::Plan>, version: i32, code: &str) -> Option<&'p v1::PlanCheck> {
    let plan = plan.as_ref().ok().filter(|plan| plan.version == version)?;
    plan.content.as_ref()?.checks.iter().find(|check| check.code == code)
}
