//! The chill of a rack from the oven door on: its limbs with the least and the most that they can
//! have taken, what remains, when the next reading is due. It never draws a line between readings.

use domain::exact::Exact;
use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use super::answer::Answer;
use super::asked::Verb;
use super::keypad::{self, State};
use super::load::Load;
use super::sentence::told;
use super::shown::{self, lot_link, mark};
use super::visit::{Visit, is_signed_out};
use super::{assets, cooking, forms, instruments, layout, live, methods};
use crate::problem::Problem;

/// The unit in which a chill is read by hand, as its limbs are set.
const UNIT: &str = "[degF]";
/// As readings by hand are called in the record where a rack has none yet: by where they are taken.
const BY_HAND: &str = "warmest spot";
/// How readings by hand come.
const HAND: &str = "hand";
/// How much before the pull is still shown, in seconds.
const BEFORE_S: i64 = 900;

/// Shows the chill of a rack, or records a reading by hand.
pub async fn answer(visit: &Visit, id: &str, rack: &str) -> Result<Answer, Problem> {
    let load = Load::read(visit, id).await?;
    let nowhere = || Problem::new(Kind::NotFound, "");
    let found = load.load.racks.iter().find(|one| one.rack == rack).ok_or_else(nowhere)?;
    if visit.asked.verb == Verb::Get {
        return Ok(page(visit, &load, found, State::Fresh).await);
    }
    if keypad::is_doubtful(visit, UNIT) {
        return Ok(page(visit, &load, found, State::Unlikely).await);
    }
    match record(visit, &load, rack).await {
        Ok(_) => Ok(Answer::see(&path(id, rack))),
        Err(problem) if problem.kind == Kind::IdInUse => Ok(Answer::see(&path(id, rack))),
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(page(visit, &load, found, State::Refused(&problem)).await),
    }
}

/// The path of the chill of a rack.
pub fn path(load: &str, rack: &str) -> String {
    format!("/loads/{load}/chills/{rack}")
}

/// One reading of a rack. All that is read of it by hand is judged together, whoever reads with
/// whatever, so it goes on under the name under which it began.
async fn record(visit: &Visit, load: &Load, rack: &str) -> Result<v1::SampleBlock, Problem> {
    let mut known = load.curves().iter().flat_map(|curves| &curves.curves);
    let known = known.rfind(|curve| curve.source == HAND && curve.lot == rack);
    let value = visit.asked.form.get("value").to_owned();
    let sample = v1::Sample { t_s: Some("0".to_owned()), value: Some(value) };
    let question = v1::RecordSamplesRequest {
        id: forms::record_id(visit),
        load: load.load.load.clone(),
        probe: known.map_or(BY_HAND, |curve| curve.probe.as_str()).to_owned(),
        source: HAND.to_owned(),
        lot: rack.to_owned(),
        instrument: instruments::chosen(visit),
        unit: UNIT.to_owned(),
        begun_at: visit.now().to_string(),
        samples: vec![sample],
        ..Default::default()
    };
    visit.ask(methods::RECORD_SAMPLES, question).await
}

async fn page(visit: &Visit, load: &Load, rack: &v1::LoadRack, state: State<'_>) -> Answer {
    let entry = match rack.pulled_at.is_empty() {
        true => html! {},
        false => entry(visit, (load, rack), &state).await,
    };
    let words = visit.words;
    let title = words.with("chill-title", [("code", rack.code.as_str().into())]);
    let body = html! {
        h1 { (title) }
        p { (load.material(&rack.rack)) " · " (lot_link(&rack.rack, &rack.code)) " · "
            a href={ "/loads/" (load.load.load) } {
                (words.with("load-in", [("house", load.load.house_name.as_str().into())])) " "
                (shown::time(visit, &load.load.observed_at))
            } }
        (live::part("chill-now", html! {
            (live::as_of(visit))
            p { @if rack.pulled_at.is_empty() { (words.say("chill-not-begun")) }
                @else { (words.say("out-since")) " " (shown::instant(visit, &rack.pulled_at)) } }
            @for chill in &rack.chills { (chill_shown(visit, chill)) }
            @if !rack.pulled_at.is_empty() && rack.chills.is_empty() {
                p { (words.say("no-chill-check")) }
            }
            @if !rack.deviation.is_empty() {
                p { a href={ "/deviations/" (rack.deviation) } { (words.say("to-deviation")) } }
            }
        }))
        (entry)
        (live::part("chill-curves", curves(visit, load, rack)))
        (live::script())
        script src=(assets::keypad_path()) defer {}
    };
    let mut page = layout::page(visit, &title, body);
    page.status = state.status();
    page
}

fn chill_shown(visit: &Visit, chill: &v1::RackChill) -> Markup {
    let words = visit.words;
    html! {
        section.product aria-label=(chill.check) {
            h2 { (chill.check) " · " (words.one_of("judged-by", &chill.judged_by)) }
            p.verdict { (shown::verdict(visit, chill.verdict)) }
            (reading_due(visit, &chill.reading_due_at))
            @if !chill.limbs.is_empty() { (limbs(visit, chill)) }
            ul lang="en" { @for reason in &chill.reasons { li { (told(visit, reason)) } } }
        }
    }
}

/// When a reading by hand is due.
pub fn reading_due(visit: &Visit, due_at: &str) -> Markup {
    let words = visit.words;
    html! {
        @if !due_at.is_empty() {
            p.due { (mark(visit, if visit.is_past(due_at) { "overdue" } else { "due" })) " "
                (words.say("reading-due")) " " (shown::time(visit, due_at)) }
        }
    }
}

