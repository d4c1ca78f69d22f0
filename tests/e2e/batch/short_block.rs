//! The kit and the short block: a run of three batches, an extra one, and a kit weighed again.
//! It never looks at a mean: each batch is judged alone.

use serde_json::{Value, json};

use super::kitchen::{Kitchen, agent, codes, kit, pounds};
use crate::path::{forms, ledger};
use platform::records::new_id;

fn ppm(answer: &Value, of: &str) -> String {
    agent(answer, of)["ppm"].to_string()
}

#[tokio::test]
async fn a_target_on_its_limit_is_approved_only_by_somebody_who_was_warned() {
    let kitchen = Kitchen::without_formula().await;
    let draft = kitchen.draft(&kitchen.content("0.25")).await.ok();
    let checks = &draft["checks"];
    assert_eq!(checks["verdict"], "PASS", "{checks}");
    // 9 CFR 424.21(c): a quarter of an ounce to a hundredweight is 156.25 ppm.
    assert_eq!(ppm(checks, "nitrite"), "156.25");
    assert_eq!(ppm(checks, "erythorbate"), "546.875");
    let nitrite = checks["checks"].as_array().expect("checks").iter();
    let nitrite = nitrite.clone().find(|check| check["subject"] == "nitrite").expect("nitrite");
    assert_eq!(nitrite["rules"][0]["id"], "us.agent.nitrite.comminuted");
    assert!(nitrite["rules"][0]["citation"].to_string().contains("9 CFR 424.21(c)"));
    let refused = kitchen.approve(1, false).await.expect(409);
    assert_eq!(codes(&refused.json["reasons"]), ["TARGET_ON_LIMIT", "TARGET_ON_LIMIT"]);
    let way = refused.json["reasons"][0]["wayOn"].to_string();
    assert!(
        way.contains("0.98 [lb_av]") && way.contains("four divisions") || way.contains("4 div")
    );
    let path = format!("/v1/formulas/{}", kitchen.formula);
    assert_eq!(kitchen.worker.client.get(&path).await.status, 404, "not in force");
    let approved = kitchen.approve(1, true).await.ok();
    let accepted = &approved["acceptedWarnings"][0];
    assert_eq!(accepted["code"], "TARGET_ON_LIMIT");
    assert_eq!(accepted["proposal"]["value"].to_string(), "0.98");
    assert_eq!(accepted["proposalPct"].to_string(), "0.245");
    let mut read = kitchen.worker.client.get(&path).await.ok();
    assert_eq!(read["acceptedWarnings"], approved["acceptedWarnings"], "it stands in the record");
    assert_eq!(read["inForce"].take(), true);
    let roomy = kitchen.with_another_formula();
    let draft = roomy.draft(&roomy.content("0.245")).await.ok();
    assert_eq!(ppm(&draft["checks"], "nitrite"), "153.125", "room for four divisions");
    let warned = draft["checks"]["warnings"].as_array().expect("warnings");
    assert!(warned.iter().all(|warning| warning["line"] != 3), "{warned:?}");
    roomy.plant.stop().await;
}

#[tokio::test]
async fn three_kits_are_three_batches_and_a_short_block_has_two_ways_out() {
    let kitchen = Kitchen::start().await;
    let (first, second, third) =
        (kitchen.usual_kit().await, kitchen.usual_kit().await, kitchen.usual_kit().await);
    let full = kitchen.check(json!([kitchen.meat("400.0"), kit(&first)])).await;
    assert_eq!((&full["mayTip"], codes(&full["refusals"]).len()), (&json!(true), 0), "{full}");
    assert_eq!(
        (ppm(&full, "nitrite"), ppm(&full, "erythorbate")),
        ("156.25".into(), "546.875".into())
    );

    let short = kitchen.check(json!([kitchen.meat("388.5"), kit(&second)])).await;
    assert_eq!(codes(&short["refusals"]), ["AGENT_NOT_MET", "AGENT_NOT_MET"]);
    assert!(!short["mayTip"].as_bool().unwrap_or(false));
    assert!(ppm(&short, "nitrite").starts_with("160.875"), "{}", ppm(&short, "nitrite"));
    assert!(ppm(&short, "erythorbate").starts_with("563.063"));
    let ways = &short["waysOut"];
    assert_eq!(ways["moreMeat"]["onScale"]["value"].to_string(), "400");
    assert_eq!(ways["moreMeat"]["add"]["value"].to_string(), "11.5");
    let less = &ways["lessOf"];
    assert_eq!(less[0]["most"]["value"].to_string(), "0.97125");
    assert_eq!(less[0]["onScale"]["value"].to_string(), "0.97");
    assert_eq!(less[0]["takeOutAtLeastG"].to_string(), "13.1");
    assert_eq!(less[0]["kitLot"], json!(second));
    assert_eq!(less[1]["most"]["value"].to_string(), "0.2124609375", "one alone mends nothing");
    let say = ways["say"].as_str().expect("a sentence");
    assert!(say.contains("11.5 [lb_av] more") && say.contains("13.1 g"), "{say}");
    let mended = kitchen.check(json!([kitchen.meat("400.0"), kit(&second)])).await;
    assert_eq!(mended["mayTip"], true);
    let both = json!([kitchen.meat("388.5"), { "kit": true, "lot": second, "contents": [
        { "material": kitchen.cure, "lot": kitchen.cure_lot, "mass": pounds("0.970") },
        { "material": kitchen.erythorbate, "lot": kitchen.erythorbate_lot,
          "mass": pounds("0.2124609375") },
    ] }]);
    assert_eq!(kitchen.check(both).await["mayTip"], true, "the other way mends it too");

    let fourth = strong_kit(&kitchen).await;
    let third_batch = json!([kitchen.meat("400.0"), kit(&third), kit(&fourth)]);
    let refused = kitchen.check(third_batch).await;
    assert!(codes(&refused["refusals"]).contains(&"SECOND_KIT"), "{refused}");

    let alone = kitchen.check(json!([kitchen.meat("400.0"), kit(&fourth)])).await;
    assert_eq!(codes(&alone["refusals"]), ["AGENT_NOT_MET"]);
    assert_eq!(ppm(&alone, "nitrite"), "160", "the weight is right and the lot is stronger");
    let reason = alone["refusals"][0]["message"].to_string();
    assert!(reason.contains("6.4 % nitrite") && reason.contains("0.97656"), "{reason}");
    assert_eq!(alone["waysOut"]["lessOf"][0]["most"]["value"].to_string(), "0.9765625");
    kitchen.plant.stop().await;
}

