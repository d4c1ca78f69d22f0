//! From messages to typed values, with every fault gathered before anything is answered.
//! It never fills in what was not given.

use domain::exact::{self, Exact};
use domain::fault::Faults;
use domain::units::{Dimension, Quantity, Unit};
use jiff::Timestamp;
use jiff::civil::Date;
use rust_decimal::Decimal;
use uuid::Uuid;
use wire::v1;

/// Reads an id.
pub fn id(text: &str, field: &str, faults: &mut Faults) -> Option<Uuid> {
    let read = Uuid::try_parse(text).ok();
    if read.is_none() {
        faults.add_value(field, text, "must be a UUID");
    }
    read
}

/// Reads the ids of a list, in the order given, each as often as it stands there.
pub fn ids(texts: &[String], list: &str, faults: &mut Faults) -> Vec<Uuid> {
    let texts = texts.iter().enumerate();
    texts.filter_map(|(at, text)| id(text, &format!("{list}[{at}]"), faults)).collect()
}

/// Reads an id made by a client for a new record: a UUID of version 7.
pub fn record_id(text: &str, field: &str, faults: &mut Faults) -> Option<Uuid> {
    let read = Uuid::try_parse(text).ok().filter(|id| id.get_version_num() == 7);
    if read.is_none() {
        faults.add_value(field, text, "must be a UUID of version 7, made by the client");
    }
    read
}

/// Reads an id that may be left out; empty text is nothing.
pub fn optional_id(text: &str, field: &str, faults: &mut Faults) -> Option<Uuid> {
    if text.is_empty() { None } else { id(text, field, faults) }
}

/// A text of at most so many characters: what is longer ends after a whole word, with an ellipsis,
/// so that nobody takes a part of it for all of it.
pub fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let first = |count: usize| text.chars().take(most.saturating_sub(count)).collect::<String>();
    let mut kept = first(1);
    match kept.rfind(char::is_whitespace) {
        Some(end) => kept.truncate(end),
        None => kept = first(2),
    }
    format!("{} …", kept.trim_end())
}

/// Reads an RFC 3339 instant, cut to microseconds.
pub fn instant(text: &str, field: &str, faults: &mut Faults) -> Option<Timestamp> {
    let read = text.parse::<Timestamp>().ok();
    let read = read.and_then(|at| Timestamp::from_microsecond(at.as_microsecond()).ok());
    if read.is_none() {
        faults.add_value(field, text, "must be an RFC 3339 instant, as 2026-11-25T06:10:00Z");
    }
    read
}

/// Reads an instant that may be left out.
pub fn optional_instant(text: &str, field: &str, faults: &mut Faults) -> Option<Timestamp> {
    if text.is_empty() { None } else { instant(text, field, faults) }
}

/// Reads a date.
pub fn date(text: &str, field: &str, faults: &mut Faults) -> Option<Date> {
    let read = text.parse::<Date>().ok();
    if read.is_none() {
        faults.add_value(field, text, "must be a date, as 2026-11-25");
    }
    read
}

/// Reads a date that may be left out.
pub fn optional_date(text: &str, field: &str, faults: &mut Faults) -> Option<Date> {
    if text.is_empty() { None } else { date(text, field, faults) }
}

/// Reads decimal text.
pub fn decimal(text: &str, field: &str, faults: &mut Faults) -> Option<Decimal> {
    match exact::decimal(text) {
        Ok(value) => Some(value),
        Err(error) => {
            faults.add_value(field, text, error.to_string());
            None
        }
    }
}

/// A quantity with the text in which it was entered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entered {
    /// The number exactly as entered.
    pub value: Decimal,
    /// Its unit.
    pub unit: Unit,
}

impl Entered {
    /// The quantity to compute with.
    pub fn quantity(&self) -> Quantity {
        Quantity::new(Exact::from(self.value), self.unit)
    }

    /// As a message.
    pub fn message(&self) -> v1::Quantity {
        v1::Quantity { value: Some(self.value.to_string()), unit: self.unit.code().into() }
    }
}

/// Reads a quantity of a dimension: no negative mass, nothing below absolute zero.
pub fn quantity(
    given: Option<&v1::Quantity>,
    dimension: Dimension,
    field: &str,
    faults: &mut Faults,
) -> Option<Entered> {
    let Some(given) = given else {
        faults.add(field, "is needed");
        return None;
    };
    let unit = Unit::from_code(&given.unit).filter(|unit| unit.dimension() == dimension);
    if unit.is_none() {
        let allowed = format!("must be one of: {}", Unit::codes(dimension));
        faults.add_value(format!("{field}.unit"), &given.unit, allowed);
    }
    let text = given.value.as_deref().unwrap_or_default();
    let value = decimal(text, &format!("{field}.value"), faults);
    let entered = Entered { value: value?, unit: unit? };
    let fault = match dimension {
        Dimension::Temperature if entered.quantity().is_below_absolute_zero() => {
            "must not be below absolute zero"
        }
        Dimension::Mass | Dimension::Length if entered.value.is_sign_negative() => {
            "must not be negative"
        }
        _ => return Some(entered),
    };
    faults.add_value(format!("{field}.value"), entered.value, fault);
    None
}

#[cfg(test)]
mod tests {
    use super::shortened;

    #[test]
    fn what_is_cut_says_so_and_ends_after_a_whole_word() {
        assert_eq!(shortened("ten letter", 10), "ten letter");
        assert_eq!(shortened("FAIL at 2026-11-23T01:41:27Z", 20), "FAIL at …");
        assert_eq!(shortened("één één één", 9), "één één …");
        assert_eq!(shortened("abcdefghij", 6), "abcd …");
        for most in 4..20 {
            assert!(shortened("somebody looked at it twice", most).chars().count() <= most);
        }
    }
}
