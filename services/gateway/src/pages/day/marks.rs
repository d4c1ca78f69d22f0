//! What happened and is due on a day, as marks on the places of the plant.
//! It never judges: each mark carries the word that a service said, and leads to the record.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use wire::v1;

use super::gather::Day;
use super::products;
use crate::pages::chill;
use crate::pages::visit::Visit;

/// Met readings of one check at one place within this time are one mark with their number.
const TOGETHER_S: i64 = 1800;
/// A chill that nobody has settled is drawn on for so long after its pull.
const RUNS_S: i64 = 24 * 3600;

/// Something at a place: at an instant, or over a span.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Id of the place; empty where none is known.
    pub place: String,
    pub at: Timestamp,
    /// The end of a span; an instant has none.
    pub to: Option<Timestamp>,
    /// A span that goes on.
    pub is_open: bool,
    /// The word of the mark, by which its shape is chosen.
    pub word: &'static str,
    pub what: String,
    /// How many alike it stands for.
    pub count: usize,
    /// Where the record is; empty where it has no page.
    pub href: String,
}

/// A chill of racks that were pulled together.
pub struct Chill<'d> {
    pub load: &'d v1::Load,
    pub rack: &'d v1::LoadRack,
    pub racks: usize,
    pub chill: &'d v1::RackChill,
    pub pulled_at: Timestamp,
}

impl Chill<'_> {
    /// True while nothing is settled and it can still be caught.
    pub fn is_running(&self, now: Timestamp) -> bool {
        let until = self.pulled_at + SignedDuration::from_secs(RUNS_S);
        self.chill.verdict() == v1::Verdict::Undetermined && now < until
    }

    /// The word of its mark.
    pub fn word(&self, now: Timestamp) -> &'static str {
        if self.is_running(now) { "running" } else { judged(self.chill.verdict()) }
    }
}

/// The chills of a day, one a pull and check.
pub fn chills(day: &Day) -> Vec<Chill<'_>> {
    let mut found: Vec<Chill<'_>> = Vec::new();
    for load in day.judged() {
        for rack in &load.racks {
            let Ok(pulled_at) = rack.pulled_at.parse::<Timestamp>() else { continue };
            for chill in &rack.chills {
                let is_same = |one: &&mut Chill<'_>| {
                    one.load.load == load.load && one.pulled_at == pulled_at && one.chill == chill
                };
                match found.iter_mut().find(is_same) {
                    Some(one) => one.racks += 1,
                    None => found.push(Chill { load, rack, racks: 1, chill, pulled_at }),
                }
            }
        }
    }
    found
}

/// All marks of a day, in the order of time.
pub fn of(visit: &Visit, day: &Day) -> Vec<Mark> {
    let words = visit.words;
    let mut marks = Vec::new();
    marks.extend(day.judged().filter_map(|load| of_load(visit, day, load)));
    marks.extend(chills(day).iter().filter_map(|one| of_chill(visit, day, one)));
    marks.extend(of_readings(day));
    let challenges = day.challenges.iter().flat_map(|found| &found.rows);
    marks.extend(challenges.filter_map(of_challenge));
    let opened = day.opened.iter().flat_map(|found| &found.rows);
    marks.extend(opened.filter_map(|one| of_deviation(day, one)));
    let holds = day.holds.iter().flat_map(|found| &found.rows);
    marks.extend(holds.filter_map(|hold| {
        let first = hold.lots.first()?;
        let place = place_of(day, first);
        let code = day.lots.lot(first).map_or_else(|| words.say("hold"), |lot| lot.code.clone());
        let what = match hold.lots.len() - 1 {
            0 => code,
            more => format!("{code} +{more}"),
        };
        Some(Mark { what, ..point(&hold.placed_at, place, "on-hold", hold_page(hold))? })
    }));
    let shipments = day.shipments.iter().flat_map(|found| &found.rows);
    marks.extend(shipments.filter_map(|one| of_shipment(day, one)));
    marks.extend(super::due::all(visit, day).into_iter().map(|due| due.mark));
    marks.retain(|mark| mark.at < day.to && mark.to.unwrap_or(mark.at) >= day.from);
    marks.sort_by(|one, other| (one.at, &one.what).cmp(&(other.at, &other.what)));
    marks
}

/// A mark at an instant; nothing where the instant is none.
fn point(at: &str, place: String, word: &'static str, href: String) -> Option<Mark> {
    let at = at.parse().ok()?;
    Some(Mark { place, at, to: None, is_open: false, word, what: String::new(), count: 1, href })
}

/// The word of a verdict's mark.
fn judged(verdict: v1::Verdict) -> &'static str {
    match verdict {
        v1::Verdict::Pass => "met",
        v1::Verdict::Fail => "not-met",
        v1::Verdict::Undetermined => "undetermined",
        v1::Verdict::Unspecified => "not-judged",
    }
}

fn hold_page(hold: &v1::Hold) -> String {
    match hold.deviation.as_str() {
        "" => format!("/holds/{}", hold.hold),
        deviation => format!("/deviations/{deviation}"),
    }
}

/// Where a lot stands; empty where it is not known.
fn place_of(day: &Day, lot: &str) -> String {
    day.lots.lot(lot).map(|lot| lot.stands_at.clone()).unwrap_or_default()
}

