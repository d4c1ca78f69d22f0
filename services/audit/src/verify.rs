//! Checks a bundle with nothing but its bytes and a public key, and names what does not hold.
//! It never asks a server or a database, and never blames a record for what another one lacks.

mod records;
#[cfg(test)]
mod tests;
mod tree;

use std::fmt;

use crate::bundle::{self, Head, List};
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

/// The lines of a bundle, by their places.
struct Lines<'b> {
    /// The head, the list, and the two lines of the tree.
    signed: [&'b [u8]; 4],
    records: &'b [&'b [u8]],
    tail: &'b [u8],
}

/// What the lines of a bundle are called that the manifest signs.
const SIGNED: [&str; 4] = ["head", "list", "beside", "within"];

/// What the signatures let us believe.
#[derive(Default)]
struct Believed {
    checkpoint: Option<Checkpoint>,
    /// The first line, once the manifest proves it.
    head: Option<Head>,
    /// The list, once the manifest proves it.
    list: Option<List>,
    /// What stands about the tree, proved or not: it must lead to the root.
    tree: tree::Said,
    /// True where the manifest proves the hashes beside the records.
    is_beside_signed: bool,
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
    let [head, records @ .., list, beside, within, tail] = lines.as_slice() else {
        report.add(Fault::Missing, "bundle");
        return report;
    };
    let lines = Lines { signed: [head, list, beside, within], records, tail };
    let believed = believed(&lines, pinned, &mut report);
    records::judge(lines.records, &believed, &mut report);
    report.checkpoint = believed.checkpoint;
    report.about = believed.head.map(|head| head.about);
    report.findings.sort();
    report.findings.dedup();
    report
}

fn believed(lines: &Lines<'_>, pinned: Option<&NoteKey>, report: &mut Report) -> Believed {
    let [head, list, beside, within] = lines.signed;
    let (head, list) = (bundle::head(head), bundle::list(list));
    let (beside, within) = (bundle::beside(beside), bundle::within(within));
    let are_read = [head.is_some(), list.is_some(), beside.is_some(), within.is_some()];
    for (name, is_read) in SIGNED.into_iter().zip(are_read) {
        if !is_read {
            report.add(Fault::Altered, name);
        }
    }
    let (positions, beside) = beside.unwrap_or_default();
    let tree = tree::Said { positions, beside, within: within.unwrap_or_default() };
    let mut believed = Believed { tree, ..Believed::default() };
    let Some(tail) = bundle::tail(lines.tail) else {
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
    let are_signed = match key.open(&tail.manifest) {
        Ok(text) => bundle::are_signed(text, lines.signed),
        Err(error) => {
            report.add(unbelieved(error), "manifest");
            return believed;
        }
    };
    let is_own = head.as_ref().is_some_and(|head| head.origin == key.name);
    let are_signed = [are_signed[0] && is_own, are_signed[1], are_signed[2], are_signed[3]];
    for (name, is_signed) in SIGNED.into_iter().zip(are_signed) {
        if !is_signed {
            report.add(Fault::Altered, name);
        }
    }
    believed.head = head.filter(|_| are_signed[0]);
    believed.list = list.filter(|_| are_signed[1]);
    believed.is_beside_signed = are_signed[2] && are_read[2];
    if believed.head.is_some() && believed.checkpoint.is_some() && !believed.fits {
        // Both are signed, and do not belong together: another checkpoint was put in.
        report.add(Fault::Altered, "checkpoint");
    }
    believed
}

fn unbelieved(error: NoteError) -> Fault {
    if error == NoteError::Malformed { Fault::Altered } else { Fault::Unsigned }
}
