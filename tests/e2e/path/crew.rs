//! The people of a plant, from its first start on: each signs in with a password of their own.
//! It never makes a token itself: identity gives them all.

use harness::{Answer, Client, Plant};
use platform::records::new_id;
use serde_json::{Value, json};

/// The password that everybody takes in the end.
pub const PASSWORD: &str = "oak smoke at dawn";

/// Somebody who is signed in.
#[derive(Clone)]
pub struct Person {
    /// Their client.
    pub client: Client,
    /// The last answer about their session.
    pub session: Value,
    /// Their id.
    pub id: String,
}

/// A plant with its people, signed in.
pub struct Crew {
    pub plant: Plant,
    pub administrator: Person,
    pub qa: Person,
    pub supervisor: Person,
    pub operator: Person,
    pub manager: Person,
    /// The station at which the operator stands.
    pub station: String,
}

impl Crew {
    /// Starts a plant and brings everybody in.
    pub async fn start() -> Self {
        let plant = Plant::start().await;
        let anybody = plant.anybody();
        let administrator = Person::first(&plant).await;
        let station = station(&administrator).await;
        let qa = administrator.add(&anybody, "q.ames", "Quinn Ames", "QA").await;
        let supervisor = administrator.add(&anybody, "s.bell", "Sasha Bell", "SUPERVISOR").await;
        let manager = administrator.add(&anybody, "m.cole", "Morgan Cole", "MANAGER").await;
        let operator = administrator.add(&anybody, "o.dean", "Ollie Dean", "OPERATOR").await;
        let operator = operator.again_at(&anybody, "o.dean", &station).await;
        Self { plant, administrator, qa, supervisor, operator, manager, station }
    }
}

/// The password that the first start printed.
pub fn printed_password(plant: &Plant) -> &str {
    let mark = "Sign in as administrator with password ";
    let found = plant.printed.iter().find_map(|line| line.strip_prefix(mark));
    found.expect("the first start prints a password")
}

/// Opens a session.
pub async fn sign_in(anybody: &Client, name: &str, password: &str, station: &str) -> Answer {
    let body = json!({ "signInName": name, "password": password, "station": station });
    anybody.post("/v1/sessions", &body).await
}

async fn station(administrator: &Person) -> String {
    let body = json!({ "id": new_id().to_string(), "name": "Receiving desk" });
    let made = administrator.client.post("/v1/stations", &body).await.ok();
    made["station"].as_str().expect("an id").to_owned()
}

impl Person {
    /// Whoever a session was granted to.
    pub fn of(anybody: &Client, session: Value) -> Self {
        let token = session["accessToken"].as_str().expect("a token");
        let id = session["person"].as_str().expect("an id").to_owned();
        Self { client: anybody.with_token(token), session, id }
    }

    /// The first administrator, with a password of their own.
    pub async fn first(plant: &Plant) -> Self {
        let (anybody, printed) = (plant.anybody(), printed_password(plant));
        let session = sign_in(&anybody, "administrator", printed, "").await.ok();
        Self::of(&anybody, session).settled(&anybody, printed).await
    }

    /// The same person once the one-time password has been changed.
    pub async fn settled(self, anybody: &Client, one_time: &str) -> Self {
        self.change_password(one_time, PASSWORD).await.ok();
        self.refreshed(anybody).await
    }

    /// Changes the password.
    pub async fn change_password(&self, old: &str, new: &str) -> Answer {
        let body = json!({ "oldPassword": old, "newPassword": new });
        let key = new_id().to_string();
        let key = [("idempotency-key", key.as_str())];
        self.client.post_with("/v1/people/me/password", &body, &key).await
    }

    /// The same person with the next tokens of the session.
    pub async fn refreshed(&self, anybody: &Client) -> Self {
        Self::of(anybody, self.refresh(anybody).await.ok())
    }

    /// Sends the refresh token.
    pub async fn refresh(&self, anybody: &Client) -> Answer {
        let body = json!({ "refreshToken": self.session["refreshToken"] });
        anybody.post("/v1/sessions/refresh", &body).await
    }

    /// Adds somebody with one role, who signs in and takes a password of their own.
    pub async fn add(&self, anybody: &Client, sign_in_name: &str, name: &str, role: &str) -> Self {
        let one_time = "one time only 1";
        let body = json!({
            "id": new_id().to_string(), "signInName": sign_in_name, "name": name,
            "roles": [role], "oneTimePassword": one_time,
        });
        self.client.post("/v1/people", &body).await.ok();
        let session = sign_in(anybody, sign_in_name, one_time, "").await.ok();
        Self::of(anybody, session).settled(anybody, one_time).await
    }

    /// The same person in a session of their own at a station.
    pub async fn again_at(&self, anybody: &Client, sign_in_name: &str, station: &str) -> Self {
        Self::of(anybody, sign_in(anybody, sign_in_name, PASSWORD, station).await.ok())
    }

    /// A ticket for one call; its password is entered anew.
    pub async fn ticket(&self, method: &str, subject: &str) -> String {
        let body = json!({
            "password": PASSWORD, "method": format!("hankbook.v1.{method}"),
            "subject": subject, "meaning": "I have looked at it and I stand for it.",
        });
        let given = self.client.post("/v1/signatures", &body).await.ok();
        given["ticket"].as_str().expect("a ticket").to_owned()
    }

    /// A signed call: a ticket for the method on the subject goes along.
    pub async fn signed(
        &self,
        (method, subject): (&str, &str),
        path: &str,
        body: &Value,
    ) -> Answer {
        let ticket = self.ticket(method, subject).await;
        self.with_ticket(&ticket, path, body).await
    }

    /// A call with a ticket.
    pub async fn with_ticket(&self, ticket: &str, path: &str, body: &Value) -> Answer {
        self.client.post_with(path, body, &[("signature-ticket", ticket)]).await
    }

    /// The access token.
    pub fn token(&self) -> &str {
        self.client.token().expect("a signed-in person")
    }
}