fn limbs(visit: &Visit, chill: &v1::RackChill) -> Markup {
    let words = visit.words;
    let known = |text: &Option<String>, up| {
        let minutes = text.as_deref().map(|seconds| cooking::minutes(seconds, up));
        minutes.map_or_else(|| words.say("not-known"), |minutes| format!("{minutes}\u{a0}min"))
    };
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("limbs")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("limb")) }
                    th.number scope="col" { (words.say("allowed")) }
                    th.number scope="col" { (words.say("took-least")) }
                    th.number scope="col" { (words.say("took-most")) }
                    th scope="col" { (words.say("state")) }
                    th scope="col" { (words.say("what-remains")) }
                } }
                tbody {
                    @for limb in &chill.limbs {
                        tr {
                            th scope="row" { (cooking::ends(limb)) }
                            td.number { (known(&limb.limit_s, false)) }
                            td.number { (known(&limb.least_s, false)) }
                            td.number { (known(&limb.most_s, true)) }
                            td { (shown::verdict(visit, limb.verdict)) }
                            td { (remains(visit, limb)) }
                        }
                    }
                }
            }
        }
        @if !chill.seen_until.is_empty() {
            p { (words.say("seen-until")) " " (shown::time(visit, &chill.seen_until)) }
        }
    }
}

/// What is left of a limb's time as far as it is known, cut downwards.
pub fn remains(visit: &Visit, limb: &v1::ChillLimb) -> Markup {
    let words = visit.words;
    let seconds = |text: &Option<String>| text.as_deref()?.parse::<Exact>().ok();
    let left = seconds(&limb.limit_s).zip(seconds(&limb.least_s)).map(|(all, least)| all - least);
    html! {
        @match (limb.verdict(), left) {
            (v1::Verdict::Pass, _) => (words.say("nothing-remains")),
            (v1::Verdict::Fail, _) => (words.say("time-is-over")),
            (_, Some(left)) if left < Exact::zero() => (words.say("time-is-over")),
            (_, Some(left)) => (words.with("limb-remains", [
                ("minutes", cooking::minutes(&left.to_string(), false).into())
            ])),
            (_, None) => (words.say("not-known")),
        }
    }
}

/// The form of a reading by hand.
async fn entry(visit: &Visit, (load, rack): (&Load, &v1::LoadRack), state: &State<'_>) -> Markup {
    let words = visit.words;
    if !visit.holds(&[v1::Role::Operator, v1::Role::Supervisor, v1::Role::Qa]) {
        return html! {};
    }
    let instruments = instruments::of_unit(visit, UNIT).await;
    html! {
        section aria-labelledby="entry" {
            h2 id="entry" { (words.say("read-by-hand")) }
            @if let State::Refused(problem) = state { (forms::alert(visit, Some(problem))) }
            form.reading-entry method="post" action=(path(&load.load.load, &rack.rack)) {
                input type="hidden" name="id" value=(forms::record_id(visit));
                div.fields {
                    (instruments::choice(visit, UNIT, &instruments))
                    label for="value" {
                        (words.with("warmest-in", [("unit", shown::unit(UNIT).into())]))
                    }
                    input.large id="value" name="value" inputmode="decimal" autocomplete="off"
                        pattern="-?[0-9]+([.][0-9]+)?" required aria-describedby="range"
                        value=(visit.asked.form.raw("value"));
                    (keypad::range(visit, UNIT))
                    @if matches!(state, State::Unlikely) { (keypad::unlikely(visit)) }
                    p.ways { button type="submit" { (words.say("record-reading")) } }
                }
                (keypad::keys(visit))
            }
        }
    }
}

/// What was shown of the chill, from shortly before the pull on.
fn curves(visit: &Visit, load: &Load, rack: &v1::LoadRack) -> Markup {
    let words = visit.words;
    let curves = match load.curves() {
        Ok(curves) => curves,
        Err(problem) => return shown::missing(visit, &words.say("curves"), problem),
    };
    let together = |lot: &str| {
        let found = load.load.racks.iter().find(|one| one.rack == lot);
        found.is_some_and(|one| one.pulled_at == rack.pulled_at)
    };
    let mut shown = v1::LoadCurves { load: load.load.load.clone(), curves: Vec::new() };
    for curve in curves.curves.iter().filter(|curve| together(&curve.lot)) {
        shown.curves.extend(since(curve, &rack.pulled_at));
    }
    let of_chill = v1::Load {
        products: Vec::new(),
        racks: vec![rack.clone()],
        probes: load.load.probes.clone(),
        ..Default::default()
    };
    html! {
        section aria-labelledby="curves" {
            h2 id="curves" { (words.say("curves")) }
            (cooking::picture(visit, &of_chill, &shown))
        }
    }
}

/// A curve from shortly before an instant on; nothing where nothing is left of it.
fn since(curve: &v1::LoadCurve, pulled_at: &str) -> Option<v1::LoadCurve> {
    let begun: jiff::Timestamp = curve.begun_at.parse().ok()?;
    let pulled: jiff::Timestamp = pulled_at.parse().ok()?;
    let from_s = Exact::whole(pulled.as_second() - begun.as_second() - BEFORE_S);
    let is_after = |sample: &&v1::Sample| {
        let t_s = sample.t_s.as_deref().and_then(|t_s| t_s.parse::<Exact>().ok());
        t_s.is_some_and(|t_s| t_s >= from_s)
    };
    let samples: Vec<_> = curve.samples.iter().filter(is_after).cloned().collect();
    (!samples.is_empty()).then(|| v1::LoadCurve { samples, ..curve.clone() })
}
