//! What a token says, read by a test that must build a forged one or a ticket beside it.
//! It never checks a signature: the program does.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use harness::Client;
use serde_json::Value;
use uuid::Uuid;

/// The head and the claims of a token.
pub fn parts(token: &str) -> [Value; 2] {
    let mut parts = token.split('.').map(|part| {
        let bytes = URL_SAFE_NO_PAD.decode(part).expect("base64url");
        serde_json::from_slice(&bytes).unwrap_or(Value::Null)
    });
    [parts.next().expect("a head"), parts.next().expect("claims")]
}

/// A part of a token.
pub fn encoded(value: &Value) -> String {
    URL_SAFE_NO_PAD.encode(value.to_string())
}

/// The session of a client's token.
pub fn session_of(client: &Client) -> Uuid {
    let [_, claims] = parts(client.token().expect("a token"));
    claims["sid"].as_str().and_then(|sid| sid.parse().ok()).expect("a session")
}
