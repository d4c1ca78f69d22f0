//! A day at Quarry Lane Provisions on a simulated clock: its people, places and products.
//! It never does what a person could not: everything goes through REST, signed in and signed.

use std::collections::HashMap;
use std::time::Duration;

use harness::{Answer, Client, Options, Plant};
use jiff::Timestamp;
use platform::records::new_id;
use serde_json::{Value, json};

use crate::path::crew::Person;

/// The day of all scenarios.
const DATE: &str = "2026-11-25";
/// Before anybody comes in.
const MIDNIGHT: &str = "2026-11-25T00:30:00Z";

/// Who works there: name to sign in with, name, role. All invented.
const PEOPLE: [(&str, &str, &str); 6] = [
    ("dana", "Dana Okrent", "QA"),
    ("priya", "Priya Lunde", "QA"),
    ("marcus", "Marcus Vey", "SUPERVISOR"),
    ("ines", "Ines Tolland", "OPERATOR"),
    ("lee", "Lee Castane", "DOCK"),
    ("walt", "Walt Harrow", "MANAGER"),
];

/// The places that the scenarios name, with their kinds.
const PLACES: [(&str, &str); 10] = [
    ("Receiving", "receiving"),
    ("Mixer 1", "mixer"),
    ("House 1", "house"),
    ("House 2", "house"),
    ("Blast cell", "blast_cell"),
    ("Cooler 4", "cooler"),
    ("Detector 1", "metal_detector"),
    ("Detector 2", "metal_detector"),
    ("Dock", "dock"),
    ("Cold store", "cold_store"),
];

/// An instant of the day: `08:47` or `08:24:17`.
pub fn t(time: &str) -> String {
    match time.len() {
        5 => format!("{DATE}T{time}:00Z"),
        _ => format!("{DATE}T{time}Z"),
    }
}

/// A new record's id.
pub fn id() -> String {
    new_id().to_string()
}

/// A mass in pounds.
pub fn lb(value: &str) -> Value {
    json!({ "value": value, "unit": "[lb_av]" })
}

/// A plant on its day.
pub struct Day {
    pub plant: Plant,
    anybody: Client,
    administrator: Person,
    people: HashMap<&'static str, Person>,
    places: HashMap<&'static str, String>,
    pub supplier: String,
    pub customers: Vec<String>,
}

impl Day {
    /// Opens the plant shortly after midnight.
    pub async fn open() -> Self {
        let clock = MIDNIGHT.parse().ok();
        let plant = Plant::start_with(Options { clock, ..Options::default() }).await;
        let anybody = plant.anybody();
        let administrator = Person::first(&plant).await;
        let mut people = HashMap::new();
        for (sign_in, name, role) in PEOPLE {
            people.insert(sign_in, administrator.add(&anybody, sign_in, name, role).await);
        }
        let mut day = Self {
            plant,
            anybody,
            administrator,
            people,
            places: HashMap::new(),
            supplier: String::new(),
            customers: Vec::new(),
        };
        for (name, kind) in PLACES {
            let body = json!({ "id": id(), "name": name, "kind": kind });
            let place = day.post("walt", "/v1/places", &body).await.ok();
            day.places.insert(name, word(&place["place"]));
        }
        let body = json!({ "id": id(), "name": "Hollis Meats", "isSupplier": true });
        day.supplier = word(&day.post("walt", "/v1/partners", &body).await.ok()["partner"]);
        for (name, phone) in [("Corner Larder", "555-0101"), ("Mill Road Stores", "555-0102")] {
            let body = json!({ "id": id(), "name": name, "isCustomer": true, "phone": phone,
                "address": "1 Invented Street" });
            let partner = day.post("walt", "/v1/partners", &body).await.ok();
            day.customers.push(word(&partner["partner"]));
        }
        day
    }

    /// Moves the clock on; everybody takes the next tokens of their session.
    pub async fn at(&mut self, time: &str) {
        let body = json!({ "to": t(time) });
        self.administrator.client.post("/simulation/clock", &body).await.ok();
        self.administrator = self.administrator.refreshed(&self.anybody).await;
        for person in self.people.values_mut() {
            *person = person.refreshed(&self.anybody).await;
        }
    }

    /// Somebody who works there.
    pub fn person(&self, who: &str) -> &Person {
        &self.people[who]
    }

    /// The id of a place.
    pub fn place(&self, name: &str) -> &str {
        &self.places[name]
    }

    /// GET as somebody.
    pub async fn get(&self, who: &str, path: &str) -> Answer {
        self.people[who].client.get(path).await
    }

    /// POST as somebody.
    pub async fn post(&self, who: &str, path: &str, body: &Value) -> Answer {
        self.people[who].client.post(path, body).await
    }

    /// A signed POST as somebody: the method and what it is signed for.
    pub async fn sign(
        &self,
        who: &str,
        signed: (&str, &str),
        (path, body): (&str, &Value),
    ) -> Answer {
        self.people[who].signed(signed, path, body).await
    }

    /// Looks again until what is read is as it should be: messages need a moment.
    pub async fn until(&self, path: &str, is_so: impl Fn(&Value) -> bool) -> Value {
        for _ in 0..400 {
            let answer = self.get("dana", path).await;
            if answer.status == 200 && is_so(&answer.json) {
                return answer.json;
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        panic!("{path} never came to be so: {}", self.get("dana", path).await.text);
    }

    /// Ends the day.
    pub async fn close(self) {
        self.plant.stop().await;
    }
}

/// A text of an answer.
pub fn word(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

/// Seconds between two instants of the day.
pub fn seconds(from: &str, to: &str) -> i64 {
    let at = |text: &str| t(text).parse::<Timestamp>().expect("an instant").as_second();
    at(to) - at(from)
}
