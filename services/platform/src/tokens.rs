//! Access tokens (RFC 9068, ES256): made with the plant's key, checked by every service.
//! It never decides what a caller may do, and never keeps a private key in the database.

use std::collections::HashMap;
use std::fs;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::signature::{ECDSA_P256_SHA256_FIXED_SIGNING, EcdsaKeyPair, KeyPair};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use jiff::Timestamp;
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation, decode, encode};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer, Serialize};
use sha2::{Digest, Sha256};

use crate::clock::Clock;

/// The issuer and the audience of every token of a plant.
pub const ISSUER: &str = "https://hankbook.invalid/identity";
/// Who the tokens are for.
pub const AUDIENCE: &str = "hankbook";
/// How long an access token lasts.
pub const LIFE_S: i64 = 600;
/// What the head of an access token calls it (RFC 9068).
const ACCESS_TYPE: &str = "at+jwt";
/// Verified tokens kept by hash; the oldest half goes when there are more.
const CACHE_MAX: usize = 4096;
/// How far ahead of our clock a token may have been issued.
const FUTURE_MAX_S: i64 = 60;
/// The longest token looked at.
const TOKEN_MAX: usize = 4096;

/// What a token says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Claims {
    /// Issuer.
    pub iss: String,
    /// Audiences: in a token one text or a list of them.
    #[serde(deserialize_with = "one_or_more")]
    pub aud: Vec<String>,
    /// `person:UUID`, `device:UUID` or `service:NAME`.
    pub sub: String,
    /// The program that asked for it.
    pub client_id: String,
    /// Issued at, seconds since 1970.
    pub iat: i64,
    /// Expires at, seconds since 1970.
    pub exp: i64,
    /// Token id.
    pub jti: String,
    /// The session that it belongs to; empty for a service.
    #[serde(default)]
    pub sid: String,
    /// The name shown beside records.
    #[serde(default)]
    pub name: String,
    /// Role words: `QA`.
    #[serde(default)]
    pub roles: Vec<String>,
    /// The station at which the session was opened.
    #[serde(default)]
    pub station: String,
    /// The version of the person whose name and roles these are; 0 for a service.
    #[serde(default)]
    pub version: i32,
}

fn one_or_more<'d, D: Deserializer<'d>>(from: D) -> Result<Vec<String>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Audiences {
        One(String),
        More(Vec<String>),
    }
    Ok(match Audiences::deserialize(from)? {
        Audiences::One(one) => vec![one],
        Audiences::More(more) => more,
    })
}

/// What a token must say to be one of ours.
#[derive(Clone, Debug)]
pub struct Expected {
    /// Who issued it.
    pub issuer: String,
    /// Whom it is for.
    pub audience: String,
    /// How far the issuer's clock may be off, in seconds.
    pub leeway_s: i64,
}

impl Default for Expected {
    /// The plant's own tokens, which come from this very clock.
    fn default() -> Self {
        Self { issuer: ISSUER.into(), audience: AUDIENCE.into(), leeway_s: 0 }
    }
}

/// Why a token is refused; the caller learns only that it must sign in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TokenError {
    /// Not of the form, not of our key, or not for us.
    #[error("the token is not valid")]
    Invalid,
    /// Its time is over.
    #[error("the token has expired")]
    Expired,
}

/// The plant's signing key.
pub struct Signer {
    key: EncodingKey,
    kid: String,
    public: PublicKey,
}

/// The public half, as JWKS shows it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct PublicKey {
    /// Key id: the first half of the SHA-256 of the point.
    pub kid: String,
    /// Base64url of the x coordinate.
    pub x: String,
    /// Base64url of the y coordinate.
    pub y: String,
}

impl Signer {
    /// Reads the key of a plant, or makes it (mode 0600) where there is none.
    pub fn open_or_create(file: &Path) -> io::Result<Self> {
        let der = match fs::read(file) {
            Ok(der) => der,
            Err(error) if error.kind() == io::ErrorKind::NotFound => create(file)?,
            Err(error) => return Err(error),
        };
        let pair = EcdsaKeyPair::from_pkcs8(&ECDSA_P256_SHA256_FIXED_SIGNING, &der)
            .map_err(|_| io::Error::other("the token key file holds no P-256 key"))?;
        let point = pair.public_key().as_ref();
        let kid = URL_SAFE_NO_PAD.encode(&Sha256::digest(point)[..16]);
        let public = PublicKey {
            kid: kid.clone(),
            x: URL_SAFE_NO_PAD.encode(&point[1..33]),
            y: URL_SAFE_NO_PAD.encode(&point[33..65]),
        };
        Ok(Self { key: EncodingKey::from_ec_der(&der), kid, public })
    }

    /// The public half.
    pub fn public(&self) -> &PublicKey {
        &self.public
    }

    /// A signed access token.
    pub fn sign(&self, claims: &Claims) -> Result<String, jsonwebtoken::errors::Error> {
        self.sign_as(ACCESS_TYPE, claims)
    }

    /// A signed token of another sort, told apart by `kind` in its head (RFC 8725, 3.11).
    pub fn sign_as(
        &self,
        kind: &str,
        claims: &impl Serialize,
    ) -> Result<String, jsonwebtoken::errors::Error> {
        let mut header = Header::new(Algorithm::ES256);
        header.typ = Some(kind.into());
        header.kid = Some(self.kid.clone());
        encode(&header, claims, &self.key)
    }

