//! Chill by hand: bounds that prove nothing, and the logger that proves the failure.
//! It never takes the straight line between two hand readings for the truth.

use serde_json::{Value, json};

use super::day::{Day, id, t, word};
use super::goods::{Item, Making, PLAIN, part};

/// `T = 36 + 122.4 e^(-0.0083 t)` in [degF], t in minutes from 10:05, rounded to 0.1.
fn logged(minute: i32) -> String {
    format!("{:.1}", 36.0 + 122.4 * (-0.0083 * f64::from(minute)).exp())
}

fn samples(from: i32, to: i32) -> Vec<Value> {
    (from..=to).map(|m| json!({ "tS": m * 60, "value": logged(m) })).collect()
}

async fn by_hand(day: &Day, load: &str, rack: &str, (at, value): (&str, &str)) -> Value {
    let body = json!({
        "id": id(), "probe": "T-03", "source": "hand", "lot": rack, "unit": "[degF]",
        "begunAt": t(at), "samples": [{ "tS": 0, "value": value }],
    });
    day.post("ines", &format!("/v1/loads/{load}/samples"), &body).await.ok()
}

async fn chill_of(day: &Day, load: &str, rack: &str) -> Value {
    let load = day.get("dana", &format!("/v1/loads/{load}")).await.ok();
    part(&part(&load["racks"], "rack", rack)["chills"], "check", "CCP-2").clone()
}

fn limb(chill: &Value, at: usize) -> &Value {
    &chill["limbs"][at]
}

/// A load of six crowded racks whose cook has ended, chilled and read by hand.
struct Chill {
    load: String,
    racks: Vec<String>,
}

async fn chilled_by_hand(day: &mut Day) -> Chill {
    day.at("07:00").await;
    let receiving = day.plan(&super::goods::receiving()).await;
    let meat = day.meat(&receiving, "1000", "05:00").await;
    let product = day.product(PLAIN).await;
    let batch = day.mix(&product, &meat, "600", "06:00").await;
    let racks = day
        .make(
            "rack",
            &Making {
                of: "rack",
                product: &product,
                inputs: &[(&batch, "600")],
                masses: &["100"; 6],
                place: "House 1",
                at: "06:40",
            },
        )
        .await;
    let load = day.load("House 1", &racks, &[], "07:00").await;
    day.at("10:05").await;
    let all: Vec<&str> = racks.iter().map(String::as_str).collect();
    let cook = Item { plan: &product.plan, check: "CCP-1", lots: &all };
    assert_eq!(day.reading(&cook, &["158.4"], "10:05").await["verdict"], "PASS");
    let path = format!("/v1/loads/{load}/pulls");
    day.post("marcus", &path, &day.pull_body(&racks, "10:05")).await.ok();
    by_hand(day, &load, &racks[2], ("10:05", "158.4")).await;
    let moved = json!({ "id": id(), "lots": racks, "place": day.place("Blast cell"),
        "observedAt": t("10:05") });
    day.post("ines", "/v1/transfers", &moved).await.ok();

    for (at, value) in [("11:10", "107.4"), ("12:00", "83.1"), ("12:11", "79.0")] {
        day.at(at).await;
        by_hand(day, &load, &racks[2], (at, value)).await;
    }
    Chill { load, racks }
}

#[tokio::test]
async fn chill_by_hand_is_undetermined_and_the_logger_fails_it() {
    let mut day = Day::open().await;
    let chill = chilled_by_hand(&mut day).await;
    bounds_prove_nothing(&mut day, &chill).await;
    the_logger_decides(&mut day, &chill).await;
    all_racks_are_held(&day, &chill).await;
    the_second_limb_passes(&mut day, &chill).await;
    day.close().await;
}

/// Required 2: At least 50 min, at most 126 min: undetermined, and not releasable.
async fn bounds_prove_nothing(day: &mut Day, of: &Chill) {
    let Chill { load, racks } = of;
    day.at("12:20").await;
    let chill = chill_of(day, load, &racks[0]).await;
    assert_eq!(chill["verdict"], "UNDETERMINED");
    assert_eq!(limb(&chill, 0)["leastS"].to_string(), (50 * 60).to_string());
    assert_eq!(limb(&chill, 0)["mostS"].to_string(), (126 * 60).to_string());
    let clearance = day.get("dana", &format!("/v1/lots/{}/clearance", racks[0])).await.ok();
    assert_ne!(clearance["isReviewable"], true);
}

/// Required 3: The logger decides: 130.0 at 10:36:45, 80.0 at 12:08:15: 91.5 min, too long by 1.5
/// min.
async fn the_logger_decides(day: &mut Day, of: &Chill) {
    let Chill { load, racks } = of;
    day.at("14:00").await;
    let file = json!({
        "id": id(), "probe": "L-7", "source": "logger", "lot": racks[2], "unit": "[degF]",
        "begunAt": t("10:05"), "samples": samples(0, 235),
    });
    day.post("ines", &format!("/v1/loads/{load}/samples"), &file).await.ok();
    let chill = chill_of(day, load, &racks[0]).await;
    assert_eq!(chill["verdict"], "FAIL");
    assert_eq!(limb(&chill, 0)["mostS"].to_string(), "5490");
    assert_eq!(limb(&chill, 0)["verdict"], "FAIL");
    let why = chill["reasons"].to_string();
    assert!(why.contains("91.5") || why.contains("5490"), "{why}");
}

/// Required 4: The deviation opens with its lots, and all six racks are on hold at once.
async fn all_racks_are_held(day: &Day, of: &Chill) {
    let Chill { racks, .. } = of;
    let open = day.get("dana", "/v1/deviations?open=true").await.ok();
    let deviation = &open["deviations"][0];
    assert_eq!(deviation["lots"].as_array().map(Vec::len), Some(6));
    assert_eq!(deviation["check"], "CCP-2");
    for rack in racks {
        day.until(&format!("/v1/lots/{rack}"), |lot| lot["holds"].is_array()).await;
    }
    let path = format!("/v1/deviations/{}/close", word(&deviation["deviation"]));
    let subject = format!("deviation:{}", word(&deviation["deviation"]));
    let body = json!({ "id": id(), "disposition": "destroy", "dispositionText": "Destroyed." });
    let answer = day.sign("dana", ("Haccp/CloseDeviation", &subject), (&path, &body)).await;
    assert_eq!(answer.expect(400).fields(), ["cause", "control", "prevention"]);
}

/// The second limb passes: 287.75 min, of 300 by option 1 of FSIS Appendix B, 1999. 5. The hand
/// readings stay beside the logger.
async fn the_second_limb_passes(day: &mut Day, of: &Chill) {
    let Chill { load, racks } = of;
    day.at("17:00").await;
    let rest = json!({
        "id": id(), "probe": "L-7", "source": "logger", "lot": racks[2], "unit": "[degF]",
        "begunAt": t("10:05"), "samples": samples(235, 415),
    });
    day.post("ines", &format!("/v1/loads/{load}/samples"), &rest).await.ok();
    let chill = chill_of(day, load, &racks[0]).await;
    assert_eq!(limb(&chill, 1)["mostS"].to_string(), "17265");
    assert_eq!(limb(&chill, 1)["verdict"], "PASS");
    assert_eq!(chill["verdict"], "FAIL");

    let curves = day.get("dana", &format!("/v1/loads/{load}/curves")).await.ok();
    let text = curves.to_string();
    assert!(text.contains("\"T-03\"") && text.contains("\"L-7\"") && text.contains("83.1"));
}
