//! The review as a person signs it: for what was shown, and for nothing that came in between.
//! It never waits for a race: what came in between is recorded before the signature is.

use serde_json::{Value, json};

use super::day::{Day, id, word};
use super::goods::{self, Making, Product, cases, serials};

/// A plan of packing with a metal detector, for lots made of meat as it came.
fn packing() -> Value {
    json!({ "content": { "name": "Packing of trim", "binds": "finished", "checks": [{
        "code": "CCP-3", "title": "Metal detector", "class": "ccp", "kind": "bracket",
        "device": "metal_detector", "hazard": "Metal", "hazardKind": "metal",
        "source": "the plant's own validation",
        "dispositions": ["release_with_support", "destroy"],
    }] } })
}

const LOSE: &str = "CREATE FUNCTION haccp.lose() RETURNS trigger LANGUAGE plpgsql AS \
    $$ BEGIN RETURN NULL; END $$; CREATE TRIGGER lose BEFORE INSERT ON haccp.outbox \
    FOR EACH ROW EXECUTE FUNCTION haccp.lose()";

/// Two cases of one lot on a pallet, past a detector that was good after them.
async fn packed(day: &Day, plan: &Value) -> (Product, String, String) {
    let receiving = day.plan(&goods::receiving()).await;
    let product = Product { name: "Trim in cases", plan: day.plan(plan).await };
    let meat = day.meat(&receiving, "100", "05:00").await;
    let making = Making {
        of: "finished",
        product: &product,
        inputs: &[(&meat, "100")],
        masses: &["100"],
        place: "Cooler 4",
        at: "06:00",
    };
    let lot = day.make("pack_off", &making).await.remove(0);
    let packed = cases("T", 2, "07:00", "07:10");
    day.pack(&lot, "Detector 1", &packed).await;
    day.challenge(&product.plan, "Detector 1", true, "07:20").await;
    let pallet = day.pallet("T1", &serials(&packed), "07:30").await;
    (product, lot, pallet)
}

/// A route whose first step has one check, which does not gate.
fn mixed_and_packed() -> Value {
    let step = |code: &str, on: &str, operation: &str| {
        let mut step = json!({ "code": code, "title": code, "on": on });
        step["operation"] = json!(operation);
        step
    };
    let mut content = packing()["content"].clone();
    content["binds"] = json!("product");
    content["processCategory"] = json!("fully_cooked_not_shelf_stable");
    content["route"] = json!([step("MIX", "batch", "mix"), step("PACK", "finished", "pack")]);
    content["checks"][0]["step"] = json!("PACK");
    content["checks"].as_array_mut().expect("checks").push(json!({
        "code": "M-1", "title": "Mixer temperature", "step": "MIX", "class": "programme",
        "gates": false, "kind": "each", "unit": "[degF]", "atMost": "40",
        "hazard": "Growth of pathogens", "hazardKind": "pathogen",
        "source": "the plant's own limit", "dispositions": ["release_with_support", "destroy"],
    }));
    json!({ "content": content })
}

async fn signed(day: &Day, lot: &str, shown: &Value) -> harness::Answer {
    let review = id();
    let body = json!({ "id": review, "lots": [{ "lot": lot, "digest": shown["digest"] }] });
    let subject = format!("review:{review}");
    day.sign("priya", ("Verification/SignReview", &subject), ("/v1/reviews", &body)).await
}

/// Nothing that haccp tells genealogy arrives: no hold is placed, and no version of a lot tells of
/// the failed challenge, which concerns cases by the time of their passing. It is closed before the
/// reviewer signs, so nothing else stands in the way either.
#[tokio::test]
async fn what_failed_and_was_released_since_it_was_shown_is_not_signed_for() {
    let mut day = Day::open().await;
    day.at("08:00").await;
    let (product, lot, pallet) = packed(&day, &packing()).await;
    let superuser = day.plant.database.connect().await;
    superuser.batch_execute(LOSE).await.expect("messages are lost from now on");
    let path = format!("/v1/lots/{lot}/clearance");
    let shown = day.until(&path, |clearance| clearance["isReviewable"] == true).await;
    let failed = day.challenge(&product.plan, "Detector 1", false, "07:15").await;
    day.close_deviation(&word(&failed["deviation"]), "release_with_support").await.ok();
    let refused = signed(&day, &lot, &shown).await;
    assert_eq!((refused.status, refused.codes()), (409, vec!["CLOSURE_CHANGED"]));
    let shown = day.get("dana", &path).await.ok();
    assert_eq!(shown["isReviewable"], true, "{shown}");
    signed(&day, &lot, &shown).await.ok();
    assert_eq!(day.get("dana", &path).await.ok()["isReviewed"], true);
    let again = day.challenge(&product.plan, "Detector 1", false, "07:12").await;
    day.close_deviation(&word(&again["deviation"]), "release_with_support").await.ok();
    let after = day.get("dana", &path).await.ok();
    assert_eq!(after["isReviewed"], false, "who signed had not seen it");
    let refused = day.post("lee", "/v1/shipments", &day.ship_body(&pallet, "08:00")).await;
    assert_eq!((refused.status, refused.codes()), (409, vec!["NOT_REVIEWED"]));
    signed(&day, &lot, &after).await.ok();
    day.post("lee", "/v1/shipments", &day.ship_body(&pallet, "08:00")).await.ok();
    day.close().await;
}

/// Meat that was packed without being mixed: the step of mixing stands in its way although none of
/// its checks does, and a signed release of such a check is the way on that the refusal names.
#[tokio::test]
async fn what_skipped_a_step_without_a_gating_check_leaves_once_it_is_released() {
    let mut day = Day::open().await;
    day.at("08:00").await;
    let (product, lot, pallet) = packed(&day, &mixed_and_packed()).await;
    let path = format!("/v1/lots/{lot}/clearance");
    let is_skipped = |shown: &Value| harness::client::codes(shown) == ["STEP_NOT_PASSED"];
    let shown = day.until(&path, is_skipped).await;
    let subject = word(&shown["reasons"][0]["subject"]);
    let meat = subject.trim_start_matches("lot:");
    let body = json!({ "id": id(), "lots": [meat], "plan": product.plan, "planVersion": 1,
        "check": "M-1", "what": "It was packed as it came." });
    let opened = day.post("dana", "/v1/deviations", &body).await.ok();
    let deviation = word(&opened["deviation"]);
    day.close_deviation(&deviation, "release_with_support").await.ok();
    let ended = |found: &Value| {
        found["holds"].as_array().is_some_and(|holds| !holds[0]["endedAt"].is_null())
    };
    day.until("/v1/holds", ended).await;
    let shown = day.until(&path, |shown| shown["isReviewable"] == true).await;
    signed(&day, &lot, &shown).await.ok();
    day.post("lee", "/v1/shipments", &day.ship_body(&pallet, "08:00")).await.ok();
    day.close().await;
}
