//! What a lot is, what it came of, what it went into, and what of it left the plant.
//! It never adds up masses by itself: each stands as genealogy told it.

use std::collections::HashMap;

use maud::{Markup, html};
use wire::v1;

use super::gather::File;
use super::{part, table};
use crate::pages::lots;
use crate::pages::shown::{self, lot_link};
use crate::pages::trace::{Together, used_together};
use crate::pages::visit::Visit;

/// What it is.
pub fn what(visit: &Visit, file: &File) -> Markup {
    let (words, lot) = (visit.words, &file.lot);
    html! {
        dl {
            dt { (words.say("what-it-is")) } dd { (lot.material) }
            dt { (words.say("kind")) } dd { (words.one_of("lot-kind", &lot.kind)) }
            @if !lot.supplier_name.is_empty() {
                dt { (words.say("supplier")) } dd { (lot.supplier_name) }
                dt { (words.say("supplier-lot")) } dd { (lot.supplier_lot) }
            }
            @if !lot.run.is_empty() {
                dt { (words.say("run")) }
                dd { a href=(lots::of_run(&lot.run, "")) { (lot.run) } }
            }
            dt { (words.say("mass")) } dd { (shown::quantity(lot.mass.as_ref())) }
            dt { (words.say("on-hand")) } dd { (shown::grams(visit, lot.on_hand_g.as_deref())) }
            dt { (words.say("place")) }
            dd { (lot.stands_at_name)
                @if lot.stands_at != lot.place {
                    " · " (words.with("made-at", [("place", lot.place_name.as_str().into())]))
                } }
            dt { (words.say("plan")) } dd { (plan(visit, file)) }
            dt { (words.say("observed")) } dd { (shown::instant(visit, &lot.observed_at)) }
            dt { (words.say("recorded")) }
            dd { (shown::instant(visit, &lot.recorded_at)) " · " (lot.entered_by_name) }
            dt { (words.say("production-day")) } dd { (lot.day) }
            dt { (words.say("record")) } dd.code { (lot.lot) }
        }
    }
}

fn plan(visit: &Visit, file: &File) -> Markup {
    let (words, lot) = (visit.words, &file.lot);
    if lot.plan.is_empty() {
        return html! { (shown::mark(visit, "missing")) " " (words.say("plan-none")) };
    }
    let version = words.with("plan-version", [("version", lot.plan_version.into())]);
    let content =
        file.plan.as_ref().ok().and_then(|plan| Some((plan.version, plan.content.as_ref()?)));
    match content {
        Some((in_force, content)) => html! {
            (content.name) ", " (version)
            @if in_force != lot.plan_version {
                " (" (words.with("plan-newer", [("version", in_force.into())])) ")"
            }
        },
        None => html! { span.code { (lot.plan) } ", " (version) },
    }
}

/// Where it came from.
pub fn came_from(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    html! {
        @if let Some(made) = &file.made_by {
            (part(visit, "file-made", made, |made| made_by(visit, made)))
        }
        (part(visit, "file-from", &file.back, |back| html! {
            @if back.lots.len() <= 1 { p { (words.say("came-of-none")) } }
            @else { (traced(visit, "file-from", back)) }
        }))
    }
}

fn made_by(visit: &Visit, made: &v1::Transformation) -> Markup {
    let words = visit.words;
    html! {
        p { (words.with("made-by", [
                ("kind", words.one_of("transformation-kind", &made.kind).into()),
                ("place", made.place_name.as_str().into()),
                ("name", made.entered_by_name.as_str().into()),
            ])) " " (shown::instant(visit, &made.observed_at)) }
        (table(visit, "file-made", &["lot", "what-it-is", "mass", "note"], html! {
            @for used in &made.inputs {
                tr {
                    th scope="row" { (lot_link(&used.lot, &used.code)) }
                    td { (used.material) }
                    td.number { (shown::quantity(used.mass.as_ref())) }
                    td {
                        @if !used.reason.is_empty() {
                            (words.say("added-later")) " " (used.reason)
                        }
                    }
                }
            }
            @for added in &made.additions {
                tr {
                    th scope="row" { (words.say("no-lot")) }
                    td { (added.name) }
                    td.number { (shown::quantity(added.mass.as_ref())) }
                    td {}
                }
            }
        }))
        p { (words.say("loss")) " " (shown::grams(visit, made.loss_g.as_deref())) }
        @for item in &made.items {
            p { (shown::mark(visit, "open")) " " span lang="en" { (item.what) } }
        }
    }
}

/// Where it went.
pub fn went_to(visit: &Visit, file: &File) -> Markup {
    part(visit, "file-to", &file.forward, |forward| {
        html! {
            @if forward.lots.len() <= 1 { p { (visit.words.say("went-to-none")) } }
            @else { (traced(visit, "file-to", forward)) }
        }
    })
}

