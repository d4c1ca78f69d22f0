//! What people do on the pages: a reading with its verdict, a deviation closed, a hold placed and
//! ended. It never sends what a form of the house did not offer.

use super::scene::Scene;
use super::visitor::{Page, Visitor};
use crate::path::crew::PASSWORD;
use crate::path::goods::Goods;

/// The record id that a form carries.
fn id(page: &Page) -> String {
    let rest = page.text.split("name=\"id\" value=\"").nth(1).expect("a form with an id");
    rest.split('"').next().expect("its value").to_owned()
}

async fn enter(visitor: &mut Visitor, goods: &Goods, value: &str) -> Page {
    let path = format!("/reading/{}/CCP-1", goods.lot);
    let form = visitor.get(&path).await.expect(200);
    visitor.post(&path, &[("id", &id(&form)), ("value", value)]).await
}

#[tokio::test]
async fn a_reading_is_entered_in_three_touches_and_judged_at_once() {
    let scene = Scene::play().await;
    let mut visitor = Visitor::signed_in(&scene.crew.plant, "o.dean", PASSWORD).await;
    let found = visitor.get("/reading?code=R26328-1").await.expect(303);
    assert_eq!(found.location(), format!("/reading/{}", scene.closed.lot));
    visitor.get(found.location()).await.expect(200).says(&["CCP-1", "at most 40\u{a0}°F"]);
    let path = format!("/reading/{}/CCP-1", scene.closed.lot);
    let form = visitor.get(&path).await.expect(200);
    form.says(&["Value 1 in °F", "the plant's own limit", "inputmode=\"decimal\""]);
    let id = id(&form);
    let odd = visitor.post(&path, &[("id", &id), ("value", "3890")]).await.expect(200);
    odd.says(&["No instrument of a plant shows such a value", "value=\"3890\""]);
    let more = [("id", id.as_str()), ("value", "38.9"), ("more", "1")];
    visitor.post(&path, &more).await.expect(200).says(&["Value 2 in °F", "value=\"38.9\""]);
    let both = [("id", id.as_str()), ("value", "38.9"), ("value", "40"), ("value", "")];
    let recorded = visitor.post(&path, &both).await.expect(303);
    assert_eq!(recorded.location(), format!("/readings/{id}"));
    let verdict = visitor.get(recorded.location()).await.expect(200);
    verdict.says(&["class=\"mark is-met\"", "38.9\u{a0}°F; 40\u{a0}°F", "Go on."]);
    let again = visitor.post(&path, &[("id", &id), ("value", "39")]).await.expect(303);
    let stands = visitor.get(again.location()).await.expect(200);
    stands.says(&["This form was recorded before", "38.9\u{a0}°F; 40\u{a0}°F"]);
    let words = visitor.post(&path, &[("id", &fresh()), ("value", "warm")]).await;
    words.expect(400).says(&["readings", "value=\"warm\""]);
    scene.crew.plant.stop().await;
}

/// An id that no form gave out.
pub fn fresh() -> String {
    platform::records::new_id().to_string()
}

#[tokio::test]
async fn a_mistyped_reading_is_amended_beside_the_original() {
    let scene = Scene::play().await;
    let mut operator = Visitor::signed_in(&scene.crew.plant, "o.dean", PASSWORD).await;
    let path = enter(&mut operator, &scene.closed, "83.6").await.expect(303);
    let path = path.location().to_owned();
    let page = operator.get(&path).await.expect(200);
    assert!(!page.text.contains("Amend this reading"), "an operator signs nothing");
    let mut supervisor = Visitor::signed_in(&scene.crew.plant, "s.bell", PASSWORD).await;
    let form = supervisor.get(&path).await.expect(200);
    form.says(&["Amend this reading", "value=\"83.6\""]);
    let id = id(&form);
    let mut said = vec![
        ("id", id.as_str()),
        ("value", "38.6"),
        ("reason", "38.6 was read and 83.6 typed"),
        ("password", "wrong"),
    ];
    let refused = supervisor.post(&path, &said).await.expect(403);
    refused.says(&["<details open", "value=\"38.6\"", "38.6 was read and 83.6 typed"]);
    said[3] = ("password", PASSWORD);
    assert_eq!(supervisor.post(&path, &said).await.expect(303).location(), path);
    let both = supervisor.get(&path).await.expect(200);
    both.says(&["83.6\u{a0}°F", "Amendment", "38.6\u{a0}°F", "38.6 was read and 83.6 typed"]);
    let amendment = supervisor.get(&format!("/readings/{id}")).await.expect(200);
    amendment.says(&["class=\"mark is-met\"", "As it was recorded", &path]);
    assert!(!amendment.text.contains("Amend this reading"), "the original is amended");
    scene.crew.plant.stop().await;
}

