//! A walk over the whole OpenAPI document by a tool that is not ours, as a signed-in person.
//! It never judges rules of the plant: only that nothing breaks and all that comes is documented.

use harness::Plant;
use tokio::process::Command;
use wire::contract::operations;

use super::goods::Goods;
use super::grpc::python_tool;
use super::ledger::{self, Place};

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

/// Operations that would end the walk itself (the clock's step ages its token) or have no end: the
/// tool waits ten seconds at each stream of events.
const LEFT_OUT: [&str; 3] = ["/simulation/clock", "/v1/sessions/sign-out", "/v1/log"];

/// The walk is shared by two processes, for the tool's own threads break Python 3.11's parser now
/// and then: <https://github.com/python/cpython/issues/106905>.
const SHARES: [&str; 2] = ["--include-path-regex", "--exclude-path-regex"];
/// The paths of the first share; the other has all the rest.
const FIRST_SHARE: &str = "^/v1/[a-k]";

#[tokio::test(flavor = "multi_thread")]
async fn nothing_breaks_and_nothing_is_undocumented() {
    let plant = Plant::start().await;
    Goods::quickly(&plant).await;
    let database = plant.database.connect().await;
    let before = ledger::assert_whole(&database).await;
    let person = plant.with_roles(&ROLES);
    let bearer = format!("Authorization: Bearer {}", person.token().expect("a token"));
    let walked = SHARES.map(|share| walk(&plant, &bearer, share));
    let walked = futures_util::future::join_all(walked).await;
    let selected: usize = walked.iter().map(|[selected, _]| selected).sum();
    let [_, total] = walked[0];
    assert_eq!(selected, total - LEFT_OUT.len(), "{walked:?}");
    let public = operations().iter().filter(|found| found.http.is_some()).count();
    assert!(total >= public, "the contract has {public} operations: {walked:?}");
    // What the walk could write, it wrote whole.
    assert!(ledger::assert_whole(&database).await > before, "it wrote nothing");
    ledger::nothing_owed(&database).await;
    ledger::assert_replayed(Place::Database(&plant.database.url)).await;
    plant.stop().await;
}

/// Walks over one share: how many operations it had of how many there are.
async fn walk(plant: &Plant, bearer: &str, share: &str) -> [usize; 2] {
    let folder = tempfile::tempdir().expect("a folder");
    let mut command = Command::new(python_tool("schemathesis"));
    command.current_dir(folder.path()).env("NO_COLOR", "1");
    command.args(["run", &format!("{}/openapi.json", plant.http), share, FIRST_SHARE]);
    command.args(["--header", bearer, "--checks", CHECKS, "--phases", "coverage,fuzzing"]);
    command.args(["--max-examples", "8", "--seed", "1", "--workers", "1", "--no-shrink"]);
    command.args(["--continue-on-failure", "--warnings", "off"]);
    for path in LEFT_OUT {
        command.args(["--exclude-path", path]);
    }
    let done = command.kill_on_drop(true).output().await.expect("schemathesis runs");
    let said = String::from_utf8_lossy(&done.stdout);
    let wrong = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}\n{wrong}\n{}", plant.log());
    operations_of(&said).unwrap_or_else(|| panic!("no count of operations:\n{said}"))
}

/// The numbers of `Operations: 56 selected / 58 total`.
fn operations_of(said: &str) -> Option<[usize; 2]> {
    let line = said.lines().find(|line| line.contains(" selected / "))?;
    let (selected, total) = line.split_once(" selected / ")?;
    let selected = selected.split_whitespace().last()?.parse().ok()?;
    Some([selected, total.split_whitespace().next()?.parse().ok()?])
}
