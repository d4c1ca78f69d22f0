//! Which tokens are let through: cases of RFC 7515, 8725 and 9068, and our own key.
//! It never waits: the clock is held.

use platform::clock::Clock;
use platform::tokens::{Claims, Expected, PublicKey, Signer, TokenError, Verifier, instant};
use serde_json::Value;

/// Tokens made with throw-away keys, each with what RFC 7515, 8725 and 9068 ask of it.
const CASES: &str = include_str!("jwt-cases.json");

/// Good tokens that we refuse all the same: of the algorithms we sign and take ES256 alone.
const NOT_OURS: [&str; 1] = ["ok-rs256"];

fn clock_at(second: i64) -> Clock {
    Clock::simulated(instant(second))
}

fn verifier_of(config: &Value) -> Verifier {
    let text = |name: &str| config[name].as_str().expect("text").to_owned();
    let keys = config["jwks"]["keys"].as_array().expect("keys").iter();
    let keys: Vec<PublicKey> = keys
        .filter(|key| key["kty"] == "EC")
        .map(|key| serde_json::from_value(key.clone()).expect("an EC key"))
        .collect();
    let leeway_s = config["leeway_s"].as_i64().expect("seconds");
    let expected = Expected { issuer: text("issuer"), audience: text("audience"), leeway_s };
    let now = config["now"].as_i64().expect("seconds");
    Verifier::expecting(expected, &keys, clock_at(now)).expect("keys of the curve")
}

#[test]
fn every_case_is_judged_as_its_rfc_says() {
    let file: Value = serde_json::from_str(CASES).expect("JSON");
    let verifier = verifier_of(&file["config"]);
    let cases = file["cases"].as_array().expect("cases");
    assert!(cases.len() >= 12, "the file has lost cases");
    for case in cases {
        let name = case["name"].as_str().expect("a name");
        let token = case["token"].as_str().expect("a token");
        let accept = case["expect"] == "accept" && !NOT_OURS.contains(&name);
        assert_eq!(verifier.verify(token).is_ok(), accept, "{name}: {}", case["why"]);
    }
}

fn claims(signer: &Signer, iat: i64) -> Claims {
    let token = signer.service_token("haccp", &clock_at(iat)).expect("a token");
    let keys = [signer.public().clone()];
    let verifier = Verifier::new(&keys, clock_at(iat)).expect("a verifier");
    verifier.verify(&token).expect("its own token")
}

#[test]
fn our_own_token_lasts_ten_minutes_by_the_plants_clock() {
    let folder = tempfile::tempdir().expect("a folder");
    let signer = Signer::open_or_create(&folder.path().join("token.der")).expect("a key");
    let claims = claims(&signer, 1_000);
    assert_eq!((claims.sub.as_str(), claims.exp), ("service:haccp", 1_600));
    let token = signer.sign(&claims).expect("a token");
    let clock = clock_at(1_599);
    let verifier = Verifier::new(&[signer.public().clone()], clock.clone()).expect("a verifier");
    assert_eq!(verifier.verify(&token), Ok(claims));
    clock.move_to(instant(1_600)).expect("forwards");
    // The signature is remembered, the time is judged again.
    assert_eq!(verifier.verify(&token), Err(TokenError::Expired));
}

#[test]
fn a_token_of_another_sort_is_no_access_token() {
    let folder = tempfile::tempdir().expect("a folder");
    let signer = Signer::open_or_create(&folder.path().join("token.der")).expect("a key");
    let claims = claims(&signer, 1_000);
    let token = signer.sign_as("hankbook-ticket+jwt", &claims).expect("a token");
    let keys = [signer.public().clone()];
    let verifier = Verifier::new(&keys, clock_at(1_000)).expect("a verifier");
    assert_eq!(verifier.verify(&token), Err(TokenError::Invalid));
    assert!(verifier.open::<Claims>("hankbook-ticket+jwt", &token).is_ok());
}
