//! Signature tickets: what identity signs for one call, and what a service reads from it.
//! It never asks anybody: one use is kept by the UNIQUE column `ticket` of the signed record.

use std::sync::Arc;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::caller::Call;
use crate::error::{Failure, Kind};
use crate::tokens::{AUDIENCE, ISSUER, Signer, TokenError, Verifier, instant};

/// How long a ticket is good.
pub const LIFE_S: i64 = 120;
/// What the head of a ticket calls it.
const KIND: &str = "hankbook-ticket+jwt";

/// A signature that was given for one call.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ticket {
    /// Its id: the record keeps it in a UNIQUE column named `ticket`.
    pub id: Uuid,
    /// Who signed.
    pub person: Uuid,
    /// The signer's name as it was.
    pub name: String,
    /// The method that was signed for: `hankbook.v1.Haccp/ApprovePlan`.
    pub method: String,
    /// What it was signed for: `plan:UUID`.
    pub subject: String,
    /// What the signature says.
    pub meaning: String,
    /// How the signer proved who they are: `password`.
    pub how: String,
    /// When it was given.
    pub signed_at: Timestamp,
}

impl Ticket {
    /// The signature as it stands in an entry: who, when, how and what it means.
    pub fn entry(&self) -> Value {
        json!({
            "ticket": self.id.to_string(),
            "person": self.person.to_string(),
            "name": self.name,
            "meaning": self.meaning,
            "how": self.how,
            "signed_at": self.signed_at.to_string(),
        })
    }
}

/// What a ticket says as a token.
#[derive(Debug, Serialize, Deserialize)]
struct Said {
    iss: String,
    aud: String,
    jti: Uuid,
    sub: String,
    name: String,
    sid: Uuid,
    method: String,
    subject: String,
    meaning: String,
    how: String,
    iat: i64,
    exp: i64,
}

/// Makes the ticket's text for a session of the signer.
pub fn issue(ticket: &Ticket, session: Uuid, signer: &Signer) -> Result<String, Failure> {
    let iat = ticket.signed_at.as_second();
    let said = Said {
        iss: ISSUER.into(),
        aud: AUDIENCE.into(),
        jti: ticket.id,
        sub: subject_of(ticket.person),
        name: ticket.name.clone(),
        sid: session,
        method: ticket.method.clone(),
        subject: ticket.subject.clone(),
        meaning: ticket.meaning.clone(),
        how: ticket.how.clone(),
        iat,
        exp: iat + LIFE_S,
    };
    signer.sign_as(KIND, &said).map_err(Failure::internal)
}

fn subject_of(person: Uuid) -> String {
    format!("person:{person}")
}

/// Reads tickets.
#[derive(Clone)]
pub struct Tickets {
    verifier: Arc<Verifier>,
}

impl Tickets {
    /// Tickets signed by the keys that a verifier knows.
    pub fn of(verifier: Arc<Verifier>) -> Self {
        Self { verifier }
    }

    /// The signature that came with a call on `subject`. It touches nothing, so it may run inside
    /// a write, after a repeated call was told by its record: its ticket may have expired since.
    /// Refused as [`Kind::SignatureNeeded`]: none, a forged or an expired one, one of another
    /// person or session, or for another method or subject.
    pub fn redeem(&self, call: &Call, subject: &str) -> Result<Ticket, Failure> {
        let person = call.person()?;
        let text = call.ticket().ok_or_else(|| {
            needed("Sign this: get a ticket by POST /v1/signatures, send it as Signature-Ticket.")
        })?;
        let said = self.verifier.open::<Said>(KIND, text).and_then(|said| {
            self.verifier.judge_time(said.iat, said.exp)?;
            Ok(said)
        });
        let said = said.map_err(|error| match error {
            TokenError::Expired => needed("The ticket has expired; sign again."),
            TokenError::Invalid => needed("The ticket is not valid; sign again."),
        })?;
        let method = call.method.trim_start_matches('/');
        let faults = [
            (said.sub != subject_of(person.id), "The ticket is of another person."),
            (said.sid != person.session, "The ticket is of another session; sign again."),
            (said.method != method, "The ticket is for another method; sign again."),
            (said.subject != subject, "The ticket is for something else; sign again."),
        ];
        if let Some((_, text)) = faults.into_iter().find(|(is_wrong, _)| *is_wrong) {
            return Err(needed(text));
        }
        Ok(Ticket {
            id: said.jti,
            person: person.id,
            name: said.name,
            method: said.method,
            subject: said.subject,
            meaning: said.meaning,
            how: said.how,
            signed_at: instant(said.iat),
        })
    }
}

fn needed(text: &str) -> Failure {
    Failure::new(Kind::SignatureNeeded, text)
}
