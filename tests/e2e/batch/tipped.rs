//! The kit and the short block, tipped: a run of three batches, an extra one, a kit weighed again,
//! by real transformations of lots that are on hand.
//! It never overrides a limit: what is refused leaves every lot as it was.

use harness::client::length;
use harness::plant::START;
use serde_json::{Value, json};

use super::kitchen::{codes, pounds};
use super::mixer::{Mixer, id, made, refused};

/// The numbers of an agent as the batch was judged.
fn ppm(made: &Value, agent: &str) -> String {
    let agents = made["batch"]["agents"].as_array().expect("agents").iter();
    let found = agents.clone().find(|one| one["agent"] == agent);
    found.expect("the agent was judged")["ppm"].to_string()
}

/// A lot of cure mix of 6.40 % nitrite by its own specification.
async fn strong_lot(mixer: &Mixer) -> String {
    let lot = mixer.receive("Cure mix", "50").await;
    let strong = json!({
        "fatPct": "0", "moisturePct": "0", "proteinPct": "0", "saltPct": "93.6",
        "statement": "cure (salt, sodium nitrite)",
        "agents": [{ "agent": "nitrite", "strengthPct": "6.40" }],
    });
    mixer.specify(mixer.cure_material(), Some(&lot), strong, super::kitchen::LONG_AGO).await;
    lot
}

#[tokio::test]
async fn a_run_of_three_batches_each_judged_before_its_tip() {
    let mixer = Mixer::start().await;
    let (first, second, third) = (mixer.usual().await, mixer.usual().await, mixer.usual().await);
    // 9 CFR 424.21(c): a quarter of an ounce to a hundredweight is 156.25 ppm.
    let one = mixer.usual_body("400.0", &[&first]);
    let batch = mixer.send(&one).await.ok();
    assert_eq!(ppm(&batch, "nitrite"), "156.25");
    assert_eq!(ppm(&batch, "erythorbate"), "546.875");
    assert_eq!(length(&batch["items"]), 0, "{batch}");
    assert_eq!(mixer.send(&one).await.ok(), batch, "the same call again is harmless");
    let path = format!("/v1/transformations/{}", one["id"].as_str().expect("an id"));
    assert_eq!(mixer.get(&path).await["batch"], batch["batch"], "it stands in the record");

    let meat = mixer.on_hand(&mixer.pork).await;
    let kit_mass = mixer.on_hand(&second).await;
    let short = mixer.usual_body("388.5", &[&second]);
    let said = refused(mixer.send(&short).await, &["AGENT_NOT_MET", "AGENT_NOT_MET"]);
    for number in ["160.875", "563.06", "11.5 [lb_av] more", "13.1 g", "0.97 [lb_av]", "0.21246"] {
        assert!(said.contains(number), "{number}: {said}");
    }
    assert_eq!((mixer.on_hand(&mixer.pork).await, mixer.on_hand(&second).await), (meat, kit_mass));
    mixer.send(&mixer.usual_body("400.0", &[&second])).await.ok();

    let strong = strong_lot(&mixer).await;
    let fourth = mixer.weigh_up((&strong, "1.000"), "410.0").await;
    let two = mixer.send(&mixer.usual_body("400.0", &[&third, &fourth])).await.expect(409);
    assert!(two.codes().contains(&"SECOND_KIT"), "{}", two.text);
    mixer.send(&mixer.usual_body("400.0", &[&third])).await.ok();
    let alone = mixer.send(&mixer.usual_body("400.0", &[&fourth])).await;
    let said = refused(alone, &["AGENT_NOT_MET"]);
    for number in ["160", "6.4 % nitrite", "0.97656"] {
        assert!(said.contains(number), "{number}: {said}");
    }
    // Of a mean nobody asks: each of the three stands for itself.
    used_once(&mixer, &third).await;
    mixer.finish().await;
}

/// A kit that is used up is refused by both who know of it.
async fn used_once(mixer: &Mixer, kit: &str) {
    let path = format!("/v1/kits/{kit}");
    for _ in 0..400 {
        if mixer.get(&path).await["usedIn"].as_str().is_some_and(|lot| !lot.is_empty()) {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(25)).await;
    }
    assert!(mixer.get(&path).await["usedIn"].is_string(), "formulas was told");
    let again = mixer.send(&mixer.usual_body("400.0", &[kit])).await;
    refused(again, &["MORE_THAN_ON_HAND", "KIT_USED", "KIT_USED"]);
}

