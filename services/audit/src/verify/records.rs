//! The lines of records: each by its leaf of the tree, all of them by the signed list.
//! It never lets one line decide over another.

use std::collections::{HashMap, HashSet};
use std::num::NonZero;
use std::thread;

use domain::record::{Hash, leaf_hash};

use super::{Believed, Fault, Report, tree};
use crate::bundle;

/// The least lines that are worth a thread.
const SHARE_MIN: usize = 500;

/// What a line says of itself.
struct Line {
    id: String,
    position: u64,
    leaf: Hash,
}

/// Judges all lines.
pub fn judge(lines: &[&[u8]], believed: &Believed, report: &mut Report) {
    report.records = lines.len();
    let read = read_all(lines);
    if let Some(list) = &believed.list {
        by_list(&list.records, &read, report);
    } else {
        for (at, line) in read.iter().enumerate() {
            if line.is_none() {
                report.add(Fault::Altered, name(at));
            }
        }
    }
    let listed: Option<HashMap<&str, u64>> = believed
        .list
        .as_ref()
        .map(|list| list.records.iter().map(|(id, position)| (id.as_str(), *position)).collect());
    // What the list does not know was named by the list.
    let place = |line: &Line| match &listed {
        Some(listed) => listed.get(line.id.as_str()).copied(),
        None => Some(line.position),
    };
    let known: Vec<(&Line, u64)> =
        read.iter().flatten().filter_map(|line| Some((line, place(line)?))).collect();
    let leaves = proved(&known, believed, report);
    let size = believed.checkpoint.as_ref().map(|checkpoint| checkpoint.size);
    for (line, place) in known {
        // What lies below nothing certain is altered, unless the hashes beside it are not those
        // that were signed: then nobody can say.
        let is_proved = match leaves.as_ref().map(|leaves| leaves.get(&line.position)) {
            Some(Some(leaf)) => Some(*leaf == line.leaf),
            Some(None) if believed.is_beside_signed => Some(false),
            _ => None,
        };
        if size.is_some_and(|size| line.position >= size) {
            report.add(Fault::Unsigned, &line.id);
        } else if is_proved == Some(false) || place != line.position {
            report.add(Fault::Altered, &line.id);
        } else if is_proved == Some(true) {
            report.proved += 1;
        }
    }
}

/// The leaves that lead to the signed root; nothing where there is none for these lines.
fn proved(
    known: &[(&Line, u64)],
    believed: &Believed,
    report: &mut Report,
) -> Option<HashMap<u64, Hash>> {
    let checkpoint = believed.checkpoint.as_ref().filter(|_| believed.fits)?;
    let in_place = known.iter().filter(|(line, place)| *place == line.position);
    let records = in_place.map(|(line, place)| (*place, line.leaf)).collect();
    let settled = tree::settle(checkpoint, &believed.tree, &records);
    if believed.is_beside_signed && !settled.is_within_right {
        report.add(Fault::Altered, "within");
    }
    Some(settled.leaves)
}

/// How a line is named that cannot be read.
fn name(at: usize) -> String {
    // The first line of the file is the head.
    format!("line {}", at + 2)
}

/// Reads the lines, on all processors.
fn read_all(lines: &[&[u8]]) -> Vec<Option<Line>> {
    let threads = thread::available_parallelism().map_or(1, NonZero::get);
    let share = lines.len().div_ceil(threads).max(SHARE_MIN);
    let read = |lines: &[&[u8]]| -> Vec<_> { lines.iter().map(|line| one(line)).collect() };
    thread::scope(|scope| {
        let shares: Vec<_> =
            lines.chunks(share).map(|lines| (lines, scope.spawn(move || read(lines)))).collect();
        // A thread that broke is no verdict: its share is read here.
        let joined =
            shares.into_iter().map(|(lines, job)| job.join().unwrap_or_else(|_| read(lines)));
        joined.flatten().collect()
    })
}

fn one(line: &[u8]) -> Option<Line> {
    let record = bundle::record(line)?;
    Some(Line { id: record.id()?, position: record.position, leaf: leaf_hash(&record.entry) })
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