/// A kit of a lot of 6.40 %, made for a block of 410.0 lb, where it would pass.
async fn strong_kit(kitchen: &Kitchen) -> String {
    let (lot, cure_lot) = (new_id().to_string(), new_id().to_string());
    let strong = json!({
        "fatPct": "0", "moisturePct": "0", "proteinPct": "0", "saltPct": "93.6",
        "statement": "cure (salt, sodium nitrite)",
        "agents": [{ "agent": "nitrite", "strengthPct": "6.40" }],
    });
    let from = super::kitchen::LONG_AGO;
    kitchen.specify(&kitchen.cure, Some(&cure_lot), strong, from).await;
    let body = kitchen.kit(&lot, (&cure_lot, "1.000"), "410.0");
    kitchen.worker.client.post("/v1/kits", &body).await.ok();
    let same = kitchen.kit(&new_id().to_string(), (&cure_lot, "1.000"), "400.0");
    let refused = kitchen.worker.client.post("/v1/kits", &same).await.expect(409);
    assert_eq!(codes(&refused.json["reasons"]), ["AGENT_NOT_MET"], "no batch could take it");
    lot
}

#[tokio::test]
async fn rework_is_no_meat_and_one_division_too_much_is_said_as_such() {
    let kitchen = Kitchen::start().await;
    let rework = new_id().to_string();
    let inputs = json!([
        kitchen.meat("400.0"),
        kitchen.loose(&kitchen.rework, &rework, "40.0"),
        kitchen.loose(&kitchen.cure, &kitchen.cure_lot, "1.100"),
    ]);
    let extra = kitchen.check(inputs).await;
    assert_eq!(ppm(&extra, "nitrite"), "171.875", "judged on the raw meat alone");
    assert_eq!(extra["meatBlock"]["value"].to_string(), "400");
    assert_eq!(codes(&extra["refusals"]), ["AGENT_NOT_MET"]);

    let lot = kitchen.usual_kit().await;
    let again = json!([kitchen.meat("400.0"), { "kit": true, "lot": lot, "contents": [
        { "material": kitchen.cure, "lot": kitchen.cure_lot, "mass": pounds("1.005") },
    ] }]);
    let over = kitchen.check(again).await;
    assert_eq!(ppm(&over, "nitrite"), "157.03125");
    assert_eq!(ppm(&over, "erythorbate"), "546.875", "what was not weighed again stays");
    assert_eq!(codes(&over["refusals"]), ["AGENT_NOT_MET"]);
    let say = over["waysOut"]["say"].as_str().expect("a sentence");
    assert!(say.starts_with("One division too much: take out 0.005 [lb_av] of Cure mix"), "{say}");
    assert!(say.contains("use 402 [lb_av] of meat"), "{say}");
    assert_eq!(over["waysOut"]["moreMeat"]["onScale"]["value"].to_string(), "402");
    kitchen.plant.stop().await;
}

#[tokio::test]
async fn a_sheet_never_asks_for_more_than_a_limit_allows() {
    let kitchen = Kitchen::start().await;
    let body = json!({
        "id": new_id().to_string(), "formula": kitchen.formula, "formulaVersion": 1,
        "block": pounds("399"),
    });
    let sheet = kitchen.worker.client.post("/v1/batch-sheets", &body).await.ok();
    let line = &sheet["lines"][3];
    assert_eq!(line["exact"]["value"].to_string(), "0.9975");
    assert_eq!(line["target"]["value"].to_string(), "0.995", "the nearest, 1.000, is above");
    assert_eq!(line["atMost"]["value"].to_string(), "0.9975");
    assert_eq!(line["limit"]["value"].to_string(), "0.9975");
    assert_eq!(sheet["lines"][1]["target"]["value"].to_string(), "40");
    let path = format!("/v1/batch-sheets/{}", sheet["sheet"].as_str().expect("an id"));
    assert_eq!(kitchen.worker.client.get(&path).await.ok(), sheet);
    assert_eq!(kitchen.worker.client.post("/v1/batch-sheets", &body).await.ok(), sheet);
    kitchen.usual_kit().await;
    let database = kitchen.plant.database.connect().await;
    assert!(ledger::assert_whole(&database).await >= 17);
    forms::assert_stand(&database, "forms.formulas.json").await;
    ledger::assert_replayed(ledger::Place::Database(&kitchen.plant.database.url)).await;
    kitchen.plant.stop().await;
}
