//! What the five commonest tasks of a line supervisor take on the pages: touches and seconds.
//! It never asserts seconds: they are the machine's; touches are the page's own.

use serde_json::json;

use super::browser::{driven, pictures};
use super::busy::Busy;
use crate::gate::day::{id, t};

const R1: &[(&str, f64)] = &[("14:29", 138.5), ("15:20", 155.4), ("15:28", 157.0)];
const R2: &[(&str, f64)] = &[("14:29", 142.0), ("15:20", 156.1), ("15:28", 158.0)];

/// The most touches that a task may take.
const MOST: [(&str, u64); 5] = [
    ("sign in, and a reading that is met", 12),
    ("look what is due", 2),
    ("pull racks", 3),
    ("find a lot, and see whether it may ship", 3),
    ("a reading that fails, to its deviation", 11),
];

/// The load in the house reaches its limit, and the probe that slipped out is left out.
async fn reached(busy: &mut Busy) {
    let day = &mut busy.cooked.day;
    day.at("15:30").await;
    for (probe, points) in [("R1", R1), ("R2", R2)] {
        day.samples(&busy.load, probe, points).await;
    }
    let load = &busy.load;
    let out = json!({
        "id": id(), "probe": "R3", "leftOutFrom": t("13:30"), "reason": "It slipped out.",
    });
    let (subject, path) = (format!("load:{load}"), format!("/v1/loads/{load}/probes-left-out"));
    day.sign("marcus", ("Cooking/LeaveProbeOut", &subject), (&path, &out)).await.ok();
}

#[tokio::test]
async fn the_commonest_tasks_take_few_touches_and_an_open_page_moves() {
    let mut busy = Busy::play().await;
    reached(&mut busy).await;
    let day = &busy.cooked.day;
    let mut codes = serde_json::Map::new();
    let lots =
        [("batch", &busy.batch), ("meat", &busy.cooked.meat), ("finished", &busy.cooked.finished)];
    for (name, lot) in lots {
        let lot = day.get("dana", &format!("/v1/lots/{lot}")).await.ok();
        codes.insert(name.to_owned(), lot["code"].clone());
    }
    let given = json!({ "name": "marcus", "codes": codes });
    let found = driven("tasks.cjs", busy.cooked.plant(), given).await;
    let tasks = found["tasks"].as_array().expect("tasks");
    let mut table = String::from("| task | touches | keys typed | seconds | ends with |\n");
    table.push_str("|---|---|---|---|---|\n");
    for task in tasks {
        let seconds = task["seconds"].as_f64().unwrap_or_default();
        let ends = task["ends"].as_str().unwrap_or_default().replace('\n', " ");
        let (touches, keys) = (&task["touches"], &task["keys"]);
        let name = task["name"].as_str().unwrap_or_default();
        table.push_str(&format!("| {name} | {touches} | {keys} | {seconds:.1} | {ends} |\n"));
    }
    std::fs::create_dir_all(pictures()).expect("a folder");
    std::fs::write(pictures().join("tasks.md"), &table).expect("a table");
    for (name, most) in MOST {
        let task = tasks.iter().find(|task| task["name"] == name).expect(name);
        let touches = task["touches"].as_u64().expect("a number");
        assert!(touches <= most, "{name} takes {touches} touches:\n{table}");
    }
    let ends = |at: usize| tasks[at]["ends"].as_str().unwrap_or_default();
    assert!(ends(0).contains("met"), "{table}");
    assert!(ends(1).contains("overdue"), "{table}");
    assert!(ends(2).starts_with("0 of 2"), "{table}");
    assert!(ends(3).starts_with("Not reviewed"), "{table}");
    assert!(ends(4).contains("44.3"), "{table}");
    assert_eq!(found["moved"], true, "the open page showed it before it was read");
    busy.cooked.day.close().await;
}
