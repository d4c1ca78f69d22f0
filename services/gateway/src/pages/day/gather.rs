//! Asks every service at once what it knows of a production day.
//! It never lets one part that fails take the others with it.

use futures_util::join;
use jiff::civil::{Date, Time};
use jiff::{SignedDuration, Timestamp};
use wire::v1;

use crate::pages::lots::Codes;
use crate::pages::visit::{Visit, Whole};
use crate::pages::{deviations, holds, methods};
use crate::problem::Problem;

/// What a service answered, or why it did not.
pub type Part<T> = Result<T, Problem>;

/// Newest lots shown.
const NEWEST: i32 = 10;
/// How long before the day a rack may have been pulled whose chill still runs in it: the longest of
/// the cooling options allows 15 h (FSIS Appendix B, 1999, option 3).
const CHILLS_S: i64 = 24 * 3600;
/// Loads judged for one page at most; more are told.
const LOADS_MAX: i32 = 40;
/// Lots of which open items are asked at once.
const ITEMS: i32 = 200;

/// Everything of a day.
pub struct Day {
    pub date: Date,
    /// Its first instant.
    pub from: Timestamp,
    /// The first instant of the day after.
    pub to: Timestamp,
    pub now: Timestamp,
    pub places: Part<Whole<v1::Place>>,
    pub loads: Part<Whole<v1::Load>>,
    pub readings: Part<Whole<v1::Reading>>,
    pub challenges: Part<Whole<v1::Challenge>>,
    /// Deviations that opened on the day.
    pub opened: Part<Whole<v1::Deviation>>,
    /// Deviations that are open, whenever they opened.
    pub open: Part<Whole<v1::Deviation>>,
    pub holds: Part<Whole<v1::Hold>>,
    pub shipments: Part<Whole<v1::Shipment>>,
    pub items: Part<v1::ListOpenItemsResponse>,
    pub newest: Part<Vec<v1::Lot>>,
    /// Lots that are named.
    pub lots: Codes,
}

impl Day {
    /// Reads the day of the query, or today.
    pub async fn gather(visit: &Visit) -> Part<Self> {
        let now = visit.now();
        let today = visit.pages.gateway.plant.day_of(now);
        let date = visit.asked.query.get("day").parse().unwrap_or(today);
        let (from, to) = (begins(visit, date), begins(visit, date.tomorrow().unwrap_or(date)));
        let of_day = date.to_string();
        let newest =
            v1::ListLotsRequest { page_size: NEWEST, newest_first: true, ..Default::default() };
        let items = v1::ListOpenItemsRequest {
            day: of_day.clone(),
            page_size: ITEMS,
            ..Default::default()
        };
        let ((places, loads, newest, items), (readings, challenges, shipments), safety) = join!(
            async {
                join!(
                    places(visit),
                    loads(visit, from, to),
                    visit.ask(methods::LIST_LOTS, newest),
                    visit.ask(methods::LIST_OPEN_ITEMS, items),
                )
            },
            async {
                join!(
                    readings(visit, &of_day),
                    challenges(visit, &of_day),
                    shipments(visit, &of_day),
                )
            },
            async {
                join!(
                    deviations::read(visit, true),
                    deviations::opened_since(visit, from),
                    holds::standing(visit)
                )
            },
        );
        let (open, opened, holds) = safety;
        let opened = opened.map(|mut found: Whole<v1::Deviation>| {
            found.rows.retain(|one| is_within(&one.recorded_at, from, to));
            found
        });
        let newest = newest.map(|answer| answer.lots);
        let lots = Codes::default();
        let day = Self {
            date,
            from,
            to,
            now,
            places,
            loads,
            readings,
            challenges,
            opened,
            open,
            holds,
            shipments,
            items,
            newest,
            lots,
        };
        let lots = Codes::ask(visit, day.named().into_iter()).await;
        Ok(Self { lots, ..day })
    }

    /// Every lot that something of the day names.
    fn named(&self) -> Vec<&String> {
        let loads = self.loads.iter().flat_map(|found| &found.rows);
        let racks = loads.flat_map(|load| load.racks.iter().map(|rack| &rack.rack));
        let readings = self.readings.iter().flat_map(|found| &found.rows);
        let readings = readings.filter_map(|reading| reading.lots.first());
        let deviations = [&self.open, &self.opened].into_iter().flatten();
        let deviations = deviations.flat_map(|found| &found.rows).flat_map(|one| &one.lots);
        let holds = self.holds.iter().flat_map(|found| &found.rows).flat_map(|one| &one.lots);
        racks.chain(deviations).chain(holds).chain(readings).collect()
    }

    /// True for the day that is now.
    pub fn is_today(&self) -> bool {
        (self.from..self.to).contains(&self.now)
    }

