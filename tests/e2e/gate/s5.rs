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
        let batch = day.mix(&product, &meat, "7000", "05:10").await;
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

/// The dock as it stands at 14:50.
struct Dock {
    k1: Made,
    k2: Made,
    k3: Made,
    k4: Made,
    k5: Made,
    /// Of K3: packed before the last good challenge, and between it and the failed one.
    early: Vec<String>,
    doubtful: Vec<String>,
    /// The serials on P4.
    on_p4: Vec<String>,
    /// P1 to P6.
    pallets: Vec<String>,
    /// The deviation of the failed challenge.
    deviation: String,
}

impl Dock {
    /// The lots, made and packed, their detectors challenged.
    async fn packed(day: &Day) -> Self {
        let receiving = day.plan(&super::goods::receiving()).await;
        let run = |says, house| Run { says, house, mixer: true, looks: &[] };
        // Every 30 minutes from 05:50 to the pull at 10:12: that at 09:30 was missed.
        let looks: &[&str] =
            &["06:20", "06:50", "07:20", "07:50", "08:20", "08:40", "09:00", "10:00"];
        let runs = [
            Run { mixer: false, ..run(ROPE, "House 1") },
            Run { looks, ..run(RING, "House 1") },
            run(TURKEY, "House 2"),
            run(SKINLESS, "House 2"),
            run(PLAIN, "House 2"),
        ];
        let mut made = Vec::new();
        for run in &runs {
            made.push(run.make(day, &receiving).await.packed(day, "13:31").await);
        }
        let [k1, k2, k3, k4, k5]: [Made; 5] =
            made.try_into().unwrap_or_else(|_| panic!("five lots"));
        let (early, doubtful) =
            (cases("K3A", 316, "11:00", "12:05"), cases("K3B", 96, "12:06", "13:10"));
        day.pack(&k3.lot, "Detector 2", &early).await;
        day.pack(&k3.lot, "Detector 2", &doubtful).await;
        let mut packed = Vec::new();
        for (made, name, count) in
            [(&k1, "K1", 240), (&k2, "K2", 180), (&k4, "K4", 60), (&k5, "K5", 150)]
        {
            let of_lot = cases(name, count, "11:00", "12:00");
            day.pack(&made.lot, "Detector 1", &of_lot).await;
            packed.push(serials(&of_lot));
        }
        let (early, doubtful) = (serials(&early), serials(&doubtful));
        let on_p4 = [early[200..232].to_vec(), doubtful[..4].to_vec()].concat();
        let deviation = challenged(day, &k1, &k3).await;
        let mut dock =
            Self { k1, k2, k3, k4, k5, early, doubtful, on_p4, pallets: Vec::new(), deviation };
        dock.palletize(day, &packed).await;
        dock
    }

    async fn palletize(&mut self, day: &Day, packed: &[Vec<String>]) {
        let on = [
            packed[0].clone(),
            packed[1].clone(),
            self.early[..200].to_vec(),
            self.on_p4.clone(),
            packed[2].clone(),
            packed[3].clone(),
        ];
        for (at, cases) in on.iter().enumerate() {
            let label = format!("P{}", at + 1);
            self.pallets.push(day.pallet(&label, cases, "13:32").await);
        }
    }

    /// Loading temperatures and reviews: K2 cannot be reviewed while its look is missing.
    async fn reviewed(&self, day: &Day) {
        for made in [&self.k1, &self.k2, &self.k3, &self.k4, &self.k5] {
            loading(day, made, &["37.2", "38.0"], "14:45").await;
        }
        for made in [&self.k1, &self.k3, &self.k4, &self.k5] {
            day.review(&made.lot).await.ok();
        }
        let refused = day.review(&self.k2.lot).await.expect(409);
        assert!(refused.text.contains("CCP-1"), "{}", refused.text);
    }
}

/// Good at 12:05, failed at 13:10, good again at 13:28; gives the deviation.
async fn challenged(day: &Day, k1: &Made, k3: &Made) -> String {
    day.challenge(&k1.product.plan, "Detector 1", true, "12:05").await;
    day.challenge(&k3.product.plan, "Detector 2", true, "12:05").await;
    let failed = day.challenge(&k3.product.plan, "Detector 2", false, "13:10").await;
    assert_eq!(failed["isGood"], false);
    assert_eq!(word(&failed["spanFrom"]), t("12:05"));
    day.challenge(&k3.product.plan, "Detector 2", true, "13:28").await;
    word(&failed["deviation"])
}

