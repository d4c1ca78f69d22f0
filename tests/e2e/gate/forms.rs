//! One whole entry of each form of making, shipping, cooking and verification, pinned for ever.
//! It never pins an id or a hash: each stands as the place at which it was first named.
//!
//! With UPDATE=1 in the environment the golden files are written anew.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use super::day::{Day, id, lb, t, word};
use super::goods::{self, Making, Product, ROPE, cases, serials};

/// Forms that the path's journey pins by their shape, and forms that other golden files pin.
const PINNED: [&str; 3] = ["haccp.reading/1", "haccp.reading/2", "genealogy.lot/3"];

const COOKED: [(&str, f64); 4] =
    [("05:40", 40.0), ("07:00", 120.0), ("10:05", 158.0), ("10:12", 160.0)];

/// Pork in a batch in a rack that is cooked; stock in cases on a pallet.
struct Floor {
    day: Day,
    product: Product,
    meat: String,
    batch: String,
    mixed: String,
    racks: Vec<String>,
    stock: String,
    packed: Vec<String>,
    pallet: String,
}

/// The plan of stock, with a limit that nobody has read yet.
fn stocks() -> Value {
    json!({ "content": { "name": "Stock at opening", "binds": "opening_stock", "checks": [{
        "code": "S-1", "title": "Temperature in store", "class": "ccp", "kind": "each",
        "hazard": "Growth of pathogens", "hazardKind": "pathogen", "unit": "[degF]",
        "atMost": "40", "source": "the plant's own limit",
        "dispositions": ["release_with_support", "destroy"],
    }] } })
}

impl Floor {
    async fn made() -> Self {
        let mut day = Day::open().await;
        day.at("14:00").await;
        let receiving = day.plan(&goods::receiving()).await;
        let product = day.product(ROPE).await;
        let meat = day.meat(&receiving, "500", "05:00").await;
        let mixed = id();
        let batch = id();
        let body = json!({
            "id": mixed, "kind": "mix", "place": day.place("Mixer 1"), "observedAt": t("05:10"),
            "inputs": [{ "lot": meat, "mass": lb("180") }],
            "outputs": [{ "lot": batch, "kind": "batch", "material": product.name,
                "mass": lb("190"), "plan": product.plan, "useBy": "2026-11-27" }],
            "additions": [{ "name": "Ice", "mass": lb("12.5") }],
        });
        day.post("ines", "/v1/transformations", &body).await.ok();
        let hang = Making {
            of: "rack",
            product: &product,
            inputs: &[(&batch, "180")],
            masses: &["90", "90"],
            place: "House 2",
            at: "05:30",
        };
        let racks = day.make("rack", &hang).await;
        let (stock, packed, pallet) = Self::stock(&day).await;
        Self { day, product, meat, batch, mixed, racks, stock, packed, pallet }
    }

    /// Opening stock in four cases on a pallet.
    async fn stock(day: &Day) -> (String, Vec<String>, String) {
        let (plan, stock) = (day.plan(&stocks()).await, id());
        let body = json!({
            "id": stock, "material": "No. 1 Rope", "mass": lb("70"), "plan": plan,
            "place": day.place("Cooler 4"), "observedAt": t("06:00"),
            "statement": "Counted on 24 November; papers of the day in binder 12.",
        });
        let signed = ("Making/TakeUpOpeningStock", format!("lot:{stock}"));
        let signed = (signed.0, signed.1.as_str());
        day.sign("dana", signed, ("/v1/opening-stock", &body)).await.ok();
        let made = cases("F", 5, "07:00", "07:10");
        day.pack(&stock, "Detector 1", &made).await;
        let packed = serials(&made);
        let pallet = day.pallet("F1", &packed[..4], "07:30").await;
        (stock, packed, pallet)
    }

    async fn signed(&self, signed: (&str, &str), path: &str, body: &Value) -> Value {
        self.day.sign("dana", signed, (path, body)).await.ok()
    }

    /// An input added late, a transfer, a fact that broke something and its answer, a destruction.
    async fn making(&self) {
        let day = &self.day;
        let body = json!({ "id": id(), "lot": self.meat, "mass": lb("2.5"),
            "reason": "Left out of the first entry", "observedAt": t("05:10"), "happened": true });
        let path = format!("/v1/transformations/{}/inputs", self.mixed);
        day.post("ines", &path, &body).await.ok();
        let body = json!({ "id": id(), "lots": [self.batch], "pallets": [self.pallet],
            "place": day.place("Cold store"), "observedAt": t("08:00") });
        day.post("lee", "/v1/transfers", &body).await.ok();
        let too_much = Making {
            of: "rework",
            product: &self.product,
            inputs: &[(&self.batch, "900")],
            masses: &["800"],
            place: "Mixer 1",
            at: "09:00",
        };
        let [(lot, mass)] = too_much.inputs else { return };
        let body = json!({
            "id": id(), "kind": "rework", "place": day.place(too_much.place), "happened": true,
            "inputs": [{ "lot": lot, "mass": lb(mass) }], "observedAt": t(too_much.at),
            "outputs": [{ "lot": id(), "kind": too_much.of, "material": self.product.name,
                "mass": lb("800"), "plan": self.product.plan }],
        });
        let made = day.post("ines", "/v1/transformations", &body).await.ok();
        let item = word(&made["items"][0]["item"]);
        let body = json!({ "id": id(), "answer": "Two scales were read as one; counted again." });
        let path = format!("/v1/lot-items/{item}/answer");
        let subject = format!("item:{item}");
        self.signed(("Making/AnswerLotItem", &subject), &path, &body).await;
        let body = json!({ "id": id(), "lot": self.meat, "mass": lb("10"),
            "reason": "Denatured; Jo saw it.", "observedAt": t("10:00") });
        let subject = format!("lot:{}", self.meat);
        self.signed(("Making/RecordDestruction", &subject), "/v1/destructions", &body).await;
    }

