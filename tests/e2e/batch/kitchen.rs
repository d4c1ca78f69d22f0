//! What a batch of No. 1 Rope needs: materials, product, label, and a formula in force.
//! It never writes around the doors: everything comes in as a client would send it.

use std::ops::Deref;

use harness::plant::START;
use harness::stock::Worker;
use harness::{Answer, Plant};
use platform::records::new_id;
use serde_json::{Value, json};

/// When everything began to hold.
pub const LONG_AGO: &str = "2026-01-01T00:00:00Z";

/// A plant that makes one product.
pub struct Kitchen {
    pub plant: Plant,
    book: Book,
}

impl Deref for Kitchen {
    type Target = Book;

    fn deref(&self) -> &Book {
        &self.book
    }
}

/// What is known of one product and all that goes into it.
pub struct Book {
    /// Somebody who may do all that a batch asks.
    pub worker: Worker,
    pub pork: String,
    pub cure: String,
    pub erythorbate: String,
    pub blend: String,
    pub water: String,
    pub rework: String,
    pub product: String,
    pub label: String,
    pub formula: String,
    /// Lots by the name of their material.
    pub pork_lot: String,
    pub cure_lot: String,
    pub erythorbate_lot: String,
}

fn id() -> String {
    new_id().to_string()
}

/// A mass in pounds.
pub fn pounds(value: &str) -> Value {
    json!({ "value": value, "unit": "[lb_av]" })
}

impl Kitchen {
    /// A kitchen with its formula in force; the target of the cure stands on its limit.
    pub async fn start() -> Self {
        let kitchen = Self::without_formula().await;
        kitchen.put_in_force().await;
        kitchen
    }

    /// A kitchen without a formula.
    pub async fn without_formula() -> Self {
        let plant = Plant::start().await;
        let book = Book::of(&plant, START).await;
        Self { plant, book }
    }

    /// The same kitchen for another formula.
    pub fn with_another_formula(self) -> Self {
        let book = Book { formula: id(), ..self.book };
        Self { book, ..self }
    }
}

impl Book {
    /// Makes materials, a product and its label known at an instant; no formula yet.
    pub async fn of(plant: &Plant, at: &str) -> Self {
        let roles = ["DEVELOPER", "QA", "MANAGER", "OPERATOR"];
        let at = at.parse().expect("an instant");
        let worker = Worker::new(&plant.http, plant.signer(), &roles, at);
        let mut kitchen = Self {
            worker,
            pork: String::new(),
            cure: String::new(),
            erythorbate: String::new(),
            blend: String::new(),
            water: String::new(),
            rework: String::new(),
            product: String::new(),
            label: String::new(),
            formula: id(),
            pork_lot: id(),
            cure_lot: id(),
            erythorbate_lot: id(),
        };
        kitchen.materials().await;
        kitchen.product = kitchen
            .made(
                "/v1/products",
                "product",
                json!({
                    "name": "No. 1 Rope", "productClass": "comminuted",
                    "standardId": "us.composition.cooked-sausage",
                }),
            )
            .await;
        kitchen.label = kitchen.made("/v1/labels", "label", revision("3", &[], LONG_AGO)).await;
        kitchen
    }

    async fn materials(&mut self) {
        let stated = |fat: &str, moisture: &str, protein: &str, salt: &str| {
            let mut all = json!({ "fatPct": fat, "moisturePct": moisture });
            all["proteinPct"] = json!(protein);
            all["saltPct"] = json!(salt);
            all
        };
        let with = |mut content: Value, statement: &str| {
            content["statement"] = json!(statement);
            content
        };
        let agent = |agent: &str, strength: &str, mut content: Value| {
            content["agents"] = json!([{ "agent": agent, "strengthPct": strength }]);
            content
        };
        let pork = with(stated("28", "55", "16", "0"), "pork");
        self.pork = self.material("Pork trim 72", "meat", pork).await;
        let cure = with(stated("0", "0", "0", "93.75"), "cure (salt, sodium nitrite)");
        self.cure = self.material("Cure mix", "other", agent("nitrite", "6.25", cure)).await;
        let pure = with(stated("0", "0", "0", "0"), "sodium erythorbate");
        let pure = agent("erythorbate", "100", pure);
        self.erythorbate = self.material("Sodium erythorbate", "other", pure).await;
        let blend = with(stated("2", "8", "6", "60"), "seasoning (salt, pepper)");
        self.blend = self.material("Spice blend No. 1", "other", blend).await;
        let water = with(stated("0", "100", "0", "0"), "water");
        self.water = self.material("Water", "water", water).await;
        let rework = with(stated("30", "54", "14", "2"), "");
        self.rework = self.material("Cooked rework of No. 1", "rework", rework).await;
    }

    /// A material with a specification in force; gives its id.
    pub async fn material(&self, name: &str, kind: &str, content: Value) -> String {
        let body = json!({ "name": name, "kind": kind });
        let material = self.made("/v1/materials", "material", body).await;
        self.specify(&material, None, content, LONG_AGO).await;
        material
    }

    /// Adds a specification.
    pub async fn specify(&self, material: &str, lot: Option<&str>, content: Value, from: &str) {
        let path = format!("/v1/materials/{material}/specifications");
        let mut body = json!({ "id": id(), "content": content, "inForceFrom": from });
        if let Some(lot) = lot {
            body["lot"] = json!(lot);
        }
        self.worker.client.post(&path, &body).await.ok();
    }

