//! Samples that come late, twice, out of order or wrong; pulls as facts; chills that turn out bad.
//! It never sends what a house could not.

use harness::client::length;
use serde_json::{Value, json};

use super::day::{Day, id, t, word};
use super::goods::{Making, PLAIN, ROPE, Says, part};
use crate::path::ledger::{self, Place};

/// A load of one product with a probe in its first rack and one in the air.
struct Cook {
    day: Day,
    load: String,
    racks: Vec<String>,
}

impl Cook {
    async fn of(says: Says, racks: usize) -> Self {
        let mut day = Day::open().await;
        day.at("05:40").await;
        let receiving = day.plan(&super::goods::receiving()).await;
        let meat = day.meat(&receiving, "4000", "05:00").await;
        let product = day.product(says).await;
        let (used, masses) = (format!("{}", 90 * racks), vec!["90"; racks]);
        let mix = Making {
            of: "batch",
            product: &product,
            inputs: &[(&meat, &used)],
            masses: &[&used],
            place: "Mixer 1",
            at: "05:10",
        };
        let batch = day.make("mix", &mix).await.remove(0);
        let hang = Making {
            of: "rack",
            product: &product,
            inputs: &[(&batch, &used)],
            masses: &masses,
            place: "House 2",
            at: "05:30",
        };
        let racks = day.make("rack", &hang).await;
        let seats = [("P1", racks[0].as_str()), ("DB", "air")];
        let load = day.load("House 2", &racks, &seats, "05:40").await;
        Self { day, load, racks }
    }

    fn path(&self, of: &str) -> String {
        format!("/v1/loads/{}/{of}", self.load)
    }

    /// A block of P1 in [degF].
    fn block(&self, begun_at: &str, samples: &[(i64, &str)]) -> Value {
        let sample = |(t_s, value): &(i64, &str)| json!({ "tS": t_s, "value": value });
        json!({
            "id": id(), "probe": "P1", "source": "probe", "unit": "[degF]",
            "begunAt": t(begun_at), "samples": samples.iter().map(sample).collect::<Vec<_>>(),
        })
    }

    async fn send(&self, body: &Value) -> harness::Answer {
        self.day.post("ines", &self.path("samples"), body).await
    }

    async fn now(&self) -> Value {
        self.day.get("dana", &format!("/v1/loads/{}", self.load)).await.ok()
    }

    async fn close(self) {
        ledger::assert_replayed(Place::Database(&self.day.plant.database.url)).await;
        self.day.close().await;
    }
}

#[tokio::test]
async fn another_value_of_a_known_instant_is_refused_and_as_a_fact_the_worse_counts() {
    let mut cook = Cook::of(ROPE, 1).await;
    cook.day.at("08:50").await;
    let first = cook.block("05:40", &[(0, "40.0"), (9000, "150.0"), (11_040, "155.0")]);
    let sent = cook.send(&first).await.ok();
    assert_eq!(sent["samples"], 3);
    assert_eq!(word(&sent["lastAt"]), t("08:44"));
    assert!(sent["reasons"].to_string().contains("P1 reached 155 [degF]"), "{sent}");
    assert_eq!(cook.send(&first).await.ok(), sent, "the same call again is harmless");
    let again = cook.block("08:44", &[(0, "155.0"), (60, "155.3")]);
    cook.send(&again).await.ok();
    assert_eq!(word(&cook.now().await["products"][0]["metAt"]), t("08:44"));

    let mut other = cook.block("08:44", &[(0, "154.8"), (60, "155.3")]);
    let refused = cook.send(&other).await.expect(409);
    assert_eq!(refused.problem(), "refused");
    assert!(refused.text.contains("155.0 [degF] is recorded, 154.8"), "{}", refused.text);
    other["happened"] = json!(true);
    cook.send(&other).await.ok();
    let product = cook.now().await["products"][0].clone();
    assert_eq!(product["verdict"], "PASS");
    // From 154.8 at 08:44:00 to 155.3 at 08:45:00 it passes 155 after 24 s.
    assert_eq!(word(&product["metAt"]), t("08:44:24"));
    let curves = cook.day.get("dana", &cook.path("curves")).await.ok();
    assert_eq!(length(&curves["curves"]), 3, "every block stays");
    cook.close().await;
}

