//! The list of lots and the file of a lot: whether all that is known stands there, and what is not
//! known is named. It never compares a page letter by letter.

use platform::records::new_id;

use super::scene::Scene;
use super::visitor::Visitor;
use crate::path::crew::PASSWORD;

#[tokio::test]
async fn a_lot_is_found_by_its_code_and_its_file_tells_everything() {
    let scene = Scene::play().await;
    let crew = &scene.crew;
    let mut visitor = Visitor::signed_in(&crew.plant, "q.ames", PASSWORD).await;
    let today = visitor.get("/").await.expect(200);
    today.says(&[
        "Production day 2026-11-24",
        "2026-11-25 01:00",
        "44.6\u{a0}°F is above the limit",
    ]);
    let listed = visitor.get("/lots").await.expect(200);
    listed.says(&["R26328-1", "R26328-2", "Pork trim 72/28", "544.537"]);
    let found = visitor.get("/lots?code=r26328-1").await.expect(303);
    assert_eq!(found.location(), format!("/lots/{}", scene.closed.lot));
    visitor.get("/lots?code=R26328-9").await.expect(404).says(&["No lot has the code R26328-9."]);
    let file = visitor.get(found.location()).await.expect(200);
    file.says(&[
        "R26328-1",
        "Hollis Meats",
        "H-4411",
        "1200.5\u{a0}lb",
        "exactly 544537.640185 g",
        "Receiving of raw meat",
        "38.9\u{a0}°F",
        "40.01\u{a0}°F",
        "39.9\u{a0}°F",
        "The thermometer was misread by one line.",
        "As it was recorded",
        "Amendment",
        "the plant's own limit",
        "Salmonella growth",
        "The door has an alarm from today.",
        "Released with support.",
        "Quinn Ames",
        "1 deviation, closed with its disposition",
        "2 readings on this lot, 1 not met, 0 undetermined",
        "America/New_York",
    ]);
    let open = visitor.get(&format!("/lots/{}", scene.open.lot)).await.expect(200);
    open.says(&["2 holds stand", "its lots stay on hold until QA has closed it"]);
    assert!(!open.text.contains("The door has an alarm"), "another lot's deviation");
    scene.crew.plant.stop().await;
}

#[tokio::test]
async fn what_cannot_be_read_is_named_as_missing() {
    let scene = Scene::play().await;
    let crew = &scene.crew;
    // The sealed log is for QA, managers and inspectors: to an operator it is a missing part.
    let mut visitor = Visitor::signed_in(&crew.plant, "o.dean", PASSWORD).await;
    let path = format!("/lots/{}", scene.closed.lot);
    let file = visitor.get(&path).await.expect(200);
    file.says(&["The sealed log: this part could not be read.", "that is not the same as nothing"]);
    file.says(&["The door has an alarm from today."]);
    let nobody = visitor.get("/lots/01997000-0000-7000-8000-00000000ffff").await.expect(404);
    nobody.says(&["There is nothing here by this name."]);
    visitor.get("/lots/x").await.expect(400);
    scene.crew.plant.stop().await;
}

#[tokio::test]
async fn attached_files_stand_with_their_hash_and_are_taken_away() {
    let scene = Scene::play().await;
    let crew = &scene.crew;
    let (operator, csv) = (&crew.operator.client, "t_s,°F\n0,44.6\n".as_bytes());
    let mut ids = [new_id().to_string(), new_id().to_string()];
    ids.sort();
    let lot = format!("lot:{}", scene.open.lot);
    let photo = b"\xff\xd8\xff\xe0 torn";
    let first = operator.attach(&ids[0], &lot, ("image/jpeg", photo)).await.ok();
    let about = format!("deviation:{}", scene.deviation);
    let second = operator.attach(&ids[1], &about, ("text/csv", csv)).await.ok();
    let mut visitor = Visitor::signed_in(&crew.plant, "q.ames", PASSWORD).await;
    let text =
        |file: &serde_json::Value, name: &str| file[name].as_str().expect("a text").to_owned();
    let hashes = [text(&first, "sha256"), text(&second, "sha256")];
    let file = visitor.get(&format!("/lots/{}", scene.open.lot)).await.expect(200);
    file.says(&["torn bag", "the lot", "image/jpeg", &hashes[0], "a deviation", &hashes[1]]);
    file.says(&[&format!("href=\"/files/{}\"", ids[0])]);
    let page = visitor.get(&format!("/deviations/{}", scene.deviation)).await.expect(200);
    let size = format!("<td>{}</td>", csv.len());
    page.says(&["torn bag", "text/csv", &size, &hashes[1], "Ollie Dean"]);
    assert!(!page.text.contains(&hashes[0]), "what is about the lot is not about its deviation");
    let other = visitor.get(&format!("/lots/{}", scene.closed.lot)).await.expect(200);
    other.says(&["No file was attached."]);
    let taken = visitor.get(&format!("/files/{}", ids[1])).await.expect(200);
    assert_eq!((taken.text.as_bytes(), taken.header("content-type")), (csv, "text/csv"));
    let named = format!("attachment; filename=\"{}.csv\"", ids[1]);
    assert_eq!(taken.header("content-disposition"), named);
    assert_eq!(taken.header("x-content-type-options"), "nosniff");
    visitor.get(&format!("/files/{}", new_id())).await.expect(404);
    Visitor::of(&crew.plant).get(&format!("/files/{}", ids[1])).await.expect(303);
    scene.crew.plant.stop().await;
}

#[tokio::test]
async fn the_file_speaks_spanish_to_whom_it_should() {
    let scene = Scene::play().await;
    let crew = &scene.crew;
    let mut visitor = Visitor::signed_in(&crew.plant, "q.ames", PASSWORD).await;
    visitor.post("/language", &[("language", "es"), ("back", "/")]).await.expect(303);
    let file = visitor.get(&format!("/lots/{}", scene.open.lot)).await.expect(200);
    file.says(&["lang=\"es\"", "2 retenciones en pie", "El límite se basa en:", "Reloj simulado."]);
    file.says(&["<p lang=\"en\">44.6\u{a0}°F is above"]);
    scene.crew.plant.stop().await;
}