#[tokio::test]
async fn rework_is_no_meat_and_a_kit_weighed_again_counts_by_what_it_holds_now() {
    let mixer = Mixer::start().await;
    let body = mixer.usual_body("400.0", &[&mixer.usual().await]);
    mixer.send(&body).await.ok();
    let rack = mixer.made_of("rack", (&made(&body), "400"), "rack").await;
    let mut step = mixer.step("rework", (&rack, "40"), "rework");
    step["outputs"][0]["material"] = json!("Cooked rework of No. 1");
    mixer.send(&step).await.ok();
    let rework = made(&step);
    let extra = [(mixer.pork.as_str(), "400.0"), (&mixer.blend, "8"), (&rework, "40.0")];
    let mut lots = extra.to_vec();
    lots.push((&mixer.cure, "1.100"));
    let extra = mixer.send(&mixer.body(&lots)).await;
    let said = refused(extra, &["KIT_MISSING", "AGENT_NOT_MET"]);
    assert!(said.contains("171.875"), "judged on the raw meat alone: {said}");
    let kit = mixer.usual().await;
    lots[3] = (&kit, "1.21875");
    let within = mixer.send(&mixer.body(&lots)).await.ok();
    assert_eq!(ppm(&within, "nitrite"), "156.25", "{within}");
    // Rework that is called meat is none.
    step["id"] = json!(id());
    step["outputs"][0]["lot"] = json!(id());
    step["outputs"][0]["material"] = json!("Pork trim 72");
    mixer.send(&step).await.ok();
    let (called, kit) = (made(&step), mixer.usual().await);
    let lots = [(mixer.pork.as_str(), "360"), (&called, "40"), (&mixer.blend, "8")];
    let mut lots = lots.to_vec();
    lots.push((&kit, "1.21875"));
    let said = mixer.send(&mixer.body(&lots)).await.expect(409);
    assert!(said.codes().contains(&"REWORK_IS_NO_MEAT"), "{}", said.text);

    let heavy = |meat: &str| {
        let mut body = mixer.usual_body(meat, &[&kit]);
        body["inputs"][2]["contents"] = json!([{
            "material": mixer.cure_material(), "lot": mixer.cure, "mass": pounds("1.005"),
        }]);
        body
    };
    let said = refused(mixer.send(&heavy("400.0")).await, &["AGENT_NOT_MET"]);
    for number in ["157.03125", "One division too much: take out 0.005 [lb_av]", "use 402 [lb_av]"]
    {
        assert!(said.contains(number), "{number}: {said}");
    }
    assert_eq!(ppm(&mixer.send(&heavy("402")).await.ok(), "nitrite"), "156.25");
    mixer.finish().await;
}

#[tokio::test]
async fn what_has_happened_is_recorded_held_and_an_open_item() {
    let mixer = Mixer::start().await;
    let mut body = mixer.usual_body("388.5", &[&mixer.usual().await]);
    body["happened"] = json!(true);
    let batch = mixer.send(&body).await.ok();
    let items = batch["items"].as_array().expect("items");
    let items: Vec<_> =
        items.iter().map(|item| item["code"].as_str().unwrap_or_default()).collect();
    assert_eq!(items, ["BATCH_NOT_MET", "BATCH_NOT_MET"], "{batch}");
    assert_eq!(ppm(&batch, "nitrite")[..7], *"160.875");
    assert_eq!(length(&batch["batch"]["reasons"]), 2);
    let lot = mixer.get(&format!("/v1/lots/{}", made(&body))).await;
    assert_eq!(lot["holds"][0]["placedByName"], "system/genealogy", "{lot}");
    mixer.finish().await;
}

#[tokio::test]
async fn what_is_added_later_is_judged_with_all_that_is_in() {
    let mixer = Mixer::start().await;
    let body = mixer.usual_body("400.0", &[&mixer.usual().await]);
    let batch = mixer.send(&body).await.ok();
    let path =
        format!("/v1/transformations/{}/inputs", batch["transformation"].as_str().expect(""));
    let add = |lot: &str, mass: &str| {
        json!({ "id": id(), "lot": lot, "mass": pounds(mass), "reason": "It was short.",
            "observedAt": START })
    };
    let client = &mixer.worker.client;
    let cure = client.post(&path, &add(&mixer.cure, "0.005")).await;
    let said = refused(cure, &["AGENT_NOT_MET"]);
    assert!(said.contains("157.03125"), "{said}");
    let other = client.post(&path, &add(&mixer.usual().await, "1.21875")).await.expect(409);
    assert!(other.codes().contains(&"SECOND_KIT"), "{}", other.text);
    let meat = add(&mixer.pork, "3.2");
    let more = client.post(&path, &meat).await.ok();
    assert_eq!(ppm(&more, "nitrite")[..4], *"155.", "{more}");
    assert_eq!(client.post(&path, &meat).await.ok(), more, "the same call again is harmless");
    // Two who add at once are judged one after the other: together they would be above it.
    let (one, other) = (add(&mixer.cure, "0.005"), add(&mixer.cure, "0.005"));
    let (one, other) = tokio::join!(client.post(&path, &one), client.post(&path, &other));
    let mut statuses = [one.status, other.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [200, 409], "{} {}", one.text, other.text);
    mixer.finish().await;
}

