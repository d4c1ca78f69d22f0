//! The cookie of somebody who signed in: the session's tokens, sealed so that only we read them.
//! It never shows a token to the browser, and nothing of it is kept in a database.

use aws_lc_rs::aead::{AES_256_GCM, Aad, Nonce, RandomizedNonceKey};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use http::HeaderMap;
use platform::caller::operation;
use platform::clock::Clock;
use serde::{Deserialize, Serialize};
use wire::contract::Access;
use wire::v1;

use super::asked;
use super::key::Key;

/// The cookie's name; browsers take `__Host-` only with Secure, from the host itself, for `/`.
pub const COOKIE: &str = "__Host-hankbook";
/// What the seal says beside the key: other sealed texts of ours would not open as this one.
const MEANING: &[u8] = b"hankbook session cookie 1";
const NONCE_LENGTH: usize = 12;

/// A session as its cookie keeps it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Session {
    /// Id of the session.
    pub id: String,
    /// Bearer token.
    pub access_token: String,
    /// Gets the next one; good once.
    pub refresh_token: String,
    /// When the access token ends, seconds since 1970 by the plant's clock.
    pub ends_at_s: i64,
    /// Id of the person.
    pub person: String,
    /// The person's name.
    pub name: String,
    /// The person's language.
    pub language: String,
    /// Numbers of the roles that the token carries.
    pub roles: Vec<i32>,
    /// The session can only change its password.
    pub must_change_password: bool,
}

impl Session {
    /// The session that identity has answered.
    pub fn of(answer: v1::Session, clock: &Clock) -> Self {
        Self {
            id: answer.session,
            access_token: answer.access_token,
            refresh_token: answer.refresh_token,
            ends_at_s: clock.now().as_second() + i64::from(answer.expires_in_s),
            person: answer.person,
            name: answer.name,
            language: answer.language,
            roles: answer.roles,
            must_change_password: answer.must_change_password,
        }
    }

    /// True when one of the roles is held. It only decides what a page offers; services refuse.
    pub fn holds(&self, roles: &[v1::Role]) -> bool {
        roles.iter().any(|role| self.roles.contains(&i32::from(*role)))
    }

    /// True when the contract lets this person ask it. It only decides what a page offers.
    pub fn may(&self, path: &str) -> bool {
        operation(path).is_some_and(|operation| match &operation.access {
            Access::Roles(roles) => self.holds(roles),
            Access::Open | Access::SignedIn => true,
            Access::Internal => false,
        })
    }
}

/// Seals and opens cookies.
pub struct Sealer {
    key: Option<RandomizedNonceKey>,
}

impl Sealer {
    /// A sealer with the plant's key.
    pub fn of(key: &Key) -> Self {
        // A key of 32 bytes is one of AES-256; were it none, nobody could sign in.
        Self { key: RandomizedNonceKey::new(&AES_256_GCM, &key.0).ok() }
    }

    /// The line of Set-Cookie for a session.
    pub fn cookie(&self, session: &Session) -> Option<String> {
        let mut text = serde_json::to_vec(session).ok()?;
        let nonce = self.key.as_ref()?.seal_in_place_append_tag(Aad::from(MEANING), &mut text);
        let mut sealed = nonce.ok()?.as_ref().to_vec();
        sealed.append(&mut text);
        let value = URL_SAFE_NO_PAD.encode(sealed);
        Some(format!("{COOKIE}={value}; Path=/; Secure; HttpOnly; SameSite=Strict"))
    }

    /// The session of a browser, when it brought a cookie that we sealed.
    pub fn open(&self, headers: &HeaderMap) -> Option<Session> {
        let mut sealed = URL_SAFE_NO_PAD.decode(asked::cookie(headers, COOKIE)?).ok()?;
        let (nonce, text) = sealed.split_at_mut_checked(NONCE_LENGTH)?;
        let nonce = Nonce::try_assume_unique_for_key(nonce).ok()?;
        let opened = self.key.as_ref()?.open_in_place(nonce, Aad::from(MEANING), text).ok()?;
        serde_json::from_slice(opened).ok()
    }
}

/// The line of Set-Cookie that makes a browser forget its session.
pub fn emptied() -> String {
    format!("{COOKIE}=; Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age=0")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn session() -> Session {
        let answer = v1::Session { name: "Quinn Ames".into(), ..Default::default() };
        Session::of(answer, &Clock::simulated(Default::default()))
    }

    fn brought(line: &str) -> HeaderMap {
        let pair = line.split(';').next().expect("a pair");
        HeaderMap::from_iter([(http::header::COOKIE, pair.parse().expect("a header"))])
    }

    #[test]
    fn a_cookie_comes_back_as_it_was_sealed() {
        let sealer = Sealer::of(&Key([7; 32]));
        let line = sealer.cookie(&session()).expect("a cookie");
        assert_eq!(sealer.open(&brought(&line)), Some(session()));
        assert!(!line.contains("Quinn"));
        assert!(line.ends_with("; Path=/; Secure; HttpOnly; SameSite=Strict"));
        assert_ne!(sealer.cookie(&session()).expect("a cookie"), line, "each seal is another");
    }

    #[test]
    fn a_cookie_that_we_did_not_seal_is_nobody() {
        let line = Sealer::of(&Key([7; 32])).cookie(&session()).expect("a cookie");
        let sealer = Sealer::of(&Key([8; 32]));
        assert_eq!(sealer.open(&brought(&line)), None, "another key");
        let own = Sealer::of(&Key([7; 32]));
        let at = line.len() / 2;
        let bent = if &line[at..=at] == "A" { "B" } else { "A" };
        let bent = format!("{}{bent}{}", &line[..at], &line[at + 1..]);
        assert_eq!(own.open(&brought(&bent)), None, "one letter bent");
        assert_eq!(own.open(&brought("__Host-hankbook=")), None);
        assert_eq!(own.open(&HeaderMap::new()), None);
    }
}
