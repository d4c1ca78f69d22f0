//! What makes records trustworthy: instruments, challenges, dispositions, reviews.
//! It never ships anything: what may leave is another journey.

use harness::client::length;
use harness::stock::Worker;
use harness::{Answer, Plant};
use jiff::{SignedDuration, Timestamp};
use platform::records::new_id;
use serde_json::{Value, json};
use uuid::Uuid;

const RECEIVING: &str = "CCP-1";

/// A plant with people who hold tokens of its own key, and lots received under a plan.
struct Setting {
    plant: Plant,
    qa: Worker,
    operator: Worker,
    supervisor: Worker,
    plan: Uuid,
    place: Value,
    lots: Vec<Uuid>,
    at: Timestamp,
}

/// A ccp that every reading must meet, one that is to be attained, and one for quality.
fn receiving() -> Value {
    let every = ["release_with_support", "recook", "rework_with_lethal_step", "destroy"];
    let check = |code: &str, class: &str, kind: &str, most: &str| {
        json!({
            "code": code, "title": "Temperature at the dock", "class": class, "kind": kind,
            "hazard": "Salmonella growth", "hazardKind": "pathogen", "unit": "[degF]",
            "atMost": most, "dispositions": every,
        })
    };
    json!({ "name": "Receiving", "binds": "received", "checks": [
        check(RECEIVING, "ccp", "each", "40"), check("CCP-2", "ccp", "attain", "45"),
        check("Q-1", "quality", "each", "38"),
    ] })
}

/// A challenge of a metal detector on finished lots.
fn packing() -> Value {
    json!({ "name": "Packing", "binds": "finished", "checks": [{
        "code": "CCP-9", "title": "Metal detector", "class": "ccp", "kind": "bracket",
        "hazard": "Metal", "hazardKind": "metal", "unit": "mm", "device": "metal_detector",
        "dispositions": ["release_with_support", "destroy"],
    }] })
}

impl Setting {
    async fn new(lots: usize) -> Self {
        let plant = Plant::start().await;
        let at = harness::plant::START.parse().expect("an instant");
        let worker = |roles: &[&str]| Worker::new(&plant.http, plant.signer(), roles, at);
        let (qa, operator) = (worker(&["QA", "MANAGER"]), worker(&["OPERATOR"]));
        let supervisor = worker(&["SUPERVISOR", "QA"]);
        let plan = in_force(&qa, &receiving()).await;
        let client = &qa.client;
        let place = json!({ "id": new_id().to_string(), "name": "Line 1", "kind": "dock" });
        let place = client.post("/v1/places", &place).await.ok()["place"].clone();
        let supplier =
            json!({ "id": new_id().to_string(), "name": "Hollow Road Meats", "isSupplier": true });
        let supplier = client.post("/v1/partners", &supplier).await.ok()["partner"].clone();
        let lots: Vec<Uuid> = (0..lots).map(|_| new_id()).collect();
        for lot in &lots {
            let body = json!({
                "id": lot, "material": "Beef trimmings 85", "supplier": supplier,
                "supplierLot": "HR-4411", "mass": { "value": "907.2", "unit": "kg" },
                "place": place, "plan": plan, "observedAt": at.to_string(),
            });
            operator.client.post("/v1/lots", &body).await.ok();
        }
        Self { plant, qa, operator, supervisor, plan, place, lots, at }
    }

    fn later(&self, s: i64) -> String {
        (self.at + SignedDuration::from_secs(s)).to_string()
    }

    fn reading(&self, lot: Uuid, check: &str, value: &str) -> Value {
        json!({
            "id": new_id().to_string(), "lots": [lot], "plan": self.plan, "planVersion": 1,
            "check": check, "readings": [value], "unit": "[degF]", "observedAt": self.later(0),
        })
    }

    async fn read(&self, body: &Value) -> Value {
        self.operator.client.post("/v1/readings", body).await.ok()
    }

    /// A deviation of the lot, opened by a reading; gives the reading and the deviation.
    async fn deviation(&self, lot: Uuid) -> (String, String) {
        let read = self.read(&self.reading(lot, RECEIVING, "44")).await;
        let text = |name: &str| read[name].as_str().expect("an id").to_owned();
        assert!(!text("deviation").is_empty(), "{read}");
        (text("reading"), text("deviation"))
    }