    /// Cases off a pallet, run again, held; a pallet that left as a fact, and what failed after it.
    async fn shipping(&self) {
        let day = &self.day;
        let body = json!({ "id": id(), "takenOff": [self.packed[3]], "reason": "A torn liner",
            "observedAt": t("11:00") });
        let path = format!("/v1/pallets/{}/changes", self.pallet);
        day.post("lee", &path, &body).await.ok();
        let body = json!({ "id": id(), "place": day.place("Detector 1"),
            "passed": [self.packed[3]], "rejected": [self.packed[4]], "note": "A steel sliver",
            "observedAt": t("11:10") });
        day.post("ines", "/v1/reruns", &body).await.ok();
        let hold = id();
        let body = json!({ "id": hold, "lots": [self.stock], "scope": "cases",
            "cases": [self.packed[3]], "reason": "Torn liners" });
        let subject = format!("hold:{hold}");
        self.signed(("Genealogy/PlaceHold", &subject), "/v1/holds", &body).await;
        let mut body = day.ship_body(&self.pallet, "12:00");
        body["happened"] = json!(true);
        day.post("lee", "/v1/shipments", &body).await.ok();
        let plan = word(&day.get("dana", &format!("/v1/lots/{}", self.stock)).await.ok()["plan"]);
        let item = goods::Item { plan: &plan, check: "S-1", lots: &[&self.stock] };
        day.reading(&item, &["44"], "12:30").await;
        day.until("/v1/after-shipment", |found| found["records"][0].is_object()).await;
    }

    /// A cook with a second probe that fell; what nobody looked at is covered by the first.
    async fn cooking(&self) {
        let day = &self.day;
        let rack = &self.racks[..1];
        let seats = [("P1", rack[0].as_str()), ("P2", rack[0].as_str())];
        let load = day.load("House 2", rack, &seats, "05:40").await;
        day.samples(&load, "P2", &[("05:40", 40.0), ("05:41", 40.5)]).await;
        let body = json!({ "id": id(), "probe": "P2", "leftOutFrom": t("05:42"),
            "reason": "It fell out of its piece." });
        let (subject, path) = (format!("load:{load}"), format!("/v1/loads/{load}/probes-left-out"));
        self.signed(("Cooking/LeaveProbeOut", &subject), &path, &body).await;
        day.samples(&load, "P1", &COOKED).await;
        let body = day.pull_body(rack, "10:12");
        day.post("marcus", &format!("/v1/loads/{load}/pulls"), &body).await.ok();
        let body = json!({
            "id": id(), "lots": [self.racks[0]], "plan": self.product.plan, "planVersion": 1,
            "check": "CCP-1", "missedFrom": t("09:00"), "missedTo": t("10:00"), "evidence": load,
            "cause": "The supervisor was at the peeler.",
            "prevention": "The second supervisor takes the look.",
        });
        let signed = ("Verification/CoverMissedCheck", "check:CCP-1");
        self.signed(signed, "/v1/missed-checks", &body).await;
    }

    /// Instruments, challenges, deviations, foreign material, stations, a review.
    async fn verification(&self) {
        let day = &self.day;
        let degrees = |value: &str| json!({ "value": value, "unit": "[degF]" });
        let body = json!({ "id": id(), "name": "T-03", "kind": "thermometer",
            "tolerance": degrees("1.0") });
        let made = day.post("dana", "/v1/instruments", &body).await.ok();
        let instrument = word(&made["instrument"]);
        let body = json!({ "id": id(), "reference": degrees("32.0"), "shown": degrees("32.4"),
            "observedAt": t("04:30"), "note": "In ice" });
        let path = format!("/v1/instruments/{instrument}/checks");
        day.post("marcus", &path, &body).await.ok();
        day.challenge(&self.product.plan, "Detector 2", true, "05:00").await;
        let body = json!({ "id": id(), "lots": [self.batch], "plan": self.product.plan,
            "planVersion": 1, "check": "CCP-1", "what": "Nobody wrote down the core." });
        let opened = day.post("dana", "/v1/deviations", &body).await.ok();
        let deviation = word(&opened["deviation"]);
        day.until("/v1/holds", |found| found["holds"][0].is_object()).await;
        day.close_deviation(&deviation, "release_with_support").await.ok();
        let body = json!({ "id": id(), "lot": self.stock, "serial": self.packed[4],
            "what": "Steel sliver", "sizeMm": "3", "foundAt": "Detector 1",
            "knivesAndPlates": "Plate 2 is chipped.", "observedAt": t("11:10") });
        let found = day.post("ines", "/v1/foreign-material", &body).await.ok();
        let finding = word(&found["foreignMaterial"]);
        let body = json!({ "id": id(), "isEarlierTouched": false, "why": "One plate." });
        let (subject, path) = (
            format!("foreign_material:{finding}"),
            format!("/v1/foreign-material/{finding}/answer"),
        );
        self.signed(("Verification/AnswerForeignMaterial", &subject), &path, &body).await;
        self.stations().await;
        day.review(&self.meat).await.ok();
    }

