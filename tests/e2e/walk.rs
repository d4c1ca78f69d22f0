//! The commands of README and docs, run as a newcomer would type them, in the order of the page.
//! A command that stands on a page and is not run here fails the test.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use harness::shared::program;
use harness::{Options, Plant};
use jiff::civil::Date;
use platform::records::new_id;
use serde_json::json;

/// Blocks that begin so are what builds and runs this test itself, or need what a test has not.
const NOT_HERE: [&str; 2] = ["deploy/run", "tests/run"];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the tree").to_owned()
}

/// The part of the front page that is typed at the demo: the demo's own test does.
const AT_THE_DEMO: &str = "## Ten minutes in the demo";

fn page(name: &str) -> String {
    fs::read_to_string(root().join(name)).expect("a page")
}

/// The blocks of the front page that are typed at the demo, as one script.
pub fn at_the_demo() -> String {
    let (_, after) = cut(&page("README.md"));
    let part = after.split("\n## ").next().expect("a part");
    blocks(part).join("\n")
}

/// A page before the demo's part, and from there on.
fn cut(text: &str) -> (String, String) {
    let (before, after) = text.split_once(AT_THE_DEMO).expect("the demo's part");
    (before.to_owned(), after.to_owned())
}

/// The blocks of the front page that are typed at an empty plant.
fn at_an_empty_plant() -> Vec<String> {
    let (before, after) = cut(&page("README.md"));
    let (_, rest) = after.split_once("\n## ").expect("more parts");
    [blocks(&before), blocks(rest)].concat()
}

/// The blocks of commands of a text: fenced, of no other language.
fn blocks(text: &str) -> Vec<String> {
    let mut fenced = text.split("\n```");
    fenced.next();
    let inside = fenced.step_by(2).filter_map(|block| block.strip_prefix('\n'));
    inside.map(str::to_owned).collect()
}

/// Types a block into a shell in an empty folder, with the program where the page says it is.
pub fn typed(block: &str, plant: &Plant) -> Output {
    let password = plant.printed.iter().find_map(|line| line.rsplit_once("password "));
    let password = password.map(|(_, word)| word).unwrap_or_default();
    let block = block
        .replace("http://127.0.0.1:8080", &plant.http)
        .replace("127.0.0.1:8081", plant.grpc.trim_start_matches("http://"))
        .replace("xxxx-xxxx-xxxx-xxxx", password)
        .replace("target/release/hankbook", &program("hankbook-under-test").to_string_lossy());
    shell(&block, tempfile::tempdir().expect("a folder").path())
}

fn shell(block: &str, folder: &Path) -> Output {
    let mut shell = Command::new("bash");
    shell.args(["-euo", "pipefail", "-c", block]).current_dir(folder);
    shell.output().expect("a shell")
}

async fn fresh() -> Plant {
    Plant::start_with(Options { clock: None, ..Options::default() }).await
}

#[tokio::test(flavor = "multi_thread")]
async fn the_walk_of_the_front_page_prints_what_the_page_says() {
    let plant = fresh().await;
    let mut said = String::new();
    for block in at_an_empty_plant() {
        if NOT_HERE.iter().any(|name| block.starts_with(name)) {
            continue;
        }
        let output = typed(&block, &plant);
        let error = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{block}\n{error}");
        said.push_str(&String::from_utf8_lossy(&output.stdout));
    }
    assert!(!said.contains("\"type\":\"tag:"), "a call was refused:\n{said}");
    for text in [
        "68.1749",
        "\"verdict\":\"FAIL\"",
        "44.6 [degF] is above the limit of at most 40 [degF].",
        "Salmonella",
        "records are proved.",
        "ALTERED",
        "somebody bent it",
        "00 00 00 00 02 08 01",
        "\"deviation\":",
    ] {
        assert!(said.contains(text), "{text} was not printed:\n{said}");
    }
    plant.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_inspector_checks_a_bundle_as_the_page_says() {
    let plant = fresh().await;
    let manager = plant.with_roles(&["MANAGER"]);
    let place = json!({ "id": new_id().to_string(), "name": "Dock", "kind": "dock" });
    let made = manager.post("/v1/places", &place).await.ok();
    let day = made["recordedAt"].as_str().and_then(|at| at.get(..10)).expect("a day").to_owned();
    let day: Date = day.parse().expect("a day");
    let (from, to) = (day.yesterday().expect("a day"), day.tomorrow().expect("a day"));
    let (key, bundle) = loop {
        let head = manager.get("/v1/checkpoint").await.ok();
        let bundle = manager.get(&format!("/v1/bundles/day:{from}..{to}")).await.expect(200).text;
        if bundle.contains("Dock") {
            break (head["key"].as_str().expect("a key").to_owned(), bundle);
        }
    };
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("bundle.jsonl"), bundle).expect("a file");
    let [block] = blocks(&page("docs/audit.md")).try_into().expect("one block");
    let ours = program("hankbook-under-test");
    let block = block.replace("hankbook.invalid/log/…", &key);
    let output = shell(&block.replacen("hankbook", &ours.to_string_lossy(), 1), folder.path());
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    assert!(said.contains("proved"), "{said}");
    plant.stop().await;
}

#[test]
fn no_other_page_has_commands() {
    let docs = fs::read_dir(root().join("docs")).expect("docs");
    let deep = fs::read_dir(root().join("docs/calculations")).expect("calculations");
    let pages = docs.chain(deep).map(|entry| entry.expect("a file").path());
    let pages = pages.filter(|path| path.extension().is_some_and(|end| end == "md"));
    let with = pages.filter(|path| !blocks(&page(&path.to_string_lossy())).is_empty());
    let names: Vec<_> = with.filter_map(|path| Some(path.file_name()?.to_owned())).collect();
    assert_eq!(names, ["audit.md"]);
}
