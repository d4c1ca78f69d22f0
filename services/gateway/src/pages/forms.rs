//! The fields of forms, each with its label, so that every form looks and reads alike.
//! It never checks what is typed: the services do, and every fault comes back to the form.

use maud::{Markup, html};
use platform::records;

use super::layout;
use super::visit::Visit;
use crate::problem::Problem;

/// The id of the record that a form makes: the same when the form is sent again.
pub fn record_id(visit: &Visit) -> String {
    match visit.asked.form.get("id") {
        "" => records::new_id().to_string(),
        id => id.to_owned(),
    }
}

/// What could not be done, above the form that asked for it.
pub fn alert(visit: &Visit, problem: Option<&Problem>) -> Markup {
    html! {
        @if let Some(problem) = problem {
            div.fault role="alert" {
                p { (visit.words.one_of("problem", problem.kind.row().reason)) }
                (layout::told(visit, problem))
            }
        }
    }
}

/// A field of several lines, with what was typed before.
pub fn area(visit: &Visit, name: &str, label: &str, most: u32) -> Markup {
    html! {
        label for=(name) { (visit.words.say(label)) }
        textarea id=(name) name=(name) required maxlength=(most) { (visit.asked.form.raw(name)) }
    }
}

/// The large keypad; hidden until the script finds it: without script the tablet's own keys are
/// used.
pub fn keypad(visit: &Visit, keys: &[&str]) -> Markup {
    html! {
        div.keypad hidden data-keypad role="group" aria-label=(visit.words.say("keypad")) {
            @for key in keys { button type="button" data-key=(key) { (key) } }
            button.back type="button" data-key="back" { (visit.words.say("key-back")) }
        }
    }
}

/// The end of a form that is signed: what the signature says, the password, the button.
pub fn signature(visit: &Visit, meaning: &str, button: &str) -> Markup {
    let words = visit.words;
    html! {
        fieldset.signature {
            legend { (words.say("signature")) }
            p { (words.say("signature-says")) " " q { (words.say(meaning)) } }
            label for="password" { (words.say("signature-password")) }
            input id="password" name="password" type="password" required maxlength="200"
                autocomplete="current-password";
            button type="submit" { (words.say(button)) }
        }
    }
}
