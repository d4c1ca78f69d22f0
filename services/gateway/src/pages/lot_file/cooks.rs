//! The cooks and chills of the racks that the lot is or came of, each with its curves.
//! A probe that was left out is never hidden: its curve stays, and the reason beside it.

use domain::exact::Exact;
use maud::{Markup, PreEscaped, html};
use wire::v1;

use super::gather::{Cooked, Cooks, File, Part};
use super::{check, part, table};
use crate::pages::chart;
use crate::pages::shown::{self, lot_link, mark};
use crate::pages::visit::Visit;

/// The part of the file.
pub fn shown(visit: &Visit, file: &File) -> Markup {
    part(visit, "file-cooks", &file.cooks, |cooks| all(visit, file, cooks))
}

fn all(visit: &Visit, file: &File, cooks: &Cooks) -> Markup {
    let words = visit.words;
    html! {
        @if cooks.loads.is_empty() {
            p { @if cooks.racks == 0 { (words.say("no-racks")) } @else { (words.say("no-cooks")) } }
        }
        @for cooked in &cooks.loads { (load(visit, file, cooked)) }
        (shown::more(visit, cooks.racks, cooks.has_more))
    }
}

fn load(visit: &Visit, file: &File, cooked: &Cooked) -> Markup {
    let (words, load) = (visit.words, &cooked.load);
    html! {
        div.load {
            h3 { (words.with("load-in", [("house", load.house_name.as_str().into())])) " "
                (shown::instant(visit, &load.observed_at)) }
            @for product in &load.products { (cook(visit, product)) }
            (racks(visit, file, load))
            @match &cooked.curves {
                Ok(curves) => (picture(visit, file, load, curves)),
                Err(problem) => (shown::missing(visit, &words.say("curves"), problem)),
            }
            (probes(visit, load))
            @if !load.note.is_empty() { p { (words.say("note")) ": " (load.note) } }
            p.code { (load.load) }
        }
    }
}

fn cook(visit: &Visit, product: &v1::LoadProduct) -> Markup {
    let words = visit.words;
    html! {
        p { strong { (product.check) } " " (product.plan_name) ", "
            (words.with("plan-version", [("version", product.plan_version.into())])) " "
            (shown::verdict(visit, product.verdict))
            @if !product.met_at.is_empty() {
                " " (words.say("met-at")) " " (shown::instant(visit, &product.met_at))
            } }
        ul lang="en" { @for reason in &product.reasons { li { (reason) } } }
        @if !product.support.is_empty() {
            ul.support lang="en" { @for support in &product.support { li { (support) } } }
        }
    }
}

fn racks(visit: &Visit, file: &File, load: &v1::Load) -> Markup {
    let columns = ["rack", "pulled-at", "cook", "chill"];
    table(
        visit,
        "racks",
        &columns,
        html! {
            @for rack in &load.racks {
                tr {
                    th scope="row" { (lot_link(&rack.rack, &code(file, &rack.rack))) }
                    td { @if rack.pulled_at.is_empty() { (visit.words.say("in-the-house")) }
                        @else { (shown::instant(visit, &rack.pulled_at)) } }
                    td { (shown::verdict(visit, rack.cook))
                        @if !rack.deviation.is_empty() {
                            " " a href={ "#d-" (rack.deviation) } {
                            (visit.words.say("its-deviation"))
                        }
                        } }
                    td { @for chill in &rack.chills { (chilled(visit, chill)) } }
                }
            }
        },
    )
}

fn chilled(visit: &Visit, chill: &v1::RackChill) -> Markup {
    let words = visit.words;
    html! {
        p { strong { (chill.check) } " " (words.one_of("judged-by", &chill.judged_by)) " "
            (shown::verdict(visit, chill.verdict)) }
        ul {
            @for limb in &chill.limbs {
                li { (shown::quantity(limb.from.as_ref())) " → " (shown::quantity(limb.to.as_ref()))
                    ": " (shown::verdict(visit, limb.verdict)) " " (limb_times(visit, limb)) }
            }
            @for reason in &chill.reasons { li lang="en" { (reason) } }
        }
    }
}

fn limb_times(visit: &Visit, limb: &v1::ChillLimb) -> String {
    let known = |text: &Option<String>, up| text.as_deref().map_or("?".into(), |s| minutes(s, up));
    visit.words.with(
        "limb-times",
        [
            ("least", known(&limb.least_s, false).into()),
            ("most", known(&limb.most_s, true).into()),
            ("limit", known(&limb.limit_s, false).into()),
        ],
    )
}