/// The lots of a trace but the one that was asked for, the nearest first.
fn traced(visit: &Visit, label: &str, trace: &v1::Trace) -> Markup {
    let words = visit.words;
    let mut lots: Vec<_> = trace.lots.iter().filter(|lot| lot.distance > 0).collect();
    lots.sort_by(|one, other| (one.distance, &one.code).cmp(&(other.distance, &other.code)));
    let told = Told::of(trace);
    let columns =
        ["steps", "lot", "kind", "what-it-is", "supplier", "observed", "used-mass", "on-hand"];
    table(
        visit,
        label,
        &columns,
        html! {
            @for lot in lots {
                tr {
                    td.number { (lot.distance) }
                    th scope="row" { (lot_link(&lot.lot, &lot.code)) }
                    td { (words.one_of("lot-kind", &lot.kind)) }
                    td { (lot.material) }
                    td {
                    (lot.supplier_name)
                    @if !lot.supplier_lot.is_empty() { " · " (lot.supplier_lot) }
                }
                    td { (shown::instant(visit, &lot.observed_at)) }
                    td.number { (used(visit, &told, lot)) }
                    td.number { (shown::grams(visit, lot.on_hand_g.as_deref())) }
                }
            }
        },
    )
}

/// What of a lot was used, or went into it, on this way; each use stands by itself, one for several
/// lots that were made together stands once.
fn used(visit: &Visit, told: &Told<'_>, lot: &v1::TracedLot) -> Markup {
    html! {
        @for (used, together) in told.uses(&lot.lot) {
            div {
                (shown::quantity(used.mass.as_ref()))
                (used_together(visit, *together))
            }
        }
    }
}

/// The uses of each lot of a trace, each with how many lots were made of it together.
struct Told<'t>(HashMap<&'t str, Vec<(&'t v1::TracedUse, usize)>>);

impl<'t> Told<'t> {
    fn of(trace: &'t v1::Trace) -> Self {
        let together = Together::of(&trace.uses);
        let is_back = trace.direction == "back";
        let mut told: HashMap<&str, Vec<_>> = HashMap::new();
        for used in &trace.uses {
            let lots = together.lots(used);
            // A lot that was made of it together with others is told by the first of them.
            if !is_back || lots.first() == Some(&used.to_lot.as_str()) {
                let lot = if is_back { &used.from_lot } else { &used.to_lot };
                told.entry(lot).or_default().push((used, lots.len()));
            }
        }
        Self(told)
    }

    fn uses(&self, lot: &str) -> &[(&'t v1::TracedUse, usize)] {
        self.0.get(lot).map_or(&[], Vec::as_slice)
    }
}

/// What of it left the plant.
pub fn shipments(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    part(visit, "file-shipments", &file.forward, |forward| {
        if forward.shipments.is_empty() {
            return html! { p { (words.say("no-shipments")) } };
        }
        let columns = ["shipped-at", "customer", "phone", "lot", "cases", "mass", "record"];
        let code = |id: &str| {
            let found = forward.lots.iter().find(|lot| lot.lot == id);
            found.map_or(String::new(), |lot| lot.code.clone())
        };
        table(
            visit,
            "file-shipments",
            &columns,
            html! {
                @for shipment in &forward.shipments {
                    tr {
                        td { (shown::instant(visit, &shipment.observed_at)) }
                        th scope="row" { (shipment.customer_name) }
                        td { (shipment.customer_phone) }
                        td { (lot_link(&shipment.lot, &code(&shipment.lot))) }
                        td.number { (shipment.cases) }
                        td.number { (shown::grams(visit, shipment.mass_g.as_deref())) }
                        td.code {
                            a href={ "/shipments/" (shipment.shipment) } { (shipment.shipment) }
                        }
                    }
                }
            },
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn used(to: &str, mass: &str) -> v1::TracedUse {
        v1::TracedUse {
            from_lot: "batch".to_owned(),
            to_lot: to.to_owned(),
            transformation: "hung".to_owned(),
            mass: Some(v1::Quantity { value: Some(mass.to_owned()), unit: "kg".to_owned() }),
        }
    }

    /// Masses with how many lots were made of each together.
    fn masses(direction: &str, uses: Vec<v1::TracedUse>, lot: &str) -> Vec<(String, usize)> {
        let trace = v1::Trace { direction: direction.to_owned(), uses, ..Default::default() };
        let mass = |used: &v1::TracedUse| used.mass.as_ref().and_then(|mass| mass.value.clone());
        let told = Told::of(&trace);
        let told = told.uses(lot).iter();
        told.map(|(used, together)| (mass(used).unwrap_or_default(), *together)).collect()
    }

    #[test]
    fn a_use_for_several_lots_stands_once() {
        let uses = || vec![used("r1", "90"), used("r2", "90")];
        assert_eq!(masses("back", uses(), "batch"), [("90".to_owned(), 2)]);
        assert_eq!(masses("forward", uses(), "r2"), [("90".to_owned(), 2)]);
    }

    #[test]
    fn what_was_added_later_of_the_same_lot_stands_by_itself() {
        let uses = || vec![used("r1", "90"), used("r1", "5"), used("r2", "90"), used("r2", "5")];
        let both = [("90".to_owned(), 2), ("5".to_owned(), 2)];
        assert_eq!(masses("back", uses(), "batch"), both);
        assert_eq!(masses("forward", uses(), "r2"), both);
        let alone = vec![used("r1", "90"), used("r1", "5")];
        assert_eq!(masses("back", alone, "batch"), [("90".to_owned(), 1), ("5".to_owned(), 1)]);
    }
}