    async fn close(&self, who: &Worker, deviation: &str, change: Value) -> Answer {
        let mut body = json!({
            "id": new_id().to_string(), "cause": "The door stood open", "control": "Door closed",
            "prevention": "A bell at the door", "dispositionText": "By the support on file",
        });
        for (name, value) in change.as_object().expect("an object") {
            body[name] = value.clone();
        }
        let subject = format!("deviation:{deviation}");
        let path = format!("/v1/deviations/{deviation}/close");
        who.sign(&path, &body, ("hankbook.v1.Haccp/CloseDeviation", &subject)).await
    }

    async fn holds(&self, lot: Uuid, count: usize) -> bool {
        for _ in 0..400 {
            let found = self.qa.client.get(&format!("/v1/lots/{lot}")).await.ok();
            if length(&found["holds"]) == count {
                return true;
            }
            tokio::time::sleep(std::time::Duration::from_millis(25)).await;
        }
        false
    }

    async fn clearance(&self, lot: Uuid) -> Value {
        self.qa.client.get(&format!("/v1/lots/{lot}/clearance")).await.ok()
    }
}

async fn in_force(qa: &Worker, content: &Value) -> Uuid {
    let plan = new_id();
    let path = format!("/v1/plans/{plan}/draft");
    let body = json!({ "content": content });
    let draft = qa.client.put_with(&path, &body, &[("if-none-match", "*")]).await.ok();
    let body = json!({ "id": new_id().to_string(), "draftVersion": draft["version"] });
    let subject = format!("plan:{plan}");
    let path = format!("/v1/plans/{plan}/approve");
    qa.sign(&path, &body, ("hankbook.v1.Haccp/ApprovePlan", &subject)).await.ok();
    plan
}

fn state<'v>(clearance: &'v Value, check: &str) -> &'v str {
    let items = clearance["items"].as_array().into_iter().flatten();
    let item = items.into_iter().find(|item| item["check"] == check);
    item.and_then(|item| item["state"].as_str()).unwrap_or("none")
}

#[tokio::test]
async fn a_plan_that_cannot_be_judged_by_is_not_approved_and_says_all_why() {
    let setting = Setting::new(0).await;
    let mut content = receiving();
    content["binds"] = json!("product");
    content["checks"][0]["hazardKind"] = json!("metal");
    let plan = new_id();
    let path = format!("/v1/plans/{plan}/draft");
    let first = [("if-none-match", "*")];
    let body = json!({ "content": content });
    let draft = setting.qa.client.put_with(&path, &body, &first).await.ok();
    let body = json!({ "id": new_id().to_string(), "draftVersion": draft["version"] });
    let subject = format!("plan:{plan}");
    let path = format!("/v1/plans/{plan}/approve");
    let signed = ("hankbook.v1.Haccp/ApprovePlan", subject.as_str());
    let refused = setting.qa.sign(&path, &body, signed).await;
    assert_eq!(refused.status, 409, "{}", refused.text);
    let wanted = ["ROUTE_MISSING", "PROCESS_CATEGORY_MISSING", "DISPOSITION_DOES_NOT_ANSWER"];
    assert_eq!(refused.codes(), wanted);
    setting.plant.stop().await;
}

