//! Bad input at the REST door: each fault named, nothing stored.
//! The doors are tried with what people and programs really send.

use harness::client::answer;
use harness::{Client, Plant};
use platform::records::new_id;
use reqwest::Method;
use serde_json::json;

async fn raw(client: &Client, path: &str, body: impl Into<reqwest::Body>) -> harness::Answer {
    let request = client.request(Method::POST, path);
    answer(request.header("content-type", "application/json").body(body)).await
}

#[tokio::test]
async fn every_fault_of_a_body_is_named_as_it_was_typed() {
    let plant = Plant::start().await;
    let manager = plant.with_roles(&["MANAGER"]);
    let body = json!({
        "id": "not-an-id", "name": 7, "isSupplier": "yes", "colour": "red",
        "phone": "call me", "in_use": true
    });
    let refused = manager.post("/v1/partners", &body).await.expect(400);
    assert_eq!(refused.problem(), "bad-input");
    let mut fields = refused.fields();
    fields.sort_unstable();
    assert_eq!(fields, ["colour", "id", "isSupplier", "name", "phone"]);
    let body = json!({ "id": new_id().to_string(), "name": "Hollis Meats", "in_use": true });
    let refused = manager.post("/v1/partners", &body).await.expect(400);
    assert_eq!(refused.fields(), ["is_supplier"], "in the spelling of the caller");
    let list = manager.get("/v1/partners").await.ok();
    assert_eq!(list["partners"].as_array().map_or(0, Vec::len), 0);
    plant.stop().await;
}

#[tokio::test]
async fn units_digits_and_missing_fields_are_refused() {
    let plant = Plant::start().await;
    let anybody = plant.anybody();
    let path = "/v1/calculations/convert";
    let convert = |value: &str, unit: &str| {
        let quantity = json!({ "value": value, "unit": unit });
        json!({ "quantity": quantity, "to": "kg" })
    };
    let refused = anybody.post(path, &convert("1", "pound")).await.expect(400);
    assert_eq!(refused.fields(), ["quantity.unit"]);
    let digits = "0.12345678901234567890123456789";
    let refused = anybody.post(path, &convert(digits, "kg")).await.expect(400);
    assert_eq!(refused.fields(), ["quantity.value"]);
    assert_eq!(refused.json["violations"][0]["value"], digits);
    let refused = anybody.post(path, &json!({})).await.expect(400);
    assert_eq!(refused.fields(), ["quantity", "to"]);
    let twice = r#"{"to":"kg","quantity":{"value":1,"unit":"kg"},"to":"g"}"#;
    assert_eq!(raw(&anybody, path, twice).await.expect(400).fields(), ["to"]);
    plant.stop().await;
}

#[tokio::test]
async fn bodies_over_their_limits_are_refused() {
    let plant = Plant::start().await;
    let anybody = plant.anybody();
    let path = "/v1/calculations/convert";
    let large = raw(&anybody, path, vec![b' '; 9 * 1024 * 1024]).await;
    assert_eq!((large.status, large.problem()), (413, "too-large"));
    let deep = format!("{}{}", "{\"a\":".repeat(40), "1");
    assert_eq!(raw(&anybody, path, deep).await.expect(400).problem(), "bad-input");
    for broken in ["", "{", "[1]", "null", "{\"to\":}", "\u{feff}{}", "{\"to\":\"kg\"} x"] {
        let refused = raw(&anybody, path, broken).await;
        assert_eq!(refused.status, 400, "{broken:?}: {}", refused.text);
    }
    let request = anybody.request(Method::POST, path).header("content-type", "text/plain");
    assert_eq!(answer(request.body("{}")).await.expect(415).problem(), "media-type");
    plant.stop().await;
}

#[tokio::test]
async fn values_of_path_and_query_are_checked_too() {
    let plant = Plant::start().await;
    let manager = plant.with_roles(&["MANAGER"]);
    let refused = manager.get("/v1/places/not-an-id").await.expect(400);
    assert_eq!(refused.fields(), ["place"]);
    let refused = manager.get("/v1/places?pageSize=many&colour=red").await.expect(400);
    assert_eq!(refused.fields(), ["colour", "pageSize"]);
    let refused = manager.get("/v1/places?pageSize=1001").await.expect(400);
    assert_eq!(refused.fields(), ["pageSize"]);
    let refused = manager.get("/v1/places?pageToken=%25%25").await.expect(400);
    assert_eq!(refused.fields(), ["pageToken"]);
    let missing = manager.get(&format!("/v1/places/{}", new_id())).await;
    assert_eq!((missing.status, missing.problem()), (404, "not-found"));
    plant.stop().await;
}

#[tokio::test]
async fn a_secret_never_reaches_a_problem_or_the_log() {
    let plant = Plant::start().await;
    let secret = "correct horse battery";
    let request = plant.anybody().request(Method::GET, "/v1/places");
    let refused = answer(request.bearer_auth(secret.replace(' ', "-"))).await.expect(401);
    assert!(!refused.text.contains("horse"), "{}", refused.text);
    let challenge = refused.headers["www-authenticate"].to_str().expect("text");
    assert_eq!(challenge, "Bearer error=\"invalid_token\"");
    assert!(!plant.log().contains("horse"), "a token reached the log");
    plant.stop().await;
}

#[tokio::test]
async fn text_that_no_database_can_hold_is_refused_by_name() {
    let plant = Plant::start().await;
    let manager = plant.with_roles(&["MANAGER"]);
    let body = json!({ "id": new_id().to_string(), "name": "House\u{0}1", "kind": "house" });
    let refused = manager.post("/v1/places", &body).await.expect(400);
    assert_eq!(refused.fields(), ["name"]);
    assert!(refused.text.contains("U+0000"), "{}", refused.text);
    plant.stop().await;
}
