//! Bad input at the mixer and at the desk: stopped before the act, with the way on.
//! It never stores what it is refused for.

use platform::records::new_id;
use serde_json::{Value, json};

use super::kitchen::{Kitchen, codes, kit, pounds};

async fn refusals(kitchen: &Kitchen, inputs: Value) -> Vec<String> {
    let answer = kitchen.check(inputs).await;
    for reason in answer["refusals"].as_array().map(Vec::as_slice).unwrap_or_default() {
        let way = reason["wayOn"].as_str().unwrap_or_default();
        assert!(!way.is_empty() && reason["who"].is_string(), "{reason}");
    }
    codes(&answer["refusals"]).into_iter().map(str::to_owned).collect()
}

#[tokio::test]
async fn kits_that_do_not_belong_are_refused() {
    let kitchen = Kitchen::start().await;
    let usual = kitchen.usual_kit().await;
    let twice = json!([kitchen.meat("400.0"), kit(&usual), kit(&usual)]);
    assert_eq!(refusals(&kitchen, twice).await, ["KIT_TWICE"]);
    let other = json!([kitchen.meat("421.0"), kit(&usual)]);
    assert_eq!(refusals(&kitchen, other).await, ["KIT_FOR_ANOTHER_BLOCK"]);
    let at_the_edge = json!([kitchen.meat("420.0"), kit(&usual)]);
    assert_eq!(refusals(&kitchen, at_the_edge).await, [] as [&str; 0]);
    let unknown = json!([kitchen.meat("400.0"), kit(&new_id().to_string())]);
    assert_eq!(refusals(&kitchen, unknown).await, ["KIT_UNKNOWN"]);
    let mut closing = kitchen.question(json!([kitchen.meat("400.0")]));
    closing["closing"] = json!(true);
    let closed = kitchen.worker.client.post("/v1/batch-checks", &closing).await.ok();
    assert!(codes(&closed["refusals"]).contains(&"KIT_MISSING"), "{closed}");
    let body = kitchen.kit(&usual, (&kitchen.cure_lot, "1.000"), "400.0");
    let again = kitchen.worker.client.post("/v1/kits", &body).await.expect(409);
    assert_eq!(codes(&again.json["reasons"]), ["KIT_RECORDED"]);
    let heavy = kitchen.kit(&new_id().to_string(), (&kitchen.cure_lot, "1.005"), "400.0");
    let refused = kitchen.worker.client.post("/v1/kits", &heavy).await.expect(409);
    assert_eq!(codes(&refused.json["reasons"]), ["AGENT_NOT_MET"]);
    let way = refused.json["reasons"][0]["wayOn"].to_string();
    assert!(way.contains("take out 0.005 [lb_av]"), "{way}");
    let kept = kitchen.worker.client.get(&format!("/v1/kits/{usual}")).await.ok();
    assert_eq!((&kept["code"], &kept["formulaVersion"]), (&json!("CURE"), &json!(1)));
    kitchen.plant.stop().await;
}

#[tokio::test]
async fn a_kit_of_another_formula_version_is_refused() {
    let kitchen = Kitchen::start().await;
    let old = kitchen.usual_kit().await;
    kitchen.draft(&kitchen.content("0.245")).await.ok();
    assert_eq!(kitchen.approve(1, true).await.ok()["version"], 2);
    let mut question = kitchen.question(json!([kitchen.meat("400.0"), kit(&old)]));
    question["formulaVersion"] = json!(2);
    let answer = kitchen.worker.client.post("/v1/batch-checks", &question).await.ok();
    assert_eq!(codes(&answer["refusals"]), ["KIT_FOR_ANOTHER_FORMULA"]);
    let body = kitchen.kit(&new_id().to_string(), (&kitchen.cure_lot, "1.000"), "400.0");
    let late = kitchen.worker.client.post("/v1/kits", &body).await.expect(409);
    assert_eq!(codes(&late.json["reasons"]), ["FORMULA_NOT_IN_FORCE"]);
    kitchen.plant.stop().await;
}

