//! A finished lot with all that came before it: its cook and chill with their curves, its review
//! and the check of its pallet, all on pages. It never signs for what its page did not show.

use harness::Plant;
use serde_json::json;

use super::browser::{driven, faults, look};
use super::visitor::{Page, Visitor};
use crate::gate::day::{Day, id, t};
use crate::gate::goods::{self, Item, Making, Product, ROPE};
use crate::path::crew::PASSWORD;

const P1: &[(&str, f64)] =
    &[("05:40", 40.0), ("06:40", 96.0), ("07:40", 126.5), ("08:25", 151.0), ("08:44", 155.0)];
const P1_END: &[(&str, f64)] = &[("08:44", 155.0), ("08:50", 156.2)];
const P2: &[(&str, f64)] =
    &[("05:40", 40.0), ("06:40", 92.0), ("07:40", 123.0), ("08:30", 150.0), ("08:47", 155.6)];
const P2_END: &[(&str, f64)] = &[("08:47", 155.6), ("08:50", 156.0)];
/// Its plug was torn: it is left out by signature.
const P3: &[(&str, f64)] = &[("05:40", 41.0), ("06:40", 94.0), ("07:40", 125.0), ("08:50", 131.0)];
const DRY_BULB: &[(&str, f64)] = &[
    ("05:40", 130.0),
    ("06:40", 130.0),
    ("06:41", 150.0),
    ("07:40", 150.0),
    ("07:41", 170.0),
    ("08:50", 170.0),
];
const CHILL: &[(&str, f64)] = &[
    ("08:50", 156.0),
    ("09:10", 130.0),
    ("10:00", 104.0),
    ("11:10", 80.0),
    ("12:30", 55.0),
    ("13:30", 44.0),
    ("14:00", 39.5),
];

/// A day on which Rope was cooked, chilled and packed.
pub struct Cooked {
    pub day: Day,
    pub meat: String,
    pub rack: String,
    pub finished: String,
    pub pallet: String,
}

impl Cooked {
    /// Plays it.
    pub async fn play() -> Self {
        let mut day = Day::open().await;
        day.at("05:40").await;
        let receiving = day.plan(&goods::receiving()).await;
        let meat = day.meat(&receiving, "400", "05:00").await;
        let product = day.product(ROPE).await;
        let inputs = [(meat.as_str(), "200")];
        let mix = making("batch", &product, (&inputs, &["200"]), ("Mixer 1", "05:10"));
        let batch = day.make("mix", &mix).await.remove(0);
        let inputs = [(batch.as_str(), "180")];
        let hang = making("rack", &product, (&inputs, &["90", "90"]), ("House 2", "05:30"));
        let racks = day.make("rack", &hang).await;
        cooked(&mut day, &racks).await;
        let inputs = [(racks[0].as_str(), "80"), (racks[1].as_str(), "80")];
        let pack = making("finished", &product, (&inputs, &["150"]), ("Detector 1", "14:05"));
        day.at("14:30").await;
        let finished = day.make("pack_off", &pack).await.remove(0);
        let cases = goods::cases("RP", 10, "14:10", "14:20");
        day.challenge(&product.plan, "Detector 1", true, "14:06").await;
        day.pack(&finished, "Detector 1", &cases).await;
        day.challenge(&product.plan, "Detector 1", true, "14:25").await;
        let at_loading = Item { plan: &product.plan, check: "L-1", lots: &[&finished] };
        day.reading(&at_loading, &["38.2"], "14:30").await;
        let pallet = day.pallet("P-0007", &goods::serials(&cases), "14:30").await;
        Self { day, meat, rack: racks[0].clone(), finished, pallet }
    }

    /// The plant.
    pub fn plant(&self) -> &Plant {
        &self.day.plant
    }
}

/// A making without its words.
pub fn making<'a>(
    of: &'a str,
    product: &'a Product,
    (inputs, masses): (&'a [(&'a str, &'a str)], &'a [&'a str]),
    (place, at): (&'a str, &'a str),
) -> Making<'a> {
    Making { of, product, inputs, masses, place, at }
}

/// The cook of two racks, and their chill by a logger.
async fn cooked(day: &mut Day, racks: &[String]) {
    let seats = [("P1", racks[0].as_str()), ("P2", &racks[1]), ("P3", &racks[0]), ("DB", "air")];
    let load = day.load("House 2", racks, &seats, "05:40").await;
    day.at("08:50").await;
    let out = json!({
        "id": id(), "probe": "P3", "leftOutFrom": t("07:40"), "reason": "Its plug was torn.",
    });
    let (subject, path) = (format!("load:{load}"), format!("/v1/loads/{load}/probes-left-out"));
    day.sign("marcus", ("Cooking/LeaveProbeOut", &subject), (&path, &out)).await.ok();
    let all = [("DB", DRY_BULB), ("P1", P1), ("P2", P2), ("P3", P3)];
    for (probe, points) in all.into_iter().chain([("P1", P1_END), ("P2", P2_END)]) {
        day.samples(&load, probe, points).await;
    }
    let pull = day.pull_body(racks, "08:50");
    day.post("marcus", &format!("/v1/loads/{load}/pulls"), &pull).await.ok();
    day.at("14:00").await;
    day.logger(&load, &racks[0], CHILL).await;
}

