//! A plant with something to show: a lot whose reading failed, was amended and closed, and one
//! whose deviation is open. It never makes a record but by the plant's own doors.

use harness::plant::START;
use platform::records::new_id;
use serde_json::json;

use crate::path::crew::Crew;
use crate::path::goods::Goods;

/// The plant, and what was recorded.
pub struct Scene {
    pub crew: Crew,
    /// The lot whose deviation was closed.
    pub closed: Goods,
    /// The lot whose deviation is open.
    pub open: Goods,
    /// A reading of it that was met.
    pub met: String,
    /// The reading that failed.
    pub failed: String,
    /// Its deviation.
    pub deviation: String,
    /// A hold that a person placed on it.
    pub hold: String,
}

impl Scene {
    /// Records all of it.
    pub async fn play() -> Self {
        let crew = Crew::start().await;
        let settings = json!({
            "id": new_id().to_string(), "establishmentName": "Quarry Lane Provisions",
            "establishmentNumber": "00000", "zone": "America/New_York", "dayStart": "04:00",
            "lotCodePattern": "R{yy}{ddd}-{n}",
        });
        crew.administrator.client.post("/v1/plant/settings", &settings).await.ok();
        // The other services hear of settings by identity's stream, within its heartbeat.
        tokio::time::sleep(std::time::Duration::from_millis(1200)).await;
        let closed = Goods::of(&crew).await;
        let open = closed.another_lot();
        crew.operator.client.post("/v1/lots", &open.lot_body()).await.ok();
        failed_and_closed(&crew, &closed).await;
        let operator = &crew.operator.client;
        let text = |answer: &serde_json::Value, name: &str| {
            answer[name].as_str().expect("an id").to_owned()
        };
        let met = operator.post("/v1/readings", &open.reading("39.2")).await.ok();
        let failed = operator.post("/v1/readings", &open.reading("44.6")).await.ok();
        let reason = json!({
            "id": new_id().to_string(), "lots": [open.lot], "reason": "A liner was torn"
        });
        let hold = crew.supervisor.client.post("/v1/holds", &reason).await.ok();
        open.lot_with_holds(operator, 2).await;
        let (met, hold) = (text(&met, "reading"), text(&hold, "hold"));
        let (failed, deviation) = (text(&failed, "reading"), text(&failed, "deviation"));
        Self { crew, closed, open, met, failed, deviation, hold }
    }
}

async fn failed_and_closed(crew: &Crew, goods: &Goods) {
    let operator = &crew.operator.client;
    operator.post("/v1/readings", &goods.reading("38.9")).await.ok();
    let failed = operator.post("/v1/readings", &goods.reading("40.01")).await.ok();
    goods.lot_with_holds(operator, 1).await;
    let reading = failed["reading"].as_str().expect("an id");
    let amendment = json!({
        "id": new_id().to_string(), "readings": ["39.9"], "unit": "[degF]",
        "observedAt": START, "reason": "The thermometer was misread by one line.",
    });
    let (path, subject) =
        (format!("/v1/readings/{reading}/amendments"), format!("reading:{reading}"));
    crew.supervisor.signed(("Haccp/AmendReading", &subject), &path, &amendment).await.ok();
    let deviation = failed["deviation"].as_str().expect("an id");
    let parts = json!({
        "id": new_id().to_string(),
        "cause": "The door of the dock cooler stood open; it was shut.",
        "control": "The next three readings were met.",
        "prevention": "The door has an alarm from today.",
        "disposition": "release_with_support",
        "dispositionText": "Surface above the limit for under ten minutes; study on file.",
    });
    let subject = format!("deviation:{deviation}");
    let path = format!("/v1/deviations/{deviation}/close");
    crew.qa.signed(("Haccp/CloseDeviation", &subject), &path, &parts).await.ok();
    goods.lot_with_holds(operator, 0).await;
}