#[tokio::test]
async fn what_an_instrument_shows_too_much_is_taken_off_and_one_in_doubt_proves_nothing() {
    let setting = Setting::new(1).await;
    let lot = setting.lots[0];
    let body = json!({
        "id": new_id().to_string(), "name": "T-03", "kind": "thermometer",
        "tolerance": { "value": "2", "unit": "[degF]" },
    });
    let made = setting.qa.client.post("/v1/instruments", &body).await.ok();
    let instrument = made["instrument"].as_str().expect("an id").to_owned();
    let read = |value: &str, s: i64| {
        let mut body = setting.reading(lot, "CCP-2", value);
        body["instrument"] = json!(instrument);
        body["observedAt"] = json!(setting.later(s));
        body
    };
    let unchecked = setting.read(&read("44", -600)).await;
    assert_eq!(unchecked["verdict"], "UNDETERMINED", "{unchecked}");
    assert_eq!(unchecked["deviation"], "");
    let check = |shown: &str, s: i64| {
        json!({
            "id": new_id().to_string(), "observedAt": setting.later(s),
            "reference": { "value": "32.0", "unit": "[degF]" },
            "shown": { "value": shown, "unit": "[degF]" },
        })
    };
    let path = format!("/v1/instruments/{instrument}/checks");
    let good = setting.operator.client.post(&path, &check("32.4", -300)).await.ok();
    assert_eq!((&good["verdict"], &good["error"]), (&json!("PASS"), &json!(0.4)));
    let met = setting.read(&read("45.4", -200)).await;
    assert_eq!((&met["verdict"], &met["correction"]), (&json!("PASS"), &json!(0.4)), "{met}");
    assert_eq!(met["readings"], json!([45.4]), "what was shown stays");
    assert_eq!(met["reasons"].as_array().map(Vec::len), Some(2));
    let above = setting.read(&read("45.41", -250)).await;
    assert_eq!((&above["verdict"], &above["deviation"]), (&json!("FAIL"), &json!("")));
    assert_eq!(state(&setting.clearance(lot).await, "CCP-2"), "met");
    let bad = setting.operator.client.post(&path, &check("34.1", -100)).await.ok();
    assert_eq!(bad["verdict"], "FAIL");
    assert_eq!(state(&setting.clearance(lot).await, "CCP-2"), "undetermined");
    let listed = setting.qa.client.get("/v1/instruments").await.ok();
    assert_eq!(listed["instruments"][0]["lastCheck"]["verdict"], "FAIL");
    let other = json!({ "value": "0", "unit": "Cel" });
    let mut mixed = check("32", -50);
    mixed["reference"] = other;
    let refused = setting.operator.client.post(&path, &mixed).await;
    assert_eq!((refused.status, refused.fields()), (400, vec!["shown.unit"]));
    setting.plant.stop().await;
}

#[tokio::test]
async fn a_quality_reading_and_a_limit_not_yet_attained_hold_nothing() {
    let setting = Setting::new(1).await;
    let lot = setting.lots[0];
    for check in ["Q-1", "CCP-2"] {
        let read = setting.read(&setting.reading(lot, check, "60")).await;
        assert_eq!((&read["verdict"], &read["deviation"]), (&json!("FAIL"), &json!("")), "{check}");
    }
    let open = setting.qa.client.get("/v1/deviations?open=true").await.ok();
    assert_eq!(length(&open["deviations"]), 0);
    let day = setting.read(&setting.reading(lot, RECEIVING, "39")).await["day"].clone();
    let path = format!("/v1/open-items?day={}", day.as_str().expect("a day"));
    let items = setting.qa.client.get(&path).await.ok();
    let found: Vec<_> = items["items"].as_array().into_iter().flatten().collect();
    let quality = found.iter().find(|item| item["check"] == "Q-1").expect("an open item");
    assert_eq!((&quality["code"], &quality["gates"]), (&json!("failed"), &json!(false)));
    let attain = found.iter().find(|item| item["check"] == "CCP-2").expect("an open item");
    assert_eq!((&attain["code"], &attain["gates"]), (&json!("failed"), &json!(true)));
    setting.plant.stop().await;
}

#[tokio::test]
async fn a_failed_challenge_puts_in_doubt_what_passed_since_the_last_good_one() {
    let setting = Setting::new(0).await;
    let plan = in_force(&setting.qa, &packing()).await;
    let challenge = |found: bool, s: i64| {
        json!({
            "id": new_id().to_string(), "plan": plan, "planVersion": 1, "check": "CCP-9",
            "place": setting.place, "observedAt": setting.later(s),
            "pieces": [{ "name": "ferrous 2.0 mm", "found": true },
                { "name": "stainless 2.5 mm", "found": found }],
        })
    };
    let post = async |body: &Value| setting.operator.client.post("/v1/challenges", body).await;
    let mut nowhere = challenge(true, 0);
    nowhere["place"] = json!(new_id());
    let refused = post(&nowhere).await;
    assert_eq!((refused.status, refused.fields()), (400, vec!["place"]));
    let body = challenge(true, -3600);
    let good = post(&body).await.ok();
    assert_eq!((&good["isGood"], &good["spanFrom"]), (&json!(true), &json!("")));
    assert_eq!(post(&body).await.ok(), good, "the same call again");
    let failed = post(&challenge(false, -600)).await.ok();
    assert_eq!((&failed["isGood"], &failed["device"]), (&json!(false), &json!("metal_detector")));
    assert_eq!(failed["spanFrom"], setting.later(-3600));
    let path = format!("/v1/deviations/{}", failed["deviation"].as_str().expect("an id"));
    let deviation = setting.qa.client.get(&path).await.ok();
    assert_eq!(
        (&deviation["challenge"], &deviation["place"]),
        (&failed["challenge"], &setting.place)
    );
    assert_eq!(deviation["spanTo"], setting.later(-600));
    assert_eq!(length(&deviation["lots"]), 0);
    let id = deviation["deviation"].as_str().expect("an id");
    let wrong = json!({ "disposition": "recorded_wrongly", "evidence": "the log" });
    let refused = setting.close(&setting.qa, id, wrong).await;
    assert_eq!((refused.status, refused.codes()), (409, vec!["NOT_AMENDED_TO_MET"]));
    let place = setting.place.as_str().expect("an id");
    let listed = setting.qa.client.get(&format!("/v1/challenges?place={place}")).await.ok();
    assert_eq!(length(&listed["challenges"]), 2);
    setting.plant.stop().await;
}

