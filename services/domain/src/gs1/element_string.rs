//! Element strings: AI and value one after another, as a barcode carries them.
//! It never guesses where a value ends: without its separator a value takes what follows.

use super::dictionary::Ai;
use super::message::{Element, Message};
use crate::fault::Faults;

/// What a reader sends for FNC1 between elements (GS, 0x1D).
pub const SEPARATOR: char = '\u{1d}';

/// Makes a message of AIs and values in the order given; `year` is the current year, if known.
/// Faults name `[i].ai`, `[i].value`, or nothing for the message as a whole.
pub fn encode(given: &[(String, String)], year: Option<i32>) -> Result<Message, Faults> {
    let mut faults = Faults::new();
    let mut elements = Vec::with_capacity(given.len());
    for (at, (code, value)) in given.iter().enumerate() {
        let Some(ai) = Ai::of(code) else {
            faults.add_value(format!("[{at}].ai"), code, "must be an AI of the dictionary");
            continue;
        };
        if let Err(fault) = ai.check(value, year) {
            faults.add_value(format!("[{at}].value"), value, fault);
        }
        elements.push(Element { ai, value: value.clone() });
    }
    if elements.len() < given.len() {
        return Err(faults);
    }
    match Message::of_checked(elements) {
        Ok(message) => faults.into_result(Some(message)),
        Err(whole) => {
            faults.take_from("", whole);
            Err(faults)
        }
    }
}

/// Reads what a reader sends after its symbology identifier. A superfluous separator after a
/// pre-defined length or at the end is passed over. Faults are of the whole and name no field.
pub fn parse(text: &str, year: Option<i32>) -> Result<Message, Faults> {
    let mut faults = Faults::new();
    let elements = split(text, year).map_err(|fault| faults.add("", fault)).ok();
    match elements {
        Some(elements) => Message::of_checked(elements),
        None => Err(faults),
    }
}

