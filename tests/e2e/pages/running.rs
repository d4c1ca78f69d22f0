//! The pages of what runs: the day, a load that is pulled on its page, a chill read by hand.
//! It never sends what a form of the house did not offer.

use super::busy::Busy;
use super::cooked::hidden;
use super::visitor::{Page, Visitor};
use super::work::fresh;
use crate::path::crew::PASSWORD;

/// One day for all of it: it is long to play.
#[tokio::test]
async fn what_runs_is_seen_read_and_pulled_on_pages() {
    let busy = Busy::play().await;
    the_day_shows_what_is_due_and_what_runs(&busy).await;
    a_page_listens_to_the_log_with_its_cookie_alone(&busy).await;
    a_reading_names_its_thermometer(&busy).await;
    a_chill_is_read_by_hand_on_its_page(&busy).await;
    a_load_is_pulled_on_its_page_and_never_by_mistake(&busy).await;
    a_trace_is_drawn_and_listed(&busy).await;
    busy.cooked.day.close().await;
}

async fn the_day_shows_what_is_due_and_what_runs(busy: &Busy) {
    let mut supervisor = Visitor::signed_in(busy.cooked.plant(), "marcus", PASSWORD).await;
    let page = supervisor.get("/").await.expect(200);
    page.says(&[
        "Look at No. 5 Ring: CCP-1",
        "class=\"mark is-overdue\"",
        "Read the chill of rack",
        "class=\"mark is-due\"",
        "37\u{a0}°F to the limit",
        "R-1 not met",
        "Chill CCP-2 No. 1 Rope running",
        "Load No. 5 Ring",
        "Blast cell",
        "data-live",
    ]);
    // What is overdue comes before what is only due.
    let at = |text: &str| page.text.find(text).unwrap_or_else(|| panic!("{text} is not there"));
    assert!(at("Look at No. 5 Ring") < at("Read the chill of rack"));
    for raw in ["[degF]", "25T1", "/v1/"] {
        assert!(!page.words().contains(raw), "{raw} is shown raw");
    }
    let before = supervisor.get("/?day=2026-11-24").await.expect(200);
    before.says(&["Nothing was recorded on this day yet.", "Nothing is due by a time now."]);
}

async fn a_load_is_pulled_on_its_page_and_never_by_mistake(busy: &Busy) {
    let mut operator = Visitor::signed_in(busy.cooked.plant(), "ines", PASSWORD).await;
    let path = format!("/loads/{}", busy.load);
    let page = operator.get(&path).await.expect(200);
    page.says(&[
        "2 of 2 racks are in the house.",
        "stands at 118\u{a0}°F; it must reach 155\u{a0}°F",
        "37\u{a0}°F to the limit",
        "not yet met",
        "Somebody must look again by",
        "<svg",
        &format!("href=\"/reading/{}/CCP-1\"", busy.racks[0]),
    ]);
    assert!(!page.text.contains("Leave a probe out"), "an operator signs nothing");
    let id = hidden(&page, "id");
    let rack = busy.racks[0].as_str();
    let asked = [("id", id.as_str()), ("rack", rack)];
    let pulls = format!("{path}/pulls");
    let refused = operator.post(&pulls, &asked).await.expect(409);
    refused.says(&[
        "A rule of the plant refuses this.",
        "this opens a deviation",
        "of 155\u{a0}°F",
    ]);
    let mut supervisor = Visitor::signed_in(busy.cooked.plant(), "marcus", PASSWORD).await;
    let form = supervisor.get(&path).await.expect(200);
    form.says(&["Leave a probe out", "R3"]);
    let out = [
        ("id", &*fresh()),
        ("probe", "R3"),
        ("from", "2026-11-25T13:30"),
        ("why", "It slipped out of its link."),
        ("password", PASSWORD),
    ];
    let done = supervisor.post(&format!("{path}/probes-left-out"), &out).await.expect(303);
    let page = supervisor.get(done.location()).await.expect(200);
    page.says(&["It slipped out of its link.", "16.7\u{a0}°F to the limit", "left out"]);
    let told = [("id", &*fresh()), ("rack", rack), ("overrule", "yes"), ("reason", "Fire alarm.")];
    let done = supervisor.post(&pulls, &told).await.expect(303);
    let page = supervisor.get(done.location()).await.expect(200);
    page.says(&["1 of 2 racks are in the house.", "The deviation", "The chill"]);
}

