//! Lots made of lots, through REST: a day with its masses, bad input as command and as fact, races.
//! It never ships: that is proved elsewhere.

mod facts;
mod floor;
mod refusals;

use harness::client::length;
use serde_json::{Value, json};

use self::floor::{Floor, id, kg};

/// From two received lots to finished product: every gram is somewhere, and both ends of the
/// trace find each other.
#[tokio::test]
async fn a_day_from_receiving_to_finished_keeps_every_gram() {
    let floor = Floor::start().await;
    let (pork, spice) = (floor.meat("1200.5").await, floor.meat("20").await);
    let kit = floor.made("weigh_up", &[(&spice, "1.25")], &[("kit", "1.25")]).await;
    assert_eq!(kit.json["lossG"].to_string(), "0");
    let mut body =
        floor.body("mix", &[(&pork, "400"), (kit.lot(0), "1.25")], &[("batch", "420.2")]);
    body["additions"] = json!([{ "name": "Ice", "mass": kg("20") }]);
    let batch = floor.record(&body).await;
    assert_eq!(batch.json["lossG"].to_string(), "1050", "{}", batch.json);
    assert_eq!(batch.json["additions"][0]["name"], "Ice");
    let racks = [("rack", "200"), ("rack", "219.5")];
    let racks = floor.made("rack", &[(batch.lot(0), "420.2")], &racks).await;
    let inputs = [(racks.lot(0), "200"), (racks.lot(1), "100.125")];
    let finished = floor.made("pack_off", &inputs, &[("finished", "270.75")]).await;
    for (lot, left) in [(&pork, 800_500), (&spice, 18_750)] {
        assert_eq!(floor.on_hand(lot).await, json!(left));
    }
    assert_eq!(floor.on_hand(batch.lot(0)).await, json!(0));
    let second = floor.on_hand(racks.lot(1)).await.to_string();
    assert_eq!(second.parse::<f64>().expect("a number"), 119_375.0);
    let codes: Vec<&Value> =
        [&kit, &batch, &racks, &finished].map(|made| &made.json["outputs"][0]["code"]).to_vec();
    assert!(codes.iter().all(|code| code.as_str().is_some_and(|code| code.starts_with("26329-"))));

    let back = floor.trace(finished.lot(0), "back").await;
    assert_eq!((length(&back["lots"]), length(&back["uses"])), (7, 7), "{back}");
    assert_eq!(back["lots"][0]["lot"], finished.lot(0));
    let meat = back["lots"].as_array().and_then(|all| all.iter().find(|lot| lot["lot"] == pork));
    let meat = meat.expect("the meat");
    assert_eq!((&meat["distance"], &meat["supplierLot"]), (&json!(3), &json!("H-4411")));
    let forward = floor.trace(&pork, "forward").await;
    assert_eq!((length(&forward["lots"]), length(&forward["uses"])), (5, 5), "{forward}");

    let closure = floor.closure(finished.lot(0)).await;
    assert_eq!(length(&closure["lots"]), 7);
    assert_eq!(closure["digest"].as_str().map(str::len), Some(64));
    let made = floor.get(&format!("/v1/transformations/{}", batch.id())).await;
    assert_eq!(made, batch.json, "what was answered is what stands");
    let lot = floor.get(&format!("/v1/lots/{}", finished.lot(0))).await;
    assert_eq!(
        (&lot["madeBy"], &lot["kind"]),
        (&finished.json["transformation"], &json!("finished"))
    );
    floor.finish().await;
}