    /// A token by which a service calls another one for itself.
    pub fn service_token(
        &self,
        service: &str,
        clock: &Clock,
    ) -> Result<String, jsonwebtoken::errors::Error> {
        let iat = clock.now().as_second();
        self.sign(&Claims {
            iss: ISSUER.into(),
            aud: vec![AUDIENCE.into()],
            sub: format!("service:{service}"),
            client_id: service.into(),
            iat,
            exp: iat + LIFE_S,
            jti: crate::records::new_id().to_string(),
            sid: String::new(),
            name: format!("system/{service}"),
            roles: Vec::new(),
            station: String::new(),
            version: 0,
        })
    }
}

fn create(file: &Path) -> io::Result<Vec<u8>> {
    let made = EcdsaKeyPair::generate_pkcs8(&ECDSA_P256_SHA256_FIXED_SIGNING, &SystemRandom::new());
    let der = made.map_err(|_| io::Error::other("no key could be made"))?;
    if let Some(folder) = file.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut out = fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(file)?;
    out.write_all(der.as_ref())?;
    out.sync_all()?;
    Ok(der.as_ref().to_vec())
}

type Cached = HashMap<[u8; 32], Claims>;

/// Checks tokens; a signature once checked is remembered until its token expires.
pub struct Verifier {
    keys: HashMap<String, DecodingKey>,
    expected: Expected,
    seen: Mutex<Cached>,
    clock: Clock,
}

impl Verifier {
    /// A verifier of the plant's own tokens, signed by any of `keys`.
    pub fn new(keys: &[PublicKey], clock: Clock) -> Result<Self, jsonwebtoken::errors::Error> {
        Self::expecting(Expected::default(), keys, clock)
    }

    /// A verifier of tokens of a named issuer for a named audience.
    pub fn expecting(
        expected: Expected,
        keys: &[PublicKey],
        clock: Clock,
    ) -> Result<Self, jsonwebtoken::errors::Error> {
        let keys = keys
            .iter()
            .map(|key| Ok((key.kid.clone(), DecodingKey::from_ec_components(&key.x, &key.y)?)))
            .collect::<Result<_, jsonwebtoken::errors::Error>>()?;
        Ok(Self { keys, expected, seen: Mutex::default(), clock })
    }

    /// What an access token says, once its form, key, issuer, audience and time are right.
    pub fn verify(&self, token: &str) -> Result<Claims, TokenError> {
        if token.len() > TOKEN_MAX {
            return Err(TokenError::Invalid);
        }
        let hash: [u8; 32] = Sha256::digest(token.as_bytes()).into();
        let known = self.seen.lock().unwrap_or_else(PoisonError::into_inner).get(&hash).cloned();
        let claims = match known {
            Some(claims) => claims,
            None => {
                let claims = self.open::<Claims>(ACCESS_TYPE, token)?;
                self.remember(hash, &claims);
                claims
            }
        };
        self.judge_time(claims.iat, claims.exp)?;
        Ok(claims)
    }

    /// What a token of the sort `kind` says, once its form, key, issuer and audience are right.
    /// Time is not judged: [`Self::judge_time`] does that.
    pub fn open<T: DeserializeOwned>(&self, kind: &str, token: &str) -> Result<T, TokenError> {
        if token.len() > TOKEN_MAX {
            return Err(TokenError::Invalid);
        }
        let header = jsonwebtoken::decode_header(token).map_err(|_| TokenError::Invalid)?;
        let typ = header.typ.as_deref().unwrap_or_default().to_ascii_lowercase();
        let is_of_kind = typ.strip_prefix("application/").unwrap_or(&typ) == kind;
        let key = header.kid.as_ref().and_then(|kid| self.keys.get(kid));
        let key = key.filter(|_| is_of_kind && header.alg == Algorithm::ES256);
        let mut rules = Validation::new(Algorithm::ES256);
        rules.set_issuer(&[&self.expected.issuer]);
        rules.set_audience(&[&self.expected.audience]);
        rules.set_required_spec_claims(&["iss", "aud", "sub", "exp"]);
        // Time is judged by the plant's clock, which may be simulated.
        rules.validate_exp = false;
        decode::<T>(token, key.ok_or(TokenError::Invalid)?, &rules)
            .map(|data| data.claims)
            .map_err(|_| TokenError::Invalid)
    }

    /// Refuses what has expired or was issued in the future, by the plant's clock.
    pub fn judge_time(&self, issued_at: i64, expires_at: i64) -> Result<(), TokenError> {
        let now = self.clock.now().as_second();
        if expires_at.saturating_add(self.expected.leeway_s) <= now {
            return Err(TokenError::Expired);
        }
        // A token from the future comes from a clock that is off, or from a forger.
        if issued_at > now + FUTURE_MAX_S { Err(TokenError::Invalid) } else { Ok(()) }
    }

    fn remember(&self, hash: [u8; 32], claims: &Claims) {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        if seen.len() >= CACHE_MAX {
            let now = self.clock.now().as_second();
            seen.retain(|_, claims| claims.exp > now);
            if seen.len() >= CACHE_MAX {
                seen.clear();
            }
        }
        seen.insert(hash, claims.clone());
    }
}

/// The instant of a claim's seconds.
pub fn instant(seconds: i64) -> Timestamp {
    Timestamp::from_second(seconds).unwrap_or(Timestamp::UNIX_EPOCH)
}
