//! Bad input on the path of a reading: each is refused, says why, and leaves no row.
//! It never counts what may come and go: only records, their links and derived state.

mod sessions;
mod signatures;
mod tokens;

use std::future::Future;

use harness::client::length;
use harness::plant::START;
use harness::{Answer, Plant};
use platform::records::new_id;
use serde_json::json;

use super::goods::{Goods, approve_by_key};
use super::ledger;

/// Makes a call that must be refused as `expected` (status, problem), and leave no row.
async fn refused(
    plant: &Plant,
    expected: (u16, &str),
    call: impl Future<Output = Answer>,
) -> Answer {
    let database = plant.database.connect().await;
    // What earlier calls still owe to other services would be counted as the refused call's.
    ledger::nothing_owed(&database).await;
    let before = ledger::rows(&database).await;
    let answer = call.await;
    assert_eq!((answer.status, answer.problem()), expected, "{}", answer.text);
    assert_eq!(ledger::rows(&database).await, before, "a refused call left a row");
    answer
}

#[tokio::test]
async fn times_that_cannot_be_are_refused() {
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let operator = plant.with_roles(&["OPERATOR"]);
    let mut ahead = goods.reading("35");
    ahead["observedAt"] = json!("2026-11-25T06:01:01Z");
    let call = operator.post("/v1/readings", &ahead);
    let answer = refused(&plant, (400, "bad-input"), call).await;
    assert_eq!(answer.fields()[0], "observedAt", "{}", answer.text);
    ahead["observedAt"] = json!("2026-11-25T06:01:00Z");
    operator.post("/v1/readings", &ahead).await.ok();
    let mut told = goods.reading("35");
    told["happened"] = json!(true);
    told["observedAt"] = json!("2026-11-26T06:00:00Z");
    let call = operator.post("/v1/readings", &told);
    let answer = refused(&plant, (400, "bad-input"), call).await;
    assert_eq!(answer.fields()[0], "observedAt", "what has happened lies in no future either");
    let mut before = goods.reading("35");
    before["enteredAt"] = json!("2026-11-25T05:00:00Z");
    let call = operator.post("/v1/readings", &before);
    let answer = refused(&plant, (400, "bad-input"), call).await;
    assert_eq!(answer.fields(), ["enteredAt"]);
    for text in ["yesterday", "2026-11-25", "2026-11-25T06:00:00", "2026-13-25T06:00:00Z"] {
        let mut wrong = goods.reading("35");
        wrong["observedAt"] = json!(text);
        let call = operator.post("/v1/readings", &wrong);
        let answer = refused(&plant, (400, "bad-input"), call).await;
        assert_eq!(answer.fields(), ["observedAt"], "{text}");
    }
    let mut lot = goods.another_lot().lot_body();
    lot["observedAt"] = json!("2026-11-25T07:00:00Z");
    let answer = refused(&plant, (400, "bad-input"), operator.post("/v1/lots", &lot)).await;
    assert_eq!(answer.fields()[0], "observedAt");
    plant.stop().await;
}

#[tokio::test]
async fn lots_plans_and_checks_that_do_not_exist_are_refused() {
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let operator = plant.with_roles(&["OPERATOR"]);
    for value in ["35", "99"] {
        // A failed reading goes by the other write door.
        let mut nowhere = goods.reading(value);
        nowhere["lots"] = json!([goods.lot, new_id().to_string()]);
        let call = operator.post("/v1/readings", &nowhere);
        let answer = refused(&plant, (400, "bad-input"), call).await;
        assert_eq!(answer.fields(), ["lots"]);
        for (name, wrong) in [("planVersion", json!(2)), ("plan", json!(new_id().to_string()))] {
            let mut reading = goods.reading(value);
            reading[name] = wrong;
            let call = operator.post("/v1/readings", &reading);
            let answer = refused(&plant, (409, "refused"), call).await;
            assert_eq!(answer.json["reasons"][0]["code"], "PLAN_NOT_IN_FORCE");
        }
        let mut check = goods.reading(value);
        check["check"] = json!("CCP-2");
        let call = operator.post("/v1/readings", &check);
        assert_eq!(refused(&plant, (400, "bad-input"), call).await.fields(), ["check"]);
        let mut unit = goods.reading(value);
        unit["unit"] = json!("kg");
        let call = operator.post("/v1/readings", &unit);
        assert_eq!(refused(&plant, (400, "bad-input"), call).await.fields(), ["unit"]);
    }
    let answer = operator.get(&format!("/v1/readings?lot={}", goods.lot)).await.ok();
    assert_eq!(length(&answer["readings"]), 0);
    plant.stop().await;
}

/// Nothing is received under a plan that is not in force, from nobody, or at no place.
#[tokio::test]
async fn a_lot_needs_a_plan_a_supplier_and_a_place() {
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let operator = plant.with_roles(&["OPERATOR"]);
    let stranger = Goods { plan: new_id().to_string(), ..goods.another_lot() };
    let body = stranger.lot_body();
    let answer = refused(&plant, (409, "refused"), operator.post("/v1/lots", &body)).await;
    assert_eq!(answer.json["reasons"][0]["code"], "PLAN_NOT_IN_FORCE");
    let mut body = goods.another_lot().lot_body();
    body["supplier"] = json!(goods.place);
    body["place"] = json!(goods.supplier);
    body["mass"]["value"] = json!("0");
    let answer = refused(&plant, (400, "bad-input"), operator.post("/v1/lots", &body)).await;
    let mut fields = answer.fields();
    fields.sort_unstable();
    assert_eq!(fields, ["mass.value", "place", "supplier"]);
    plant.stop().await;
}

