//! A load as it stands: each product with its live verdict and what remains, its racks and probes,
//! the curves. It never has a verdict of its own: haccp judges, and a load as a whole has none.

mod acts;

use futures_util::join;
use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use super::answer::Answer;
use super::lots::Codes;
use super::sentence::told;
use super::shown::{self, lot_link, mark};
use super::visit::{Visit, is_signed_out};
use super::{cooking, layout, live, methods};
use crate::problem::Problem;

pub use acts::{leave_out, pull};

/// A load with its curves and what is known of its racks.
pub struct Load {
    pub load: v1::Load,
    curves: Result<v1::LoadCurves, Problem>,
    racks: Codes,
}

impl Load {
    /// Reads it. Errors: the load itself cannot be read.
    pub async fn read(visit: &Visit, load: &str) -> Result<Self, Problem> {
        let asked = v1::GetLoadRequest { load: load.to_owned() };
        let curves = v1::GetLoadCurvesRequest { load: load.to_owned() };
        let (load, curves) =
            join!(visit.ask(methods::GET_LOAD, asked), visit.ask(methods::GET_LOAD_CURVES, curves));
        let load = load?;
        let racks = Codes::ask(visit, load.racks.iter().map(|rack| &rack.rack)).await;
        Ok(Self { load, curves, racks })
    }

    /// The curves.
    pub fn curves(&self) -> &Result<v1::LoadCurves, Problem> {
        &self.curves
    }

    /// What a rack carries; empty where it is not known.
    pub fn material(&self, rack: &str) -> &str {
        self.racks.lot(rack).map_or("", |lot| lot.material.as_str())
    }

    /// Racks that are still in the house.
    pub fn inside(&self) -> impl Iterator<Item = &v1::LoadRack> {
        self.load.racks.iter().filter(|rack| rack.pulled_at.is_empty())
    }
}

/// Shows a load.
pub async fn show(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let load = Load::read(visit, id).await?;
    Ok(page(visit, &load, None))
}

/// The page, with what could not be done.
fn page(visit: &Visit, load: &Load, problem: Option<&Problem>) -> Answer {
    let words = visit.words;
    let title = words.with("load-title", [("house", load.load.house_name.as_str().into())]);
    let inside = load.inside().count();
    let body = html! {
        h1 { (title) }
        p { (words.say("went-in")) " " (shown::instant(visit, &load.load.observed_at)) " · "
            (load.load.entered_by_name) }
        @if let Some(problem) = problem { (super::forms::alert(visit, Some(problem))) }
        (live::part("load-now", html! {
            (live::as_of(visit))
            p { (words.with("racks-inside", [
                ("inside", inside.into()), ("all", load.load.racks.len().into())
            ])) }
            @for product in &load.load.products { (product_shown(visit, load, product)) }
            (unbound(visit, load))
        }))
        (live::part("pull-racks", acts::pull_form(visit, load, problem)))
        section aria-labelledby="curves" {
            h2 id="curves" { (words.say("curves")) }
            (live::part("load-curves", html! {
                @match &load.curves {
                    Ok(curves) => (cooking::picture(visit, &load.load, curves)),
                    Err(problem) => (shown::missing(visit, &words.say("curves"), problem)),
                }
            }))
        }
        section aria-labelledby="probes" {
            h2 id="probes" { (words.say("probes")) }
            (live::part("load-probes", probes(visit, load)))
            (acts::leave_out_form(visit, load, problem))
        }
        (said(visit, &load.load))
        p.code { (load.load.load) }
        (live::script())
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}

fn product_shown(visit: &Visit, load: &Load, product: &v1::LoadProduct) -> Markup {
    let words = visit.words;
    html! {
        section.product aria-label=(product.plan_name) {
            h2 { (product.plan_name) " · " (product.check) }
            p.verdict { (state(visit, &load.load, product)) " " (remains(visit, product)) }
            @if let (Some(coldest), Some(limit)) = (&product.coldest, &product.limit) {
                p { (words.with("coldest-is", [
                    ("coldest", shown::quantity(Some(coldest)).into()),
                    ("limit", shown::quantity(Some(limit)).into()),
                ])) }
            }
            (look_due(visit, &product.look_due_at))
            ul lang="en" { @for reason in &product.reasons { li { (told(visit, reason)) } } }
            (racks(visit, load, product))
        }
    }
}

/// The verdict; of a cook that goes on and is below its limit, that it is not met yet.
pub fn state(visit: &Visit, load: &v1::Load, product: &v1::LoadProduct) -> Markup {
    let mut inside = load.racks.iter().filter(|rack| rack.pulled_at.is_empty());
    let is_inside = inside.any(|rack| product.racks.contains(&rack.rack));
    match product.verdict() {
        v1::Verdict::Undetermined if is_inside => mark(visit, "not-yet"),
        _ => shown::verdict(visit, product.verdict),
    }
}

/// What remains to the limit, or when it was met.
pub fn remains(visit: &Visit, product: &v1::LoadProduct) -> Markup {
    let words = visit.words;
    html! {
        @if !product.met_at.is_empty() {
            (words.say("met-at")) " " (shown::time(visit, &product.met_at))
        } @else if let Some(remaining) = &product.remaining {
            (words.with("remains", [("value", shown::quantity(Some(remaining)).into())]))
        } @else {
            (words.say("remains-unknown"))
        }
    }
}

/// When somebody must look again.
pub fn look_due(visit: &Visit, due_at: &str) -> Markup {
    let words = visit.words;
    html! {
        @if !due_at.is_empty() {
            p.due { (mark(visit, if visit.is_past(due_at) { "overdue" } else { "due" })) " "
                (words.say("look-due")) " " (shown::time(visit, due_at)) }
        }
    }
}

fn racks(visit: &Visit, load: &Load, product: &v1::LoadProduct) -> Markup {
    let words = visit.words;
    let racks = load.load.racks.iter().filter(|rack| product.racks.contains(&rack.rack));
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("racks")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("rack")) }
                    th scope="col" { (words.say("where")) }
                    th scope="col" { (words.say("cook")) }
                    th scope="col" { (words.say("chill")) }
                    th scope="col" { (words.say("to-do")) }
                } }
                tbody { @for rack in racks { (rack_row(visit, load, (product, rack))) } }
            }
        }
    }
}

