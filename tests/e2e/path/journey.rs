//! One journey from the first start to a lot that is free again, as people of a plant make it.
//! It never takes a short cut: every step goes over REST, every signature needs a password.

use harness::client::length;
use harness::plant::START;
use harness::{Client, Plant};
use platform::records::new_id;
use serde_json::{Value, json};

use super::crew::{Crew, Person, printed_password, sign_in};
use super::forms;
use super::goods::{self, Goods};
use super::ledger;

#[tokio::test]
async fn the_first_start_prints_a_password_that_must_be_changed() {
    let mut plant = Plant::start().await;
    let anybody = plant.anybody();
    let printed = printed_password(&plant).to_owned();
    let wrong = sign_in(&anybody, "administrator", "not the password", "").await.expect(401);
    let unknown = sign_in(&anybody, "nobody", &printed, "").await.expect(401);
    assert_eq!(wrong.json["detail"], unknown.json["detail"], "neither is told from the other");
    let session = sign_in(&anybody, "Administrator", &printed, "").await.ok();
    assert_eq!(session["mustChangePassword"], true);
    assert_eq!(length(&session["roles"]), 0, "no roles until it is changed");
    let first = Person::of(&anybody, session);
    let settings = json!({
        "id": new_id().to_string(), "establishmentName": "Quarry Lane Provisions",
        "establishmentNumber": "00000", "zone": "America/New_York", "dayStart": "04:00",
        "lotCodePattern": "R{yy}{ddd}-{n}",
    });
    let early = first.client.post("/v1/plant/settings", &settings).await;
    assert_eq!((early.status, early.problem()), (403, "not-allowed"));
    let short = first.change_password(&printed, "short").await.expect(400);
    assert_eq!(short.fields(), ["newPassword"]);
    assert!(!short.text.contains("\"short\""), "a secret is never shown back: {}", short.text);
    let administrator = first.settled(&anybody, &printed).await;
    assert_eq!(administrator.session["roles"], json!(["ADMINISTRATOR"]));
    assert_eq!(sign_in(&anybody, "administrator", &printed, "").await.status, 401, "good once");
    let put = administrator.client.post("/v1/plant/settings", &settings).await.ok();
    assert_eq!((&put["version"], &put["isSimulated"]), (&json!(1), &json!(true)));
    plant.kill();
    plant.start_again();
    assert!(!plant.printed.iter().any(|line| line.contains("password")), "{:?}", plant.printed);
    let again = Client::new(&plant.http, administrator.client.token().map(str::to_owned));
    assert_eq!(again.get("/v1/plant/settings").await.ok(), put);
    ledger::assert_whole(&plant.database.connect().await).await;
    plant.stop().await;
}

#[tokio::test]
async fn people_of_several_roles_are_added_and_each_may_do_what_the_role_says() {
    let crew = Crew::start().await;
    let me = crew.operator.client.get("/v1/people/me").await.ok();
    assert_eq!((&me["name"], &me["roles"]), (&json!("Ollie Dean"), &json!(["OPERATOR"])));
    assert_eq!(crew.operator.session["station"], json!(crew.station));
    let people = crew.operator.client.get("/v1/people").await.ok();
    assert_eq!(people["people"].as_array().map(Vec::len), Some(5));
    let listed = people.to_string();
    assert!(!listed.contains("argon2") && !listed.contains("oak smoke"), "no secret of anybody");
    let place = json!({ "id": new_id().to_string(), "name": "Dock 9", "kind": "dock" });
    assert_eq!(crew.operator.client.post("/v1/places", &place).await.status, 403);
    assert_eq!(crew.manager.client.post("/v1/places", &place).await.status, 200);
    ledger::assert_whole(&crew.plant.database.connect().await).await;
    crew.plant.stop().await;
}

#[tokio::test]
async fn one_reading_that_fails_holds_its_lot_until_qa_has_answered_for_it() {
    let crew = Crew::start().await;
    settings(&crew).await;
    let goods = plan_and_lot(&crew).await;
    let failed = readings(&crew, &goods).await;
    amendment(&crew, &goods, &failed).await;
    refused_closings(&crew, &goods, &failed).await;
    closing(&crew, &goods, &failed).await;
    let database = crew.plant.database.connect().await;
    let leaves = ledger::assert_whole(&database).await;
    assert!(leaves >= 30, "only {leaves} leaves");
    people_come_and_go(&crew, &goods).await;
    forms::assert_stand(&database, "forms.json").await;
    crew.plant.stop().await;
}

