//! Whether pallets may leave now: their ids as they are scanned, and every reason on one screen.
//! It never ships: the shipment is judged anew when it is recorded.

use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::shown::mark;
use super::visit::{Visit, is_signed_out};
use super::{forms, layout, methods};
use crate::problem::Problem;

/// Shows the field, and what was found of the pallets in it.
pub async fn show(visit: &Visit) -> Result<Answer, Problem> {
    let typed = visit.asked.query.get("pallets");
    let pallets: Vec<String> = typed.split_whitespace().map(str::to_owned).collect();
    let found = match pallets.is_empty() {
        true => None,
        false => Some(check(visit, pallets).await),
    };
    if let Some(Err(problem)) = &found
        && is_signed_out(problem)
    {
        return Err(problem.clone());
    }
    Ok(page(visit, typed, found))
}

async fn check(visit: &Visit, pallets: Vec<String>) -> Result<v1::CheckShipmentResponse, Problem> {
    visit.ask(methods::CHECK_SHIPMENT, v1::CheckShipmentRequest { pallets }).await
}

fn page(
    visit: &Visit,
    typed: &str,
    found: Option<Result<v1::CheckShipmentResponse, Problem>>,
) -> Answer {
    let words = visit.words;
    let title = words.say("shipment-check");
    let problem = found.as_ref().and_then(|found| found.as_ref().err());
    let body = html! {
        h1 { (title) }
        p { (words.say("shipment-check-means")) }
        (forms::alert(visit, problem))
        @if let Some(Ok(found)) = &found { (verdicts(visit, found)) }
        form.wide method="get" action="/shipment-check" {
            label for="pallets" { (words.say("pallet-ids")) }
            textarea id="pallets" name="pallets" required autocapitalize="none"
                spellcheck="false" { (typed) }
            button type="submit" { (words.say("check-pallets")) }
        }
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
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
