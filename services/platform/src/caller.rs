//! Who is calling, and the one gate that lets a call through before its message is decoded.
//! It never looks into a message and never trusts what stands in front of it.

use std::collections::HashMap;
use std::sync::{Arc, LazyLock};
use std::task::{Context, Poll};

use futures_util::future::{Either, Ready, ready};
use http::{HeaderMap, Request, Response};
use jiff::Timestamp;
use tonic::{Extensions, Status};
use tower::{Layer, Service};
use uuid::Uuid;
use wire::contract::{Access, Operation};
use wire::v1::Role;

use crate::clock::Clock;
use crate::error::{Failure, Kind};
use crate::revocation::Revocations;
use crate::tokens::{Claims, Verifier};

/// Header of the one-use signature ticket.
pub const TICKET_HEADER: &str = "signature-ticket";
/// Header of the idempotency key.
pub const KEY_HEADER: &str = "idempotency-key";
/// Header of the device's clock when it sent the call.
pub const DEVICE_TIME_HEADER: &str = "device-time";
/// Header of the draft version that the caller read.
pub const IF_MATCH_HEADER: &str = "if-match";
/// Header by which a caller asks that nothing be there yet.
pub const IF_NONE_MATCH_HEADER: &str = "if-none-match";
/// Ours: names one request in every log line.
pub const REQUEST_ID_HEADER: &str = "hankbook-request-id";

/// Who calls.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Party {
    /// Nobody who signed in.
    Anybody,
    /// A person, or a device of the plant.
    Person(Person),
    /// Another service, for itself.
    Service(String),
}

/// A person in a session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Person {
    /// The person's id.
    pub id: Uuid,
    /// The name as it goes into records.
    pub name: String,
    /// The session.
    pub session: Uuid,
    /// The station where the session was opened; empty where none was named.
    pub station: String,
    /// The roles held.
    pub roles: Vec<Role>,
}

/// One call: who, with what token and headers, received when.
#[derive(Clone, Debug)]
pub struct Call {
    /// Who calls.
    pub party: Party,
    /// The token as it came, to travel on.
    pub token: Option<String>,
    /// The method's path: `/hankbook.v1.Haccp/RecordReading`.
    pub method: &'static str,
    /// When it was received, by the plant's clock.
    pub received_at: Timestamp,
    /// The id in every log line.
    pub request_id: String,
    headers: Arc<Headers>,
}

/// The headers of ours that matter to handlers.
#[derive(Debug, Default)]
struct Headers {
    ticket: Option<String>,
    key: Option<String>,
    device_time: Option<String>,
    if_match: Option<String>,
    if_none_match: Option<String>,
}

impl Call {
    /// The call that the gate let through.
    pub fn of(extensions: &Extensions) -> Result<Self, Failure> {
        let call = extensions.get::<Call>().cloned();
        call.ok_or_else(|| Failure::internal("a call passed no gate"))
    }

    /// The person who calls; a service or nobody is refused.
    pub fn person(&self) -> Result<&Person, Failure> {
        match &self.party {
            Party::Person(person) => Ok(person),
            _ => Err(Failure::new(Kind::NotAllowed, "Only a person may do this.")),
        }
    }

    /// What stands in records as the one who entered them: the person's id, or `system/NAME`.
    pub fn entered_by(&self) -> String {
        match &self.party {
            Party::Person(person) => person.id.to_string(),
            Party::Service(name) => format!("system/{name}"),
            Party::Anybody => "nobody".into(),
        }
    }

    /// What scopes idempotency keys and fingerprints: the party, never its session.
    pub fn scope(&self) -> String {
        self.entered_by()
    }

    /// The signature ticket that came along.
    pub fn ticket(&self) -> Option<&str> {
        self.headers.ticket.as_deref()
    }

    /// The idempotency key, unquoted.
    pub fn key(&self) -> Option<&str> {
        self.headers.key.as_deref().map(|key| key.trim_matches('"'))
    }

