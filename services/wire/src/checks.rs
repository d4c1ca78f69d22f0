//! Checks a message, as it stands on the wire, by the rules of the contract's field options.
//! It never stops at the first fault and never shows a value of a secret field.

use domain::fault::{Fault, Faults};
use prost::{Message, Name};

use crate::format::{self, Entry, Malformed, Raw, WIRE_DEPTH_MAX};
use crate::rules;
use crate::shape::{self, Field, Known, Many, Shape, Table};

/// The most characters of a value shown in a fault.
pub const SHOWN_MAX: usize = 100;
/// The most faults named of one input; what is over is counted.
pub const FAULTS_MAX: usize = 1_000;

/// Checks a message by the rules of its type: every fault by its path in proto names, such as
/// `curve.samples[3].t_s`. A type outside the contract has no rules.
pub fn check<T: Message + Name>(message: &T) -> Faults {
    // Bytes that the library has just encoded are always a message of their type.
    check_bytes(&T::full_name(), &message.encode_to_vec()).unwrap_or_default()
}

/// Checks the bytes of a message by the full name of its type.
pub fn check_bytes(full_name: &str, bytes: &[u8]) -> Result<Faults, Malformed> {
    check_in(&shape::CONTRACT, full_name, bytes)
}

/// The same over any table.
pub(crate) fn check_in(table: &Table, full_name: &str, bytes: &[u8]) -> Result<Faults, Malformed> {
    let Some(shape) = table.find(full_name) else { return Ok(Faults::new()) };
    let found = Found::default();
    let mut walk = Walk { table, path: String::new(), secret: false, depth: 0, found };
    walk.message(shape, bytes)?;
    Ok(walk.found.into_faults())
}

/// Faults gathered up to [`FAULTS_MAX`]; the rest is only counted.
#[derive(Default)]
pub(crate) struct Found {
    faults: Vec<Fault>,
    pub count: usize,
}

impl Found {
    /// Adds a fault; nothing is built once the most are named.
    pub fn add(&mut self, fault: impl FnOnce() -> Fault) -> Option<usize> {
        self.count += 1;
        (self.faults.len() < FAULTS_MAX).then(|| {
            self.faults.push(fault());
            self.faults.len() - 1
        })
    }

    /// A fault named before.
    pub fn named(&mut self, index: usize) -> Option<&mut Fault> {
        self.faults.get_mut(index)
    }

    /// All faults, and one more that counts those not named.
    pub fn into_vec(mut self) -> Vec<Fault> {
        let more = self.count - self.faults.len();
        if more > 0 {
            let message = format!("has {more} more faults, which are not listed");
            self.faults.push(Fault { field: String::new(), value: None, message });
        }
        self.faults
    }

    fn into_faults(self) -> Faults {
        let mut faults = Faults::new();
        for fault in self.into_vec() {
            match fault.value {
                Some(value) => faults.add_value(fault.field, value, fault.message),
                None => faults.add(fault.field, fault.message),
            }
        }
        faults
    }
}

/// A value as it is shown in a fault.
pub(crate) fn shown(text: &str) -> String {
    text.chars().take(SHOWN_MAX).collect()
}

struct Walk<'t> {
    table: &'t Table,
    path: String,
    secret: bool,
    depth: usize,
    found: Found,
}

impl<'t> Walk<'t> {
    fn message(&mut self, shape: &'t Shape, bytes: &[u8]) -> Result<(), Malformed> {
        self.depth += 1;
        if self.depth > WIRE_DEPTH_MAX {
            return Err(Malformed);
        }
        let entries = format::gather(shape, bytes)?;
        let mut given = 0_u128;
        let mut wrong = 0_u128;
        for occurrences in entries.chunk_by(|a, b| a.field == b.field) {
            let index = occurrences[0].field;
            let before = self.found.count;
            if self.occurrences(&shape.fields[index], occurrences)? {
                given |= 1 << index;
            }
            if self.found.count > before {
                wrong |= 1 << index;
            }
        }
        for (index, field) in shape.fields.iter().enumerate() {
            if field.rules.required && (given | wrong) & (1 << index) == 0 {
                self.within(&field.proto_name, |walk| {
                    walk.fault(None, rules::missing(field).to_owned());
                    Ok(())
                })?;
            }
        }
        self.depth -= 1;
        Ok(())
    }

