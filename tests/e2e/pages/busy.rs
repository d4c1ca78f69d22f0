//! An afternoon at the plant: a load in a house, a chill that is read by hand, a look that is
//! overdue, meat that came too warm. It never makes a record but by the plant's own doors.

use serde_json::json;

use super::cooked::{Cooked, making};
use crate::gate::day::{id, lb, t};
use crate::gate::goods::{Item, RING, ROPE};

/// The racks of the ring, slow and thick: still below 155 at half past two.
const R1: &[(&str, f64)] = &[("12:50", 41.0), ("13:40", 101.0), ("14:28", 138.3)];
const R2: &[(&str, f64)] = &[("12:50", 42.0), ("13:40", 104.0), ("14:28", 141.9)];
/// It slipped out of its link and shows the air.
const R3: &[(&str, f64)] = &[("12:50", 41.0), ("13:30", 96.0), ("14:28", 118.0)];
const AIR: &[(&str, f64)] = &[("12:50", 140.0), ("13:40", 165.0), ("14:28", 172.0)];
const C1: &[(&str, f64)] =
    &[("11:00", 40.0), ("12:00", 95.0), ("13:10", 128.0), ("14:00", 154.0), ("14:10", 157.0)];
const C_AIR: &[(&str, f64)] = &[("11:00", 140.0), ("12:30", 165.0), ("14:10", 175.0)];

/// The day of [`Cooked`], gone on.
pub struct Busy {
    pub cooked: Cooked,
    /// In House 1, with two racks in it.
    pub load: String,
    pub racks: Vec<String>,
    /// The batch of which those racks were hung.
    pub batch: String,
    /// Pulled from House 2 a while ago.
    pub pulled: String,
    pub chilling: String,
}

impl Busy {
    /// Plays it.
    pub async fn play() -> Self {
        let mut cooked = Cooked::play().await;
        cooked.day.thermometer("T-03", Some(("32.4", "05:10"))).await;
        cooked.day.thermometer("T-04", None).await;
        warm_meat(&cooked).await;
        let (load, racks, batch) = in_the_house(&mut cooked).await;
        let (pulled, chilling) = out_of_the_house(&mut cooked).await;
        Self { cooked, load, racks, batch, pulled, chilling }
    }
}

/// Meat that came too warm, on hold since.
async fn warm_meat(cooked: &Cooked) {
    let day = &cooked.day;
    let receiving = day.get("dana", &format!("/v1/lots/{}", cooked.meat)).await.ok();
    let plan = receiving["plan"].as_str().expect("a plan");
    let lot = id();
    let body = json!({
        "id": lot, "material": "Beef trim 80/20", "supplier": day.supplier,
        "supplierLot": "H-4415", "mass": lb("300"), "place": day.place("Receiving"),
        "plan": plan, "observedAt": t("13:05"),
    });
    day.post("ines", "/v1/lots", &body).await.ok();
    day.reading(&Item { plan, check: "R-1", lots: &[&lot] }, &["44.6", "39.8"], "13:08").await;
    day.until(&format!("/v1/lots/{lot}"), |lot| lot["holds"][0].is_object()).await;
}

/// Two racks of ring since 12:50; somebody must look every half hour and did so twice.
async fn in_the_house(cooked: &mut Cooked) -> (String, Vec<String>, String) {
    let meat = cooked.meat.clone();
    let day = &mut cooked.day;
    let product = day.product(RING).await;
    let inputs = [(meat.as_str(), "100")];
    let mix = making("batch", &product, (&inputs, &["100"]), ("Mixer 1", "11:30"));
    let batch = day.make("mix", &mix).await.remove(0);
    let at_mixer = Item { plan: &product.plan, check: "Q-1", lots: &[&batch] };
    day.reading(&at_mixer, &["36.4"], "11:40").await;
    let inputs = [(batch.as_str(), "96")];
    let hang = making("rack", &product, (&inputs, &["48", "48"]), ("House 1", "12:40"));
    let racks = day.make("rack", &hang).await;
    let seats = [("R1", racks[0].as_str()), ("R2", &racks[1]), ("R3", &racks[1]), ("DB", "air")];
    let load = day.load("House 1", &racks, &seats, "12:50").await;
    for (probe, points) in [("DB", AIR), ("R1", R1), ("R2", R2), ("R3", R3)] {
        day.samples(&load, probe, points).await;
    }
    let looked = [racks[0].as_str(), racks[1].as_str()];
    let look = Item { plan: &product.plan, check: "CCP-1", lots: &looked };
    for (value, at) in [("78.0", "13:18"), ("99.4", "13:46")] {
        day.reading(&look, &[value], at).await;
    }
    (load, racks, batch)
}

/// A rack of rope that was pulled at 14:10 and moved to the blast cell, read once by hand.
async fn out_of_the_house(cooked: &mut Cooked) -> (String, String) {
    let meat = cooked.meat.clone();
    let day = &mut cooked.day;
    let product = day.product(ROPE).await;
    let inputs = [(meat.as_str(), "60")];
    let mix = making("batch", &product, (&inputs, &["60"]), ("Mixer 1", "10:20"));
    let batch = day.make("mix", &mix).await.remove(0);
    let inputs = [(batch.as_str(), "60")];
    let hang = making("rack", &product, (&inputs, &["60"]), ("House 2", "10:50"));
    let rack = day.make("rack", &hang).await.remove(0);
    let seats = [("C1", rack.as_str()), ("DB", "air")];
    let load = day.load("House 2", std::slice::from_ref(&rack), &seats, "11:00").await;
    for (probe, points) in [("DB", C_AIR), ("C1", C1)] {
        day.samples(&load, probe, points).await;
    }
    let pull = day.pull_body(std::slice::from_ref(&rack), "14:10");
    day.post("marcus", &format!("/v1/loads/{load}/pulls"), &pull).await.ok();
    let body = json!({ "id": id(), "lots": [rack], "place": day.place("Blast cell"),
        "observedAt": t("14:13") });
    day.post("marcus", "/v1/transfers", &body).await.ok();
    let body = json!({
        "id": id(), "probe": "Hand", "source": "hand", "lot": rack, "unit": "[degF]",
        "begunAt": t("14:20"), "samples": [{ "tS": 0, "value": "144.2" }],
    });
    day.post("ines", &format!("/v1/loads/{load}/samples"), &body).await.ok();
    (load, rack)
}
