//! The people of the plant and what each may do.
//! It never shows a secret of anybody: identity tells none.

mod entry;

use maud::html;
use wire::v1;

use super::answer::Answer;
use super::visit::Visit;
use super::{layout, methods, shown};
use crate::problem::Problem;
pub use entry::answer as one;

/// Shows them.
pub async fn list(visit: &Visit) -> Result<Answer, Problem> {
    let words = visit.words;
    let page = |page_size, page_token| async move {
        let question = v1::ListPeopleRequest { page_size, page_token };
        let answer = visit.ask(methods::LIST_PEOPLE, question).await?;
        Ok((answer.people, answer.next_page_token))
    };
    let found = visit.whole(page).await?;
    let title = words.say("people");
    let body = html! {
        h1 { (title) }
        @if entry::may(visit) {
            p.ways { a.button href="/people/new" { (words.say("new-person")) } }
        }
        div.scroll tabindex="0" role="group" aria-label=(title) {
            table {
                thead { tr {
                    th scope="col" { (words.say("person")) }
                    th scope="col" { (words.say("sign-in-name")) }
                    th scope="col" { (words.say("roles")) }
                    th scope="col" { (words.say("language")) }
                    th scope="col" { (words.say("state")) }
                    th scope="col" { (words.say("since")) }
                } }
                tbody {
                    @for person in &found.rows {
                        tr {
                            th scope="row" {
                                a href={ "/people/" (person.person) } { (person.name) }
                            }
                            td { (person.sign_in_name) }
                            td { (entry::roles(visit, person)) }
                            td { (person.language) }
                            td { @if person.in_use { (words.say("in-use")) }
                                @else { (words.say("not-in-use")) } }
                            td { (shown::instant(visit, &person.recorded_at)) " · "
                                (person.entered_by_name) }
                        }
                    }
                }
            }
        }
        (shown::more(visit, found.rows.len(), found.has_more))
    };
    Ok(layout::page(visit, &title, body))
}
