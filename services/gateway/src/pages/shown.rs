//! How values look on a page: instants in the plant's zone, masses, verdicts, marks.
//! It never changes a value: what is cut for reading stands beside what is exact.

use domain::exact::Exact;
use domain::units::{Quantity, Unit};
use jiff::Timestamp;
use maud::{Markup, html};
use wire::v1;

use super::lots::Codes;
use super::sentence::told;
use super::visit::Visit;
use crate::problem::Problem;

/// Decimals of a mass that was not shown by a scale.
const DECIMALS: u32 = 3;

/// An instant in the plant's zone; nothing where none is known.
pub fn instant(visit: &Visit, text: &str) -> Markup {
    html! { @if !text.is_empty() { time datetime=(text) { (instant_text(visit, text)) } } }
}

/// An instant of today by its time alone, any other with its date.
pub fn time(visit: &Visit, text: &str) -> Markup {
    html! { @if !text.is_empty() { time datetime=(text) { (time_text(visit, text)) } } }
}

fn time_text(visit: &Visit, text: &str) -> String {
    let date = |at: Timestamp| at.to_zoned(visit.zone.clone()).date();
    match text.parse::<Timestamp>() {
        Ok(at) if date(at) == date(visit.now()) => {
            at.to_zoned(visit.zone.clone()).strftime("%H:%M").to_string()
        }
        _ => instant_text(visit, text),
    }
}

/// The same as text.
pub fn instant_text(visit: &Visit, text: &str) -> String {
    match text.parse::<Timestamp>() {
        Ok(at) => at.to_zoned(visit.zone.clone()).strftime("%Y-%m-%d %H:%M").to_string(),
        Err(_) => text.to_owned(),
    }
}

/// The sign of a unit.
pub fn unit(code: &str) -> &str {
    match code {
        "[degF]" => "°F",
        "Cel" => "°C",
        "[lb_av]" => "lb",
        "[oz_av]" => "oz",
        "[in_i]" => "in",
        other => other,
    }
}

/// A value with its unit, as it was shown or entered.
pub fn quantity(quantity: Option<&v1::Quantity>) -> String {
    let Some(quantity) = quantity else { return String::new() };
    valued(quantity.value.as_deref().unwrap_or("?"), &quantity.unit)
}

/// A value with a unit; the space between them never breaks.
pub fn valued(value: &str, code: &str) -> String {
    format!("{value}\u{a0}{}", unit(code))
}

/// The values of a reading, as they were read.
pub fn values(reading: &v1::Reading) -> String {
    let values: Vec<_> =
        reading.readings.iter().map(|value| valued(value, &reading.unit)).collect();
    values.join("; ")
}

/// Grams in the plant's own unit of mass, cut to three decimals; what was cut is said.
pub fn grams(visit: &Visit, grams: Option<&str>) -> Markup {
    let Some(grams) = grams else { return html! { (visit.words.say("not-known")) } };
    let unit = Unit::from_code(&visit.settings.mass_unit).unwrap_or(Unit::Kilogram);
    let exact = grams.parse::<Exact>().ok();
    let value = exact.and_then(|grams| Quantity::new(grams, Unit::Gram).to(unit));
    match value.and_then(|value| value.value.floor_at(DECIMALS)) {
        Some((thousandths, is_whole)) => html! {
            (valued(&decimals(thousandths), unit.code()))
            @if !is_whole {
                " " small { (visit.words.with("exactly", [("grams", grams.into())])) }
            }
        },
        None => html! { (valued(grams, "g")) },
    }
}

/// A decimal text with at most so many decimals, to the nearest; about, where it was rounded. Only
/// for the eye: nothing is judged by it.
pub fn rounded(text: &str, decimals: usize) -> String {
    let digits = text.split_once('.').map_or(0, |(_, part)| part.len());
    match text.parse::<f64>() {
        Ok(value) if digits > decimals => {
            let cut = format!("{value:.decimals$}");
            // Nothing is left of what was too small: its sign goes too.
            let is_zero = cut.chars().all(|sign| matches!(sign, '-' | '0' | '.'));
            format!("≈\u{a0}{}", if is_zero { cut.trim_start_matches('-') } else { &cut })
        }
        _ => text.to_owned(),
    }
}