#[tokio::test]
async fn bad_samples_are_refused_by_the_field() {
    let mut cook = Cook::of(ROPE, 1).await;
    cook.day.at("06:00").await;
    let good = cook.block("05:40", &[(0, "40.0"), (60, "40.4")]);
    let changed = |change: &dyn Fn(&mut Value)| {
        let mut body = good.clone();
        body["id"] = json!(id());
        change(&mut body);
        body
    };
    let cases: [(&str, Value); 7] = [
        ("samples[1].tS", changed(&|b| b["samples"][1]["tS"] = json!(0))),
        ("samples[1].tS", changed(&|b| b["samples"][1]["tS"] = json!(90_000))),
        ("samples[0].value", changed(&|b| b["samples"][0]["value"] = json!("900"))),
        ("probe", changed(&|b| b["probe"] = json!("P9"))),
        ("unit", changed(&|b| b["unit"] = json!("kg"))),
        ("lot", changed(&|b| b["source"] = json!("logger"))),
        ("instrument", changed(&|b| b["instrument"] = json!(id()))),
    ];
    for (field, body) in cases {
        let answer = cook.send(&body).await.expect(400);
        assert_eq!(answer.fields().first(), Some(&field), "{}", answer.text);
    }
    let mut stranger = cook.block("05:40", &[(0, "40.0")]);
    stranger["source"] = json!("hand");
    stranger["probe"] = json!("T-03");
    stranger["lot"] = json!(id());
    assert_eq!(cook.send(&stranger).await.expect(400).fields(), ["lot"]);
    assert_eq!(length(&cook.day.get("dana", &cook.path("curves")).await.ok()["curves"]), 0);
    cook.close().await;
}

#[tokio::test]
async fn a_pull_as_a_fact_is_recorded_and_late_samples_are_judged_with_it() {
    let mut cook = Cook::of(ROPE, 2).await;
    cook.day.at("08:52").await;
    let early = cook.block("05:40", &[(0, "40.0"), (9000, "150.0")]);
    cook.send(&early).await.ok();
    let asked = cook.day.pull_body(&cook.racks, "08:50");
    let refused = cook.day.post("marcus", &cook.path("pulls"), &asked).await.expect(409);
    assert_eq!(length(&refused.json["reasons"]), 2, "{}", refused.text);
    let mut told = asked.clone();
    told["happened"] = json!(true);
    let load = cook.day.post("marcus", &cook.path("pulls"), &told).await.ok();
    for rack in &cook.racks {
        let rack = part(&load["racks"], "rack", rack);
        assert_eq!(rack["cook"], "FAIL");
        assert!(!word(&rack["deviation"]).is_empty());
    }
    for rack in &cook.racks {
        cook.day.until(&format!("/v1/lots/{rack}"), |lot| lot["holds"].is_array()).await;
    }
    let again = cook.day.post("marcus", &cook.path("pulls"), &told).await.ok();
    assert_eq!(again, load, "the same pull again is harmless");
    // What the house sends late shows that it had been met; the deviation stays QA's to close.
    let late = cook.block("08:10", &[(60, "151.0"), (2040, "155.0")]);
    let sent = cook.send(&late).await.ok();
    assert!(sent["reasons"].to_string().contains("CCP-1: PASS"), "{sent}");
    let load = cook.now().await;
    let rack = part(&load["racks"], "rack", &cook.racks[1]);
    assert_eq!(rack["cook"], "PASS");
    assert!(!word(&rack["deviation"]).is_empty());
    let open = cook.day.get("dana", "/v1/deviations?open=true").await.ok();
    assert_eq!(length(&open["deviations"]), 1);
    cook.close().await;
}

