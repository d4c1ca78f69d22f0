//! What an inspector does: a checkpoint, proofs, a search, a bundle checked apart, a live view.
//! It never looks into the database but to wait for the sealer.

use std::time::Duration;

use reqwest::Method;
use serde_json::Value;

use super::{Worked, check, check_by_python, findings, text};

#[tokio::test(flavor = "multi_thread")]
async fn a_record_proves_itself_without_the_plant() {
    let worked = Worked::start().await;
    let early = worked.sealed().await;
    let reading = worked.read("37.5").await;
    let size = worked.sealed().await;
    let inspector = worked.plant.with_roles(&["INSPECTOR"]);
    let head = inspector.get("/v1/checkpoint").await.ok();
    assert_eq!((head["size"].as_i64(), text(&head, "note").lines().count()), (Some(size), 5));
    let key = text(&head, "key");
    let proof = inspector.get(&format!("/v1/proofs/inclusion?record={reading}")).await.expect(200);
    let (proves, said) = check(&["proof", "inclusion", "--key", key], proof.text.as_bytes());
    assert!(proves && said.contains(&reading) && said.contains("pinned"), "{said}");
    let altered = proof.text.replace("37.5", "37.4");
    assert!(!check(&["proof", "inclusion"], altered.as_bytes()).0);
    let path = format!("/v1/proofs/consistency?from={early}&to={size}");
    let proof = inspector.get(&path).await.expect(200);
    let (proves, said) = check(&["proof", "consistency", "--key", key], proof.text.as_bytes());
    assert!(proves, "{said}");
    let altered = proof.text.replacen(&format!("\"size\":{early}"), "\"size\":1", 1);
    assert!(check(&["proof", "consistency"], altered.as_bytes()).0, "only what is signed counts");
    for (path, status) in [
        ("/v1/checkpoint?size=100000", 404),
        ("/v1/checkpoint?size=1.5", 400),
        ("/v1/proofs/consistency", 400),
        ("/v1/proofs/inclusion?record=01997000-0000-7000-8000-000000000001", 404),
        ("/v1/bundles/lot:1", 400),
        ("/v1/bundles/day:2026-02-30", 400),
    ] {
        assert_eq!(inspector.get(path).await.status, status, "{path}");
    }
    let operator = worked.plant.with_roles(&["OPERATOR"]);
    operator.get("/v1/checkpoint").await.expect(403);
    operator.get("/v1/bundles/day:2026-11-25").await.expect(403);
    operator.get("/v1/entries/day:2026-11-25").await.expect(403);
    inspector.get("/v1/entries/day:2026-02-30").await.expect(400);
    worked.stop().await;
}

