//! Access tokens that are not the plant's, or no longer good, at both doors.
//! The cases are those of RFC 8725 and RFC 9068: key, algorithm, type, issuer, audience, time.

use harness::plant::START;
use harness::{Client, Plant, tokens};
use jsonwebtoken::{Algorithm, EncodingKey, Header, encode};
use platform::records::new_id;
use platform::tokens::{AUDIENCE, Claims, ISSUER, Signer};
use prost::Message as _;
use serde_json::{Value, json};
use tonic::Code;
use wire::v1::RecordReadingRequest;

use super::super::goods::Goods;
use super::super::ledger;
use super::super::tickets::{encoded, parts};
use crate::house::rpc::call;

const METHOD: &str = "/hankbook.v1.Haccp/RecordReading";

fn now() -> i64 {
    START.parse::<jiff::Timestamp>().expect("an instant").as_second()
}

fn claims() -> Claims {
    tokens::claims(new_id(), &["OPERATOR"], now())
}

/// The claims with one of them changed.
fn with(name: &str, value: Value) -> Value {
    let mut claims = serde_json::to_value(claims()).expect("claims");
    claims[name] = value;
    claims
}

/// The same reading at the gRPC door.
fn message(goods: &Goods) -> Vec<u8> {
    RecordReadingRequest {
        id: new_id().to_string(),
        lots: vec![goods.lot.clone()],
        plan: goods.plan.clone(),
        plan_version: Some(1),
        check: "CCP-1".into(),
        readings: vec!["35".into()],
        unit: "[degF]".into(),
        observed_at: goods.at.clone(),
        ..RecordReadingRequest::default()
    }
    .encode_to_vec()
}

/// Asserts that both doors refuse a token as nobody's.
async fn assert_refused(plant: &Plant, goods: &Goods, name: &str, token: &str) {
    let client = Client::new(&plant.http, Some(token.to_owned()));
    let answer = client.post("/v1/readings", &goods.reading("35")).await;
    assert_eq!(
        (answer.status, answer.problem()),
        (401, "not-signed-in"),
        "{name}: {}",
        answer.text
    );
    let answered = call(&plant.grpc, METHOD, Some(token), &message(goods)).await;
    assert_eq!(answered.expect_err(name).code(), Code::Unauthenticated, "{name}");
}

/// Tokens that the plant's own key signed, with one thing wrong in each.
fn signed_but_wrong(signer: &Signer) -> Vec<(&'static str, String)> {
    let sign = |claims: Value| signer.sign_as("at+jwt", &claims).expect("a token");
    vec![
        ("expired", sign(with("exp", json!(now())))),
        ("long expired", sign(with("exp", json!(now() - 86_400)))),
        ("issued in the future", sign(with("iat", json!(now() + 61)))),
        ("wrong audience", sign(with("aud", json!(["another"])))),
        ("no audience", sign(with("aud", json!([])))),
        ("wrong issuer", sign(with("iss", json!("https://other.invalid/identity")))),
        ("no subject", sign(with("sub", json!("")))),
        ("subject of no kind", sign(with("sub", json!(new_id().to_string())))),
        ("no session", sign(with("sid", json!("")))),
        ("type of a ticket", signer.sign_as("hankbook-ticket+jwt", &claims()).expect("a token")),
        ("type of any token", signer.sign_as("JWT", &claims()).expect("a token")),
    ]
}

