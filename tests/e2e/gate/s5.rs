//! The dock at 14:50: what ships, what is refused and why, who mends it, and what comes after.
//! It never ships a case that is not proved.

use harness::Answer;
use serde_json::{Value, json};

use super::day::{Day, id, t, word};
use super::goods::{
    Item, Making, PLAIN, Product, RING, ROPE, SKINLESS, Says, TURKEY, cases, reasons, serials,
};

/// A finished lot in its cases.
struct Made {
    lot: String,
    product: Product,
    racks: Vec<String>,
    load: String,
}

/// How a lot of the day comes to be.
struct Run {
    says: Says,
    house: &'static str,
    /// Whether somebody enters the mixer's temperature.
    mixer: bool,
    /// When somebody looked at the house.
    looks: &'static [&'static str],
}

const COOKED: &[(&str, f64)] =
    &[("05:50", 40.0), ("07:00", 120.0), ("10:05", 158.0), ("10:12", 160.0)];
const CHILLED: &[(&str, f64)] =
    &[("10:12", 160.0), ("10:30", 130.0), ("11:30", 78.0), ("13:20", 38.0), ("13:30", 37.0)];

impl Run {
    /// Receiving to pack-off, each check met on the way.
    async fn make(&self, day: &Day, receiving: &str) -> Made {
        let meat = day.meat(receiving, "8000", "05:00").await;
        let product = day.product(self.says).await;
        let batch = day
            .make(
                "mix",
                &Making {
                    of: "batch",
                    product: &product,
                    inputs: &[(&meat, "7000")],
                    masses: &["7000"],
                    place: "Mixer 1",
                    at: "05:10",
                },
            )
            .await
            .remove(0);
        if self.mixer {
            let item = Item { plan: &product.plan, check: "Q-1", lots: &[&batch] };
            day.reading(&item, &["36"], "05:20").await;
        }
        let racks = day
            .make(
                "rack",
                &Making {
                    of: "rack",
                    product: &product,
                    inputs: &[(&batch, "7000")],
                    masses: &["7000"],
                    place: self.house,
                    at: "05:40",
                },
            )
            .await;
        let seats = [("P1", racks[0].as_str())];
        let load = day.load(self.house, &racks, &seats, "05:50").await;
        day.samples(&load, "P1", COOKED).await;
        for at in self.looks {
            let item = Item { plan: &product.plan, check: "CCP-1", lots: &[&racks[0]] };
            day.reading(&item, &["150.0"], at).await;
        }
        if !self.looks.is_empty() {
            let item = Item { plan: &product.plan, check: "CCP-1", lots: &[&racks[0]] };
            day.reading(&item, &["160.0"], "10:12").await;
        }
        let path = format!("/v1/loads/{load}/pulls");
        day.post("marcus", &path, &day.pull_body(&racks, "10:12")).await.ok();
        day.logger(&load, &racks[0], CHILLED).await;
        Made { lot: String::new(), product, racks, load }
    }
}

impl Made {
    async fn packed(mut self, day: &Day, at: &str) -> Self {
        self.lot = day
            .make(
                "pack_off",
                &Making {
                    of: "finished",
                    product: &self.product,
                    inputs: &[(&self.racks[0], "6500")],
                    masses: &["6500"],
                    place: "Cooler 4",
                    at,
                },
            )
            .await
            .remove(0);
        self
    }
}

async fn ship(day: &Day, pallet: &str, at: &str) -> Answer {
    day.post("lee", "/v1/shipments", &day.ship_body(pallet, at)).await
}

async fn loading(day: &Day, made: &Made, values: &[&str], at: &str) -> Value {
    let item = Item { plan: &made.product.plan, check: "L-1", lots: &[&made.lot] };
    day.reading(&item, values, at).await
}

