//! Temperature curves as a picture (SVG), each probe told apart by its dashes and its name.
//! It never leaves a sample out and never decides anything: the verdicts stand in words beside it.

#[cfg(test)]
mod tests;

use domain::exact::Exact;
use domain::units::{Quantity, Unit};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use wire::v1;

use super::letters;
use super::words::Words;

const WIDTH: u32 = 960;
const HEIGHT: u32 = 440;
const FONT: &str = "sans-serif";
const TEXT_SIZE: i32 = 19;
/// Names of curves whose ends lie nearer than this, in pixels, stand below one another.
const NEAR: (i32, i32) = (90, TEXT_SIZE);
/// Room at the right for the names of the curves, as a part of the time shown.
const ROOM: f64 = 0.10;
/// The chart's unit of time, in seconds: its lines then stand at quarters and halves of hours.
const UNIT_S: f64 = 1800.0;
/// The least time that is shown, in that unit, and the fewest degrees.
const LEAST: f64 = 1.0;
const LEAST_DEGREES: f64 = 12.0;
/// Dash and gap of each curve in turn, in pixels; the first is drawn through.
const DASHES: [(i32, i32); 6] = [(1, 0), (14, 6), (4, 4), (20, 4), (8, 10), (2, 8)];
const INK: RGBColor = RGBColor(27, 27, 27);
const GRID: RGBColor = RGBColor(214, 211, 204);
const BLUE: RGBColor = RGBColor(20, 78, 120);
const BROWN: RGBColor = RGBColor(122, 62, 16);

type Area<'a> = ChartContext<'a, SVGBackend<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
type Failed = DrawingAreaErrorKind<std::io::Error>;

/// A temperature at which something is judged.
#[derive(Clone, Debug)]
pub struct Limit {
    /// As the plan says it.
    pub value: String,
    /// Its unit.
    pub unit: String,
    /// What stands beside the line.
    pub label: String,
}

/// What is drawn.
pub struct Picture<'p> {
    pub load: &'p v1::Load,
    pub curves: &'p v1::LoadCurves,
    pub limits: Vec<Limit>,
    pub zone: TimeZone,
    pub words: &'p Words,
}

/// A curve in the chart's own numbers: half hours since 1970, degrees of the chart's unit.
struct Line<'p> {
    name: &'p str,
    points: Vec<(f64, f64)>,
    /// From when on it does not count.
    out_from: Option<f64>,
    /// Read by hand: nothing is known between its points.
    is_by_hand: bool,
}

impl Line<'_> {
    fn end(&self) -> (f64, f64) {
        self.points.last().copied().unwrap_or_default()
    }
}

/// The picture as SVG text; nothing when it cannot be drawn.
pub fn draw(picture: &Picture<'_>) -> Option<String> {
    let unit = unit_of(picture);
    let blocks = picture.curves.curves.iter().filter_map(|curve| line(picture, curve, unit));
    let lines = joined(blocks);
    let limits: Vec<(f64, &str)> = picture
        .limits
        .iter()
        .filter_map(|limit| Some((in_unit(&limit.value, &limit.unit, unit)?, limit.label.as_str())))
        .collect();
    let (times, degrees) = extent(&lines, &limits)?;
    let mut svg = String::new();
    drawn(&mut svg, picture, (times, degrees), (&lines, &limits)).ok()?;
    Some(svg)
}

/// The unit of most interest: that of the first curve.
fn unit_of(picture: &Picture<'_>) -> Unit {
    let first = picture.curves.curves.iter().find(|curve| !curve.samples.is_empty());
    first.and_then(|curve| Unit::from_code(&curve.unit)).unwrap_or(Unit::Fahrenheit)
}

