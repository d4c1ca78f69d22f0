//! Lots suggested oldest first: on a batch sheet, and at the stop where another lot is the way on.
//! It never takes what is suggested for granted: what is named goes in, and nothing else does.

use harness::plant::START;
use platform::records::new_id;
use serde_json::{Value, json};

use super::kitchen::{LONG_AGO, codes, pounds, revision};
use super::mixer::{Mixer, refused};

/// The names of the lots of a list.
fn lots(list: &Value) -> Vec<&str> {
    let list = list.as_array().map(Vec::as_slice).unwrap_or_default();
    list.iter().filter_map(|one| one["lot"].as_str()).collect()
}

/// A number as it was answered.
fn value(quantity: &Value) -> String {
    quantity["value"].to_string()
}

async fn code(mixer: &Mixer, lot: &str) -> String {
    let lot = mixer.get(&format!("/v1/lots/{lot}")).await;
    lot["code"].as_str().expect("a code").to_owned()
}

async fn hold(mixer: &Mixer, lot: &str) {
    let body = json!({ "lots": [lot], "reason": "Torn bags" });
    mixer.made("/v1/holds", "hold", body).await;
}

/// The body of a sheet for a meat block.
fn sheet(mixer: &Mixer, block: &str) -> Value {
    json!({
        "id": new_id(), "formula": mixer.formula, "formulaVersion": 1, "block": pounds(block),
    })
}

/// The line of a material on a sheet.
fn line<'s>(sheet: &'s Value, material: &str) -> &'s Value {
    let lines = sheet["lines"].as_array().expect("lines");
    lines.iter().find(|line| line["material"] == material).expect("a line of it")
}

/// A lot of the blend whose own specification adds soy.
async fn soy_lot(mixer: &Mixer) -> String {
    let lot = mixer.receive("Spice blend No. 1", "100").await;
    let content = json!({
        "fatPct": "2", "moisturePct": "8", "proteinPct": "6", "saltPct": "58",
        "statement": "seasoning (salt, pepper, soy flour)", "allergens": ["soy"],
    });
    mixer.specify(mixer.blend_material(), Some(&lot), content, LONG_AGO).await;
    lot
}

#[tokio::test]
async fn a_sheet_fills_its_lines_from_the_oldest_lots_that_may_be_used() {
    let mixer = Mixer::start().await;
    let blend = "Spice blend No. 1";
    let older = mixer.receive_at(blend, "5", "2026-11-24T07:00:00Z").await;
    let empty = mixer.receive_at(blend, "6", "2026-11-23T07:00:00Z").await;
    mixer.made_of("rack", (&empty, "6"), "rack").await;
    let held = mixer.receive_at(blend, "7", "2026-11-22T07:00:00Z").await;
    hold(&mixer, &held).await;
    let soy = soy_lot(&mixer).await;
    let body = sheet(&mixer, "400.0");
    let made = mixer.worker.client.post("/v1/batch-sheets", &body).await.ok();
    let spice = line(&made, mixer.blend_material());
    let suggested = &spice["lots"];
    assert_eq!(lots(suggested), [&older, &mixer.blend, &held, &soy], "{made}");
    assert_eq!([&suggested[0], &suggested[1]].map(|one| value(&one["take"])), ["5", "3"]);
    assert_eq!([&suggested[0], &suggested[1]].map(|one| value(&one["onHand"])), ["5", "500"]);
    assert_eq!(suggested[0]["code"], code(&mixer, &older).await);
    assert_eq!(suggested[0]["madeAt"], "2026-11-24T07:00:00Z");
    assert!(suggested[2]["take"].is_null() && suggested[3]["take"].is_null(), "{suggested}");
    assert!(suggested[2]["forbiddenBy"].to_string().contains("on hold: Torn bags"), "{suggested}");
    assert!(suggested[3]["forbiddenBy"].to_string().contains("brings soy"), "{suggested}");
    assert!(spice["missing"].is_null(), "{spice}");
    let path = format!("/v1/batch-sheets/{}", made["sheet"].as_str().expect("an id"));
    assert_eq!(mixer.get(&path).await, made);
    let (water, meat) = (line(&made, &mixer.water), line(&made, mixer.pork_material()));
    assert!(lots(&water["lots"]).is_empty() && water["missing"].is_null(), "{water}");
    assert_eq!(value(&meat["lots"][0]["take"]), "400");

    // What was used since is no longer suggested, and what is not enough is said.
    hold(&mixer, &older).await;
    let now = mixer.get(&path).await;
    let spice = line(&now, mixer.blend_material());
    assert_eq!(lots(&spice["lots"]), [&mixer.blend, &held, &older, &soy], "{spice}");
    assert_eq!(value(&spice["lots"][0]["take"]), "8");
    let large = mixer.worker.client.post("/v1/batch-sheets", &sheet(&mixer, "8100.5")).await.ok();
    let meat = line(&large, mixer.pork_material());
    assert_eq!(
        (value(&meat["lots"][0]["take"]), value(&meat["missing"])),
        ("8000".into(), "100.5".into())
    );
    mixer.finish().await;
}