fn decimals(thousandths: i128) -> String {
    let (sign, size) = (if thousandths < 0 { "-" } else { "" }, thousandths.unsigned_abs());
    let text = format!("{sign}{}.{:03}", size / 1000, size % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A verdict by shape and word.
pub fn verdict(visit: &Visit, verdict: Option<i32>) -> Markup {
    let verdict = verdict.and_then(|number| v1::Verdict::try_from(number).ok());
    match verdict {
        Some(v1::Verdict::Pass) => mark(visit, "met"),
        Some(v1::Verdict::Fail) => mark(visit, "not-met"),
        Some(v1::Verdict::Undetermined) => mark(visit, "undetermined"),
        _ => mark(visit, "not-judged"),
    }
}

/// A mark: a shape, and the word beside it.
pub fn mark(visit: &Visit, word: &str) -> Markup {
    html! {
        span class={ "mark is-" (word) } {
            span.shape aria-hidden="true" { (shape(word)) } " " (visit.words.one_of("mark", word))
        }
    }
}

/// The shape of a mark.
pub fn shape(word: &str) -> &'static str {
    match word {
        "met" | "met-late" | "clear" | "closed" | "reviewed" | "deviation-closed" => "✓",
        "not-met" | "failed" | "not-clear" | "left-unclear" => "✗",
        "on-hold" => "■",
        "open" | "missing" | "missed" | "deviation" | "to-review" | "overdue"
        | "foreign-material" => "▲",
        "due" => "◇",
        "counts" | "running" => "●",
        "not-yet" | "no-record" => "○",
        "shipped" => "▶",
        "this" => "◆",
        "undetermined" | "not-judged" => "?",
        _ => "–",
    }
}

/// What a part of a page says that could not be read.
pub fn missing(visit: &Visit, what: &str, problem: &Problem) -> Markup {
    let words = visit.words;
    html! {
        div.absent {
            p { (mark(visit, "missing")) " " strong { (words.with("part-missing", [
                ("part", what.into())
            ])) } }
            p {
                (words.one_of("problem", problem.kind.row().reason)) " "
                (words.say("part-missing-means"))
            }
            @if !problem.detail.is_empty() {
                p lang="en" { small { (told(visit, &problem.detail)) } }
            }
        }
    }
}

/// Who did something: a person's name, or the house itself.
pub fn who(visit: &Visit, name: &str) -> String {
    match name.starts_with("system/") {
        true => visit.words.say("the-house-itself"),
        false => name.to_owned(),
    }
}

/// A check with its title, where it has one.
pub fn check(code: &str, title: &str) -> String {
    if title.is_empty() { code.to_owned() } else { format!("{code} · {title}") }
}

/// Links to lots, each by its code where it is known.
pub fn lot_links(lots: &[String], codes: &Codes) -> Markup {
    html! { @for lot in lots { (lot_link(lot, codes.of(lot))) " " } }
}

/// A link to a lot's file.
pub fn lot_link(lot: &str, code: &str) -> Markup {
    html! { a.lot href={ "/lots/" (lot) } { (if code.is_empty() { lot } else { code }) } }
}

/// Things of which the same is said, together, in the order in which they came. `said` is a thing
/// without what tells it apart.
pub fn alike<'t, T: PartialEq>(
    things: impl IntoIterator<Item = &'t T>,
    said: impl Fn(&T) -> T,
) -> Vec<Vec<&'t T>> {
    let mut groups: Vec<(T, Vec<&T>)> = Vec::new();
    for thing in things {
        let of_it = said(thing);
        match groups.iter_mut().find(|(known, _)| *known == of_it) {
            Some((_, group)) => group.push(thing),
            None => groups.push((of_it, vec![thing])),
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

/// What a list that was not read to its end says.
pub fn more(visit: &Visit, rows: usize, has_more: bool) -> Markup {
    html! {
        @if has_more {
            p.absent { (mark(visit, "missing")) " " (visit.words.with("more-not-shown", [
                ("rows", rows.into())
            ])) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_number_is_rounded_and_says_so() {
        assert_eq!(rounded("2.43902439024390243902439024390", 2), "≈\u{a0}2.44");
        assert_eq!(rounded("-0.001", 2), "≈\u{a0}0.00");
        assert_eq!(rounded("10", 2), "10");
        assert_eq!(rounded("-1.5", 2), "-1.5");
    }

    #[test]
    fn thousandths_are_read_as_they_are() {
        assert_eq!(decimals(544_537), "544.537");
        assert_eq!(decimals(544_500), "544.5");
        assert_eq!(decimals(544_000), "544");
        assert_eq!(decimals(7), "0.007");
        assert_eq!(decimals(0), "0");
        assert_eq!(decimals(-1_250), "-1.25");
    }
}