/// What else leaves records: a hold placed and ended by people, a session that ends.
async fn people_come_and_go(crew: &Crew, goods: &Goods) {
    let body = json!({
        "id": new_id().to_string(), "lots": [goods.lot], "reason": "A liner was torn"
    });
    let hold = crew.supervisor.client.post("/v1/holds", &body).await.ok();
    let hold = hold["hold"].as_str().expect("an id").to_owned();
    let (path, subject) = (format!("/v1/holds/{hold}/end"), format!("hold:{hold}"));
    let body = json!({ "id": new_id().to_string(), "reason": "Whole underneath" });
    crew.qa.signed(("Genealogy/EndHold", &subject), &path, &body).await.ok();
    let less = json!({
        "id": new_id().to_string(), "lots": [goods.lot],
        "reason": "Warm tub", "scope": "what_is_left"
    });
    let subject = format!("hold:{}", less["id"].as_str().expect("an id"));
    crew.qa.signed(("Genealogy/PlaceHold", &subject), "/v1/holds", &less).await.ok();
    crew.supervisor.client.post("/v1/sessions/sign-out", &json!({})).await.ok();
}

async fn settings(crew: &Crew) {
    let body = json!({
        "id": new_id().to_string(), "establishmentName": "Quarry Lane Provisions",
        "establishmentNumber": "00000", "zone": "America/New_York", "dayStart": "04:00",
        "lotCodePattern": "R{yy}{ddd}-{n}",
    });
    crew.administrator.client.post("/v1/plant/settings", &body).await.ok();
    // The other services hear of settings by identity's stream, within its heartbeat.
    tokio::time::sleep(std::time::Duration::from_millis(1200)).await;
}

/// The plan from its draft to its being in force, and a lot received under it.
async fn plan_and_lot(crew: &Crew) -> Goods {
    let (qa, plan) = (&crew.qa, new_id().to_string());
    let version = goods::draft(&qa.client, &plan).await;
    let path = format!("/v1/plans/{plan}/approve");
    let body = goods::approval(version);
    let unsigned = qa.client.post(&path, &body).await;
    assert_eq!((unsigned.status, unsigned.problem()), (403, "signature-needed"));
    assert_eq!(qa.client.get(&format!("/v1/plans/{plan}")).await.status, 404, "not in force");
    let subject = format!("plan:{plan}");
    let ticket = qa.ticket("Haccp/ApprovePlan", &subject).await;
    let approved = qa.with_ticket(&ticket, &path, &body).await.ok();
    assert_eq!(
        (&approved["version"], &approved["approvedByName"]),
        (&json!(1), &json!("Quinn Ames"))
    );
    assert_eq!(qa.with_ticket(&ticket, &path, &body).await.ok(), approved, "the same call again");
    assert_eq!(crew.operator.client.get(&format!("/v1/plans/{plan}")).await.ok(), approved);
    let draft = qa.client.get(&format!("/v1/plans/{plan}/draft")).await;
    assert_eq!(draft.status, 404, "the draft has become the plan");
    let people = (&crew.manager.client, &crew.operator.client);
    let goods = Goods::under(plan, people, START).await;
    let lot = goods.lot_now(&crew.operator.client).await;
    assert_eq!(lot["code"], "R26328-1", "the production day is 2026-11-24");
    // 1200.5 [lb_av] of 453.59237 g each (NIST Special Publication 811, appendix B.8).
    assert_eq!(lot["onHandG"].to_string(), "544537.640185");
    assert_eq!((&lot["planVersion"], length(&lot["holds"])), (&json!(1), 0));
    assert_eq!(crew.operator.client.post("/v1/lots", &goods.lot_body()).await.ok(), lot);
    goods
}