#[tokio::test]
async fn what_may_not_go_in_is_refused() {
    let kitchen = Kitchen::start().await;
    let bare = kitchen
        .made(
            "/v1/materials",
            "material",
            json!({
                "name": "Unproved blend", "kind": "other",
            }),
        )
        .await;
    let lot = new_id().to_string();
    let unapproved = json!([kitchen.meat("400.0"), kitchen.loose(&bare, &lot, "1")]);
    let codes = refusals(&kitchen, unapproved).await;
    assert_eq!(codes, ["MATERIAL_NOT_APPROVED", "MATERIAL_NOT_IN_FORMULA"]);
    let no_lot = json!([
        kitchen.meat("400.0"), { "material": kitchen.blend, "mass": pounds("8") },
    ]);
    assert_eq!(refusals(&kitchen, no_lot).await, ["LOT_MISSING"]);
    let rework = json!([kitchen.loose(&kitchen.rework, &lot, "40")]);
    assert_eq!(refusals(&kitchen, rework).await, ["NO_MEAT"]);
    let unit = json!([{ "lot": lot, "material": kitchen.pork,
        "mass": { "value": "400", "unit": "lb" } }]);
    let bad = kitchen.worker.client.post("/v1/batch-checks", &kitchen.question(unit)).await;
    assert_eq!(bad.expect(400).fields(), ["inputs[0].mass.unit"]);
    let negative = json!([kitchen.meat("-1"), { "kit": true }]);
    let bad = kitchen.worker.client.post("/v1/batch-checks", &kitchen.question(negative)).await;
    assert_eq!(bad.expect(400).fields(), ["inputs[0].mass.value", "inputs[1].lot"]);
    kitchen.plant.stop().await;
}

#[tokio::test]
async fn a_draft_is_replaced_only_by_who_has_read_it_and_a_bad_one_is_not_approved() {
    let kitchen = Kitchen::without_formula().await;
    let (client, path) =
        (&kitchen.worker.client, format!("/v1/formulas/{}/draft", kitchen.formula));
    let first = kitchen.draft(&kitchen.content("0.30")).await;
    assert_eq!(first.etag.as_deref(), Some("\"1\""));
    let checks = &first.ok()["checks"];
    assert_eq!(checks["verdict"], "FAIL");
    let body = json!({ "content": kitchen.content("0.24") });
    assert_eq!(client.put_with(&path, &body, &[]).await.status, 428);
    assert_eq!(client.put_with(&path, &body, &[("if-match", "\"7\"")]).await.status, 412);
    let refused = kitchen.approve(1, true).await.expect(409);
    assert_eq!(codes(&refused.json["reasons"]), ["CHECK_NOT_MET"], "no signature mends a limit");
    client.put_with(&path, &body, &[("if-match", "\"1\"")]).await.ok();
    assert_eq!(kitchen.approve(1, true).await.status, 412, "another draft than was read");
    let mut wrong = kitchen.content("0.24");
    wrong["lines"][0]["pct"] = json!("99");
    wrong["lines"][3]["kit"] = json!("NONE");
    wrong["steps"][0]["checks"][0]["unit"] = json!("F");
    let bad = client.put_with(&path, &json!({ "content": wrong }), &[("if-match", "\"2\"")]).await;
    let fields = ["content.lines[3].kit", "content.steps[0].checks[0].unit"];
    assert_eq!(bad.expect(400).fields(), fields);
    wrong["lines"][3]["kit"] = json!("CURE");
    wrong["steps"] = json!([]);
    let body = json!({ "content": wrong });
    let draft = client.put_with(&path, &body, &[("if-match", "\"2\"")]).await.ok();
    let checks = draft["checks"]["checks"].clone();
    let block = checks.as_array().expect("checks").iter().find(|one| one["code"] == "MEAT_BLOCK");
    assert_eq!(block.expect("a check")["verdict"], "FAIL", "99 % of raw meat");
    kitchen.plant.stop().await;
}

#[tokio::test]
async fn names_are_unlike_and_a_kind_stays() {
    let kitchen = Kitchen::without_formula().await;
    let client = &kitchen.worker.client;
    let named =
        |name: &str, kind: &str| json!({ "id": new_id().to_string(), "name": name, "kind": kind });
    let same = client.post("/v1/materials", &named("cure MIX", "other")).await.expect(409);
    assert_eq!(codes(&same.json["reasons"]), ["NAME_IN_USE"]);
    let mut other = named("Cooked rework of No. 1", "meat");
    other["material"] = json!(kitchen.rework);
    let kind = client.post("/v1/materials", &other).await.expect(409);
    assert_eq!(codes(&kind.json["reasons"]), ["KIND_STAYS"]);
    let path = format!("/v1/materials/{}/specifications", kitchen.pork);
    let cured = json!({ "id": new_id().to_string(), "inForceFrom": "2026-01-01T00:00:00Z",
        "content": { "statement": "pork",
            "agents": [{ "agent": "nitrite", "strengthPct": "1" }] } });
    let bad = client.post(&path, &cured).await.expect(400);
    assert_eq!(bad.fields(), ["content.agents"], "raw meat brings no agent");
    let found = client.get("/v1/materials?search=CURE").await.ok();
    assert_eq!(found["materials"].as_array().map(Vec::len), Some(1));
    kitchen.plant.stop().await;
}
