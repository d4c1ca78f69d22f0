//! Tokens signed with a plant's own key, for tests of the doors themselves.
//! It never forges what identity would refuse, unless a test asks for just that.

use platform::tokens::{AUDIENCE, Claims, ISSUER, LIFE_S};
use uuid::Uuid;

/// The claims of a person with some roles, valid from `now` (seconds since 1970).
pub fn claims(person: Uuid, roles: &[&str], now: i64) -> Claims {
    Claims {
        iss: ISSUER.into(),
        aud: vec![AUDIENCE.into()],
        sub: format!("person:{person}"),
        client_id: "tests".into(),
        iat: now,
        exp: now + LIFE_S,
        jti: Uuid::now_v7().to_string(),
        sid: Uuid::now_v7().to_string(),
        name: "Dana Okrent".into(),
        version: 1,
        roles: roles.iter().map(|role| (*role).to_owned()).collect(),
        station: String::new(),
    }
}
