//! A mixer at which batches are really made: lots received, kits weighed up, batches mixed.
//! It never writes around the doors: everything comes in as a client would send it.

use std::ops::Deref;

use harness::Answer;
use harness::plant::START;
use platform::records::new_id;
use serde_json::{Value, json};

use super::kitchen::{Kitchen, pounds};
use crate::gate::goods;
use crate::path::ledger::{Place, assert_replayed};

/// A kitchen with a mixer, plans in force and lots in stock.
pub struct Mixer {
    kitchen: Kitchen,
    place: String,
    supplier: String,
    receiving: String,
    kits: String,
    plan: String,
    pub pork: String,
    /// Cure mix of the usual strength.
    pub cure: String,
    pub erythorbate: String,
    /// Spice blend.
    pub blend: String,
}

impl Deref for Mixer {
    type Target = Kitchen;

    fn deref(&self) -> &Kitchen {
        &self.kitchen
    }
}

/// What goes into a mix, as its lots and pounds.
pub type Lots<'a> = &'a [(&'a str, &'a str)];

/// A plan that binds kits, with a look at the seal that gates nothing.
pub fn kit_plan() -> Value {
    json!({ "content": { "name": "Kits", "binds": "kit", "checks": [{
        "code": "K-1", "title": "Temperature of the spice room", "class": "quality",
        "kind": "each", "unit": "[degF]", "atMost": "75", "source": "the plant's own limit",
    }] } })
}

fn word(value: &Value) -> String {
    value.as_str().expect("a text").to_owned()
}

pub fn id() -> String {
    new_id().to_string()
}

impl Mixer {
    /// A mixer with stock for some batches of 400 lb.
    pub async fn start() -> Self {
        let kitchen = Kitchen::start().await;
        let mut mixer = Self {
            kitchen,
            place: String::new(),
            supplier: String::new(),
            receiving: String::new(),
            kits: String::new(),
            plan: String::new(),
            pork: String::new(),
            cure: String::new(),
            erythorbate: String::new(),
            blend: String::new(),
        };
        let place = json!({ "name": "Mixer 1", "kind": "mixer" });
        mixer.place = mixer.made("/v1/places", "place", place).await;
        let supplier = json!({ "name": "Hollis Meats", "isSupplier": true });
        mixer.supplier = mixer.made("/v1/partners", "partner", supplier).await;
        mixer.receiving = mixer.approved(&goods::receiving()).await;
        mixer.kits = mixer.approved(&kit_plan()).await;
        mixer.plan = mixer.approved(&goods::content(goods::ROPE)).await;
        mixer.pork = mixer.receive("Pork trim 72", "8000").await;
        mixer.cure = mixer.receive("Cure mix", "50").await;
        mixer.erythorbate = mixer.receive("Sodium erythorbate", "10").await;
        mixer.blend = mixer.receive("Spice blend No. 1", "500").await;
        mixer
    }

    async fn approved(&self, content: &Value) -> String {
        let plan = new_id();
        self.worker.approve(plan, &content["content"]).await;
        plan.to_string()
    }

    /// A received lot of a material, in pounds.
    pub async fn receive(&self, material: &str, mass: &str) -> String {
        self.receive_at(material, mass, START).await
    }

    /// The same, which came at an instant.
    pub async fn receive_at(&self, material: &str, mass: &str, at: &str) -> String {
        let body = json!({
            "material": material, "supplier": self.supplier, "supplierLot": "H-4411",
            "mass": pounds(mass), "place": self.place, "plan": self.receiving,
            "observedAt": at,
        });
        self.made("/v1/lots", "lot", body).await
    }

    /// Weighs up a kit: so much of a lot of cure mix with the erythorbate of the formula, recorded
    /// for a block. Gives its lot.
    pub async fn weigh_up(&self, (cure_lot, cure): (&str, &str), block: &str) -> String {
        let lot = id();
        // Both masses have few digits; together they are exact in the thousandths of a grain.
        let total: f64 = cure.parse::<f64>().expect("a number") + 0.21875;
        let body = json!({
            "id": id(), "kind": "weigh_up", "place": self.place, "observedAt": START,
            "inputs": [
                { "lot": cure_lot, "mass": pounds(cure) },
                { "lot": self.erythorbate, "mass": pounds("0.21875") },
            ],
            "outputs": [{
                "lot": lot, "kind": "kit", "material": "Kit CURE of No. 1 Rope",
                "mass": pounds(&format!("{total}")), "plan": self.kits,
            }],
        });
        self.worker.client.post("/v1/transformations", &body).await.ok();
        let mut kit = self.kit(&lot, (cure_lot, cure), block);
        kit["contents"][1]["lot"] = json!(self.erythorbate);
        self.worker.client.post("/v1/kits", &kit).await.ok();
        lot
    }