/// The entries of a bundle, as they were written.
fn entries_in(bundle: &[u8]) -> Vec<String> {
    let lines = bundle.split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
    let entry = |line: &[u8]| {
        let line: Value = serde_json::from_slice(line).expect("a line of JSON");
        line["entry"].as_str().map(str::to_owned)
    };
    lines.filter_map(entry).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn bundles_of_a_lot_a_day_and_a_check_hold_what_they_are_about() {
    let worked = Worked::start().await;
    worked.sealed().await;
    let (key, plan) = (worked.key().await, worked.stock.plan);
    let count = |bundle: &[u8]| bundle.split(|byte| *byte == b'\n').count() - 6;
    let lot = worked.lot_bundle().await;
    // The lot, four readings, a deviation, its hold.
    for about in [&format!("check:CCP-1:{plan}:2026-11-25"), "day:2026-11-01..2026-11-30"] {
        let bundle = worked.bundle(about).await;
        let (holds, said) = check(&["verify", "--key", &key], &bundle);
        assert!(holds && said.contains("pinned"), "{about}: {said}");
        assert_eq!(worked.entries_of(about).await, entries_in(&bundle), "{about}: as data");
        assert!(check_by_python(&["--key", &key], &bundle).0, "{about}");
        let wanted = if about.starts_with("check") { 5 } else { worked.sealed().await as usize };
        assert_eq!(count(&bundle), wanted, "{about}");
    }
    assert!((6..=7).contains(&count(&lot)), "{}", String::from_utf8_lossy(&lot));
    let (holds, said) = check(&["verify"], &lot);
    assert!(holds && said.contains("compare it"), "{said}");
    let empty = worked.bundle("day:2020-01-01").await;
    assert!(check(&["verify", "--key", &key], &empty).0);
    assert!(check_by_python(&["--key", &key], &empty).0);
    let other = key.replace("hankbook.invalid", "elsewhere.invalid");
    assert!(!check(&["verify", "--key", &other], &lot).0, "no key of that name and number");
    assert_eq!(findings(&said), Vec::<String>::new());
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_search_finds_entries_by_what_they_name() {
    let worked = Worked::start().await;
    let second = worked.worker.reading(&worked.stock, &worked.stock.lots, "36");
    worked.worker.client.post("/v1/readings", &second).await.ok();
    let size = worked.sealed().await;
    let inspector = worked.plant.with_roles(&["INSPECTOR"]);
    let found = async |query: &str| -> Vec<Value> {
        let answer = inspector.get(&format!("/v1/audit/entries?{query}")).await.ok();
        answer["entries"].as_array().cloned().unwrap_or_default()
    };
    assert_eq!(found("pageSize=1000").await.len() as i64, size);
    assert_eq!(found("day=2026-11-25&form=haccp.reading/1").await.len(), 5);
    assert!(found("day=2026-11-24").await.is_empty());
    // The second lot is named by its receipt and by one reading, as its second lot.
    let of_lot = found(&format!("lot={}&form=haccp.reading/1", worked.stock.lots[1])).await;
    assert_eq!(of_lot.len(), 1);
    assert_eq!(text(&of_lot[0], "record"), text(&second, "id"));
    let entry: Value = serde_json::from_str(text(&of_lot[0], "entry")).expect("an entry");
    assert_eq!(entry["readings"][0], "36");
    let person = text(&of_lot[0], "enteredBy").to_owned();
    let by_person = found(&format!("person={person}&pageSize=1000")).await;
    assert!(by_person.len() >= 8 && by_person.iter().all(|e| text(e, "enteredBy") == person));
    let subject = format!("plan:{}", worked.stock.plan);
    assert_eq!(found(&format!("subject={subject}")).await.len(), 1);
    let mut paged = Vec::new();
    let mut token = String::new();
    loop {
        let path = format!("/v1/audit/entries?pageSize=3&pageToken={token}");
        let answer = inspector.get(&path).await.ok();
        paged.extend(answer["entries"].as_array().cloned().unwrap_or_default());
        text(&answer, "nextPageToken").clone_into(&mut token);
        if token.is_empty() {
            break;
        }
    }
    let positions: Vec<_> = paged.iter().filter_map(|entry| entry["position"].as_i64()).collect();
    assert_eq!(positions, (0..size).collect::<Vec<_>>());
    worked.stop().await;
}

/// Reads events until `enough` says so.
async fn events(
    worked: &Worked,
    last_event: Option<&str>,
    enough: impl Fn(&str) -> bool,
) -> String {
    let mut request = worked.worker.client.request(Method::GET, "/v1/log");
    if let Some(id) = last_event {
        request = request.header("last-event-id", id);
    }
    let mut response = request.send().await.expect("an answer");
    assert_eq!(response.headers()["content-type"], "text/event-stream");
    let mut said = String::new();
    while !enough(&said) {
        let chunk = tokio::time::timeout(Duration::from_secs(20), response.chunk()).await;
        let chunk = chunk.expect("an event in time").expect("a stream").expect("more events");
        said.push_str(&String::from_utf8_lossy(&chunk));
    }
    said
}

#[tokio::test(flavor = "multi_thread")]
async fn a_live_view_loses_nothing_between_two_connections() {
    let worked = Worked::start().await;
    let size = worked.sealed().await;
    let here = events(&worked, None, |said| said.contains("\n\n")).await;
    assert!(here.starts_with(&format!("id: {size}\ndata: {{\"position\":{size}")), "{here}");
    let missed = [worked.read("38").await, worked.read("38.2").await];
    worked.sealed().await;
    let from = size.to_string();
    let told =
        events(&worked, Some(&from), |said| missed.iter().all(|id| said.contains(id.as_str())));
    let told = told.await;
    assert!(told.contains(&format!("id: {}\n", size + 2)), "{told}");
    let whole = events(&worked, Some("0"), |said| said.contains(&format!("id: {}\n", size + 2)));
    assert!(whole.await.contains("house.plant/1"));
    let wrong = worked.worker.client.request(Method::GET, "/v1/log").header("last-event-id", "x");
    harness::client::answer(wrong).await.expect(400);
    // A listener does not hold up a stop.
    let listening = worked.worker.client.request(Method::GET, "/v1/log").send().await;
    let begun = platform::clock::monotonic();
    worked.stop().await;
    assert!(begun.elapsed() < Duration::from_secs(8), "{:?}", begun.elapsed());
    drop(listening);
}
