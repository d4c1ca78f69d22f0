//! Weighing on a page: the net and what was lost at once, and the file of the lot.
//! It never sends what the form did not offer.

use super::floor::Floor;
use crate::pages::visitor::{Page, Visitor};
use crate::path::crew::PASSWORD;

/// The record id that a form carries.
fn id(page: &Page) -> String {
    let rest = page.text.split("name=\"id\" value=\"").nth(1).expect("a form with an id");
    rest.split('"').next().expect("its value").to_owned()
}

async fn weigh(visitor: &mut Visitor, lot: &str, fields: [&str; 3]) -> Page {
    let path = format!("/weigh/{lot}");
    let id = id(&visitor.get(&path).await.expect(200));
    let [stage, gross, tare] = fields;
    let fields = [
        ("id", id.as_str()),
        ("stage", stage),
        ("unit", "[lb_av]"),
        ("gross", gross),
        ("tare", tare),
    ];
    visitor.post(&path, &fields).await
}

#[tokio::test]
async fn a_weighing_is_entered_on_a_page_and_says_at_once_what_was_lost() {
    let floor = Floor::open().await;
    let rack = floor.racks[0].as_str();
    let mut visitor = Visitor::signed_in(&floor.day.plant, "ines", PASSWORD).await;
    visitor.get("/weigh").await.expect(200).says(&["No. 2 Plain Link"]);
    let form = visitor.get(&format!("/weigh/{rack}")).await.expect(200);
    form.says(&["data-keypad", "<option value=\"stuffed\" selected>Stuffed"]);
    let missing = weigh(&mut visitor, rack, ["stuffed", "304", ""]).await.expect(400);
    missing.says(&["tare", "where nothing else stood on the scale it is 0", "value=\"304\""]);
    let stuffed = weigh(&mut visitor, rack, ["stuffed", "304", "100"]).await.expect(303);
    let shown = visitor.get(stuffed.location()).await.expect(200);
    shown.says(&["204\u{a0}lb", "No stage before this one was weighed whole"]);
    let chilled = weigh(&mut visitor, rack, ["chilled", "283.6", "100"]).await.expect(303);
    let shown = visitor.get(chilled.location()).await.expect(200);
    shown.says(&["183.6\u{a0}lb", "10 % lost since Stuffed"]);
    let back = weigh(&mut visitor, rack, ["smoked", "290", "100"]).await.expect(409);
    back.says(&["smoked comes before it", "record it as it happened"]);
    let file = visitor.get(&format!("/lots/{rack}")).await.expect(200);
    file.says(&[
        "Weighings and shrink",
        "304\u{a0}lb − 100\u{a0}lb = 204\u{a0}lb",
        "Ines Tolland",
        "10 % of the stuffed weight lost",
    ]);
    // Of a part that cannot be read nothing is said but that.
    let database = floor.day.plant.database.connect().await;
    let revoke = "REVOKE SELECT ON yields.weighing FROM hankbook_yields";
    database.batch_execute(revoke).await.expect("a superuser");
    let file = visitor.get(&format!("/lots/{rack}")).await.expect(200);
    file.says(&["Weighings and shrink: this part could not be read.", "Holds"]);
    assert!(!file.text.contains("No weighing names this lot."), "missing is not the same as none");
    let other = visitor.get(stuffed.location()).await;
    assert_eq!(other.status, 500, "{}", other.text);
    floor.day.close().await;
}