#[tokio::test]
async fn a_kit_goes_into_one_of_two_batches_at_once() {
    let mixer = Mixer::start().await;
    for _ in 0..5 {
        let kit = mixer.usual().await;
        let (one, other) = (mixer.usual_body("400.0", &[&kit]), mixer.usual_body("400.0", &[&kit]));
        let (one, other) = tokio::join!(mixer.send(&one), mixer.send(&other));
        let mut statuses = [one.status, other.status];
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 409], "{} {}", one.text, other.text);
        let refused = if one.status == 409 { one } else { other };
        assert!(refused.codes().contains(&"KIT_USED"), "{}", refused.text);
    }
    mixer.finish().await;
}

#[tokio::test]
async fn bad_input_at_the_mixer_is_stopped_with_the_way_on() {
    let mixer = Mixer::start().await;
    let kit = mixer.usual().await;
    let good = mixer.usual_body("400.0", &[&kit]);
    let changed = |change: &dyn Fn(&mut Value)| {
        let mut body = good.clone();
        body["id"] = json!(id());
        change(&mut body);
        body
    };
    let without = changed(&|body| {
        let body = body.as_object_mut().expect("an object");
        body.remove("formula");
        body.remove("formulaVersion");
    });
    refused(mixer.send(&without).await, &["FORMULA_NEEDED"]);
    let missing = mixer.usual_body("400.0", &[]);
    refused(mixer.send(&missing).await, &["KIT_MISSING"]);
    let block = mixer.usual_body("421", &[&kit]);
    refused(mixer.send(&block).await, &["KIT_FOR_ANOTHER_BLOCK"]);
    let never = changed(&|body| body["formulaVersion"] = json!(7));
    refused(mixer.send(&never).await, &["FORMULA_NOT_APPROVED"]);
    let called = changed(&|body| body["outputs"][0]["material"] = json!("No. 2 Plain Link"));
    refused(mixer.send(&called).await, &["PRODUCT_NOT_OF_FORMULA"]);
    let odd = mixer.receive("Smoke flavour", "5").await;
    let lots = [(mixer.pork.as_str(), "400"), (&mixer.blend, "8"), (&kit, "1.21875"), (&odd, "1")];
    refused(mixer.send(&mixer.body(&lots)).await, &["MATERIAL_NOT_APPROVED"]);
    let aid = changed(&|body| body["additions"][0]["name"] = json!("Spice blend No. 1"));
    let aid = mixer.send(&aid).await.expect(409);
    assert!(aid.codes().contains(&"LOT_MISSING"), "{}", aid.text);
    let held = |at: usize, unit: &str| {
        let mass = json!({ "value": "1", "unit": unit });
        let held = json!({ "material": mixer.cure_material(), "lot": mixer.cure, "mass": mass });
        changed(&|body| body["inputs"][at]["contents"] = json!([held]))
    };
    let cases: [(&str, Value); 5] = [
        ("formulaVersion", changed(&|body| body["formulaVersion"] = Value::Null)),
        ("formula", changed(&|body| body["kind"] = json!("rack"))),
        ("labelRevision", changed(&|body| body["labelRevision"] = json!("3"))),
        ("inputs[0].contents", held(0, "[lb_av]")),
        ("inputs[2].contents[0].mass.unit", held(2, "lb")),
    ];
    for (field, mut body) in cases {
        if field == "formula" {
            body["outputs"][0]["kind"] = json!("rack");
        }
        assert_eq!(mixer.send(&body).await.expect(400).fields(), [field]);
    }
    let answer = mixer.send(&changed(&|_| ())).await.ok();
    assert_eq!(codes(&answer["batch"]["reasons"]), [""; 0], "nothing of all that was stored");
    mixer.finish().await;
}

#[tokio::test]
async fn nothing_is_mixed_or_packed_while_formulas_is_away() {
    let mixer = Mixer::start().await;
    let (first, second) = (mixer.usual().await, mixer.usual().await);
    let body = mixer.usual_body("400.0", &[&first]);
    mixer.send(&body).await.ok();
    let rack = mixer.made_of("rack", (&made(&body), "400"), "rack").await;
    let superuser = mixer.plant.database.connect().await;
    let away = "REVOKE USAGE ON SCHEMA formulas FROM hankbook_formulas";
    superuser.batch_execute(away).await.expect("formulas is away");
    let other = mixer.usual_body("400.0", &[&second]);
    let pack_off = mixer.step("pack_off", (&rack, "300"), "finished");
    for body in [&other, &pack_off] {
        let refused = mixer.send(body).await.expect(503);
        assert!(refused.text.contains("Formulas cannot be asked"), "{}", refused.text);
    }
    let back = "GRANT USAGE ON SCHEMA formulas TO hankbook_formulas";
    superuser.batch_execute(back).await.expect("formulas is back");
    for body in [&other, &pack_off] {
        mixer.send(body).await.ok();
    }
    mixer.finish().await;
}
