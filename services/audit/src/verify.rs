//! Checks a bundle with nothing but its bytes and a public key, and names what does not hold.
//! It never asks a server or a database, and never blames a record for what another one lacks.

mod records;
#[cfg(test)]
mod tests;

use std::fmt;

use crate::bundle::{self, Head};
use crate::note::{Checkpoint, NoteError, NoteKey};

/// In what way something does not hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// It is not as it was when it was sealed or exported.
    Altered,
    /// It was in the bundle and is not there now.
    Missing,
    /// Nothing that was signed covers it.
    Unsigned,
    /// It does not stand where it stood.
    Reordered,
}

impl Fault {
    fn word(self) -> &'static str {
        match self {
            Self::Altered => "ALTERED",
            Self::Missing => "MISSING",
            Self::Unsigned => "UNSIGNED",
            Self::Reordered => "REORDERED",
        }
    }
}

/// One thing that does not hold: the id of a record, or a part of the bundle.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Finding {
    /// In what way.
    pub fault: Fault,
    /// What.
    pub what: String,
}

impl fmt::Display for Finding {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} {}", self.fault.word(), self.what)
    }
}

/// What came of a check.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// What does not hold, each once, in order.
    pub findings: Vec<Finding>,
    /// What the bundle is about, as its signed list says.
    pub about: Option<String>,
    /// The records that it holds.
    pub records: usize,
    /// Those of them that the checkpoint proves.
    pub proved: usize,
    /// The checkpoint that was believed.
    pub checkpoint: Option<Checkpoint>,
    /// The key by which it was.
    pub key: Option<String>,
}

impl Report {
    fn add(&mut self, fault: Fault, what: impl Into<String>) {
        self.findings.push(Finding { fault, what: what.into() });
    }
}

/// What the signatures let us believe.
struct Believed {
    checkpoint: Option<Checkpoint>,
    /// The first line, once the signed note proves it.
    head: Option<Head>,
    /// True where the proofs were made for just this checkpoint, as far as the first line says.
    fits: bool,
}

/// Checks a bundle by the pinned key, or else by the one that it prints.
pub fn verify(bytes: &[u8], pinned: Option<&NoteKey>) -> Report {
    let mut report = Report::default();
    let mut lines: Vec<&[u8]> = bytes.split(|byte| *byte == b'\n').collect();
    if lines.last().is_some_and(|last| last.is_empty()) {
        lines.pop();
    } else {
        report.add(Fault::Altered, "end");
    }
    let [head, records @ .., tail] = lines.as_slice() else {
        report.add(Fault::Missing, "bundle");
        return report;
    };
    let believed = believed(head, tail, pinned, &mut report);
    records::judge(records, &believed, &mut report);
    report.checkpoint = believed.checkpoint;
    report.about = believed.head.map(|head| head.about);
    report.findings.sort();
    report.findings.dedup();
    report
}

fn believed(
    head_line: &[u8],
    tail_line: &[u8],
    pinned: Option<&NoteKey>,
    report: &mut Report,
) -> Believed {
    let head = bundle::head(head_line);
    if head.is_none() {
        report.add(Fault::Altered, "head");
    }
    let mut believed = Believed { checkpoint: None, head: None, fits: false };
    let Some(tail) = bundle::tail(tail_line) else {
        report.add(Fault::Altered, "tail");
        return believed;
    };
    let printed = tail.key.parse::<NoteKey>().ok();
    if printed.is_none() || pinned.is_some_and(|pinned| Some(pinned) != printed.as_ref()) {
        report.add(Fault::Altered, "key");
    }
    let Some(key) = pinned.cloned().or(printed) else { return believed };
    report.key = Some(key.to_string());
    match Checkpoint::open(&tail.checkpoint, &key) {
        Ok(checkpoint) => believed.checkpoint = Some(checkpoint),
        Err(error) => report.add(unbelieved(error), "checkpoint"),
    }
    let size = believed.checkpoint.as_ref().map(|checkpoint| checkpoint.size);
    believed.fits = head.as_ref().is_none_or(|head| Some(head.size) == size);
    match key.open(&tail.manifest) {
        Err(error) => {
            report.add(unbelieved(error), "manifest");
            return believed;
        }
        Ok(text) if text == bundle::manifest(head_line) => {
            believed.head = head.filter(|head| head.origin == key.name);
        }
        Ok(_) => {}
    }
    if believed.head.is_none() {
        report.add(Fault::Altered, "head");
    }
    if believed.head.is_some() && believed.checkpoint.is_some() && !believed.fits {
        // Both are signed, and do not belong together: another checkpoint was put in.
        report.add(Fault::Altered, "checkpoint");
    }
    believed
}

fn unbelieved(error: NoteError) -> Fault {
    if error == NoteError::Malformed { Fault::Altered } else { Fault::Unsigned }
}