    /// Checks a field as often as it stands; true when it answers `required`.
    fn occurrences(&mut self, field: &'t Field, entries: &[Entry<'_>]) -> Result<bool, Malformed> {
        let outer = self.secret;
        self.secret |= field.rules.secret;
        let given = self.within(&field.proto_name, |walk| walk.values(field, entries))?;
        self.secret = outer;
        Ok(given)
    }

    fn values(&mut self, field: &'t Field, entries: &[Entry<'_>]) -> Result<bool, Malformed> {
        if field.rules.output_only {
            self.fault(None, rules::OUTPUT_ONLY.to_owned());
            return Ok(true);
        }
        match field.many {
            Many::Plain | Many::Optional => entries
                .iter()
                .try_fold(false, |given, entry| Ok(self.value(field, &entry.value)? || given)),
            Many::List { .. } => {
                self.count(field, entries.len());
                for (index, entry) in entries.iter().enumerate() {
                    let place = format!("[{index}]");
                    self.inside(&place, |walk| walk.value(field, &entry.value))?;
                }
                Ok(true)
            }
            Many::Map => {
                self.count(field, entries.len());
                for entry in entries {
                    self.pair(field, &entry.value)?;
                }
                Ok(true)
            }
        }
    }

    fn count(&mut self, field: &Field, count: usize) {
        if let Some(fault) = rules::judge_count(field, count) {
            self.fault(None, fault);
        }
    }

    /// One key and value of a map; an absent key or value is the default one.
    fn pair(&mut self, field: &'t Field, raw: &Raw<'_>) -> Result<(), Malformed> {
        let (Some(shape), Raw::Bytes(bytes)) = (format::shape_of(self.table, field.kind), raw)
        else {
            return Err(Malformed);
        };
        let mut key = String::new();
        let entries = format::gather(shape, bytes)?;
        for entry in &entries {
            let part = &shape.fields[entry.field];
            if part.number == 1 {
                key = crate::json::key_text(&format::scalar(part.kind, &entry.value)?);
            } else {
                self.within(&key, |walk| walk.value(part, &entry.value))?;
            }
        }
        Ok(())
    }

    /// One value; true when it answers `required`.
    fn value(&mut self, field: &'t Field, raw: &Raw<'_>) -> Result<bool, Malformed> {
        if let (Some(shape), Raw::Bytes(bytes)) = (format::shape_of(self.table, field.kind), raw) {
            match shape.known {
                Known::Ordinary => self.message(shape, bytes)?,
                Known::Timestamp => {
                    let (seconds, nanoseconds) = format::time(shape, bytes)?;
                    if let Some(fault) = rules::judge_time(seconds, nanoseconds) {
                        self.fault(None, fault.to_owned());
                    }
                }
                // Free JSON has no rules.
                Known::Struct | Known::Value | Known::List => {}
            }
            return Ok(true);
        }
        let scalar = format::scalar(field.kind, raw)?;
        for fault in rules::judge(self.table, field, &scalar) {
            let text = crate::json::key_text(&scalar);
            self.fault(Some(&text), fault);
        }
        Ok(rules::is_given(field, &scalar))
    }

    fn fault(&mut self, value: Option<&str>, message: String) {
        let value = value.filter(|_| !self.secret).map(shown);
        let path = &self.path;
        self.found.add(|| Fault { field: path.clone(), value, message });
    }

    /// Runs a part of the walk below a name.
    fn within<T>(&mut self, name: &str, part: impl FnOnce(&mut Self) -> T) -> T {
        let length = self.path.len();
        if length > 0 {
            self.path.push('.');
        }
        self.path.push_str(name);
        let answer = part(self);
        self.path.truncate(length);
        answer
    }

    /// Runs a part of the walk at an index.
    fn inside<T>(&mut self, index: &str, part: impl FnOnce(&mut Self) -> T) -> T {
        let length = self.path.len();
        self.path.push_str(index);
        let answer = part(self);
        self.path.truncate(length);
        answer
    }
}

#[cfg(test)]
mod tests;
