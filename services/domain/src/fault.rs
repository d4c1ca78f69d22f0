//! What is wrong with an input, field by field, so that a caller can mend it all at once.
//! It never decides how a fault is answered.

/// One fault of one field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Dotted path with indices from 0, in proto names: `curve.samples[3].t_s`.
    pub field: String,
    /// The value as it was given, if there was one and it may be shown.
    pub value: Option<String>,
    /// What is allowed, in one sentence.
    pub message: String,
}

/// The faults gathered while an input is read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    found: Vec<Fault>,
}

impl Faults {
    /// An empty gathering.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a fault of a field that has no value to show.
    pub fn add(&mut self, field: impl Into<String>, message: impl Into<String>) {
        self.found.push(Fault { field: field.into(), value: None, message: message.into() });
    }

    /// Adds a fault of a field together with the value that was given.
    pub fn add_value(
        &mut self,
        field: impl Into<String>,
        value: impl ToString,
        message: impl Into<String>,
    ) {
        let value = Some(value.to_string());
        self.found.push(Fault { field: field.into(), value, message: message.into() });
    }

    /// Takes over faults found by a part, putting `prefix.` before each field.
    pub fn take_from(&mut self, prefix: &str, part: Faults) {
        for mut fault in part.found {
            fault.field = match fault.field.as_str() {
                "" => prefix.to_owned(),
                field if field.starts_with('[') => format!("{prefix}{field}"),
                field => format!("{prefix}.{field}"),
            };
            self.found.push(fault);
        }
    }

    /// True when nothing was found.
    pub fn is_empty(&self) -> bool {
        self.found.is_empty()
    }

    /// The faults in the order in which they were found.
    pub fn into_vec(self) -> Vec<Fault> {
        self.found
    }

    /// Ends a reading: the answer when nothing was found, else all faults.
    pub fn into_result<T>(self, answer: Option<T>) -> Result<T, Faults> {
        match answer {
            Some(answer) if self.is_empty() => Ok(answer),
            _ => Err(self),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_is_named_below_its_whole() {
        let mut part = Faults::new();
        part.add("[2].mass", "must not be negative");
        part.add("unit", "unknown");
        let mut whole = Faults::new();
        whole.take_from("lines", part);
        let fields: Vec<_> = whole.into_vec().into_iter().map(|f| f.field).collect();
        assert_eq!(fields, ["lines[2].mass", "lines.unit"]);
    }
}
