//! The write doors as a client sees them: the same call again, other content, stale drafts.
//! What is refused leaves no row behind.

use harness::{Client, Plant};
use reqwest::Method;
use serde_json::{Value, json};
use uuid::Uuid;

fn place(id: Uuid, name: &str) -> Value {
    json!({ "id": id.to_string(), "name": name, "kind": "house" })
}

async fn rows(plant: &Plant, table: &str) -> i64 {
    let query = format!("SELECT count(*) FROM {table}");
    plant.database.connect().await.query_one(&query, &[]).await.expect("a count").get(0)
}

#[tokio::test]
async fn the_same_record_again_gives_the_same_answer_and_one_row() {
    let plant = Plant::start().await;
    let manager = plant.with_roles(&["MANAGER"]);
    let id = Uuid::now_v7();
    let first = manager.post("/v1/places", &place(id, "House 2")).await.ok();
    let again = manager.post("/v1/places", &place(id, "House 2")).await.ok();
    assert_eq!(first, again);
    assert_eq!(rows(&plant, "genealogy.place").await, 1);
    let leaves = "audit.leaf WHERE form = 'genealogy.place/1'";
    assert_eq!(rows(&plant, leaves).await, 1);
    let other = manager.post("/v1/places", &place(id, "House 3")).await;
    assert_eq!((other.status, other.problem()), (409, "id-in-use"));
    assert!(!other.text.contains("House 2"), "a known id shows nothing of its record");
    let stranger = plant.with_roles(&["MANAGER"]);
    let theirs = stranger.post("/v1/places", &place(id, "House 2")).await;
    assert_eq!((theirs.status, theirs.problem()), (409, "id-in-use"));
    assert_eq!(rows(&plant, "genealogy.place").await, 1);
    plant.stop().await;
}

#[tokio::test]
async fn versions_count_on_and_all_stay() {
    let plant = Plant::start().await;
    let manager = plant.with_roles(&["MANAGER"]);
    let id = Uuid::now_v7();
    let made = manager.post("/v1/places", &place(id, "Cooler 4")).await.ok();
    let body = json!({
        "id": Uuid::now_v7().to_string(), "place": id.to_string(),
        "name": "Cooler 4 (north)", "kind": "cooler", "inUse": false
    });
    let next = manager.post("/v1/places", &body).await.ok();
    assert_eq!((made["version"].as_i64(), next["version"].as_i64()), (Some(1), Some(2)));
    let now = manager.get(&format!("/v1/places/{id}")).await.ok();
    assert_eq!(now["name"], "Cooler 4 (north)");
    assert_eq!(now["inUse"], false);
    assert_eq!(rows(&plant, "genealogy.place").await, 2);
    let body = json!({
        "id": Uuid::now_v7().to_string(), "place": Uuid::now_v7().to_string(),
        "name": "Nowhere", "kind": "cooler"
    });
    assert_eq!(manager.post("/v1/places", &body).await.status, 404);
    plant.stop().await;
}

#[tokio::test]
async fn lists_go_on_where_the_page_before_ended() {
    let plant = Plant::start().await;
    let manager = plant.with_roles(&["MANAGER"]);
    for number in 1..=5 {
        let body = place(Uuid::now_v7(), &format!("House {number}"));
        manager.post("/v1/places", &body).await.ok();
    }
    let mut names = Vec::new();
    let mut token = String::new();
    loop {
        let path = format!("/v1/places?pageSize=2&page_token={token}");
        let page = manager.get(&path).await.ok();
        for place in page["places"].as_array().expect("places") {
            names.push(place["name"].as_str().expect("a name").to_owned());
        }
        token = page["nextPageToken"].as_str().unwrap_or_default().to_owned();
        if token.is_empty() {
            break;
        }
    }
    assert_eq!(names, ["House 1", "House 2", "House 3", "House 4", "House 5"]);
    plant.stop().await;
}

fn draft(limit: &str) -> Value {
    json!({ "content": { "name": "Receiving of raw meat", "binds": "received", "checks": [{
        "code": "CCP-1", "title": "Meat temperature at receiving", "class": "ccp", "kind": "each",
        "hazard": "Salmonella growth", "unit": "[degF]", "atMost": limit,
        "dispositions": ["destroy"], "source": "the plant's own limit"
    }] } })
}

async fn put(client: &Client, path: &str, body: &Value, header: (&str, &str)) -> harness::Answer {
    client.put_with(path, body, &[header]).await
}

#[tokio::test]
async fn a_draft_is_replaced_only_by_who_has_read_it() {
    let plant = Plant::start().await;
    let qa = plant.with_roles(&["QA"]);
    let path = format!("/v1/plans/{}/draft", Uuid::now_v7());
    let bare = qa.put_with(&path, &draft("40"), &[]).await;
    assert_eq!((bare.status, bare.problem()), (428, "condition-missing"));
    let first = put(&qa, &path, &draft("40"), ("if-none-match", "*")).await.expect(200);
    let etag = first.etag.clone().expect("an ETag");
    let again = put(&qa, &path, &draft("41"), ("if-none-match", "*")).await;
    assert_eq!((again.status, again.problem()), (412, "stale"));
    let second = put(&qa, &path, &draft("41"), ("if-match", &etag)).await.expect(200);
    assert_ne!(second.etag, first.etag);
    let late = put(&qa, &path, &draft("45"), ("if-match", &etag)).await;
    assert_eq!((late.status, late.problem()), (412, "stale"));
    let now = qa.get(&path).await.expect(200);
    assert_eq!(now.etag, second.etag);
    assert_eq!(now.json["content"]["checks"][0]["atMost"].to_string(), "41");
    let mut twice = draft("40");
    let check = twice["content"]["checks"][0].clone();
    twice["content"]["checks"].as_array_mut().expect("checks").push(check);
    let tag = second.etag.expect("an ETag");
    let refused = put(&qa, &path, &twice, ("if-match", &tag)).await.expect(400);
    assert_eq!(refused.fields(), ["content.checks[1].code"]);
    plant.stop().await;
}

#[tokio::test]
async fn a_key_stands_for_one_call() {
    let plant = Plant::start().await;
    let qa = plant.with_roles(&["QA"]);
    let plan = format!("/v1/plans/{}/draft", Uuid::now_v7());
    let other = format!("/v1/plans/{}/draft", Uuid::now_v7());
    for path in [&plan, &other] {
        put(&qa, path, &draft("40"), ("if-none-match", "*")).await.expect(200);
    }
    let delete = async |path: &str, key: Option<&str>| {
        let request = qa.request(Method::DELETE, path);
        let request = match key {
            Some(key) => request.header("idempotency-key", key),
            None => request,
        };
        harness::client::answer(request).await
    };
    assert_eq!(delete(&plan, None).await.expect(400).fields(), ["Idempotency-Key"]);
    let first = delete(&plan, Some("k-1")).await.ok();
    assert_eq!(first["wasThere"], true);
    let again = delete(&plan, Some("k-1")).await.ok();
    assert_eq!(again["wasThere"], true, "the same call gets the same answer");
    let reused = delete(&other, Some("k-1")).await;
    assert_eq!((reused.status, reused.problem()), (409, "key-reused"));
    assert_eq!(qa.get(&other).await.status, 200, "nothing was thrown away");
    assert_eq!(delete(&plan, Some("k-2")).await.ok()["wasThere"], false);
    plant.stop().await;
}
