//! Signature tickets: good once, for one person, one session, one method, one subject, two minutes.
//! It never signs with anything but what identity gave, except to show that others are refused.

use harness::Answer;
use platform::records::new_id;
use serde_json::{Value, json};

use super::super::crew::{Crew, PASSWORD};
use super::super::goods::{Goods, approval, draft};
use super::super::ledger;
use super::refused;

const APPROVE: &str = "Haccp/ApprovePlan";
const NEEDED: (u16, &str) = (403, "signature-needed");

/// A draft that waits for approval.
struct Waiting {
    crew: Crew,
    path: String,
    subject: String,
    draft_version: i64,
}

impl Waiting {
    async fn new() -> Self {
        let crew = Crew::start().await;
        let plan = new_id();
        let draft_version = draft(&crew.qa.client, &plan.to_string()).await;
        let path = format!("/v1/plans/{plan}/approve");
        Self { crew, path, subject: format!("plan:{plan}"), draft_version }
    }

    fn body(&self) -> Value {
        approval(self.draft_version)
    }

    /// Asserts that QA's approval with this ticket is refused.
    async fn refused(&self, name: &str, ticket: &str) -> Answer {
        let body = self.body();
        let call = self.crew.qa.with_ticket(ticket, &self.path, &body);
        let answer = refused(&self.crew.plant, NEEDED, call).await;
        assert!(!answer.text.contains(ticket), "{name}: the ticket is shown back");
        answer
    }
}

#[tokio::test]
async fn a_ticket_is_good_for_what_it_was_given_for_alone() {
    let waiting = Waiting::new().await;
    let (crew, subject) = (&waiting.crew, waiting.subject.as_str());
    let anybody = crew.plant.anybody();
    let qa = &crew.qa;
    let elsewhere = format!("plan:{}", new_id());
    waiting.refused("another subject", &qa.ticket(APPROVE, &elsewhere).await).await;
    let of_hold = qa.ticket("Genealogy/EndHold", subject).await;
    waiting.refused("another method", &of_hold).await;
    let second = crew.administrator.add(&anybody, "q.hart", "Quil Hart", "QA").await;
    waiting.refused("another person", &second.ticket(APPROVE, subject).await).await;
    let other_session = qa.again_at(&anybody, "q.ames", &crew.station).await;
    let ticket = other_session.ticket(APPROVE, subject).await;
    waiting.refused("another session", &ticket).await;
    waiting.refused("an access token", qa.token()).await;
    waiting.refused("no ticket at all", "let-me-sign").await;
    let good = qa.ticket(APPROVE, subject).await;
    let cut = &good[..good.len() - 4];
    waiting.refused("a cut one", cut).await;
    let manager = crew.manager.ticket(APPROVE, subject).await;
    let body = waiting.body();
    let call = crew.manager.with_ticket(&manager, &waiting.path, &body);
    refused(&crew.plant, (403, "not-allowed"), call).await;
    assert_eq!(qa.with_ticket(&good, &waiting.path, &body).await.ok()["version"], 1);
    waiting.crew.plant.stop().await;
}

#[tokio::test]
async fn a_ticket_signs_one_record() {
    let crew = Crew::start().await;
    let goods = Goods::of(&crew).await;
    let reading = crew.operator.client.post("/v1/readings", &goods.reading("35")).await.ok();
    let id = reading["reading"].as_str().expect("an id");
    let (subject, path) = (format!("reading:{id}"), format!("/v1/readings/{id}/amendments"));
    let body = || {
        json!({
            "id": new_id().to_string(), "readings": ["36"], "unit": "[degF]",
            "observedAt": goods.at, "reason": "Misread.",
        })
    };
    let ticket = crew.supervisor.ticket("Haccp/AmendReading", &subject).await;
    let first = body();
    let amended = crew.supervisor.with_ticket(&ticket, &path, &first).await.ok();
    let second = body();
    let call = crew.supervisor.with_ticket(&ticket, &path, &second);
    let answer = refused(&crew.plant, NEEDED, call).await;
    assert!(answer.json["detail"].to_string().contains("used"), "{}", answer.text);
    let again = crew.supervisor.with_ticket(&ticket, &path, &first).await.ok();
    assert_eq!(again, amended, "the same call again is not a second use");
    // Two at once with one ticket: one is signed.
    let ticket = crew.supervisor.ticket("Haccp/AmendReading", &subject).await;
    let (one, other) = (body(), body());
    let (one, other) = tokio::join!(
        crew.supervisor.with_ticket(&ticket, &path, &one),
        crew.supervisor.with_ticket(&ticket, &path, &other),
    );
    let mut seen = [one.status, other.status];
    seen.sort_unstable();
    assert_eq!(seen, [200, 403], "{} {}", one.text, other.text);
    ledger::assert_whole(&crew.plant.database.connect().await).await;
    crew.plant.stop().await;
}