#[tokio::test]
async fn the_dock_opens_only_for_what_is_proved() {
    let mut day = Day::open().await;
    day.at("13:35").await;
    let dock = Dock::packed(&day).await;
    assert!(!dock.deviation.is_empty());
    // K4: the inspector took a sample at 08:00.
    let body = json!({ "id": id(), "lots": [dock.k4.lot], "reason": "Sample result pending" });
    day.post("dana", "/v1/holds", &body).await.ok();
    day.until("/v1/holds", |holds| holds["holds"].as_array().map_or(0, Vec::len) == 2).await;
    day.at("14:45").await;
    dock.reviewed(&day).await;
    p1_ships_and_p2_is_refused(&mut day, &dock).await;
    p4_names_its_four_cases(&mut day, &dock).await;
    p5_goes_to_the_cold_store(&mut day, &dock).await;
    p6_is_read_again(&mut day, &dock).await;
    p2_ships_and_stays_missed(&mut day, &dock).await;
    let (bad, finding) = run_again(&mut day, &dock).await;
    free_after_review(&day, &dock, (&bad, &finding)).await;
    day.close().await;
}

/// Required 1: P1 ships; the missing quality check is listed and blocks nothing. 2. P2 is refused
/// with one reason, who can mend it, and where.
async fn p1_ships_and_p2_is_refused(day: &mut Day, dock: &Dock) {
    day.at("14:50").await;
    assert_eq!(ship(day, &dock.pallets[0], "14:50").await.ok()["cases"], 240);
    let items = day.get("dana", "/v1/open-items?day=2026-11-25").await.ok();
    let items = items["items"].as_array().cloned().unwrap_or_default();
    let of_mixer = items.iter().find(|item| item["check"] == "Q-1").expect("the missing check");
    assert_ne!(of_mixer["gates"], true);
    let refused = ship(day, &dock.pallets[1], "14:50").await.expect(409);
    let found = reasons(&refused);
    let of_check: Vec<_> =
        found.iter().filter(|r| r["message"].as_str().unwrap_or("").contains("CCP-1")).collect();
    assert_eq!(of_check.len(), 1, "{}", refused.text);
    assert_eq!(of_check[0]["who"], "QA");
    assert!(word(&of_check[0]["wayOn"]).contains("/v1/missed-checks"), "{}", refused.text);
}

/// Required 3: P3 ships. P4 names its four cases; they come off by scan and it ships with 32.
async fn p4_names_its_four_cases(day: &mut Day, dock: &Dock) {
    day.at("14:52").await;
    assert_eq!(ship(day, &dock.pallets[2], "14:52").await.ok()["cases"], 200);
    let (p4, four) = (&dock.pallets[3], &dock.doubtful[..4]);
    let refused = ship(day, p4, "14:52").await.expect(409);
    for serial in four {
        assert!(refused.text.contains(serial), "{} in {}", serial, refused.text);
    }
    assert!(!refused.text.contains(&dock.on_p4[0]), "only those four: {}", refused.text);
    let check = day.get("lee", &format!("/v1/shipment-checks?pallets={p4}")).await.ok();
    assert_eq!(check["pallets"][0]["clearCases"].as_array().map(Vec::len), Some(32));
    let body = json!({ "id": id(), "takenOff": four, "reason": "Not proved by the detector",
        "observedAt": t("14:52") });
    day.post("lee", &format!("/v1/pallets/{p4}/changes"), &body).await.ok();
    assert_eq!(ship(day, p4, "14:52").await.ok()["cases"], 32);
}

/// Required 4: P5 goes to no customer, but to the own cold store; the hold goes with it.
async fn p5_goes_to_the_cold_store(day: &mut Day, dock: &Dock) {
    day.at("14:55").await;
    let p5 = &dock.pallets[4];
    let refused = ship(day, p5, "14:55").await.expect(409);
    assert!(refused.text.contains("Sample result pending"), "{}", refused.text);
    let body = json!({ "id": id(), "pallets": [p5], "lots": [dock.k4.lot],
        "place": day.place("Cold store"), "observedAt": t("14:55") });
    let moved = day.post("lee", "/v1/transfers", &body).await.ok();
    assert_eq!(moved["holds"].as_array().map(Vec::len), Some(1));
    let again = ship(day, p5, "14:55").await.expect(409);
    assert!(again.text.contains("Sample result pending"), "{}", again.text);
}

/// Required 5: P6: 40.4 of 40.0. It may be chilled and read again; what the review counted was not
/// met since, so it is signed again.
async fn p6_is_read_again(day: &mut Day, dock: &Dock) {
    day.at("14:57").await;
    let read = loading(day, &dock.k5, &["38.6", "39.1", "40.4"], "14:57").await;
    assert_eq!(read["verdict"], "FAIL");
    assert!(word(&read["deviation"]).is_empty());
    let refused = ship(day, &dock.pallets[5], "14:57").await.expect(409);
    assert!(refused.text.contains("40.4"), "{}", refused.text);
    day.at("15:01").await;
    loading(day, &dock.k5, &["39.0", "38.8"], "15:01").await;
    day.review(&dock.k5.lot).await.ok();
    ship(day, &dock.pallets[5], "15:01").await.ok();
}

