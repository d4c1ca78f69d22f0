//! What readings need before the first one: somebody who signs, a plan in force, received lots.
//! It never writes around the doors: everything comes in as a client would send it.

use jiff::Timestamp;
use platform::records::new_id;
use platform::tickets::{self, Ticket};
use platform::tokens::{Claims, LIFE_S, Signer};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::client::{Answer, Client};
use crate::tokens;

/// The check of the plan: at most 40 degrees Fahrenheit (an invented limit).
pub const CHECK: &str = "CCP-1";

/// A person with roles who can sign.
pub struct Worker {
    /// Their client.
    pub client: Client,
    /// The instant that their claims name.
    pub at: Timestamp,
    claims: Claims,
    signer: Signer,
}

impl Worker {
    /// A new person of the plant at `http` whose clock shows `at`.
    pub fn new(http: &str, signer: Signer, roles: &[&str], at: Timestamp) -> Self {
        let claims = tokens::claims(new_id(), roles, at.as_second());
        let token = signer.sign(&claims).expect("a token");
        Self { client: Client::new(http, Some(token)), at, claims, signer }
    }

    /// The same person at another address or a later instant, with a new token.
    pub fn renewed(&self, http: &str, signer: Signer, at: Timestamp) -> Self {
        let iat = at.as_second();
        let claims = Claims { iat, exp: iat + LIFE_S, ..self.claims.clone() };
        let token = signer.sign(&claims).expect("a token");
        Self { client: self.client.at(http).with_token(token), at, claims, signer }
    }

    /// A signature for one call of `method` on `subject`.
    pub fn ticket(&self, method: &str, subject: &str) -> String {
        let person = self.claims.sub.strip_prefix("person:").unwrap_or_default();
        let ticket = Ticket {
            id: new_id(),
            person: person.parse().expect("a person"),
            name: self.claims.name.clone(),
            method: method.to_owned(),
            subject: subject.to_owned(),
            meaning: "seen and agreed".to_owned(),
            how: "password".to_owned(),
            signed_at: self.at,
        };
        let session = self.claims.sid.parse().expect("a session");
        tickets::issue(&ticket, session, &self.signer).expect("a ticket")
    }

    /// POST of JSON with a signature for it.
    pub async fn sign(&self, path: &str, body: &Value, (method, subject): (&str, &str)) -> Answer {
        let ticket = self.ticket(method, subject);
        self.client.post_with(path, body, &[("signature-ticket", &ticket)]).await
    }

    /// Drafts a plan for the first time and approves it.
    pub async fn approve(&self, plan: Uuid, content: &Value) {
        let path = format!("/v1/plans/{plan}/draft");
        let body = json!({ "content": content });
        let draft = self.client.put_with(&path, &body, &[("if-none-match", "*")]).await.ok();
        let body = json!({ "id": new_id().to_string(), "draftVersion": draft["version"] });
        let (path, subject) = (format!("/v1/plans/{plan}/approve"), format!("plan:{plan}"));
        self.sign(&path, &body, ("hankbook.v1.Haccp/ApprovePlan", &subject)).await.ok();
    }

    /// The body of a reading of the plan's check on lots.
    pub fn reading(&self, stock: &Stock, lots: &[Uuid], value: &str) -> Value {
        json!({
            "id": new_id().to_string(), "lots": lots, "plan": stock.plan, "planVersion": 1,
            "check": CHECK, "readings": [value], "unit": "[degF]",
            "observedAt": self.at.to_string(),
        })
    }
}

/// A plan in force, and lots received under it.
pub struct Stock {
    /// The plan, of which version 1 is in force.
    pub plan: Uuid,
    /// The lots.
    pub lots: Vec<Uuid>,
}

/// Approves a plan and receives lots of these ids; the worker is QA and manager.
pub async fn receive(worker: &Worker, lots: Vec<Uuid>) -> Stock {
    let client = &worker.client;
    let plan = new_id();
    put_in_force(worker, plan).await;
    let named = |name: &str| json!({ "id": new_id().to_string(), "name": name });
    let mut place = named("Dock");
    place["kind"] = json!("dock");
    let place = client.post("/v1/places", &place).await.ok()["place"].clone();
    let mut supplier = named("Hollow Road Meats");
    supplier["isSupplier"] = json!(true);
    let supplier = client.post("/v1/partners", &supplier).await.ok()["partner"].clone();
    for lot in &lots {
        let body = json!({
            "id": lot, "material": "Beef trimmings 85", "supplier": supplier,
            "supplierLot": "HR-4411", "mass": { "value": "907.2", "unit": "kg" },
            "place": place, "plan": plan, "observedAt": worker.at.to_string(),
        });
        client.post("/v1/lots", &body).await.ok();
    }
    Stock { plan, lots }
}

/// Approves the next version of a plan.
pub async fn put_in_force(worker: &Worker, plan: Uuid) {
    let content = json!({
        "name": "Receiving of raw meat", "binds": "received", "checks": [{
            "code": CHECK, "title": "Temperature at the dock", "class": "ccp", "kind": "each",
            "hazard": "Growth of pathogens", "dispositions": ["release_with_support", "destroy"],
            "unit": "[degF]", "atMost": "40", "gates": true,
        }],
    });
    worker.approve(plan, &content).await;
}