fn split(text: &str, year: Option<i32>) -> Result<Vec<Element>, String> {
    let mut elements = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let at = text.len() - rest.len();
        let ai = Ai::starting(rest).ok_or_else(|| format!("holds no known AI at {at}"))?;
        let after = &rest[ai.code.len()..];
        let end = after.find(SEPARATOR).unwrap_or(after.len());
        // A value outside ASCII is refused whole, so the cut need not fall inside a character.
        let end = if ai.predefined && after.is_char_boundary(ai.most().min(end)) {
            ai.most().min(end)
        } else {
            end
        };
        let (value, next) = after.split_at(end);
        ai.check(value, year)?;
        elements.push(Element { ai, value: value.to_owned() });
        rest = next.strip_prefix(SEPARATOR).unwrap_or(next);
    }
    Ok(elements)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::Value;

    fn vectors() -> Value {
        let file = include_str!("../../tests/data/gs1/element-strings.json");
        serde_json::from_str(file).expect("JSON")
    }

    fn text(value: &Value) -> String {
        value.as_str().expect("text").to_owned()
    }

    fn pairs(message: &Message) -> Vec<(String, String)> {
        let pair = |e: &Element| (e.ai.code.to_owned(), e.value.clone());
        message.elements().iter().map(pair).collect()
    }

    #[test]
    fn messages_of_labels_are_read_or_refused() {
        // AI rules: GS1 syntax dictionary, commit ff2eb4b; verdicts in the manner of the GS1
        // syntax engine's unit tests; invented data.
        let file = vectors();
        let cases = file["cases"].as_array().expect("cases");
        assert!(cases.len() >= 21);
        for case in cases {
            let raw = text(&case["raw"]);
            let read = parse(&raw, Some(2026));
            let Some(elements) = case["elements"].as_array() else {
                let fields: Vec<_> = read.expect_err(&raw).into_vec();
                assert!(fields.iter().all(|fault| fault.field.is_empty()), "{raw}");
                continue;
            };
            let wanted: Vec<_> =
                elements.iter().map(|e| (text(&e["ai"]), text(&e["value"]))).collect();
            let read = read.expect("a message");
            assert_eq!(pairs(&read), wanted, "{raw}");
            assert_eq!(read.human_readable(), text(&case["hri"]));
            let again = encode(&wanted, Some(2026)).expect("a message");
            assert_eq!(again, read);
            assert_eq!(parse(&again.element_string(), Some(2026)), Ok(read));
        }
    }

    #[test]
    fn published_strings_hold_their_separators() {
        for case in vectors()["published"].as_array().expect("cases") {
            let Some(hri) = case["hri"].as_str() else {
                assert!(parse(&text(&case["raw"]), None).is_ok());
                continue;
            };
            let given: Vec<(String, String)> = hri
                .split('(')
                .filter_map(|part| part.split_once(')'))
                .map(|(ai, value)| (ai.to_owned(), value.to_owned()))
                .collect();
            let elements = given
                .iter()
                .map(|(ai, value)| Element { ai: Ai::of(ai).expect("an AI"), value: value.clone() })
                .collect();
            // Two of them are shown without the partners they need, so only the text is compared.
            let shown = Message::unpaired(elements);
            assert_eq!(shown.element_string(), text(&case["raw"]), "{hri}");
        }
    }

    #[test]
    fn weights_and_dates_are_read() {
        let file = vectors();
        for case in file["weights"].as_array().expect("weights") {
            let ai = Ai::of(&text(&case["ai"])).expect("an AI");
            let quantity = Element { ai, value: text(&case["value"]) }.quantity().expect("a mass");
            assert_eq!(quantity.value, text(&case["decimal"]).parse().expect("a decimal"));
            assert_eq!(quantity.unit.code(), text(&case["ucum"]));
        }
        for case in file["dates"].as_array().expect("dates") {
            let ai = Ai::of("15").expect("an AI");
            let year =
                i32::try_from(case["current_year"].as_i64().expect("a year")).expect("small");
            let element = Element { ai, value: text(&case["yymmdd"]) };
            assert_eq!(element.date(year), Some(text(&case["date"])));
        }
        let lot = Element { ai: Ai::of("10").expect("an AI"), value: "260502".to_owned() };
        assert_eq!((lot.quantity(), lot.date(2026)), (None, None));
    }

    #[test]
    fn faults_of_entries_are_named_and_gathered() {
        let given = [("01", "09521321000139"), ("17", "261301"), ("3202", "1"), ("21", "")]
            .map(|(ai, value)| (ai.to_owned(), value.to_owned()));
        let faults = encode(&given, None).expect_err("faults").into_vec();
        let fields: Vec<_> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(fields, ["[0].value", "[1].value", "[2].value", "[3].value"]);
        let given = [("89", "1"), ("1", "2")].map(|(ai, v)| (ai.to_owned(), v.to_owned()));
        let faults = encode(&given, None).expect_err("faults").into_vec();
        assert_eq!(faults.len(), 2);
        assert_eq!(faults[1].field, "[1].ai");
    }

    #[test]
    fn the_same_ai_twice_must_agree() {
        let twice = "010952132100013110L1\u{1d}10L1";
        assert!(parse(twice, None).is_ok());
        assert!(parse("010952132100013110L1\u{1d}10L2", None).is_err());
        assert!(parse("0109521321000131310300019531020019501", None).is_err());
        assert!(parse("\u{1d}0109521321000131", None).is_err());
        assert!(parse("0109521321000131\u{1d}\u{1d}10L1", None).is_err());
        assert!(parse("0109521321000131422840", None).is_ok());
        assert!(parse("010952132100013142284010L1", None).is_err());
    }

    proptest! {
        #[test]
        fn what_is_encoded_is_read_back(
            lot in "[!-\"%-?A-Z_a-z]{1,20}",
            serial in "[!-\"%-?A-Z_a-z]{1,20}",
            weight in 0u32..1_000_000,
            decimals in 0u8..6,
            order in Just(vec![0usize, 1, 2, 3]).prop_shuffle(),
        ) {
            let elements = [
                ("01".to_owned(), "09521321000131".to_owned()),
                ("10".to_owned(), lot),
                ("21".to_owned(), serial),
                (format!("320{decimals}"), format!("{weight:06}")),
            ];
            let given: Vec<_> = order.iter().map(|at| elements[*at].clone()).collect();
            let message = encode(&given, None).expect("a message");
            let read = parse(&message.element_string(), None).expect("a message");
            prop_assert_eq!(pairs(&read), given);
        }

        #[test]
        fn any_text_is_answered(text in "[0-9A-Za-z\u{1d}é#]{0,60}", any in ".*") {
            for text in [text, any] {
                if let Ok(message) = parse(&text, None) {
                    prop_assert_eq!(parse(&message.element_string(), None), Ok(message));
                }
                for ai in Ai::all() {
                    let _ = ai.check(&text, Some(2026));
                }
            }
        }
    }
}
