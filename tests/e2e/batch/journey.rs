//! One day from receiving to the truck: formula, kit, batch, cook, chill, pack-off, review, ship,
//! by REST, its key steps by gRPC; and what the dock says when a lot turns out to bring soy.
//! It never does what a person could not: everything goes through a door of the contract.

use harness::Answer;
use serde_json::{Value, json};

use super::kitchen::{Book, codes};
use super::mixer::kit_plan;
use crate::gate::day::{Day, id, lb, t, word};
use crate::gate::goods::{self, Item, Making, Product, ROPE, cases, reasons, serials};
use crate::path::crew::PASSWORD;
use crate::path::grpc;
use crate::path::ledger::{Place, assert_replayed};

const COOKED: &[(&str, f64)] =
    &[("05:50", 40.0), ("07:00", 120.0), ("10:05", 158.0), ("10:12", 160.0)];
const CHILLED: &[(&str, f64)] =
    &[("10:12", 160.0), ("10:30", 130.0), ("11:30", 78.0), ("13:20", 38.0), ("13:30", 37.0)];

/// The day, with what is known of its one product.
struct Works {
    day: Day,
    book: Book,
    product: Product,
    receiving: String,
}

impl Works {
    /// Opens the plant and puts formula and plans in force, then goes to the afternoon.
    async fn open() -> Self {
        let mut day = Day::open().await;
        let book = Book::of(&day.plant, &t("00:30")).await;
        book.put_in_force().await;
        day.at("13:35").await;
        let receiving = day.plan(&goods::receiving()).await;
        let product = day.product(ROPE).await;
        Self { day, book, product, receiving }
    }

    /// A received lot of a material that met its receiving check.
    async fn receive(&self, material: &str, mass: &str) -> String {
        let lot = id();
        let body = json!({
            "id": lot, "material": material, "supplier": self.day.supplier,
            "supplierLot": "H-4411", "mass": lb(mass), "place": self.day.place("Receiving"),
            "plan": self.receiving, "observedAt": t("05:00"),
        });
        self.day.post("ines", "/v1/lots", &body).await.ok();
        let item = Item { plan: &self.receiving, check: "R-1", lots: &[&lot] };
        self.day.reading(&item, &["38.0"], "05:00").await;
        lot
    }

    /// A received lot of the blend that brings soy by its own specification.
    async fn soy_lot(&self) -> String {
        let lot = self.receive("Spice blend No. 1", "100").await;
        self.specify_soy(&lot).await;
        lot
    }

    /// A specification of a lot of the blend, by which it brings soy.
    async fn specify_soy(&self, lot: &str) {
        let body = json!({
            "id": id(), "lot": lot, "inForceFrom": t("00:30"),
            "content": {
                "fatPct": "2", "moisturePct": "8", "proteinPct": "6", "saltPct": "58",
                "statement": "seasoning (salt, pepper, soy flour)", "allergens": ["soy"],
            },
        });
        let path = format!("/v1/materials/{}/specifications", self.book.blend);
        self.day.post("dana", &path, &body).await.ok();
    }

    /// A kit for 400 lb of meat, weighed up and recorded.
    async fn kit(&self, cure: &str, erythorbate: &str) -> String {
        let (kit, plan) = (id(), self.day.plan(&kit_plan()).await);
        let held = [(cure, "1.000"), (erythorbate, "0.21875")];
        let inputs = held.map(|(lot, mass)| json!({ "lot": lot, "mass": lb(mass) }));
        let body = json!({
            "id": id(), "kind": "weigh_up", "place": self.day.place("Mixer 1"),
            "inputs": inputs, "observedAt": t("05:05"),
            "outputs": [{ "lot": kit, "kind": "kit", "material": "Kit CURE of No. 1 Rope",
                "mass": lb("1.21875"), "plan": plan }],
        });
        self.day.post("ines", "/v1/transformations", &body).await.ok();
        let materials = [&self.book.cure, &self.book.erythorbate];
        let contents = held.iter().zip(materials).map(
            |((lot, mass), material)| json!({ "material": material, "lot": lot, "mass": lb(mass) }),
        );
        let body = json!({
            "id": id(), "lot": kit, "formula": self.book.formula, "formulaVersion": 1,
            "kit": "CURE", "block": lb("400"), "contents": contents.collect::<Vec<_>>(),
        });
        self.day.post("ines", "/v1/kits", &body).await.ok();
        kit
    }

