//! The demo: an invented plant that `hankbook demo` works by REST, up to the middle of a morning.
//! It never looks at how that is done: what it leaves behind is asked of the plant.

use std::process::{Command, Output, Stdio};

use harness::client::length;
use harness::embedded::open_folder;
use harness::pages::{self, somebody};
use harness::shared::program;
use harness::{Client, Options, Plant};
use serde_json::Value;

use crate::pages::visitor::Visitor;
use crate::path::crew::{PASSWORD, Person, printed_password, sign_in};
use crate::path::ledger::{self, Place};
use crate::walk::{at_the_demo, typed};

/// When the demo's week ends here, a Wednesday; in the zone of UTC it is 10:40 then.
const ENDS: &str = "2026-11-25T10:40:00Z";
/// Before it begins.
const BEFORE: &str = "2026-11-18T00:00:00Z";

/// A plant in which the demo was worked.
struct Demo {
    plant: Plant,
    dana: Client,
}

/// Days before the last: 1, or what DEMO_DAYS says; with 4 it is the whole week.
fn days() -> usize {
    std::env::var("DEMO_DAYS").ok().and_then(|days| days.parse().ok()).unwrap_or(1)
}

fn demo() -> Command {
    let mut command = Command::new(program("hankbook-under-test"));
    command.arg("demo").stdin(Stdio::null()).env_remove("DATABASE_URL");
    command.args(["--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"]);
    command
}

async fn said(mut command: Command) -> (Output, String) {
    let ran = tokio::task::spawn_blocking(move || command.output()).await.expect("it runs");
    let output = ran.expect("it starts");
    let text = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    let text = String::from_utf8_lossy(&text).into_owned();
    (output, text)
}

impl Demo {
    /// Works the demo of a seed in a fresh simulated plant.
    async fn of(seed: u64, days: usize) -> Self {
        let clock = BEFORE.parse().ok();
        let plant = Plant::start_with(Options { clock, ..Options::default() }).await;
        let mut command = demo();
        command.args(["--join", &plant.http, "--ends-at", ENDS]);
        command.args(["--seed", &seed.to_string(), "--days", &days.to_string()]);
        command.env("HANKBOOK_DEMO_PASSWORD", printed_password(&plant));
        let (output, text) = said(command).await;
        assert!(output.status.success(), "{text}");
        let anybody = plant.anybody();
        let session = sign_in(&anybody, "dana", PASSWORD, "").await.ok();
        let dana = Person::of(&anybody, session).client;
        Self { plant, dana }
    }

    async fn get(&self, path: &str) -> Value {
        self.dana.get(path).await.ok()
    }

    /// Every row of a list.
    async fn all(&self, path: &str, name: &str) -> Vec<Value> {
        let (mut rows, mut token) = (Vec::new(), String::new());
        loop {
            let page = self.get(&format!("{path}?pageSize=1000&pageToken={token}")).await;
            rows.extend(page[name].as_array().cloned().unwrap_or_default());
            page["nextPageToken"].as_str().unwrap_or_default().clone_into(&mut token);
            if token.is_empty() {
                return rows;
            }
        }
    }

    /// Code, kind, material and mass of every lot.
    async fn lots(&self) -> Vec<[String; 4]> {
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let lots = self.all("/v1/lots", "lots").await;
        let told = |lot: &Value| {
            [&lot["code"], &lot["kind"], &lot["material"], &lot["mass"]["value"]]
                .map(|value| if value.is_string() { text(value) } else { value.to_string() })
        };
        lots.iter().map(told).collect()
    }

    /// Every load as it is judged now.
    async fn loads(&self) -> Vec<Value> {
        let mut loads = Vec::new();
        for load in self.all("/v1/loads", "loads").await {
            let id = load["load"].as_str().expect("an id").to_owned();
            loads.push(self.get(&format!("/v1/loads/{id}")).await);
        }
        loads
    }

    async fn close(self) {
        let url = self.plant.database.url.clone();
        ledger::nothing_owed(&self.plant.database.connect().await).await;
        ledger::assert_replayed(Place::Database(&url)).await;
        self.plant.stop().await;
    }
}

fn rows(list: &Value) -> impl Iterator<Item = &Value> {
    list.as_array().into_iter().flatten()
}

fn racks(load: &Value) -> &[Value] {
    load["racks"].as_array().map_or(&[], Vec::as_slice)
}

