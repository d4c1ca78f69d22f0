//! What a weighing says: its net, and what was lost since the stage before.
//! It never shows a shrink over a stage that was not weighed whole.

use maud::{Markup, html};
use wire::v1;

use crate::pages::answer::Answer;
use crate::pages::lot_file::weighings::{codes, masses};
use crate::pages::shown;
use crate::pages::visit::Visit;
use crate::pages::{layout, methods};
use crate::problem::Problem;

/// Shows a weighing.
pub async fn show(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let words = visit.words;
    let question = v1::GetWeighingRequest { weighing: id.to_owned() };
    let weighing = visit.ask(methods::GET_WEIGHING, question).await?;
    let lot = weighing.lots.first().cloned().unwrap_or_default();
    let question = v1::GetYieldsRequest { lot: lot.clone(), ..Default::default() };
    let report = visit.ask(methods::GET_YIELDS, question).await;
    let title = words.say("weighing");
    let body = html! {
        h1 { (title) }
        @if !visit.asked.query.get("before").is_empty() {
            p.fault role="alert" { (words.say("recorded-before")) }
        }
        p { @if weighing.stage.is_empty() { (words.say("no-stage")) }
            @else { (words.one_of("stage", &weighing.stage)) } }
        p.verdict role="status" {
            (words.say("net-mass")) " "
            strong { (shown::valued(weighing.net.as_deref().unwrap_or("?"), &weighing.unit)) }
        }
        p.values { (masses(&weighing)) }
        h2 { (words.say("file-yields")) }
        @match &report {
            Ok(report) => (since(visit, &weighing, report)),
            Err(problem) => (shown::missing(visit, &words.say("file-yields"), problem)),
        }
        p.ways {
            a.button href={ "/weigh/" (lot) } { (words.say("next-weighing")) } " "
            a.button href={ "/lots/" (lot) "#weighings" } { (words.say("lot-file")) }
        }
        p.who { (shown::instant(visit, &weighing.observed_at)) " · " (weighing.entered_by_name) }
    };
    Ok(layout::page(visit, &title, body))
}

/// What was lost since the stage before, as yields says it.
fn since(visit: &Visit, weighing: &v1::Weighing, report: &v1::YieldReport) -> Markup {
    let words = visit.words;
    let at = report.stages.iter().position(|stage| stage.stage == weighing.stage);
    let Some((at, stage)) = at.map(|at| (at, &report.stages[at])) else {
        return html! { p { (words.say("counts-in-no-shrink")) } };
    };
    let before = report.stages[..at].iter().rev().find(|stage| stage.is_whole);
    html! {
        @if !stage.is_whole {
            p { (shown::mark(visit, "undetermined")) " "
                (words.with("not-weighed-yet", [("lots", codes(&stage.lacking).into())])) }
        } @else if let (Some(before), Some(percent)) = (before, &stage.step_shrink_pct) {
            p.values { (words.with("lost-since", [
                ("stage", words.one_of("stage", &before.stage).into()),
                ("percent", shown::rounded(percent, 2).into()),
            ])) }
            p.hint { (words.say("rounded-two")) }
        } @else {
            p { (words.say("no-stage-before")) }
        }
        @for caution in &report.cautions { p lang="en" { (caution) } }
    }
}