    /// Each of these calls by a client that knows reflection alone; gives each answer.
    async fn by_grpc(&self, calls: &[(&str, &str, &Value)]) -> Vec<Value> {
        let calls = calls
            .iter()
            .map(|(who, method, body)| json!({ "who": who, "method": method, "body": body }));
        let given = json!({
            "address": self.day.plant.grpc.trim_start_matches("http://"), "password": PASSWORD,
            "calls": calls.collect::<Vec<_>>(),
        });
        grpc::run(&given).await.as_array().cloned().unwrap_or_default()
    }

    /// Mixes a batch, hangs it, cooks it and chills it; gives its rack.
    async fn cooked(&self, batch: &str) -> String {
        let hang = Making {
            of: "rack",
            product: &self.product,
            inputs: &[(batch, "440")],
            masses: &["440"],
            place: "House 1",
            at: "05:40",
        };
        let racks = self.day.make("rack", &hang).await;
        let load = self.day.load("House 1", &racks, &[("P1", racks[0].as_str())], "05:50").await;
        self.day.samples(&load, "P1", COOKED).await;
        let path = format!("/v1/loads/{load}/pulls");
        self.day.post("marcus", &path, &self.day.pull_body(&racks, "10:12")).await.ok();
        self.day.logger(&load, &racks[0], CHILLED).await;
        racks[0].clone()
    }

    /// Packs a rack off under the label in force, between two good challenges, on two pallets.
    async fn packed(&self, rack: &str) -> (String, [String; 2]) {
        let off = Making {
            of: "finished",
            product: &self.product,
            inputs: &[(rack, "400")],
            masses: &["400"],
            place: "Cooler 4",
            at: "13:31",
        };
        let lot = self.day.make("pack_off", &off).await.remove(0);
        let all = cases("C", 20, "11:00", "12:00");
        let packed = all
            .iter()
            .map(|(serial, at)| json!({ "serial": serial, "mass": lb("14"), "packedAt": at }));
        let mut body = json!({
            "id": id(), "lot": lot, "place": self.day.place("Detector 1"),
            "cases": packed.collect::<Vec<_>>(), "observedAt": t("12:00"), "labelRevision": "2",
        });
        let wrong = self.day.post("ines", "/v1/packings", &body).await.expect(409);
        assert_eq!(codes(&wrong.json["reasons"]), ["LABEL_NOT_IN_FORCE"]);
        body["labelRevision"] = json!("3");
        self.day.post("ines", "/v1/packings", &body).await.ok();
        self.day.challenge(&self.product.plan, "Detector 1", true, "12:05").await;
        let serials = serials(&all);
        let first = self.day.pallet("P1", &serials[..12], "13:32").await;
        (lot, [first, self.day.pallet("P2", &serials[12..], "13:32").await])
    }

