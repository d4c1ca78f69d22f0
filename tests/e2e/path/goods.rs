//! What readings are about: a plan in force, a supplier, a place, a received lot.
//! It never judges: it makes the bodies that tests send, and sends those that must be taken.

use std::time::Duration;

use harness::client::length;
use harness::plant::START;
use harness::{Client, Plant};
use platform::records::new_id;
use platform::tickets::{Ticket, issue};
use platform::tokens::Signer;
use serde_json::{Value, json};
use uuid::Uuid;

use super::crew::{Crew, Person};
use super::tickets::session_of;

/// What readings need.
#[derive(Clone, Debug)]
pub struct Goods {
    pub plan: String,
    pub supplier: String,
    pub place: String,
    pub lot: String,
    /// When everything is observed: the plant's clock.
    pub at: String,
}

/// A plan for received meat with one CCP that every reading must meet.
pub fn plan_body() -> Value {
    json!({ "content": { "name": "Receiving of raw meat", "binds": "received", "checks": [{
        "code": "CCP-1", "title": "Meat temperature at receiving", "class": "ccp", "kind": "each",
        "hazard": "Salmonella growth", "unit": "[degF]", "atMost": "40",
        "dispositions": ["release_with_support"], "source": "the plant's own limit",
    }] } })
}

/// Writes the draft of a plan; gives its version.
pub async fn draft(qa: &Client, plan: &str) -> i64 {
    let path = format!("/v1/plans/{plan}/draft");
    let first = [("if-none-match", "*")];
    let draft = qa.put_with(&path, &plan_body(), &first).await.ok();
    draft["version"].as_i64().expect("a version")
}

/// The body of an approval.
pub fn approval(draft_version: i64) -> Value {
    json!({ "id": new_id().to_string(), "draftVersion": draft_version })
}

/// Drafts and approves a plan, signed by QA; gives its id.
pub async fn plan_in_force(qa: &Person) -> String {
    let plan = new_id().to_string();
    approve_next(qa, &plan).await;
    plan
}

/// Drafts and approves the next version of a plan.
pub async fn approve_next(qa: &Person, plan: &str) -> Value {
    let body = approval(draft(&qa.client, plan).await);
    let (subject, path) = (format!("plan:{plan}"), format!("/v1/plans/{plan}/approve"));
    qa.signed(("Haccp/ApprovePlan", &subject), &path, &body).await.ok()
}

async fn made(manager: &Client, path: &str, kind: &str, body: Value) -> String {
    manager.post(path, &body).await.ok()[kind].as_str().expect("an id").to_owned()
}

/// A supplier; gives its id.
pub async fn supplier(manager: &Client) -> String {
    let id = new_id().to_string();
    let body = json!({ "id": id, "name": "Hollis Meats", "isSupplier": true });
    made(manager, "/v1/partners", "partner", body).await
}

/// A place; gives its id.
pub async fn place(manager: &Client) -> String {
    let body = json!({ "id": new_id().to_string(), "name": "Dock 1", "kind": "receiving" });
    made(manager, "/v1/places", "place", body).await
}

impl Goods {
    /// All of it for a crew.
    pub async fn of(crew: &Crew) -> Self {
        let plan = plan_in_force(&crew.qa).await;
        Self::under(plan, (&crew.manager.client, &crew.operator.client), START).await
    }

    /// All of it for a plant whose people hold tokens of its own key: nobody signs in.
    pub async fn quickly(plant: &Plant) -> Self {
        let (qa, manager) = (new_id(), plant.with_roles(&["MANAGER", "OPERATOR"]));
        let client = plant.person_with_roles(qa, &["QA"]);
        let plan = plan_by_key(&client, (qa, &plant.signer()), START).await;
        Self::under(plan, (&manager, &manager), START).await
    }

    /// A supplier, a place and a lot under a plan in force.
    pub async fn under(plan: String, (manager, operator): (&Client, &Client), at: &str) -> Self {
        let (supplier, place) = (supplier(manager).await, place(manager).await);
        let at = at.to_owned();
        let mut goods = Self { plan, supplier, place, lot: new_id().to_string(), at };
        let received = operator.post("/v1/lots", &goods.lot_body()).await.ok();
        goods.lot = received["lot"].as_str().expect("an id").to_owned();
        goods
    }

    /// The body that receives the lot.
    pub fn lot_body(&self) -> Value {
        json!({
            "id": self.lot, "material": "Pork trim 72/28", "supplier": self.supplier,
            "supplierLot": "H-4411", "mass": { "value": "1200.5", "unit": "[lb_av]" },
            "place": self.place, "plan": self.plan, "observedAt": self.at,
        })
    }

    /// The body of one more lot of the same meat.
    pub fn another_lot(&self) -> Self {
        Self { lot: new_id().to_string(), ..self.clone() }
    }

    /// The body of a reading in [degF] on the lot.
    pub fn reading(&self, value: &str) -> Value {
        json!({
            "id": new_id().to_string(), "lots": [self.lot], "plan": self.plan, "planVersion": 1,
            "check": "CCP-1", "readings": [value], "unit": "[degF]", "observedAt": self.at,
        })
    }

    /// The lot as it stands.
    pub async fn lot_now(&self, reader: &Client) -> Value {
        reader.get(&format!("/v1/lots/{}", self.lot)).await.ok()
    }

    /// The lot once it has so many holds: they come and go by the outbox.
    pub async fn lot_with_holds(&self, reader: &Client, holds: usize) -> Value {
        for _ in 0..400 {
            let lot = self.lot_now(reader).await;
            if length(&lot["holds"]) == holds {
                return lot;
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        panic!("the lot never had {holds} holds: {}", self.lot_now(reader).await);
    }
}

/// A plan approved with a ticket made with the plant's own key.
pub async fn plan_by_key(client: &Client, signer: (Uuid, &Signer), at: &str) -> String {
    let plan = new_id();
    assert_eq!(approve_by_key(client, signer, plan, at).await["version"], 1);
    plan.to_string()
}

/// The next version of a plan, approved with a ticket made with the plant's own key.
pub async fn approve_by_key(
    client: &Client,
    (person, signer): (Uuid, &Signer),
    plan: Uuid,
    at: &str,
) -> Value {
    let ticket = Ticket {
        id: new_id(),
        person,
        name: "Dana Okrent".into(),
        method: "hankbook.v1.Haccp/ApprovePlan".into(),
        subject: format!("plan:{plan}"),
        meaning: "I approve this plan.".into(),
        how: "password".into(),
        signed_at: at.parse().expect("an instant"),
    };
    let ticket = issue(&ticket, session_of(client), signer).expect("a ticket");
    let body = approval(draft(client, &plan.to_string()).await);
    let path = format!("/v1/plans/{plan}/approve");
    client.post_with(&path, &body, &[("signature-ticket", &ticket)]).await.ok()
}
