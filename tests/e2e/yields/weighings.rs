//! Weighings: what is computed, what is refused before it is stored, amendments beside originals.
//! It never takes a word for it: the leaf is looked up.

use harness::client::length;
use serde_json::{Value, json};

use super::floor::Floor;
use crate::gate::day::{id, t};
use crate::path::forms;

#[tokio::test]
async fn a_weighing_is_exact_and_amended_beside_the_original() {
    let floor = Floor::open().await;
    let rack = floor.racks[0].as_str();
    let scale = json!({
        "id": id(), "name": "Floor scale", "division": { "value": "0.5", "unit": "[lb_av]" },
    });
    let scale = floor.day.post("walt", "/v1/scales", &scale).await.ok();
    let scales = floor.day.get("ines", "/v1/scales").await.ok();
    assert_eq!(scales["scales"][0], scale);
    let on_hand = floor.day.get("ines", &format!("/v1/lots/{rack}")).await.ok();
    let mut body = Floor::body(&[rack], "stuffed", ("304.50", "100.25"));
    body["scale"] = scale["scale"].clone();
    let first = floor.send(&body).await.ok();
    assert_eq!((&first["net"], &first["gross"]), (&json!(204.25), &json!(304.5)));
    assert_eq!((&first["scaleName"], &first["day"]), (&json!("Floor scale"), &json!("2026-11-25")));
    assert_eq!(floor.send(&body).await.ok(), first, "said twice");
    body["tare"] = json!("100");
    floor.send(&body).await.expect(409);
    let after = floor.day.get("ines", &format!("/v1/lots/{rack}")).await.ok();
    assert_eq!(after["onHandG"], on_hand["onHandG"], "a weighing is not on hand");
    let weighing = first["weighing"].as_str().expect("an id");
    let path = format!("/v1/weighings/{weighing}/amendments");
    let amendment = json!({
        "id": id(), "stage": "stuffed", "gross": "304.50", "net": "214.50", "unit": "[lb_av]",
        "observedAt": t("06:00"), "reason": "The tare of the small rack is 90.",
    });
    floor.day.post("marcus", &path, &amendment).await.expect(403);
    let signed = format!("weighing:{weighing}");
    let sign = ("Yields/AmendWeighing", signed.as_str());
    let amended = floor.day.sign("marcus", sign, (&path, &amendment)).await.ok();
    assert_eq!((&amended["tare"], &amended["supersedes"]), (&json!(90), &json!(weighing)));
    let listed = floor.day.get("ines", &format!("/v1/weighings?lot={rack}")).await.ok();
    assert_eq!(length(&listed["weighings"]), 1);
    let shown = &listed["weighings"][0];
    assert_eq!((&shown["net"], &shown["amendments"][0]["net"]), (&json!(204.25), &json!(214.5)));
    assert_eq!(shown["amendments"][0]["reason"], amendment["reason"]);
    let one = floor.day.get("ines", &format!("/v1/weighings/{weighing}")).await.ok();
    assert_eq!(one, *shown);
    let cost = json!({
        "id": id(), "lot": floor.meat, "amountMinor": "210000", "currency": "USD",
        "per": { "value": "1000", "unit": "[lb_av]" }, "source": "invoice 118",
    });
    floor.day.post("walt", "/v1/costs", &cost).await.ok();
    let database = floor.day.plant.database.connect().await;
    forms::assert_of(&database, "yields", "forms.yields.json").await;
    floor.day.close().await;
}

#[tokio::test]
async fn what_is_wrong_is_refused_before_it_is_stored_with_the_way_on() {
    let floor = Floor::open().await;
    let rack = floor.racks[0].as_str();
    let with = |change: &dyn Fn(&mut Value)| {
        let mut body = Floor::body(&[rack], "stuffed", ("304", "100"));
        change(&mut body);
        body
    };
    let cases: [(&str, Value, &str); 8] = [
        ("tare", with(&|body| drop(body.as_object_mut().expect("it").remove("tare"))), "is 0"),
        ("tare", with(&|body| body["tare"] = json!("-1")), "must not be negative"),
        ("unit", with(&|body| body["unit"] = json!("stone")), "kg g mg t [lb_av] [oz_av]"),
        ("unit", with(&|body| body["unit"] = json!("[degF]")), "kg g mg t [lb_av] [oz_av]"),
        ("net", with(&|body| body["net"] = json!("203.9")), "gross less tare, 204"),
        ("tare", with(&|body| body["gross"] = json!("100")), "must be below the gross mass"),
        ("scale", with(&|body| body["scale"] = json!(id())), "must be a scale of the plant"),
        ("lots", with(&|body| body["lots"] = json!([id()])), "must be a lot of the plant"),
    ];
    for (field, body, says) in cases {
        let answer = floor.send(&body).await.expect(400);
        assert_eq!(answer.fields(), [field], "{}", answer.text);
        assert!(answer.text.contains(says), "{}", answer.text);
    }
    floor.weigh(&[rack], "chilled", ("284.5", "100")).await;
    let late = Floor::body(&[rack], "smoked", ("290", "100"));
    let refused = floor.send(&late).await.expect(409);
    assert_eq!(refused.codes(), ["STAGE_BEFORE"]);
    assert!(refused.text.contains("record it as it happened"), "{}", refused.text);
    let mut happened = late.clone();
    happened["happened"] = json!(true);
    happened["id"] = json!(id());
    assert_eq!(floor.send(&happened).await.ok()["happened"], true);
    let listed = floor.day.get("ines", &format!("/v1/weighings?lot={rack}")).await.ok();
    assert_eq!(length(&listed["weighings"]), 2, "nothing that was refused stands");
    floor.day.post("lee", "/v1/costs", &json!({})).await.expect(403);
    floor.day.close().await;
}
