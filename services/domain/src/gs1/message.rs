//! A message of AIs and values that has been checked, with what its values mean.
//! It never holds a message that the dictionary forbids.

use super::date::Date;
use super::dictionary::Ai;
use super::element_string::SEPARATOR;
use super::pairing;
use crate::exact::Exact;
use crate::fault::Faults;
use crate::units::{Quantity, Unit};

/// One AI with its value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Element {
    /// The AI.
    pub ai: &'static Ai,
    /// Its value, as encoded.
    pub value: String,
}

impl Element {
    /// The mass of a net or gross weight (AIs 310n, 320n, 330n, 340n): the last digit of the AI
    /// says how many of the six digits are decimals (GS1 General Specifications).
    pub fn quantity(&self) -> Option<Quantity> {
        let (kind, decimals) = self.ai.code.split_at_checked(3)?;
        let unit = match kind {
            "310" | "330" => Unit::Kilogram,
            "320" | "340" => Unit::Pound,
            _ => return None,
        };
        let digits = Exact::whole(self.value.parse().ok()?);
        let scale = 10i64.checked_pow(decimals.parse().ok()?)?;
        Some(Quantity::new(digits / Exact::whole(scale), unit))
    }

    /// The day of a date (AIs 11, 12, 13, 15, 16, 17) as YYYY-MM-DD, its century by the current
    /// year; day 00 is the last day of the month.
    pub fn date(&self, current_year: i32) -> Option<String> {
        let is_date = ["11", "12", "13", "15", "16", "17"].contains(&self.ai.code);
        let date = is_date.then(|| Date::short(&self.value, Some(current_year)))?;
        date.map(|date| date.to_string())
    }
}

/// Elements in order, checked one by one and as a whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    elements: Vec<Element>,
}

impl Message {
    /// Elements whose values were checked, once they agree as a whole. Faults are of the whole and
    /// so name no field.
    pub(super) fn of_checked(elements: Vec<Element>) -> Result<Self, Faults> {
        let mut faults = Faults::new();
        if elements.is_empty() {
            faults.add("", "must hold at least one element");
        }
        for fault in pairing::faults(&elements) {
            faults.add("", fault);
        }
        faults.into_result(Some(Self { elements }))
    }

    /// A message whose pairings were not looked at, for published examples of separators.
    #[cfg(test)]
    pub(super) fn unpaired(elements: Vec<Element>) -> Self {
        Self { elements }
    }

    /// Its elements in order, at least one.
    pub fn elements(&self) -> &[Element] {
        &self.elements
    }

    /// The text that a barcode carries: a separator after every AI without a pre-defined length
    /// but the last.
    pub fn element_string(&self) -> String {
        let mut text = String::new();
        for (at, element) in self.elements.iter().enumerate() {
            text.push_str(element.ai.code);
            text.push_str(&element.value);
            if !element.ai.predefined && at + 1 < self.elements.len() {
                text.push(SEPARATOR);
            }
        }
        text
    }

    /// The text printed beside a barcode: each AI in brackets before its value.
    pub fn human_readable(&self) -> String {
        self.elements.iter().map(|e| format!("({}){}", e.ai.code, e.value)).collect()
    }
}
