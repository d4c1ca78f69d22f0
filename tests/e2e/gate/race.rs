//! A shipment and a failing reading at once: one of two outcomes, never a third.
//! It never measures time.

use std::collections::BTreeSet;

use harness::Plant;
use harness::dock::{Dock, ROLES};
use harness::plant::START;
use harness::stock::Worker;

/// How often they race, unless RACES says otherwise: 500 take minutes.
const ROUNDS: usize = 100;
/// How many pallets are made ready at a time.
const AT_ONCE: usize = 25;

/// The dock of a plant, run by one person.
pub async fn dock(plant: &Plant) -> Dock {
    let at = START.parse().expect("an instant");
    Dock::open(Worker::new(&plant.http, plant.signer(), &ROLES, at)).await
}

#[tokio::test]
async fn a_shipment_and_a_failing_reading_end_in_one_of_two_ways() {
    let plant = Plant::start().await;
    let dock = dock(&plant).await;
    let rounds = std::env::var("RACES").ok().and_then(|text| text.parse().ok()).unwrap_or(ROUNDS);
    let (mut left, mut stayed) = (BTreeSet::new(), 0);
    let mut waiting = Vec::new();
    for round in 0..rounds {
        if waiting.is_empty() {
            waiting = dock.many_ready(AT_ONCE).await;
        }
        let ready = waiting.pop().expect("a pallet that is ready");
        // Neither is always first: the one that is asked first changes.
        let (lots, pallets) = ([ready.lot], [ready.pallet]);
        let (shipped, failed) = if round % 2 == 0 {
            tokio::join!(dock.ship(&pallets), dock.read(&lots, "41"))
        } else {
            let (failed, shipped) = tokio::join!(dock.read(&lots, "41"), dock.ship(&pallets));
            (shipped, failed)
        };
        let failed = failed.ok();
        assert_eq!(failed["verdict"], "FAIL");
        match shipped.status {
            200 => {
                left.insert(failed["deviation"].as_str().expect("a deviation").to_owned());
            }
            409 => stayed += 1,
            _ => panic!("{}", shipped.text),
        }
        // Whatever came first: from now on it does not leave.
        if shipped.status == 409 {
            dock.ship(&pallets).await.expect(409);
        }
    }
    assert_eq!(left.len() + stayed, rounds);
    println!("{} left before the reading failed, {stayed} stayed", left.len());
    // What had left is called back: one record a deviation.
    let records = dock.after_shipment(left.len()).await;
    let found: BTreeSet<String> = records["records"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|record| {
            let about = record["about"].as_str().unwrap_or_default();
            assert_eq!(record["customers"][0]["phone"], "555-0101");
            about.trim_start_matches("deviation:").to_owned()
        })
        .collect();
    assert_eq!(found, left);
    plant.stop().await;
}