#[tokio::test]
async fn each_disposition_does_to_the_hold_what_it_says() {
    let setting = Setting::new(4).await;
    let ends = [("release_with_support", 0), ("rework_with_lethal_step", 0), ("destroy", 1)];
    for ((disposition, holds), lot) in ends.into_iter().zip(&setting.lots) {
        let (_, deviation) = setting.deviation(*lot).await;
        assert!(setting.holds(*lot, 1).await, "{disposition}");
        let closed = json!({ "disposition": disposition });
        setting.close(&setting.qa, &deviation, closed).await.ok();
        assert!(setting.holds(*lot, holds).await, "{disposition}");
    }
    let lot = setting.lots[3];
    let (_, deviation) = setting.deviation(lot).await;
    assert!(setting.holds(lot, 1).await);
    setting.close(&setting.qa, &deviation, json!({ "disposition": "recook" })).await.ok();
    let mut again = setting.reading(lot, RECEIVING, "39");
    setting.read(&again).await;
    assert!(setting.holds(lot, 1).await, "it was read before the closing");
    again["id"] = json!(new_id().to_string());
    again["observedAt"] = json!(setting.later(30));
    setting.read(&again).await;
    assert!(setting.holds(lot, 0).await, "cooked again, and met since");
    setting.plant.stop().await;
}

#[tokio::test]
async fn only_another_person_may_say_with_evidence_that_a_record_was_wrong() {
    let setting = Setting::new(1).await;
    let (lot, qa) = (setting.lots[0], &setting.qa);
    let (reading, deviation) = setting.deviation(lot).await;
    let wrong = json!({ "disposition": "recorded_wrongly", "evidence": "Photo of the display" });
    let bare = json!({ "disposition": "recorded_wrongly" });
    let refused = setting.close(qa, &deviation, bare).await;
    assert_eq!((refused.status, refused.fields()), (400, vec!["evidence"]));
    let refused = setting.close(qa, &deviation, wrong.clone()).await;
    assert_eq!((refused.status, refused.codes()), (409, vec!["NOT_AMENDED_TO_MET"]));
    let body = json!({
        "id": new_id().to_string(), "readings": ["34"], "unit": "[degF]",
        "observedAt": setting.later(0), "reason": "44 was typed for 34",
    });
    let path = format!("/v1/readings/{reading}/amendments");
    let subject = format!("reading:{reading}");
    let signed = ("hankbook.v1.Haccp/AmendReading", subject.as_str());
    setting.supervisor.sign(&path, &body, signed).await.ok();
    assert_eq!(state(&setting.clearance(lot).await, RECEIVING), "failed", "it heals nothing");
    let refused = setting.close(&setting.supervisor, &deviation, wrong.clone()).await;
    assert_eq!((refused.status, refused.codes()), (409, vec!["SIGNER_TOOK_PART"]));
    let closed = setting.close(qa, &deviation, wrong).await.ok();
    assert_eq!(closed["evidence"], "Photo of the display");
    assert!(setting.holds(lot, 0).await);
    let clearance = setting.clearance(lot).await;
    assert_eq!(state(&clearance, RECEIVING), "failed", "it stays failed in every view");
    let items = clearance["items"].as_array().expect("items");
    let item = items.iter().find(|item| item["check"] == RECEIVING).expect("the item");
    assert_eq!(item["satisfiedBy"], "recorded_wrongly");
    setting.plant.stop().await;
}

