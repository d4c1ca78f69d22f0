//! One request of somebody, with what every page needs to answer it.
//! It never decides what somebody may do: the services do.

use std::sync::Arc;

use http::HeaderMap;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use platform::caller::{KEY_HEADER, REQUEST_ID_HEADER, TICKET_HEADER};
use platform::error::Kind;
use platform::records;
use prost::Message;
use wire::v1;

use super::Pages;
use super::asked::Asked;
use super::methods::{CREATE_SIGNATURE, Method, put};
use super::session::Session;
use super::words::{Language, Words};
use crate::problem::Problem;

/// Rows of one page of a list that is read whole.
const ROWS: i32 = 1000;
/// Pages of a list that is read whole; what lies beyond is told.
const PAGES_MAX: usize = 5;

/// A list that was read as far as it is shown.
#[derive(Debug)]
pub struct Whole<T> {
    /// The rows.
    pub rows: Vec<T>,
    /// True when there are more than were read.
    pub has_more: bool,
}

/// What a signature is about.
pub struct Signing {
    /// Kind and id of what is signed for.
    pub subject: String,
    /// The message that says what it means, as it stood beside the password.
    pub meaning: &'static str,
}

/// A request of a browser.
pub struct Visit {
    /// What all pages share.
    pub pages: Arc<Pages>,
    /// What was asked.
    pub asked: Asked,
    /// Who asks.
    pub session: Option<Session>,
    /// In whose words it is answered.
    pub words: &'static Words,
    /// The plant's settings in force.
    pub settings: v1::PlantSettings,
    /// The plant's zone, UTC while it is not known.
    pub zone: TimeZone,
}

impl Visit {
    /// A visit.
    pub fn of(pages: Arc<Pages>, asked: &Asked, session: Option<Session>) -> Self {
        let of_person = session.as_ref().map(|session| session.language.as_str());
        let words = Words::of(Language::of(asked, of_person));
        let settings = pages.gateway.plant.settings();
        let zone = TimeZone::get(&settings.zone).unwrap_or(TimeZone::UTC);
        Self { pages, asked: asked.clone(), session, words, settings, zone }
    }

    /// The instant by the plant's clock.
    pub fn now(&self) -> Timestamp {
        self.pages.gateway.keeper.clock.now()
    }

    /// True for an instant that has passed.
    pub fn is_past(&self, at: &str) -> bool {
        at.parse::<Timestamp>().is_ok_and(|at| at < self.now())
    }

    /// True when the plant's time is invented.
    pub fn is_simulated(&self) -> bool {
        self.pages.gateway.keeper.clock.is_simulated()
    }

    /// True when one of the roles is held.
    pub fn holds(&self, roles: &[v1::Role]) -> bool {
        self.session.as_ref().is_some_and(|session| session.holds(roles))
    }

    /// The headers of a question: who asks, and under which id it is logged.
    pub fn headers(&self) -> HeaderMap {
        headers(self.session.as_ref(), &self.asked.request_id)
    }

    /// Asks a service.
    pub async fn ask<Q: Message, A: Message + Default>(
        &self,
        method: Method<Q, A>,
        question: Q,
    ) -> Result<A, Problem> {
        method.ask(&self.pages.gateway, &question, self.headers()).await
    }

    /// Asks a service to change what has no record of its own.
    pub async fn ask_once<Q: Message, A: Message + Default>(
        &self,
        method: Method<Q, A>,
        question: Q,
    ) -> Result<A, Problem> {
        let mut headers = self.headers();
        put(&mut headers, KEY_HEADER, &records::new_id().to_string());
        method.ask(&self.pages.gateway, &question, headers).await
    }

    /// Asks a service for what is signed: the password of the form gives the ticket for this call.
    pub async fn ask_signed<Q: Message, A: Message + Default>(
        &self,
        method: Method<Q, A>,
        question: Q,
        signing: Signing,
    ) -> Result<A, Problem> {
        let asked = v1::CreateSignatureRequest {
            password: self.asked.form.raw("password").to_owned(),
            method: method.signed_name().to_owned(),
            subject: signing.subject,
            meaning: self.words.say(signing.meaning),
        };
        let ticket = self.ask(CREATE_SIGNATURE, asked).await?;
        let mut headers = self.headers();
        put(&mut headers, TICKET_HEADER, &ticket.ticket);
        method.ask(&self.pages.gateway, &question, headers).await
    }

    /// Reads a list whole, as far as it is shown. `page` asks for one page by its size and token.
    pub async fn whole<T, F>(&self, page: impl Fn(i32, String) -> F) -> Result<Whole<T>, Problem>
    where
        F: Future<Output = Result<(Vec<T>, String), Problem>>,
    {
        let (mut rows, mut token) = (Vec::new(), String::new());
        for _ in 0..PAGES_MAX {
            let (mut more, next) = page(ROWS, token).await?;
            rows.append(&mut more);
            if next.is_empty() {
                return Ok(Whole { rows, has_more: false });
            }
            token = next;
        }
        Ok(Whole { rows, has_more: true })
    }
}

/// The headers of a question of somebody.
pub fn headers(session: Option<&Session>, request_id: &str) -> HeaderMap {
    let mut headers = HeaderMap::new();
    put(&mut headers, REQUEST_ID_HEADER, request_id);
    if let Some(session) = session {
        put(&mut headers, "authorization", &format!("Bearer {}", session.access_token));
    }
    headers
}

/// True for a problem that is no missing part but somebody who must sign in again.
pub fn is_signed_out(problem: &Problem) -> bool {
    problem.kind == Kind::NotSignedIn
}
