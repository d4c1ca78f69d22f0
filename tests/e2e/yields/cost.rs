//! The cost of inputs through the lot graph.
//! It never expects a sum while a price is missing.

use serde_json::{Value, json};

use super::floor::Floor;
use crate::gate::day::id;

async fn price(floor: &Floor, lot: &str, (amount, currency): (&str, &str)) -> Value {
    let body = json!({
        "id": id(), "lot": lot, "amountMinor": amount, "currency": currency,
        "per": { "value": "100", "unit": "[lb_av]" }, "source": "invoice 118",
    });
    floor.day.post("walt", "/v1/costs", &body).await.ok()
}

#[tokio::test]
async fn inputs_cost_what_the_lots_cost_that_went_in() {
    let floor = Floor::open().await;
    let path = format!("/v1/input-cost?lot={}", floor.finished);
    price(&floor, &floor.meat, ("18900", "USD")).await;
    let cost = floor.day.get("walt", &path).await.ok();
    assert_eq!(cost["verdict"], "UNDETERMINED");
    assert_eq!((&cost["knownMinor"], &cost["totalMinor"]), (&json!(75600), &json!(null)));
    let lines = cost["inputs"].as_array().expect("two inputs");
    let spice = lines.iter().find(|line| line["lot"]["lot"] == json!(floor.spice));
    let code = spice.and_then(|line| line["lot"]["code"].as_str()).expect("its code");
    assert!(cost["reasons"][0].as_str().is_some_and(|why| why.contains(code)), "{cost}");
    price(&floor, &floor.spice, ("90000", "EUR")).await;
    let mixed = floor.day.get("walt", &path).await.ok();
    assert!(mixed["totalMinor"].is_null() && mixed["currency"] == "", "{mixed}");
    price(&floor, &floor.spice, ("100000", "USD")).await;
    floor.weigh(&[&floor.finished], "packed", ("360", "0")).await;
    let whole = floor.day.get("walt", &path).await.ok();
    // 400 lb at 189 cents and 10 lb at 1000 cents; 360 lb are 163.2932532 kg.
    assert_eq!((&whole["totalMinor"], &whole["packedKg"]), (&json!(85600), &json!(163.2932532)));
    assert!(whole["verdict"].is_null(), "{whole}");
    let per_kg = whole["minorPerPackedKg"].to_string();
    assert!(per_kg.starts_with("524.2102678618"), "{per_kg}");
    let batch = floor.day.get("walt", &format!("/v1/input-cost?lot={}", floor.batch)).await.ok();
    assert_eq!(batch["minorPerPackedKg"], whole["minorPerPackedKg"]);
    let rack = floor.day.get("walt", &format!("/v1/input-cost?lot={}", floor.racks[0])).await.ok();
    assert_eq!(
        (&rack["totalMinor"], &rack["inputs"][0]["massG"]),
        (&json!(42800), &json!(90718.474))
    );
    let listed = floor.day.get("walt", &format!("/v1/costs?lot={}", floor.spice)).await.ok();
    assert_eq!(
        (&listed["costs"][1]["version"], &listed["costs"][1]["currency"]),
        (&json!(2), &json!("USD"))
    );
    floor.day.close().await;
}

#[tokio::test]
async fn a_cost_is_whole_coins_of_a_lot_that_nothing_of_the_plant_made() {
    let floor = Floor::open().await;
    let with = |lot: &str, amount: &str| {
        json!({
            "id": id(), "lot": lot, "amountMinor": amount, "currency": "USD",
            "per": { "value": "100", "unit": "[lb_av]" }, "source": "invoice 118",
        })
    };
    for (lot, amount, field) in [
        (floor.batch.as_str(), "100", "lot"),
        (&id(), "100", "lot"),
        (&floor.meat, "100.5", "amountMinor"),
        (&floor.meat, "-1", "amountMinor"),
    ] {
        let answer = floor.day.post("walt", "/v1/costs", &with(lot, amount)).await.expect(400);
        assert_eq!(answer.fields(), [field], "{}", answer.text);
    }
    let path = format!("/v1/input-cost?lot={}", floor.finished);
    floor.day.get("ines", &path).await.expect(403);
    floor.day.close().await;
}
