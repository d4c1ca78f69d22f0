//! The picture of a trace: a column a stage, a box a lot, a line a use as wide as its mass.
//! It never tells what the table below it does not: it is for the eye alone.

use std::collections::HashMap;

use maud::{Markup, html};

use super::graph::{Graph, Together, stage};
use super::word;
use crate::pages::letters::{self, Letters};
use crate::pages::lots::Codes;
use crate::pages::shown;
use crate::pages::visit::Visit;
use crate::pages::words::Words;

/// The picture's own units: at 1024 pixels of screen one is about one pixel.
const WIDTH: i64 = 980;
const BOX_WIDTH: i64 = 140;
/// Between what is written into a box and its sides.
const SIDE: i64 = 8;
/// What is left for the letters in it.
const ROOM: i64 = BOX_WIDTH - 2 * SIDE;
/// The letters in it: a code in the first line, words below.
const CODES: Letters = letters::codes(14);
const WORDS: Letters = letters::words(13);
/// From line to line in a box.
const LINE: i64 = 17;
/// Between a box and the one below it.
const GAP: i64 = 12;
const HEAD: i64 = 28;
/// The widest line, and the narrowest.
const WIDEST: f64 = 18.0;
const NARROWEST: f64 = 1.5;
/// A box with its place.
struct Node<'g> {
    id: &'g str,
    code: &'g str,
    /// Its mass and its state, in lines that fit.
    below: Vec<String>,
    href: String,
    word: &'static str,
    column: usize,
    x: i64,
    y: i64,
}

/// A line from box to box.
struct Line<'g> {
    from: &'g str,
    to: String,
    grams: f64,
}

/// Draws it.
pub fn drawn(visit: &Visit, graph: &Graph, held: &Codes) -> Markup {
    let lines = lines(graph);
    let (nodes, columns, tall) = nodes(visit.words, (graph, held), &lines);
    let rows = columns.iter().map(|(_, count)| *count).max().unwrap_or_default();
    let height = HEAD + rows as i64 * (tall + GAP);
    let most = lines.iter().map(|line| line.grams).fold(0.0, f64::max);
    let at: HashMap<&str, &Node<'_>> = nodes.iter().map(|node| (node.id, node)).collect();
    html! {
        svg viewBox={ "0 0 " (WIDTH) " " (height) } aria-hidden="true" focusable="false" {
            @for (column, (name, _)) in columns.iter().enumerate() {
                text.stage x=(left(column, columns.len()) + BOX_WIDTH / 2) y="16"
                    text-anchor="middle" { (visit.words.one_of("trace-stage", name)) }
            }
            @for line in &lines {
                @if let (Some(from), Some(to)) = (at.get(line.from), at.get(line.to.as_str())) {
                    path.use d=(path(from, to, tall)) stroke-width=(width(line.grams, most)) {}
                }
            }
            @for node in &nodes { (boxed(node, tall)) }
        }
    }
}

fn lines(graph: &Graph) -> Vec<Line<'_>> {
    let together = Together::of(&graph.uses);
    let uses = graph.uses.iter().map(|used| Line {
        from: &used.from_lot,
        to: used.to_lot.clone(),
        grams: graph.share(&together, used),
    });
    let shipped = graph.shipments.iter().map(|shipment| Line {
        from: &shipment.lot,
        to: shipment.shipment.clone(),
        grams: shipment.mass_g.as_deref().and_then(|mass| mass.parse().ok()).unwrap_or(0.0),
    });
    uses.chain(shipped).collect()
}

