//! Where a lot came from and where it went, as a picture by stages and as a table.
//! It never adds masses up: each line is one use as genealogy told it.

mod graph;
mod picture;

use futures_util::join;
use maud::{Markup, html};
use wire::v1;

use super::answer::Answer;
use super::lots::Codes;
use super::shown::{self, lot_link, mark};
use super::visit::Visit;
use super::{layout, methods};
use crate::problem::Problem;
use graph::Graph;
pub use graph::Together;

/// Shows the trace of a lot, back and forward.
pub async fn show(visit: &Visit, lot: &str) -> Result<Answer, Problem> {
    let question = v1::GetLotRequest { lot: lot.to_owned() };
    let trace = |direction: &str| {
        let (lot, direction) = (lot.to_owned(), direction.to_owned());
        visit.ask(methods::TRACE_LOT, v1::TraceLotRequest { lot, direction })
    };
    let (found, back, forward) =
        join!(visit.ask(methods::GET_LOT, question), trace("back"), trace("forward"));
    let found = found?;
    // Half a trace would look like a whole one.
    let graph = Graph::of(lot, back?, forward?);
    let held = Codes::ask(visit, graph.lots.iter().map(|lot| &lot.lot)).await;
    let words = visit.words;
    let title = words.with("trace-title", [("code", found.code.as_str().into())]);
    let body = html! {
        h1 { (title) }
        p { (found.material) " · " (lot_link(&found.lot, &words.say("lot-file"))) }
        figure.trace {
            div.scroll tabindex="0" role="group" aria-label=(title) {
                (picture::drawn(visit, &graph, &held))
            }
            figcaption { (words.say("trace-words")) }
        }
        @if graph.all > graph.lots.len() {
            p.absent { (mark(visit, "missing")) " " (words.with("trace-more", [
                ("all", graph.all.into()), ("shown", graph.lots.len().into())
            ])) }
        }
        section aria-labelledby="table" {
            h2 id="table" { (words.say("in-table")) }
            (table(visit, &graph, &held))
        }
    };
    Ok(layout::page(visit, &title, body))
}

/// The word of a lot's mark.
fn word(graph: &Graph, held: &Codes, lot: &str) -> &'static str {
    match held.lot(lot) {
        Some(found) if !found.holds.is_empty() => "on-hold",
        None => "not-judged",
        Some(_) if lot == graph.lot => "this",
        Some(_) => "no-hold",
    }
}

fn table(visit: &Visit, graph: &Graph, held: &Codes) -> Markup {
    let words = visit.words;
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("in-table")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("lot")) }
                    th scope="col" { (words.say("what-it-is")) }
                    th scope="col" { (words.say("kind")) }
                    th.number scope="col" { (words.say("mass")) }
                    th scope="col" { (words.say("came-of")) }
                    th scope="col" { (words.say("state")) }
                } }
                tbody {
                    @let together = Together::of(&graph.uses);
                    @for lot in &graph.lots { (row(visit, (graph, &together), (lot, held))) }
                    @for shipment in &graph.shipments { (shipped(visit, graph, shipment)) }
                }
            }
        }
    }
}

fn row<'g>(
    visit: &Visit,
    (graph, together): (&'g Graph, &Together<'g>),
    (lot, held): (&v1::TracedLot, &Codes),
) -> Markup {
    let words = visit.words;
    html! {
        tr {
            th scope="row" { (lot_link(&lot.lot, &lot.code)) }
            td { (lot.material)
                @if !lot.supplier_name.is_empty() {
                    small { (lot.supplier_name) " · " (lot.supplier_lot) }
                } }
            td { (words.one_of("lot-kind", &lot.kind)) }
            td.number { (shown::quantity(lot.mass.as_ref())) }
            td { @for used in graph.uses.iter().filter(|used| used.to_lot == lot.lot) {
                div { (lot_link(&used.from_lot, graph.code(&used.from_lot))) " "
                    (shown::quantity(used.mass.as_ref()))
                    (used_together(visit, together.lots(used).len())) }
            } }
            td { (mark(visit, word(graph, held, &lot.lot))) }
        }
    }
}

/// That a mass was used for several lots, where it was.
pub fn used_together(visit: &Visit, lots: usize) -> Markup {
    html! {
        @if lots > 1 {
            small { (visit.words.with("used-together", [("count", lots.into())])) }
        }
    }
}

fn shipped(visit: &Visit, graph: &Graph, shipment: &v1::TracedShipment) -> Markup {
    let words = visit.words;
    html! {
        tr {
            th scope="row" { (shipment.customer_name) }
            td { (words.with("cases-of", [("count", shipment.cases.into())])) " "
                small { (shipment.customer_phone) } }
            td { (words.say("shipment")) }
            td.number { (shown::grams(visit, shipment.mass_g.as_deref())) }
            td { (lot_link(&shipment.lot, graph.code(&shipment.lot))) }
            td { (mark(visit, "shipped")) " " (shown::instant(visit, &shipment.observed_at)) }
        }
    }
}
