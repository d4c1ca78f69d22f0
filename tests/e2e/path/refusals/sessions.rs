//! Sessions: who has signed out, lost a token or not changed a password can do nothing.
//! Waiting here is bounded by what the design promises: two seconds.

use std::time::{Duration, Instant};

use harness::Plant;
use harness::client::length;
use platform::clock::monotonic;
use platform::records::new_id;
use serde_json::json;
use tonic::Code;

use super::super::crew::{Crew, Person, sign_in};
use super::super::ledger;
use super::refused;
use crate::house::rpc::call;

/// Within which a revoked session must be refused everywhere.
const BITES_WITHIN: Duration = Duration::from_secs(2);
const LIST: &str = "/hankbook.v1.Haccp/ListPlans";

/// Asserts that both doors refuse a token soon after `since`, and go on refusing it.
async fn assert_bites(plant: &Plant, person: &Person, since: Instant) {
    for door in ["REST", "gRPC", "REST again", "gRPC again"] {
        loop {
            let is_refused = if door.starts_with("REST") {
                let answer = person.client.get("/v1/plans").await;
                answer.status == 401 && answer.problem() == "not-signed-in"
            } else {
                let answered = call(&plant.grpc, LIST, Some(person.token()), b"").await;
                answered.is_err_and(|status| status.code() == Code::Unauthenticated)
            };
            if is_refused {
                break;
            }
            assert!(!door.ends_with("again"), "{door}: a refused token was taken later");
            assert!(since.elapsed() < BITES_WITHIN, "{door}: the session still lives");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }
}

#[tokio::test]
async fn a_session_that_was_signed_out_is_refused_within_two_seconds() {
    let crew = Crew::start().await;
    let (plant, anybody) = (&crew.plant, crew.plant.anybody());
    call(&plant.grpc, LIST, Some(crew.qa.token()), b"").await.expect("it lives");
    let since = monotonic();
    crew.qa.client.post("/v1/sessions/sign-out", &json!({})).await.ok();
    assert_bites(plant, &crew.qa, since).await;
    let refresh = crew.qa.refresh(&anybody).await;
    assert_eq!((refresh.status, refresh.problem()), (401, "not-signed-in"));
    assert_eq!(crew.manager.client.get("/v1/plans").await.status, 200, "others go on");
    // A person with other roles: tokens that name the old ones are void.
    let body = json!({
        "id": new_id().to_string(), "person": crew.operator.id, "signInName": "o.dean",
        "name": "Ollie Dean", "roles": ["SUPERVISOR"],
    });
    let since = monotonic();
    crew.administrator.client.post("/v1/people", &body).await.ok();
    assert_bites(plant, &crew.operator, since).await;
    let renewed = crew.operator.refreshed(&anybody).await;
    assert_eq!(renewed.session["roles"], json!(["SUPERVISOR"]));
    // A person no longer in use.
    let body = json!({
        "id": new_id().to_string(), "person": crew.manager.id, "signInName": "m.cole",
        "name": "Morgan Cole", "roles": ["MANAGER"], "inUse": false,
    });
    let since = monotonic();
    crew.administrator.client.post("/v1/people", &body).await.ok();
    assert_bites(plant, &crew.manager, since).await;
    assert_eq!(crew.manager.refresh(&anybody).await.status, 401);
    ledger::assert_whole(&plant.database.connect().await).await;
    crew.plant.stop().await;
}

#[tokio::test]
async fn a_refresh_token_that_comes_twice_ends_its_session() {
    let plant = Plant::start().await;
    let anybody = plant.anybody();
    let first = Person::first(&plant).await;
    let second = first.refreshed(&anybody).await;
    assert_eq!(second.session["session"], first.session["session"]);
    assert_eq!(second.client.get("/v1/plans").await.status, 200);
    let since = monotonic();
    let reused = first.refresh(&anybody).await;
    assert_eq!((reused.status, reused.problem()), (401, "not-signed-in"));
    assert_bites(&plant, &second, since).await;
    assert_bites(&plant, &first, since).await;
    let newest = second.refresh(&anybody).await;
    assert_eq!(newest.status, 401, "the thief's or the owner's: both are out");
    let forged = json!({ "refreshToken": "0".repeat(64) });
    let call = anybody.post("/v1/sessions/refresh", &forged);
    refused(&plant, (401, "not-signed-in"), call).await;
    plant.stop().await;
}

#[tokio::test]
async fn a_session_whose_password_must_be_changed_has_no_roles() {
    let crew = Crew::start().await;
    let (plant, anybody) = (&crew.plant, crew.plant.anybody());
    let one_time = "one time only 2";
    let body = json!({
        "id": new_id().to_string(), "signInName": "n.ford", "name": "Nico Ford",
        "roles": ["QA", "ADMINISTRATOR", "OPERATOR"], "oneTimePassword": one_time,
    });
    crew.administrator.client.post("/v1/people", &body).await.ok();
    let session = sign_in(&anybody, "n.ford", one_time, "").await.ok();
    assert_eq!((&session["mustChangePassword"], length(&session["roles"])), (&json!(true), 0));
    let new = Person::of(&anybody, session).refreshed(&anybody).await;
    assert_eq!(length(&new.session["roles"]), 0, "a refresh changes nothing");
    let station = json!({ "id": new_id().to_string(), "name": "Desk 2" });
    let call = new.client.post("/v1/stations", &station);
    refused(plant, (403, "not-allowed"), call).await;
    let signature = json!({
        "password": one_time, "method": "hankbook.v1.Haccp/ApprovePlan",
        "subject": format!("plan:{}", new_id()), "meaning": "I approve this plan.",
    });
    let call = new.client.post("/v1/signatures", &signature);
    refused(plant, (403, "signature-needed"), call).await;
    let settled = new.settled(&anybody, one_time).await;
    let roles = settled.session["roles"].as_array().expect("roles");
    assert_eq!(roles.len(), 3, "{roles:?}");
    settled.client.post("/v1/stations", &station).await.ok();
    crew.plant.stop().await;
}

#[tokio::test]
async fn a_role_that_may_not_leaves_no_row() {
    let crew = Crew::start().await;
    let (plant, anybody) = (&crew.plant, crew.plant.anybody());
    let goods = super::Goods::of(&crew).await;
    let inspector = crew.administrator.add(&anybody, "i.gray", "Indy Gray", "INSPECTOR").await;
    let reading = goods.reading("35");
    for person in [&inspector, &crew.manager, &crew.administrator] {
        let call = person.client.post("/v1/readings", &reading);
        refused(plant, (403, "not-allowed"), call).await;
    }
    let lot = goods.another_lot().lot_body();
    refused(plant, (403, "not-allowed"), inspector.client.post("/v1/lots", &lot)).await;
    let place = json!({ "id": new_id().to_string(), "name": "Dock 2", "kind": "dock" });
    refused(plant, (403, "not-allowed"), crew.qa.client.post("/v1/places", &place)).await;
    let person = json!({
        "id": new_id().to_string(), "signInName": "x.y", "name": "X Y", "roles": ["QA"],
    });
    refused(plant, (403, "not-allowed"), crew.qa.client.post("/v1/people", &person)).await;
    let clock = json!({ "to": "2026-11-26T06:00:00Z" });
    let call = crew.manager.client.post("/simulation/clock", &clock);
    refused(plant, (403, "not-allowed"), call).await;
    let plan = new_id();
    let draft = super::super::goods::plan_body();
    let first = [("if-none-match", "*")];
    let path = format!("/v1/plans/{plan}/draft");
    let call = crew.manager.client.put_with(&path, &draft, &first);
    refused(plant, (403, "not-allowed"), call).await;
    assert_eq!(inspector.client.get(&format!("/v1/lots/{}", goods.lot)).await.status, 200);
    crew.plant.stop().await;
}