#[tokio::test]
async fn a_chill_that_passed_fails_when_a_second_logger_is_read_out() {
    let mut cook = Cook::of(PLAIN, 2).await;
    cook.day.at("08:52").await;
    let p1 = cook.block("05:40", &[(0, "40.0"), (11_400, "160.0")]);
    cook.send(&p1).await.ok();
    let pull = cook.day.pull_body(&cook.racks, "08:50");
    let load = cook.day.post("marcus", &cook.path("pulls"), &pull).await.ok();
    let chill = &part(&load["racks"], "rack", &cook.racks[0])["chills"][0];
    assert_eq!(chill["verdict"], "UNDETERMINED");
    assert_eq!(word(&chill["readingDueAt"]), t("09:10"));
    cook.day.at("15:00").await;
    let quick = [("08:50", 160.0), ("09:20", 129.0), ("10:30", 79.0), ("14:50", 39.0)];
    cook.day.logger(&cook.load, &cook.racks[0], &quick).await;
    let now = cook.now().await;
    assert_eq!(part(&now["racks"], "rack", &cook.racks[1])["chills"][0]["verdict"], "PASS");
    // What a house's probe shows after the pull tells nothing of the chill.
    let idle = cook.block("09:00", &[(0, "170.0"), (7200, "100.0")]);
    cook.send(&idle).await.ok();
    let now = cook.now().await;
    assert_eq!(part(&now["racks"], "rack", &cook.racks[1])["chills"][0]["verdict"], "PASS");
    let mut slow = cook.block("08:50", &[(0, "160.0")]);
    let minutes = (0..=240).map(|m| json!({ "tS": m * 60, "value": 160.0 - f64::from(m) / 2.0 }));
    slow["samples"] = minutes.collect();
    slow["source"] = json!("logger");
    slow["probe"] = json!("L-8");
    slow["lot"] = json!(cook.racks[1]);
    let sent = cook.send(&slow).await.ok();
    assert!(sent["reasons"].to_string().contains("CCP-2: FAIL"), "{sent}");
    let open = cook.day.get("dana", "/v1/deviations?open=true").await.ok();
    assert_eq!(length(&open["deviations"][0]["lots"]), 2);
    for rack in &cook.racks {
        cook.day.until(&format!("/v1/lots/{rack}"), |lot| lot["holds"].is_array()).await;
    }
    let listed = cook.day.get("dana", &format!("/v1/loads?lot={}", cook.racks[0])).await.ok();
    assert_eq!(length(&listed["loads"]), 1);
    cook.close().await;
}

#[tokio::test]
async fn loads_are_refused_by_the_field() {
    let mut cook = Cook::of(ROPE, 1).await;
    cook.day.at("06:00").await;
    let body = |change: &dyn Fn(&mut Value)| {
        let mut body = json!({
            "id": id(), "house": cook.day.place("House 1"), "racks": cook.racks,
            "observedAt": t("05:50"),
            "probes": [{ "probe": "P1", "seat": "rack", "lot": cook.racks[0] }],
        });
        change(&mut body);
        body
    };
    let other = id();
    let cases: [(&str, Value); 6] = [
        ("house", body(&|b| b["house"] = json!(cook.day.place("Mixer 1")))),
        ("house", body(&|b| b["house"] = json!(other))),
        ("probes[0].lot", body(&|b| b["probes"][0]["lot"] = json!(other))),
        ("probes[0].lot", body(&|b| b["probes"][0]["seat"] = json!("air"))),
        ("probes[0].lot", body(&|b| b["probes"][0]["lot"] = json!(""))),
        (
            "racks[0]",
            body(&|b| {
                b["racks"] = json!([other]);
                b["probes"] = json!([]);
            }),
        ),
    ];
    for (field, body) in cases {
        let answer = cook.day.post("marcus", "/v1/loads", &body).await.expect(400);
        assert_eq!(answer.fields(), [field], "{}", answer.text);
    }
    let answer = cook.day.post("marcus", "/v1/loads", &body(&|_| ())).await.expect(409);
    assert!(answer.text.contains("RACK_IN_A_LOAD"), "{}", answer.text);
    cook.close().await;
}