/// The name of a stage, and how many boxes stand in it.
type Column = (&'static str, usize);

const NAMES: [&str; 6] = ["received", "kit", "batch", "rack", "finished", "shipped"];

/// The boxes in columns, and how tall each is; a box stands beside those that it came of.
fn nodes<'g>(
    words: &Words,
    (graph, held): (&'g Graph, &Codes),
    lines: &[Line<'_>],
) -> (Vec<Node<'g>>, Vec<Column>, i64) {
    let node = |id: &'g str, code: &'g str, word: &'static str| Node {
        id,
        code,
        below: state(words, word),
        href: String::new(),
        word,
        column: NAMES.len() - 1,
        x: 0,
        y: 0,
    };
    let mut all: Vec<Node<'g>> = Vec::new();
    for lot in &graph.lots {
        let mut of = node(&lot.lot, &lot.code, word(graph, held, &lot.lot));
        of.below.splice(0..0, WORDS.lines(&shown::quantity(lot.mass.as_ref()), ROOM));
        let href = format!("/lots/{}", lot.lot);
        all.push(Node { href, column: stage(&lot.kind), ..of });
    }
    for shipment in &graph.shipments {
        if all.iter().all(|node| node.id != shipment.shipment) {
            all.push(node(&shipment.shipment, &shipment.customer_name, "shipped"));
        }
    }
    let most = all.iter().map(|node| node.below.len()).max().unwrap_or_default();
    let tall = SIDE + (1 + most as i64) * LINE;
    let used: Vec<usize> =
        (0..NAMES.len()).filter(|column| all.iter().any(|node| node.column == *column)).collect();
    let mut columns = Vec::new();
    let mut rows: HashMap<String, usize> = HashMap::new();
    for (place, column) in used.iter().enumerate() {
        let mut here: Vec<usize> = (0..all.len()).filter(|at| all[*at].column == *column).collect();
        here.sort_by_key(|at| (middle(all[*at].id, lines, &rows), *at));
        for (row, at) in here.iter().enumerate() {
            all[*at].x = left(place, used.len());
            all[*at].y = HEAD + row as i64 * (tall + GAP);
            rows.insert(all[*at].id.to_owned(), row);
        }
        columns.push((NAMES[*column], here.len()));
    }
    (all, columns, tall)
}

/// The word of a state with its shape, in lines that fit; none where nothing is to be said.
fn state(words: &Words, word: &str) -> Vec<String> {
    match word {
        "no-hold" => Vec::new(),
        word => {
            WORDS.lines(&format!("{} {}", shown::shape(word), words.one_of("mark", word)), ROOM)
        }
    }
}

/// About where the boxes stand that a box came of, in thousandths of a row.
fn middle(id: &str, lines: &[Line<'_>], rows: &HashMap<String, usize>) -> usize {
    let before = lines.iter().filter(|line| line.to == id).filter_map(|line| rows.get(line.from));
    let found: Vec<usize> = before.copied().collect();
    if found.is_empty() { 0 } else { found.iter().sum::<usize>() * 1000 / found.len() }
}

/// The left side of a column of so many.
fn left(column: usize, columns: usize) -> i64 {
    let steps = (columns as i64 - 1).max(1);
    1 + column as i64 * (WIDTH - BOX_WIDTH - 2) / steps
}

fn width(grams: f64, most: f64) -> String {
    let share = if most > 0.0 { grams / most } else { 0.0 };
    format!("{:.1}", NARROWEST.max(share * WIDEST))
}

/// A curve from the right side of a box to the left side of another; back where it is used again.
fn path(from: &Node<'_>, to: &Node<'_>, tall: i64) -> String {
    let (x1, y1) = (from.x + BOX_WIDTH, from.y + tall / 2);
    let (x2, y2) = (to.x, to.y + tall / 2);
    let bend = ((x2 - x1).abs() / 2).max(40);
    format!("M{x1} {y1} C{} {y1} {} {y2} {x2} {y2}", x1 + bend, x2 - bend)
}

fn boxed(node: &Node<'_>, tall: i64) -> Markup {
    let body = html! {
        rect class={ "lot is-" (node.word) } x=(node.x) y=(node.y) width=(BOX_WIDTH)
            height=(tall) rx="3" {}
        text.code x=(node.x + SIDE) y=(node.y + LINE) { (CODES.cut(node.code, ROOM)) }
        @for (at, line) in node.below.iter().enumerate() {
            text.mass x=(node.x + SIDE) y=(node.y + (at as i64 + 2) * LINE) { (line) }
        }
    };
    html! {
        @if node.href.is_empty() { g { (body) } }
        @else { a href=(node.href) tabindex="-1" { (body) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::words::Language;

    /// Every word by which something can be marked, in a language.
    fn marks(source: &str) -> impl Iterator<Item = &str> {
        let lines = source.lines().filter_map(|line| line.strip_prefix("mark-"));
        lines.filter_map(|line| line.split_once(" = ")).map(|(word, _)| word)
    }

    #[test]
    fn every_state_stays_in_its_box_in_both_languages() {
        let english = include_str!("../../../words/en.ftl");
        for language in [Language::English, Language::Spanish] {
            let words = Words::of(language);
            let mut count = 0;
            for word in marks(english) {
                let said = format!("{} {}", shown::shape(word), words.one_of("mark", word));
                let lines = state(words, word);
                if word != "no-hold" {
                    assert_eq!(lines.join(" "), said, "nothing of it is cut");
                }
                assert!(lines.iter().all(|line| WORDS.width(line) <= ROOM), "{lines:?}");
                count += 1;
            }
            assert!(count > 20, "{count} words");
        }
    }
}
