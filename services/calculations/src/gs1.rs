//! GS1 keys and messages from the forms in which a caller has them.
//! It never says that a key is in use.

use domain::fault::Faults;
use domain::gs1::key::KeyKind;
use domain::gs1::{self, Element, Message};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use wire::v1;

use crate::shape;

/// The years whose century rule gives a year of four digits.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=9899;

/// Completes or verifies a key, makes or reads a message. Faults: none or several of the forms, a
/// wrong check digit, and whatever the syntax dictionary refuses (names `encode[i].ai`,
/// `encode[i].value`, or for the message as a whole `encode`, `parse` or `uri`).
pub fn calculate(request: v1::Gs1Request) -> Result<v1::Gs1Response, Faults> {
    let mut faults = Faults::new();
    let year = current_year(request.current_year.as_deref(), &mut faults);
    let response = match form(&request, &mut faults) {
        Some(Form::Key(key)) => complete(key, &mut faults)
            .map(|complete| v1::Gs1Response { complete: Some(complete), ..Default::default() }),
        Some(Form::Encode(elements)) => {
            let pair = |e: &v1::Gs1Element| (e.ai.clone(), e.value.clone());
            let given: Vec<_> = elements.iter().map(pair).collect();
            read(gs1::encode(&given, year), "encode", year, &mut faults)
        }
        Some(Form::Parse(text)) => read(gs1::parse(text, year), "parse", year, &mut faults),
        Some(Form::Uri(uri)) => read(gs1::read_uri(uri, year), "uri", year, &mut faults),
        None => None,
    };
    faults.into_result(response)
}

fn current_year(given: Option<&str>, faults: &mut Faults) -> Option<i32> {
    let given = shape::decimal(given, "current_year", faults)?;
    let whole = Some(given).filter(Decimal::is_integer).and_then(|year| year.to_i32());
    let year = whole.filter(|year| YEARS.contains(year));
    if year.is_none() {
        faults.add_value("current_year", given, "must be a year from 1900 to 9899");
    }
    year
}

