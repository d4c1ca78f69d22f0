//! A plant's floor: places, plans, received meat, and what is made of it, by REST.
//! It never judges: the tests look at what came back.

use std::process::Command;
use std::time::Duration;

use harness::plant::START;
use harness::shared::program;
use harness::stock::Worker;
use harness::{Answer, Plant};
use platform::records::new_id;
use serde_json::{Value, json};

/// A plant with one person who may do everything here.
pub struct Floor {
    pub plant: Plant,
    pub qa: Worker,
    pub place: String,
    pub receiving: String,
    pub product: String,
    pub kit: String,
    pub at: String,
    supplier: String,
}

/// A transformation that was taken.
pub struct Made {
    pub json: Value,
}

impl Made {
    /// One of the lots that it made, in the order of the call.
    pub fn lot(&self, at: usize) -> &str {
        self.json["outputs"][at]["lot"].as_str().expect("a made lot")
    }

    pub fn id(&self) -> &str {
        self.json["transformation"].as_str().expect("an id")
    }
}

/// A new id as text.
pub fn id() -> String {
    new_id().to_string()
}

/// A mass in kilograms.
pub fn kg(value: &str) -> Value {
    json!({ "value": value, "unit": "kg" })
}

/// The codes of open items, in order.
pub fn items(json: &Value) -> Vec<&str> {
    let items = json["items"].as_array().map(Vec::as_slice).unwrap_or_default();
    items.iter().filter_map(|item| item["code"].as_str()).collect()
}

fn content(binds: &str) -> Value {
    let mut check = json!({
        "code": "CCP-1", "title": "Temperature", "class": "ccp", "kind": "each",
        "hazard": "Growth of pathogens", "hazardKind": "pathogen", "unit": "[degF]",
        "atMost": "40", "source": "the plant's own limit",
        "dispositions": ["release_with_support", "destroy"],
    });
    let mut content = json!({ "name": format!("Plan of {binds}"), "binds": binds });
    if binds == "product" {
        content["processCategory"] = json!("fully_cooked_not_shelf_stable");
        content["route"] = json!([
            { "code": "MIX", "title": "Mixing", "on": "batch", "operation": "mix" },
        ]);
        check["step"] = json!("MIX");
    }
    content["checks"] = json!([check]);
    json!({ "content": content })
}

impl Floor {
    /// Starts a plant with its plans in force.
    pub async fn start() -> Self {
        let plant = Plant::start().await;
        let at = START.parse().expect("an instant");
        let qa = Worker::new(&plant.http, plant.signer(), &["QA", "MANAGER"], at);
        let mut floor = Self {
            plant,
            qa,
            place: String::new(),
            receiving: String::new(),
            product: String::new(),
            kit: String::new(),
            at: START.to_owned(),
            supplier: String::new(),
        };
        let body = json!({ "id": id(), "name": "Hollis Meats", "isSupplier": true });
        let supplier = floor.post("/v1/partners", &body).await.ok();
        floor.supplier = supplier["partner"].as_str().expect("an id").to_owned();
        floor.place = floor.place("Mixer 1", "mixer").await;
        floor.receiving = floor.plan("received").await;
        floor.product = floor.plan("product").await;
        floor.kit = floor.plan("kit").await;
        floor
    }

    pub async fn post(&self, path: &str, body: &Value) -> Answer {
        self.qa.client.post(path, body).await
    }

    pub async fn get(&self, path: &str) -> Value {
        self.qa.client.get(path).await.ok()
    }

    /// A new place.
    pub async fn place(&self, name: &str, kind: &str) -> String {
        let body = json!({ "id": id(), "name": name, "kind": kind });
        let place = self.post("/v1/places", &body).await.ok();
        place["place"].as_str().expect("an id").to_owned()
    }