/// Required 2: Dana closes the missed look by the continuous record; P2 ships; it stays missed for
/// ever.
async fn p2_ships_and_stays_missed(day: &mut Day, dock: &Dock) {
    day.at("15:05").await;
    let k2 = &dock.k2;
    let body = json!({
        "id": id(), "lots": [k2.racks[0]], "plan": k2.product.plan, "planVersion": 1,
        "check": "CCP-1", "missedFrom": t("09:00"), "missedTo": t("10:00"),
        "evidence": k2.load, "cause": "The supervisor was at the peeler.",
        "prevention": "The second supervisor takes the look.",
    });
    let signed = ("Verification/CoverMissedCheck", "check:CCP-1");
    day.sign("dana", signed, ("/v1/missed-checks", &body)).await.ok();
    day.review(&k2.lot).await.ok();
    loading(day, k2, &["38.0"], "15:05").await;
    ship(day, &dock.pallets[1], "15:05").await.ok();
    let clearance = day.get("dana", &format!("/v1/lots/{}/clearance", k2.lot)).await.ok();
    let items = clearance["items"].as_array().cloned().unwrap_or_default();
    let item = items.iter().find(|item| item["check"] == "CCP-1").expect("the item");
    let stands = (word(&item["state"]), word(&item["satisfiedBy"]));
    assert_eq!(stands, ("missed".to_owned(), "covered".to_owned()));
}

/// Required 6: The 96 cases are run again after a good challenge: 95 pass, one is rejected. Gives
/// its serial and the record of what was found.
async fn run_again(day: &mut Day, dock: &Dock) -> (String, String) {
    day.at("15:20").await;
    let (k3, bad) = (&dock.k3, dock.doubtful[95].clone());
    day.challenge(&k3.product.plan, "Detector 2", true, "15:10").await;
    let body = json!({
        "id": id(), "place": day.place("Detector 2"), "passed": dock.doubtful[..95],
        "rejected": [bad], "note": "A steel sliver of 3 mm", "observedAt": t("15:18"),
    });
    let rerun = day.post("ines", "/v1/reruns", &body).await.ok();
    assert!(!word(&rerun["hold"]).is_empty());
    day.challenge(&k3.product.plan, "Detector 2", true, "15:20").await;
    let body = json!({
        "id": id(), "lot": k3.lot, "serial": bad, "what": "Steel sliver", "sizeMm": "3",
        "foundAt": "Detector 2", "knivesAndPlates": "Grinder plate 2 is chipped.",
        "observedAt": t("15:20"),
    });
    let finding = day.post("ines", "/v1/foreign-material", &body).await.ok();
    day.close_deviation(&dock.deviation, "release_with_support").await.ok();
    (bad, word(&finding["foreignMaterial"]))
}

/// Required 6: QA must say why the 316 are not touched; after the review 95 leave, the one does
/// not.
async fn free_after_review(day: &Day, dock: &Dock, (bad, finding): (&str, &str)) {
    let (k3, rest) = (&dock.k3, &dock.doubtful[..95]);
    // Four of them stood on P4, and came off it.
    let p7 = day.pallet("P7", rest, "15:20").await;
    loading(day, k3, &["38.0"], "15:20").await;
    let refused = ship(day, &p7, "15:20").await.expect(409);
    assert!(refused.text.to_lowercase().contains("foreign"), "{}", refused.text);
    let body = json!({ "id": id(), "isEarlierTouched": false,
        "why": "All of the 316 passed before a good challenge of the same detector." });
    let (subject, path) =
        (format!("foreign_material:{finding}"), format!("/v1/foreign-material/{finding}/answer"));
    day.sign("dana", ("Verification/AnswerForeignMaterial", &subject), (&path, &body)).await.ok();
    let refused = ship(day, &p7, "15:20").await.expect(409);
    assert!(refused.text.contains("review"), "95 cases are free after review: {}", refused.text);
    day.review(&k3.lot).await.ok();
    assert_eq!(ship(day, &p7, "15:20").await.ok()["cases"], 95);
    let last = day.pallet("P8", &[bad.to_owned()], "15:20").await;
    let refused = ship(day, &last, "15:20").await.expect(409);
    assert!(refused.text.contains(bad), "{}", refused.text);
}
