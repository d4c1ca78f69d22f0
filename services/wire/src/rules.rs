//! The one place where a value is judged by the rules of its field, whatever door it came by.
//! It never names the field or shows the value: both doors do that in their own spelling.

use std::borrow::Cow;

use domain::exact;
use rust_decimal::Decimal;

use crate::shape::{Field, Kind, Many, Table};

/// The earliest and the last second of a time: the years 1 to 9999.
const TIME_SECONDS: std::ops::RangeInclusive<i64> = -62_135_596_800..=253_402_300_799;

/// One value that is not a message.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Scalar<'a> {
    Truth(bool),
    Whole(i128),
    Float(f64),
    Text(Cow<'a, str>),
    Bytes(Cow<'a, [u8]>),
    Word(i32),
}

impl Scalar<'_> {
    /// True for the value that a plain field has when it was not sent.
    pub fn is_default(&self) -> bool {
        match self {
            Scalar::Truth(truth) => !truth,
            Scalar::Whole(number) => *number == 0,
            Scalar::Float(number) => number.to_bits() == 0,
            Scalar::Text(text) => text.is_empty(),
            Scalar::Bytes(bytes) => bytes.is_empty(),
            Scalar::Word(number) => *number == 0,
        }
    }
}

/// True when the value answers a required field; an empty text or unspecified word does not.
pub(crate) fn is_given(field: &Field, value: &Scalar<'_>) -> bool {
    match value {
        Scalar::Truth(_) | Scalar::Whole(_) | Scalar::Float(_) => field.many != Many::Plain,
        Scalar::Text(_) | Scalar::Bytes(_) | Scalar::Word(_) => !value.is_default(),
    }
}

/// What is said of a required field without an answer.
pub(crate) fn missing(field: &Field) -> &'static str {
    match (field.many, field.kind) {
        (Many::List { .. } | Many::Map, _) | (_, Kind::Text | Kind::Bytes)
            if !field.rules.decimal =>
        {
            "must be given and not be empty"
        }
        _ => "must be given",
    }
}

/// What is said of a field that only the service sets.
pub(crate) const OUTPUT_ONLY: &str = "is set by the service and must be left out";

/// The fault of a list or map by its length.
pub(crate) fn judge_count(field: &Field, count: usize) -> Option<String> {
    let most = field.rules.max_items.filter(|most| count > *most as usize)?;
    Some(format!("must have at most {most} entries"))
}

/// The faults of one value; a plain field at its default counts as not sent and has none.
pub(crate) fn judge(table: &Table, field: &Field, value: &Scalar<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    if field.many == Many::Plain && value.is_default() {
        return faults;
    }
    match value {
        Scalar::Text(text) if field.rules.decimal => match exact::decimal(text) {
            Ok(number) => judge_number(field, number, &mut faults),
            Err(problem) => faults.push(problem.to_string()),
        },
        Scalar::Text(text) => judge_text(field, text, &mut faults),
        Scalar::Bytes(bytes) => {
            if let Some(most) = field.rules.max_len.filter(|most| bytes.len() > *most as usize) {
                faults.push(format!("must have at most {most} bytes"));
            }
        }
        Scalar::Whole(number) => {
            // Whole numbers on the wire have 64 bits, which a decimal always holds.
            if let Ok(number) = Decimal::try_from_i128_with_scale(*number, 0) {
                judge_number(field, number, &mut faults);
            }
        }
        Scalar::Float(number) if !number.is_finite() => faults.push(FINITE.to_owned()),
        Scalar::Word(number) => {
            if let Kind::Enum(index) = field.kind
                && table.words(index).word(*number).is_none()
            {
                faults.push(one_of(&table.words(index).listed()));
            }
        }
        Scalar::Truth(_) | Scalar::Float(_) => {}
    }
    faults
}

/// What is said of a number that a float cannot hold.
pub(crate) const FINITE: &str = "must be a finite number";

/// What is said of a word that is not on the list.
pub(crate) fn one_of(words: &str) -> String {
    format!("must be one of {words}")
}

fn judge_number(field: &Field, number: Decimal, faults: &mut Vec<String>) {
    if let Some(min) = field.rules.min.filter(|min| number < *min) {
        faults.push(format!("must be at least {min}"));
    }
    if let Some(max) = field.rules.max.filter(|max| number > *max) {
        faults.push(format!("must be at most {max}"));
    }
}

fn judge_text(field: &Field, text: &str, faults: &mut Vec<String>) {
    let rules = &field.rules;
    // Bytes bound characters from above, so most texts need no counting.
    let too_long = |most: &u32| {
        let most = *most as usize;
        text.len() > most && text.chars().count() > most
    };
    if let Some(most) = rules.max_len.filter(too_long) {
        faults.push(format!("must have at most {most} characters"));
    } else if let Some(pattern) = rules.pattern.as_ref().filter(|_| !field.matches(text)) {
        match rules.pattern_name {
            Some(name) => faults.push(format!("must {name}")),
            None => faults.push(format!("must match {pattern}")),
        }
    }
    if text.contains('\0') {
        faults.push("must not contain the character U+0000".into());
    }
    if !rules.one_word_of.is_empty() && !rules.one_word_of.iter().any(|word| word == text) {
        faults.push(one_of(&rules.one_word_of.join(", ")));
    }
}

/// The fault of a point in time.
pub(crate) fn judge_time(seconds: i64, nanoseconds: i32) -> Option<&'static str> {
    let held = TIME_SECONDS.contains(&seconds) && (0..1_000_000_000).contains(&nanoseconds);
    (!held).then_some("must be a time in the years 1 to 9999")
}
