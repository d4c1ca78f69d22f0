//! Sentences of the services as a page shows them: instants by the plant's clock, signs of units,
//! links where they name a path that a page has. It never changes a number and drops no word.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, PreEscaped, html};
use uuid::Uuid;

use super::shown;
use super::visit::Visit;
use super::words::Words;

/// Signs that may stand right after a word of a sentence.
const AFTER: [char; 5] = ['.', ',', ';', ':', ')'];
/// The verbs with which a sentence names an operation.
const VERBS: [&str; 4] = ["GET", "POST", "PUT", "DELETE"];

/// A sentence.
pub fn told(visit: &Visit, text: &str) -> Markup {
    written(text, "", (&visit.zone, visit.words))
}

/// A sentence about something, as `lot:ID`: what it asks to be done is done there.
pub fn told_of(visit: &Visit, text: &str, subject: &str) -> Markup {
    written(text, subject, (&visit.zone, visit.words))
}

fn written(text: &str, subject: &str, (zone, words): (&TimeZone, &Words)) -> Markup {
    let mut tokens = text.split(' ').peekable();
    let (mut out, mut last) = (String::new(), "");
    while let Some(token) = tokens.next() {
        let begins = out.is_empty() && last.is_empty();
        if let Some(path) = tokens.next_if(|next| VERBS.contains(&token) && is_path(next)) {
            let (core, after) = apart(path);
            let shown = match page_of(core, subject) {
                Some((href, word)) => html! { a href=(href) { (words.say(word)) } },
                None => html! { span.code { (token) " " (core) } },
            };
            out.push_str(if begins { "" } else { " " });
            out.push_str(&shown.into_string());
            out.push_str(&html! { (after) }.into_string());
            last = path;
            continue;
        }
        let (before, rest) = token.strip_prefix('(').map_or(("", token), |rest| ("(", rest));
        let (core, after) = apart(rest);
        let is_unit = shown::unit(core) != core && last.ends_with(|c: char| c.is_ascii_digit());
        let space = if is_unit { "\u{a0}" } else { " " };
        out.push_str(if begins { "" } else { space });
        let shown = match instant(core, zone) {
            Some(at) => html! { (before) time datetime=(core) { (at) } (after) },
            None if is_unit => html! { (before) (shown::unit(core)) (after) },
            None => html! { (before) (core) (after) },
        };
        out.push_str(&shown.into_string());
        last = token;
    }
    PreEscaped(out)
}

fn is_path(token: &str) -> bool {
    token.starts_with("/v1/")
}

/// A word and the signs after it.
fn apart(token: &str) -> (&str, &str) {
    let core = token.trim_end_matches(AFTER);
    (core, &token[core.len()..])
}

/// An instant by the plant's clock, with every digit of its seconds.
fn instant(core: &str, zone: &TimeZone) -> Option<String> {
    if !core.ends_with('Z') {
        return None;
    }
    let at: Timestamp = core.parse().ok()?;
    Some(at.to_zoned(zone.clone()).strftime("%Y-%m-%d %H:%M:%S%.f").to_string())
}

/// The page on which an operation can be done or read, and what its link says.
fn page_of(path: &str, subject: &str) -> Option<(String, &'static str)> {
    let path = path.split('?').next().unwrap_or_default();
    let segments: Vec<&str> = path.trim_start_matches("/v1/").split('/').collect();
    let is_id = |text: &str| Uuid::try_parse(text).is_ok();
    Some(match segments.as_slice() {
        ["readings"] => match subject.strip_prefix("lot:").filter(|lot| is_id(lot)) {
            Some(lot) => (format!("/reading/{lot}"), "enter-reading"),
            None => ("/reading".to_owned(), "enter-reading"),
        },
        ["deviations", id, ..] if is_id(id) => (format!("/deviations/{id}"), "to-deviation"),
        ["holds", id, ..] if is_id(id) => (format!("/holds/{id}"), "to-hold"),
        ["lots", id, "trace"] if is_id(id) => (format!("/lots/{id}/trace"), "trace"),
        ["lots", id, ..] if is_id(id) => (format!("/lots/{id}"), "lot-file"),
        ["loads", id, ..] if is_id(id) => (format!("/loads/{id}"), "to-load"),
        ["lot-items", ..] => ("/open-items".to_owned(), "open-items"),
        ["reviews"] => ("/review".to_owned(), "review"),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::super::words::Language;
    use super::*;

    const LOT: &str = "01997000-0000-7000-8000-000000000001";

    fn shown(text: &str) -> String {
        let zone = TimeZone::get("America/New_York").expect("a zone");
        written(text, &format!("lot:{LOT}"), (&zone, Words::of(Language::English))).into_string()
    }

    #[test]
    fn instants_and_units_are_those_of_the_plant() {
        let text = "P1 reached 155 [degF] at 2026-11-25T13:44:20Z. 4.4 Cel; (0.5 [lb_av]) <b>";
        let told = "P1 reached 155\u{a0}°F at <time datetime=\"2026-11-25T13:44:20Z\">\
                    2026-11-25 08:44:20</time>. 4.4\u{a0}°C; (0.5\u{a0}lb) &lt;b&gt;";
        assert_eq!(shown(text), told);
        let exact = shown("until 2026-11-25T13:44:20.000001Z");
        assert!(exact.ends_with(">2026-11-25 08:44:20.000001</time>"), "no digit is cut: {exact}");
        assert_eq!(shown("Cel is a unit, Z a letter."), "Cel is a unit, Z a letter.");
    }

    #[test]
    fn a_path_leads_to_its_page_where_there_is_one() {
        let read = shown("Read it again: POST /v1/readings.");
        assert_eq!(
            read,
            format!(r#"Read it again: <a href="/reading/{LOT}">Enter a reading</a>."#)
        );
        let end = shown(&format!("End the hold: POST /v1/holds/{LOT}/end; or use another lot."));
        let link = format!(r#"<a href="/holds/{LOT}">The hold</a>; or use another lot."#);
        assert_eq!(end, format!("End the hold: {link}"));
        let none = shown("Challenge it: POST /v1/challenges.");
        assert_eq!(none, r#"Challenge it: <span class="code">POST /v1/challenges</span>."#);
        let unnamed = shown("Ask: GET /v1/lots/LOT/clearance");
        assert_eq!(unnamed, r#"Ask: <span class="code">GET /v1/lots/LOT/clearance</span>"#);
    }
}