/// A version that has been replaced judges only the lots that were bound to it.
#[tokio::test]
async fn a_version_no_longer_in_force_judges_only_its_own_lots() {
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let qa = new_id();
    let client = plant.person_with_roles(qa, &["QA"]);
    let operator = plant.with_roles(&["OPERATOR"]);
    bound(&plant, &goods.lot).await;
    let plan = goods.plan.parse().expect("an id");
    approve_by_key(&client, (qa, &plant.signer()), plan, START).await;
    let newer = goods.another_lot();
    operator.post("/v1/lots", &newer.lot_body()).await.ok();
    bound(&plant, &newer.lot).await;
    operator.post("/v1/readings", &goods.reading("35")).await.ok();
    let body = newer.reading("35");
    let answer = refused(&plant, (409, "refused"), operator.post("/v1/readings", &body)).await;
    assert_eq!(answer.json["reasons"][0]["code"], "PLAN_NOT_IN_FORCE");
    let body = newer.reading("99");
    refused(&plant, (409, "refused"), operator.post("/v1/readings", &body)).await;
    let mut both = goods.reading("35");
    both["lots"] = json!([goods.lot, newer.lot]);
    refused(&plant, (409, "refused"), operator.post("/v1/readings", &both)).await;
    let mut told = newer.reading("35");
    told["happened"] = json!(true);
    let told = operator.post("/v1/readings", &told).await.ok();
    assert_eq!(told["planVersion"], 1, "what has happened is recorded as it was");
    let mut now = newer.reading("35");
    now["planVersion"] = json!(2);
    operator.post("/v1/readings", &now).await.ok();
    plant.stop().await;
}

/// Waits until haccp has heard to which version a lot is bound.
async fn bound(plant: &Plant, lot: &str) {
    let database = plant.database.connect().await;
    let lot: uuid::Uuid = lot.parse().expect("an id");
    let query = "SELECT count(*) FROM haccp.lot_bound WHERE lot = $1";
    for _ in 0..400 {
        let count: i64 = database.query_one(query, &[&lot]).await.expect("a count").get(0);
        if count == 1 {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(25)).await;
    }
    panic!("haccp never heard of lot {lot}");
}

#[tokio::test]
async fn a_known_id_with_other_content_is_refused_and_shows_nothing() {
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let operator = plant.with_roles(&["OPERATOR"]);
    for value in ["35", "99"] {
        let body = goods.reading(value);
        let first = operator.post("/v1/readings", &body).await.ok();
        goods.lot_with_holds(&operator, usize::from(value == "99")).await;
        for other in ["36", "98"] {
            let mut changed = body.clone();
            changed["readings"] = json!([other]);
            let call = operator.post("/v1/readings", &changed);
            let answer = refused(&plant, (409, "id-in-use"), call).await;
            assert!(!answer.text.contains("Okrent") && !answer.text.contains("degF"));
        }
        let stranger = plant.with_roles(&["OPERATOR"]);
        let call = stranger.post("/v1/readings", &body);
        refused(&plant, (409, "id-in-use"), call).await;
        assert_eq!(operator.post("/v1/readings", &body).await.ok(), first);
    }
    let mut lot = goods.lot_body();
    lot["supplierLot"] = json!("H-4412");
    let call = operator.post("/v1/lots", &lot);
    refused(&plant, (409, "id-in-use"), call).await;
    plant.stop().await;
}

#[tokio::test]
async fn a_device_whose_clock_is_off_is_refused_but_what_has_happened_is_marked() {
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let operator = plant.with_roles(&["OPERATOR"]);
    let path = "/v1/readings";
    for (device, is_off) in [
        ("2026-11-25T05:58:00Z", false),
        ("2026-11-25T06:02:00Z", false),
        ("2026-11-25T05:57:59.999Z", true),
        ("2026-11-25T06:02:00.001Z", true),
        ("2026-11-20T06:00:00Z", true),
    ] {
        let headers = [("device-time", device)];
        let mut body = goods.reading("35");
        // As the device itself would say it.
        body["observedAt"] = json!(device);
        let call = operator.post_with(path, &body, &headers);
        if is_off {
            let answer = refused(&plant, (400, "bad-input"), call).await;
            assert_eq!(answer.fields(), ["Device-Time"], "{device}");
        } else {
            assert_eq!(call.await.ok()["clockOff"], false, "{device}");
        }
        body["id"] = json!(new_id().to_string());
        body["happened"] = json!(true);
        let told = operator.post_with(path, &body, &headers).await.ok();
        assert_eq!((&told["clockOff"], &told["happened"]), (&json!(is_off), &json!(true)));
    }
    let (body, headers) = (goods.reading("35"), [("device-time", "noon")]);
    let call = operator.post_with(path, &body, &headers);
    let answer = refused(&plant, (400, "bad-input"), call).await;
    assert_eq!(answer.fields(), ["Device-Time"]);
    plant.stop().await;
}
