//! A ticket is good for its signer, session, method and subject, and for two minutes.
//! It never waits: the clock is held.

use std::sync::Arc;

use http::HeaderMap;
use http::header::AUTHORIZATION;
use platform::caller::{Call, Gatekeeper, TICKET_HEADER};
use platform::clock::Clock;
use platform::error::Kind;
use platform::revocation::Revocations;
use platform::tickets::{Ticket, Tickets, issue};
use platform::tokens::{AUDIENCE, Claims, ISSUER, LIFE_S, Signer, Verifier, instant};
use uuid::Uuid;

const METHOD: &str = "/hankbook.v1.Genealogy/GetPlace";
const SUBJECT: &str = "place:0197a1c2-7d1e-7000-8000-000000000001";

struct Desk {
    keeper: Gatekeeper,
    signer: Signer,
    clock: Clock,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let signer = Signer::open_or_create(&folder.path().join("token.der")).expect("a key");
        let clock = Clock::simulated(instant(1_000));
        let verifier = Verifier::new(&[signer.public().clone()], clock.clone());
        let verifier = Arc::new(verifier.expect("a verifier"));
        let revocations = Arc::new(Revocations::default());
        let keeper = Gatekeeper { verifier, revocations, clock: clock.clone() };
        Self { keeper, signer, clock }
    }

    fn token(&self, person: Uuid, session: Uuid) -> String {
        let claims = Claims {
            iss: ISSUER.into(),
            aud: vec![AUDIENCE.into()],
            sub: format!("person:{person}"),
            client_id: "test".into(),
            iat: 1_000,
            exp: 1_000 + LIFE_S,
            jti: "1".into(),
            sid: session.to_string(),
            name: "Ana".into(),
            roles: Vec::new(),
            station: String::new(),
            version: 1,
        };
        self.signer.sign(&claims).expect("a token")
    }

    /// A call of person 1 in session 2, with a ticket.
    fn call(&self, ticket: Option<&str>) -> Call {
        let token = self.token(Uuid::from_u128(1), Uuid::from_u128(2));
        let mut headers = HeaderMap::new();
        let bearer = format!("Bearer {token}").parse().expect("a header");
        headers.insert(AUTHORIZATION, bearer);
        if let Some(ticket) = ticket {
            headers.insert(TICKET_HEADER, ticket.parse().expect("a header"));
        }
        self.keeper.admit(METHOD, &headers).expect("a signed-in call")
    }

    fn redeem(&self, ticket: Option<&str>, subject: &str) -> Result<Ticket, String> {
        let tickets = Tickets::of(self.keeper.verifier.clone());
        tickets.redeem(&self.call(ticket), subject).map_err(|failure| {
            assert_eq!(failure.kind, Kind::SignatureNeeded);
            failure.detail
        })
    }

    fn given(&self) -> Ticket {
        Ticket {
            id: Uuid::from_u128(3),
            person: Uuid::from_u128(1),
            name: "Ana".into(),
            method: METHOD.trim_start_matches('/').into(),
            subject: SUBJECT.into(),
            meaning: "I approve this.".into(),
            how: "password".into(),
            signed_at: instant(1_000),
        }
    }

    fn text(&self, ticket: &Ticket) -> String {
        issue(ticket, Uuid::from_u128(2), &self.signer).expect("a ticket")
    }
}

#[test]
fn a_ticket_says_who_signed_what() {
    let desk = Desk::new();
    let given = desk.given();
    assert_eq!(desk.redeem(Some(&desk.text(&given)), SUBJECT), Ok(given));
}

#[test]
fn a_ticket_is_good_for_nothing_else() {
    let desk = Desk::new();
    let refused = |ticket: Option<&str>, subject: &str, begins: &str| {
        let text = desk.redeem(ticket, subject).expect_err("a refusal");
        assert!(text.starts_with(begins), "{text}");
    };
    refused(None, SUBJECT, "Sign this");
    refused(Some("e30.e30.e30"), SUBJECT, "The ticket is not valid");
    let own = desk.text(&desk.given());
    refused(Some(&own), "place:other", "The ticket is for something else");
    refused(Some(&Desk::new().text(&desk.given())), SUBJECT, "The ticket is not valid");
    let token = desk.token(Uuid::from_u128(1), Uuid::from_u128(2));
    refused(Some(&token), SUBJECT, "The ticket is not valid");
    let other = Ticket { person: Uuid::from_u128(9), ..desk.given() };
    refused(Some(&desk.text(&other)), SUBJECT, "The ticket is of another person");
    let other = Ticket { method: "hankbook.v1.Haccp/Other".into(), ..desk.given() };
    refused(Some(&desk.text(&other)), SUBJECT, "The ticket is for another method");
    let other = issue(&desk.given(), Uuid::from_u128(8), &desk.signer).expect("a ticket");
    refused(Some(&other), SUBJECT, "The ticket is of another session");
}

#[test]
fn a_ticket_lasts_two_minutes_by_the_plants_clock() {
    let desk = Desk::new();
    let text = desk.text(&desk.given());
    desk.clock.move_to(instant(1_119)).expect("forwards");
    assert!(desk.redeem(Some(&text), SUBJECT).is_ok());
    desk.clock.move_to(instant(1_120)).expect("forwards");
    let refused = desk.redeem(Some(&text), SUBJECT).expect_err("a refusal");
    assert_eq!(refused, "The ticket has expired; sign again.");
}
