//! Whether pallets may leave now, every reason on one screen, and their shipment when they may.
//! It never takes its own answer for a clearance: the shipment is judged anew when it is recorded.

use std::collections::HashSet;

use futures_util::join;
use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::shown::{self, mark};
use super::visit::{Visit, Whole, is_signed_out};
use super::{day, forms, layout, methods};
use crate::problem::Problem;

/// What is shown of the pallets that were asked about.
struct Found {
    /// What was typed or scanned, as it was.
    typed: String,
    /// Ids, as far as labels were found.
    pallets: Vec<String>,
    check: Option<Result<v1::CheckShipmentResponse, Problem>>,
    here: Result<Whole<v1::ListedPallet>, Problem>,
}

/// Shows the pallets here and what was found of those asked about, or ships them.
pub async fn answer(visit: &Visit) -> Result<Answer, Problem> {
    let refused = match visit.asked.verb {
        Verb::Post => match ship(visit).await {
            Ok(shipment) => return Ok(Answer::see(&format!("/shipments/{}", shipment.shipment))),
            Err(problem) => Some(problem),
        },
        _ => None,
    };
    let found = find(visit).await;
    let problems =
        [&refused, &found.check.as_ref().and_then(|check| check.as_ref().err().cloned())];
    if let Some(problem) = problems.into_iter().flatten().find(|problem| is_signed_out(problem)) {
        return Err(problem.clone());
    }
    page(visit, &found, refused.as_ref()).await
}

/// Ships the pallets of the form.
async fn ship(visit: &Visit) -> Result<v1::Shipment, Problem> {
    let form = &visit.asked.form;
    let question = v1::ShipRequest {
        id: forms::record_id(visit),
        customer: form.get("customer").to_owned(),
        pallets: form.all("pallet"),
        place: form.get("place").to_owned(),
        truck: form.get("truck").to_owned(),
        observed_at: visit.now().to_string(),
        ..Default::default()
    };
    match visit.ask(methods::SHIP, question).await {
        // The same form was sent before: what stands is shown.
        Err(problem) if problem.kind == Kind::IdInUse => {
            let shipment = forms::record_id(visit);
            visit.ask(methods::GET_SHIPMENT, v1::GetShipmentRequest { shipment }).await
        }
        answered => answered,
    }
}

async fn find(visit: &Visit) -> Found {
    let here = here(visit).await;
    let (query, form) = (&visit.asked.query, &visit.asked.form);
    let typed = query.get("pallets").to_owned();
    let mut pallets = [query.all("pallet"), form.all("pallet")].concat();
    for word in typed.split_whitespace() {
        let known = here.iter().flat_map(|here| &here.rows);
        let mut labelled = known.filter(|pallet| pallet.label.eq_ignore_ascii_case(word));
        let id = match labelled.next() {
            Some(pallet) => pallet.pallet.clone(),
            None => labelled_anywhere(visit, word).await,
        };
        pallets.push(id);
    }
    let mut seen = HashSet::new();
    pallets.retain(|pallet| seen.insert(pallet.clone()));
    let check = match pallets.is_empty() {
        true => None,
        false => {
            let question = v1::CheckShipmentRequest { pallets: pallets.clone() };
            Some(visit.ask(methods::CHECK_SHIPMENT, question).await)
        }
    };
    Found { typed, pallets, check, here }
}

/// Pallets of which a case is in the plant.
async fn here(visit: &Visit) -> Result<Whole<v1::ListedPallet>, Problem> {
    let page = |page_size, page_token| async move {
        let question =
            v1::ListPalletsRequest { here: true, page_size, page_token, ..Default::default() };
        let answer = visit.ask(methods::LIST_PALLETS, question).await?;
        Ok((answer.pallets, answer.next_page_token))
    };
    visit.whole(page).await
}

/// The id of a pallet by its label, also of one that has left; what is no label stays as it is, and
/// the check says what is wrong with it.
async fn labelled_anywhere(visit: &Visit, label: &str) -> String {
    let question = v1::ListPalletsRequest { label: label.to_owned(), ..Default::default() };
    let found = visit.ask(methods::LIST_PALLETS, question).await;
    let found = found.ok().and_then(|found| found.pallets.into_iter().next());
    found.map_or_else(|| label.to_owned(), |pallet| pallet.pallet)
}

async fn page(visit: &Visit, found: &Found, refused: Option<&Problem>) -> Result<Answer, Problem> {
    let words = visit.words;
    let title = words.say("shipment-check");
    let unchecked = found.check.as_ref().and_then(|check| check.as_ref().err());
    let may_leave = match &found.check {
        Some(Ok(check)) => check.pallets.iter().all(|pallet| pallet.is_clear),
        _ => false,
    };
    let may_ship = visit.session.as_ref().is_some_and(|who| who.may(methods::SHIP.path()));
    let form = match may_leave && may_ship {
        true => Some(ship_form(visit, found).await?),
        false => None,
    };
    let body = html! {
        h1 { (title) }
        p { (words.say("shipment-check-means")) }
        (forms::alert(visit, refused))
        (forms::alert(visit, unchecked))
        @if let Some(Ok(check)) = &found.check { (verdicts(visit, check)) }
        @if let Some(form) = form { (form) }
        (choice(visit, found))
    };
    let mut page = layout::page(visit, &title, body);
    page.status = refused.or(unchecked).map_or(200, |problem| problem.kind.row().http);
    Ok(page)
}

