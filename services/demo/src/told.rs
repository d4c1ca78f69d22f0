//! What the demo says: where it is, who works there, what the week was.
//! It never shows a password of anything but a demo.

use std::path::Path;
use std::time::Duration;

use crate::client::ADMINISTRATOR;
use crate::tables::people::{PASSWORD, PEOPLE};
use crate::week::Week;

/// The week that was worked.
pub fn worked(week: &Week, took: Duration) {
    let counts = &week.counts;
    println!("Worked in {:.1} s by {} calls of REST:", took.as_secs_f64(), week.plant.calls);
    println!(
        "  {} receivings, {} batches, {} loads, {} cases, {} shipments",
        counts.receivings, counts.batches, counts.loads, counts.cases, counts.shipments
    );
    println!("  {} deviations, {} shipments refused and mended", counts.deviations, counts.refused);
    if let Some(calendar) = &week.calendar {
        let now = calendar.wall(week.plant.now);
        println!("  The plant's clock stands at {now} in its zone, {}.", calendar.zone_name());
    }
}

/// Where the plant is open, and for whom.
pub fn open(http: &str, folder: &Path) {
    println!("Quarry Lane Provisions, establishment 00000: a demo, nothing here is real food.");
    println!("  pages     {http}/");
    println!("  REST      {http}");
    println!("  folder    {}", folder.display());
    println!("  password  {PASSWORD}   (of everybody)");
    println!("  {:9} administrator", ADMINISTRATOR);
    for person in &PEOPLE {
        println!("  {:9} {}, {}", person.sign_in, person.name, person.job);
    }
}