/// The id of T-03 as a form offers it.
fn t_03(page: &Page) -> String {
    let (before, _) = page.text.split_once("<strong>T-03</strong>").expect("T-03 to choose");
    let (_, value) = before.rsplit_once("value=\"").expect("its value");
    value.split('"').next().expect("an id").to_owned()
}

/// T-03 shows 0.4 too much, which is taken off; T-04 was never checked.
async fn a_reading_names_its_thermometer(busy: &Busy) {
    let mut operator = Visitor::signed_in(busy.cooked.plant(), "ines", PASSWORD).await;
    let path = format!("/reading/{}/Q-1", busy.batch);
    let page = operator.get(&path).await.expect(200);
    page.says(&[
        "Read with",
        "shows 0.4\u{a0}°F too much, which is taken off",
        "no good check in this unit",
        "Another one, or not known",
    ]);
    let with = [("id", hidden(&page, "id")), ("value", "40.3".into()), ("instrument", t_03(&page))];
    let with = with.each_ref().map(|(name, value)| (*name, value.as_str()));
    let done = operator.post(&path, &with).await.expect(303);
    let verdict = operator.get(done.location()).await.expect(200);
    verdict.says(&["class=\"mark is-met\"", "Read with <strong>T-03</strong>", "0.4"]);
    let another = [("id", fresh()), ("value", "40.3".into()), ("instrument", "another".into())];
    let another = another.each_ref().map(|(name, value)| (*name, value.as_str()));
    let done = operator.post(&path, &another).await.expect(303);
    let verdict = operator.get(done.location()).await.expect(200);
    verdict.says(&["class=\"mark is-not-met\""]);
}

async fn a_chill_is_read_by_hand_on_its_page(busy: &Busy) {
    let mut operator = Visitor::signed_in(busy.cooked.plant(), "ines", PASSWORD).await;
    let path = format!("/loads/{}/chills/{}", busy.pulled, busy.chilling);
    let page = operator.get(&path).await.expect(200);
    page.says(&[
        "by cooling option 3",
        "A reading is due by",
        ">14:40<",
        "one reading alone bounds nothing",
    ]);
    let id = hidden(&page, "id");
    let odd = operator.post(&path, &[("id", &id), ("value", "1281")]).await.expect(200);
    odd.says(&["No instrument of a plant shows such a value"]);
    // Above 130 as shown, below it without what T-03 shows too much.
    let read = [("id", id.as_str()), ("value", "130.2"), ("instrument", &t_03(&page))];
    let done = operator.post(&path, &read).await.expect(303);
    let page = operator.get(done.location()).await.expect(200);
    page.says(&["As far as it is known at", ">14:30<", "130\u{a0}°F → ", "at most 300", "<svg"]);
    assert!(!page.text.contains("A reading is due by"), "the first limb has begun");
    assert!(!page.text.contains("warmest spot:"), "it goes on as what was read before it");
    let nobody = format!("/loads/{}/chills/{}", busy.pulled, busy.racks[0]);
    operator.get(&nobody).await.expect(404);
}

async fn a_page_listens_to_the_log_with_its_cookie_alone(busy: &Busy) {
    let plant = busy.cooked.plant();
    let visitor = Visitor::signed_in(plant, "ines", PASSWORD).await;
    let nobody = Visitor::of(plant).get("/live").await;
    assert_eq!(nobody.status, 401);
    let mut events = visitor.listen("/live").await;
    assert!(events.headers()["content-type"].to_str().is_ok_and(|t| t == "text/event-stream"));
    let mut reader = Visitor::signed_in(plant, "ines", PASSWORD).await;
    let path = format!("/reading/{}/Q-1", busy.batch);
    let id = fresh();
    reader.post(&path, &[("id", &id), ("value", "38.2")]).await.expect(303);
    let mut heard = String::new();
    while !heard.contains(&id) {
        let part = events.chunk().await.expect("a part").expect("it goes on");
        heard.push_str(&String::from_utf8_lossy(&part));
    }
}

async fn a_trace_is_drawn_and_listed(busy: &Busy) {
    let mut dock = Visitor::signed_in(busy.cooked.plant(), "lee", PASSWORD).await;
    let page = dock.get(&format!("/lots/{}/trace", busy.cooked.meat)).await.expect(200);
    page.says(&["<svg", "Received", "No. 5 Ring", "Finished", "Pork trim 72/28", "96\u{a0}lb"]);
    page.says(&[&format!("href=\"/lots/{}\" tabindex=\"-1\"", busy.racks[0])]);
}
