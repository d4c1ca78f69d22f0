//! A shipment as it left: to whom, on what, which pallets with which lots. It prints on one page.
//! It never judges it: what was not clear when it left stands there as it was found.

use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::shown::{self, lot_link, mark};
use super::visit::Visit;
use super::{layout, methods};
use crate::problem::Problem;

/// Shows it.
pub async fn show(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let question = v1::GetShipmentRequest { shipment: id.to_owned() };
    let shipment = visit.ask(methods::GET_SHIPMENT, question).await?;
    let words = visit.words;
    let title = words.with("shipment-to", [("customer", shipment.customer_name.as_str().into())]);
    let word = if shipment.is_unclear { "left-unclear" } else { "shipped" };
    let body = html! {
        h1 { (title) }
        p.verdict { (mark(visit, word)) " " (shown::instant(visit, &shipment.observed_at)) }
        dl {
            dt { (words.say("truck")) } dd { (shipment.truck) }
            dt { (words.say("from-dock")) } dd { (shipment.place_name) }
            dt { (words.say("cases")) } dd { (shipment.cases) }
            dt { (words.say("mass")) } dd { (shown::grams(visit, shipment.mass_g.as_deref())) }
            dt { (words.say("lots-behind")) } dd { (shipment.closure_lots) }
            dt { (words.say("recorded")) }
            dd { (shown::instant(visit, &shipment.recorded_at)) " · " (shipment.entered_by_name) }
            dt { (words.say("record")) } dd.code { (shipment.shipment) }
        }
        @if !shipment.reasons.is_empty() { (layout::reasons(visit, &shipment.reasons)) }
        section aria-labelledby="pallets" {
            h2 id="pallets" { (words.say("pallets")) }
            (pallets(visit, &shipment))
        }
    };
    Ok(layout::page(visit, &title, body))
}

fn pallets(visit: &Visit, shipment: &v1::Shipment) -> Markup {
    let words = visit.words;
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("pallets")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("pallets")) }
                    th scope="col" { (words.say("lot")) }
                    th scope="col" { (words.say("what-it-is")) }
                    th.number scope="col" { (words.say("cases")) }
                    th.number scope="col" { (words.say("mass")) }
                } }
                tbody {
                    @for pallet in &shipment.pallets {
                        @for (at, lot) in pallet.lots.iter().enumerate() {
                            tr {
                                @if at == 0 {
                                    th scope="row" rowspan=(pallet.lots.len()) { (pallet.label) }
                                }
                                td { (lot_link(&lot.lot, &lot.code)) }
                                td { (lot.material) }
                                td.number { (lot.cases) }
                                td.number { (shown::grams(visit, lot.mass_g.as_deref())) }
                            }
                        }
                    }
                }
            }
        }
    }
}