/// Seconds as minutes with one decimal, cut downwards or upwards: never towards the limit's good
/// side. The verdict beside it was judged on the exact time.
fn minutes(seconds: &str, up: bool) -> String {
    let exact = seconds.parse::<Exact>().ok();
    let minutes = exact.and_then(|seconds| seconds.checked_div(&Exact::whole(60)));
    match minutes.and_then(|minutes| minutes.floor_at(1)) {
        Some((tenths, is_whole)) => {
            let tenths = tenths + i128::from(up && !is_whole);
            format!("{}.{}", tenths / 10, tenths % 10)
        }
        None => seconds.to_owned(),
    }
}

fn probes(visit: &Visit, load: &v1::Load) -> Markup {
    let words = visit.words;
    let out = load
        .probes
        .iter()
        .filter(|probe| !probe.left_out_from.is_empty() || !probe.not_in_product_from.is_empty());
    html! {
        @for probe in out {
            p { (mark(visit, "left-out")) " " strong { (probe.probe) } " "
                @if !probe.not_in_product_from.is_empty() {
                    (words.say("not-in-product")) " "
                    (shown::instant(visit, &probe.not_in_product_from))
                    " " span lang="en" { (probe.finding) } " "
                }
                @if !probe.left_out_from.is_empty() {
                    (words.say("left-out")) " " (shown::instant(visit, &probe.left_out_from)) " · "
                    (probe.left_out_by_name) ": " (probe.left_out_reason)
                } }
        }
    }
}

/// The curves as a picture, and what it shows in words.
fn picture(visit: &Visit, file: &File, load: &v1::Load, curves: &v1::LoadCurves) -> Markup {
    let words = visit.words;
    if curves.curves.iter().all(|curve| curve.samples.is_empty()) {
        return html! { p { (words.say("no-curves")) } };
    }
    let picture = chart::Picture {
        load,
        curves,
        limits: limits(visit, file, load),
        zone: visit.zone.clone(),
        words,
    };
    let mut names: Vec<_> = curves.curves.iter().map(|curve| curve.probe.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let told = words.with("chart-shows", [("probes", names.join(", ").into())]);
    html! {
        figure {
            @match chart::draw(&picture) {
                Some(svg) => div.chart role="img" aria-label=(told) { (PreEscaped(svg)) },
                None => p { (mark(visit, "missing")) " " (words.say("chart-failed")) },
            }
            figcaption { (told) " " (words.say("chart-words")) }
        }
    }
}

/// The temperatures at which something is judged, with the check that does.
fn limits(visit: &Visit, file: &File, load: &v1::Load) -> Vec<chart::Limit> {
    let mut limits: Vec<chart::Limit> = Vec::new();
    for product in &load.products {
        let check = check(&file.plan, product.plan_version, &product.check)
            .filter(|_| file.lot.plan == product.plan);
        if let Some((check, value)) = check.and_then(|one| Some((one, one.at_least.clone()?))) {
            let label = visit.words.with(
                "limit-at-least",
                [
                    ("check", product.check.as_str().into()),
                    ("value", shown::valued(&value, &check.unit).into()),
                ],
            );
            limits.push(chart::Limit { value, unit: check.unit.clone(), label });
        }
    }
    for chill in load.racks.iter().flat_map(|rack| &rack.chills) {
        for end in chill.limbs.iter().flat_map(|limb| [&limb.from, &limb.to]).flatten() {
            let value = end.value.clone().unwrap_or_default();
            let label = format!("{} {}", chill.check, shown::valued(&value, &end.unit));
            if limits.iter().all(|known| known.label != label) {
                limits.push(chart::Limit { value, unit: end.unit.clone(), label });
            }
        }
    }
    limits
}

fn code(file: &File, rack: &str) -> String {
    if file.lot.lot == rack {
        return file.lot.code.clone();
    }
    let traced = |trace: &Part<v1::Trace>| {
        let found = trace.iter().flat_map(|trace| &trace.lots).find(|lot| lot.lot == rack);
        found.map(|lot| lot.code.clone())
    };
    traced(&file.back).or_else(|| traced(&file.forward)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::minutes;

    #[test]
    fn times_are_never_cut_towards_pass() {
        assert_eq!(minutes("5490", true), "91.5");
        assert_eq!(minutes("8072.733225", true), "134.6");
        assert_eq!(minutes("8072.733225", false), "134.5");
        assert_eq!(minutes("5400.001", true), "90.1", "over the limit of 90 min, however little");
    }
}
