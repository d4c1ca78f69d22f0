//! The day as one picture: a lane a place, marks by shape and word, a line where now is.
//! It never tells what the list below it does not: it is for the eye alone.

use jiff::Timestamp;
use maud::{Markup, html};

use super::gather::Day;
use super::marks::Mark;
use crate::pages::letters::{self, Letters};
use crate::pages::shown;
use crate::pages::visit::Visit;
use crate::pages::words::Words;

/// Places that have a lane also when nothing was marked on them.
const ALWAYS: [&str; 5] = ["house", "drying_cooler", "blast_cell", "cooler", "packing_line"];
/// Lanes in the order in which product goes through the plant.
const ORDER: [&str; 17] = [
    "receiving",
    "store",
    "spice_room",
    "grinder",
    "mixer",
    "stuffer",
    "house",
    "drying_cooler",
    "blast_cell",
    "cooler",
    "freezer",
    "peeler",
    "packing_line",
    "metal_detector",
    "cold_store",
    "dock",
    "",
];
/// The picture's own units: at 1024 pixels of screen one is about one pixel.
const WIDTH: i64 = 980;
const NAMES: i64 = 126;
const HEAD: i64 = 34;
const ROW: i64 = 22;
const PAD: i64 = 6;
/// How far the point of what goes on stands out.
const POINT: i64 = 9;
/// The size of its letters, and those of its words.
const SIZE: u32 = 13;
const WORDS: Letters = letters::words(SIZE);
/// Room for the shape before a word and on both sides of them.
const SHAPE: i64 = 26;
/// Rows of marks in one lane at most; what has no room stands in the list.
const ROWS_MAX: usize = 8;
/// The shortest time shown.
const HOURS_LEAST: i64 = 8;
const HOUR_S: i64 = 3600;

/// A lane with the rows of its marks.
struct Lane<'d> {
    name: String,
    rows: Vec<Vec<Placed<'d>>>,
    dropped: usize,
}

/// A mark with where it begins and ends, in the picture's units, its words included.
struct Placed<'d> {
    mark: &'d Mark,
    text: String,
    x: i64,
    /// Where a span ends.
    end: Option<i64>,
    /// Where its words begin, or end where they stand at the left.
    text_x: i64,
    is_left: bool,
    taken: (i64, i64),
}

/// The times that are shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Span {
    from_s: i64,
    to_s: i64,
}

impl Span {
    /// Whole hours around all that is marked, and now.
    fn of(marks: &[Mark], day: &Day) -> Self {
        let now = day.is_today().then_some(day.now.as_second());
        Self::around(marks, (day.from.as_second(), day.to.as_second()), now)
    }

    fn around(marks: &[Mark], (from, to): (i64, i64), now: Option<i64>) -> Self {
        let begins = marks.iter().map(|mark| mark.at.as_second()).chain(now);
        let ends = marks.iter().map(|mark| mark.to.unwrap_or(mark.at).as_second()).chain(now);
        let first = begins.min().unwrap_or(from + 2 * HOUR_S).max(from);
        let last = ends.max().unwrap_or(first).min(to);
        let from_s = from + (first - from).div_euclid(HOUR_S) * HOUR_S;
        let hours = (last + HOUR_S - from_s).div_euclid(HOUR_S) + 1;
        Self { from_s, to_s: from_s + hours.max(HOURS_LEAST) * HOUR_S }
    }

    fn x(self, at: Timestamp) -> i64 {
        let at = at.as_second().clamp(self.from_s, self.to_s) - self.from_s;
        NAMES + at * (WIDTH - NAMES) / (self.to_s - self.from_s)
    }

    /// The hours at which a line stands, every second one of a long day.
    fn hours(self) -> impl Iterator<Item = Timestamp> {
        let step = if self.to_s - self.from_s > 14 * HOUR_S { 2 } else { 1 };
        let count = (self.to_s - self.from_s) / HOUR_S / step;
        (0..count)
            .filter_map(move |hour| Timestamp::from_second(self.from_s + hour * step * HOUR_S).ok())
    }
}

/// The picture with its words.
pub fn shown(visit: &Visit, day: &Day, marks: &[Mark]) -> Markup {
    let words = visit.words;
    let span = Span::of(marks, day);
    let lanes = lanes(visit, day, (marks, span));
    let dropped: usize = lanes.iter().map(|lane| lane.dropped).sum();
    html! {
        @if lanes.is_empty() { p { (words.say("no-places")) } }
        @else {
            figure.day {
                div.scroll tabindex="0" role="group" aria-label=(words.say("timeline")) {
                    (picture(visit, day, (&lanes, span)))
                }
                figcaption { (words.say("timeline-words"))
                    @if dropped > 0 {
                        " " (words.with("timeline-dropped", [("count", dropped.into())]))
                    } }
            }
        }
    }
}

