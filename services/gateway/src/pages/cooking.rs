//! What pages say of loads: curves as a picture, probes that do not count, limbs of a chill.
//! It never judges: verdicts and what remains are haccp's, cut for reading away from a pass.

use domain::exact::Exact;
use maud::{Markup, PreEscaped, html};
use wire::v1;

use super::chart;
use super::sentence::told;
use super::shown::{self, mark};
use super::visit::Visit;

/// Seconds as minutes with one decimal, cut downwards or upwards: never towards the limit's good
/// side. The verdict beside it was judged on the exact time.
pub fn minutes(seconds: &str, up: bool) -> String {
    let exact = seconds.parse::<Exact>().ok();
    let minutes = exact.and_then(|seconds| seconds.checked_div(&Exact::whole(60)));
    match minutes.and_then(|minutes| minutes.floor_at(1)) {
        Some((tenths, is_whole)) => {
            let tenths = tenths + i128::from(up && !is_whole);
            let sign = if tenths < 0 { "-" } else { "" };
            let size = tenths.unsigned_abs();
            format!("{sign}{}.{}", size / 10, size % 10)
        }
        None => seconds.to_owned(),
    }
}

/// The limbs of a chill, each with the least and the most that it can have taken.
pub fn limbs(visit: &Visit, chill: &v1::RackChill) -> Markup {
    html! {
        ul {
            @for limb in &chill.limbs {
                li { (ends(limb)) ": " (shown::verdict(visit, limb.verdict)) " "
                    (limb_times(visit, limb)) }
            }
            @for reason in &chill.reasons { li lang="en" { (told(visit, reason)) } }
        }
    }
}

/// From where to where a limb goes.
pub fn ends(limb: &v1::ChillLimb) -> String {
    format!("{} → {}", shown::quantity(limb.from.as_ref()), shown::quantity(limb.to.as_ref()))
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

/// Probes that do not count any more, each with its reason.
pub fn left_out(visit: &Visit, load: &v1::Load) -> Markup {
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
                    " " span lang="en" { (told(visit, &probe.finding)) } " "
                }
                @if !probe.left_out_from.is_empty() {
                    (words.say("left-out")) " " (shown::instant(visit, &probe.left_out_from)) " · "
                    (probe.left_out_by_name) ": " (probe.left_out_reason)
                } }
        }
    }
}

/// The curves as a picture, and what it shows in words.
pub fn picture(visit: &Visit, load: &v1::Load, curves: &v1::LoadCurves) -> Markup {
    let words = visit.words;
    if curves.curves.iter().all(|curve| curve.samples.is_empty()) {
        return html! { p { (words.say("no-curves")) } };
    }
    let picture = chart::Picture {
        load,
        curves,
        limits: limits(visit, load),
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
fn limits(visit: &Visit, load: &v1::Load) -> Vec<chart::Limit> {
    let mut limits: Vec<chart::Limit> = Vec::new();
    for product in &load.products {
        let Some(limit) = &product.limit else { continue };
        let value = limit.value.clone().unwrap_or_default();
        let said = shown::valued(&value, &limit.unit);
        let named = [("check", product.check.as_str().into()), ("value", said.into())];
        let label = visit.words.with("limit-at-least", named);
        add(&mut limits, chart::Limit { value, unit: limit.unit.clone(), label });
    }
    for chill in load.racks.iter().flat_map(|rack| &rack.chills) {
        for end in chill.limbs.iter().flat_map(|limb| [&limb.from, &limb.to]).flatten() {
            let value = end.value.clone().unwrap_or_default();
            let label = format!("{} {}", chill.check, shown::valued(&value, &end.unit));
            add(&mut limits, chart::Limit { value, unit: end.unit.clone(), label });
        }
    }
    limits
}

fn add(limits: &mut Vec<chart::Limit>, limit: chart::Limit) {
    if limits.iter().all(|known| known.label != limit.label) {
        limits.push(limit);
    }
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
        assert_eq!(minutes("-30", false), "-0.5");
        assert_eq!(minutes("-1", false), "-0.1", "over, however little");
    }
}