/// A reading that is met, one that is not, and a good one after it. Gives the failed one.
async fn readings(crew: &Crew, goods: &Goods) -> Value {
    let operator = &crew.operator.client;
    let met = operator.post("/v1/readings", &goods.reading("40.0")).await.ok();
    assert_eq!((&met["verdict"], &met["deviation"]), (&json!("PASS"), &json!("")), "met exactly");
    assert_eq!(met["station"], json!(crew.station));
    assert_eq!(met["enteredByName"], "Ollie Dean");
    assert_eq!(met["day"], "2026-11-24", "01:00 in the plant: the day began at 04:00 yesterday");
    let body = goods.reading("40.01");
    let failed = operator.post("/v1/readings", &body).await.ok();
    assert_eq!(failed["verdict"], "FAIL");
    let reasons = failed["reasons"].to_string();
    assert!(reasons.contains("40.01") && reasons.contains("40"), "{reasons}");
    assert_eq!(operator.post("/v1/readings", &body).await.ok(), failed, "the same call again");
    let lot = goods.lot_with_holds(operator, 1).await;
    assert_eq!(lot["holds"][0]["deviation"], failed["deviation"]);
    let good = operator.post("/v1/readings", &goods.reading("35")).await.ok();
    assert_eq!(good["verdict"], "PASS");
    assert_eq!(deviation(crew, &failed).await["closedAt"], "", "a later good one heals nothing");
    assert_eq!(goods.lot_now(operator).await["holds"], lot["holds"]);
    failed
}

async fn deviation(crew: &Crew, failed: &Value) -> Value {
    let id = failed["deviation"].as_str().expect("a deviation");
    crew.qa.client.get(&format!("/v1/deviations/{id}")).await.ok()
}

async fn amendment(crew: &Crew, goods: &Goods, failed: &Value) {
    let id = failed["reading"].as_str().expect("an id");
    let path = format!("/v1/readings/{id}/amendments");
    let body = json!({
        "id": new_id().to_string(), "readings": ["39.9"], "unit": "[degF]",
        "observedAt": goods.at, "reason": "The scale of the thermometer was misread.",
    });
    let unsigned = crew.supervisor.client.post(&path, &body).await;
    assert_eq!((unsigned.status, unsigned.problem()), (403, "signature-needed"));
    let signed = ("Haccp/AmendReading", format!("reading:{id}"));
    let amended = crew.supervisor.signed((signed.0, &signed.1), &path, &body).await.ok();
    assert_eq!((&amended["supersedes"], &amended["verdict"]), (&json!(id), &json!("PASS")));
    let shown = crew.qa.client.get(&format!("/v1/readings/{id}")).await.ok();
    assert_eq!(shown["readings"], failed["readings"], "the original stays");
    assert_eq!(shown["verdict"], "FAIL");
    assert_eq!(shown["amendments"][0]["reading"], amended["reading"]);
    assert_eq!(shown["amendments"][0]["reason"], body["reason"]);
    assert_eq!(deviation(crew, failed).await["closedAt"], "", "an amendment closes nothing");
    assert_eq!(goods.lot_now(&crew.qa.client).await["holds"].as_array().map(Vec::len), Some(1));
}

fn four_parts() -> Value {
    json!({
        "id": new_id().to_string(),
        "cause": "The door of the dock cooler stood open; it was shut.",
        "control": "The next three readings were met.",
        "prevention": "The door has an alarm from today.",
        "disposition": "release_with_support",
        "dispositionText": "Surface held above the limit for under ten minutes; study on file.",
    })
}

async fn refused_closings(crew: &Crew, goods: &Goods, failed: &Value) {
    let id = failed["deviation"].as_str().expect("a deviation");
    let (path, subject) = (format!("/v1/deviations/{id}/close"), format!("deviation:{id}"));
    let signed = ("Haccp/CloseDeviation", subject.as_str());
    let mut wrong = four_parts();
    wrong["disposition"] = json!("recook");
    let refused = crew.qa.signed(signed, &path, &wrong).await.expect(409);
    assert_eq!(refused.problem(), "refused");
    let reason = &refused.json["reasons"][0];
    assert_eq!(reason["code"], "DISPOSITION_DOES_NOT_ANSWER");
    assert_eq!(reason["who"], "QA");
    assert!(reason["wayOn"].to_string().contains("release_with_support"), "{reason}");
    let mut part = four_parts();
    part["cause"] = json!("  ");
    part.as_object_mut().expect("an object").remove("prevention");
    let refused = crew.qa.signed(signed, &path, &part).await.expect(400);
    assert_eq!(refused.fields(), ["prevention"]);
    part["prevention"] = json!("\t");
    let refused = crew.qa.signed(signed, &path, &part).await.expect(400);
    assert_eq!(refused.fields(), ["cause", "prevention"], "blanks say nothing");
    let unsigned = crew.qa.client.post(&path, &four_parts()).await;
    assert_eq!((unsigned.status, unsigned.problem()), (403, "signature-needed"));
    let hold = goods.lot_now(&crew.qa.client).await["holds"][0]["hold"].clone();
    let hold = hold.as_str().expect("an id");
    let end = json!({ "id": new_id().to_string(), "reason": "It looks good." });
    let by_hand = ("Genealogy/EndHold", format!("hold:{hold}"));
    let path = format!("/v1/holds/{hold}/end");
    let refused = crew.qa.signed((by_hand.0, &by_hand.1), &path, &end).await;
    assert_eq!((refused.status, refused.problem()), (409, "refused"), "{}", refused.text);
    assert_eq!(deviation(crew, failed).await["closedAt"], "");
}

