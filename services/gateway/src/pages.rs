//! Pages for people: server-rendered, in English and Spanish, over the hops of everything else.
//! They never hold a rule of the plant, and what they could not learn they show as missing.

mod answer;
mod asked;
mod assets;
mod chart;
mod chill;
mod cooking;
mod day;
mod deviations;
mod files;
mod forms;
mod guard;
mod holds;
mod instruments;
mod key;
mod keypad;
mod language;
mod layout;
mod letters;
mod live;
mod load;
mod lot_file;
mod lots;
mod methods;
mod open_items;
mod password;
mod people;
mod reading;
mod refresh;
mod review;
mod sentence;
mod session;
mod shipment;
mod shipment_check;
mod shown;
mod sign_in;
mod trace;
mod visit;
mod weigh;
mod words;

use std::sync::Arc;

use http::HeaderMap;
use platform::error::Kind;

pub use answer::{Answer, POLICY};
pub use asked::{Asked, Fields, Verb};
pub use key::Key;

use crate::Gateway;
use crate::problem::Problem;
use refresh::Refresher;
use session::{Sealer, Session};
use visit::Visit;

/// Every page that is shown; nothing else is answered to a browser that asks for a page.
pub const PAGES: [&str; 26] = [
    "/",
    "/sign-in",
    "/password",
    "/lots",
    "/lots/{lot}",
    "/lots/{lot}/trace",
    "/reading",
    "/reading/{lot}",
    "/reading/{lot}/{check}",
    "/readings/{reading}",
    "/weigh",
    "/weigh/{lot}",
    "/weighings/{weighing}",
    "/open-items",
    "/deviations",
    "/deviations/{deviation}",
    "/files/{file}",
    "/holds",
    "/holds/{hold}",
    "/review",
    "/shipment-check",
    "/shipments/{shipment}",
    "/loads/{load}",
    "/loads/{load}/chills/{rack}",
    "/people",
    "/people/{person}",
];

/// What is only sent to, and shows nothing itself.
pub const FORMS: [&str; 4] =
    ["/sign-out", "/language", "/loads/{load}/pulls", "/loads/{load}/probes-left-out"];

/// What all pages share.
pub struct Pages {
    gateway: Gateway,
    sealer: Sealer,
    refresher: Refresher,
}

impl Pages {
    /// The pages of a house.
    pub fn of(gateway: Gateway) -> Self {
        let sealer = Sealer::of(&gateway.page_key);
        Self { gateway, sealer, refresher: Refresher::default() }
    }

    /// The headers with which a page listens to the log, when its cookie opens. A token that has
    /// ended is not refreshed here: the next page does.
    pub fn listener(&self, asked: &HeaderMap, request_id: &str) -> Option<HeaderMap> {
        let session = self.sealer.open(asked)?;
        Some(visit::headers(Some(&session), request_id))
    }

    /// Answers what a browser asks; nothing where no page has that path.
    pub async fn answer(self: Arc<Self>, asked: Asked) -> Option<Answer> {
        let path = asked.path.clone();
        let segments: Vec<&str> = path.split('/').filter(|part| !part.is_empty()).collect();
        if let ["assets", name] = segments.as_slice() {
            return assets::find(name);
        }
        if !is_page(&segments) {
            return asked.wants_a_page().then(|| self.not_found(&asked));
        }
        if asked.verb == Verb::Post && !guard::is_from_here(&asked.headers) {
            return Some(self.refused(&asked, guard::refusal()));
        }
        Some(match segments.as_slice() {
            ["sign-in"] => sign_in::answer(&self, &asked).await,
            ["language"] => language::answer(&asked),
            _ => self.signed_in(&asked, &segments).await,
        })
    }