    async fn stations(&self) {
        let (day, station) = (&self.day, id());
        let body = json!({ "id": id(), "station": station, "stationName": "Tablet 3",
            "place": day.place("House 1") });
        day.post("walt", "/v1/station-places", &body).await.ok();
        let body = json!({ "id": id(), "queued": 2 });
        let path = format!("/v1/stations/{station}/heard");
        day.post("ines", &path, &body).await.ok();
        let body = json!({ "id": id(), "lookFrom": t("05:00"), "lookTo": t("13:00"),
            "note": "Its two entries are on paper." });
        let (subject, path) =
            (format!("station:{station}"), format!("/v1/stations/{station}/looks"));
        self.signed(("Verification/LookAtStation", &subject), &path, &body).await;
    }
}

/// The first entry of each form, in the order of their writing.
async fn entries(day: &Day) -> BTreeMap<String, Value> {
    let client = day.plant.database.connect().await;
    let query = "SELECT form, entry FROM audit.leaf WHERE form LIKE 'genealogy.%' \
        OR form LIKE 'haccp.%' ORDER BY xid, id";
    let mut found = BTreeMap::new();
    for leaf in client.query(query, &[]).await.expect("the leaves") {
        let entry: Value = serde_json::from_str(leaf.get(1)).expect("an entry");
        found.entry(leaf.get(0)).or_insert(entry);
    }
    found
}

/// An entry with the place of its first naming for each id, and a word for each hash.
fn named(value: &mut Value, known: &mut Vec<String>) {
    match value {
        Value::Object(object) => object.values_mut().for_each(|inner| named(inner, known)),
        Value::Array(items) => items.iter_mut().for_each(|inner| named(inner, known)),
        Value::String(text) => {
            let words = text.split_inclusive(|one: char| !one.is_ascii_hexdigit() && one != '-');
            *text = words.map(|part| renamed(part, known)).collect();
        }
        _ => {}
    }
}

fn renamed(part: &str, known: &mut Vec<String>) -> String {
    let word = part.trim_end_matches(|one: char| !one.is_ascii_hexdigit() && one != '-');
    let rest = &part[word.len()..];
    let is_hash = word.len() == 64 && !word.contains('-');
    if is_hash {
        return format!("HASH{rest}");
    }
    if word.parse::<uuid::Uuid>().is_err() || !word.contains('-') {
        return part.to_owned();
    }
    let at = known.iter().position(|one| one == word).unwrap_or_else(|| {
        known.push(word.to_owned());
        known.len() - 1
    });
    format!("ID{}{rest}", at + 1)
}

/// A form's name and version.
fn parts(form: &str, between: char) -> (String, u32) {
    let (name, version) = form.rsplit_once(between).expect("a name and a version");
    (name.to_owned(), version.parse().expect("a version"))
}

#[tokio::test]
async fn a_whole_entry_of_each_form_stands() {
    let floor = Floor::made().await;
    floor.cooking().await;
    floor.verification().await;
    floor.making().await;
    floor.shipping().await;
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/gate");
    let mut changed = Vec::new();
    let mut written = BTreeMap::new();
    for (form, mut entry) in entries(&floor.day).await {
        if PINNED.contains(&form.as_str()) {
            continue;
        }
        named(&mut entry, &mut Vec::new());
        let text = serde_json::to_string_pretty(&entry).expect("JSON") + "\n";
        let file = folder.join(format!("{}.json", form.replace('/', ".")));
        if std::env::var_os("UPDATE").is_some() {
            fs::write(&file, &text).expect("the golden file");
        }
        let golden = fs::read_to_string(&file).unwrap_or_default();
        if golden != text {
            changed.push(format!("{form} is now:\n{text}"));
        }
        let (name, version) = parts(&form, '/');
        let newest = written.entry(name).or_insert(version);
        *newest = version.max(*newest);
    }
    assert!(changed.is_empty(), "{}", changed.join("\n"));
    // What older programs wrote stands for ever: a file is of a form that is written, or was.
    for file in fs::read_dir(&folder).expect("the golden files") {
        let file = file.expect("a file").file_name().to_string_lossy().into_owned();
        let (name, version) = parts(file.trim_end_matches(".json"), '.');
        let newest = written.get(&name).copied().unwrap_or_default();
        assert!(version <= newest, "{file} is of no form that the program writes");
    }
    floor.day.close().await;
}