/// Tokens that nobody's key signed, or a key that is not the plant's.
fn forged(signer: &Signer) -> Vec<(&'static str, String)> {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("token.der");
    let other = Signer::open_or_create(&file).expect("another key");
    let kid = signer.public().kid.clone();
    let claims = claims();
    let good = signer.sign(&claims).expect("a token");
    let stolen_kid = {
        let mut header = Header::new(Algorithm::ES256);
        (header.typ, header.kid) = (Some("at+jwt".into()), Some(kid.clone()));
        let key = EncodingKey::from_ec_der(&std::fs::read(&file).expect("the other key"));
        encode(&header, &claims, &key).expect("a token")
    };
    let by_public_key = |secret: &[u8]| {
        let mut header = Header::new(Algorithm::HS256);
        (header.typ, header.kid) = (Some("at+jwt".into()), Some(kid.clone()));
        encode(&header, &claims, &EncodingKey::from_secret(secret)).expect("a token")
    };
    let [head, payload] = parts(&good);
    let signature = good.rsplit('.').next().expect("a signature");
    let mut more = payload.clone();
    more["roles"] = json!(["ADMINISTRATOR", "OPERATOR", "QA"]);
    let mut unsigned = head.clone();
    unsigned["alg"] = json!("none");
    let (head, payload, more) = (encoded(&head), encoded(&payload), encoded(&more));
    let unsigned = encoded(&unsigned);
    let public = signer.public();
    vec![
        ("another key", other.sign(&claims).expect("a token")),
        ("another key under the plant's key id", stolen_kid),
        ("HS256 by the public key", by_public_key(format!("{}{}", public.x, public.y).as_bytes())),
        ("HS256 by the key id", by_public_key(kid.as_bytes())),
        ("none without a signature", format!("{unsigned}.{payload}.")),
        ("none with the signature", format!("{unsigned}.{payload}.{signature}")),
        ("more roles under the old signature", format!("{head}.{more}.{signature}")),
        ("no signature", format!("{head}.{payload}.")),
        ("half a signature", format!("{head}.{payload}.{}", &signature[..43])),
        ("no token", "let-me-in".to_owned()),
        ("a very long one", "a".repeat(5000)),
    ]
}

#[tokio::test]
async fn only_living_tokens_of_the_plants_own_key_are_taken() {
    assert_eq!((ISSUER, AUDIENCE), ("https://hankbook.invalid/identity", "hankbook"));
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let signer = plant.signer();
    let good = signer.sign(&claims()).expect("a token");
    let database = plant.database.connect().await;
    let before = ledger::rows(&database).await;
    for (name, token) in signed_but_wrong(&signer).into_iter().chain(forged(&signer)) {
        assert_refused(&plant, &goods, name, &token).await;
    }
    assert_eq!(ledger::rows(&database).await, before, "a refused token left a row");
    let client = Client::new(&plant.http, Some(good.clone()));
    client.post("/v1/readings", &goods.reading("35")).await.ok();
    call(&plant.grpc, METHOD, Some(&good), &message(&goods)).await.expect("the good one is taken");
    plant.stop().await;
}

#[tokio::test]
async fn a_token_dies_when_its_time_is_over() {
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let token = plant.signer().sign(&claims()).expect("a token");
    let client = Client::new(&plant.http, Some(token.clone()));
    client.post("/v1/readings", &goods.reading("35")).await.ok();
    let administrator = plant.with_roles(&["ADMINISTRATOR"]);
    let step = |to: &str| json!({ "to": to });
    administrator.post("/simulation/clock", &step("2026-11-25T06:09:59Z")).await.ok();
    client.post("/v1/readings", &goods.reading("35")).await.ok();
    administrator.post("/simulation/clock", &step("2026-11-25T06:10:00Z")).await.ok();
    assert_refused(&plant, &goods, "ten minutes old", &token).await;
    let back = administrator.post("/simulation/clock", &step("2026-11-25T06:00:00Z")).await;
    assert_eq!(back.status, 401, "who moved the clock is ten minutes older too");
    plant.stop().await;
}

/// A service's own token opens nothing that is meant for people.
#[tokio::test]
async fn a_service_is_no_person() {
    let plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let service = Claims { sub: "service:genealogy".into(), ..claims() };
    let token = plant.signer().sign(&service).expect("a token");
    let client = Client::new(&plant.http, Some(token));
    let body = goods.reading("35");
    super::refused(&plant, (403, "not-allowed"), client.post("/v1/readings", &body)).await;
    plant.stop().await;
}
