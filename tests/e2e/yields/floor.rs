//! A day with a batch on two racks and what was packed of them, ready to be weighed.
//! It never weighs anything by itself.

use harness::Answer;
use serde_json::{Value, json};

use crate::gate::day::{Day, id, t};
use crate::gate::goods::{self, Making, PLAIN, Product};

/// The lots of a day.
pub struct Floor {
    pub day: Day,
    pub product: Product,
    pub meat: String,
    pub spice: String,
    pub batch: String,
    pub racks: Vec<String>,
    pub finished: String,
}

impl Floor {
    /// 2000 lb of meat, of which 400 go with 10 lb of spice into a batch of 410 lb; two racks of
    /// 205 lb; 360 lb are packed of both.
    pub async fn open() -> Self {
        let mut day = Day::open().await;
        day.at("06:00").await;
        let receiving = day.plan(&goods::receiving()).await;
        let meat = day.meat(&receiving, "2000", "05:00").await;
        let spice = day.meat(&receiving, "50", "05:10").await;
        let product = day.product(PLAIN).await;
        let batch = Making {
            of: "batch",
            product: &product,
            inputs: &[(&meat, "400"), (&spice, "10")],
            masses: &["410"],
            place: "Mixer 1",
            at: "06:00",
        };
        let batch = day.make("mix", &batch).await.remove(0);
        let racks = Making {
            of: "rack",
            product: &product,
            inputs: &[(&batch, "410")],
            masses: &["205", "205"],
            place: "House 1",
            at: "06:00",
        };
        let racks = day.make("rack", &racks).await;
        let mut floor = Self { day, product, meat, spice, batch, racks, finished: String::new() };
        floor.finished = floor.pack(&["205", "205"], "360").await;
        floor
    }

    /// Packs so much of each rack.
    async fn pack(&self, used: &[&str], mass: &str) -> String {
        let inputs: Vec<(&str, &str)> =
            self.racks.iter().map(String::as_str).zip(used.iter().copied()).collect();
        let pack = Making {
            of: "finished",
            product: &self.product,
            inputs: &inputs,
            masses: &[mass],
            place: "Detector 1",
            at: "06:00",
        };
        self.day.make("pack_off", &pack).await.remove(0)
    }

    /// The body of a weighing in pounds: gross and tare.
    pub fn body(lots: &[&str], stage: &str, (gross, tare): (&str, &str)) -> Value {
        json!({
            "id": id(), "lots": lots, "stage": stage, "gross": gross, "tare": tare,
            "unit": "[lb_av]", "observedAt": t("06:00"),
        })
    }

    /// Sends a weighing.
    pub async fn send(&self, body: &Value) -> Answer {
        self.day.post("ines", "/v1/weighings", body).await
    }

    /// Weighs lots in pounds; it must be taken.
    pub async fn weigh(&self, lots: &[&str], stage: &str, masses: (&str, &str)) -> Value {
        self.send(&Self::body(lots, stage, masses)).await.ok()
    }

    /// Weighs everything at every stage that is common: 410 mixed, 204 and 206 stuffed, 184.5
    /// chilled each, 360 packed.
    pub async fn weigh_all(&self) {
        self.weigh(&[&self.batch], "mixed", ("430", "20")).await;
        self.weigh(&[&self.racks[0]], "stuffed", ("304", "100")).await;
        self.weigh(&[&self.racks[1]], "stuffed", ("306", "100")).await;
        for rack in &self.racks {
            self.weigh(&[rack], "chilled", ("284.5", "100")).await;
        }
        self.weigh(&[&self.finished], "packed", ("360", "0")).await;
    }

    /// The report on a lot.
    pub async fn yields(&self, lot: &str) -> Value {
        self.day.get("walt", &format!("/v1/yields?lot={lot}")).await.ok()
    }
}

/// The stage of a report.
pub fn stage<'r>(report: &'r Value, stage: &str) -> &'r Value {
    goods::part(&report["stages"], "stage", stage)
}