#[tokio::test]
async fn the_dock_opens_only_for_what_is_proved() {
    let mut day = Day::open().await;
    day.at("13:35").await;
    let receiving = day.plan(&super::goods::receiving()).await;
    let run = |says, house| Run { says, house, mixer: true, looks: &[] };
    let k1 = Run { mixer: false, ..run(ROPE, "House 1") };
    // Every 30 minutes from 05:50 to the pull at 10:12: that at 09:30 was missed.
    let k2 = Run {
        looks: &["06:20", "06:50", "07:20", "07:50", "08:20", "08:40", "09:00", "10:00"],
        ..run(RING, "House 1")
    };
    let (k3, k4, k5) = (run(TURKEY, "House 2"), run(SKINLESS, "House 2"), run(PLAIN, "House 2"));
    let mut made = Vec::new();
    for run in [&k1, &k2, &k3, &k4, &k5] {
        made.push(run.make(&day, &receiving).await.packed(&day, "13:31").await);
    }
    let [k1_lot, k2_lot, k3_lot, k4_lot, k5_lot]: [Made; 5] =
        made.try_into().unwrap_or_else(|_| panic!("five lots"));

    // Packing before noon is typed in as it was; the detectors were challenged as it went on.
    let k1_cases = cases("K1", 240, "11:00", "12:00");
    let k2_cases = cases("K2", 180, "11:00", "12:00");
    let k4_cases = cases("K4", 60, "11:00", "12:00");
    let k5_cases = cases("K5", 150, "11:00", "12:00");
    for (made, packed) in
        [(&k1_lot, &k1_cases), (&k2_lot, &k2_cases), (&k4_lot, &k4_cases), (&k5_lot, &k5_cases)]
    {
        day.pack(&made.lot, "Detector 1", packed).await;
    }
    let early = cases("K3A", 316, "11:00", "12:05");
    let doubtful = cases("K3B", 96, "12:06", "13:10");
    day.pack(&k3_lot.lot, "Detector 2", &early).await;
    day.pack(&k3_lot.lot, "Detector 2", &doubtful).await;
    day.challenge(&k1_lot.product.plan, "Detector 1", true, "12:05").await;
    day.challenge(&k3_lot.product.plan, "Detector 2", true, "12:05").await;
    let failed = day.challenge(&k3_lot.product.plan, "Detector 2", false, "13:10").await;
    assert_eq!(failed["isGood"].as_bool().unwrap_or(false), false);
    let deviation = word(&failed["deviation"]);
    assert!(!deviation.is_empty());
    assert_eq!(word(&failed["spanFrom"]), t("12:05"));
    day.challenge(&k3_lot.product.plan, "Detector 2", true, "13:28").await;

    // K4: the inspector took a sample at 08:00.
    let body = json!({ "id": id(), "lots": [k4_lot.lot], "reason": "Sample result pending" });
    day.post("dana", "/v1/holds", &body).await.ok();
    day.until("/v1/holds", |holds| holds["holds"].as_array().map_or(0, Vec::len) == 2).await;

    // Loading temperatures, then the reviews: K2 cannot be reviewed while its look is missing.
    day.at("14:45").await;
    for made in [&k1_lot, &k2_lot, &k3_lot, &k4_lot] {
        loading(&day, made, &["37.2", "38.0"], "14:45").await;
    }
    loading(&day, &k5_lot, &["38.0"], "14:45").await;
    for made in [&k1_lot, &k3_lot, &k4_lot, &k5_lot] {
        day.review(&made.lot).await.ok();
    }
    let refused = day.review(&k2_lot.lot).await.expect(409);
    assert!(refused.text.contains("CCP-1"), "{}", refused.text);

    let p1 = day.pallet("P1", &serials(&k1_cases), "14:46").await;
    let p2 = day.pallet("P2", &serials(&k2_cases), "14:46").await;
    let p3 = day.pallet("P3", &serials(&early[..200]), "14:46").await;
    let four = serials(&doubtful[..4]);
    let p4_cases = [serials(&early[200..232]), four.clone()].concat();
    let p4 = day.pallet("P4", &p4_cases, "14:46").await;
    let p5 = day.pallet("P5", &serials(&k4_cases), "14:46").await;
    let p6 = day.pallet("P6", &serials(&k5_cases), "14:46").await;

    // 1. P1 ships; the missing quality check is listed and blocks nothing.
    day.at("14:50").await;
    let shipped = ship(&day, &p1, "14:50").await.ok();
    assert_eq!(shipped["cases"], 240);
    let items = day.get("dana", "/v1/open-items?day=2026-11-25").await.ok();
    let missing = items["items"].as_array().cloned().unwrap_or_default();
    let of_mixer = missing.iter().find(|item| item["check"] == "Q-1").expect("the missing check");
    assert_ne!(of_mixer["gates"], true);

    // 2. P2 is refused with one reason, who can mend it, and where.
    let refused = ship(&day, &p2, "14:50").await.expect(409);
    let found = reasons(&refused);
    let of_check: Vec<_> =
        found.iter().filter(|r| r["message"].as_str().unwrap_or("").contains("CCP-1")).collect();
    assert_eq!(of_check.len(), 1, "{}", refused.text);
    assert_eq!(of_check[0]["who"], "QA");
    assert!(word(&of_check[0]["wayOn"]).contains("/v1/missed-checks"), "{}", refused.text);

    // 3. P3 ships. P4 names its four cases; they come off by scan and it ships with 32.
    day.at("14:52").await;
    assert_eq!(ship(&day, &p3, "14:52").await.ok()["cases"], 200);
    let refused = ship(&day, &p4, "14:52").await.expect(409);
    for serial in &four {
        assert!(refused.text.contains(serial), "{} in {}", serial, refused.text);
    }
    assert!(!refused.text.contains(&p4_cases[0]), "only those four: {}", refused.text);
    let check = day.get("lee", &format!("/v1/shipment-checks?pallets={p4}")).await.ok();
    assert_eq!(check["pallets"][0]["clearCases"].as_array().map(Vec::len), Some(32));
    let body = json!({ "id": id(), "takenOff": four, "reason": "Not proved by the detector",
        "observedAt": t("14:52") });
    day.post("lee", &format!("/v1/pallets/{p4}/changes"), &body).await.ok();
    assert_eq!(ship(&day, &p4, "14:52").await.ok()["cases"], 32);

    // 4. P5 goes to no customer, but to the own cold store; the hold goes with it.
    day.at("14:55").await;
    let refused = ship(&day, &p5, "14:55").await.expect(409);
    assert!(refused.text.contains("Sample result pending"), "{}", refused.text);
    let body = json!({ "id": id(), "pallets": [p5], "lots": [k4_lot.lot],
        "place": day.place("Cold store"), "observedAt": t("14:55") });
    let moved = day.post("lee", "/v1/transfers", &body).await.ok();
    assert_eq!(moved["holds"].as_array().map(Vec::len), Some(1));
    let again = ship(&day, &p5, "14:55").await.expect(409);
    assert!(again.text.contains("Sample result pending"), "{}", again.text);

    // 5. P6: 40.4 of 40.0. It may be chilled and read again.
    day.at("14:57").await;
    let read = loading(&day, &k5_lot, &["38.6", "39.1", "40.4"], "14:57").await;
    assert_eq!(read["verdict"], "FAIL");
    assert!(word(&read["deviation"]).is_empty());
    let refused = ship(&day, &p6, "14:57").await.expect(409);
    assert!(refused.text.contains("40.4"), "{}", refused.text);
    day.at("15:01").await;
    loading(&day, &k5_lot, &["39.0", "38.8"], "15:01").await;
    // What the review counted was not met since: it is signed again.
    day.review(&k5_lot.lot).await.ok();
    ship(&day, &p6, "15:01").await.ok();

    // 2. Dana closes the missed look by the continuous record; P2 ships; it stays missed for ever.
    day.at("15:05").await;
    let body = json!({
        "id": id(), "lots": [k2_lot.racks[0]], "plan": k2_lot.product.plan, "planVersion": 1,
        "check": "CCP-1", "missedFrom": t("09:00"), "missedTo": t("10:00"),
        "evidence": k2_lot.load, "cause": "The supervisor was at the peeler.",
        "prevention": "The second supervisor takes the look.",
    });
    let signed = ("Verification/CoverMissedCheck", "check:CCP-1");
    day.sign("dana", signed, ("/v1/missed-checks", &body)).await.ok();
    day.review(&k2_lot.lot).await.ok();
    loading(&day, &k2_lot, &["38.0"], "15:05").await;
    ship(&day, &p2, "15:05").await.ok();
    let path = format!("/v1/lots/{}/clearance", k2_lot.lot);
    let clearance = day.get("dana", &path).await.ok();
    let items = clearance["items"].as_array().cloned().unwrap_or_default();
    let item = items.iter().find(|item| item["check"] == "CCP-1").expect("the item");
    assert_eq!(
        (word(&item["state"]), word(&item["satisfiedBy"])),
        ("missed".into(), "covered".into())
    );

    // 6. The 96 cases are run again: 95 pass, one is rejected.
    day.at("15:20").await;
    day.challenge(&k3_lot.product.plan, "Detector 2", true, "15:10").await;
    let (bad, passed) = (serials(&doubtful[95..]), serials(&doubtful[..95]));
    let body = json!({
        "id": id(), "place": day.place("Detector 2"), "passed": passed, "rejected": bad,
        "note": "A steel sliver of 3 mm", "observedAt": t("15:18"),
    });
    let rerun = day.post("ines", "/v1/reruns", &body).await.ok();
    assert!(!word(&rerun["hold"]).is_empty());
    day.challenge(&k3_lot.product.plan, "Detector 2", true, "15:20").await;
    let body = json!({
        "id": id(), "lot": k3_lot.lot, "serial": bad[0], "what": "Steel sliver", "sizeMm": "3",
        "foundAt": "Detector 2", "knivesAndPlates": "Grinder plate 2 is chipped.",
        "observedAt": t("15:20"),
    });
    let finding = day.post("ines", "/v1/foreign-material", &body).await.ok();
    let finding = word(&finding["foreignMaterial"]);
    day.close_deviation(&deviation, "release_with_support").await.ok();
    let rest = serials(&doubtful[..95]);
    let p7 = day.pallet("P7", &rest, "15:20").await;
    loading(&day, &k3_lot, &["38.0"], "15:20").await;
    let refused = ship(&day, &p7, "15:20").await.expect(409);
    assert!(refused.text.to_lowercase().contains("foreign"), "{}", refused.text);
    let body = json!({ "id": id(), "isEarlierTouched": false,
        "why": "All of the 316 passed before a good challenge of the same detector." });
    let (subject, path) =
        (format!("foreign_material:{finding}"), format!("/v1/foreign-material/{finding}/answer"));
    day.sign("dana", ("Verification/AnswerForeignMaterial", &subject), (&path, &body)).await.ok();
    let refused = ship(&day, &p7, "15:20").await.expect(409);
    assert!(refused.text.contains("review"), "95 cases are free after review: {}", refused.text);
    day.review(&k3_lot.lot).await.ok();
    assert_eq!(ship(&day, &p7, "15:20").await.ok()["cases"], 95);
    let last = day.pallet("P8", &bad, "15:20").await;
    let refused = ship(&day, &last, "15:20").await.expect(409);
    assert!(refused.text.contains(&bad[0]), "{}", refused.text);
    day.close().await;
}
