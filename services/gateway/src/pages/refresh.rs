//! Gets the next tokens of a session when its access token nears its end, once for all its tabs.
//! It never sends a refresh token twice: identity would take the second for a theft.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use platform::clock;
use tokio::sync::Mutex;
use wire::v1;

use super::methods;
use super::session::Session;
use crate::Gateway;
use crate::problem::Problem;

/// A token that ends within this time is refreshed before it is used.
const NEAR_S: i64 = 90;
/// How long a browser that lost an answer may still come with the tokens before.
const KEPT: Duration = Duration::from_secs(3600);
/// Sessions remembered at most.
const SESSIONS_MAX: usize = 10_000;

type Newest = Arc<Mutex<Option<Session>>>;

/// The newest tokens of each session that was refreshed here.
#[derive(Default)]
pub struct Refresher {
    sessions: Mutex<HashMap<String, (Instant, Newest)>>,
}

impl Refresher {
    /// The session with a token that still lasts.
    pub async fn fresh(&self, gateway: &Gateway, kept: Session) -> Result<Session, Problem> {
        let now = gateway.keeper.clock.now().as_second();
        if kept.ends_at_s - now > NEAR_S {
            return Ok(kept);
        }
        self.after(gateway, &kept, |session| session.ends_at_s - now > NEAR_S).await
    }

    /// The session with tokens newer than these: those may carry outdated rights.
    pub async fn next(&self, gateway: &Gateway, used: &Session) -> Result<Session, Problem> {
        let old = used.access_token.clone();
        self.after(gateway, used, |session| session.access_token != old).await
    }

    async fn after(
        &self,
        gateway: &Gateway,
        kept: &Session,
        is_good: impl Fn(&Session) -> bool,
    ) -> Result<Session, Problem> {
        let newest = self.newest(&kept.id).await;
        let mut newest = newest.lock().await;
        let last = newest.as_ref().unwrap_or(kept);
        if is_good(last) {
            return Ok(last.clone());
        }
        let question = v1::RefreshSessionRequest { refresh_token: last.refresh_token.clone() };
        let answer = methods::REFRESH_SESSION.ask(gateway, &question, Default::default()).await?;
        let session = Session::of(answer, &gateway.keeper.clock);
        *newest = Some(session.clone());
        Ok(session)
    }

    async fn newest(&self, id: &str) -> Newest {
        let now = clock::monotonic();
        let mut sessions = self.sessions.lock().await;
        if sessions.len() >= SESSIONS_MAX {
            sessions.retain(|_, (used, _)| now.duration_since(*used) < KEPT);
        }
        let entry = sessions.entry(id.to_owned()).or_insert_with(|| (now, Newest::default()));
        entry.0 = now;
        entry.1.clone()
    }

    /// Forgets a session that has ended.
    pub async fn forget(&self, id: &str) {
        self.sessions.lock().await.remove(id);
    }
}