    /// The condition on a draft.
    pub fn if_match(&self) -> Option<&str> {
        self.headers.if_match.as_deref()
    }

    /// True when the caller asks that nothing be there yet.
    pub fn is_first(&self) -> bool {
        self.headers.if_none_match.as_deref() == Some("*")
    }

    /// What to add to the claimed time of a device to get the plant's, in milliseconds.
    /// Refused: a `Device-Time` that is no RFC 3339 instant.
    pub fn offset_ms(&self) -> Result<Option<i64>, Failure> {
        let Some(text) = self.headers.device_time.as_deref() else {
            return Ok(None);
        };
        match text.parse::<Timestamp>() {
            Ok(device) => Ok(Some(self.received_at.duration_since(device).as_millis() as i64)),
            Err(_) => Err(Failure::fault("Device-Time", text, "must be an RFC 3339 instant")),
        }
    }
}

/// What the gate needs to know of the plant.
#[derive(Clone)]
pub struct Gatekeeper {
    /// Checks tokens.
    pub verifier: Arc<Verifier>,
    /// Ended sessions.
    pub revocations: Arc<Revocations>,
    /// The plant's clock.
    pub clock: Clock,
}

static BY_PATH: LazyLock<HashMap<&'static str, &'static Operation>> = LazyLock::new(|| {
    wire::contract::operations().iter().map(|found| (found.grpc_path.as_str(), found)).collect()
});

/// The operation of a gRPC path.
pub fn operation(path: &str) -> Option<&'static Operation> {
    BY_PATH.get(path).copied()
}

impl Gatekeeper {
    /// Lets a call through or refuses it, from its path and headers alone.
    pub fn admit(&self, path: &str, headers: &HeaderMap) -> Result<Call, Failure> {
        let operation = operation(path)
            .ok_or_else(|| Failure::new(Kind::NoSuchOperation, "There is no such operation."))?;
        let text = |name: &str| headers.get(name).and_then(|v| v.to_str().ok()).map(str::to_owned);
        let token = bearer(headers)?;
        let party = match &token {
            Some(token) => self.party(token)?,
            None => Party::Anybody,
        };
        allow(operation, &party)?;
        if self.revocations.is_stale() && needs_fresh_rights(operation) {
            let text = "Sign-outs cannot be checked now; readings are still taken.";
            return Err(Failure::new(Kind::Unavailable, text));
        }
        Ok(Call {
            party,
            token,
            method: operation.grpc_path.as_str(),
            received_at: self.clock.now(),
            request_id: text(REQUEST_ID_HEADER).unwrap_or_default(),
            headers: Arc::new(Headers {
                ticket: text(TICKET_HEADER),
                key: text(KEY_HEADER),
                device_time: text(DEVICE_TIME_HEADER),
                if_match: text(IF_MATCH_HEADER),
                if_none_match: text(IF_NONE_MATCH_HEADER),
            }),
        })
    }

    fn party(&self, token: &str) -> Result<Party, Failure> {
        let refused = |text: &str| Failure::new(Kind::NotSignedIn, text);
        let claims = self.verifier.verify(token).map_err(|error| refused(&sentence(&error)))?;
        if let Some(name) = claims.sub.strip_prefix("service:") {
            return Ok(Party::Service(name.to_owned()));
        }
        let person = person(&claims).ok_or_else(|| refused("The token is not valid."))?;
        if self.revocations.covers(person.session, person.id, claims.version) {
            return Err(refused("The session has ended or its rights have changed; refresh it."));
        }
        Ok(Party::Person(person))
    }
}

fn sentence(error: &crate::tokens::TokenError) -> String {
    let text = error.to_string();
    format!("{}{}.", text[..1].to_uppercase(), &text[1..])
}

