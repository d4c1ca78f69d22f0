//! The form of a weighing's entry, which is for ever, and the plant's order of stages.
//! It never asks the database.

use super::*;

fn uuid(last: u128) -> Uuid {
    Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0000 + last)
}

fn stamp() -> Stamp {
    Stamp {
        id: uuid(1),
        subject: format!("lot:{}", uuid(2)),
        day: "2026-11-25".parse().expect("a date"),
        recorded_at: "2026-11-25T06:10:02Z".parse().expect("an instant"),
        entered_by: uuid(3).to_string(),
        entered_by_name: "Ines Tolland".into(),
        station: "Stuffer".into(),
        fingerprint: Vec::new(),
    }
}

fn new(stage: Option<Stage>, happened: bool) -> NewWeighing {
    let at = |text: &str| text.parse().expect("an instant");
    let read = |text: &str| domain::exact::decimal(text).ok();
    let given = Given { gross: read("512.40"), tare: read("38.15"), net: None };
    NewWeighing {
        lots: vec![uuid(2)],
        content: Content {
            stage,
            weighed: weighed(given).expect("a weighing"),
            unit: Unit::Pound,
            moments: Moments {
                observed_at: at("2026-11-25T06:10:00Z"),
                entered_at: at("2026-11-25T06:10:01Z"),
                recorded_at: at("2026-11-25T06:10:02Z"),
                offset_ms: 0,
                happened,
            },
            note: String::new(),
        },
        scale: Some(uuid(4)),
        stamp: stamp(),
    }
}

fn row(new: &NewWeighing) -> WeighingRow {
    let scale = Some((uuid(4), 1, "Floor scale".to_owned()));
    columns(&new.content, scale, None).expect("columns").row(&new.stamp)
}

#[test]
fn the_form_of_a_weighing_stands() {
    let new = new(Some(Stage::Stuffed), false);
    let leaf = stamp().leaf(FORM, entry(&row(&new), &new.lots, None)).expect("a leaf");
    let golden = include_str!("../../../../../tests/golden/yields.weighing.1.json");
    assert_eq!(leaf.entry, golden.trim_end());
}

#[test]
fn a_command_does_not_go_back_on_the_way_and_a_fact_is_taken() {
    let chilled = new(Some(Stage::Chilled), false);
    let before = Whole { row: row(&chilled), lots: vec![uuid(2)], amendments: Vec::new() };
    let before = [before];
    let smoked = check_order(&new(Some(Stage::Smoked), false), &before).expect_err("a refusal");
    assert_eq!(smoked.reasons[0].code, "STAGE_BEFORE");
    for (stage, happened) in [
        (Some(Stage::Smoked), true),
        (Some(Stage::Chilled), false),
        (Some(Stage::Packed), false),
        (None, false),
    ] {
        assert!(check_order(&new(stage, happened), &before).is_ok(), "{stage:?} {happened}");
    }
    let mut moved = before.to_vec();
    let amended = new(None, true);
    moved[0].amendments.push(row(&amended));
    assert!(check_order(&new(Some(Stage::Smoked), false), &moved).is_ok(), "it was amended away");
}

#[test]
fn a_scale_out_of_use_is_named_by_facts_alone() {
    assert!(scale_used(None, None, false).expect("none").is_none());
    assert!(scale_used(Some(uuid(4)), None, true).is_err());
}