    /// The loads as they are judged.
    pub fn judged(&self) -> impl Iterator<Item = &v1::Load> {
        self.loads.iter().flat_map(|found| &found.rows)
    }

    /// Places in use.
    pub fn in_use(&self) -> impl Iterator<Item = &v1::Place> {
        self.places.iter().flat_map(|found| &found.rows).filter(|place| place.in_use)
    }

    /// The parts that could not be read, by the message that names each.
    pub fn problems(&self) -> Vec<(&'static str, &Problem)> {
        let parts = [
            ("places", self.places.as_ref().err()),
            ("loads", self.loads.as_ref().err()),
            ("file-readings", self.readings.as_ref().err()),
            ("challenges", self.challenges.as_ref().err()),
            ("open-deviations", self.open.as_ref().err()),
            ("file-deviations", self.opened.as_ref().err()),
            ("standing-holds", self.holds.as_ref().err()),
            ("file-shipments", self.shipments.as_ref().err()),
            ("open-items", self.items.as_ref().err()),
            ("newest-lots", self.newest.as_ref().err()),
        ];
        parts.into_iter().filter_map(|(word, problem)| Some((word, problem?))).collect()
    }

    /// True when some list is longer than what was read of it.
    pub fn has_more(&self) -> bool {
        self.loads.as_ref().is_ok_and(|found| found.has_more)
            || self.readings.as_ref().is_ok_and(|found| found.has_more)
            || self.challenges.as_ref().is_ok_and(|found| found.has_more)
            || self.shipments.as_ref().is_ok_and(|found| found.has_more)
            || self.opened.as_ref().is_ok_and(|found| found.has_more)
    }
}

/// True for an instant of a span.
pub fn is_within(at: &str, from: Timestamp, to: Timestamp) -> bool {
    at.parse::<Timestamp>().is_ok_and(|at| (from..to).contains(&at))
}

/// The first instant of a production day.
fn begins(visit: &Visit, date: Date) -> Timestamp {
    let start: Time = visit.settings.day_start.parse().unwrap_or(Time::midnight());
    let zoned = date.to_datetime(start).to_zoned(visit.zone.clone());
    zoned.map_or(Timestamp::UNIX_EPOCH, |zoned| zoned.timestamp())
}

/// The places of the plant.
pub async fn places(visit: &Visit) -> Part<Whole<v1::Place>> {
    let page = |page_size, page_token| async move {
        let question = v1::ListPlacesRequest { page_size, page_token };
        let answer = visit.ask(methods::LIST_PLACES, question).await?;
        Ok((answer.places, answer.next_page_token))
    };
    visit.whole(page).await
}

/// The loads of a day, each as it is judged now; of too many the newest.
async fn loads(visit: &Visit, from: Timestamp, to: Timestamp) -> Part<Whole<v1::Load>> {
    let since = from - SignedDuration::from_secs(CHILLS_S);
    let question = v1::ListLoadsRequest {
        page_size: LOADS_MAX,
        pulled_since: since.to_string(),
        begun_before: to.to_string(),
        newest_first: true,
        judged: true,
        ..Default::default()
    };
    let mut answer = visit.ask(methods::LIST_LOADS, question).await?;
    answer.loads.reverse();
    Ok(Whole { rows: answer.loads, has_more: !answer.next_page_token.is_empty() })
}

async fn readings(visit: &Visit, day: &str) -> Part<Whole<v1::Reading>> {
    let page = |page_size, page_token| async move {
        let of_day = v1::ListReadingsRequest { day: day.to_owned(), ..Default::default() };
        let question = v1::ListReadingsRequest { page_size, page_token, ..of_day };
        let answer = visit.ask(methods::LIST_READINGS, question).await?;
        Ok((answer.readings, answer.next_page_token))
    };
    visit.whole(page).await
}

async fn challenges(visit: &Visit, day: &str) -> Part<Whole<v1::Challenge>> {
    let page = |page_size, page_token| async move {
        let of_day = v1::ListChallengesRequest { day: day.to_owned(), ..Default::default() };
        let question = v1::ListChallengesRequest { page_size, page_token, ..of_day };
        let answer = visit.ask(methods::LIST_CHALLENGES, question).await?;
        Ok((answer.challenges, answer.next_page_token))
    };
    visit.whole(page).await
}

async fn shipments(visit: &Visit, day: &str) -> Part<Whole<v1::Shipment>> {
    let page = |page_size, page_token| async move {
        let question = v1::ListShipmentsRequest { page_size, page_token, day: day.to_owned() };
        let answer = visit.ask(methods::LIST_SHIPMENTS, question).await?;
        Ok((answer.shipments, answer.next_page_token))
    };
    visit.whole(page).await
}
