//! Shrink from stage to stage, beside the masses of the lot graph.
//! It never expects a number that was not weighed whole.

use harness::client::length;
use serde_json::json;

use super::floor::{Floor, stage};
use crate::gate::day::{id, t};

#[tokio::test]
async fn shrink_goes_from_stage_to_stage_and_stands_beside_the_lot_graph() {
    let floor = Floor::open().await;
    floor.weigh_all().await;
    for lot in [&floor.finished, &floor.batch] {
        let report = floor.yields(lot).await;
        assert_eq!(report["unit"], "[lb_av]");
        let numbers = |name: &str| {
            let stage = stage(&report, name);
            (stage["net"].clone(), stage["stepShrinkPct"].clone(), stage["isWhole"].clone())
        };
        // Plain arithmetic: 410 -> 410 -> 369 -> 360 lb.
        assert_eq!(numbers("mixed"), (json!(410), json!(null), json!(true)));
        assert_eq!(numbers("stuffed"), (json!(410), json!(0), json!(true)));
        assert_eq!(numbers("chilled"), (json!(369), json!(10), json!(true)));
        let packed = numbers("packed");
        assert_eq!((&packed.0, &packed.2), (&json!(360), &json!(true)));
        assert!(packed.1.to_string().starts_with("2.4390243902439"), "{}", packed.1);
        let total = report["fromStuffedShrinkPct"].to_string();
        assert!(total.starts_with("12.195121951219"), "{total}");
        assert_eq!(report["reconciliation"]["difference"], 0);
        assert_eq!(report["reconciliation"]["fromStage"], "mixed");
        assert_eq!(report["notWeighed"], json!(["received", "block", "dried", "smoked", "peeled"]));
        assert!(report["verdict"].is_null(), "{report}");
        assert!(report["rounding"].as_str().is_some_and(|text| text.contains("30 significant")));
    }
    let text = floor.day.get("walt", &format!("/v1/yields?lot={}", floor.finished)).await.text;
    assert!(
        text.contains("\"stepShrinkPct\":2.4390243902439024390243902439,"),
        "written with 30 digits: {text}"
    );
    // A rack: half of the batch, and half of what was packed.
    let rack = floor.yields(&floor.racks[0]).await;
    assert_eq!(stage(&rack, "mixed")["counted"][0]["sharePct"], 50);
    assert_eq!(stage(&rack, "stuffed")["net"], 204);
    assert_eq!(stage(&rack, "stuffed")["difference"], -1);
    assert_eq!(stage(&rack, "packed")["net"], 180);
    assert!(length(&rack["cautions"]) > 0, "shares are told: {rack}");
    let day = "/v1/yields?day=2026-11-25&product=no.%202%20plain%20link";
    let day = floor.day.get("walt", day).await.ok();
    assert_eq!(day["of"][0]["lot"], json!(floor.finished));
    assert_eq!(day["totalShrinkPct"], floor.yields(&floor.finished).await["totalShrinkPct"]);
    floor.day.get("walt", "/v1/yields?day=2026-11-25&product=None").await.expect(404);
    let nothing = floor.day.get("walt", "/v1/yields").await.expect(400);
    assert_eq!(nothing.fields(), ["day", "product"]);
    floor.day.close().await;
}

#[tokio::test]
async fn a_stage_weighed_in_part_is_named_and_never_filled_in() {
    let floor = Floor::open().await;
    let empty = floor.yields(&floor.finished).await;
    assert_eq!((&empty["verdict"], length(&empty["stages"])), (&json!("UNDETERMINED"), 0));
    floor.weigh(&[&floor.racks[0]], "stuffed", ("305", "100")).await;
    floor.weigh(&[&floor.racks[0]], "smoked", ("290", "100")).await;
    floor.weigh(&[&floor.finished], "packed", ("360", "0")).await;
    let report = floor.yields(&floor.finished).await;
    assert_eq!(report["verdict"], "UNDETERMINED");
    let smoked = stage(&report, "smoked");
    assert!(!smoked["isWhole"].as_bool().unwrap_or(false));
    assert!(smoked["net"].is_null() && smoked["stepShrinkPct"].is_null(), "{smoked}");
    assert_eq!(
        (length(&smoked["lacking"]), &smoked["lacking"][0]["lot"]),
        (1, &json!(floor.racks[1]))
    );
    assert!(report["totalShrinkPct"].is_null(), "{report}");
    let code = smoked["lacking"][0]["code"].as_str().expect("a code");
    assert!(report["reasons"][0].as_str().is_some_and(|why| why.contains(code)), "{report}");
    // An amendment counts in place of the first: 205 stuffed becomes 200.
    floor.weigh(&[&floor.racks[1]], "stuffed", ("305", "100")).await;
    let list = floor.day.get("ines", &format!("/v1/weighings?lot={}", floor.racks[1])).await.ok();
    let weighing = list["weighings"][0]["weighing"].as_str().expect("an id");
    let body = json!({
        "id": id(), "stage": "stuffed", "gross": "300", "tare": "100", "unit": "[lb_av]",
        "observedAt": t("06:00"), "reason": "A digit was misread.",
    });
    let (path, subject) =
        (format!("/v1/weighings/{weighing}/amendments"), format!("weighing:{weighing}"));
    floor.day.sign("marcus", ("Yields/AmendWeighing", &subject), (&path, &body)).await.ok();
    let report = floor.yields(&floor.finished).await;
    assert_eq!(stage(&report, "stuffed")["net"], 405);
    assert_eq!(stage(&report, "stuffed")["difference"], -5);
    let steps = (&stage(&report, "packed")["stepShrinkPct"], &report["verdict"]);
    assert!(steps.0.to_string().starts_with("11.1111111111"), "smoked is left out: {}", steps.0);
    assert_eq!(steps.1, "UNDETERMINED", "and is named");
    let caution = format!("{}", report["cautions"]);
    assert!(caution.contains("differs from that of the lot graph by"), "{caution}");
    floor.day.close().await;
}
