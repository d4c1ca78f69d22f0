//! A walk over the whole OpenAPI document by a tool that is not ours, as a signed-in person.
//! It never judges rules of the plant: only that nothing breaks and all that comes is documented.

use harness::Plant;
use tokio::process::Command;

use super::goods::Goods;
use super::grpc::python_tool;

/// Every role that a person can hold.
const ROLES: [&str; 10] = [
    "OPERATOR",
    "SUPERVISOR",
    "QA",
    "MANAGER",
    "DEVELOPER",
    "SANITATION",
    "MAINTENANCE",
    "DOCK",
    "INSPECTOR",
    "ADMINISTRATOR",
];

/// What is asked of every answer.
const CHECKS: &str = "not_a_server_error,status_code_conformance,content_type_conformance,\
    response_schema_conformance";

#[tokio::test(flavor = "multi_thread")]
async fn nothing_breaks_and_nothing_is_undocumented() {
    let plant = Plant::start().await;
    Goods::quickly(&plant).await;
    let person = plant.with_roles(&ROLES);
    let bearer = format!("Authorization: Bearer {}", person.token().expect("a token"));
    let folder = tempfile::tempdir().expect("a folder");
    let mut command = Command::new(python_tool("schemathesis"));
    command.current_dir(folder.path()).env("NO_COLOR", "1");
    command.args(["run", &format!("{}/openapi.json", plant.http)]);
    command.args(["--header", &bearer, "--checks", CHECKS, "--phases", "coverage,fuzzing"]);
    command.args(["--max-examples", "15", "--seed", "1", "--workers", "2", "--no-shrink"]);
    command.args(["--continue-on-failure", "--warnings", "off"]);
    // These two would end the walk itself: the clock's step ages its token.
    command.args(["--exclude-path", "/simulation/clock"]);
    command.args(["--exclude-path", "/v1/sessions/sign-out"]);
    let done = command.kill_on_drop(true).output().await.expect("schemathesis runs");
    let said = String::from_utf8_lossy(&done.stdout);
    let wrong = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}\n{wrong}\n{}", plant.log());
    eprintln!("{said}");
    assert!(said.contains("/v1/readings") || said.contains("passed"), "{said}");
    plant.stop().await;
}
