//! Every page of the gateway with real things of the demo's plant to look at.
//! It never looks at a page itself: it says where each is.

use std::collections::BTreeSet;

use platform::records::new_id;
use serde_json::{Value, json};

use crate::client::{Client, length};

/// What everybody of the demo signs in with.
pub const PASSWORD: &str = "oak smoke at dawn";

/// Where a page is to be seen.
#[derive(Clone, Debug)]
pub struct Example {
    /// As the gateway lists it: `/lots/{lot}`.
    pub page: &'static str,
    /// What is to be seen there, in words.
    pub what: &'static str,
    /// The path with its query.
    pub path: String,
}

/// A client of somebody who signs in by REST.
pub async fn somebody(http: &str, name: &str) -> Client {
    let anybody = Client::new(http, None);
    let body = json!({ "signInName": name, "password": PASSWORD });
    let session = anybody.post("/v1/sessions", &body).await.ok();
    anybody.with_token(text(&session["accessToken"]))
}

fn text(value: &Value) -> &str {
    value.as_str().expect("a text")
}

fn rows<'v>(answer: &'v Value, name: &str) -> &'v [Value] {
    answer[name].as_array().map_or(&[], Vec::as_slice)
}

/// The plant as the demo left it, so far as examples are chosen from it.
struct Found {
    lots: Value,
    clearances: Value,
    loads: Value,
    deviations: Value,
    holds: Value,
    days: Vec<String>,
}

impl Found {
    async fn of(qa: &Client) -> Self {
        let lots = qa.get("/v1/lots?pageSize=1000&newestFirst=true").await.ok();
        let finished = qa.get("/v1/lots?pageSize=40&newestFirst=true&kinds=finished").await.ok();
        let finished: Vec<String> = rows(&finished, "lots")
            .iter()
            .map(|lot| format!("lots={}", text(&lot["lot"])))
            .collect();
        let clearances = qa.get(&format!("/v1/clearances?{}", finished.join("&"))).await.ok();
        let loads = qa.get("/v1/loads?pageSize=100&newestFirst=true&judged=true").await.ok();
        let days: BTreeSet<String> =
            rows(&loads, "loads").iter().map(|load| text(&load["day"]).to_owned()).collect();
        Self {
            lots,
            clearances,
            loads,
            deviations: qa.get("/v1/deviations?pageSize=1000").await.ok(),
            holds: qa.get("/v1/holds?pageSize=1000").await.ok(),
            days: days.into_iter().rev().collect(),
        }
    }

    /// The newest lot of a kind.
    fn lot(&self, kind: &str) -> &str {
        let newest = rows(&self.lots, "lots").iter().find(|lot| lot["kind"] == kind);
        text(&newest.unwrap_or_else(|| panic!("no lot is {kind}"))["lot"])
    }

    /// The finished lot of which the most is proved.
    fn largest(&self) -> &str {
        let all = rows(&self.clearances, "clearances").iter();
        let most = all.max_by_key(|one| length(&one["items"])).expect("a finished lot");
        text(&most["lot"])
    }

    /// The newest load of which a rack is in the house, or none is any more.
    fn load(&self, is_inside: bool) -> &Value {
        let has_inside =
            |load: &&Value| rows(load, "racks").iter().any(|rack| rack["pulledAt"] == "");
        let found = rows(&self.loads, "loads").iter().find(|load| has_inside(load) == is_inside);
        found.expect("a load")
    }

    /// The newest rack whose chill has this verdict: its load and itself.
    fn chill(&self, verdict: &str) -> (&str, &str) {
        let loads = rows(&self.loads, "loads").iter();
        let mut racks =
            loads.flat_map(|load| rows(load, "racks").iter().map(move |rack| (load, rack)));
        let is_so = |rack: &Value| rows(rack, "chills").iter().any(|one| one["verdict"] == verdict);
        let found = racks.find(|(_, rack)| is_so(rack));
        let (load, rack) = found.unwrap_or_else(|| panic!("no chill is {verdict}"));
        (text(&load["load"]), text(&rack["rack"]))
    }

    fn deviation(&self, is_open: bool) -> Option<&Value> {
        let mut all = rows(&self.deviations, "deviations").iter();
        all.find(|one| (one["closedAt"] == "") == is_open)
    }

    /// One that a person placed, else one of a deviation.
    fn hold(&self) -> &str {
        let all = rows(&self.holds, "holds");
        let by_hand = all.iter().find(|hold| hold["deviation"] == "");
        text(&by_hand.or(all.last()).expect("a hold")["hold"])
    }
}

/// Every page with what is to be seen there. `qa` is Dana Okrent, `mixer` Ines Tolland: a weighing
/// and a file, of which the demo has none, are made.
pub async fn of_demo(qa: &Client, mixer: &Client) -> Vec<Example> {
    let found = Found::of(qa).await;
    let weighing = weighing(mixer, found.lot("received")).await;
    let open = found.deviation(true).expect("an open deviation");
    let file = file(qa, text(&open["deviation"])).await;
    let mut all = alone(&found);
    all.extend(of_lots(&found));
    all.extend(of_loads(&found));
    all.extend(of_records(&found));
    all.push(example("/people/{person}", "a person", "/people/me".to_owned()));
    all.push(example("/shipment-check", "ten pallets to ship", pallets(qa).await));
    let left = qa.get("/v1/shipments?pageSize=1000").await.ok();
    let newest = rows(&left, "shipments").last().map(|one| text(&one["shipment"]));
    let shipment = newest.map(|id| format!("/shipments/{id}"));
    all.extend(shipment.map(|path| example("/shipments/{shipment}", "a shipment", path)));
    all.push(example("/weighings/{weighing}", "a weighing", format!("/weighings/{weighing}")));
    all.push(example("/files/{file}", "a file", format!("/files/{file}")));
    all
}