/// What a stranger finds: the counts of the days worked, and a morning in the middle of its work.
#[tokio::test(flavor = "multi_thread")]
async fn the_demo_leaves_a_plant_in_the_middle_of_a_morning() {
    let days = days();
    let demo = Demo::of(7, days).await;
    let settings = demo.get("/v1/plant/settings").await;
    assert_eq!(settings["establishmentName"], "Quarry Lane Provisions");
    assert_eq!((&settings["isSimulated"], &settings["zone"]), (&true.into(), &"Etc/GMT".into()));
    let lots = demo.lots().await;
    let of = |kind: &str| lots.iter().filter(|lot| lot[1] == kind).count();
    // Days before the last, and what is then there.
    let counts = match days {
        4 => Some((60, 41, 41)),
        1 => Some((30, 14, 14)),
        _ => None,
    };
    if let Some(counts) = counts {
        assert_eq!((of("received"), of("batch"), of("kit")), counts);
    }
    in_the_middle_of_its_work(&demo).await;
    lists_tell_what_each_tells(&demo, &lots).await;
    every_page_is_shown(&demo, days).await;
    the_walk_of_the_front_page(&demo, days);
    if days == 4 {
        a_whole_week(&demo, &lots).await;
    }
    demo.close().await;
}

/// A load in its house, a chill that runs, one reading due and one overdue, something to decide.
async fn in_the_middle_of_its_work(demo: &Demo) {
    let loads = demo.loads().await;
    let is_in = |rack: &Value| rack["pulledAt"] == "";
    let in_house: Vec<&Value> = loads.iter().filter(|load| racks(load).iter().any(is_in)).collect();
    assert!(!in_house.is_empty(), "a load is in its house");
    let shown = in_house.iter().flat_map(|load| load["probes"].as_array().into_iter().flatten());
    let shown: Vec<&str> = shown.filter_map(|probe| probe["lastAt"].as_str()).collect();
    assert!(shown.contains(&ENDS), "houses have sent up to now: {shown:?}");
    let most = loads.iter().map(|load| length(&load["products"])).max();
    assert!(most >= Some(3), "a house is loaded with several products");
    let all = loads.iter().flat_map(racks);
    let chills: Vec<&Value> =
        all.flat_map(|rack| rack["chills"].as_array().into_iter().flatten()).collect();
    assert!(chills.iter().any(|chill| chill["verdict"] == "UNDETERMINED"), "a chill runs");
    assert!(chills.iter().any(|chill| chill["verdict"] == "PASS"), "others have ended");
    let due = chills.iter().filter_map(|chill| chill["readingDueAt"].as_str());
    assert!(due.filter(|due| !due.is_empty()).any(|due| due < ENDS), "a reading is overdue");
    let open = demo.get("/v1/deviations?open=true").await;
    assert_eq!(length(&open["deviations"]), 1, "{open}");
    assert_eq!(open["deviations"][0]["check"], "R-1");
    let holds = demo.all("/v1/holds", "holds").await;
    let standing = holds.iter().filter(|hold| hold["endedAt"] == "").count();
    assert!(standing >= 1, "{holds:?}");
}

/// What lists tell of many at once is what is told of each alone.
async fn lists_tell_what_each_tells(demo: &Demo, lots: &[[String; 4]]) {
    let listed = demo.get("/v1/loads?pageSize=100&judged=true").await;
    let each = demo.loads().await;
    assert_eq!(listed["loads"].as_array(), Some(&each));
    let newest = demo.get("/v1/loads?pageSize=2&judged=true&newestFirst=true").await;
    let last: Vec<Value> = each.iter().rev().take(2).cloned().collect();
    assert_eq!(newest["loads"].as_array(), Some(&last));
    let begun = each[1]["observedAt"].as_str().expect("an instant");
    let before = demo.get(&format!("/v1/loads?judged=true&begunBefore={begun}")).await;
    assert_eq!(before["loads"].as_array().map(Vec::as_slice), Some(&each[..1]));
    let rack = each[1]["racks"][0]["rack"].as_str().expect("a rack");
    let of_rack = demo.get(&format!("/v1/loads?judged=true&lots={rack}")).await;
    assert_eq!(of_rack["loads"][0], each[1]);

    let kinds = ["finished", "rework", "rack", "received"];
    for kind in kinds {
        let of_kind =
            demo.get(&format!("/v1/lots?pageSize=50&newestFirst=true&kinds={kind}")).await;
        let of_kind: Vec<&str> =
            rows(&of_kind["lots"]).filter_map(|lot| lot["lot"].as_str()).collect();
        let all = lots.iter().filter(|lot| lot[1] == kind).count();
        assert_eq!(of_kind.len(), all.min(50), "{kind}");
        if of_kind.is_empty() {
            continue;
        }
        let asked: Vec<String> = of_kind.iter().map(|lot| format!("lots={lot}")).collect();
        let listed = demo.get(&format!("/v1/clearances?{}", asked.join("&"))).await;
        let listed: Vec<&Value> = rows(&listed["clearances"]).collect();
        assert_eq!(listed.len(), of_kind.len());
        for (lot, listed) in of_kind.iter().zip(listed) {
            let alone = demo.get(&format!("/v1/lots/{lot}/clearance")).await;
            assert_eq!(*listed, alone, "{kind} {lot}");
        }
    }
}

