//! The lines of records: each by its own proof, all of them by the signed list.
//! It never lets one line decide over another.

use std::collections::{HashMap, HashSet};
use std::num::NonZero;
use std::thread;

use domain::merkle;
use domain::record::leaf_hash;

use super::{Believed, Fault, Report};
use crate::bundle;
use crate::note::Checkpoint;

/// The least lines that are worth a thread.
const SHARE_MIN: usize = 500;

/// What a line says of itself.
struct Line {
    id: String,
    position: u64,
    /// Nothing where it could not be judged.
    is_proved: Option<bool>,
}

/// Judges all lines.
pub fn judge(lines: &[&[u8]], believed: &Believed, report: &mut Report) {
    report.records = lines.len();
    let checkpoint = believed.checkpoint.as_ref().filter(|_| believed.fits);
    let read = read_all(lines, checkpoint);
    if let Some(head) = &believed.head {
        by_list(&head.records, &read, report);
    } else {
        for (at, line) in read.iter().enumerate() {
            if line.is_none() {
                report.add(Fault::Altered, name(at));
            }
        }
    }
    let listed: Option<HashMap<&str, u64>> = believed
        .head
        .as_ref()
        .map(|head| head.records.iter().map(|(id, position)| (id.as_str(), *position)).collect());
    for line in read.iter().flatten() {
        let place = listed.as_ref().map(|listed| listed.get(line.id.as_str()).copied());
        // What the list does not know was named by the list.
        if place == Some(None) {
            continue;
        }
        let size = believed.checkpoint.as_ref().map(|checkpoint| checkpoint.size);
        if size.is_some_and(|size| line.position >= size) {
            report.add(Fault::Unsigned, &line.id);
        } else if line.is_proved == Some(false)
            || place.flatten().is_some_and(|place| place != line.position)
        {
            report.add(Fault::Altered, &line.id);
        } else if line.is_proved == Some(true) {
            report.proved += 1;
        }
    }
}

/// How a line is named that cannot be read.
fn name(at: usize) -> String {
    // The first line of the file is the head.
    format!("line {}", at + 2)
}

/// Reads and proves the lines, on all processors.
fn read_all(lines: &[&[u8]], checkpoint: Option<&Checkpoint>) -> Vec<Option<Line>> {
    let threads = thread::available_parallelism().map_or(1, NonZero::get);
    let share = lines.len().div_ceil(threads).max(SHARE_MIN);
    let read =
        |lines: &[&[u8]]| -> Vec<_> { lines.iter().map(|line| one(line, checkpoint)).collect() };
    thread::scope(|scope| {
        let shares: Vec<_> =
            lines.chunks(share).map(|lines| (lines, scope.spawn(move || read(lines)))).collect();
        // A thread that broke is no verdict: its share is read here.
        let joined =
            shares.into_iter().map(|(lines, job)| job.join().unwrap_or_else(|_| read(lines)));
        joined.flatten().collect()
    })
}

fn one(line: &[u8], checkpoint: Option<&Checkpoint>) -> Option<Line> {
    let record = bundle::record(line)?;
    let (id, hashes) = (record.id()?, record.hashes());
    let is_proved = checkpoint.map(|Checkpoint { size, root, .. }| {
        let leaf = leaf_hash(&record.entry);
        let proves =
            |hashes: Vec<_>| merkle::verify_inclusion(record.position, *size, &leaf, &hashes, root);
        hashes.is_some_and(proves)
    });
    Some(Line { id, position: record.position, is_proved })
}

/// Compares what is there with the signed list.
fn by_list(listed: &[(String, u64)], read: &[Option<Line>], report: &mut Report) {
    let known: HashSet<&str> = listed.iter().map(|(id, _)| id.as_str()).collect();
    let there: Vec<Option<&str>> = read
        .iter()
        .map(|line| line.as_ref().map(|line| line.id.as_str()).filter(|id| known.contains(id)))
        .collect();
    let found: HashSet<&str> = there.iter().flatten().copied().collect();
    let is_whole = there.len() == listed.len();
    let mut named = HashSet::new();
    for (at, _) in there.iter().enumerate().filter(|(_, id)| id.is_none()) {
        // A line that nobody can read is the one that stood in its place, if all are there.
        let wanted = listed.get(at).map(|(id, _)| id.as_str());
        let wanted = wanted.filter(|id| is_whole && !found.contains(id));
        named.extend(wanted);
        report.add(Fault::Altered, wanted.map_or_else(|| name(at), str::to_owned));
    }
    let missing = listed.iter().map(|(id, _)| id.as_str());
    for id in missing.filter(|id| !found.contains(id) && !named.contains(id)) {
        report.add(Fault::Missing, id);
    }
    let wanted = listed.iter().map(|(id, _)| id.as_str()).filter(|id| found.contains(id));
    let mut wanted = wanted.collect::<Vec<_>>().into_iter();
    for id in there.iter().flatten() {
        if wanted.next() != Some(*id) {
            report.add(Fault::Reordered, *id);
        }
    }
}