fn example(page: &'static str, what: &'static str, path: String) -> Example {
    Example { page, what, path }
}

/// Pages about nothing in particular.
fn alone(found: &Found) -> Vec<Example> {
    let mut all = vec![example("/", "the day", "/".to_owned())];
    if let Some(before) = found.days.get(1) {
        all.push(example("/", "the day before", format!("/?day={before}")));
        let items = format!("/open-items?day={before}");
        all.push(example("/open-items", "open items of the day before", items));
    }
    let plain = [
        ("/sign-in", "sign in"),
        ("/password", "another password"),
        ("/lots", "lots"),
        ("/reading", "a reading: which lot"),
        ("/weigh", "a weighing: which lot"),
        ("/open-items", "open items"),
        ("/deviations", "open deviations"),
        ("/holds", "standing holds"),
        ("/review", "the review before shipment"),
        ("/people", "people"),
    ];
    all.extend(plain.map(|(page, what)| example(page, what, page.to_owned())));
    all.push(example("/deviations", "all deviations", "/deviations?show=all".to_owned()));
    all
}

fn of_lots(found: &Found) -> Vec<Example> {
    let file = |what, lot: &str| example("/lots/{lot}", what, format!("/lots/{lot}"));
    let trace = |what, lot: &str| example("/lots/{lot}/trace", what, format!("/lots/{lot}/trace"));
    let load = found.load(true);
    let (rack, check) = (text(&load["racks"][0]["rack"]), text(&load["products"][0]["check"]));
    let entry = format!("/reading/{rack}/{check}");
    vec![
        file("a finished lot with much behind it", found.largest()),
        file("a batch", found.lot("batch")),
        file("a rack", found.lot("rack")),
        file("a received lot", found.lot("received")),
        trace("the trace of a finished lot", found.largest()),
        trace("the trace of a received lot", found.lot("received")),
        example("/reading/{lot}", "a reading: which check", format!("/reading/{rack}")),
        example("/reading/{lot}/{check}", "a reading: its values", entry),
        example("/weigh/{lot}", "a weighing: its values", format!("/weigh/{rack}")),
    ]
}

fn of_loads(found: &Found) -> Vec<Example> {
    let load = |what, load: &Value| {
        example("/loads/{load}", what, format!("/loads/{}", text(&load["load"])))
    };
    let chill = |what, (load, rack): (&str, &str)| {
        example("/loads/{load}/chills/{rack}", what, format!("/loads/{load}/chills/{rack}"))
    };
    vec![
        load("a load in its house", found.load(true)),
        load("a load that is done", found.load(false)),
        chill("a chill that runs", found.chill("UNDETERMINED")),
        chill("a chill that has ended", found.chill("PASS")),
    ]
}

fn of_records(found: &Found) -> Vec<Example> {
    let deviation = |what, one: &Value| {
        let path = format!("/deviations/{}", text(&one["deviation"]));
        example("/deviations/{deviation}", what, path)
    };
    let (open, closed) = (found.deviation(true), found.deviation(false));
    let reading = open.map(|open| format!("/readings/{}", text(&open["reading"])));
    let mut all = vec![example("/holds/{hold}", "a hold", format!("/holds/{}", found.hold()))];
    all.extend(open.map(|open| deviation("an open deviation", open)));
    all.extend(closed.map(|closed| deviation("a closed deviation", closed)));
    all.extend(reading.map(|path| example("/readings/{reading}", "a reading", path)));
    all
}

async fn weighing(mixer: &Client, lot: &str) -> String {
    let at = mixer.get(&format!("/v1/lots/{lot}")).await.ok()["observedAt"].clone();
    let body = json!({
        "id": new_id(), "lots": [lot], "stage": "received", "gross": "500", "tare": "20",
        "unit": "[lb_av]", "observedAt": at,
    });
    text(&mixer.post("/v1/weighings", &body).await.ok()["weighing"]).to_owned()
}

async fn file(qa: &Client, deviation: &str) -> String {
    let about = format!("deviation:{deviation}");
    let made = qa.attach(&new_id().to_string(), &about, ("image/png", b"\x89PNG\r\n\x1a\n")).await;
    text(&made.ok()["file"]).to_owned()
}

/// The check of the ten newest pallets in the plant.
async fn pallets(qa: &Client) -> String {
    let here = qa.get("/v1/pallets?here=true&pageSize=1000").await.ok();
    let newest = rows(&here, "pallets").iter().rev().take(10);
    let named: Vec<String> = newest.map(|one| format!("pallet={}", text(&one["pallet"]))).collect();
    format!("/shipment-check?{}", named.join("&"))
}