    /// A kit of 1.000 lb of the usual lot for 400.0 lb.
    pub async fn usual(&self) -> String {
        self.weigh_up((&self.cure, "1.000"), "400.0").await
    }

    /// The body of a mix of these lots with 40 lb of water, by the formula.
    pub fn body(&self, lots: Lots<'_>) -> Value {
        let inputs = lots.iter().map(|(lot, mass)| json!({ "lot": lot, "mass": pounds(mass) }));
        json!({
            "id": id(), "kind": "mix", "place": self.place, "observedAt": START,
            "formula": self.formula, "formulaVersion": 1,
            "inputs": inputs.collect::<Vec<_>>(),
            "additions": [{ "name": "Water", "mass": pounds("40") }],
            "outputs": [self.output("batch", "420")],
        })
    }

    /// A lot of the product to make.
    pub fn output(&self, kind: &str, mass: &str) -> Value {
        json!({
            "lot": id(), "kind": kind, "material": "No. 1 Rope", "mass": pounds(mass),
            "plan": self.plan,
        })
    }

    /// Meat, spice and a kit, as a batch of No. 1 Rope takes them.
    pub fn usual_body(&self, meat: &str, kits: &[&str]) -> Value {
        let mut lots = vec![(self.pork.as_str(), meat), (&self.blend, "8")];
        lots.extend(kits.iter().map(|kit| (*kit, "1.21875")));
        self.body(&lots)
    }

    /// Sends a transformation.
    pub async fn send(&self, body: &Value) -> Answer {
        self.worker.client.post("/v1/transformations", body).await
    }

    /// Makes lots of one kind out of a lot; gives the first.
    pub async fn made_of(&self, kind: &str, (lot, mass): (&str, &str), of: &str) -> String {
        let body = self.step(kind, (lot, mass), of);
        self.send(&body).await.ok();
        word(&body["outputs"][0]["lot"])
    }

    /// The body that makes a lot of one kind out of another.
    pub fn step(&self, kind: &str, (lot, mass): (&str, &str), of: &str) -> Value {
        json!({
            "id": id(), "kind": kind, "place": self.place, "observedAt": START,
            "inputs": [{ "lot": lot, "mass": pounds(mass) }], "outputs": [self.output(of, mass)],
        })
    }

    /// The body that packs 14 lb of a lot.
    pub fn packing(&self, lot: &str, serial: &str) -> Value {
        json!({
            "id": id(), "lot": lot, "place": self.place, "observedAt": START,
            "cases": [{ "serial": serial, "mass": pounds("14"), "packedAt": START }],
        })
    }

    /// The material of the cure mix.
    pub fn cure_material(&self) -> &str {
        &self.kitchen.cure
    }

    /// The material of the meat.
    pub fn pork_material(&self) -> &str {
        &self.kitchen.pork
    }

    /// The material of the spice blend.
    pub fn blend_material(&self) -> &str {
        &self.kitchen.blend
    }

    /// Grams on hand.
    pub async fn on_hand(&self, lot: &str) -> Value {
        self.get(&format!("/v1/lots/{lot}")).await["onHandG"].clone()
    }

    pub async fn get(&self, path: &str) -> Value {
        self.worker.client.get(path).await.ok()
    }

    /// Stops the plant once its replay was found to be right.
    pub async fn finish(self) {
        assert_replayed(Place::Database(&self.plant.database.url)).await;
        self.kitchen.plant.stop().await;
    }
}

/// The id of the first lot that a body makes.
pub fn made(body: &Value) -> String {
    word(&body["outputs"][0]["lot"])
}

/// The reasons of a refusal as one text, which must have these codes.
#[track_caller]
pub fn refused(answer: Answer, codes: &[&str]) -> String {
    let answer = answer.expect(409);
    assert_eq!(answer.codes(), codes, "{}", answer.text);
    answer.json["reasons"].to_string()
}
