//! Docks that ship while a reading fails, and one shipment with thousands of lots behind it.
//! It never judges a number: it prints what it measured.

use std::sync::Arc;
use std::time::Duration;

use harness::Client;
use harness::stock::Worker;
use platform::clock::monotonic;
use platform::records::new_id;
use serde_json::{Value, json};
use tokio::task::JoinSet;
use uuid::Uuid;

/// The check of every plan here: at most 40 degrees Fahrenheit (an invented limit).
const CHECK: &str = "R-1";
/// The most inputs of one transformation.
const INPUTS_MAX: usize = 500;
/// The most lots that one reading names.
const LOTS_MAX: usize = 1000;
/// How many lots are received at a time.
const AT_ONCE: usize = 8;

/// A plant in which meat becomes cases.
pub struct Hall {
    make: Box<dyn Fn() -> Worker>,
    meat: Uuid,
    batch: Uuid,
    finished: Uuid,
    place: String,
    supplier: String,
    customer: String,
}

fn word(value: &Value) -> String {
    value.as_str().expect("a text").to_owned()
}

fn pounds(value: usize) -> Value {
    json!({ "value": value.to_string(), "unit": "[lb_av]" })
}

/// A plan for lots of one kind, with one check that every reading must meet.
async fn plan(worker: &Worker, binds: &str) -> Uuid {
    let plan = new_id();
    let content = json!({
        "name": format!("Plan of {binds} lots"), "binds": binds, "checks": [{
            "code": CHECK, "title": "Temperature", "class": "ccp", "kind": "each",
            "hazard": "Growth of pathogens", "hazardKind": "pathogen", "unit": "[degF]",
            "dispositions": ["release_with_support"], "atMost": "40", "source": "invented",
        }],
    });
    worker.approve(plan, &content).await;
    plan
}

impl Hall {
    /// Makes plans, a place and partners. `make` gives a worker whose token is fresh.
    pub async fn open(make: impl Fn() -> Worker + 'static) -> Self {
        let worker = make();
        let client = &worker.client;
        let body = json!({ "id": new_id(), "name": "Dock", "kind": "dock" });
        let place = word(&client.post("/v1/places", &body).await.ok()["place"]);
        let body = json!({ "id": new_id(), "name": "Hollow Road Meats", "isSupplier": true });
        let supplier = word(&client.post("/v1/partners", &body).await.ok()["partner"]);
        let body = json!({ "id": new_id(), "name": "Corner Larder", "isCustomer": true });
        let customer = word(&client.post("/v1/partners", &body).await.ok()["partner"]);
        let (meat, batch) = (plan(&worker, "received").await, plan(&worker, "batch").await);
        let finished = plan(&worker, "finished").await;
        Self { make: Box::new(make), meat, batch, finished, place, supplier, customer }
    }

    fn worker(&self) -> Worker {
        (self.make)()
    }

    /// Receives lots of 2000 lb, several at once.
    async fn receive(&self, count: usize) -> Vec<Uuid> {
        let worker = self.worker();
        let lots: Arc<Vec<Uuid>> = Arc::new((0..count).map(|_| new_id()).collect());
        let mut receiving = JoinSet::new();
        for first in 0..AT_ONCE {
            let (client, lots) = (worker.client.clone(), lots.clone());
            let body = json!({
                "material": "Beef trimmings 85", "supplier": self.supplier, "supplierLot": "HR-1",
                "mass": pounds(2000), "place": self.place, "plan": self.meat,
                "observedAt": worker.at.to_string(),
            });
            receiving.spawn(async move {
                for lot in lots.iter().skip(first).step_by(AT_ONCE) {
                    let mut body = body.clone();
                    body["id"] = json!(lot);
                    client.post("/v1/lots", &body).await.ok();
                }
            });
        }
        receiving.join_all().await;
        let lots = lots.to_vec();
        self.met(self.meat, &lots).await;
        lots
    }

    /// Records that lots met their check, once they are bound.
    async fn met(&self, plan: Uuid, lots: &[Uuid]) {
        for some in lots.chunks(LOTS_MAX) {
            self.read(&self.worker(), plan, some, "36").await;
        }
    }

    async fn read(&self, worker: &Worker, plan: Uuid, lots: &[Uuid], value: &str) -> Value {
        let body = json!({
            "id": new_id(), "lots": lots, "plan": plan, "planVersion": 1, "check": CHECK,
            "readings": [value], "unit": "[degF]", "observedAt": worker.at.to_string(),
        });
        worker.client.post("/v1/readings", &body).await.ok()
    }

    async fn transform(
        &self,
        (kind, of, plan): (&str, &str, Uuid),
        inputs: &[(Uuid, usize)],
        masses: &[usize],
    ) -> Vec<Uuid> {
        let worker = self.worker();
        let lots: Vec<Uuid> = masses.iter().map(|_| new_id()).collect();
        let outputs: Vec<Value> = lots
            .iter()
            .zip(masses)
            .map(|(lot, mass)| {
                json!({ "lot": lot, "kind": of, "material": "No. 1 Rope", "mass": pounds(*mass),
                    "plan": plan })
            })
            .collect();
        let inputs: Vec<Value> =
            inputs.iter().map(|(lot, mass)| json!({ "lot": lot, "mass": pounds(*mass) })).collect();
        let body = json!({
            "id": new_id(), "kind": kind, "place": self.place, "inputs": inputs,
            "outputs": outputs, "observedAt": worker.at.to_string(),
        });
        worker.client.post("/v1/transformations", &body).await.ok();
        self.met(plan, &lots).await;
        lots
    }