/// Batches that were mixed one after another carry the name of their run, and are found by it.
#[tokio::test]
async fn three_batches_of_a_run_are_listed_by_its_name() {
    let floor = Floor::start().await;
    let pork = floor.meat("400").await;
    let mut batches = Vec::new();
    for run in ["Morning rope", " morning Rope ", "MORNING ROPE", "Ring", ""] {
        let mut body = floor.body("mix", &[(&pork, "60")], &[("batch", "60")]);
        body["outputs"][0]["run"] = json!(run);
        let made = floor.record(&body).await;
        let said = made.json["outputs"][0]["run"].as_str().unwrap_or_default();
        assert_eq!(said, run.trim());
        batches.push(made.lot(0).to_owned());
    }
    let listed = floor.get("/v1/lots?run=Morning%20Rope&pageSize=2").await;
    let token = listed["nextPageToken"].as_str().expect("more of it");
    let rest = floor.get(&format!("/v1/lots?run=morning%20rope&pageToken={token}")).await;
    let of = |page: &Value| -> Vec<String> {
        let lots = page["lots"].as_array().expect("lots");
        lots.iter().map(|lot| lot["lot"].as_str().expect("an id").to_owned()).collect()
    };
    assert_eq!([of(&listed), of(&rest)].concat(), batches[..3]);
    assert_eq!(listed["lots"][0]["run"], "Morning rope", "as it was typed");
    assert_eq!(length(&floor.get("/v1/lots?run=Evening").await["lots"]), 0);
    let forward = floor.trace(&pork, "forward").await;
    let lots = forward["lots"].as_array().expect("lots");
    let ring = lots.iter().find(|lot| lot["lot"] == batches[3]).expect("the batch of the ring");
    assert_eq!(ring["run"], "Ring");
    let mut rack = floor.body("rack", &[(&batches[0], "60")], &[("rack", "60")]);
    rack["outputs"][0]["run"] = json!("Morning rope");
    let refused = floor.post("/v1/transformations", &rack).await;
    assert_eq!((refused.status, refused.fields()), (400, vec!["outputs[0].run"]));
    floor.finish().await;
}

/// The same call again is told by its record; another on its id is refused.
#[tokio::test]
async fn a_transformation_said_twice_uses_its_lots_once() {
    let floor = Floor::start().await;
    let pork = floor.meat("100").await;
    let body = floor.body("mix", &[(&pork, "60")], &[("batch", "60")]);
    let (first, second) = (floor.record(&body).await, floor.record(&body).await);
    assert_eq!(first.json, second.json);
    assert_eq!(floor.on_hand(&pork).await, json!(40_000));
    let mut other = body.clone();
    other["kind"] = json!("rework");
    let answer = floor.post("/v1/transformations", &other).await.expect(409);
    assert_eq!(answer.problem(), "id-in-use");
    let mut other = floor.body("mix", &[(&pork, "1")], &[("batch", "1")]);
    other["outputs"][0]["lot"] = json!(pork);
    other["inputs"][0]["lot"] = json!(first.lot(0));
    let answer = floor.post("/v1/transformations", &other).await.expect(409);
    assert_eq!(answer.problem(), "id-in-use", "an output that is a lot already");
    floor.finish().await;
}

/// Many who want the same lot at once never take more than there is.
#[tokio::test(flavor = "multi_thread")]
async fn racing_transformations_never_use_more_than_there_is() {
    let floor = Floor::start().await;
    let (pork, beef) = (floor.meat("100").await, floor.meat("100").await);
    let calls = (0..12).map(|at| {
        // Half name the lots the other way round: locks in the order of ids cannot cross.
        let mut inputs = [(pork.as_str(), "30"), (beef.as_str(), "30")];
        if at % 2 == 0 {
            inputs.reverse();
        }
        let body = floor.body("mix", &inputs, &[("batch", "60")]);
        let client = floor.qa.client.clone();
        async move { client.post("/v1/transformations", &body).await }
    });
    let mut taken = 0;
    for answer in futures_util::future::join_all(calls).await {
        match answer.status {
            200 => taken += 1,
            _ => assert_eq!(
                answer.json["reasons"][0]["code"], "MORE_THAN_ON_HAND",
                "{}",
                answer.text
            ),
        }
    }
    assert_eq!(taken, 3);
    for lot in [&pork, &beef] {
        assert_eq!(floor.on_hand(lot).await, json!(10_000));
    }
    floor.finish().await;
}

