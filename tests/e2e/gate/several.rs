//! Clearances of several lots at once. It never lets what is asked about one lot change what is
//! told of another.

use serde_json::{Value, json};

use super::day::{Day, id};
use super::goods::{self, ROPE};

fn is_silent(clearance: &Value) -> bool {
    let reasons = clearance["reasons"].as_array().into_iter().flatten();
    reasons.map(|reason| &reason["code"]).any(|code| code == "STATION_SILENT")
}

/// One meat is used early and late; the station that watches it is heard in between. Until the
/// later use it was silent, which is no concern of what was made before.
#[tokio::test]
async fn lots_told_together_are_told_as_each_alone() {
    let mut day = Day::open().await;
    day.at("05:00").await;
    let receiving = day.plan(&goods::receiving()).await;
    let meat = day.meat(&receiving, "400", "05:00").await;
    let product = day.product(ROPE).await;
    let station = id();
    let body = json!({
        "id": id(), "station": station, "stationName": "Tablet 3", "place": day.place("Receiving"),
    });
    day.post("walt", "/v1/station-places", &body).await.ok();
    day.at("05:20").await;
    let early = day.mix(&product, &meat, "60", "05:10").await;
    day.at("06:00").await;
    let body = json!({ "id": id(), "queued": 0 });
    day.post("ines", &format!("/v1/stations/{station}/heard"), &body).await.ok();
    day.at("12:30").await;
    let late = day.mix(&product, &meat, "60", "12:20").await;

    let lots = [&late, &early, &meat];
    let path = format!("/v1/clearances?lots={late}&lots={early}&lots={meat}");
    let listed = day.get("dana", &path).await.ok();
    let listed = listed["clearances"].as_array().expect("clearances");
    let silent: Vec<bool> = listed.iter().map(is_silent).collect();
    assert_eq!(silent, [true, false, false], "{listed:?}");
    for (lot, listed) in lots.into_iter().zip(listed) {
        let alone = day.get("dana", &format!("/v1/lots/{lot}/clearance")).await.ok();
        assert_eq!(*listed, alone);
    }
    let unknown = format!("/v1/clearances?lots={early}&lots={}", id());
    assert_eq!(day.get("dana", &unknown).await.status, 404);
    day.close().await;
}