#[tokio::test]
async fn a_ticket_lives_two_minutes() {
    let waiting = Waiting::new().await;
    let (crew, subject) = (&waiting.crew, waiting.subject.as_str());
    let ticket = crew.qa.ticket(APPROVE, subject).await;
    let late = crew.qa.ticket(APPROVE, subject).await;
    let step = async |to: &str| {
        crew.administrator.client.post("/simulation/clock", &json!({ "to": to })).await.ok()
    };
    step("2026-11-25T06:02:00Z").await;
    let answer = waiting.refused("two minutes old", &late).await;
    assert!(answer.json["detail"].to_string().contains("expired"), "{}", answer.text);
    let fresh = crew.qa.ticket(APPROVE, subject).await;
    step("2026-11-25T06:03:59Z").await;
    let body = waiting.body();
    let approved = crew.qa.with_ticket(&fresh, &waiting.path, &body).await.ok();
    step("2026-11-25T06:05:00Z").await;
    let again = crew.qa.with_ticket(&fresh, &waiting.path, &body).await.ok();
    assert_eq!(again, approved, "a repeated call is told by its record, not by its ticket");
    waiting.refused("five minutes old", &ticket).await;
    waiting.crew.plant.stop().await;
}

#[tokio::test]
async fn a_wrong_password_signs_nothing() {
    let crew = Crew::start().await;
    let body = |method: &str, password: &str| {
        json!({
            "password": password, "method": method, "subject": format!("plan:{}", new_id()),
            "meaning": "I approve this plan.",
        })
    };
    let (plant, qa) = (&crew.plant, &crew.qa.client);
    let approve = "hankbook.v1.Haccp/ApprovePlan";
    let wrong = body(approve, "not my password");
    let answer = refused(plant, NEEDED, qa.post("/v1/signatures", &wrong)).await;
    assert!(!answer.text.contains("not my password"));
    let read = body("hankbook.v1.Haccp/GetPlan", PASSWORD);
    let answer = refused(plant, (400, "bad-input"), qa.post("/v1/signatures", &read)).await;
    assert_eq!(answer.fields(), ["method"]);
    let call = plant.anybody();
    let call = call.post("/v1/signatures", &wrong);
    refused(plant, (401, "not-signed-in"), call).await;
    crew.plant.stop().await;
}

#[tokio::test]
async fn an_amendment_sent_twice_at_once_counts_once() {
    let crew = Crew::start().await;
    let goods = Goods::of(&crew).await;
    let database = crew.plant.database.connect().await;
    for round in 0..12 {
        let reading = crew.operator.client.post("/v1/readings", &goods.reading("35")).await.ok();
        let id = reading["reading"].as_str().expect("an id");
        let ticket = crew.supervisor.ticket("Haccp/AmendReading", &format!("reading:{id}")).await;
        let body = json!({
            "id": new_id().to_string(), "readings": ["36"], "unit": "[degF]",
            "observedAt": goods.at, "reason": "The wrong line was read.",
        });
        let path = format!("/v1/readings/{id}/amendments");
        let send = || crew.supervisor.with_ticket(&ticket, &path, &body);
        let (first, second, third) = tokio::join!(send(), send(), send());
        assert_eq!(first.ok(), second.ok());
        third.ok();
        let lot: uuid::Uuid = goods.lot.parse().expect("an id");
        let query = "SELECT version FROM genealogy.lot_safety WHERE lot = $1";
        let version: i64 = database.query_one(query, &[&lot]).await.expect("a version").get(0);
        assert_eq!(version, 2 + round, "one amendment makes a lot less safe once");
    }
    crew.plant.stop().await;
}
