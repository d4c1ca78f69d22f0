//! The form of a weighing: large fields for gross and tare, and the keypad of readings.
//! It never takes an empty tare for none: the field is needed, and 0 is typed.

use maud::{Markup, html};
use platform::error::Kind;
use wire::v1;

use crate::pages::answer::Answer;
use crate::pages::shown;
use crate::pages::visit::{Visit, is_signed_out};
use crate::pages::{assets, forms, layout, methods};
use crate::problem::Problem;

/// The stages in the plant's order.
const STAGES: [&str; 9] =
    ["received", "block", "mixed", "stuffed", "dried", "smoked", "chilled", "peeled", "packed"];
/// The units of mass that scales of a plant show.
const UNITS: [&str; 5] = ["kg", "[lb_av]", "g", "[oz_av]", "t"];
/// Keys of the keypad, row by row.
const KEYS: [&str; 12] = ["7", "8", "9", "4", "5", "6", "1", "2", "3", "00", "0", "."];

/// The stage that is offered first for a kind of lot. Source: common practice, no source.
fn usual_stage(kind: &str) -> &'static str {
    match kind {
        "received" | "opening_stock" => "received",
        "batch" => "mixed",
        "rack" => "stuffed",
        "finished" => "packed",
        _ => "",
    }
}

/// Records the weighing and shows what it says, or the form again.
pub async fn send(visit: &Visit, lot: &v1::Lot) -> Result<Answer, Problem> {
    let form = &visit.asked.form;
    let id = forms::record_id(visit);
    let number = |name: &str| Some(form.get(name).to_owned()).filter(|text| !text.is_empty());
    let question = v1::RecordWeighingRequest {
        id: id.clone(),
        lots: vec![lot.lot.clone()],
        stage: form.get("stage").to_owned(),
        gross: number("gross"),
        tare: number("tare"),
        unit: form.get("unit").to_owned(),
        observed_at: visit.pages.gateway.keeper.clock.now().to_string(),
        note: form.get("note").to_owned(),
        ..Default::default()
    };
    match visit.ask(methods::RECORD_WEIGHING, question).await {
        Ok(weighing) => Ok(Answer::see(&format!("/weighings/{}", weighing.weighing))),
        // The same form was sent before: what stands is shown, and that it does.
        Err(problem) if problem.kind == Kind::IdInUse => {
            Ok(Answer::see(&format!("/weighings/{id}?before=1")))
        }
        Err(problem) if is_signed_out(&problem) => Err(problem),
        Err(problem) => Ok(self::form(visit, lot, Some(&problem))),
    }
}

/// The form.
pub fn form(visit: &Visit, lot: &v1::Lot, problem: Option<&Problem>) -> Answer {
    let words = visit.words;
    let title = words.with("weigh-lot", [("code", lot.code.as_str().into())]);
    let body = html! {
        h1 { (title) }
        p { (lot.material) }
        (forms::alert(visit, problem))
        form.reading-entry method="post" action={ "/weigh/" (lot.lot) } {
            input type="hidden" name="id" value=(forms::record_id(visit));
            div.fields {
                (stage(visit, lot))
                (unit(visit))
                (mass(visit, "gross", "gross-shown"))
                (mass(visit, "tare", "tare-shown"))
                label for="note" { (words.say("note-if-any")) }
                input id="note" name="note" maxlength="500" autocomplete="off"
                    value=(visit.asked.form.raw("note"));
                p.ways { button type="submit" { (words.say("record-reading")) } }
            }
            (forms::keypad(visit, &KEYS))
        }
        script src=(assets::keypad_path()) defer {}
    };
    let mut page = layout::page(visit, &title, body);
    page.status = problem.map_or(200, |problem| problem.kind.row().http);
    page
}

fn stage(visit: &Visit, lot: &v1::Lot) -> Markup {
    let words = visit.words;
    let was_sent = !visit.asked.form.get("id").is_empty();
    let chosen = match was_sent {
        true => visit.asked.form.get("stage"),
        false => usual_stage(&lot.kind),
    };
    html! {
        label for="stage" { (words.say("stage")) }
        select id="stage" name="stage" {
            @for stage in STAGES {
                option value=(stage) selected[stage == chosen] { (words.one_of("stage", stage)) }
            }
            option value="" selected[chosen.is_empty()] { (words.say("no-stage")) }
        }
    }
}

fn unit(visit: &Visit) -> Markup {
    let chosen = match visit.asked.form.get("unit") {
        "" => visit.settings.mass_unit.as_str(),
        typed => typed,
    };
    html! {
        label for="unit" { (visit.words.say("mass-unit")) }
        select id="unit" name="unit" {
            @for code in UNITS {
                option value=(code) selected[code == chosen] { (shown::unit(code)) }
            }
        }
    }
}

fn mass(visit: &Visit, name: &str, label: &str) -> Markup {
    html! {
        label for=(name) { (visit.words.say(label)) }
        input.large id=(name) name=(name) inputmode="decimal" autocomplete="off" required
            pattern="[0-9]+([.][0-9]+)?" value=(visit.asked.form.raw(name));
    }
}