/// Every page that the gateway has shows something of the plant.
async fn every_page_is_shown(demo: &Demo, days: usize) {
    let base = &demo.plant.http;
    let (dana, ines) = (somebody(base, "dana").await, somebody(base, "ines").await);
    let examples = pages::of_demo(&dana, &ines).await;
    let mut visitor = Visitor::signed_in(&demo.plant, "dana", PASSWORD).await;
    for page in gateway::PAGES {
        let of_page = examples.iter().filter(|example| example.page == page);
        let mut count = 0;
        for example in of_page {
            visitor.get(&example.path).await.expect(200);
            count += 1;
        }
        // Nothing has left yet after one day.
        let is_empty = page == "/shipments/{shipment}" && days == 1;
        assert!(count > 0 || is_empty, "{page} has no example in tests/harness/pages.rs");
    }
}

/// The front page's walk at the demo, as a newcomer types it.
fn the_walk_of_the_front_page(demo: &Demo, days: usize) {
    let output = typed(&at_the_demo(), &demo.plant);
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    let mut texts = vec![
        "41.8 [degF] is above the limit of at most 40 [degF].",
        "\"scope\":\"whole\"",
        "\"isReviewable\":false",
        "DEVIATION_OPEN",
        "records are proved.",
        "Growth of Salmonella",
    ];
    if days == 4 {
        texts.push("customerPhone");
    }
    for text in texts {
        assert!(said.contains(text), "{text} was not printed:\n{said}");
    }
}

/// What the whole week holds beyond its days.
async fn a_whole_week(demo: &Demo, lots: &[[String; 4]]) {
    let deviations = demo.all("/v1/deviations", "deviations").await;
    let mut ends: Vec<&str> =
        deviations.iter().filter_map(|one| one["disposition"].as_str()).collect();
    ends.sort_unstable();
    assert_eq!(ends, ["", "destroy", "recook", "release_with_support"]);
    assert_eq!(lots.iter().filter(|lot| lot[1] == "rework").count(), 1);
    let holds = demo.all("/v1/holds", "holds").await;
    let by_hand = |hold: &&Value| hold["deviation"] == "";
    let sampled =
        holds.iter().filter(by_hand).filter(|hold| hold["reason"] == "Sample result pending");
    assert_eq!(sampled.count(), 2);
    let shipments = demo.all("/v1/shipments", "shipments").await;
    assert!(shipments.iter().all(|one| one["isUnclear"] == false));
    let mut customers: Vec<String> =
        shipments.iter().map(|one| one["customerName"].to_string()).collect();
    customers.sort_unstable();
    customers.dedup();
    assert_eq!(customers.len(), 12);
    let recooked = deviations.iter().find(|one| one["disposition"] == "recook").expect("a recook");
    let rack = recooked["lots"][0].as_str().expect("a rack");
    let trace = demo.get(&format!("/v1/lots/{rack}/trace?direction=forward")).await;
    assert!(length(&trace["shipments"]) > 0, "what was cooked again has left");
}

/// One seed, one week: the same lots with the same codes and masses; another, other masses.
#[tokio::test(flavor = "multi_thread")]
async fn the_same_seed_makes_the_same_week() {
    let (one, same) = tokio::join!(Demo::of(11, 1), Demo::of(11, 1));
    let (first, second) = (one.lots().await, same.lots().await);
    assert!(first.len() > 100, "{}", first.len());
    assert_eq!(first, second);
    let masses = |lots: &[[String; 4]]| -> Vec<String> {
        lots.iter().filter(|lot| lot[1] == "received").map(|lot| lot[3].clone()).collect()
    };
    assert!(masses(&first).windows(2).any(|pair| pair[0] != pair[1]));
    one.plant.stop().await;
    same.plant.stop().await;
}

/// A real plant is never a demo, by its folder or by its database, and the other way round.
#[tokio::test(flavor = "multi_thread")]
async fn the_demo_never_enters_a_real_plant() {
    let folder = open_folder();
    let data = folder.path().join("plant");
    std::fs::create_dir_all(data.join("keys")).expect("a folder that is in use");
    let mut command = demo();
    command.arg("--data-dir").arg(&data);
    let (output, text) = said(command).await;
    assert!(!output.status.success() && text.contains("is not a demo's folder"), "{text}");
    assert_eq!(std::fs::read_dir(&data).expect("the folder").count(), 1, "nothing was added");

    let real = Plant::start_with(Options { clock: None, ..Options::default() }).await;
    let mut command = demo();
    command.arg("--data-dir").arg(folder.path().join("demo"));
    command.env("DATABASE_URL", &real.database.url);
    let (output, text) = said(command).await;
    assert!(!output.status.success() && text.contains("this plant's clock is real"), "{text}");
    let mut command = demo();
    command.args(["--join", &real.http]);
    command.env("HANKBOOK_DEMO_PASSWORD", printed_password(&real));
    let (output, text) = said(command).await;
    assert!(!output.status.success() && text.contains("real"), "{text}");
    let people = real.with_roles(&["MANAGER"]).get("/v1/people").await.ok();
    assert_eq!(length(&people["people"]), 1, "nobody was added: {people}");
    real.stop().await;
}
