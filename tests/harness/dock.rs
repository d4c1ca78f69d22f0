//! Product that may leave: opening stock with its check met, in a case, on a pallet, reviewed.
//! It never writes around the doors: everything comes in as a client would send it.

use std::time::Duration;

use platform::records::new_id;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::client::{Answer, length};
use crate::stock::Worker;

/// The roles of the one person who does it all.
pub const ROLES: [&str; 5] = ["QA", "MANAGER", "OPERATOR", "SUPERVISOR", "DOCK"];
/// The check of the plan: at most 40 degrees Fahrenheit (an invented limit).
const CHECK: &str = "S-1";

/// A dock with a plan, a place and a customer.
pub struct Dock {
    /// Who does it all.
    pub worker: Worker,
    /// The plan of opening stock, version 1 in force.
    pub plan: Uuid,
    /// The dock.
    pub place: String,
    /// The customer.
    pub customer: String,
}

/// A pallet that may leave.
#[derive(Clone, Debug)]
pub struct Ready {
    /// Its one lot.
    pub lot: Uuid,
    /// The pallet.
    pub pallet: Uuid,
    /// The serial of its one case.
    pub serial: String,
}

fn word(value: &Value) -> String {
    value.as_str().expect("a text").to_owned()
}

impl Dock {
    /// A dock with what it needs.
    pub async fn open(worker: Worker) -> Self {
        let client = &worker.client;
        let plan = new_id();
        let content = json!({
            "name": "Stock at opening", "binds": "opening_stock", "checks": [{
                "code": CHECK, "title": "Temperature in store", "class": "ccp", "kind": "each",
                "hazard": "Growth of pathogens", "hazardKind": "pathogen", "unit": "[degF]",
                "dispositions": ["release_with_support", "destroy"], "atMost": "40",
                "source": "the plant's own limit",
            }],
        });
        worker.approve(plan, &content).await;
        let body = json!({ "id": new_id().to_string(), "name": "Dock", "kind": "dock" });
        let place = word(&client.post("/v1/places", &body).await.ok()["place"]);
        let body = json!({
            "id": new_id().to_string(), "name": "Corner Larder", "isCustomer": true,
            "phone": "555-0101",
        });
        let customer = word(&client.post("/v1/partners", &body).await.ok()["partner"]);
        Self { worker, plan, place, customer }
    }

    /// When everything happens.
    pub fn at(&self) -> String {
        self.worker.at.to_string()
    }

    /// A lot of opening stock with its check met.
    pub async fn lot(&self) -> Uuid {
        let lot = new_id();
        let body = json!({
            "id": lot, "material": "No. 1 Rope", "mass": { "value": "14", "unit": "[lb_av]" },
            "place": self.place, "plan": self.plan, "observedAt": self.at(),
            "statement": "Counted at opening; made under the plant's former records.",
        });
        let signed = ("hankbook.v1.Making/TakeUpOpeningStock", format!("lot:{lot}"));
        self.worker.sign("/v1/opening-stock", &body, (signed.0, &signed.1)).await.ok();
        self.read(&[lot], "36").await.ok();
        lot
    }

    /// Records a reading of the check.
    pub async fn read(&self, lots: &[Uuid], value: &str) -> Answer {
        let body = json!({
            "id": new_id().to_string(), "lots": lots, "plan": self.plan, "planVersion": 1,
            "check": CHECK, "readings": [value], "unit": "[degF]", "observedAt": self.at(),
        });
        self.worker.client.post("/v1/readings", &body).await
    }

    /// Packs a lot into one case on a pallet of its own.
    pub async fn packed(&self, lot: Uuid) -> Ready {
        let client = &self.worker.client;
        let (pallet, serial) = (new_id(), format!("C-{}", new_id().simple()));
        let case = json!({
            "serial": serial, "mass": { "value": "14", "unit": "[lb_av]" }, "packedAt": self.at(),
        });
        let body = json!({
            "id": new_id().to_string(), "lot": lot, "place": self.place, "cases": [case],
            "observedAt": self.at(),
        });
        client.post("/v1/packings", &body).await.ok();
        let body = json!({
            "id": pallet, "label": format!("P-{}", pallet.simple()), "place": self.place,
            "cases": [serial], "observedAt": self.at(),
        });
        client.post("/v1/pallets", &body).await.ok();
        Ready { lot, pallet, serial }
    }

    /// Signs the review of lots as they stand, once messages have arrived.
    pub async fn review(&self, lots: &[Uuid]) -> Answer {
        let mut reviewed = Vec::new();
        for lot in lots {
            reviewed.push(json!({ "lot": lot, "digest": self.digest(*lot).await }));
        }
        let review = new_id();
        let body = json!({ "id": review, "lots": reviewed });
        let subject = format!("review:{review}");
        let signed = ("hankbook.v1.Verification/SignReview", subject.as_str());
        self.worker.sign("/v1/reviews", &body, signed).await
    }

    /// The digest of a lot's clearance, once it may be reviewed or has had time enough.
    async fn digest(&self, lot: Uuid) -> Value {
        let path = format!("/v1/lots/{lot}/clearance");
        let mut tries = 0;
        loop {
            let clearance = self.worker.client.get(&path).await.ok();
            if clearance["isReviewable"] == true || tries == 100 {
                return clearance["digest"].clone();
            }
            tries += 1;
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }

    /// A pallet that may leave.
    pub async fn ready(&self) -> Ready {
        self.many_ready(1).await.remove(0)
    }

    /// So many pallets that may leave, under one review.
    pub async fn many_ready(&self, count: usize) -> Vec<Ready> {
        let one = async || self.packed(self.lot().await).await;
        let ready = futures_util::future::join_all((0..count).map(|_| one())).await;
        let lots: Vec<Uuid> = ready.iter().map(|ready| ready.lot).collect();
        self.review(&lots).await.ok();
        ready
    }

    /// Ships pallets.
    pub async fn ship(&self, pallets: &[Uuid]) -> Answer {
        let body = json!({
            "id": new_id().to_string(), "customer": self.customer, "pallets": pallets,
            "place": self.place, "truck": "Trailer 12", "observedAt": self.at(),
        });
        self.worker.client.post("/v1/shipments", &body).await
    }

    /// The records that failed after their product had left, once there are at least so many.
    pub async fn after_shipment(&self, least: usize) -> Value {
        let mut answer = Value::Null;
        for _ in 0..400 {
            answer = self.worker.client.get("/v1/after-shipment?pageSize=1000").await.ok();
            if length(&answer["records"]) >= least {
                return answer;
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        panic!("there never were {least} records: {answer}");
    }
}
