//! What stands around every page: the plant's name, the ways on, the person, the mark of a
//! simulated clock. It never stands in the way of printing.

use maud::{DOCTYPE, Markup, html};
use platform::error::Kind;

use super::answer::Answer;
use super::assets;
use super::live;
use super::methods;
use super::sentence;
use super::visit::Visit;
use super::words::LANGUAGES;
use crate::problem::Problem;

/// The ways on, as path, message, and the operation without which the page is of no use.
const WAYS: [(&str, &str, &str); 10] = [
    ("/", "nav-today", methods::LIST_LOTS.path()),
    ("/lots", "nav-lots", methods::LIST_LOTS.path()),
    ("/reading", "enter-reading", methods::RECORD_READING.path()),
    ("/weigh", "weigh", methods::RECORD_WEIGHING.path()),
    ("/open-items", "open-items", methods::LIST_OPEN_ITEMS.path()),
    ("/deviations", "file-deviations", methods::LIST_DEVIATIONS.path()),
    ("/holds", "file-holds", methods::LIST_HOLDS.path()),
    ("/review", "review", methods::LIST_REVIEWS.path()),
    ("/shipment-check", "shipment-check", methods::CHECK_SHIPMENT.path()),
    ("/people", "people", methods::LIST_PEOPLE.path()),
];

/// A page of a signed-in person, or of nobody yet.
pub fn page(visit: &Visit, title: &str, body: Markup) -> Answer {
    Answer::page(200, whole(visit, title, body))
}

fn whole(visit: &Visit, title: &str, body: Markup) -> Markup {
    let words = visit.words;
    html! {
        (DOCTYPE)
        html lang=(words.language.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · " (plant_name(visit)) }
                link rel="stylesheet" href=(assets::style_path());
                link rel="icon" type="image/svg+xml" href=(assets::icon_path());
            }
            body {
                a.skip href="#content" { (words.say("skip-to-content")) }
                header {
                    @if visit.is_simulated() {
                        p.simulated {
                            strong { (words.say("simulated")) } " "
                            (words.say("simulated-means"))
                        }
                    }
                    div.house { (head(visit)) }
                }
                main id="content" { (live::lost(visit)) (body) }
                footer { (foot(visit)) }
            }
        }
    }
}

fn plant_name(visit: &Visit) -> String {
    match (&visit.session, visit.settings.establishment_name.as_str()) {
        (None, _) | (_, "") => "Hankbook".to_owned(),
        (Some(_), name) => name.to_owned(),
    }
}

fn head(visit: &Visit) -> Markup {
    let words = visit.words;
    html! {
        p.plant {
            strong { (plant_name(visit)) }
            @if visit.session.is_some() && !visit.settings.establishment_number.is_empty() {
                " " span { (words.with("establishment", [
                    ("number", visit.settings.establishment_number.as_str().into())
                ])) }
            }
        }
        @if let Some(session) = visit.session.as_ref().filter(|s| !s.must_change_password) {
            nav aria-label=(words.say("nav")) {
                ul {
                    @for (path, word, _) in WAYS.iter().filter(|way| session.may(way.2)) {
                        li {
                            a href=(path) aria-current=[is_here(visit, path)] {
                                (words.say(word))
                            }
                        }
                    }
                }
            }
            div.who { (session.name) (sign_out(visit)) }
        }
        (languages(visit))
    }
}

fn is_here(visit: &Visit, path: &str) -> Option<&'static str> {
    (visit.asked.path == path).then_some("page")
}

fn sign_out(visit: &Visit) -> Markup {
    html! {
        form method="post" action="/sign-out" {
            button.quiet type="submit" { (visit.words.say("sign-out")) }
        }
    }
}

fn languages(visit: &Visit) -> Markup {
    html! {
        form.languages method="post" action="/language" {
            input type="hidden" name="back" value=(visit.asked.way_back());
            @for language in LANGUAGES {
                @if language != visit.words.language {
                    button.quiet type="submit" name="language" value=(language.tag())
                        lang=(language.tag()) { (language.name()) }
                }
            }
        }
    }
}

fn foot(visit: &Visit) -> Markup {
    let words = visit.words;
    let zone = visit.zone.iana_name().unwrap_or("UTC");
    html! {
        @if visit.session.is_some() {
            p { (words.with("times-are", [("zone", zone.into())])) }
        }
        p { (words.say("supports-not-replaces")) }
    }
}

/// What a person reads when something could not be done.
pub fn problem(visit: &Visit, problem: &Problem) -> Answer {
    let words = visit.words;
    let title = words.one_of("problem", problem.kind.row().reason);
    let body = html! {
        h1 { (title) }
        (told(visit, problem))
        p { a.button href="/" { (words.say("go-home")) } }
    };
    let status = match problem.kind {
        Kind::NoSuchOperation => 404,
        kind => kind.row().http,
    };
    Answer::page(status, whole(visit, &title, body))
}

/// Detail, wrong fields and reasons of a problem, as the service said them.
pub fn told(visit: &Visit, problem: &Problem) -> Markup {
    let words = visit.words;
    html! {
        @if !problem.detail.is_empty() { p lang="en" { (sentence::told(visit, &problem.detail)) } }
        @if !problem.faults.is_empty() {
            ul lang="en" {
                @for fault in &problem.faults {
                    li { strong { (fault.field) } " " (sentence::told(visit, &fault.message)) }
                }
            }
        }
        @if !problem.reasons.is_empty() {
            (reasons(visit, &problem.reasons))
        }
        @if problem.kind.row().repeat { p { (words.say("may-be-repeated")) } }
    }
}

/// Reasons of a refusal: what stands in the way, who can mend it, the way on.
pub fn reasons(visit: &Visit, reasons: &[wire::v1::RefusalReason]) -> Markup {
    let words = visit.words;
    html! {
        div.scroll tabindex="0" role="group" aria-label=(words.say("reasons")) {
            table {
                thead { tr {
                    th scope="col" { (words.say("reason")) }
                    th scope="col" { (words.say("reason-who")) }
                    th scope="col" { (words.say("reason-way-on")) }
                } }
                tbody lang="en" {
                    @for reason in reasons {
                        tr {
                            td { (sentence::told(visit, &reason.message)) }
                            td { (reason.who) }
                            td { (sentence::told_of(visit, &reason.way_on, &reason.subject)) }
                        }
                    }
                }
            }
        }
    }
}
