//! The spice lot that brings soy, made into product: what it holds goes with it,
//! through rework, and nothing is packed under a label that does not say so.
//! It never speaks of equipment or film: changeovers and rolls have journeys of their own.

use harness::client::length;
use harness::plant::START;
use serde_json::{Value, json};

use super::kitchen::{LONG_AGO, revision};
use super::mixer::{Mixer, id, made, refused};
use crate::path::forms;

/// What the label in force lacks of a lot with soy.
const LACKS: [&str; 2] = ["ALLERGEN_NOT_ON_LABEL", "INGREDIENT_NOT_ON_LABEL"];

/// A received lot of the blend whose own specification adds soy.
async fn soy_lot(mixer: &Mixer) -> String {
    let lot = mixer.receive("Spice blend No. 1", "100").await;
    let content = json!({
        "fatPct": "2", "moisturePct": "8", "proteinPct": "6", "saltPct": "58",
        "statement": "seasoning (salt, pepper, soy flour)", "allergens": ["soy"],
    });
    let from = "2026-11-25T05:00:00Z";
    mixer.specify(mixer.blend_material(), Some(&lot), content, from).await;
    lot
}

/// A revision of the label.
async fn put(mixer: &Mixer, mut body: Value) {
    body["label"] = json!(mixer.label);
    mixer.made("/v1/labels", "label", body).await;
}

/// A batch of this lot of blend; the body that mixes it.
async fn with_blend(mixer: &Mixer, blend: &str) -> Value {
    let kit = mixer.usual().await;
    mixer.body(&[(&mixer.pork, "400.0"), (blend, "8"), (&kit, "1.21875")])
}

#[tokio::test]
async fn what_a_lot_brings_goes_with_it_and_no_label_hides_it() {
    let mixer = Mixer::start().await;
    let soy = soy_lot(&mixer).await;
    put(&mixer, revision("4", &["soy"], "2026-12-01T00:00:00Z")).await;
    let plain = with_blend(&mixer, &mixer.blend).await;
    mixer.send(&plain).await.ok();
    let mut held = with_blend(&mixer, &soy).await;
    let said = refused(mixer.send(&held).await, &LACKS);
    for choice in
        ["soy", "revision 3", "Use another lot of Spice blend No. 1", "revision 4 of No. 1"]
    {
        assert!(said.contains(choice), "{choice}: {said}");
    }
    held["holdForLabel"] = json!(true);
    let batch = mixer.send(&held).await.ok();
    let items = batch["items"].as_array().expect("items");
    assert!(items.iter().all(|item| item["code"] == "WAITS_FOR_LABEL"), "{batch}");
    assert_eq!((items.len(), length(&batch["batch"]["reasons"])), (2, 2));
    let lot = mixer.get(&format!("/v1/lots/{}", made(&held))).await;
    assert_eq!(length(&lot["holds"]), 0, "its cook must not wait for a label");

    let r1 = mixer.made_of("rack", (&made(&plain), "400"), "rack").await;
    let r2 = mixer.made_of("rack", (&made(&held), "400"), "rack").await;
    let mut pack = mixer.step("pack_off", (&r2, "100"), "finished");
    pack["labelRevision"] = json!("3");
    let said = refused(mixer.send(&pack).await, &LACKS);
    for told in
        ["soy", "No. 1 Rope, revision 3", "Take another lot", "hold this one for revision 4"]
    {
        assert!(said.contains(told), "{told}: {said}");
    }
    pack["labelRevision"] = json!("4");
    refused(mixer.send(&pack).await, &["LABEL_NOT_IN_FORCE", LACKS[0], LACKS[1]]);
    through_rework(&mixer, &r2).await;
    clean(&mixer, &r1).await;
    as_a_fact(&mixer, &r2).await;

    put(&mixer, revision("4", &["soy"], START)).await;
    mixer.send(&pack).await.ok();
    let mut case = mixer.packing(&made(&pack), "S-1");
    case["labelRevision"] = json!("3");
    let client = &mixer.worker.client;
    refused(client.post("/v1/packings", &case).await, &["LABEL_NOT_IN_FORCE"]);
    case["labelRevision"] = json!("4");
    assert_eq!(client.post("/v1/packings", &case).await.ok()["labelRevision"], "4");
    forms::assert_stand(&mixer.plant.database.connect().await, "forms.batch.json").await;
    mixer.finish().await;
}

