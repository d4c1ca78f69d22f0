//! The review before shipment: which finished lots are ready, what stands in the way of the others,
//! and one signature over those that were looked at. It signs exactly what the page showed.

use futures_util::future::join_all;
use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::lot_file::judged;
use super::lots::Codes;
use super::shown::{self, lot_link, mark};
use super::visit::{Signing, Visit, is_signed_out};
use super::{forms, layout, methods};
use crate::problem::Problem;

/// Lots looked through for finished ones, the newest first.
const LOOKED_THROUGH: i32 = 400;
/// Finished lots shown.
const SHOWN: usize = 40;
/// The kinds that ship.
const KINDS: [&str; 2] = ["finished", "opening_stock"];

/// A lot with what is proved of it.
struct Ready {
    lot: v1::Lot,
    clearance: Result<v1::Clearance, Problem>,
}

impl Ready {
    fn is_to_sign(&self) -> bool {
        self.clearance.as_ref().is_ok_and(|found| found.is_reviewable && !found.is_reviewed)
    }
}

/// Shows the lots, or signs.
pub async fn answer(visit: &Visit) -> Result<Answer, Problem> {
    let problem = match visit.asked.verb {
        Verb::Get => None,
        Verb::Post => match sign(visit).await {
            Ok(review) => return Ok(Answer::see(&format!("/review?signed={}", review.review))),
            Err(problem) if is_signed_out(&problem) => return Err(problem),
            Err(problem) => Some(problem),
        },
    };
    let question =
        v1::ListLotsRequest { page_size: LOOKED_THROUGH, newest_first: true, ..Default::default() };
    let lots = visit.ask(methods::LIST_LOTS, question).await?.lots;
    let looked_through = lots.len();
    let finished = lots.into_iter().filter(|lot| KINDS.contains(&lot.kind.as_str()));
    let finished: Vec<v1::Lot> = finished.collect();
    let has_more = looked_through >= LOOKED_THROUGH as usize || finished.len() > SHOWN;
    let asked = finished.into_iter().take(SHOWN).map(|lot| async {
        let question = v1::GetClearanceRequest { lot: lot.lot.clone() };
        Ready { clearance: visit.ask(methods::GET_CLEARANCE, question).await, lot }
    });
    let found = join_all(asked).await;
    let proved = found.iter().flat_map(|ready| &ready.clearance).flat_map(|one| &one.items);
    let codes = Codes::ask(visit, proved.map(|item| &item.lot)).await;
    Ok(page(visit, (&found, &codes), has_more, problem.as_ref()))
}

/// Signs for the lots that were ticked, each with the digest that its row showed.
async fn sign(visit: &Visit) -> Result<v1::Review, Problem> {
    let form = &visit.asked.form;
    let lots = form.all("lot").into_iter().filter_map(|ticked| {
        let (lot, digest) = ticked.split_once(':')?;
        Some(v1::ReviewedLot { lot: lot.to_owned(), digest: digest.to_owned() })
    });
    let id = forms::record_id(visit);
    let signing = Signing { subject: format!("review:{id}"), meaning: "signs-review" };
    let note = form.get("note").to_owned();
    let question = v1::SignReviewRequest { id, lots: lots.collect(), note };
    visit.ask_signed(methods::SIGN_REVIEW, question, signing).await
}

fn page(
    visit: &Visit,
    (found, codes): (&[Ready], &Codes),
    has_more: bool,
    problem: Option<&Problem>,
) -> Answer {
    let words = visit.words;
    let title = words.say("review");
    let may_sign = visit.holds(&[v1::Role::Qa]) && found.iter().any(Ready::is_to_sign);
    let body = html! {
        h1 { (title) }
        @if !visit.asked.query.get("signed").is_empty() {
            p.done role="status" { (mark(visit, "reviewed")) " " (words.say("review-signed")) }
        }
        (forms::alert(visit, problem))
        @if found.is_empty() { p { (words.say("nothing-finished")) } }
        form method="post" action="/review" {
            input type="hidden" name="id" value=(forms::record_id(visit));
            @for ready in found { (one(visit, ready, codes, may_sign)) }
            @if may_sign {
                label for="note" { (words.say("note-if-any")) }
                input id="note" name="note" maxlength="1000" autocomplete="off"
                    value=(visit.asked.form.raw("note"));
                (forms::signature(visit, "signs-review", "sign-review"))
            }
        }
        (shown::more(visit, found.len(), has_more))
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}

fn one(visit: &Visit, ready: &Ready, codes: &Codes, may_sign: bool) -> Markup {
    let (words, lot) = (visit.words, &ready.lot);
    html! {
        section.ready aria-label=(lot.code) {
            h2 { (lot_link(&lot.lot, &lot.code)) " " (lot.material) " " (state(visit, ready)) }
            @match &ready.clearance {
                Err(problem) => (shown::missing(visit, &words.say("file-review"), problem)),
                Ok(clearance) => {
                    p { (words.with("proved-items", [("count", clearance.items.len().into())])) " "
                        a href={ "/lots/" (lot.lot) "#review" } { (words.say("look-at-all")) } }
                    (judged::items(visit, clearance, |lot| codes.of(lot)))
                    @if !clearance.reasons.is_empty() {
                        (layout::reasons(visit, &clearance.reasons))
                    }
                    @if may_sign && ready.is_to_sign() {
                        label.choice {
                            input type="checkbox" name="lot"
                                value={ (lot.lot) ":" (clearance.digest) };
                            (words.with("i-looked-at", [("code", lot.code.as_str().into())]))
                        }
                    }
                }
            }
        }
    }
}

fn state(visit: &Visit, ready: &Ready) -> Markup {
    match &ready.clearance {
        Ok(clearance) if clearance.is_reviewed => mark(visit, "reviewed"),
        Ok(clearance) if clearance.is_reviewable => mark(visit, "to-review"),
        Ok(_) => mark(visit, "not-ready"),
        Err(_) => mark(visit, "not-judged"),
    }
}
