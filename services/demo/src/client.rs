//! The plant as its people meet it: signed in, with tokens that run out, by REST alone.
//! It never makes a token and never knows a person's rights: the plant answers.

use std::collections::HashMap;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use reqwest::Method;
use serde_json::{Value, json};

use crate::ids::Chance;
use crate::tables::people::PASSWORD;
use crate::{Done, Failed};

/// How long before its end a token is changed for the next one.
const EARLY: SignedDuration = SignedDuration::from_secs(120);
/// How often a call is sent again that the plant says may be.
const TRIES: usize = 40;
/// How long to wait before it is.
const WAIT: Duration = Duration::from_millis(25);
/// Who moves the clock.
pub const ADMINISTRATOR: &str = "administrator";

/// A call that was not taken.
#[derive(Debug, thiserror::Error)]
#[error("at {at} {who} was refused {what} ({status}): {text}")]
pub struct Refused {
    at: Timestamp,
    who: String,
    what: String,
    status: u16,
    text: String,
}

/// What came back.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The body.
    pub json: Value,
}

/// A call to make.
#[derive(Clone, Debug)]
pub struct Call<'c> {
    method: Method,
    path: &'c str,
    body: Option<&'c Value>,
    header: Option<(&'static str, String)>,
}

/// What somebody signs.
#[derive(Clone, Copy, Debug)]
pub struct Signed<'s> {
    /// Who.
    pub who: &'s str,
    /// Haccp/ApprovePlan.
    pub method: &'s str,
    /// plan:ID
    pub subject: &'s str,
    /// What the signature says.
    pub meaning: &'s str,
}

#[derive(Clone, Debug)]
struct Session {
    access_token: String,
    refresh_token: String,
    expires_at: Timestamp,
}

/// A running plant.
pub struct Plant {
    base: String,
    http: reqwest::Client,
    sessions: HashMap<String, Session>,
    /// What the plant's clock shows.
    pub now: Timestamp,
    /// Where ids come from.
    pub chance: Chance,
    /// How many calls were made.
    pub calls: usize,
}

impl Plant {
    /// The plant at an address, once it is ready.
    pub async fn joined(base: &str, seed: u64, now: Timestamp) -> Result<Self, Failed> {
        let base = base.trim_end_matches('/').to_owned();
        let http = reqwest::Client::new();
        let sessions = HashMap::new();
        let chance = Chance::new(seed);
        let plant = Self { base, http, sessions, now, chance, calls: 0 };
        let mut tries = 0;
        while plant.http.get(format!("{}/readyz", plant.base)).send().await?.status() != 200 {
            tries += 1;
            if tries > 400 {
                return Err(format!("the plant at {} does not become ready", plant.base).into());
            }
            tokio::time::sleep(WAIT).await;
        }
        Ok(plant)
    }

    /// A new record's id.
    pub fn id(&mut self) -> String {
        self.chance.id(self.now).to_string()
    }

    /// Opens a session.
    pub async fn sign_in(&mut self, who: &str, password: &str) -> Result<Value, Failed> {
        let body = json!({ "signInName": who, "password": password });
        let call = Call { header: None, ..Call::post("/v1/sessions", &body) };
        let answer = self.send(call, None).await?;
        let session = self.ok((who, "a session"), answer)?;
        self.keep(who, &session);
        Ok(session)
    }

    /// A person's first session: the one-time password is changed for the demo's.
    pub async fn settle(&mut self, who: &str, one_time: &str) -> Done {
        self.sign_in(who, one_time).await?;
        let body = json!({ "oldPassword": one_time, "newPassword": PASSWORD });
        let path = "/v1/people/me/password";
        let header = Some(("idempotency-key", self.id()));
        let answer = self.call(who, Call { header, ..Call::post(path, &body) }).await?;
        self.ok((who, path), answer)?;
        self.refresh(who).await
    }

    fn keep(&mut self, who: &str, session: &Value) {
        let text = |name: &str| session[name].as_str().unwrap_or_default().to_owned();
        let life_s = session["expiresInS"].as_i64().unwrap_or_default();
        let session = Session {
            access_token: text("accessToken"),
            refresh_token: text("refreshToken"),
            expires_at: self.now + SignedDuration::from_secs(life_s),
        };
        self.sessions.insert(who.to_owned(), session);
    }

    async fn refresh(&mut self, who: &str) -> Done {
        let Some(session) = self.sessions.get(who) else {
            return Err(format!("{who} is not signed in").into());
        };
        let body = json!({ "refreshToken": session.refresh_token });
        let answer = self.send(Call::post("/v1/sessions/refresh", &body), None).await?;
        let session = self.ok((who, "the next tokens"), answer)?;
        self.keep(who, &session);
        Ok(())
    }