fn person(claims: &Claims) -> Option<Person> {
    let id = claims.sub.strip_prefix("person:").or_else(|| claims.sub.strip_prefix("device:"))?;
    Some(Person {
        id: id.parse().ok()?,
        name: claims.name.clone(),
        session: claims.sid.parse().ok()?,
        station: claims.station.clone(),
        roles: claims.roles.iter().filter_map(|word| role(word)).collect(),
    })
}

/// The role of a word (`QA`).
pub fn role(word: &str) -> Option<Role> {
    Role::from_str_name(&format!("ROLE_{word}")).filter(|role| *role != Role::Unspecified)
}

/// The word of a role (`QA`).
pub fn role_word(role: Role) -> &'static str {
    role.as_str_name().trim_start_matches("ROLE_")
}

/// A bearer token, when there is one; two credentials or another scheme are refused.
fn bearer(headers: &HeaderMap) -> Result<Option<String>, Failure> {
    let mut values = headers.get_all(http::header::AUTHORIZATION).iter();
    let Some(first) = values.next() else { return Ok(None) };
    let refused = || Failure::new(Kind::NotSignedIn, "Send one bearer token.");
    if values.next().is_some() {
        return Err(refused());
    }
    let text = first.to_str().map_err(|_| refused())?;
    let (scheme, token) = text.split_once(' ').ok_or_else(refused)?;
    let is_bearer = scheme.eq_ignore_ascii_case("bearer") && !token.is_empty();
    if is_bearer { Ok(Some(token.to_owned())) } else { Err(refused()) }
}

fn allow(operation: &Operation, party: &Party) -> Result<(), Failure> {
    let allowed = match (&operation.access, party) {
        (Access::Open, _) => true,
        (Access::Internal, Party::Service(_)) => true,
        (Access::SignedIn, Party::Person(_)) => true,
        (Access::Roles(roles), Party::Person(person)) => {
            roles.iter().any(|role| person.roles.contains(role))
        }
        // What a service asks of another one it asks by INTERNAL methods or for its caller.
        _ => false,
    };
    if allowed {
        return Ok(());
    }
    if *party == Party::Anybody {
        return Err(Failure::new(Kind::NotSignedIn, "This needs a signed-in caller."));
    }
    let who = match &operation.access {
        Access::Roles(roles) => {
            let words: Vec<_> = roles.iter().map(|role| role_word(*role)).collect();
            format!("This needs one of the roles: {}.", words.join(", "))
        }
        _ => "This is not for you.".to_owned(),
    };
    Err(Failure::new(Kind::NotAllowed, who))
}

/// Signatures and administration wait for identity; readings do not.
fn needs_fresh_rights(operation: &Operation) -> bool {
    let is_administration = matches!(&operation.access, Access::Roles(roles)
        if roles.as_slice() == [Role::Administrator]);
    operation.signature || is_administration
}

/// The gate as a layer around a service's routes.
#[derive(Clone)]
pub struct Gate(pub Gatekeeper);

impl<S> Layer<S> for Gate {
    type Service = Gated<S>;

    fn layer(&self, inner: S) -> Gated<S> {
        Gated { keeper: self.0.clone(), inner }
    }
}

/// Routes behind the gate.
#[derive(Clone)]
pub struct Gated<S> {
    keeper: Gatekeeper,
    inner: S,
}

impl<S, B, R> Service<Request<B>> for Gated<S>
where
    S: Service<Request<B>, Response = Response<R>>,
    R: Default,
{
    type Response = S::Response;
    type Error = S::Error;
    type Future = Either<Ready<Result<S::Response, S::Error>>, S::Future>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, mut request: Request<B>) -> Self::Future {
        match self.keeper.admit(request.uri().path(), request.headers()) {
            Ok(call) => {
                request.extensions_mut().insert(call);
                Either::Right(self.inner.call(request))
            }
            Err(failure) => Either::Left(ready(Ok(Status::from(failure).into_http()))),
        }
    }
}