#[tokio::test]
async fn a_reading_that_fails_leads_to_its_deviation_and_qa_closes_it() {
    let scene = Scene::play().await;
    let mut operator = Visitor::signed_in(&scene.crew.plant, "o.dean", PASSWORD).await;
    let failed = enter(&mut operator, &scene.closed, "40.1").await.expect(303);
    let shown = operator.get(failed.location()).await.expect(200);
    shown.says(&["class=\"mark is-not-met\"", "Keep the product apart.", "Tell QA"]);
    let link =
        shown.text.split("href=\"/deviations/").nth(1).and_then(|rest| rest.split('"').next());
    let path = format!("/deviations/{}", link.expect("a link to the deviation"));
    let told = operator.get(&path).await.expect(200);
    told.says(&["Only QA can close it", "40.1\u{a0}°F is above"]);
    let mut qa = Visitor::signed_in(&scene.crew.plant, "q.ames", PASSWORD).await;
    let form = qa.get(&path).await.expect(200);
    form.says(&["9 CFR 417.3(a)", "Released with support.", "Recorded wrongly."]);
    assert!(!form.text.contains("Cooked again."), "the plan does not name it");
    let id = id(&form);
    let parts = |password| {
        [
            ("id", id.as_str()),
            ("cause", "A torn curtain; it was replaced."),
            ("control", "Three readings were met."),
            ("prevention", "Curtains are looked at each morning."),
            ("disposition", "release_with_support"),
            ("disposition_text", "Under ten minutes above the limit; study on file."),
            ("password", password),
        ]
    };
    let wrong = qa.post(&path, &parts("not mine")).await.expect(403);
    wrong.says(&["This needs your signature", "A torn curtain; it was replaced."]);
    assert!(!wrong.text.contains("not mine"), "a password is never shown back");
    let closed = qa.post(&path, &parts(PASSWORD)).await.expect(303);
    assert_eq!(closed.location(), path);
    let shown = qa.get(&path).await.expect(200);
    shown.says(&["class=\"mark is-closed\"", "Curtains are looked at each morning.", "Quinn Ames"]);
    scene.closed.lot_with_holds(&scene.crew.qa.client, 0).await;
    scene.crew.plant.stop().await;
}

#[tokio::test]
async fn a_hold_is_placed_from_the_file_and_ended_by_qa() {
    let scene = Scene::play().await;
    let mut supervisor = Visitor::signed_in(&scene.crew.plant, "s.bell", PASSWORD).await;
    let file = supervisor.get(&format!("/lots/{}", scene.closed.lot)).await.expect(200);
    let fields =
        [("id", &id(&file)[..]), ("lot", &scene.closed.lot), ("reason", "A liner was torn")];
    let placed = supervisor.post("/holds", &fields).await.expect(303);
    assert_eq!(placed.location(), format!("/lots/{}#holds", scene.closed.lot));
    let list = supervisor.get("/holds").await.expect(200);
    list.says(&["A liner was torn", "Ends with its deviation", "End this hold"]);
    let link = list.text.split("href=\"/holds/").nth(1).and_then(|rest| rest.split('"').next());
    let path = format!("/holds/{}", link.expect("a link to the hold"));
    supervisor.get(&path).await.expect(200).says(&["Only QA can end it"]);
    let mut qa = Visitor::signed_in(&scene.crew.plant, "q.ames", PASSWORD).await;
    let form = qa.get(&path).await.expect(200);
    let id = id(&form);
    let end = [("id", id.as_str()), ("reason", "Whole underneath"), ("password", PASSWORD)];
    assert_eq!(qa.post(&path, &end).await.expect(303).location(), path);
    qa.get(&path).await.expect(200).says(&["class=\"mark is-ended\"", "Whole underneath"]);
    scene.crew.plant.stop().await;
}

#[tokio::test]
async fn every_way_on_leads_somewhere() {
    let scene = Scene::play().await;
    let mut visitor = Visitor::signed_in(&scene.crew.plant, "q.ames", PASSWORD).await;
    visitor.get("/people").await.expect(200).says(&["Ollie Dean", "o.dean", "Operator"]);
    visitor.get("/open-items").await.expect(200).says(&["2026-11-24"]);
    visitor.get("/review").await.expect(200).says(&["No finished lot is there to review."]);
    let check = visitor.get("/shipment-check").await.expect(200);
    check.says(&["What ships is judged again"]);
    visitor.get("/shipment-check?pallets=P-1").await.expect(400).says(&["pallets"]);
    visitor.get("/deviations?show=all").await.expect(200).says(&["closed", "open"]);
    visitor.get("/deviations/x").await.expect(400);
    visitor.post("/people", &[]).await.expect(405);
    scene.crew.plant.stop().await;
}
