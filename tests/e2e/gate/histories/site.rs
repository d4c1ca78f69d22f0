//! The program and who calls it: the clock moves with each call, some are said twice, some killed.
//! It never keeps what the program said: that is the ledger's.

use std::time::Duration;

use harness::plant::START;
use harness::stock::Worker;
use harness::{Answer, Plant};
use jiff::{SignedDuration, Timestamp};
use platform::records::new_id;
use reqwest::Method;
use serde_json::{Value, json};

use super::random::Rng;

const ROLES: [&str; 6] = ["QA", "MANAGER", "OPERATOR", "SUPERVISOR", "DOCK", "ADMINISTRATOR"];
/// A signature is good for two minutes of the plant's time, a token for ten.
const TOKEN_S: i64 = 60;

/// A call: where to, what, and for what it is signed.
pub struct Call {
    pub path: String,
    pub body: Value,
    pub signed: Option<(&'static str, String)>,
}

impl Call {
    pub fn of(path: impl Into<String>, body: Value) -> Self {
        Self { path: path.into(), body, signed: None }
    }

    /// Signed as a method on a subject.
    pub fn signed(self, method: &'static str, subject: String) -> Self {
        Self { signed: Some((method, subject)), ..self }
    }
}

/// The plant with what all its histories share.
pub struct Site {
    pub plant: Plant,
    pub now: Timestamp,
    worker: Worker,
    /// Somebody who records nothing, for signatures that ask for another person.
    pub other: Worker,
    pub supplier: String,
    pub customer: String,
    pub dock: String,
    pub received: String,
    pub stock: String,
    /// An instrument that was never checked: it proves nothing.
    pub unchecked: String,
    pub calls: usize,
    pub twice: usize,
    pub kills: usize,
}

/// A new id as text.
pub fn id() -> String {
    new_id().to_string()
}

/// A mass in grams.
pub fn grams(mass: u64) -> Value {
    json!({ "value": mass.to_string(), "unit": "g" })
}

/// A text of an answer.
pub fn word(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

impl Site {
    pub async fn open() -> Self {
        let plant = Plant::start().await;
        let now: Timestamp = START.parse().expect("an instant");
        let worker = Worker::new(&plant.http, plant.signer(), &ROLES, now);
        let other = Worker::new(&plant.http, plant.signer(), &ROLES, now);
        let empty = String::new;
        let mut site = Self {
            plant,
            now,
            worker,
            other,
            supplier: empty(),
            customer: empty(),
            dock: empty(),
            received: empty(),
            stock: empty(),
            unchecked: empty(),
            calls: 0,
            twice: 0,
            kills: 0,
        };
        let partner = |name: &str, is: &str| json!({ "id": id(), "name": name, is: true });
        let made = site.made("/v1/partners", partner("Hollis Meats", "isSupplier")).await;
        site.supplier = word(&made["partner"]);
        let mut customer = partner("Corner Larder", "isCustomer");
        customer["phone"] = json!("555-0101");
        site.customer = word(&site.made("/v1/partners", customer).await["partner"]);
        site.dock = site.place("Dock", "dock").await;
        let tolerance = json!({ "value": "1.0", "unit": "[degF]" });
        let body =
            json!({ "id": id(), "name": "T-1", "kind": "thermometer", "tolerance": tolerance });
        site.unchecked = word(&site.made("/v1/instruments", body).await["instrument"]);
        site.received = site.plan(&super::plans::content(&super::plans::received())).await;
        site.stock = site.plan(&super::plans::content(&super::plans::stock())).await;
        site
    }

    pub async fn place(&mut self, name: &str, kind: &str) -> String {
        let body = json!({ "id": id(), "name": name, "kind": kind });
        word(&self.made("/v1/places", body).await["place"])
    }

    /// A plan in force.
    pub async fn plan(&self, content: &Value) -> String {
        let plan = new_id();
        self.worker.approve(plan, content).await;
        plan.to_string()
    }

    async fn made(&mut self, path: &str, body: Value) -> Value {
        self.calls += 1;
        self.worker.client.post(path, &body).await.ok()
    }

    pub async fn get(&self, path: &str) -> Answer {
        self.worker.client.get(path).await
    }

    /// When it is, in microseconds.
    pub fn at(&self) -> i64 {
        self.now.as_microsecond()
    }

    /// Time goes on, for the plant too; nothing that is recorded later has the same time.
    pub async fn later(&mut self, seconds: i64) {
        self.now += SignedDuration::from_secs(seconds);
        let since = self.now.duration_since(self.worker.at).as_secs();
        if since > TOKEN_S {
            self.renew();
        }
        let body = json!({ "to": self.now.to_string() });
        self.worker.client.post("/simulation/clock", &body).await.ok();
    }

    fn renew(&mut self) {
        let http = &self.plant.http;
        self.worker = self.worker.renewed(http, self.plant.signer(), self.now);
        self.other = self.other.renewed(http, self.plant.signer(), self.now);
    }

    /// Makes a call as a client would that is not always answered: it may be lost with the
    /// program, and it may be said twice.
    pub async fn call(&mut self, call: &Call, rng: &mut Rng) -> Answer {
        self.calls += 1;
        if rng.per_mille(4) {
            self.killed(call, rng).await;
        }
        let answer = self.until_taken(call, false).await;
        if rng.chance(6) {
            self.twice += 1;
            let again = self.until_taken(call, false).await;
            // What was refused may be taken by now; what was taken is told again.
            let is_told = answer.status != 200 || again.status == 200;
            assert!(is_told, "{}: {}, then {}", call.path, answer.text, again.text);
        }
        answer
    }

    /// The same, by somebody who recorded nothing.
    pub async fn call_by_another(&mut self, call: &Call) -> Answer {
        self.calls += 1;
        self.until_taken(call, true).await
    }

    /// A busy program says that the same call may be sent again.
    async fn until_taken(&self, call: &Call, is_other: bool) -> Answer {
        let worker = if is_other { &self.other } else { &self.worker };
        let mut tries = 0;
        loop {
            let answer = match &call.signed {
                Some((method, subject)) => {
                    worker.sign(&call.path, &call.body, (method, subject)).await
                }
                None => worker.client.post(&call.path, &call.body).await,
            };
            let is_again = matches!(answer.status, 409 | 503) && answer.json["repeat"] == true;
            tries += 1;
            if !is_again || tries > 50 {
                return answer;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }

    /// The call is on its way when the program dies; then it is started again.
    async fn killed(&mut self, call: &Call, rng: &mut Rng) {
        self.kills += 1;
        let mut request = self.worker.client.request(Method::POST, &call.path).json(&call.body);
        if let Some((method, subject)) = &call.signed {
            request = request.header("signature-ticket", self.worker.ticket(method, subject));
        }
        let wait = u64::try_from(rng.within(0, 12)).unwrap_or_default();
        // Whether it was answered or lost is not looked at: it is said again.
        tokio::time::timeout(Duration::from_millis(wait), request.send()).await.ok();
        self.plant.kill();
        self.plant.start_again();
        self.renew();
        // A clock that was started again has forgotten how far it had been moved.
        self.later(0).await;
    }
}