/// The form in which the caller gives a key or a message.
enum Form<'a> {
    Key(&'a v1::Gs1Key),
    Encode(&'a [v1::Gs1Element]),
    Parse(&'a str),
    Uri(&'a str),
}

fn form<'a>(request: &'a v1::Gs1Request, faults: &mut Faults) -> Option<Form<'a>> {
    let encode = (!request.encode.is_empty()).then_some(request.encode.as_slice());
    let forms = [
        ("key", request.key.as_ref().map(Form::Key)),
        ("encode", encode.map(Form::Encode)),
        ("parse", request.parse.as_deref().map(Form::Parse)),
        ("uri", request.uri.as_deref().map(Form::Uri)),
    ];
    let mut given = forms.into_iter().filter_map(|(field, form)| Some((field, form?)));
    let Some((first, form)) = given.next() else {
        faults.add("key", "exactly one of key, encode, parse and uri is needed");
        faults.add("encode", "must hold at least one element, where it is the one given");
        return None;
    };
    let mut alone = true;
    for (field, _) in given {
        faults.add(field, format!("must not stand beside {first}"));
        alone = false;
    }
    alone.then_some(form)
}

fn complete(key: &v1::Gs1Key, faults: &mut Faults) -> Option<String> {
    let kind = KeyKind::of(&key.kind);
    if kind.is_none() {
        let asked = format!("must be one of: {}", KeyKind::words());
        faults.add_value("key.kind", &key.kind, asked);
    }
    match (&key.digits, &key.complete) {
        (Some(digits), None) => {
            kind?.complete(digits).map_err(|e| faults.add_value("key.digits", digits, e)).ok()
        }
        (None, Some(complete)) => {
            let verified = kind?.verify(complete);
            verified.map_err(|e| faults.add_value("key.complete", complete, e)).ok()?;
            Some(complete.clone())
        }
        (None, None) => {
            faults.add("key.digits", "exactly one of digits and complete is needed");
            None
        }
        (Some(_), Some(_)) => {
            faults.add("key.complete", "must not stand beside digits");
            None
        }
    }
}

fn read(
    message: Result<Message, Faults>,
    field: &str,
    year: Option<i32>,
    faults: &mut Faults,
) -> Option<v1::Gs1Response> {
    let message = message.map_err(|found| faults.take_from(field, found)).ok()?;
    Some(v1::Gs1Response {
        complete: None,
        element_string: Some(message.element_string()),
        human_readable: Some(message.human_readable()),
        fields: message.elements().iter().map(|element| field_out(element, year)).collect(),
    })
}

fn field_out(element: &Element, year: Option<i32>) -> v1::Gs1Field {
    v1::Gs1Field {
        ai: Some(element.ai.code.to_owned()),
        value: Some(element.value.clone()),
        quantity: element.quantity().as_ref().map(shape::quantity_out),
        date: year.and_then(|year| element.date(year)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn fields(request: v1::Gs1Request) -> Vec<String> {
        let faults = calculate(request).expect_err("faults").into_vec();
        faults.into_iter().map(|fault| fault.field).collect()
    }

    fn key(kind: &str, digits: Option<&str>, complete: Option<&str>) -> v1::Gs1Request {
        let owned = |text: Option<&str>| text.map(str::to_owned);
        let key =
            v1::Gs1Key { kind: kind.into(), digits: owned(digits), complete: owned(complete) };
        v1::Gs1Request { key: Some(key), ..Default::default() }
    }

    fn parse(text: &str) -> v1::Gs1Request {
        v1::Gs1Request { parse: Some(text.into()), ..Default::default() }
    }

    #[test]
    fn every_fault_is_named() {
        assert_eq!(fields(v1::Gs1Request::default())[0], "key");
        assert_eq!(fields(key("gtin", None, None)), ["key.kind", "key.digits"]);
        assert_eq!(fields(key("GLN", Some("1"), Some("1"))), ["key.complete"]);
        assert_eq!(fields(key("GLN", Some("1"), None)), ["key.digits"]);
        assert_eq!(fields(parse("")), ["parse"]);
        let mut both = parse("0109521321000131");
        both.uri = Some("https://a/01/09521321000131".into());
        both.current_year = Some("2026.5".into());
        assert_eq!(fields(both), ["current_year", "uri"]);
        let element = |ai: &str, value: &str| v1::Gs1Element { ai: ai.into(), value: value.into() };
        let encode = vec![element("10", ""), element("89", "1")];
        let wrong = v1::Gs1Request { encode, ..Default::default() };
        assert_eq!(fields(wrong), ["encode[0].value", "encode[1].ai"]);
        let encode = vec![element("10", "L1")];
        let alone = v1::Gs1Request { encode, ..Default::default() };
        assert_eq!(fields(alone), ["encode"]);
    }

    #[test]
    fn a_date_is_told_only_with_the_year() {
        let mut request = parse("010952132100013115260500");
        let answer = calculate(request.clone()).expect("an answer");
        assert_eq!(answer.fields[1].date, None);
        request.current_year = Some("2026".into());
        let answer = calculate(request).expect("an answer");
        assert_eq!(answer.fields[1].date.as_deref(), Some("2026-05-31"));
    }

    proptest! {
        #[test]
        fn any_input_is_answered_or_refused(
            ai in "[0-9]{0,4}",
            value in ".{0,12}",
            text in "[0-9A-Z\u{1d}]{0,40}",
            year in any::<i32>(),
            which in 0u8..4,
        ) {
            let current_year = Some(year.to_string());
            let mut request = v1::Gs1Request { current_year, ..Default::default() };
            match which {
                0 => request.key = key(&value, Some(&text), None).key,
                1 => request.encode = vec![v1::Gs1Element { ai, value }],
                2 => request.parse = Some(text),
                _ => request.uri = Some(format!("https://a/{ai}/{value}?{ai}={text}")),
            }
            if let Err(faults) = calculate(request) {
                prop_assert!(!faults.is_empty());
            }
        }
    }
}