    async fn ship(&self, pallet: &str) -> Answer {
        let body = self.day.ship_body(pallet, "14:45");
        self.day.post("lee", "/v1/shipments", &body).await
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_batch_goes_from_receiving_to_the_truck() {
    let mut works = Works::open().await;
    let pork = works.receive("Pork trim 72", "500").await;
    let cure = works.receive("Cure mix", "50").await;
    let erythorbate = works.receive("Sodium erythorbate", "10").await;
    let blend = works.receive("Spice blend No. 1", "100").await;
    let kit = works.kit(&cure, &erythorbate).await;
    let batch = mixed(&works, (&pork, &blend, &kit)).await;
    let rack = works.cooked(&batch).await;
    let (lot, [first, second]) = works.packed(&rack).await;

    works.day.at("14:45").await;
    let item = Item { plan: &works.product.plan, check: "L-1", lots: &[&lot] };
    works.day.reading(&item, &["37.2", "38.0"], "14:45").await;
    works.day.review(&lot).await.ok();
    let body = works.day.ship_body(&first, "14:45");
    let asked = json!({ "pallets": [first, second] });
    let [check, shipped]: [Value; 2] = works
        .by_grpc(&[("lee", "Shipping/CheckShipment", &asked), ("lee", "Shipping/Ship", &body)])
        .await
        .try_into()
        .expect("two answers");
    assert_eq!(check["answer"]["pallets"][1]["isClear"], true, "{check}");
    let shipped = &shipped["answer"];
    assert_eq!(shipped["cases"], 12, "{shipped}");
    // Meat, cure mix, erythorbate, blend, kit, batch, rack, finished lot.
    assert_eq!(shipped["closureLots"], 8, "{shipped}");
    let path = format!("/v1/shipments/{}", word(&shipped["shipment"]));
    let by_rest = works.day.get("lee", &path).await.ok();
    assert_eq!((&by_rest["isUnclear"], &by_rest["cases"]), (&json!(false), &json!(12)));
    the_rest_stays(&works, &blend, &second).await;
    // What haccp was told of lots is there by now: the replay finds nothing amiss.
    assert_replayed(Place::Database(&works.day.plant.database.url)).await;
    works.day.close().await;
}

/// Checks a batch on the scales and mixes it, by gRPC; gives its lot.
async fn mixed(works: &Works, (pork, blend, kit): (&str, &str, &str)) -> String {
    let sheet = json!({
        "id": id(), "formula": works.book.formula, "formulaVersion": 1, "block": lb("400"),
    });
    let sheet = works.day.post("ines", "/v1/batch-sheets", &sheet).await.ok();
    assert_eq!(sheet["lines"][1]["target"]["value"].to_string(), "40", "water");
    let water = json!({ "material": works.book.water, "mass": lb("40") });
    let scales = json!({
        "formula": works.book.formula, "formulaVersion": 1, "closing": true,
        "inputs": [
            { "lot": pork, "material": works.book.pork, "mass": lb("400") },
            { "lot": blend, "material": works.book.blend, "mass": lb("8") },
            { "lot": kit, "kit": true }, water,
        ],
    });
    let lots = [(pork, "400"), (blend, "8"), (kit, "1.21875")];
    let inputs = lots.map(|(lot, mass)| json!({ "lot": lot, "mass": lb(mass) }));
    let batch = id();
    let mut body = json!({
        "id": id(), "kind": "mix", "place": works.day.place("Mixer 1"), "inputs": inputs,
        "additions": [{ "name": "water", "mass": lb("40") }], "observedAt": t("05:10"),
        "formula": works.book.formula, "formulaVersion": 1,
        "outputs": [{ "lot": batch, "kind": "batch", "material": "No. 1 Rope", "mass": lb("445"),
            "plan": works.product.plan }],
    });
    let mix = body.clone();
    body["id"] = json!(id());
    body["inputs"][0]["mass"] = lb("388.5");
    body["outputs"][0]["mass"] = lb("430");
    let record = "Making/RecordTransformation";
    let mut soy = scales.clone();
    soy["inputs"][1]["lot"] = json!(works.soy_lot().await);
    let [check, stopped, short, mixed]: [Value; 4] = works
        .by_grpc(&[
            ("ines", "Batching/CheckBatch", &scales),
            ("ines", "Batching/CheckBatch", &soy),
            ("ines", record, &body),
            ("ines", record, &mix),
        ])
        .await
        .try_into()
        .expect("four answers");
    assert_eq!(check["answer"]["mayTip"], true, "{check}");
    let stopped = &stopped["answer"]["otherLots"];
    assert_eq!(stopped[0]["code"], "ALLERGEN_NOT_ON_LABEL", "{stopped}");
    let other = &stopped[0]["lots"];
    assert_eq!((&other[0]["lot"], &other[1]), (&json!(blend), &Value::Null), "{stopped}");
    assert_eq!(other[0]["onHand"]["value"], "100", "{stopped}");
    assert_eq!(short["reasons"], json!(["AGENT_NOT_MET", "AGENT_NOT_MET"]), "{short}");
    let agents = mixed["answer"]["batch"]["agents"].as_array().expect("agents").clone();
    let nitrite = agents.iter().find(|one| one["agent"] == "nitrite").expect("nitrite");
    assert_eq!(nitrite["ppm"], "156.25", "{mixed}");
    batch
}

/// The lot of spice turns out to bring soy: what is still here stays, and the dock says why. While
/// formulas is away nothing leaves at all, and that is said too.
async fn the_rest_stays(works: &Works, blend: &str, pallet: &str) {
    let superuser = works.day.plant.database.connect().await;
    let away = "REVOKE USAGE ON SCHEMA formulas FROM hankbook_formulas";
    superuser.batch_execute(away).await.expect("formulas is away");
    let silent = works.ship(pallet).await.expect(503);
    assert_eq!(codes(&silent.json["reasons"]), ["FORMULAS_AWAY"], "{}", silent.text);
    let back = "GRANT USAGE ON SCHEMA formulas TO hankbook_formulas";
    superuser.batch_execute(back).await.expect("formulas is back");
    works.specify_soy(blend).await;
    let refused = works.ship(pallet).await.expect(409);
    let told = reasons(&refused);
    let lacks = ["ALLERGEN_NOT_ON_LABEL", "INGREDIENT_NOT_ON_LABEL"];
    assert_eq!(refused.codes(), lacks, "{}", refused.text);
    let message = word(&told[0]["message"]);
    assert!(message.contains("soy") && message.contains("revision 3"), "{message}");
    assert!(word(&told[0]["wayOn"]).contains("hold this one for"), "{}", told[0]);
}