async fn closing(crew: &Crew, goods: &Goods, failed: &Value) {
    let id = failed["deviation"].as_str().expect("a deviation");
    let (path, subject) = (format!("/v1/deviations/{id}/close"), format!("deviation:{id}"));
    let signed = ("Haccp/CloseDeviation", subject.as_str());
    let body = four_parts();
    let closed = crew.qa.signed(signed, &path, &body).await.ok();
    assert_eq!(closed["closedByName"], "Quinn Ames");
    for part in ["cause", "control", "prevention", "disposition", "dispositionText"] {
        assert_eq!(closed[part], body[part], "{part}");
    }
    let free = goods.lot_with_holds(&crew.operator.client, 0).await;
    assert_eq!(free["lot"], json!(goods.lot));
    let holds = crew.qa.client.get(&format!("/v1/holds?lot={}", goods.lot)).await.ok();
    assert_eq!(holds["holds"][0]["deviation"], failed["deviation"], "what was stays legible");
    assert_eq!(holds["holds"][0]["endedByName"], "Quinn Ames");
    let shown = crew
        .qa
        .client
        .get(&format!("/v1/readings/{}", failed["reading"].as_str().expect("an id")))
        .await
        .ok();
    assert_eq!(shown["verdict"], "FAIL", "it stays failed in every view");
    let open = crew.qa.client.get("/v1/deviations?open=true").await.ok();
    assert_eq!(length(&open["deviations"]), 0);
    let again = crew.qa.signed(signed, &path, &four_parts()).await.expect(409);
    assert_eq!(again.json["reasons"][0]["code"], "DEVIATION_CLOSED");
}

#[tokio::test]
async fn a_hold_covers_its_whole_lot_unless_qa_signs_for_less() {
    let crew = Crew::start().await;
    let goods = Goods::of(&crew).await;
    let whole = json!({
        "id": new_id().to_string(), "lots": [goods.lot], "reason": "A liner was torn"
    });
    let placed = crew.supervisor.client.post("/v1/holds", &whole).await.ok();
    assert_eq!(placed["scope"], "whole");
    let id = new_id().to_string();
    let less = json!({
        "id": id, "lots": [goods.lot], "reason": "The last tub stood warm", "scope": "what_is_left"
    });
    let subject = format!("hold:{id}");
    let wanted = ("Genealogy/PlaceHold", subject.as_str());
    let unsigned = crew.qa.client.post("/v1/holds", &less).await;
    assert_eq!((unsigned.status, unsigned.problem()), (403, "signature-needed"));
    let other = crew.supervisor.signed(wanted, "/v1/holds", &less).await;
    assert_eq!((other.status, other.problem()), (403, "not-allowed"));
    let lot = goods.lot_now(&crew.qa.client).await;
    assert_eq!(length(&lot["holds"]), 1, "what was refused holds nothing");
    let signed = crew.qa.signed(wanted, "/v1/holds", &less).await.ok();
    assert_eq!(signed["scope"], "what_is_left");
    // The same call again needs no second signature.
    assert_eq!(crew.qa.client.post("/v1/holds", &less).await.ok(), signed);
    // Several holds on one lot end one by one.
    let path = format!("/v1/holds/{}/end", placed["hold"].as_str().expect("an id"));
    let subject = format!("hold:{}", placed["hold"].as_str().expect("an id"));
    let body = json!({ "id": new_id().to_string(), "reason": "The liner was whole underneath" });
    crew.qa.signed(("Genealogy/EndHold", &subject), &path, &body).await.ok();
    let left = goods.lot_now(&crew.qa.client).await;
    assert_eq!(left["holds"][0]["scope"], "what_is_left");
    assert_eq!(length(&left["holds"]), 1);
    ledger::assert_whole(&crew.plant.database.connect().await).await;
    crew.plant.stop().await;
}