fn lanes<'d>(visit: &Visit, day: &Day, (marks, span): (&'d [Mark], Span)) -> Vec<Lane<'d>> {
    let rank = |kind: &str| ORDER.iter().position(|one| *one == kind).unwrap_or(ORDER.len());
    let mut places: Vec<(usize, &str, &str)> = day
        .in_use()
        .filter(|place| {
            let is_marked = marks.iter().any(|mark| mark.place == place.place);
            is_marked || ALWAYS.contains(&place.kind.as_str())
        })
        .map(|place| (rank(&place.kind), place.name.as_str(), place.place.as_str()))
        .collect();
    places.sort_unstable();
    let mut lanes: Vec<Lane<'d>> = places
        .iter()
        .map(|(_, name, id)| {
            let here = marks.iter().filter(|mark| mark.place == **id);
            lane(visit.words, (*name).to_owned(), here, span)
        })
        .collect();
    let is_nowhere = |mark: &&Mark| places.iter().all(|(_, _, id)| *id != mark.place);
    let mut nowhere = marks.iter().filter(is_nowhere).peekable();
    if nowhere.peek().is_some() {
        lanes.push(lane(visit.words, visit.words.say("no-place"), nowhere, span));
    }
    lanes
}

/// Puts marks into rows so that no words lie over one another.
fn lane<'d>(
    words: &Words,
    name: String,
    marks: impl Iterator<Item = &'d Mark>,
    span: Span,
) -> Lane<'d> {
    let mut lane = Lane { name, rows: vec![Vec::new()], dropped: 0 };
    for mark in marks {
        let placed = place(words, mark, span);
        let is_free = |row: &Vec<Placed<'d>>| {
            row.iter().all(|one| placed.taken.0 > one.taken.1 || placed.taken.1 < one.taken.0)
        };
        match lane.rows.iter().position(is_free) {
            Some(row) => lane.rows[row].push(placed),
            None if lane.rows.len() < ROWS_MAX => lane.rows.push(vec![placed]),
            None => lane.dropped += 1,
        }
    }
    lane
}

/// Words stand in a span that is long enough, else at the left of what goes on, else at the right.
fn place<'d>(words: &Words, mark: &'d Mark, span: Span) -> Placed<'d> {
    let word = words.one_of("mark", mark.word);
    let count = if mark.count > 1 { format!(" ×{}", mark.count) } else { String::new() };
    let text = format!("{} {word}{count}", mark.what);
    let width = SHAPE + WORDS.width(&text);
    let (x, end) = (span.x(mark.at), mark.to.map(|to| span.x(to)));
    let last = end.map_or(x, |end| end + if mark.is_open { POINT } else { 0 });
    let has_room_left = x - width >= NAMES;
    let fits = end.is_some_and(|end| end - x >= width);
    let is_over = last + width > WIDTH || mark.is_open;
    let (text_x, is_left, taken) = match (fits, is_over && has_room_left) {
        (true, _) => (x + 6, false, (x - 2, last)),
        (false, true) => (x - 6, true, (x - width, last + 4)),
        // What is too long for its span and the picture's end begins with the span, or before it.
        (false, false) if last + width > WIDTH && x + width <= WIDTH => {
            (x + 6, false, (x - 2, last.max(x + width)))
        }
        (false, false) if last + width > WIDTH => {
            (WIDTH, true, ((WIDTH - width).min(x) - 2, WIDTH))
        }
        (false, false) => (last + 6, false, (x - 4, last + width)),
    };
    Placed { mark, text, x, end, text_x, is_left, taken }
}