#[tokio::test]
async fn a_review_covers_exactly_what_was_seen_and_nothing_that_is_not_proved() {
    let setting = Setting::new(1).await;
    let lot = setting.lots[0];
    let review = async |digest: &Value| {
        let id = new_id().to_string();
        let body = json!({ "id": id, "lots": [{ "lot": lot, "digest": digest }] });
        let subject = format!("review:{id}");
        let signed = ("hankbook.v1.Verification/SignReview", subject.as_str());
        setting.qa.sign("/v1/reviews", &body, signed).await
    };
    let before = setting.clearance(lot).await;
    assert_eq!((&before["isReviewable"], &before["isReviewed"]), (&json!(false), &json!(false)));
    let refused = review(&before["digest"]).await;
    assert_eq!((refused.status, refused.codes()), (409, vec!["CHECK_MISSING", "CHECK_MISSING"]));
    for check in [RECEIVING, "CCP-2"] {
        setting.read(&setting.reading(lot, check, "39")).await;
    }
    let seen = setting.clearance(lot).await;
    assert_eq!(seen["isReviewable"], true, "{seen}");
    let refused = review(&json!("00".repeat(32))).await;
    assert_eq!((refused.status, refused.codes()), (409, vec!["CLOSURE_CHANGED"]));
    let signed = review(&seen["digest"]).await.ok();
    assert_eq!(signed["lots"][0]["reviewerRecorded"], false, "{signed}");
    let path = format!("/v1/reviews/{}", signed["review"].as_str().expect("an id"));
    assert_eq!(setting.operator.client.get(&path).await.ok(), signed);
    assert_eq!(setting.clearance(lot).await["isReviewed"], true);
    setting.read(&setting.reading(lot, "CCP-2", "46")).await;
    let after = setting.clearance(lot).await;
    assert_eq!(after["isReviewed"], false, "what it counted is not met any more");
    assert_ne!(after["digest"], seen["digest"]);
    setting.plant.stop().await;
}

#[tokio::test]
async fn foreign_material_and_a_silent_station_stand_in_the_way_until_somebody_has_signed() {
    let setting = Setting::new(1).await;
    let (lot, qa) = (setting.lots[0], &setting.qa);
    for check in [RECEIVING, "CCP-2"] {
        setting.read(&setting.reading(lot, check, "39")).await;
    }
    let reasons = |clearance: &Value| {
        let all = clearance["reasons"].as_array().into_iter().flatten();
        all.map(|reason| reason["code"].as_str().unwrap_or_default().to_owned()).collect::<Vec<_>>()
    };
    let body = json!({
        "id": new_id().to_string(), "lot": lot, "what": "steel sliver", "sizeMm": "3",
        "foundAt": "Line 1", "observedAt": setting.later(0),
    });
    let found = setting.operator.client.post("/v1/foreign-material", &body).await.ok();
    assert_eq!(reasons(&setting.clearance(lot).await), ["FOREIGN_MATERIAL_OPEN"]);
    let id = found["foreignMaterial"].as_str().expect("an id");
    let body = json!({ "id": new_id().to_string(), "isEarlierTouched": false, "why": "One knife" });
    let path = format!("/v1/foreign-material/{id}/answer");
    let subject = format!("foreign_material:{id}");
    let signed = ("hankbook.v1.Verification/AnswerForeignMaterial", subject.as_str());
    qa.sign(&path, &body, signed).await.ok();
    assert!(reasons(&setting.clearance(lot).await).is_empty());
    let station = new_id();
    let body = json!({
        "id": new_id().to_string(), "station": station, "stationName": "Tablet 3",
        "place": setting.place,
    });
    qa.client.post("/v1/station-places", &body).await.ok();
    assert_eq!(reasons(&setting.clearance(lot).await), ["STATION_SILENT"]);
    let hear = async |queued: i32| {
        let body = json!({ "id": new_id().to_string(), "queued": queued });
        let path = format!("/v1/stations/{station}/heard");
        setting.operator.client.post(&path, &body).await.ok();
        reasons(&setting.clearance(lot).await)
    };
    assert_eq!(hear(2).await, ["STATION_SILENT"], "something is still to come");
    assert_eq!(hear(0).await, Vec::<String>::new());
    setting.plant.stop().await;
}
