//! Who is let in to the pages, how long, and what a browser is told to keep and to run.
//! It never looks into a cookie: it is opaque to browsers too.

use harness::Plant;
use serde_json::json;

use super::cooked::hidden;
use super::visitor::Visitor;
use crate::path::crew::{Crew, PASSWORD, printed_password};

#[tokio::test]
async fn the_first_administrator_takes_a_password_and_comes_in() {
    let plant = Plant::start().await;
    let mut visitor = Visitor::of(&plant);
    let asked = visitor.get("/lots?code=X").await.expect(303);
    assert_eq!(asked.location(), "/sign-in?back=%2Flots%3Fcode%3DX");
    assert_eq!(visitor.get("/").await.location(), "/sign-in");
    let printed = printed_password(&plant);
    let fields =
        [("name", "administrator"), ("password", printed), ("back", "//elsewhere.invalid")];
    let signed_in = visitor.post("/sign-in", &fields).await.expect(303);
    assert_eq!(signed_in.location(), "/password", "a password for one time");
    assert_eq!(visitor.get("/lots").await.location(), "/password", "nothing before it is changed");
    let wrong = [("old", printed), ("new", PASSWORD), ("again", "oak smoke at dusk")];
    visitor.post("/password", &wrong).await.expect(400).says(&["not the same"]);
    let right = [("old", printed), ("new", PASSWORD), ("again", PASSWORD)];
    assert_eq!(visitor.post("/password", &right).await.expect(303).location(), "/");
    visitor.get("/").await.expect(200).says(&["Administrator", "Simulated clock."]);
    plant.stop().await;
}

#[tokio::test]
async fn a_page_runs_nothing_and_its_cookie_is_sealed() {
    let crew = Crew::start().await;
    let mut visitor = Visitor::of(&crew.plant);
    let page = visitor.get("/sign-in").await.expect(200);
    let policy = page.header("content-security-policy");
    assert!(policy.starts_with("default-src 'none'; style-src 'self'"), "{policy}");
    assert!(!policy.contains("unsafe"), "{policy}");
    for inline in ["<script", "<style", " style=", " onclick=", "javascript:"] {
        assert!(!page.text.contains(inline), "{inline} is on the page");
    }
    let style = page.text.split("href=\"/assets/").nth(1).and_then(|rest| rest.split('"').next());
    let style =
        visitor.get(&format!("/assets/{}", style.expect("a style sheet"))).await.expect(200);
    assert!(style.header("cache-control").contains("immutable"));
    // 100 kB compressed is the most that a first page may weigh; this is not even compressed.
    assert!(page.text.len() + style.text.len() < 100_000);
    let wrong = visitor.post("/sign-in", &[("name", "q.ames"), ("password", "not the one")]).await;
    wrong.says(&["The name or the password is wrong."]);
    assert_eq!(wrong.status, 401);
    assert!(!wrong.text.contains("not the one"), "a password is never shown back");
    let signed_in =
        visitor.post("/sign-in", &[("name", "q.ames"), ("password", PASSWORD)]).await.expect(303);
    let cookie = signed_in.header("set-cookie");
    assert!(cookie.starts_with("__Host-hankbook="), "{cookie}");
    assert!(cookie.ends_with("; Path=/; Secure; HttpOnly; SameSite=Strict"), "{cookie}");
    assert!(cookie.len() < 4096, "browsers keep no more");
    assert!(!cookie.contains("eyJ"), "a token is not to be seen: {cookie}");
    crew.plant.stop().await;
}

#[tokio::test]
async fn a_form_from_elsewhere_is_refused() {
    let crew = Crew::start().await;
    let mut visitor = Visitor::signed_in(&crew.plant, "q.ames", PASSWORD).await;
    let form = || visitor.form("/sign-out", &[]);
    let elsewhere = form().header("origin", "https://elsewhere.invalid");
    let same_site = form().header("sec-fetch-site", "same-site");
    let silent = form();
    for request in [elsewhere, same_site, silent] {
        let refused = visitor.send(request).await.expect(403);
        refused.says(&["did not come from a page of this house"]);
    }
    visitor.get("/").await.expect(200).says(&["Quinn Ames"]);
    crew.plant.stop().await;
}

