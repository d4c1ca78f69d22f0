//! GS1 Digital Link: the web address of an item, with its keys in the path and data in the query.
//! It never fetches anything and never reads the compressed form.

use super::dictionary::{Ai, Group};
use super::message::{Element, Message};
use crate::fault::Faults;

/// Reads a web address with a primary key in its path; the host is any, and what stands before the
/// key in the path is passed over. Parameters that are no AI and have a name with other characters
/// than digits are passed over too. Faults are of the whole and name no field.
pub fn read_uri(uri: &str, year: Option<i32>) -> Result<Message, Faults> {
    match elements(uri, year) {
        Ok(elements) => Message::of_checked(elements),
        Err(fault) => {
            let mut faults = Faults::new();
            faults.add("", fault);
            Err(faults)
        }
    }
}

fn elements(uri: &str, year: Option<i32>) -> Result<Vec<Element>, String> {
    let (path, query) = path_and_query(uri)?;
    let (key, mut elements) = path_elements(path, year)?;
    for parameter in query.split('&').filter(|parameter| !parameter.is_empty()) {
        let (name, value) = parameter.split_once('=').unwrap_or((parameter, ""));
        if name.is_empty() || !name.bytes().all(|b| b.is_ascii_digit()) {
            continue;
        }
        let ai = Ai::of(name).ok_or_else(|| format!("({name}) in the query is no AI"))?;
        let qualifies = sequences(key).iter().any(|sequence| sequence.contains(&ai.code));
        if qualifies || ai == key || !ai.query {
            return Err(format!("({name}) belongs in the path, not in the query"));
        }
        if elements.iter().any(|element: &Element| element.ai == ai) {
            return Err(format!("({name}) stands twice"));
        }
        elements.push(element(ai, &value.replace('+', " "), year)?);
    }
    Ok(elements)
}

/// Splits the path and the query off; the fragment is dropped.
fn path_and_query(uri: &str) -> Result<(&str, &str), String> {
    let allowed = |b: u8| b.is_ascii_alphanumeric() || b"-._~:/?#[]@!$&'()*+,;=%".contains(&b);
    if !uri.bytes().all(allowed) {
        return Err("holds a character that a web address cannot hold".to_owned());
    }
    let rest = ["https://", "http://", "HTTPS://", "HTTP://"]
        .iter()
        .find_map(|scheme| uri.strip_prefix(scheme))
        .ok_or("must start with https:// or http://")?;
    let rest = rest.split_once('#').map_or(rest, |(before, _)| before);
    let (rest, query) = rest.split_once('?').unwrap_or((rest, ""));
    let (host, path) = rest.split_once('/').ok_or("has no path")?;
    let is_host = |b: u8| b.is_ascii_alphanumeric() || b"-.:".contains(&b);
    if host.is_empty() || !host.bytes().all(is_host) {
        return Err("has no host".to_owned());
    }
    if path.ends_with('/') {
        return Err("must not end its path in a slash".to_owned());
    }
    Ok((path, query))
}

/// The rightmost primary key of the path with the qualifiers behind it.
fn path_elements(path: &str, year: Option<i32>) -> Result<(&'static Ai, Vec<Element>), String> {
    let parts: Vec<&str> = path.split('/').collect();
    let pairs: Vec<(&str, &str)> = parts.rchunks_exact(2).map(|pair| (pair[0], pair[1])).collect();
    let is_key = |(code, _): &(&str, &str)| Ai::of(code).is_some_and(|ai| ai.key.is_some());
    let at = pairs.iter().position(is_key).ok_or("holds no primary key in its path")?;
    let mut elements = Vec::new();
    let mut codes = Vec::new();
    for (code, value) in pairs[..=at].iter().rev() {
        let ai = Ai::of(code).ok_or_else(|| format!("({code}) in the path is no AI"))?;
        elements.push(element(ai, value, year)?);
        codes.push(ai.code);
    }
    let key = elements[0].ai;
    let in_order = |sequence: &Group| {
        let mut rest = sequence.iter();
        codes[1..].iter().all(|code| rest.any(|qualifier| qualifier == code))
    };
    if codes.len() > 1 && !sequences(key).iter().any(in_order) {
        let behind = codes[1..].join(", ");
        return Err(format!(
            "has qualifiers out of order or unknown behind ({}): {behind}",
            key.code
        ));
    }
    Ok((key, elements))
}