    /// A plan in force.
    pub async fn plan(&self, binds: &str) -> String {
        let plan = id();
        let path = format!("/v1/plans/{plan}/draft");
        let first = [("if-none-match", "*")];
        let draft = self.qa.client.put_with(&path, &content(binds), &first).await.ok();
        let body = json!({ "id": id(), "draftVersion": draft["version"] });
        let (subject, path) = (format!("plan:{plan}"), format!("/v1/plans/{plan}/approve"));
        self.qa.sign(&path, &body, ("hankbook.v1.Haccp/ApprovePlan", &subject)).await.ok();
        plan
    }

    /// The body that receives meat.
    pub fn meat_body(&self, mass: &str) -> Value {
        json!({
            "id": id(), "material": "Pork trim 72/28", "supplier": self.supplier,
            "supplierLot": "H-4411", "mass": kg(mass), "place": self.place,
            "plan": self.receiving, "observedAt": self.at,
        })
    }

    /// A received lot of so many kilograms.
    pub async fn meat(&self, mass: &str) -> String {
        let lot = self.post("/v1/lots", &self.meat_body(mass)).await.ok();
        lot["lot"].as_str().expect("an id").to_owned()
    }

    /// The body of a transformation: lots with kilograms used, kinds with kilograms made.
    pub fn body(&self, kind: &str, inputs: &[(&str, &str)], outputs: &[(&str, &str)]) -> Value {
        let inputs = inputs.iter().map(|(lot, mass)| json!({ "lot": lot, "mass": kg(mass) }));
        let outputs = outputs.iter().map(|(kind, mass)| {
            let plan = if *kind == "kit" { &self.kit } else { &self.product };
            json!({
                "lot": id(), "kind": kind, "material": "No. 1 Rope", "mass": kg(mass), "plan": plan,
            })
        });
        json!({
            "id": id(), "kind": kind, "place": self.place, "observedAt": self.at,
            "inputs": inputs.collect::<Vec<_>>(), "outputs": outputs.collect::<Vec<_>>(),
        })
    }

    /// A transformation that must be taken.
    pub async fn record(&self, body: &Value) -> Made {
        Made { json: self.post("/v1/transformations", body).await.ok() }
    }

    /// The same from its parts.
    pub async fn made(
        &self,
        kind: &str,
        inputs: &[(&str, &str)],
        outputs: &[(&str, &str)],
    ) -> Made {
        self.record(&self.body(kind, inputs, outputs)).await
    }

    /// Holds a lot whole; gives the hold.
    pub async fn hold(&self, lot: &str) -> String {
        let body = json!({ "id": id(), "lots": [lot], "reason": "Torn combo bin." });
        let hold = self.post("/v1/holds", &body).await.ok();
        hold["hold"].as_str().expect("an id").to_owned()
    }

    pub async fn lot(&self, lot: &str) -> Value {
        self.get(&format!("/v1/lots/{lot}")).await
    }

    /// Grams on hand.
    pub async fn on_hand(&self, lot: &str) -> Value {
        self.lot(lot).await["onHandG"].clone()
    }

    pub async fn trace(&self, lot: &str, direction: &str) -> Value {
        self.get(&format!("/v1/lots/{lot}/trace?direction={direction}")).await
    }

    pub async fn closure(&self, lot: &str) -> Value {
        self.get(&format!("/v1/lots/{lot}/closure")).await
    }

    /// Stops the plant once everything was told, and has its replay checked.
    pub async fn finish(self) {
        let client = self.plant.database.connect().await;
        // What this service tells itself of product that left is carried out by another part.
        let owed = "SELECT (SELECT count(*) FROM haccp.outbox) + (SELECT count(*) \
            FROM genealogy.outbox WHERE method NOT LIKE '%/TellLessSafe')";
        while client.query_one(owed, &[]).await.expect("the outboxes").get::<_, i64>(0) > 0 {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        let mut check = Command::new(program("hankbook-under-test"));
        check.args(["check", "replay"]).env("DATABASE_URL", &self.plant.database.url);
        let said = check.output().expect("the check runs");
        assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stdout));
        drop(client);
        self.plant.stop().await;
    }
}