fn picture(visit: &Visit, day: &Day, (lanes, span): (&[Lane<'_>], Span)) -> Markup {
    let heights: Vec<i64> =
        lanes.iter().map(|lane| lane.rows.len() as i64 * ROW + 2 * PAD).collect();
    let height = HEAD + heights.iter().sum::<i64>() + PAD;
    let tops = heights.iter().scan(HEAD, |top, height| {
        let own = *top;
        *top += height;
        Some(own)
    });
    html! {
        svg viewBox={ "0 0 " (WIDTH) " " (height) } aria-hidden="true" focusable="false" {
            @for at in span.hours() {
                @let x = span.x(at);
                line.hour x1=(x) y1=(HEAD - 8) x2=(x) y2=(height - PAD) {}
                @if !day.is_today() || (x - span.x(day.now)).abs() > 64 {
                    text.hour x=(x) y="14" text-anchor="middle" { (clock(visit, at)) }
                }
            }
            @if day.is_today() {
                @let x = span.x(day.now);
                line.now x1=(x) y1=(HEAD - 8) x2=(x) y2=(height - PAD) {}
                rect.now x=(x - 44) y="0" width="88" height="18" {}
                text.now x=(x) y="13" text-anchor="middle" {
                    (visit.words.say("now")) " " (clock(visit, day.now))
                }
            }
            @for (lane, top) in lanes.iter().zip(tops.clone()) {
                line.lane x1="0" y1=(top) x2=(WIDTH) y2=(top) {}
                text.name x="0" y=(top + PAD + 15) {
                    (letters::bold(SIZE).cut(&lane.name, NAMES))
                }
                @for (row, marks) in lane.rows.iter().enumerate() {
                    @for placed in marks { (drawn(placed, top + PAD + row as i64 * ROW)) }
                }
            }
        }
    }
}

fn clock(visit: &Visit, at: Timestamp) -> String {
    at.to_zoned(visit.zone.clone()).strftime("%H:%M").to_string()
}

fn drawn(placed: &Placed<'_>, top: i64) -> Markup {
    let mark = placed.mark;
    let body = html! {
        @match placed.end {
            Some(end) => {
                rect class={ "span is-" (mark.word) } x=(placed.x) y=(top)
                    width=((end - placed.x).max(4)) height=(ROW - 4) {}
                @if mark.is_open {
                    path.goes-on d={ "M" (end) " " (top) " l" (POINT) " " ((ROW - 4) / 2) " l-"
                        (POINT) " " ((ROW - 4) / 2) " z" } {}
                }
            }
            None => {
                line.tick x1=(placed.x) y1=(top - 2) x2=(placed.x) y2=(top + ROW - 3) {}
            }
        }
        text.word x=(placed.text_x) y=(top + 14)
            text-anchor=(if placed.is_left { "end" } else { "start" }) {
            tspan.shape { (shown::shape(mark.word)) } " " (placed.text)
        }
    };
    html! {
        @if mark.href.is_empty() { g { (body) } }
        @else { a href=(mark.href) tabindex="-1" { (body) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::words::Language;

    /// Four in the morning.
    const FROM: i64 = 1_764_043_200;

    fn mark(minute: i64, minutes: Option<i64>, what: &str) -> Mark {
        let at = |minute: i64| Timestamp::from_second(FROM + minute * 60).expect("an instant");
        Mark {
            place: String::new(),
            at: at(minute),
            to: minutes.map(|long| at(minute + long)),
            is_open: false,
            word: "met",
            what: what.to_owned(),
            count: 1,
            href: String::new(),
        }
    }

    fn span(marks: &[Mark], now: Option<i64>) -> Span {
        Span::around(marks, (FROM, FROM + 24 * HOUR_S), now)
    }

    #[test]
    fn whole_hours_are_shown_around_all_that_is_marked() {
        let marks = [mark(125, None, "R-1"), mark(700, Some(30), "Load")];
        let span = span(&marks, Some(FROM + 750 * 60));
        assert_eq!(span.from_s, FROM + 2 * HOUR_S);
        assert_eq!(span.to_s, FROM + 14 * HOUR_S, "with an hour to come");
        assert_eq!(span.x(marks[0].at), NAMES + 5 * (WIDTH - NAMES) / (12 * 60));
        let empty = self::span(&[], None);
        assert_eq!(empty.to_s - empty.from_s, HOURS_LEAST * HOUR_S);
    }

    #[test]
    fn no_words_of_a_lane_lie_over_one_another_and_none_is_lost() {
        let words = Words::of(Language::English);
        let long = |at: i64| (at % 7 == 0).then_some(95);
        let marks: Vec<Mark> = (0..90).map(|at| mark(at * 9, long(at), "CCP-1")).collect();
        let lane = lane(words, "House 1".to_owned(), marks.iter(), span(&marks, None));
        let placed: usize = lane.rows.iter().map(Vec::len).sum();
        assert_eq!(placed + lane.dropped, marks.len());
        assert!(lane.rows.len() > 1 && placed > 40, "{placed} in {} rows", lane.rows.len());
        for row in &lane.rows {
            let mut taken: Vec<_> = row.iter().map(|one| one.taken).collect();
            taken.sort_unstable();
            assert!(taken.windows(2).all(|pair| pair[0].1 < pair[1].0), "{taken:?}");
            assert!(taken.iter().all(|one| one.0 >= 0 && one.1 <= WIDTH), "{taken:?}");
        }
    }
    #[test]
    fn words_too_long_for_a_span_that_goes_on_begin_with_it() {
        let words = Words::of(Language::English);
        let first = mark(0, None, "R-1");
        let mut load = mark(200, Some(160), "Load No. 1 Rope, No. 3 Turkey Link, No. 5 Ring");
        load.is_open = true;
        let marks = vec![first, load, mark(470, None, "R-2")];
        let span = span(&marks, None);
        let placed = place(words, &marks[1], span);
        assert_eq!((placed.text_x, placed.is_left), (placed.x + 6, false));
        let end = placed.end.expect("a span");
        assert!(placed.taken.1 > end + POINT && placed.taken.1 <= WIDTH);
    }
}