fn of_load(visit: &Visit, day: &Day, load: &v1::Load) -> Option<Mark> {
    let is_open = load.racks.iter().any(|rack| rack.pulled_at.is_empty());
    let last = load.racks.iter().filter_map(|rack| rack.pulled_at.parse::<Timestamp>().ok()).max();
    let to = if is_open { day.now } else { last? };
    let products = products(day, load);
    let what = visit.words.with("load-of", [("products", products.into())]);
    let word = if is_open { "running" } else { "pulled" };
    let href = format!("/loads/{}", load.load);
    let mark = point(&load.observed_at, load.house.clone(), word, href)?;
    Some(Mark { to: Some(to), is_open, what, ..mark })
}

fn of_chill(visit: &Visit, day: &Day, one: &Chill<'_>) -> Option<Mark> {
    let is_open = one.is_running(day.now);
    let seen = one.chill.seen_until.parse::<Timestamp>().unwrap_or(one.pulled_at);
    let products = day.lots.lot(&one.rack.rack).map(|lot| lot.material.clone());
    let what = visit.words.with(
        "chill-of",
        [
            ("check", one.chill.check.as_str().into()),
            ("products", products.unwrap_or_default().into()),
        ],
    );
    let href = chill::path(&one.load.load, &one.rack.rack);
    let place = chill_place(day, one);
    let mark = point(&one.rack.pulled_at, place, one.word(day.now), href)?;
    Some(Mark { to: Some(if is_open { day.now } else { seen }), is_open, what, ..mark })
}

/// Where a rack chills: the place to which it was moved, else the house that it left.
pub fn chill_place(day: &Day, one: &Chill<'_>) -> String {
    match place_of(day, &one.rack.rack) {
        place if place.is_empty() => one.load.house.clone(),
        place => place,
    }
}

/// Readings; those that are met and alike are one mark, every other stands for itself.
fn of_readings(day: &Day) -> Vec<Mark> {
    let mut alike: BTreeMap<(String, String, i64), Mark> = BTreeMap::new();
    let mut marks = Vec::new();
    for reading in day.readings.iter().flat_map(|found| &found.rows) {
        let place = reading.lots.first().map(|lot| read_at(day, lot, &reading.observed_at));
        // An attempt below the limit while the step goes on opens nothing: it is not met yet.
        let word = match judged(reading.verdict()) {
            "not-met" if reading.deviation.is_empty() => "not-yet",
            word => word,
        };
        let href = format!("/readings/{}", reading.reading);
        let mark = point(&reading.observed_at, place.unwrap_or_default(), word, href);
        let Some(mark) = mark.map(|mark| Mark { what: reading.check.clone(), ..mark }) else {
            continue;
        };
        if word != "met" {
            marks.push(mark);
            continue;
        }
        let span = mark.at.as_second().div_euclid(TOGETHER_S);
        let key = (mark.place.clone(), mark.what.clone(), span);
        alike.entry(key).and_modify(|one| one.count += 1).or_insert(mark);
    }
    marks.extend(alike.into_values());
    marks
}

/// Where a lot was read: in its house while it was there, else where it stands.
fn read_at(day: &Day, lot: &str, at: &str) -> String {
    let Ok(at) = at.parse::<Timestamp>() else { return place_of(day, lot) };
    let was_inside = |load: &&v1::Load| {
        let rack = load.racks.iter().find(|rack| rack.rack == lot);
        rack.is_some_and(|rack| {
            let begun = load.observed_at.parse::<Timestamp>().is_ok_and(|begun| begun <= at);
            begun && rack.pulled_at.parse::<Timestamp>().map_or(true, |pulled| at <= pulled)
        })
    };
    let house = day.judged().find(was_inside).map(|load| load.house.clone());
    house.unwrap_or_else(|| place_of(day, lot))
}

fn of_challenge(challenge: &v1::Challenge) -> Option<Mark> {
    let word = if challenge.is_good { "met" } else { "not-met" };
    let href = match challenge.deviation.as_str() {
        "" => String::new(),
        deviation => format!("/deviations/{deviation}"),
    };
    let mark = point(&challenge.observed_at, challenge.place.clone(), word, href)?;
    Some(Mark { what: challenge.check.clone(), ..mark })
}

fn of_deviation(day: &Day, deviation: &v1::Deviation) -> Option<Mark> {
    let place = match deviation.place.as_str() {
        "" => deviation.lots.first().map(|lot| place_of(day, lot)).unwrap_or_default(),
        place => place.to_owned(),
    };
    let word = if deviation.closed_at.is_empty() { "deviation" } else { "deviation-closed" };
    let href = format!("/deviations/{}", deviation.deviation);
    let mark = point(&deviation.recorded_at, place, word, href)?;
    Some(Mark { what: deviation.check.clone(), ..mark })
}

fn of_shipment(day: &Day, shipment: &v1::Shipment) -> Option<Mark> {
    let place = day.in_use().find(|place| place.name == shipment.place_name);
    let place = place.map(|place| place.place.clone()).unwrap_or_default();
    let word = if shipment.is_unclear { "left-unclear" } else { "shipped" };
    let href = format!("/shipments/{}", shipment.shipment);
    let mark = point(&shipment.observed_at, place, word, href)?;
    Some(Mark { what: shipment.customer_name.clone(), ..mark })
}