    /// Moves the clock on; nothing where it shows that already.
    pub async fn move_to(&mut self, at: Timestamp) -> Done {
        if at <= self.now {
            return Ok(());
        }
        let body = json!({ "to": at.to_string() });
        self.post(ADMINISTRATOR, "/simulation/clock", &body).await?;
        self.now = at;
        Ok(())
    }

    /// GET that must be answered.
    pub async fn get(&mut self, who: &str, path: &str) -> Result<Value, Failed> {
        let call = Call { method: Method::GET, path, body: None, header: None };
        let answer = self.call(who, call).await?;
        self.ok((who, path), answer)
    }

    /// POST that must be taken.
    pub async fn post(&mut self, who: &str, path: &str, body: &Value) -> Result<Value, Failed> {
        let answer = self.call(who, Call::post(path, body)).await?;
        self.ok((who, path), answer)
    }

    /// POST that the plant must refuse, for the reasons that are given back.
    pub async fn refused(&mut self, who: &str, path: &str, body: &Value) -> Result<Value, Failed> {
        let answer = self.call(who, Call::post(path, body)).await?;
        match answer.status {
            409 => Ok(answer.json),
            _ => Err(format!("{path} was to be refused: {}", answer.json).into()),
        }
    }

    /// PUT of something that was never there.
    pub async fn put_first(
        &mut self,
        who: &str,
        path: &str,
        body: &Value,
    ) -> Result<Value, Failed> {
        let header = Some(("if-none-match", "*".to_owned()));
        let call = Call { method: Method::PUT, path, body: Some(body), header };
        let answer = self.call(who, call).await?;
        self.ok((who, path), answer)
    }

    /// A signed POST that must be taken.
    pub async fn sign(
        &mut self,
        signed: Signed<'_>,
        path: &str,
        body: &Value,
    ) -> Result<Value, Failed> {
        let answer = self.try_sign(signed, path, body).await?;
        self.ok((signed.who, path), answer)
    }

    /// A signed POST; gives whatever is answered.
    pub async fn try_sign(
        &mut self,
        signed: Signed<'_>,
        path: &str,
        body: &Value,
    ) -> Result<Answer, Failed> {
        let Signed { who, method, subject, meaning } = signed;
        let asked = json!({
            "password": PASSWORD, "method": format!("hankbook.v1.{method}"),
            "subject": subject, "meaning": meaning,
        });
        let given = self.post(who, "/v1/signatures", &asked).await?;
        let ticket = given["ticket"].as_str().unwrap_or_default().to_owned();
        let header = Some(("signature-ticket", ticket));
        self.call(who, Call { header, ..Call::post(path, body) }).await
    }

    /// Looks again until something is as it must be: messages between services need a moment.
    pub async fn until(
        &mut self,
        path: &str,
        is_so: impl Fn(&Value) -> bool,
    ) -> Result<Value, Failed> {
        for _ in 0..400 {
            let found = self.get("dana", path).await?;
            if is_so(&found) {
                return Ok(found);
            }
            tokio::time::sleep(WAIT).await;
        }
        Err(format!("{path} never came to be as it must").into())
    }

    async fn call(&mut self, who: &str, call: Call<'_>) -> Result<Answer, Failed> {
        let is_old = |session: &Session| session.expires_at <= self.now + EARLY;
        if self.sessions.get(who).is_none_or(is_old) {
            self.refresh(who).await?;
        }
        let token = self.sessions.get(who).map(|session| session.access_token.clone());
        self.send(call, token).await
    }

    async fn send(&mut self, call: Call<'_>, token: Option<String>) -> Result<Answer, Failed> {
        let Call { method, path, body, header } = call;
        let mut tries = 0;
        loop {
            let url = format!("{}{path}", self.base);
            let mut request = self.http.request(method.clone(), url);
            if let Some(token) = &token {
                request = request.bearer_auth(token);
            }
            if let Some((name, value)) = &header {
                request = request.header(*name, value);
            }
            if let Some(body) = body {
                request = request.json(body);
            }
            self.calls += 1;
            let response = request.send().await?;
            let status = response.status().as_u16();
            let json: Value = response.json().await?;
            let again = status != 200 && json["repeat"] == true && tries < TRIES;
            if !again {
                return Ok(Answer { status, json });
            }
            tries += 1;
            tokio::time::sleep(WAIT).await;
        }
    }

    /// The body of an answer that must be 200.
    pub fn ok(&self, (who, what): (&str, &str), answer: Answer) -> Result<Value, Failed> {
        if answer.status == 200 {
            return Ok(answer.json);
        }
        let (who, what, text) = (who.to_owned(), what.to_owned(), answer.json.to_string());
        Err(Refused { at: self.now, who, what, status: answer.status, text }.into())
    }
}

impl<'c> Call<'c> {
    fn post(path: &'c str, body: &'c Value) -> Self {
        Self { method: Method::POST, path, body: Some(body), header: None }
    }
}

/// A text of an answer.
pub fn word(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}
