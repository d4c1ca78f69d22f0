//! Single values between JSON and the contract's kinds.
//! It never judges by field options: it only says whether a value is of the kind.

use std::borrow::Cow;

use base64::Engine;
use base64::alphabet::{STANDARD, URL_SAFE};
use base64::engine::{DecodePaddingMode, GeneralPurpose, GeneralPurposeConfig};
use jiff::Timestamp;
use rust_decimal::prelude::ToPrimitive;

use super::tokens;
use crate::rules::{self, Scalar};
use crate::shape::{Field, Kind, Table};

const PADDING: GeneralPurposeConfig =
    GeneralPurposeConfig::new().with_decode_padding_mode(DecodePaddingMode::Indifferent);
const BASE64: GeneralPurpose = GeneralPurpose::new(&STANDARD, PADDING);
const BASE64_URL: GeneralPurpose = GeneralPurpose::new(&URL_SAFE, PADDING);

/// The shape of a JSON value that is read as one.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Token<'a> {
    Text(Cow<'a, str>),
    Number(&'a str),
    Truth(bool),
    /// A list, an object or null.
    Other,
}

/// What the text of a path or query value would be in JSON, for a field of this kind.
pub(super) fn token_of<'a>(kind: Kind, text: &'a str) -> Token<'a> {
    match (kind, text) {
        (Kind::Bool, "true") => Token::Truth(true),
        (Kind::Bool, "false") => Token::Truth(false),
        (Kind::Float | Kind::Double, text) if tokens::is_number(text) => Token::Number(text),
        (kind, text) if kind.range().is_some() && tokens::is_number(text) => Token::Number(text),
        (_, text) => Token::Text(Cow::Borrowed(text)),
    }
}

/// The value of a field, or what it must be.
pub(super) fn read<'a>(
    table: &Table,
    field: &Field,
    token: Token<'a>,
) -> Result<Scalar<'a>, String> {
    match (field.kind, token) {
        (Kind::Text, Token::Text(text)) => Ok(Scalar::Text(text)),
        (Kind::Text, Token::Number(number)) if field.rules.decimal => {
            Ok(Scalar::Text(Cow::Borrowed(number)))
        }
        (Kind::Text, _) if field.rules.decimal => {
            Err("must be a number, or a text that holds one".to_owned())
        }
        (Kind::Text, _) => Err("must be text".to_owned()),
        (Kind::Bool, Token::Truth(truth)) => Ok(Scalar::Truth(truth)),
        (Kind::Bool, _) => Err("must be true or false".to_owned()),
        (Kind::Bytes, Token::Text(text)) => BASE64
            .decode(text.as_bytes())
            .or_else(|_| BASE64_URL.decode(text.as_bytes()))
            .map(|bytes| Scalar::Bytes(Cow::Owned(bytes)))
            .map_err(|_| "must be base64".to_owned()),
        (Kind::Bytes, _) => Err("must be text in base64".to_owned()),
        (Kind::Enum(index), token) => {
            let words = table.words(index);
            let number = match &token {
                Token::Text(word) => words.number(word),
                _ => None,
            };
            number.map(Scalar::Word).ok_or_else(|| rules::one_of(&words.listed()))
        }
        (Kind::Double, Token::Number(number)) => finite(number.parse()).map(Scalar::Float),
        (Kind::Float, Token::Number(number)) => {
            finite(number.parse::<f32>().map(f64::from)).map(Scalar::Float)
        }
        (Kind::Double | Kind::Float, _) => Err("must be a number".to_owned()),
        (kind, token) => whole(kind, &token).map(Scalar::Whole),
    }
}

/// A number too great for a float reads as infinite, which is no answer.
pub(super) fn finite<E>(number: Result<f64, E>) -> Result<f64, String> {
    number.ok().filter(|number| number.is_finite()).ok_or_else(|| rules::FINITE.to_owned())
}

fn whole(kind: Kind, token: &Token<'_>) -> Result<i128, String> {
    // Every other kind has its own arm above, so the range is always there.
    let (least, greatest) = kind.range().unwrap_or_default();
    let number = match token {
        Token::Number(text) => text.parse().ok().or_else(|| {
            // 1e3 and 5.0 are whole numbers too.
            let number = domain::exact::decimal(text).ok()?;
            number.is_integer().then(|| number.to_i128()).flatten()
        }),
        _ => None,
    };
    number
        .filter(|number| (least..=greatest).contains(number))
        .ok_or_else(|| format!("must be a whole number from {least} to {greatest}"))
}

/// Seconds and nanoseconds of an RFC 3339 time.
pub(super) fn time(text: &str) -> Result<(i64, i32), String> {
    let refused = || "must be an RFC 3339 time, such as 2026-05-04T13:30:00Z".to_owned();
    // The library reads more forms than the standard has.
    let standard = text.len() >= 20
        && text.is_ascii()
        && matches!(text.as_bytes()[10], b'T' | b't')
        && !text.contains(['[', ','])
        && (text.ends_with(['Z', 'z']) || text.as_bytes()[text.len() - 3] == b':');
    let time: Timestamp = text.parse().ok().filter(|_| standard).ok_or_else(refused)?;
    // A point before 1970 counts its nanoseconds forward from the second before.
    let nanoseconds = time.subsec_nanosecond();
    let (seconds, nanoseconds) = match nanoseconds {
        0.. => (time.as_second(), nanoseconds),
        _ => (time.as_second() - 1, nanoseconds + 1_000_000_000),
    };
    match rules::judge_time(seconds, nanoseconds) {
        None => Ok((seconds, nanoseconds)),
        Some(fault) => Err(fault.to_owned()),
    }
}

/// A time as RFC 3339 text, nothing when it is out of range.
pub(super) fn time_text(seconds: i64, nanoseconds: i32) -> Option<String> {
    if rules::judge_time(seconds, nanoseconds).is_some() {
        return None;
    }
    Timestamp::new(seconds, nanoseconds).ok().map(|time| time.to_string())
}

/// Bytes as text.
pub(super) fn base64_text(bytes: &[u8]) -> String {
    BASE64.encode(bytes)
}