fn sequences(key: &Ai) -> &'static [Group] {
    key.key.unwrap_or_default()
}

/// Decodes and checks one value. A trade item number of 8, 12 or 13 digits is filled up to 14, as
/// older addresses carry them.
fn element(ai: &'static Ai, encoded: &str, year: Option<i32>) -> Result<Element, String> {
    let mut value = decoded(encoded).ok_or_else(|| {
        format!("({}) has a percent sign that encodes no character: {encoded}", ai.code)
    })?;
    if value.is_empty() {
        return Err(format!("({}) has no value", ai.code));
    }
    if ai.code == "01" && [8, 12, 13].contains(&value.len()) {
        value = format!("{value:0>14}");
    }
    ai.check(&value, year)?;
    Ok(Element { ai, value })
}

/// Text with its percent signs decoded; nothing when one is not followed by two hexadecimal digits
/// or the bytes are no UTF-8.
fn decoded(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        if byte != b'%' {
            bytes.push(byte);
            continue;
        }
        let mut digit = || char::from(rest.next()?).to_digit(16);
        let (high, low) = (digit()?, digit()?);
        bytes.push(u8::try_from(high * 16 + low).ok()?);
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(uri: &str) -> Option<Vec<(String, String)>> {
        let message = read_uri(uri, Some(2026)).ok()?;
        let pair = |e: &Element| (e.ai.code.to_owned(), e.value.clone());
        Some(message.elements().iter().map(pair).collect())
    }

    #[test]
    fn published_addresses_are_read_or_refused() {
        // Examples of the Digital Link standard and of the GS1 syntax engine's unit tests.
        let file = include_str!("../../tests/data/gs1/digital-link.json");
        let file: serde_json::Value = serde_json::from_str(file).expect("JSON");
        let cases = file["cases"].as_array().expect("cases");
        assert!(cases.len() >= 15);
        for case in cases {
            let uri = case["uri"].as_str().expect("a uri");
            let wanted = case["elements"].as_array().map(|elements| {
                let text = |v: &serde_json::Value| v.as_str().expect("text").to_owned();
                elements.iter().map(|e| (text(&e["ai"]), text(&e["value"]))).collect::<Vec<_>>()
            });
            assert_eq!(read(uri), wanted, "{uri}");
        }
    }

    #[test]
    fn a_plus_is_a_plus_in_the_path_and_a_space_in_the_query() {
        let path = read("https://a/01/09520123456788/10/A+B");
        assert_eq!(path.map(|e| e[1].1.clone()).as_deref(), Some("A+B"));
        assert_eq!(read("https://a/01/09520123456788?240=A+B"), None);
        let encoded = read("https://a/01/09520123456788?240=A%2BB");
        assert_eq!(encoded.map(|e| e[1].1.clone()).as_deref(), Some("A+B"));
    }

    #[test]
    fn what_is_no_address_of_a_key_is_refused() {
        for uri in [
            "",
            "https://",
            "https:///01/09520123456788",
            "ftp://a/01/09520123456788",
            "https://a/01",
            "https://a/10/ABC/01/",
            "https://a/01/09520123456788/21/1/10/2",
            "https://a/01/09520123456788/10/A/235/B",
            "https://a/01/09520123456788/10/A%2",
            "https://a/01/09520123456788/10/A%00",
            "https://a/01/09520123456788/10/",
            "https://a/01/09520123456788?21=1",
            "https://a/01/09520123456788?17=180426&17=180426",
            "https://a/01/09520123456788?89=1",
            "https://a/01/09520123456788?17",
            "https://a/01/09520123456788?37=2",
            "https://a/01/09520123456789",
            "https://a/01/09520123456788?17=181326",
        ] {
            assert_eq!(read(uri), None, "{uri}");
        }
    }

    #[test]
    fn what_does_not_concern_the_item_is_passed_over() {
        let plain = read("https://a/01/09520123456788/10/A");
        assert!(plain.is_some());
        assert_eq!(
            read("http://a.b:8080/stem/x/01/09520123456788/10/A?linkType=all&s&#top"),
            plain
        );
        assert_eq!(read("HTTPS://a/414/9520123456788/01/9520123456788/10/A"), plain);
    }

    proptest! {
        #[test]
        fn any_text_is_answered(text in ".*", path in "(/[0-9A-Z%]{0,14}){0,8}") {
            let _ = read_uri(&text, None);
            let _ = read_uri(&format!("https://a{path}"), None);
        }
    }
}