fn rack_row(
    visit: &Visit,
    load: &Load,
    (product, rack): (&v1::LoadProduct, &v1::LoadRack),
) -> Markup {
    let words = visit.words;
    let (id, is_inside) = (&load.load.load, rack.pulled_at.is_empty());
    html! {
        tr {
            th scope="row" { (lot_link(&rack.rack, &rack.code)) }
            td { @if is_inside { (words.say("in-the-house")) }
                @else { (words.say("pulled-at")) " " (shown::time(visit, &rack.pulled_at)) } }
            td { @if is_inside { (state(visit, &load.load, product)) }
                @else { (shown::verdict(visit, rack.cook)) }
                @if !rack.deviation.is_empty() {
                    " " a href={ "/deviations/" (rack.deviation) } { (words.say("to-deviation")) }
                } }
            td { @if rack.chills.is_empty() { (words.say("not-begun")) }
                @for chill in &rack.chills {
                    (chill.check) " " (shown::verdict(visit, chill.verdict)) " "
                } }
            td { @if is_inside {
                    a href={ "/reading/" (rack.rack) "/" (product.check) } {
                        (words.say("enter-reading"))
                    }
                } @else {
                    a href={ "/loads/" (id) "/chills/" (rack.rack) } { (words.say("to-chill")) }
                } }
        }
    }
}

/// Racks that no plan judges, so far as is known.
fn unbound(visit: &Visit, load: &Load) -> Markup {
    let is_judged = |rack: &v1::LoadRack| {
        load.load.products.iter().any(|product| product.racks.contains(&rack.rack))
    };
    html! {
        @for rack in load.load.racks.iter().filter(|rack| !is_judged(rack)) {
            p { (mark(visit, "not-judged")) " " (lot_link(&rack.rack, &rack.code)) " "
                (visit.words.say("rack-unbound")) }
        }
    }
}

fn probes(visit: &Visit, load: &Load) -> Markup {
    let words = visit.words;
    html! {
        @if load.load.probes.is_empty() { p { (words.say("no-probes")) } }
        @else {
            div.scroll tabindex="0" role="group" aria-label=(words.say("probes")) {
                table {
                    thead { tr {
                        th scope="col" { (words.say("probe")) }
                        th scope="col" { (words.say("seat")) }
                        th.number scope="col" { (words.say("shows")) }
                        th scope="col" { (words.say("shown-at")) }
                        th scope="col" { (words.say("state")) }
                    } }
                    tbody { @for probe in &load.load.probes { (probe_row(visit, load, probe)) } }
                }
            }
        }
        (cooking::left_out(visit, &load.load))
    }
}

fn probe_row(visit: &Visit, load: &Load, probe: &v1::LoadProbe) -> Markup {
    let words = visit.words;
    let is_out = !probe.left_out_from.is_empty() || !probe.not_in_product_from.is_empty();
    let rack = load.load.racks.iter().find(|rack| rack.rack == probe.lot);
    html! {
        tr {
            th scope="row" { (probe.probe) }
            td { @match rack {
                Some(rack) => { (words.say("rack")) " " (rack.code) },
                None => (words.one_of("seat", &probe.seat)),
            } }
            td.number { (shown::quantity(probe.last.as_ref())) }
            td { (shown::time(visit, &probe.last_at)) }
            td { (mark(visit, if is_out { "left-out" } else { "counts" })) }
        }
    }
}

/// What supports the verdicts, and every caution.
fn said(visit: &Visit, load: &v1::Load) -> Markup {
    let words = visit.words;
    let support = load.products.iter().flat_map(|product| &product.support);
    html! {
        @if load.products.iter().any(|product| !product.support.is_empty()) {
            section aria-labelledby="support" {
                h2 id="support" { (words.say("support")) }
                ul.support lang="en" { @for one in support { li { (told(visit, one)) } } }
            }
        }
        @if !load.cautions.is_empty() {
            section.cautions aria-labelledby="cautions" {
                h2 id="cautions" { (words.say("cautions")) }
                ul lang="en" { @for one in &load.cautions { li { (told(visit, one)) } } }
            }
        }
        @if !load.note.is_empty() { p { (words.say("note")) ": " (load.note) } }
    }
}

/// The page after something was tried: the load anew, or why it was not done.
async fn tried<T>(visit: &Visit, id: &str, done: Result<T, Problem>) -> Result<Answer, Problem> {
    match done {
        Ok(_) => Ok(Answer::see(&format!("/loads/{id}"))),
        // The same form was sent before: the load as it stands shows what it did.
        Err(problem) if problem.kind == Kind::IdInUse => Ok(Answer::see(&format!("/loads/{id}"))),
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(page(visit, &Load::read(visit, id).await?, Some(&problem))),
    }
}