/// A lot moves on hold, and its hold moves with it.
#[tokio::test]
async fn a_held_lot_moves_and_stays_held() {
    let floor = Floor::start().await;
    let pork = floor.meat("100").await;
    let made = floor.made("mix", &[(&pork, "60")], &[("batch", "60")]).await;
    let hold = floor.hold(&pork).await;
    let store = floor.place("Cooler 4", "cooler").await;
    let body = json!({
        "id": id(), "lots": [made.lot(0)], "place": store, "observedAt": floor.at,
    });
    let moved = floor.post("/v1/transfers", &body).await.ok();
    assert_eq!(moved["holds"], json!([hold]), "the hold on its meat goes along");
    assert_eq!(moved["placeName"], "Cooler 4");
    let mut wrong = json!({ "id": id(), "place": pork, "observedAt": floor.at });
    let answer = floor.post("/v1/transfers", &wrong).await.expect(400);
    assert_eq!(answer.fields(), ["lots", "place"]);
    wrong["place"] = json!(store);
    wrong["lots"] = json!([id()]);
    wrong["pallets"] = json!([id()]);
    let answer = floor.post("/v1/transfers", &wrong).await.expect(400);
    assert_eq!(answer.fields(), ["lots[0]", "pallets[0]"]);
    floor.finish().await;
}

/// A signed statement stands for all before a lot; without it there is no lot.
#[tokio::test]
async fn opening_stock_is_taken_up_by_a_signed_statement() {
    let floor = Floor::start().await;
    let plan = floor.plan("opening_stock").await;
    let lot = id();
    let body = json!({
        "id": lot, "material": "No. 1 Rope", "mass": kg("88.5"), "place": floor.place, "plan": plan,
        "statement": "Counted on 24 November; papers of the day in binder 12.",
        "observedAt": floor.at,
        "useBy": "2026-12-24",
    });
    floor.post("/v1/opening-stock", &body).await.expect(403);
    let subject = format!("lot:{lot}");
    let signed = ("hankbook.v1.Making/TakeUpOpeningStock", subject.as_str());
    let taken = floor.qa.sign("/v1/opening-stock", &body, signed).await.ok();
    assert_eq!((&taken["kind"], &taken["useBy"]), (&json!("opening_stock"), &json!("2026-12-24")));
    let again = floor.qa.sign("/v1/opening-stock", &body, signed).await.ok();
    assert_eq!(again["madeBy"], taken["madeBy"]);
    let mut other = body.clone();
    other["id"] = json!(id());
    other["plan"] = json!(floor.receiving);
    let subject = format!("lot:{}", other["id"].as_str().expect("an id"));
    let signed = ("hankbook.v1.Making/TakeUpOpeningStock", subject.as_str());
    let answer = floor.qa.sign("/v1/opening-stock", &other, signed).await.expect(409);
    assert_eq!(answer.json["reasons"][0]["code"], "PLAN_NOT_IN_FORCE");
    let packed = floor.made("pack_off", &[(&lot, "88.5")], &[("finished", "88.5")]).await;
    assert_eq!(length(&floor.closure(packed.lot(0)).await["lots"]), 2);
    floor.finish().await;
}

/// What is destroyed is gone from what is on hand, on hold or not, and never more than there was.
#[tokio::test]
async fn what_is_destroyed_is_signed_and_gone() {
    let floor = Floor::start().await;
    let pork = floor.meat("100").await;
    floor.hold(&pork).await;
    let subject = format!("lot:{pork}");
    let signed = ("hankbook.v1.Making/RecordDestruction", subject.as_str());
    let body = |mass: &str| {
        json!({
            "id": id(), "lot": pork, "mass": kg(mass), "reason": "Denatured; Jo saw it.",
            "observedAt": floor.at,
        })
    };
    let answer = floor.qa.sign("/v1/destructions", &body("100.001"), signed).await.expect(409);
    assert_eq!(answer.json["reasons"][0]["code"], "MORE_THAN_ON_HAND");
    let once = body("40.5");
    for _ in 0..2 {
        floor.qa.sign("/v1/destructions", &once, signed).await.ok();
        assert_eq!(floor.on_hand(&pork).await, json!(59_500));
    }
    let mut cases = body("1");
    cases["cases"] = json!(["C-1", "C-1"]);
    let answer = floor.qa.sign("/v1/destructions", &cases, signed).await.expect(400);
    assert_eq!(answer.fields(), ["mass", "cases[1]"]);
    cases["mass"] = Value::Null;
    cases["cases"] = json!(["C-1"]);
    let answer = floor.qa.sign("/v1/destructions", &cases, signed).await.expect(400);
    assert_eq!(answer.fields(), ["cases[0]"], "a case of nobody");
    floor.finish().await;
}
