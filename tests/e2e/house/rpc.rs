//! The gRPC door by raw frames: what a broken or dishonest client may send.
//! Every call here goes over a real connection.

use harness::Plant;
use harness::client::answer;
use platform::hop;
use platform::records::new_id;
use prost::Message as _;
use reqwest::Method;
use serde_json::json;
use tonic::codegen::http::{HeaderMap, HeaderValue};
use tonic::{Code, Status};
use wire::v1::{ConvertRequest, ListPlacesRequest, Quantity};

/// Calls a method with an encoded message.
pub async fn call(
    address: &str,
    path: &str,
    token: Option<&str>,
    message: &[u8],
) -> Result<Vec<u8>, Status> {
    let mut headers = HeaderMap::new();
    if let Some(token) = token {
        let value = HeaderValue::from_str(&format!("Bearer {token}")).expect("a header");
        headers.insert("authorization", value);
    }
    call_with(address, path, headers, message).await
}

async fn call_with(
    address: &str,
    path: &str,
    headers: HeaderMap,
    message: &[u8],
) -> Result<Vec<u8>, Status> {
    let path: &'static str = path.to_owned().leak();
    let hop = hop::over_tcp(address.parse().expect("an address"));
    let (_, bytes) = hop::unary(hop, path, message.to_vec().into(), headers).await?;
    Ok(bytes.to_vec())
}

#[tokio::test]
async fn both_doors_give_the_same_answer() {
    let plant = Plant::start().await;
    let quantity = Quantity { value: Some("1".into()), unit: "[lb_av]".into() };
    let request = ConvertRequest { quantity: Some(quantity), to: "g".into(), difference: None };
    let path = "/hankbook.v1.Calculations/Convert";
    let bytes = call(&plant.grpc, path, None, &request.encode_to_vec()).await.expect("an answer");
    let by_grpc = wire::v1::ConvertResponse::decode(bytes.as_slice()).expect("a response");
    let body = json!({ "quantity": { "value": "1", "unit": "[lb_av]" }, "to": "g" });
    let by_rest = plant.anybody().post("/v1/calculations/convert", &body).await.ok();
    let value = by_grpc.quantity.and_then(|quantity| quantity.value);
    assert_eq!(value.as_deref(), Some("453.59237"));
    assert_eq!(by_rest["quantity"]["value"].to_string(), "453.59237");
    plant.stop().await;
}

#[tokio::test]
async fn a_message_that_breaks_a_field_option_names_every_field() {
    let plant = Plant::start().await;
    let quantity = Quantity { value: Some("one".into()), unit: String::new() };
    let request = ConvertRequest { quantity: Some(quantity), to: String::new(), difference: None };
    let path = "/hankbook.v1.Calculations/Convert";
    let status = call(&plant.grpc, path, None, &request.encode_to_vec()).await;
    let status = status.expect_err("three faults");
    assert_eq!(status.code(), Code::InvalidArgument);
    let details = tonic_types::StatusExt::get_error_details(&status);
    let fields: Vec<_> = details
        .bad_request()
        .expect("the bad fields")
        .field_violations
        .iter()
        .map(|violation| violation.field.as_str())
        .collect();
    assert_eq!(fields, ["quantity.value", "quantity.unit", "to"]);
    plant.stop().await;
}

#[tokio::test]
async fn a_frame_cut_short_is_refused_and_harms_nobody() {
    let plant = Plant::start().await;
    // A length of 9 with 3 bytes behind it, sent as a whole body.
    let http = reqwest::Client::builder().http2_prior_knowledge().build().expect("a client");
    let cut = http
        .post(format!("{}/hankbook.v1.Calculations/Convert", plant.grpc))
        .header("content-type", "application/grpc")
        .header("te", "trailers")
        .body(vec![0, 0, 0, 0, 9, 1, 2, 3])
        .send()
        .await
        .expect("an answer");
    let status = cut.headers().get("grpc-status").map(|value| value.as_bytes().to_vec());
    assert!(status.is_some_and(|status| status != b"0"), "{:?}", cut.headers());
    let rest = plant.anybody().get("/readyz").await;
    assert_eq!(rest.status, 200);
    plant.stop().await;
}

#[tokio::test]
async fn forged_caller_metadata_changes_nothing() {
    let plant = Plant::start().await;
    let request = ListPlacesRequest::default().encode_to_vec();
    let path = "/hankbook.v1.Genealogy/ListPlaces";
    let mut headers = HeaderMap::new();
    for (name, value) in [
        ("hankbook-caller", "person:01997000-0000-7000-8000-000000000001"),
        ("hankbook-roles", "ADMINISTRATOR"),
        ("hankbook-request-id", "mine"),
        ("x-forwarded-user", "Dana Okrent"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    let refused = call_with(&plant.grpc, path, headers, &request).await;
    assert_eq!(refused.expect_err("no token").code(), Code::Unauthenticated);
    let forged = plant.anybody().request(Method::GET, "/v1/places");
    let forged = forged.header("hankbook-roles", "ADMINISTRATOR");
    assert_eq!(answer(forged).await.status, 401);
    assert!(!plant.log().contains("\"request_id\":\"mine\""), "a forged id reached the log");
    plant.stop().await;
}

#[tokio::test]
async fn an_internal_or_unknown_method_does_not_exist_outside() {
    let plant = Plant::start().await;
    let signer = plant.signer();
    let claims = platform::tokens::Claims {
        sub: "service:haccp".into(),
        ..harness::tokens::claims(new_id(), &["ADMINISTRATOR"], start_second())
    };
    let token = signer.sign(&claims).expect("a token");
    let internal = wire::contract::operations()
        .iter()
        .filter(|found| found.access == wire::contract::Access::Internal)
        .map(|found| found.grpc_path.clone());
    let unknown = ["/hankbook.v1.Nothing/At", "/hankbook.v1.Genealogy/Nothing", "/"];
    for path in internal.chain(unknown.map(str::to_owned)) {
        let status = call(&plant.grpc, &path, Some(&token), b"").await.expect_err("no such");
        assert_eq!(status.code(), Code::Unimplemented, "{path}");
    }
    plant.stop().await;
}

fn start_second() -> i64 {
    harness::plant::START.parse::<jiff::Timestamp>().expect("an instant").as_second()
}