#[tokio::test]
async fn a_session_goes_on_while_somebody_is_there_and_ends_when_told() {
    let crew = Crew::start().await;
    let mut visitor = Visitor::signed_in(&crew.plant, "q.ames", PASSWORD).await;
    let mut tab = visitor.tab();
    let move_clock = async |to: &str| {
        // The administrator's own token ends with the time: a new session each time.
        let body = json!({ "to": to });
        crew.administrator.client.post("/simulation/clock", &body).await.ok();
    };
    move_clock("2026-11-25T06:09:00Z").await;
    let renewed = visitor.get("/").await.expect(200);
    assert!(
        renewed.header("set-cookie").starts_with("__Host-hankbook="),
        "the token neared its end"
    );
    let other = tab.get("/").await.expect(200);
    other.says(&["Quinn Ames"]);
    assert!(visitor.get("/").await.expect(200).header("set-cookie").is_empty(), "fresh enough");
    let out = visitor.post("/sign-out", &[]).await.expect(303);
    assert_eq!(out.location(), "/sign-in");
    assert!(visitor.cookies.is_empty(), "nothing is kept");
    // In every tab, as soon as the gate has heard that the session has ended.
    let mut led = tab.get("/").await;
    for _ in 0..200 {
        if led.status == 303 {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        led = tab.get("/").await;
    }
    assert_eq!(led.expect(303).location(), "/sign-in");
    crew.plant.stop().await;
}

#[tokio::test]
async fn an_administrator_adds_somebody_who_takes_a_password_of_their_own() {
    let crew = Crew::start().await;
    let mut office = Visitor::signed_in(&crew.plant, "administrator", PASSWORD).await;
    office.get("/people").await.expect(200).says(&["href=\"/people/new\""]);
    let form = office.get("/people/new").await.expect(200);
    let id = hidden(&form, "id");
    let mut said = vec![
        ("id", id.as_str()),
        ("name", "Pat Farrow"),
        ("sign-in-name", "Pat Farrow"),
        ("role", "OPERATOR"),
        ("role", "DOCK"),
        ("language", "es"),
        ("one-time-password", "cold iron at noon"),
    ];
    let refused = office.post("/people/new", &said).await.expect(400);
    refused.says(&["sign_in_name", "value=\"Pat Farrow\"", "value=\"DOCK\" checked"]);
    assert!(!refused.text.contains("cold iron"), "a password is never shown back");
    said[2] = ("sign-in-name", "p.farrow");
    assert_eq!(office.post("/people/new", &said).await.expect(303).location(), "/people");
    office.get("/people").await.expect(200).says(&["Pat Farrow", "Operator, Dock"]);
    let mut pat = Visitor::of(&crew.plant);
    let first = [("name", "p.farrow"), ("password", "cold iron at noon")];
    pat.post("/sign-in", &first).await.expect(303);
    assert_eq!(pat.get("/").await.expect(303).location(), "/password");
    // Nobody else changes anybody.
    let person = format!("/people/{id}");
    let mut operator = Visitor::signed_in(&crew.plant, "o.dean", PASSWORD).await;
    operator.get(&person).await.expect(200).says(&["Only an administrator"]);
    operator.post(&person, &said).await.expect(403).says(&["Only an administrator"]);
    // Out of use, Pat is led out.
    let form = office.get(&person).await.expect(200);
    form.says(&["value=\"OPERATOR\" checked", "name=\"in-use\" value=\"yes\" checked"]);
    said[0] = ("id", "");
    said[6] = ("one-time-password", "");
    office.post(&person, &said).await.expect(303);
    office.get("/people").await.expect(200).says(&["not in use"]);
    let again = Visitor::of(&crew.plant).post("/sign-in", &first).await;
    assert_eq!(again.status, 401, "{}", again.text);
    crew.plant.stop().await;
}

#[tokio::test]
async fn rights_that_change_are_seen_on_the_next_page() {
    let crew = Crew::start().await;
    let mut visitor = Visitor::signed_in(&crew.plant, "s.bell", PASSWORD).await;
    let body = json!({
        "id": platform::records::new_id().to_string(), "person": crew.supervisor.id,
        "signInName": "s.bell", "name": "Sasha Bell-Okoro", "roles": ["SUPERVISOR", "QA"],
    });
    crew.administrator.client.post("/v1/people", &body).await.ok();
    let mut page = visitor.get("/").await.expect(200);
    for _ in 0..200 {
        if page.text.contains("Bell-Okoro") {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        page = visitor.get("/").await.expect(200);
    }
    page.says(&["Sasha Bell-Okoro"]);
    crew.plant.stop().await;
}

#[tokio::test]
async fn programs_still_get_problems_and_people_get_pages() {
    let crew = Crew::start().await;
    let program = crew.plant.anybody().get("/nothing/here").await.expect(404);
    assert_eq!(program.problem(), "no-such-operation");
    let mut visitor = Visitor::of(&crew.plant);
    visitor.get("/nothing/here").await.expect(404).says(&["There is no such page."]);
    let request = visitor.form("/language", &[("language", "es"), ("back", "/sign-in")]);
    let request = request.header("sec-fetch-site", "same-origin");
    assert_eq!(visitor.send(request).await.expect(303).location(), "/sign-in");
    visitor.get("/sign-in").await.expect(200).says(&["lang=\"es\"", "Contraseña"]);
    crew.plant.stop().await;
}