fn line<'p>(picture: &Picture<'p>, curve: &'p v1::LoadCurve, unit: Unit) -> Option<Line<'p>> {
    let begun = moment(&curve.begun_at)?;
    let points: Vec<_> = curve
        .samples
        .iter()
        .filter_map(|sample| {
            let t_s: f64 = sample.t_s.as_deref()?.parse().ok()?;
            Some((begun + t_s / UNIT_S, in_unit(sample.value.as_deref()?, &curve.unit, unit)?))
        })
        .collect();
    let seat = picture.load.probes.iter().find(|probe| probe.probe == curve.probe);
    let out = seat.into_iter().flat_map(|seat| [&seat.left_out_from, &seat.not_in_product_from]);
    let out_from = out.filter_map(|text| moment(text)).min_by(f64::total_cmp);
    let is_by_hand = curve.source == "hand";
    (!points.is_empty()).then_some(Line { name: &curve.probe, points, out_from, is_by_hand })
}

/// The blocks of one probe as one line in the order of time.
fn joined<'p>(blocks: impl Iterator<Item = Line<'p>>) -> Vec<Line<'p>> {
    let mut lines: Vec<Line<'p>> = Vec::new();
    for block in blocks {
        let is_same =
            |line: &&mut Line<'p>| (line.name, line.is_by_hand) == (block.name, block.is_by_hand);
        match lines.iter_mut().find(is_same) {
            Some(line) => line.points.extend(block.points),
            None => lines.push(block),
        }
    }
    for line in &mut lines {
        line.points.sort_by(|one, other| one.0.total_cmp(&other.0));
    }
    lines
}

/// A value in the chart's unit, to be drawn; nearly all samples are in it already.
fn in_unit(value: &str, code: &str, unit: Unit) -> Option<f64> {
    if code == unit.code() {
        return value.parse().ok();
    }
    let exact: Exact = value.parse().ok()?;
    Some(Quantity::new(exact, Unit::from_code(code)?).to(unit)?.value.to_f64())
}

/// An instant in the chart's unit of time.
fn moment(text: &str) -> Option<f64> {
    text.parse::<Timestamp>().ok().map(|at| at.as_millisecond() as f64 / 1000.0 / UNIT_S)
}

type Span = (f64, f64);

