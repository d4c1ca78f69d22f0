//! The public keys by which anybody can check the plant's tokens.
//! It never shows a private half.

use wire::v1;

use crate::Identity;

/// The keys as RFC 7517 and RFC 7518 name their members.
pub fn public(service: &Identity) -> v1::JwksResponse {
    let key = service.house.signer.public();
    let jwk = v1::Jwk {
        kty: "EC".into(),
        crv: "P-256".into(),
        kid: key.kid.clone(),
        r#use: "sig".into(),
        alg: "ES256".into(),
        x: key.x.clone(),
        y: key.y.clone(),
    };
    v1::JwksResponse { keys: vec![jwk] }
}