    /// A page that needs somebody who signed in.
    async fn signed_in(self: &Arc<Self>, asked: &Asked, segments: &[&str]) -> Answer {
        let Some(kept) = self.sealer.open(&asked.headers) else {
            return sign_in::lead_there(asked);
        };
        let fresh = match self.refresher.fresh(&self.gateway, kept.clone()).await {
            Ok(fresh) => fresh,
            Err(problem) if problem.kind == Kind::NotSignedIn => {
                return sign_in::lead_there(asked).with_cookie(session::emptied());
            }
            Err(problem) => return self.refused(asked, problem),
        };
        let first = self.within(asked, segments, &fresh).await;
        let (session, answered) = match first {
            // Rights may have changed since the token was given: the next one carries them.
            Err(problem) if problem.kind == Kind::NotSignedIn => {
                match self.refresher.next(&self.gateway, &fresh).await {
                    Ok(next) => (next.clone(), self.within(asked, segments, &next).await),
                    Err(_) => {
                        let away = sign_in::lead_there(asked);
                        return away.with_cookie(session::emptied());
                    }
                }
            }
            first => (fresh, first),
        };
        let visit = Visit::of(self.clone(), asked, Some(session.clone()));
        let answer = answered.unwrap_or_else(|problem| layout::problem(&visit, &problem));
        let is_newer = session.refresh_token != kept.refresh_token;
        match self.sealer.cookie(&session) {
            Some(cookie) if is_newer && !answer.sets_a_cookie() => answer.with_cookie(cookie),
            _ => answer,
        }
    }

    async fn within(
        self: &Arc<Self>,
        asked: &Asked,
        segments: &[&str],
        session: &Session,
    ) -> Result<Answer, Problem> {
        let visit = Visit::of(self.clone(), asked, Some(session.clone()));
        match (asked.verb, segments) {
            (Verb::Post, ["sign-out"]) => sign_in::out(&visit).await,
            (_, ["password"]) => password::answer(&visit).await,
            _ if session.must_change_password => Ok(Answer::see("/password")),
            (Verb::Get, []) => day::show(&visit).await,
            (Verb::Get, ["lots"]) => lots::list(&visit).await,
            (Verb::Get, ["lots", lot]) => lot_file::show(&visit, lot).await,
            (Verb::Get, ["lots", lot, "trace"]) => trace::show(&visit, lot).await,
            (Verb::Get, ["reading"]) => reading::choose_lot(&visit).await,
            (Verb::Get, ["reading", lot]) => reading::choose_check(&visit, lot).await,
            (_, ["reading", lot, check]) => reading::enter(&visit, lot, check).await,
            (_, ["readings", id]) => reading::result(&visit, id).await,
            (Verb::Get, ["weigh"]) => weigh::choose_lot(&visit).await,
            (_, ["weigh", lot]) => weigh::enter(&visit, lot).await,
            (Verb::Get, ["weighings", id]) => weigh::result(&visit, id).await,
            (Verb::Get, ["open-items"]) => open_items::show(&visit).await,
            (Verb::Get, ["deviations"]) => deviations::list(&visit).await,
            (_, ["deviations", id]) => deviations::one(&visit, id).await,
            (Verb::Get, ["files", id]) => files::take_away(&visit, id).await,
            (_, ["holds"]) => holds::list(&visit).await,
            (_, ["holds", id]) => holds::one(&visit, id).await,
            (_, ["review"]) => review::answer(&visit).await,
            (_, ["shipment-check"]) => shipment_check::answer(&visit).await,
            (Verb::Get, ["shipments", id]) => shipment::show(&visit, id).await,
            (Verb::Get, ["loads", load]) => load::show(&visit, load).await,
            (Verb::Post, ["loads", load, "pulls"]) => load::pull(&visit, load).await,
            (Verb::Post, ["loads", load, "probes-left-out"]) => load::leave_out(&visit, load).await,
            (_, ["loads", load, "chills", rack]) => chill::answer(&visit, load, rack).await,
            (Verb::Get, ["people"]) => people::list(&visit).await,
            (_, ["people", id]) => people::one(&visit, id).await,
            _ => Err(Problem::new(Kind::VerbNotAllowed, "")),
        }
    }

    fn not_found(self: &Arc<Self>, asked: &Asked) -> Answer {
        self.refused(asked, Problem::new(Kind::NoSuchOperation, ""))
    }

    fn refused(self: &Arc<Self>, asked: &Asked, problem: Problem) -> Answer {
        layout::problem(&Visit::of(self.clone(), asked, None), &problem)
    }
}

/// True for a path that some page has, whatever the verb.
fn is_page(segments: &[&str]) -> bool {
    PAGES.iter().chain(&FORMS).any(|path| is_of(path, segments))
}

/// True for segments of a path; a part of the path in braces stands for any.
fn is_of(path: &str, segments: &[&str]) -> bool {
    let parts: Vec<&str> = path.split('/').filter(|part| !part.is_empty()).collect();
    let is_same = |(part, segment): (&&str, &&str)| part.starts_with('{') || part == segment;
    parts.len() == segments.len() && parts.iter().zip(segments).all(is_same)
}
