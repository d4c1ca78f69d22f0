//! The pages in a browser: whether everybody can use them, in both languages, at two sizes.
//! It keeps a picture of each; whether it is good to look at, a person says.

use std::path::{Path, PathBuf};
use std::process::Stdio;

use harness::Plant;
use harness::client::length;
use serde_json::{Value, json};
use tokio::process::Command;

use super::busy::Busy;
use super::scene::Scene;
use crate::path::crew::PASSWORD;

/// The most bytes of the first page with all that it loads, not even packed; and of any other,
/// packed.
const FIRST_MAX: u64 = 100_000;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Where the pictures are kept.
pub fn pictures() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("pages")
}

/// Looks at pages in both languages and at two sizes.
pub async fn look(plant: &Plant, name: &str, pages: Value) -> Value {
    let given = json!({ "name": name, "pages": pages, "languages": ["en", "es"] });
    driven("look.cjs", plant, given).await
}

/// Runs a script that drives the browser, and reads what it found.
pub async fn driven(script: &str, plant: &Plant, mut given: Value) -> Value {
    let tools = root().join("target/tools/browser");
    assert!(tools.exists(), "{} is missing: run tests/install first", tools.display());
    given["base"] = json!(plant.http);
    given["tools"] = json!(tools);
    given["out"] = json!(pictures());
    given["password"] = json!(PASSWORD);
    given["chromium"] = json!("/usr/bin/chromium");
    let script = root().join("tests/browser").join(script);
    let mut command = Command::new("node");
    command.arg(script).arg(given.to_string()).stdin(Stdio::null());
    let output = command.output().await.expect("node runs");
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{told}");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// Everything that somebody could stumble over.
pub fn faults(looked: &Value) -> Vec<String> {
    let mut faults = Vec::new();
    for one in looked.as_array().into_iter().flatten() {
        for result in one["results"].as_array().into_iter().flatten() {
            let at = format!("{} {} {}", result["page"], result["language"], result["size"]);
            let lists = ["faults", "small"].map(|name| result[name].as_array());
            for fault in lists.into_iter().flatten().flatten() {
                faults.push(format!("{at}: {fault}"));
            }
            if result["wide"] != 0 {
                faults.push(format!("{at}: {} pixels spill sideways", result["wide"]));
            }
            if result["packed"].as_u64().is_none_or(|bytes| bytes > FIRST_MAX) {
                faults.push(format!("{at}: it weighs {} bytes, packed", result["packed"]));
            }
            if result["lang"] != result["language"] {
                faults.push(format!("{at}: it says that it is {}", result["lang"]));
            }
        }
        for noise in one["noise"].as_array().into_iter().flatten() {
            faults.push(format!("the browser complains: {noise}"));
        }
        if one["firstBytes"].as_u64().is_none_or(|bytes| bytes == 0 || bytes > FIRST_MAX) {
            faults.push(format!("the first page weighs {} bytes", one["firstBytes"]));
        }
    }
    faults
}

#[tokio::test]
async fn everybody_can_use_every_page() {
    let scene = Scene::play().await;
    let weighing = json!({
        "id": platform::records::new_id(), "lots": [scene.open.lot], "stage": "received",
        "gross": "1238.5", "tare": "38", "unit": "[lb_av]", "observedAt": harness::plant::START,
    });
    let weighing = scene.crew.operator.client.post("/v1/weighings", &weighing).await.ok();
    let weighing = weighing["weighing"].as_str().expect("an id");
    let pages = json!([
        { "name": "weigh", "path": "/weigh" },
        { "name": "weigh-lot", "path": format!("/weigh/{}", scene.open.lot) },
        { "name": "weighing", "path": format!("/weighings/{weighing}") },
        { "name": "today", "path": "/" },
        { "name": "lots", "path": "/lots" },
        { "name": "no-lot", "path": "/lots?code=NONE" },
        { "name": "file-closed", "path": format!("/lots/{}", scene.closed.lot), "print": true },
        { "name": "trace-held", "path": format!("/lots/{}/trace", scene.open.lot) },
        { "name": "file-open", "path": format!("/lots/{}", scene.open.lot) },
        { "name": "reading-lot", "path": "/reading" },
        { "name": "reading-check", "path": format!("/reading/{}", scene.open.lot) },
        { "name": "reading-entry", "path": format!("/reading/{}/CCP-1", scene.open.lot) },
        { "name": "reading-met", "path": format!("/readings/{}", scene.met) },
        { "name": "reading-failed", "path": format!("/readings/{}", scene.failed) },
        { "name": "open-items", "path": "/open-items" },
        { "name": "deviations", "path": "/deviations?show=all" },
        { "name": "deviation", "path": format!("/deviations/{}", scene.deviation) },
        { "name": "holds", "path": "/holds" },
        { "name": "hold", "path": format!("/holds/{}", scene.hold) },
        { "name": "review", "path": "/review" },
        { "name": "shipment-check", "path": "/shipment-check" },
        { "name": "people", "path": "/people" },
        { "name": "person", "path": format!("/people/{}", scene.crew.operator.id) },
        { "name": "password", "path": "/password" },
    ]);
    let asked = length(&pages);
    let looked = look(&scene.crew.plant, "q.ames", pages).await;
    let faults = faults(&looked);
    assert!(faults.is_empty(), "{} found:\n  {}", faults.len(), faults.join("\n  "));
    // Two languages, each page at two sizes; the sign-in page comes first.
    assert_eq!(length(&looked), 2);
    assert_eq!(length(&looked[0]["results"]), 2 * (asked + 1));
    let administers = json!([
        { "name": "people-changed", "path": "/people" },
        { "name": "person-new", "path": "/people/new" },
        { "name": "person-changed", "path": format!("/people/{}", scene.crew.operator.id) },
    ]);
    let seen = look(&scene.crew.plant, "administrator", administers).await;
    let faults = self::faults(&seen);
    assert!(faults.is_empty(), "{} found:\n  {}", faults.len(), faults.join("\n  "));
    let cookie = &looked[0]["cookies"][0];
    assert_eq!((&cookie["secure"], &cookie["httpOnly"]), (&json!(true), &json!(true)));
    scene.crew.plant.stop().await;
}

#[tokio::test]
async fn everybody_can_read_a_lot_with_its_curves() {
    let busy = Busy::play().await;
    let cooked = &busy.cooked;
    let check = format!("/shipment-check?pallets={}", cooked.pallet);
    let load = format!("/loads/{}", busy.load);
    let chill = format!("/loads/{}/chills/{}", busy.pulled, busy.chilling);
    let pages = json!([
        { "name": "day", "path": "/", "print": true },
        { "name": "load", "path": load },
        { "name": "reading-with", "path": format!("/reading/{}/Q-1", busy.batch) },
        { "name": "load-pulled", "path": format!("/loads/{}", busy.pulled) },
        { "name": "chill", "path": chill },
        { "name": "trace", "path": format!("/lots/{}/trace", cooked.finished), "print": true },
        { "name": "trace-meat", "path": format!("/lots/{}/trace", cooked.meat) },
        { "name": "file-finished", "path": format!("/lots/{}", cooked.finished), "print": true },
        { "name": "review-ready", "path": "/review" },
        { "name": "shipment-refused", "path": check },
        { "name": "open-items-cooked", "path": "/open-items" },
    ]);
    let looked = look(cooked.plant(), "dana", pages).await;
    let faults = faults(&looked);
    assert!(faults.is_empty(), "{} found:\n  {}", faults.len(), faults.join("\n  "));
    busy.cooked.day.close().await;
}