/// Rework of it brings soy into a batch of clean lots.
async fn through_rework(mixer: &Mixer, rack: &str) {
    let mut step = mixer.step("rework", (rack, "40"), "rework");
    step["outputs"][0]["material"] = json!("Cooked rework of No. 1");
    mixer.send(&step).await.ok();
    let kit = mixer.usual().await;
    let (rework, blend) = (made(&step), mixer.blend.clone());
    let lots = [(mixer.pork.as_str(), "400.0"), (&blend, "8"), (&kit, "1.21875"), (&rework, "40")];
    refused(mixer.send(&mixer.body(&lots)).await, &LACKS);
}

/// What holds no soy is packed under the label in force, and under no other.
async fn clean(mixer: &Mixer, rack: &str) {
    let pack = mixer.step("pack_off", (rack, "100"), "finished");
    mixer.send(&pack).await.ok();
    let client = &mixer.worker.client;
    let mut case = mixer.packing(&made(&pack), "C-1");
    case["labelRevision"] = json!("2");
    refused(client.post("/v1/packings", &case).await, &["LABEL_NOT_IN_FORCE"]);
    case["labelRevision"] = json!("3");
    client.post("/v1/packings", &case).await.ok();
    // Once its label has ended nothing more is packed; as a fact it is, and then it is held.
    let mut ended = revision("3", &[], LONG_AGO);
    ended["inForceTo"] = json!("2026-11-25T05:59:00Z");
    put(mixer, ended).await;
    let mut late = mixer.packing(&made(&pack), "C-2");
    refused(client.post("/v1/packings", &late).await, &["NO_LABEL_IN_FORCE"]);
    late["happened"] = json!(true);
    client.post("/v1/packings", &late).await.ok();
    let lot = mixer.get(&format!("/v1/lots/{}", made(&pack))).await;
    assert_eq!(lot["holds"][0]["placedByName"], "system/genealogy", "{lot}");
    put(mixer, revision("3", &[], LONG_AGO)).await;
}

/// What was packed off all the same is recorded and held.
async fn as_a_fact(mixer: &Mixer, rack: &str) {
    let mut fact = mixer.step("pack_off", (rack, "50"), "finished");
    fact["happened"] = json!(true);
    let packed = mixer.send(&fact).await.ok();
    let items = packed["items"].as_array().expect("items");
    assert!(items.iter().all(|item| item["code"] == "LABEL_NOT_COVERING"), "{packed}");
    let lot = mixer.get(&format!("/v1/lots/{}", made(&fact))).await;
    assert_eq!(length(&lot["holds"]), 1, "{lot}");
}

#[tokio::test]
async fn a_product_that_formulas_knows_in_part_needs_its_label_and_one_unknown_does_not() {
    let mixer = Mixer::start().await;
    let mut body = mixer.usual_body("400.0", &[&mixer.usual().await]);
    mixer.send(&body).await.ok();
    let rack = mixer.made_of("rack", (&made(&body), "400"), "rack").await;
    let mut pack = mixer.step("pack_off", (&rack, "100"), "finished");
    pack["outputs"][0]["material"] = json!("No. 9 Nobody's");
    let said = refused(mixer.send(&pack).await, &["NO_LABEL_IN_FORCE"]);
    assert!(said.contains("no formula in force gives"), "{said}");
    // Nothing that this one came of, nor what it is, was ever made known.
    let beef = mixer.receive("Beef trim 85", "500").await;
    body = json!({
        "id": id(), "kind": "mix", "place": body["place"], "observedAt": START,
        "inputs": [{ "lot": beef, "mass": super::kitchen::pounds("400") }],
        "outputs": [mixer.output("batch", "400")],
    });
    body["outputs"][0]["material"] = json!("No. 5 Ring");
    mixer.send(&body).await.ok();
    let mut pack = mixer.step("pack_off", (&made(&body), "100"), "finished");
    pack["outputs"][0]["material"] = json!("No. 5 Ring");
    mixer.send(&pack).await.ok();
    mixer.finish().await;
}