/// Where pallets are scanned, or ticked.
fn choice(visit: &Visit, found: &Found) -> Markup {
    let words = visit.words;
    html! {
        form.wide method="get" action="/shipment-check" {
            label for="pallets" { (words.say("pallet-labels")) }
            textarea.short id="pallets" name="pallets" autocapitalize="none" spellcheck="false" {
                (found.typed)
            }
            button type="submit" { (words.say("check-pallets")) }
            h2 { (words.say("pallets-here")) }
            @match &found.here {
                Err(problem) => (shown::missing(visit, &words.say("pallets-here"), problem)),
                Ok(here) if here.rows.is_empty() => p { (words.say("no-pallets-here")) },
                Ok(here) => {
                    @for pallet in &here.rows { (pallet_choice(visit, pallet, &found.pallets)) }
                    (shown::more(visit, here.rows.len(), here.has_more))
                    p { button type="submit" { (words.say("check-pallets")) } }
                },
            }
        }
    }
}

fn pallet_choice(visit: &Visit, pallet: &v1::ListedPallet, chosen: &[String]) -> Markup {
    html! {
        label.choice {
            input type="checkbox" name="pallet" value=(pallet.pallet)
                checked[chosen.contains(&pallet.pallet)];
            span {
                strong { (pallet.label) } " "
                @for lot in &pallet.lots {
                    " · " (lot.material) " " (lot.code) ", "
                    (visit.words.with("cases-of", [("count", lot.cases.into())]))
                }
            }
        }
    }
}

/// The form of a shipment: to whom, on which truck, from which dock.
async fn ship_form(visit: &Visit, found: &Found) -> Result<Markup, Problem> {
    let partners = |page_size, page_token| async move {
        let question = v1::ListPartnersRequest { page_size, page_token };
        let answer = visit.ask(methods::LIST_PARTNERS, question).await?;
        Ok((answer.partners, answer.next_page_token))
    };
    let (partners, places) = join!(visit.whole(partners), day::places(visit));
    let mut customers = partners?.rows;
    customers.retain(|partner| partner.is_customer && partner.in_use);
    customers.sort_by(|one, other| one.name.cmp(&other.name));
    let mut docks = places?.rows;
    docks.retain(|place| place.kind == "dock" && place.in_use);
    let customers: Vec<_> = customers.iter().map(|one| (&*one.partner, &*one.name)).collect();
    let docks: Vec<_> = docks.iter().map(|one| (&*one.place, &*one.name)).collect();
    let words = visit.words;
    Ok(html! {
        section aria-labelledby="ship" {
            h2 id="ship" { (words.say("ship-them")) }
            form.wide method="post" action="/shipment-check" {
                input type="hidden" name="id" value=(forms::record_id(visit));
                @for pallet in &found.pallets {
                    input type="hidden" name="pallet" value=(pallet);
                }
                (choose(visit, ("customer", "customer"), &customers))
                (choose(visit, ("place", "from-dock"), &docks))
                label for="truck" { (words.say("truck")) }
                input id="truck" name="truck" required maxlength="60" autocomplete="off"
                    value=(visit.asked.form.raw("truck"));
                p.ways { button type="submit" { (words.say("ship-now")) } }
            }
        }
    })
}

/// A choice of one; the only one there is stands chosen.
fn choose(visit: &Visit, (name, label): (&str, &str), all: &[(&str, &str)]) -> Markup {
    let chosen = match (visit.asked.form.get(name), all) {
        ("", [(only, _)]) => only,
        (typed, _) => typed,
    };
    html! {
        label for=(name) { (visit.words.say(label)) }
        select id=(name) name=(name) required {
            option value="" { (visit.words.say("choose")) }
            @for (id, text) in all { option value=(id) selected[*id == chosen] { (text) } }
        }
    }
}

fn verdicts(visit: &Visit, found: &v1::CheckShipmentResponse) -> Markup {
    let words = visit.words;
    let held = found.pallets.iter().filter(|pallet| !pallet.is_clear).count();
    html! {
        p.verdict role="status" {
            (mark(visit, if held == 0 { "clear" } else { "not-clear" })) " "
            (words.with("pallets-held", [
                ("held", held.into()), ("all", found.pallets.len().into())
            ]))
        }
        @for pallet in &found.pallets {
            section.ready aria-label=(pallet.label) {
                h2 { (words.with("pallet", [("label", pallet.label.as_str().into())])) " "
                    (mark(visit, if pallet.is_clear { "clear" } else { "not-clear" })) }
                @if !pallet.reasons.is_empty() { (layout::reasons(visit, &pallet.reasons)) }
                @if !pallet.is_clear && !pallet.clear_cases.is_empty() {
                    p { (words.say("clear-cases")) " " (pallet.clear_cases.join(", ")) }
                }
            }
        }
    }
}
