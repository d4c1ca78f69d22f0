//! The key steps by a gRPC client that is not ours: Python, with nothing but reflection.
//! It never gives that client a generated file: what it knows, the server told it.

use std::path::{Path, PathBuf};
use std::process::Stdio;

use harness::plant::START;
use serde_json::{Value, json};
use tokio::io::AsyncWriteExt as _;
use tokio::process::Command;

use super::crew::{Crew, PASSWORD};
use super::{goods, ledger};

/// A program of the folder that `tests/install` makes; without it the test fails.
pub fn python_tool(name: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let tool = root.join("target/tools/python/bin").join(name);
    assert!(tool.exists(), "{} is missing: run tests/install first", tool.display());
    tool
}

/// Runs the client on its input; gives what it saw. With `calls` it makes just those.
pub async fn run(given: &Value) -> Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("e2e/path/client.py");
    let mut command = Command::new(python_tool("python"));
    command.arg("-B").arg(script).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut client = command.stderr(Stdio::piped()).spawn().expect("Python starts");
    let mut input = client.stdin.take().expect("its input");
    input.write_all(given.to_string().as_bytes()).await.expect("it reads");
    drop(input);
    let done = client.wait_with_output().await.expect("its end");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&done.stdout).expect("JSON")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_client_that_knows_reflection_alone_walks_the_path() {
    let crew = Crew::start().await;
    let address = crew.plant.grpc.trim_start_matches("http://");
    let seen = run(&json!({
        "address": address, "password": PASSWORD, "at": START,
        "content": goods::plan_body()["content"],
        "people": { "qa": "q.ames", "operator": "o.dean", "manager": "m.cole" },
    }))
    .await;
    reflection(&seen);
    path(&seen);
    refusals(&seen);
    // Both doors show the same lot, each in its own JSON: proto3's keeps decimals as texts.
    let lot = seen["lot"]["lot"].as_str().expect("an id");
    let by_rest = crew.operator.client.get(&format!("/v1/lots/{lot}")).await.ok();
    for name in ["code", "material", "supplierName", "supplierLot", "plan", "day"] {
        assert_eq!(by_rest[name], seen["free"][name], "{name}");
    }
    assert_eq!(by_rest["onHandG"].to_string(), seen["free"]["onHandG"].as_str().expect("a text"));
    ledger::assert_whole(&crew.plant.database.connect().await).await;
    crew.plant.stop().await;
}

fn reflection(seen: &Value) {
    let services = seen["services"].as_array().expect("services");
    for name in ["Calculations", "Genealogy", "Haccp", "Identity"] {
        assert!(services.contains(&json!(format!("hankbook.v1.{name}"))), "{services:?}");
    }
    assert!(!seen["services"].to_string().contains("internal"), "{services:?}");
}

fn path(seen: &Value) {
    assert_eq!((&seen["plan"]["version"], &seen["lot"]["planVersion"]), (&json!(1), &json!(1)));
    assert_eq!(seen["lot"]["onHandG"], "500000");
    assert_eq!(seen["met"]["verdict"], "VERDICT_PASS");
    assert_eq!(seen["met"]["readings"], json!(["39.50"]), "digits stay as they were read");
    assert_eq!(seen["met_again"], seen["met"]);
    assert_eq!(seen["failed"]["verdict"], "VERDICT_FAIL");
    assert_eq!(seen["held"]["holds"][0]["deviation"], seen["failed"]["deviation"]);
    assert_eq!(seen["amended"]["supersedes"], seen["failed"]["reading"]);
    assert_eq!(seen["shown"]["verdict"], "VERDICT_FAIL", "the original stays");
    assert_eq!(seen["shown"]["amendments"][0]["reading"], seen["amended"]["reading"]);
    assert_eq!(seen["closed"]["closedByName"], "Quinn Ames");
    assert_eq!(seen["free"]["holds"], Value::Null, "no hold is left");
}

fn refusals(seen: &Value) {
    for (name, code) in [
        ("draft_without_condition", "FAILED_PRECONDITION"),
        ("unsigned", "PERMISSION_DENIED"),
        ("nobody", "UNAUTHENTICATED"),
        ("wrong_role", "PERMISSION_DENIED"),
        ("other_content", "ALREADY_EXISTS"),
        ("wrong_disposition", "FAILED_PRECONDITION"),
    ] {
        assert_eq!(seen[name]["code"], code, "{name}: {}", seen[name]);
    }
    let reasons = &seen["wrong_disposition"]["reasons"];
    assert_eq!(reasons, &json!(["DISPOSITION_DOES_NOT_ANSWER"]));
}