    /// Packs each lot into a case on a pallet and reviews all of them at once.
    async fn palletize(&self, lots: &[Uuid]) -> Vec<Uuid> {
        let mut pallets = Vec::new();
        for lot in lots {
            let worker = self.worker();
            let (pallet, serial) = (new_id(), format!("C-{}", new_id().simple()));
            let at = worker.at.to_string();
            let body = json!({
                "id": new_id(), "lot": lot, "place": self.place, "observedAt": at,
                "cases": [{ "serial": serial, "mass": pounds(10), "packedAt": at }],
            });
            worker.client.post("/v1/packings", &body).await.ok();
            let body = json!({
                "id": pallet, "label": format!("P-{}", pallet.simple()), "place": self.place,
                "cases": [serial], "observedAt": at,
            });
            worker.client.post("/v1/pallets", &body).await.ok();
            pallets.push(pallet);
        }
        self.review(lots).await;
        pallets
    }

    async fn review(&self, lots: &[Uuid]) {
        let worker = self.worker();
        let mut reviewed = Vec::new();
        for lot in lots {
            let clearance = clear(&worker.client, *lot).await;
            reviewed.push(json!({ "lot": lot, "digest": clearance["digest"] }));
        }
        let review = new_id();
        let body = json!({ "id": review, "lots": reviewed });
        let subject = format!("review:{review}");
        let signed = ("hankbook.v1.Verification/SignReview", subject.as_str());
        worker.sign("/v1/reviews", &body, signed).await.ok();
    }

    fn shipment(&self, worker: &Worker, pallet: Uuid) -> Value {
        json!({
            "id": new_id(), "customer": self.customer, "pallets": [pallet], "place": self.place,
            "truck": "Trailer 12", "observedAt": worker.at.to_string(),
        })
    }

    /// Times the failing readings of lots of which `docks` docks ship back to back; milliseconds,
    /// in order. Each of the rounds has a lot of its own.
    pub async fn docks(&self, docks: usize, rounds: usize) -> Vec<f64> {
        let mut took = Vec::new();
        for _ in 0..rounds {
            let meat = self.receive(1).await;
            let made = self
                .transform(
                    ("pack_off", "finished", self.finished),
                    &[(meat[0], 10 * docks * 6)],
                    &vec![10; docks * 6],
                )
                .await;
            let pallets = self.palletize(&made).await;
            let mut shipping = JoinSet::new();
            for some in pallets.chunks(6) {
                let worker = self.worker();
                let bodies: Vec<Value> =
                    some.iter().map(|pallet| self.shipment(&worker, *pallet)).collect();
                let client = worker.client.clone();
                shipping.spawn(async move {
                    for body in bodies {
                        let answer = client.post("/v1/shipments", &body).await;
                        assert!(matches!(answer.status, 200 | 409), "{}", answer.text);
                    }
                });
            }
            let worker = self.worker();
            tokio::time::sleep(Duration::from_millis(40)).await;
            let begun = monotonic();
            let failed = self.read(&worker, self.meat, &meat, "41").await;
            took.push(begun.elapsed().as_secs_f64() * 1000.0);
            assert_eq!(failed["verdict"], "FAIL");
            shipping.join_all().await;
        }
        took.sort_by(f64::total_cmp);
        took
    }

    /// Ships one case with so many lots behind it; seconds of its review and of its shipment.
    pub async fn closure(&self, lots: usize) -> (usize, f64, f64) {
        let meat = self.receive(lots).await;
        let mut batches = Vec::new();
        for some in meat.chunks(INPUTS_MAX) {
            let inputs: Vec<_> = some.iter().map(|lot| (*lot, 2)).collect();
            let mass = [2 * some.len()];
            batches.extend(self.transform(("mix", "batch", self.batch), &inputs, &mass).await);
        }
        let inputs: Vec<_> = batches.iter().map(|lot| (*lot, 1)).collect();
        let of = ("pack_off", "finished", self.finished);
        let made = self.transform(of, &inputs, &[10]).await;
        let begun = monotonic();
        let pallets = self.palletize(&made).await;
        let reviewed = begun.elapsed().as_secs_f64();
        let worker = self.worker();
        let body = self.shipment(&worker, pallets[0]);
        let begun = monotonic();
        let shipped = worker.client.post("/v1/shipments", &body).await.ok();
        let took = begun.elapsed().as_secs_f64();
        (shipped["closureLots"].as_u64().unwrap_or_default() as usize, reviewed, took)
    }
}

/// The clearance of a lot once messages have arrived and it may be reviewed.
async fn clear(client: &Client, lot: Uuid) -> Value {
    loop {
        let clearance = client.get(&format!("/v1/lots/{lot}/clearance")).await.ok();
        if clearance["isReviewable"] == true {
            return clearance;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}