#[tokio::test]
async fn a_sheet_names_the_kits_for_its_block_that_are_not_used() {
    let mixer = Mixer::start().await;
    let (used, second, third) = (mixer.usual().await, mixer.usual().await, mixer.usual().await);
    let large = mixer.weigh_up((&mixer.cure, "1.000"), "440.0").await;
    mixer.send(&mixer.usual_body("400.0", &[&used])).await.ok();
    hold(&mixer, &second).await;
    let made = mixer.worker.client.post("/v1/batch-sheets", &sheet(&mixer, "400.0")).await.ok();
    let kits = &made["kitsOnHand"];
    assert_eq!(lots(kits), [&third, &second], "{made}");
    assert_eq!((&kits[0]["kit"], value(&kits[0]["block"])), (&json!("CURE"), "400".into()));
    assert_eq!(kits[0]["code"], code(&mixer, &third).await);
    assert!(kits[1]["forbiddenBy"].to_string().contains("on hold"), "{kits}");
    let other = mixer.worker.client.post("/v1/batch-sheets", &sheet(&mixer, "440.0")).await.ok();
    assert_eq!(lots(&other["kitsOnHand"]), [&large], "{other}");
    mixer.finish().await;
}

#[tokio::test]
async fn a_stop_for_soy_names_the_lot_that_may_go_in_with_what_is_on_hand() {
    let mixer = Mixer::start().await;
    let coming = revision("4", &["soy"], "2026-12-01T00:00:00Z");
    let mut coming = coming.clone();
    coming["label"] = json!(mixer.label);
    mixer.made("/v1/labels", "label", coming).await;
    let held = mixer.receive_at("Spice blend No. 1", "7", "2026-11-22T07:00:00Z").await;
    hold(&mixer, &held).await;
    let (soy, other_soy) = (soy_lot(&mixer).await, soy_lot(&mixer).await);
    let kit = mixer.usual().await;
    let inputs = json!([
        mixer.loose(mixer.pork_material(), &mixer.pork, "400.0"),
        mixer.loose(mixer.blend_material(), &soy, "8.0"),
    ]);
    let stops = ["ALLERGEN_NOT_ON_LABEL", "INGREDIENT_NOT_ON_LABEL"];
    let stopped = mixer.check(inputs.clone()).await;
    assert_eq!(codes(&stopped["refusals"]), stops, "{stopped}");
    let others = &stopped["otherLots"];
    assert_eq!(codes(others), stops, "{stopped}");
    for place in 0..2 {
        let named = &others[place]["lots"];
        assert_eq!(lots(named), [&mixer.blend], "neither held nor {other_soy}: {stopped}");
        assert_eq!(value(&named[0]["onHand"]), "500");
    }
    let name = format!("({}, 500 [lb_av] on hand)", code(&mixer, &mixer.blend).await);
    let way = stopped["refusals"][0]["wayOn"].as_str().expect("a way on");
    let both = format!("soy {name}, or make it with hold_for_label and hold it for revision 4");
    assert!(way.contains(&both), "{way}");

    // The same where it is mixed, and that lot goes in.
    let lots = [(mixer.pork.as_str(), "400.0"), (&soy, "8"), (&kit, "1.21875")];
    let mut body = mixer.body(&lots);
    let said = refused(mixer.send(&body).await, &stops);
    assert_eq!(said.matches(&name).count(), 2, "{said}");
    body["inputs"][1]["lot"] = json!(mixer.blend);
    mixer.send(&body).await.ok();

    // Once nothing is left that may go in, that is said.
    hold(&mixer, &mixer.blend).await;
    let stopped = mixer.check(inputs).await;
    let way = stopped["refusals"][0]["wayOn"].as_str().expect("a way on");
    assert!(way.contains("(no other lot on hand may go in)"), "{stopped}");
    let next = mixer.usual().await;
    let lots = [(mixer.pork.as_str(), "400.0"), (&soy, "8"), (&next, "1.21875")];
    let said = refused(mixer.send(&mixer.body(&lots)).await, &stops);
    assert!(said.contains("no other lot on hand may go in"), "{said}");
    mixer.finish().await;
}