/// The value of a hidden field.
pub fn hidden(page: &Page, name: &str) -> String {
    let rest = page.text.split(&format!("name=\"{name}\" value=\"")).nth(1);
    rest.and_then(|rest| rest.split('"').next()).expect("a field with a value").to_owned()
}

#[tokio::test]
async fn a_finished_lot_is_looked_at_reviewed_and_cleared_on_pages() {
    let cooked = Cooked::play().await;
    let mut qa = Visitor::signed_in(cooked.plant(), "dana", PASSWORD).await;
    let file = qa.get(&format!("/lots/{}", cooked.finished)).await.expect(200);
    file.says(&[
        "Packed off",
        "Pork trim 72/28",
        "Hollis Meats",
        "<svg",
        "P3 (left out)",
        "Its plug was torn.",
        "CCP-1: at least 155\u{a0}°F",
        "Metal detector",
        "No review of it stands.",
        "House 2",
    ]);
    let check = format!("/shipment-check?pallets={}", cooked.pallet);
    qa.get(&check).await.expect(200).says(&["1 of 1 may not leave now.", "P-0007", "review"]);
    let page = qa.get("/review").await.expect(200);
    page.says(&["ready for review", "No. 1 Rope", "With your password you sign:"]);
    let (id, lot) = (hidden(&page, "id"), hidden(&page, "lot"));
    let without = [("id", id.as_str()), ("password", PASSWORD)];
    qa.post("/review", &without).await.expect(400).says(&["lots"]);
    let ticked = [("id", id.as_str()), ("lot", lot.as_str()), ("password", PASSWORD)];
    let signed = qa.post("/review", &ticked).await.expect(303);
    qa.get(signed.location()).await.expect(200).says(&["Your review is signed.", "reviewed"]);
    qa.get(&check).await.expect(200).says(&["Every pallet may leave now."]);
    let meat = qa.get(&format!("/lots/{}", cooked.meat)).await.expect(200);
    meat.says(&["No. 1 Rope", "Batch", "Finished"]);
    let rack = qa.get(&format!("/lots/{}", cooked.rack)).await.expect(200);
    rack.says(&["Hung on racks", "House 2", "Pulled", "L-7"]);
    cooked.day.close().await;
}

/// The dock, in a browser: refused, reviewed, accepted, in two languages.
#[tokio::test]
async fn a_pallet_is_refused_reviewed_and_shipped_in_a_browser() {
    let cooked = Cooked::play().await;
    let here = cooked.day.get("dana", "/v1/pallets?here=true").await.ok();
    assert_eq!(here["pallets"][0]["label"], "P-0007", "{here}");
    assert_eq!(here["pallets"][0]["lots"][0]["cases"], 10, "{here}");
    let customer = "Corner Larder";
    let given = json!({ "name": "dana", "label": "P-0007", "customer": customer });
    let found = driven("ship.cjs", cooked.plant(), given).await;
    let said = |name: &str| found[name].as_str().unwrap_or_default().to_owned();
    assert!(said("refused").contains("1 of 1 may not leave now."), "{found}");
    assert!(said("refused").contains("Nobody has reviewed its records"), "{found}");
    assert_eq!(found["offered"], 0, "what is not clear is not offered: {found}");
    assert!(said("signed").contains("Your review is signed."), "{found}");
    assert!(said("clear").contains("Every pallet may leave now."), "{found}");
    assert_eq!(found["faults"], json!([]), "the form can be used by everybody");
    for text in [customer, "Trailer 11", "P-0007", "No. 1 Rope", "shipped"] {
        assert!(said("shipped").contains(text), "{text}: {found}");
    }
    assert_eq!(said("spanish"), format!("Envío a {customer}"));
    let shipments = cooked.day.get("dana", "/v1/shipments").await.ok();
    let shipment = shipments["shipments"][0]["shipment"].as_str().expect("an id");
    let pages = json!([
        { "name": "shipment", "path": format!("/shipments/{shipment}"), "print": true },
        { "name": "shipment-none", "path": "/shipment-check" },
    ]);
    let faults = faults(&look(cooked.plant(), "dana", pages).await);
    assert!(faults.is_empty(), "{} found:\n  {}", faults.len(), faults.join("\n  "));
    let here = cooked.day.get("dana", "/v1/pallets?here=true").await.ok();
    assert_eq!(here["pallets"].as_array().map_or(0, Vec::len), 0, "{here}");
    let left = cooked.day.get("dana", "/v1/pallets?label=P-0007").await.ok();
    assert_ne!(left["pallets"][0]["shipment"], "", "{left}");
    let mut dock = Visitor::signed_in(cooked.plant(), "dana", PASSWORD).await;
    let scanned = dock.get("/shipment-check?pallets=p-0007+P-0008").await.expect(400);
    scanned.says(&["pallets", "P-0008"]);
    let scanned = dock.get("/shipment-check?pallets=P-0007").await.expect(200);
    scanned.says(&["has left with another shipment"]);
    cooked.day.close().await;
}
