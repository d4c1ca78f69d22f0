//! The worst of several probes as one line of straight pieces, for numerical integration.
//! It never decides a verdict: exact questions are asked of the tracks themselves.

use super::probes::{Probes, Worst};
use super::track::{Track, float};

/// A straight piece of the worst probe's curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    /// Begin, in seconds on the curves' clock.
    pub from_s: f64,
    /// End, in seconds on the curves' clock.
    pub to_s: f64,
    /// Length in seconds, not cut by a clock that began long ago.
    pub length_s: f64,
    /// Temperature at the begin, in [degF].
    pub from_f: f64,
    /// Temperature at the end, in [degF].
    pub to_f: f64,
}

/// A probe's values at both ends of an interval in which no probe has a sample.
#[derive(Clone, Copy)]
struct Line {
    from: f64,
    to: f64,
}

/// The straight pieces of the worst probe in order of time; where probes cross between samples a
/// new piece begins at the crossing. None when the curves share no time.
pub(super) fn pieces(probes: &Probes) -> Vec<Piece> {
    let Some((start, end)) = probes.whole_span() else { return Vec::new() };
    let mut pieces = Vec::with_capacity(probes.tracks[0].times.len());
    let sign = if probes.worst == Worst::Warmest { -1.0 } else { 1.0 };
    // The power is whole and below 10^39, far inside the range of a float.
    let ticks_a_second = 10i128.saturating_pow(probes.time_decimals) as f64;
    let mut cursors: Vec<Cursor<'_>> =
        probes.tracks.iter().map(|track| Cursor::new(track, start)).collect();
    let mut lines = Vec::with_capacity(cursors.len());
    let mut now = start;
    while now < end {
        let next = cursors.iter().map(Cursor::next_time).min().unwrap_or(end).min(end);
        lines.clear();
        lines.extend(cursors.iter_mut().map(|cursor| cursor.advance(next)));
        let length_s = float(next - now) / ticks_a_second;
        let (from_s, to_s) = (float(now) / ticks_a_second, float(next) / ticks_a_second);
        let piece = Piece { from_s, to_s, length_s, from_f: 0.0, to_f: 0.0 };
        lowest(&lines, piece, &mut |mut piece| {
            piece.from_f *= sign;
            piece.to_f *= sign;
            pieces.push(piece);
        });
        now = next;
    }
    pieces
}

struct Cursor<'a> {
    track: &'a Track,
    /// The sample at or before the present time.
    sample: usize,
    /// The value at the present time.
    value: f64,
}

impl<'a> Cursor<'a> {
    fn new(track: &'a Track, start: i128) -> Self {
        let after = track.times.partition_point(|time| *time <= start);
        let sample = after.saturating_sub(1).min(track.times.len() - 2);
        let mut cursor = Self { track, sample, value: 0.0 };
        cursor.value = cursor.value_at(start);
        cursor
    }

    fn next_time(&self) -> i128 {
        self.track.times[self.sample + 1]
    }

    fn value_at(&self, time: i128) -> f64 {
        let (t0, t1) = (self.track.times[self.sample], self.track.times[self.sample + 1]);
        let value = |sample: usize| self.track.degrees[sample];
        if time == t0 {
            return value(self.sample);
        }
        if time == t1 {
            return value(self.sample + 1);
        }
        let part = float(time - t0) / float(t1 - t0);
        value(self.sample) + (value(self.sample + 1) - value(self.sample)) * part
    }

    /// The line from the present time to `next`, which becomes the present time.
    fn advance(&mut self, next: i128) -> Line {
        let from = self.value;
        self.value = self.value_at(next);
        if next == self.next_time() && self.sample + 2 < self.track.times.len() {
            self.sample += 1;
        }
        Line { from, to: self.value }
    }
}

/// The lowest of straight lines over one interval, piece by piece.
fn lowest(lines: &[Line], interval: Piece, take: &mut dyn FnMut(Piece)) {
    let by_begin = |a: &&Line, b: &&Line| a.from.total_cmp(&b.from).then(a.to.total_cmp(&b.to));
    let Some(mut present) = lines.iter().min_by(by_begin) else { return };
    if lines.iter().all(|line| line.to >= present.to) {
        take(Piece { from_f: present.from, to_f: present.to, ..interval });
        return;
    }
    let mut part = 0.0;
    let at = |line: &Line, part: f64| line.from + (line.to - line.from) * part;
    loop {
        let crossings = lines.iter().filter(|line| line.to < present.to).map(|line| {
            let gap = line.from - present.from;
            let closing = (line.from - line.to) - (present.from - present.to);
            // A quotient that is no number, of lines that float arithmetic cannot part, is `part`.
            ((gap / closing).max(part).min(1.0), line)
        });
        let by_time = |a: &(f64, &Line), b: &(f64, &Line)| {
            a.0.total_cmp(&b.0).then(a.1.to.total_cmp(&b.1.to))
        };
        let next = crossings.min_by(by_time);
        let end = next.map_or(1.0, |(part, _)| part);
        if end > part {
            let from_f = if part == 0.0 { present.from } else { at(present, part) };
            let to_f = if end == 1.0 { present.to } else { at(present, end) };
            let length_s = interval.length_s * (end - part);
            let from_s = interval.from_s + interval.length_s * part;
            let to_s = if end == 1.0 { interval.to_s } else { from_s + length_s };
            take(Piece { from_s, to_s, length_s, from_f, to_f });
        }
        match next {
            Some((crossing, line)) => (part, present) = (crossing, line),
            None => return,
        }
    }
}
