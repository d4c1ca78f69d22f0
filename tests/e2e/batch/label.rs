//! The spice lot that brings soy: its specification, the label in force, and the two ways on.
//! It never speaks of equipment or film: changeovers and rolls have journeys of their own.

use platform::records::new_id;
use serde_json::{Value, json};

use super::kitchen::{Kitchen, codes, revision};
use crate::path::ledger::{Place, assert_replayed};

/// A lot of the blend whose own specification adds soy from an instant on; gives its lot.
async fn soy_lot(kitchen: &Kitchen, from: &str) -> String {
    let lot = new_id().to_string();
    let content = json!({
        "fatPct": "2", "moisturePct": "8", "proteinPct": "6", "saltPct": "58",
        "statement": "seasoning (salt, pepper, soy flour)", "allergens": ["soy"],
    });
    kitchen.specify(&kitchen.blend, Some(&lot), content, from).await;
    lot
}

fn inputs(kitchen: &Kitchen, blend_lot: &str) -> Value {
    json!([kitchen.meat("400.0"), kitchen.loose(&kitchen.blend, blend_lot, "8.0")])
}

#[tokio::test]
async fn a_lot_that_brings_soy_is_stopped_at_the_scan_with_both_choices() {
    let kitchen = Kitchen::start().await;
    let (old, new) = (new_id().to_string(), soy_lot(&kitchen, "2026-11-25T05:00:00Z").await);
    let coming = revision("4", &["soy"], "2026-12-01T00:00:00Z");
    let mut coming = coming.clone();
    coming["label"] = json!(kitchen.label);
    kitchen.made("/v1/labels", "label", coming).await;
    let plain = kitchen.check(inputs(&kitchen, &old)).await;
    assert_eq!((&plain["mayTip"], &plain["labelRevision"]), (&json!(true), &json!("3")));

    let stopped = kitchen.check(inputs(&kitchen, &new)).await;
    let stops = ["ALLERGEN_NOT_ON_LABEL", "INGREDIENT_NOT_ON_LABEL"];
    assert_eq!(codes(&stopped["refusals"]), stops);
    assert_eq!(stopped["allergens"], json!(["soy"]));
    let way = stopped["refusals"][0]["wayOn"].as_str().expect("a way on");
    assert!(way.starts_with("Use another lot of Spice blend No. 1"), "{way}");
    assert!(way.contains("hold it for revision 4 of No. 1 Rope"), "{way}");

    let mut held = kitchen.question(inputs(&kitchen, &new));
    held["holdForLabel"] = json!(true);
    let held = kitchen.worker.client.post("/v1/batch-checks", &held).await.ok();
    assert_eq!(held["mayTip"], true);
    assert_eq!(codes(&held["holds"]), stops, "it is made to be held");
    assert_eq!(held["verdict"], "FAIL", "a choice changes no verdict");
    kitchen.plant.stop().await;
}

#[tokio::test]
async fn a_specification_counts_from_its_instant_and_a_label_to_its_end() {
    let kitchen = Kitchen::start().await;
    let later = soy_lot(&kitchen, "2026-11-25T07:00:00Z").await;
    let before = kitchen.check(inputs(&kitchen, &later)).await;
    assert_eq!(before["mayTip"], true, "not yet in force at six: {before}");
    let mut ended = revision("3", &[], super::kitchen::LONG_AGO);
    ended["label"] = json!(kitchen.label);
    ended["inForceTo"] = json!("2026-11-25T06:00:00Z");
    kitchen.made("/v1/labels", "label", ended).await;
    let stopped = kitchen.check(inputs(&kitchen, &later)).await;
    assert_eq!(codes(&stopped["refusals"]), ["NO_LABEL_IN_FORCE"]);
    let path = format!("/v1/labels/{}", kitchen.label);
    let item = kitchen.worker.client.get(&path).await.ok();
    assert!(item["inForce"].is_null(), "{item}");
    assert_eq!(item["revisions"].as_array().map(Vec::len), Some(1));
    kitchen.plant.stop().await;
}

/// The plant's own safety version.
async fn plant_version(kitchen: &Kitchen) -> i64 {
    let client = kitchen.plant.database.connect().await;
    let query = "SELECT version FROM genealogy.lot_safety WHERE lot = $1";
    client.query_one(query, &[&uuid::Uuid::nil()]).await.expect("a version").get(0)
}

#[tokio::test]
async fn what_replaces_or_ends_a_label_or_specification_raises_the_plants_version_once() {
    let kitchen = Kitchen::start().await;
    assert_eq!(plant_version(&kitchen).await, 2, "first records replace nothing; one approval");
    let mut coming = revision("4", &["soy"], "2026-12-01T00:00:00Z");
    let mut ended = revision("3", &[], super::kitchen::LONG_AGO);
    ended["inForceTo"] = json!("2026-12-01T00:00:00Z");
    for (body, version) in [(&mut coming, 3), (&mut ended, 4)] {
        body["id"] = json!(new_id());
        body["label"] = json!(kitchen.label);
        for _ in 0..2 {
            kitchen.worker.client.post("/v1/labels", body).await.ok();
            assert_eq!(plant_version(&kitchen).await, version, "the same call counts once");
        }
    }
    soy_lot(&kitchen, "2026-11-25T05:00:00Z").await;
    assert_eq!(plant_version(&kitchen).await, 5, "it replaces that of the material");
    let path = format!("/v1/materials/{}/specifications", kitchen.blend);
    let mut body = json!({ "id": new_id(), "inForceFrom": "2026-12-01T00:00:00Z" });
    body["content"] = json!({ "statement": "seasoning (salt, pepper)", "allergens": ["milk"] });
    for _ in 0..2 {
        kitchen.worker.client.post(&path, &body).await.ok();
        assert_eq!(plant_version(&kitchen).await, 6, "the same call counts once");
    }
    body["id"] = json!(new_id());
    body["content"]["allergens"] = json!(["beer"]);
    assert_eq!(kitchen.worker.client.post(&path, &body).await.status, 400);
    assert_eq!(plant_version(&kitchen).await, 6, "what is refused replaces nothing");
    let named = json!({
        "id": new_id(), "product": kitchen.product, "name": "No. 1 Rope, mild",
        "productClass": "comminuted",
    });
    kitchen.worker.client.post("/v1/products", &named).await.ok();
    assert_eq!(plant_version(&kitchen).await, 7, "lots are told apart by names");
    let named = json!({
        "id": new_id(), "material": kitchen.blend, "name": "Spice blend 1", "kind": "other",
    });
    kitchen.worker.client.post("/v1/materials", &named).await.ok();
    assert_eq!(plant_version(&kitchen).await, 8);
    assert_replayed(Place::Database(&kitchen.plant.database.url)).await;
    kitchen.plant.stop().await;
}