/// The times and degrees to show; nothing where there is no sample.
fn extent(lines: &[Line<'_>], limits: &[(f64, &str)]) -> Option<(Span, Span)> {
    let points = || lines.iter().flat_map(|line| line.points.iter().copied());
    let span = |values: Vec<f64>| {
        let low = values.iter().copied().min_by(f64::total_cmp)?;
        let high = values.iter().copied().max_by(f64::total_cmp)?;
        Some((low, high))
    };
    let times = span(points().map(|point| point.0).collect())?;
    let degrees = points().map(|point| point.1).chain(limits.iter().map(|limit| limit.0));
    let degrees = span(degrees.collect())?;
    let margin =
        ((degrees.1 - degrees.0) * 0.08).max((LEAST_DEGREES - degrees.1 + degrees.0) / 2.0);
    let length = (times.1 - times.0).max(LEAST);
    Some(((times.0, times.0 + length * (1.0 + ROOM)), (degrees.0 - margin, degrees.1 + margin)))
}

fn drawn(
    svg: &mut String,
    picture: &Picture<'_>,
    (times, degrees): (Span, Span),
    (lines, limits): (&[Line<'_>], &[(f64, &str)]),
) -> Result<(), Failed> {
    let root = SVGBackend::with_string(svg, (WIDTH, HEIGHT)).into_drawing_area();
    root.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(&root)
        .margin(10)
        .margin_right(24)
        .x_label_area_size(42)
        .y_label_area_size(58)
        .build_cartesian_2d(times.0..times.1, degrees.0..degrees.1)?;
    let zone = picture.zone.clone();
    let text = (FONT, TEXT_SIZE).into_font().color(&INK);
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID)
        .axis_style(INK)
        .label_style(text.clone())
        .axis_desc_style(text)
        .x_labels(8)
        .x_label_formatter(&|at| clock(*at, &zone))
        .y_label_formatter(&|degree| format!("{degree:.0}"))
        .x_desc(picture.words.say("chart-time"))
        .y_desc(super::shown::unit(unit_of(picture).code()))
        .draw()?;
    let taken = taken(&chart, lines);
    for (degree, label) in limits {
        limit(&mut chart, times, (*degree, label), &taken)?;
    }
    moments(&mut chart, picture, times, degrees)?;
    for (turn, line) in lines.iter().enumerate() {
        curve(&mut chart, line, turn)?;
    }
    // From the highest end on, so that names that make room keep the order of their curves.
    let mut highest: Vec<&Line<'_>> = lines.iter().collect();
    highest.sort_by(|one, other| other.end().1.total_cmp(&one.end().1));
    let mut named: Vec<(i32, i32)> = Vec::new();
    for line in highest {
        name(&mut chart, picture, line, &mut named)?;
    }
    drop(chart);
    root.present()
}

fn clock(at: f64, zone: &TimeZone) -> String {
    let at = Timestamp::from_second((at * UNIT_S).round() as i64).unwrap_or_default();
    at.to_zoned(zone.clone()).strftime("%H:%M").to_string()
}

/// The pixels that curves and their names take: each sample, and where its name stands at the end.
fn taken(chart: &Area<'_>, lines: &[Line<'_>]) -> Vec<(i32, i32)> {
    let points = lines.iter().flat_map(|line| &line.points).map(|at| chart.backend_coord(at));
    let names = lines.iter().flat_map(|line| {
        let (x, y) = chart.backend_coord(&line.end());
        (0..=width(line.name)).step_by(4).map(move |along| (x + 6 + along, y))
    });
    points.chain(names).collect()
}

/// A line across at a limit, with its words above it at the side where they lie over less.
fn limit(
    chart: &mut Area<'_>,
    times: Span,
    (degree, label): (f64, &str),
    taken: &[(i32, i32)],
) -> Result<(), Failed> {
    let ends = [(times.0, degree), (times.1, degree)];
    chart.draw_series(DashedLineSeries::new(ends, 10, 4, BROWN.stroke_width(2)))?;
    let [left, right] = ends.map(|end| chart.backend_coord(&end));
    let wide = width(label);
    let lies_over = |from: i32| {
        let is_under = |(x, y): &&(i32, i32)| {
            (from..=from + wide).contains(x) && (right.1 - TEXT_SIZE..=right.1).contains(y)
        };
        taken.iter().filter(is_under).count()
    };
    let is_left = lies_over(left.0) < lies_over(right.0 - wide);
    let (end, side, off) =
        if is_left { (ends[0], HPos::Left, 6) } else { (ends[1], HPos::Right, -6) };
    let style = (FONT, TEXT_SIZE).into_font().color(&BROWN).pos(Pos::new(side, VPos::Bottom));
    let words = EmptyElement::at(end) + Text::new(label.to_owned(), (off, -3), style);
    chart.draw_series(std::iter::once(words)).map(|_| ())
}

/// Lines upwards where something happened: a limit was met, racks were pulled.
fn moments(
    chart: &mut Area<'_>,
    picture: &Picture<'_>,
    times: Span,
    degrees: Span,
) -> Result<(), Failed> {
    let words = picture.words;
    let met = picture.load.products.iter().map(|product| {
        let label = words.with("moment-met", [("check", product.check.as_str().into())]);
        (product.met_at.as_str(), label)
    });
    let pulled = picture.load.racks.iter();
    let pulled = pulled.map(|rack| (rack.pulled_at.as_str(), words.say("moment-pulled")));
    let mut shown: Vec<(f64, String)> = Vec::new();
    for (text, label) in met.chain(pulled) {
        let Some(at) = moment(text).filter(|at| (times.0..=times.1).contains(at)) else {
            continue;
        };
        if shown.iter().all(|known| *known != (at, label.clone())) {
            shown.push((at, label));
        }
    }
    shown.sort_by(|one, other| one.0.total_cmp(&other.0));
    for (at, _) in &shown {
        let ends = [(*at, degrees.0), (*at, degrees.1)];
        chart.draw_series(DashedLineSeries::new(ends, 2, 4, INK.stroke_width(1)))?;
    }
    let pixel = |at: f64| chart.backend_coord(&(at, degrees.1)).0;
    let placed: Vec<_> = shown.into_iter().map(|(at, label)| (pixel(at), at, label)).collect();
    for (turn, (at, label)) in together(placed).into_iter().enumerate() {
        // Labels of moments that lie close together stand on lines of their own.
        let down = 4 + (turn as i32 % 4) * (TEXT_SIZE + 4);
        let style = (FONT, TEXT_SIZE).into_font().color(&INK).pos(Pos::new(HPos::Right, VPos::Top));
        let behind = behind(&label, -5 - width(&label), down - 2);
        let text = EmptyElement::at((at, degrees.1)) + behind + Text::new(label, (-5, down), style);
        chart.draw_series(std::iter::once(text))?;
    }
    Ok(())
}

/// Moments with their pixels, in their order: of those that stand nearly at one place the first has
/// the words of all.
fn together(moments: Vec<(i32, f64, String)>) -> Vec<(f64, String)> {
    let mut found: Vec<(i32, f64, Vec<String>)> = Vec::new();
    for (x, at, label) in moments {
        match found.last_mut().filter(|last| x - last.0 < NEAR.0 / 2) {
            Some(last) if last.2.contains(&label) => {}
            Some(last) => last.2.push(label),
            None => found.push((x, at, vec![label])),
        }
    }
    found.into_iter().map(|(_, at, labels)| (at, labels.join(", "))).collect()
}

/// A curve; from where on it does not count it is thin.
fn curve(chart: &mut Area<'_>, line: &Line<'_>, turn: usize) -> Result<(), Failed> {
    if line.is_by_hand {
        let points = line.points.iter().map(|point| Circle::new(*point, 5, BLUE.stroke_width(2)));
        return chart.draw_series(points).map(|_| ());
    }
    let out_from = line.out_from.unwrap_or(f64::INFINITY);
    let (counts, out): (Vec<_>, Vec<_>) =
        line.points.iter().copied().partition(|point| point.0 <= out_from);
    let (dash, gap) = DASHES[turn % DASHES.len()];
    let thick = BLUE.stroke_width(2);
    match gap {
        0 => chart.draw_series(LineSeries::new(counts, thick)).map(|_| ())?,
        gap => chart.draw_series(DashedLineSeries::new(counts, dash, gap, thick)).map(|_| ())?,
    }
    if let Some(first) = out.first() {
        let cross = Cross::new(*first, 6, INK.stroke_width(2));
        chart.draw_series(std::iter::once(cross))?;
    }
    chart.draw_series(LineSeries::new(out, INK.stroke_width(1))).map(|_| ())
}

/// The name of a curve at its end, below the names that stand there already.
fn name(
    chart: &mut Area<'_>,
    picture: &Picture<'_>,
    line: &Line<'_>,
    named: &mut Vec<(i32, i32)>,
) -> Result<(), Failed> {
    let end = line.end();
    let (x, own_y) = chart.backend_coord(&end);
    let mut y = own_y;
    let is_near =
        |y: i32, other: &(i32, i32)| (other.0 - x).abs() < NEAR.0 && (other.1 - y).abs() < NEAR.1;
    while named.iter().any(|other| is_near(y, other)) {
        y += NEAR.1;
    }
    named.push((x, y));
    let is_out = line.out_from.is_some_and(|from| from < end.0);
    let text = match is_out {
        true => format!("{} {}", line.name, picture.words.say("chart-left-out")),
        false => line.name.to_owned(),
    };
    let at = Pos::new(HPos::Left, VPos::Center);
    let style = (FONT, TEXT_SIZE).into_font().color(&BLUE).pos(at);
    let behind = behind(&text, 6, y - own_y - TEXT_SIZE / 2);
    let label = EmptyElement::at(end) + behind + Text::new(text, (6, y - own_y), style);
    chart.draw_series(std::iter::once(label)).map(|_| ())
}

/// Paper behind a text that stands on curves: its left edge and its top from a point, in pixels.
fn behind(text: &str, left: i32, top: i32) -> Rectangle<(i32, i32)> {
    let corner = (left + width(text), top + TEXT_SIZE);
    Rectangle::new([(left - 1, top), corner], WHITE.mix(0.85).filled())
}

/// How wide a text is at most, in pixels.
fn width(text: &str) -> i32 {
    letters::words(TEXT_SIZE as u32).width(text) as i32
}