    /// Records something; gives its id.
    pub async fn made(&self, path: &str, kind: &str, mut body: Value) -> String {
        body["id"] = json!(id());
        let made = self.worker.client.post(path, &body).await.ok();
        made[kind].as_str().expect("an id").to_owned()
    }

    /// The content of the formula, with the share of its cure mix.
    pub fn content(&self, cure_pct: &str) -> Value {
        json!({
            "name": "No. 1 Rope", "product": self.product, "label": self.label,
            "block": pounds("400.0"), "blockDivision": pounds("0.5"), "expectedYieldPct": "85",
            "lines": [
                { "material": self.pork, "pct": "100" },
                { "material": self.water, "pct": "10", "division": pounds("0.5") },
                { "material": self.blend, "pct": "2", "division": pounds("0.005") },
                { "material": self.cure, "pct": cure_pct, "kit": "CURE",
                  "division": pounds("0.005") },
                { "material": self.erythorbate, "pct": "0.0546875", "kit": "CURE",
                  "division": { "value": "0.1", "unit": "g" } },
                { "material": self.rework, "pct": "10", "division": pounds("0.5") },
            ],
            "kits": [{ "code": "CURE", "title": "Cure and accelerator" }],
            "steps": [{ "code": "MIX", "title": "Mixing", "checks": [{
                "code": "T", "title": "Temperature of the mix", "unit": "[degF]", "atMost": "40",
            }] }],
        })
    }

    /// Writes the draft for the first time.
    pub async fn draft(&self, content: &Value) -> Answer {
        let path = format!("/v1/formulas/{}/draft", self.formula);
        let body = json!({ "content": content });
        self.worker.client.put_with(&path, &body, &[("if-none-match", "*")]).await
    }

    /// Asks for the approval of the draft, signed.
    pub async fn approve(&self, draft_version: i64, accept_warnings: bool) -> Answer {
        let body = json!({
            "id": id(), "draftVersion": draft_version, "acceptWarnings": accept_warnings,
        });
        let path = format!("/v1/formulas/{}/approve", self.formula);
        let signed = ("hankbook.v1.Formulas/ApproveFormula", format!("formula:{}", self.formula));
        self.worker.sign(&path, &body, (signed.0, &signed.1)).await
    }

    /// Puts the formula in force, its warnings accepted.
    pub async fn put_in_force(&self) {
        self.draft(&self.content("0.25")).await.ok();
        self.approve(1, true).await.ok();
    }

    /// The body of a kit: so much of a lot of cure mix, and the erythorbate of its formula.
    pub fn kit(&self, lot: &str, (cure_lot, cure): (&str, &str), block: &str) -> Value {
        json!({
            "id": id(), "lot": lot, "formula": self.formula, "formulaVersion": 1, "kit": "CURE",
            "block": pounds(block),
            "contents": [
                { "material": self.cure, "lot": cure_lot, "mass": pounds(cure) },
                { "material": self.erythorbate, "lot": self.erythorbate_lot,
                  "mass": pounds("0.21875") },
            ],
        })
    }

    /// A recorded kit of 1.000 lb of the usual lot for 400.0 lb; gives its lot.
    pub async fn usual_kit(&self) -> String {
        let lot = id();
        let body = self.kit(&lot, (&self.cure_lot, "1.000"), "400.0");
        self.worker.client.post("/v1/kits", &body).await.ok();
        lot
    }

    /// An input of a loose lot.
    pub fn loose(&self, material: &str, lot: &str, mass: &str) -> Value {
        json!({ "lot": lot, "material": material, "mass": pounds(mass) })
    }

    /// The raw meat as an input.
    pub fn meat(&self, mass: &str) -> Value {
        self.loose(&self.pork, &self.pork_lot, mass)
    }

    /// The body of a check of these inputs.
    pub fn question(&self, inputs: Value) -> Value {
        json!({ "formula": self.formula, "formulaVersion": 1, "inputs": inputs })
    }

    /// What a batch of these inputs is judged.
    pub async fn check(&self, inputs: Value) -> Value {
        self.worker.client.post("/v1/batch-checks", &self.question(inputs)).await.ok()
    }
}

/// A kit as an input.
pub fn kit(lot: &str) -> Value {
    json!({ "kit": true, "lot": lot })
}

/// A revision of the label of No. 1 Rope.
pub fn revision(revision: &str, allergens: &[&str], from: &str) -> Value {
    let seasoning =
        if allergens.contains(&"soy") { "salt, pepper, soy flour" } else { "salt, pepper" };
    json!({
        "item": "No. 1 Rope", "revision": revision, "allergens": allergens, "inForceFrom": from,
        "statement": format!(
            "Ingredients: Pork, water, seasoning ({seasoning}), cure (salt, sodium nitrite), \
             sodium erythorbate."
        ),
    })
}

/// The codes of refusals, in their order.
pub fn codes(reasons: &Value) -> Vec<&str> {
    let reasons = reasons.as_array().map(Vec::as_slice).unwrap_or_default();
    reasons.iter().filter_map(|reason| reason["code"].as_str()).collect()
}

/// The numbers of an agent in the checks of an answer.
pub fn agent<'a>(answer: &'a Value, agent: &str) -> &'a Value {
    let checks = answer["checks"].as_array().expect("checks");
    let found = checks.iter().find(|check| check["code"] == "AGENT" && check["subject"] == agent);
    &found.expect("the agent is judged")["agent"]
}
