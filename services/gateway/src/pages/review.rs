//! The review before shipment: which finished lots wait for it, product by product, what stands in
//! the way of others, one signature over those that were looked at, and who signed which review.
//! It signs exactly what the page showed.

use std::collections::{BTreeMap, HashMap};

use futures_util::join;
use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::lot_file::judged;
use super::lots::Codes;
use super::shown::{self, lot_link, mark};
use super::visit::{Signing, Visit, is_signed_out};
use super::{forms, layout, methods};
use crate::problem::Problem;

/// Finished lots shown, the newest ones.
const SHOWN: i32 = 40;
/// Reviews shown, the newest first.
const REVIEWS: i32 = 20;
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

    /// What waits comes first, what was reviewed last.
    fn rank(&self) -> u8 {
        match &self.clearance {
            Ok(found) if found.is_reviewed => 2,
            Ok(found) if found.is_reviewable => 0,
            _ => 1,
        }
    }
}

/// What the page shows.
struct Found {
    lots: Vec<Ready>,
    has_more: bool,
    reviews: Result<v1::ListReviewsResponse, Problem>,
    codes: Codes,
}

impl Found {
    async fn gather(visit: &Visit) -> Result<Self, Problem> {
        let question = v1::ListLotsRequest {
            page_size: SHOWN,
            newest_first: true,
            kinds: KINDS.map(str::to_owned).into(),
            ..Default::default()
        };
        let newest = v1::ListReviewsRequest { page_size: REVIEWS, ..Default::default() };
        let (found, reviews) = join!(
            visit.ask(methods::LIST_LOTS, question),
            visit.ask(methods::LIST_REVIEWS, newest)
        );
        let found = found?;
        let has_more = !found.next_page_token.is_empty();
        let mut lots = ready(visit, found.lots).await;
        lots.sort_by_key(Ready::rank);
        let proved = lots.iter().flat_map(|ready| &ready.clearance).flat_map(|one| &one.items);
        let signed = reviews.iter().flat_map(|found| &found.reviews).flat_map(|one| &one.lots);
        let named = proved.map(|item| &item.lot).chain(signed.map(|lot| &lot.lot));
        let codes = Codes::ask(visit, named).await;
        Ok(Self { lots, has_more, reviews, codes })
    }

    /// Lots by product, those with something to sign first.
    fn products(&self) -> Vec<(&str, Vec<&Ready>)> {
        let mut products: BTreeMap<&str, Vec<&Ready>> = BTreeMap::new();
        for ready in &self.lots {
            products.entry(&ready.lot.material).or_default().push(ready);
        }
        let mut products: Vec<_> = products.into_iter().collect();
        products.sort_by_key(|(_, lots)| lots.iter().map(|ready| ready.rank()).min());
        products
    }
}

