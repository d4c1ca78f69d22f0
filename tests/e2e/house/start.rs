//! Starts: from an empty folder, twice on one folder, on a busy port, on a newer schema.
//! Each refusal is one clear line, and nothing is damaged by it.

use platform::records::new_id;
use std::fs;
use std::net::TcpListener;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

use harness::embedded::{open_folder, serve};
use harness::shared::{Database, program};
use harness::{Client, Embedded, Options, Plant};
use serde_json::json;

fn said(output: &Output) -> String {
    let text = String::from_utf8_lossy(&output.stderr);
    text.lines().filter(|line| line.starts_with("hankbook: ")).collect()
}

/// The embedded house: its own Postgres from an empty folder, an entry, a crash, a start again.
#[tokio::test(flavor = "multi_thread")]
async fn an_empty_folder_becomes_a_plant_that_survives_a_crash() {
    let folder = open_folder();
    let data = folder.path().join("plant");
    let mut first = Embedded::start(&data);
    let manager = first.with_roles(&["MANAGER"]);
    let body = json!({ "id": new_id().to_string(), "name": "Dock", "kind": "dock" });
    let made = manager.post("/v1/places", &body).await.ok();
    let second = serve(&data, "127.0.0.1:0").output().expect("a second start");
    assert!(!second.status.success());
    assert!(said(&second).contains(&first.process.id().to_string()), "{}", said(&second));
    let busy = replay(&data);
    assert!(said(&busy).contains(&first.process.id().to_string()), "{}", said(&busy));
    assert_eq!(manager.get("/readyz").await.status, 200, "the first runs on");
    first.process.kill().expect("a crash");
    first.process.wait().expect("its end");
    let mut again = Embedded::start(&data);
    let path = format!("/v1/places/{}", made["place"].as_str().expect("an id"));
    assert_eq!(again.with_roles(&["MANAGER"]).get(&path).await.ok(), made);
    again.stop();
    let left = data.join("postgres/data/postmaster.pid");
    assert!(!left.exists(), "Postgres was stopped too");
    let checked = replay(&data);
    assert!(checked.status.success(), "{}", String::from_utf8_lossy(&checked.stdout));
    assert!(!left.exists(), "the check stopped what it started");
}

/// `hankbook check replay` on a data folder.
fn replay(data: &Path) -> Output {
    let mut command = Command::new(program("hankbook-under-test"));
    command.args(["check", "replay", "--data-dir"]).arg(data).env_remove("DATABASE_URL");
    command.output().expect("the check runs")
}

#[test]
fn a_check_makes_no_plant_where_there_is_none() {
    let folder = open_folder();
    let data = folder.path().join("plant");
    let refused = replay(&data);
    assert_eq!(refused.status.code(), Some(1));
    assert!(said(&refused).contains("there is no plant in"), "{}", said(&refused));
    assert!(!data.exists(), "the folder was made");
}

#[test]
fn a_busy_port_is_named_before_anything_is_touched() {
    let folder = open_folder();
    let busy = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = busy.local_addr().expect("its address").to_string();
    let refused = serve(&folder.path().join("plant"), &address).output().expect("a start");
    assert!(!refused.status.success());
    assert!(said(&refused).contains(&address), "{}", said(&refused));
    assert!(!folder.path().join("plant").exists(), "the folder was touched");
}

#[test]
fn other_addresses_than_loopback_are_refused() {
    let folder = open_folder();
    let refused = serve(&folder.path().join("plant"), "0.0.0.0:0").output().expect("a start");
    assert!(said(&refused).contains("loopback"), "{}", said(&refused));
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let folder = open_folder();
    let file = folder.path().join("file");
    fs::write(&file, "not a folder").expect("a file");
    let refused = serve(&file.join("plant"), "127.0.0.1:0").output().expect("a start");
    assert!(said(&refused).contains("file"), "{}", said(&refused));
    assert_eq!(fs::read_to_string(&file).expect("the file"), "not a folder");
}

#[test]
fn a_data_folder_of_another_postgres_version_is_refused_unharmed() {
    let folder = open_folder();
    let data = folder.path().join("plant");
    let mut house = Embedded::start(&data);
    house.stop();
    let version = data.join("postgres/data/PG_VERSION");
    fs::write(&version, "11\n").expect("another version");
    let refused = serve(&data, "127.0.0.1:0").output().expect("a start");
    assert!(!refused.status.success());
    assert!(said(&refused).contains("11"), "{}", said(&refused));
    fs::write(&version, "15\n").expect("the true version");
    Embedded::start(&data).stop();
}

#[tokio::test]
async fn a_binary_older_than_the_schema_stands_back() {
    let database = Database::cloned().await;
    let newer = "UPDATE house.release SET schema_number = 9001, oldest_binary = 9000";
    database.connect().await.batch_execute(newer).await.expect("a newer schema");
    let folder = open_folder();
    let mut command = serve(folder.path(), "127.0.0.1:0");
    let refused = command.env("DATABASE_URL", &database.url).output().expect("a start");
    assert!(!refused.status.success());
    assert!(said(&refused).contains("9000"), "{}", said(&refused));
    database.remove().await;
}

#[tokio::test]
async fn a_real_plant_takes_no_simulated_clock() {
    let plant = Plant::start_with(Options { clock: None, ..Options::default() }).await;
    let folder = open_folder();
    let mut command = serve(folder.path(), "127.0.0.1:0");
    command.args(["--simulated-clock", harness::plant::START]);
    let refused = command.env("DATABASE_URL", &plant.database.url).output().expect("a start");
    assert!(said(&refused).contains("real"), "{}", said(&refused));
    plant.stop().await;
}

#[tokio::test]
async fn readiness_tells_the_truth_when_postgres_stops() {
    let folder = open_folder();
    let data = folder.path().join("plant");
    let mut house = Embedded::start(&data);
    let client = Client::new(&house.http, None);
    assert_eq!(client.get("/readyz").await.status, 200);
    let postmaster = house.postmaster().expect("Postgres runs");
    let pid = postmaster.as_raw();
    // Stopped, not ended: the watcher has nothing to restart, and no answer comes.
    nix::sys::signal::kill(postmaster, nix::sys::signal::Signal::SIGSTOP).expect("it lives");
    for backend in backends(pid) {
        nix::sys::signal::kill(backend, nix::sys::signal::Signal::SIGSTOP).ok();
    }
    assert_eq!(client.get("/readyz").await.expect(503).problem(), "unavailable");
    for backend in backends(pid) {
        nix::sys::signal::kill(backend, nix::sys::signal::Signal::SIGCONT).ok();
    }
    nix::sys::signal::kill(postmaster, nix::sys::signal::Signal::SIGKILL).expect("it lives");
    let mut tries = 0;
    while client.get("/readyz").await.status != 200 {
        tries += 1;
        assert!(tries < 150, "Postgres was not started again");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    house.stop();
}

/// The server processes of a postmaster.
fn backends(postmaster: i32) -> Vec<nix::unistd::Pid> {
    let children = fs::read_to_string(format!("/proc/{postmaster}/task/{postmaster}/children"));
    let children = children.unwrap_or_default();
    children
        .split_whitespace()
        .filter_map(|pid| pid.parse().ok())
        .map(nix::unistd::Pid::from_raw)
        .collect()
}