#[tokio::test]
async fn an_input_that_is_added_later_is_stopped_with_the_lots_that_could_go_in() {
    let mixer = Mixer::start().await;
    let kit = mixer.usual().await;
    let soy = soy_lot(&mixer).await;
    let body = mixer.body(&[(&mixer.pork, "400.0"), (&kit, "1.21875")]);
    mixer.send(&body).await.ok();
    let path = format!("/v1/transformations/{}/inputs", body["id"].as_str().expect("an id"));
    let added = json!({
        "id": new_id(), "lot": soy, "mass": pounds("8"), "observedAt": START,
        "reason": "Spice came late",
    });
    let answer = mixer.worker.client.post(&path, &added).await;
    let said = refused(answer, &["ALLERGEN_NOT_ON_LABEL", "INGREDIENT_NOT_ON_LABEL"]);
    let name = format!("({}, 500 [lb_av] on hand)", code(&mixer, &mixer.blend).await);
    assert!(said.contains(&name), "{said}");
    mixer.finish().await;
}

#[tokio::test]
async fn while_genealogy_is_away_a_sheet_comes_without_lots_and_a_stop_says_so() {
    let mixer = Mixer::start().await;
    let soy = soy_lot(&mixer).await;
    let superuser = mixer.plant.database.connect().await;
    let away = "REVOKE USAGE ON SCHEMA genealogy FROM hankbook_genealogy";
    superuser.batch_execute(away).await.expect("genealogy is away");
    let made = mixer.worker.client.post("/v1/batch-sheets", &sheet(&mixer, "400.0")).await.ok();
    let silent = "The lots on hand cannot be asked for now.";
    assert_eq!(made["noLotsBecause"], silent, "{made}");
    let spice = line(&made, mixer.blend_material());
    assert_eq!(value(&spice["target"]), "8");
    assert!(lots(&spice["lots"]).is_empty() && spice["missing"].is_null(), "{spice}");
    let inputs = json!([
        mixer.loose(mixer.pork_material(), &mixer.pork, "400.0"),
        mixer.loose(mixer.blend_material(), &soy, "8.0"),
    ]);
    let stopped = mixer.check(inputs).await;
    assert_eq!(stopped["noLotsBecause"], silent, "{stopped}");
    let way = stopped["refusals"][0]["wayOn"].as_str().expect("a way on");
    assert!(way.contains("(which lots are on hand cannot be said now), or make it"), "{way}");
    let back = "GRANT USAGE ON SCHEMA genealogy TO hankbook_genealogy";
    superuser.batch_execute(back).await.expect("genealogy is back");
    let path = format!("/v1/batch-sheets/{}", made["sheet"].as_str().expect("an id"));
    let now = mixer.get(&path).await;
    assert_eq!(lots(&line(&now, mixer.blend_material())["lots"]), [&mixer.blend, &soy], "{now}");
    assert!(now["noLotsBecause"].as_str().unwrap_or_default().is_empty(), "{now}");
    mixer.finish().await;
}