/// Lots with what is proved of each, all asked at once.
async fn ready(visit: &Visit, lots: Vec<v1::Lot>) -> Vec<Ready> {
    if lots.is_empty() {
        return Vec::new();
    }
    let asked = lots.iter().map(|lot| lot.lot.clone()).collect();
    let question = v1::ListClearancesRequest { lots: asked };
    let (told, missing) = match visit.ask(methods::LIST_CLEARANCES, question).await {
        Ok(found) => {
            (found.clearances, Problem::new(Kind::Internal, "The answer cannot be shown."))
        }
        Err(problem) => (Vec::new(), problem),
    };
    let told = told.into_iter().map(|clearance| (clearance.lot.clone(), clearance));
    let mut told: HashMap<String, v1::Clearance> = told.collect();
    let of = |lot: v1::Lot| Ready {
        clearance: told.remove(&lot.lot).ok_or_else(|| missing.clone()),
        lot,
    };
    lots.into_iter().map(of).collect()
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
    let found = Found::gather(visit).await?;
    Ok(page(visit, &found, problem.as_ref()))
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

fn page(visit: &Visit, found: &Found, problem: Option<&Problem>) -> Answer {
    let words = visit.words;
    let title = words.say("review");
    let may_sign = visit.holds(&[v1::Role::Qa]) && found.lots.iter().any(Ready::is_to_sign);
    let waiting = found.lots.iter().filter(|ready| ready.is_to_sign()).count();
    let body = html! {
        h1 { (title) }
        @if !visit.asked.query.get("signed").is_empty() {
            p.done role="status" { (mark(visit, "reviewed")) " " (words.say("review-signed")) }
        }
        (forms::alert(visit, problem))
        @if found.lots.is_empty() { p { (words.say("nothing-finished")) } }
        @else { p { (words.with("waiting-for-review", [("count", waiting.into())])) } }
        form method="post" action="/review" {
            input type="hidden" name="id" value=(forms::record_id(visit));
            @for (product, lots) in found.products() {
                section aria-label=(product) {
                    h2 { (product) }
                    @for ready in lots { (one(visit, ready, &found.codes, may_sign)) }
                }
            }
            @if may_sign {
                label for="note" { (words.say("note-if-any")) }
                input id="note" name="note" maxlength="1000" autocomplete="off"
                    value=(visit.asked.form.raw("note"));
                (forms::signature(visit, "signs-review", "sign-review"))
            }
        }
        (shown::more(visit, found.lots.len(), found.has_more))
        section aria-labelledby="signed" {
            h2 id="signed" { (words.say("signed-reviews")) }
            (signed(visit, found))
        }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}

fn one(visit: &Visit, ready: &Ready, codes: &Codes, may_sign: bool) -> Markup {
    let (words, lot) = (visit.words, &ready.lot);
    html! {
        section.ready aria-label=(lot.code) {
            h3 { (lot_link(&lot.lot, &lot.code)) " "
                span.since { (shown::instant(visit, &lot.observed_at)) } " " (state(visit, ready)) }
            @match &ready.clearance {
                Err(problem) => (shown::missing(visit, &words.say("file-review"), problem)),
                Ok(clearance) => {
                    @if !clearance.reasons.is_empty() {
                        (layout::reasons(visit, &clearance.reasons))
                    }
                    details open[may_sign && ready.is_to_sign()] {
                        summary { (words.with("proved-items", [
                            ("count", clearance.items.len().into())
                        ])) }
                        (judged::items(visit, clearance, |lot| codes.of(lot)))
                        p { a href={ "/lots/" (lot.lot) "#review" } {
                            (words.say("look-at-all"))
                        } }
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

/// Who signed which review.
fn signed(visit: &Visit, found: &Found) -> Markup {
    let words = visit.words;
    let reviews = match &found.reviews {
        Err(problem) => return shown::missing(visit, &words.say("signed-reviews"), problem),
        Ok(reviews) if reviews.reviews.is_empty() => {
            return html! { p { (words.say("no-reviews")) } };
        }
        Ok(reviews) => reviews,
    };
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("signed-reviews")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("signed")) }
                    th scope="col" { (words.say("person")) }
                    th scope="col" { (words.say("lots")) }
                    th scope="col" { (words.say("note")) }
                } }
                tbody { @for review in &reviews.reviews { tr {
                    td { (shown::instant(visit, &review.recorded_at)) }
                    th scope="row" { (review.signed_by_name)
                        @if review.lots.iter().any(|lot| lot.reviewer_recorded) {
                            small { (words.say("reviewer-recorded")) }
                        } }
                    td { @for lot in &review.lots {
                        (lot_link(&lot.lot, found.codes.of(&lot.lot))) " "
                        @if !lot.excepted_cases.is_empty() {
                            (words.say("excepted-cases")) " " (lot.excepted_cases.join(", ")) " "
                        }
                    } }
                    td { (review.note) }
                } } }
            }
        }
        (shown::more(visit, reviews.reviews.len(), !reviews.next_page_token.is_empty()))
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
