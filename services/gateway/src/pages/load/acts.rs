//! What is done with a load: racks are pulled, a probe is left out with a signature.
//! It never overrules by itself: the fields for it come after a refusal, with its reasons.

use jiff::Timestamp;
use jiff::civil::DateTime;
use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use super::{Load, tried};
use crate::pages::answer::Answer;
use crate::pages::visit::{Signing, Visit};
use crate::pages::{forms, methods};
use crate::problem::Problem;

/// Pulls the racks of a form.
pub async fn pull(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let form = &visit.asked.form;
    let question = v1::PullRacksRequest {
        id: forms::record_id(visit),
        load: id.to_owned(),
        racks: form.all("rack"),
        observed_at: visit.now().to_string(),
        overrule: !form.get("overrule").is_empty(),
        reason: form.get("reason").to_owned(),
        ..Default::default()
    };
    tried(visit, id, visit.ask(methods::PULL_RACKS, question).await).await
}

/// Racks to pull: those of which the cook is met are ticked.
pub fn pull_form(visit: &Visit, load: &Load, problem: Option<&Problem>) -> Markup {
    let words = visit.words;
    let may = visit.holds(&[v1::Role::Operator, v1::Role::Supervisor, v1::Role::Qa]);
    let ticked = visit.asked.form.all("rack");
    let is_met = |rack: &str| {
        let mut of_rack =
            load.load.products.iter().filter(|one| one.racks.iter().any(|r| r == rack));
        of_rack.clone().next().is_some() && of_rack.all(|one| one.verdict() == v1::Verdict::Pass)
    };
    let is_ticked = |rack: &str| match ticked.is_empty() {
        true => is_met(rack),
        false => ticked.iter().any(|one| one == rack),
    };
    let was_refused = problem.is_some_and(|problem| problem.kind == Kind::Refused);
    html! {
        @if may && load.inside().next().is_some() {
            form.wide method="post" action={ "/loads/" (load.load.load) "/pulls" } {
                h2 { (words.say("pull-racks")) }
                input type="hidden" name="id" value=(forms::record_id(visit));
                @for rack in load.inside() {
                    label.choice {
                        input type="checkbox" name="rack" value=(rack.rack)
                            checked[is_ticked(&rack.rack)];
                        strong { (rack.code) } " " (load.material(&rack.rack))
                    }
                }
                @if was_refused && !ticked.is_empty() {
                    label.choice {
                        input type="checkbox" name="overrule" value="yes";
                        (words.say("overrule"))
                    }
                    label for="reason" { (words.say("overrule-why")) }
                    input id="reason" name="reason" maxlength="500" autocomplete="off"
                        value=(visit.asked.form.raw("reason"));
                }
                button type="submit" { (words.say("pull-now")) }
            }
        }
    }
}

/// Leaves a probe out, signed.
pub async fn leave_out(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let form = &visit.asked.form;
    let question = v1::LeaveProbeOutRequest {
        id: forms::record_id(visit),
        load: id.to_owned(),
        probe: form.get("probe").to_owned(),
        left_out_from: instant(visit, form.get("from")),
        reason: form.get("why").to_owned(),
    };
    let signing = Signing { subject: format!("load:{id}"), meaning: "signs-left-out" };
    let done = visit.ask_signed(methods::LEAVE_PROBE_OUT, question, signing).await;
    tried(visit, id, done).await
}

/// An instant as it is typed by the plant's clock; what is none goes on as it is, to be refused.
fn instant(visit: &Visit, typed: &str) -> String {
    let local: Option<DateTime> = typed.parse().ok();
    let zoned = local.and_then(|local| local.to_zoned(visit.zone.clone()).ok());
    zoned.map_or_else(|| typed.to_owned(), |zoned| zoned.timestamp().to_string())
}

fn typed(visit: &Visit, at: Timestamp) -> String {
    at.to_zoned(visit.zone.clone()).strftime("%Y-%m-%dT%H:%M").to_string()
}

/// The form that leaves a probe out, for those who may sign it.
pub fn leave_out_form(visit: &Visit, load: &Load, problem: Option<&Problem>) -> Markup {
    let words = visit.words;
    let may = visit.holds(&[v1::Role::Supervisor, v1::Role::Qa]);
    let form = &visit.asked.form;
    let was_tried = problem.is_some() && !form.get("probe").is_empty();
    let counting = load.load.probes.iter().filter(|probe| probe.left_out_from.is_empty());
    let from = match form.raw("from") {
        "" => typed(visit, visit.now()),
        from => from.to_owned(),
    };
    html! {
        @if may && counting.clone().next().is_some() {
            details.no-print open[was_tried] {
                summary { (words.say("leave-out")) }
                form.wide method="post" action={ "/loads/" (load.load.load) "/probes-left-out" } {
                    input type="hidden" name="id" value=(forms::record_id(visit));
                    label for="probe" { (words.say("probe")) }
                    select id="probe" name="probe" {
                        @for probe in counting {
                            option value=(probe.probe) selected[probe.probe == form.get("probe")] {
                                (probe.probe)
                            }
                        }
                    }
                    label for="from" { (words.say("left-out-from")) }
                    input id="from" name="from" type="datetime-local" required value=(from);
                    (forms::area(visit, "why", "left-out-why", 500))
                    (forms::signature(visit, "signs-left-out", "leave-out"))
                }
            }
        }
    }
}
