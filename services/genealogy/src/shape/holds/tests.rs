//! Checks how holds are read, what refuses their end, and what their entries say.
//! It never asks a database.

use jiff::Timestamp;
use jiff_diesel::ToDiesel as _;

use super::*;
use crate::store::holds::HoldEndRow;

fn uuid(number: u128) -> Uuid {
    Uuid::from_u128(number)
}

fn at() -> Timestamp {
    "2026-11-25T06:11:00Z".parse().expect("an instant")
}

fn stamp(id: u128) -> Stamp {
    Stamp {
        id: uuid(id),
        subject: subject(uuid(1)),
        day: jiff::civil::date(2026, 11, 25),
        recorded_at: at(),
        entered_by: uuid(9).to_string(),
        entered_by_name: "Rosa Lind".into(),
        station: String::new(),
        fingerprint: vec![1],
    }
}

fn standing(deviation: Option<Uuid>, is_ended: bool) -> Standing {
    let row = HoldRow {
        id: uuid(1),
        reason: "Torn liners".into(),
        deviation,
        scope: "whole".into(),
        ticket: None,
        recorded_at: at().to_diesel(),
        entered_by: uuid(9).to_string(),
        entered_by_name: "Rosa Lind".into(),
        fingerprint: vec![1],
        place: None,
        span_from: None,
        span_to: None,
    };
    let end = is_ended.then(|| HoldEndRow {
        id: uuid(2),
        hold: uuid(1),
        reason: "Liners were found whole".into(),
        signed_by_name: "Ada Holt".into(),
        ticket: Some(uuid(3)),
        recorded_at: at().to_diesel(),
        entered_by: uuid(8).to_string(),
        entered_by_name: "Ada Holt".into(),
        fingerprint: vec![2],
    });
    Standing { row, lots: vec![uuid(11), uuid(12)], cases: Vec::new(), end }
}

fn new_hold(lots: Vec<Uuid>) -> NewHold {
    let reason = "Torn liners".into();
    NewHold { stamp: stamp(1), lots, reason, deviation: None, covers: Covers::Whole }
}

#[test]
fn a_lot_named_twice_is_a_fault_of_a_person_and_not_of_a_message() {
    let texts: Vec<_> = [11, 12, 11].map(|number| uuid(number).to_string()).into();
    let mut faults = Faults::new();
    ids_in(&texts, "lots", true, &mut faults);
    let fields: Vec<_> = faults.into_vec().into_iter().map(|fault| fault.field).collect();
    assert_eq!(fields, ["lots[2]"]);
    let mut faults = Faults::new();
    assert_eq!(ids_in(&texts, "lots", false, &mut faults), [uuid(11), uuid(12)]);
    assert!(faults.is_empty());
}

#[test]
fn a_hold_ends_once_and_never_before_its_deviation() {
    let code = |standing: Standing| refuse_end(&standing).map_err(|found| found.reasons[0].code);
    assert_eq!(code(standing(None, false)), Ok(()));
    assert_eq!(code(standing(None, true)), Err("HOLD_ENDED"));
    assert_eq!(code(standing(Some(uuid(7)), false)), Err("HOLD_OF_DEVIATION"));
    assert_eq!(code(standing(Some(uuid(7)), true)), Err("HOLD_ENDED"));
}

#[test]
fn a_deviation_with_another_lot_is_not_taken_for_held() {
    let held = standing(Some(uuid(7)), false);
    assert!(others(&held, &new_hold(vec![uuid(12)])).is_empty());
    assert_eq!(others(&held, &new_hold(vec![uuid(12), uuid(13)])), [uuid(13)]);
    let mut span = standing(Some(uuid(7)), false);
    span.row.place = Some(uuid(20));
    assert!(others(&span, &new_hold(vec![uuid(13)])).is_empty());
}

#[test]
fn the_entry_of_a_hold_lists_its_lots_in_order() {
    let new = new_hold(vec![uuid(12), uuid(11)]);
    let entry = hold_entry(&new, &[uuid(11), uuid(12)], None);
    let expected = json!({
        "hold": uuid(1).to_string(),
        "lots": [uuid(11).to_string(), uuid(12).to_string()],
        "reason": "Torn liners",
        "deviation": null,
        "scope": "whole",
        "signature": null,
    });
    assert_eq!(entry, expected);
    assert_eq!(hold_form(&new), "genealogy.hold/1");
    stamp(1).leaf("genealogy.hold/1", entry).expect("a canonical entry");
}

#[test]
fn the_entry_of_a_narrower_hold_names_what_it_covers() {
    let cases = vec!["C-1".to_owned(), "C-2".to_owned()];
    let new = NewHold { covers: Covers::Cases(cases), ..new_hold(vec![uuid(11)]) };
    let entry = hold_entry(&new, &[uuid(11)], None);
    assert_eq!((hold_form(&new), &entry["scope"]), ("genealogy.hold/2", &json!("cases")));
    assert_eq!((&entry["cases"], &entry["span"]), (&json!(["C-1", "C-2"]), &Value::Null));
    let span = Span { place: uuid(20), from: None, to: at() };
    let new = NewHold { covers: Covers::Span(span), ..new_hold(vec![uuid(11)]) };
    let entry = hold_entry(&new, &[uuid(11)], None);
    let expected = json!({
        "place": uuid(20).to_string(), "from": null, "to": "2026-11-25T06:11:00Z",
    });
    assert_eq!((&entry["cases"], &entry["span"]), (&json!([]), &expected));
    stamp(1).leaf("genealogy.hold/2", entry).expect("a canonical entry");
}

fn asked(scope: &str) -> v1::PlaceHoldRequest {
    v1::PlaceHoldRequest { scope: scope.into(), ..Default::default() }
}

fn covered(request: &v1::PlaceHoldRequest) -> Result<Covers, Vec<String>> {
    let mut faults = Faults::new();
    let covers = covers_in(request, &mut faults);
    let read = faults.into_result(covers);
    read.map_err(|faults| faults.into_vec().into_iter().map(|fault| fault.field).collect())
}

#[test]
fn a_hold_covers_what_its_scope_says_and_needs() {
    assert_eq!(covered(&asked("")), Ok(Covers::Whole));
    assert_eq!(covered(&asked("what_is_left")), Ok(Covers::WhatIsLeft));
    assert_eq!(covered(&asked("cases")), Err(vec!["cases".to_owned()]));
    assert_eq!(covered(&asked("span")), Err(vec!["place".to_owned(), "span_to".to_owned()]));
    let cases = v1::PlaceHoldRequest { cases: vec!["C-1".into()], ..asked("cases") };
    assert_eq!(covered(&cases), Ok(Covers::Cases(vec!["C-1".to_owned()])));
    let whole = v1::PlaceHoldRequest { scope: "whole".into(), ..cases };
    assert_eq!(covered(&whole), Err(vec!["cases".to_owned()]));
    let span = v1::PlaceHoldRequest {
        place: uuid(20).to_string(),
        span_from: "2026-11-25T06:11:00Z".into(),
        span_to: "2026-11-25T06:11:00Z".into(),
        ..asked("span")
    };
    assert_eq!(covered(&span), Err(vec!["span_to".to_owned()]));
    let open = v1::PlaceHoldRequest { span_from: String::new(), ..span };
    let expected = Span { place: uuid(20), from: None, to: at() };
    assert_eq!(covered(&open), Ok(Covers::Span(expected)));
}

#[test]
fn the_entry_of_an_end_holds_the_whole_signature() {
    let end = End { stamp: stamp(2), hold: uuid(1), reason: "Liners were found whole".into() };
    let ticket = Ticket {
        id: uuid(3),
        person: uuid(8),
        name: "Ada Holt".into(),
        method: "hankbook.v1.Genealogy/EndHold".into(),
        subject: subject(uuid(1)),
        meaning: "Hold ended".into(),
        how: "password".into(),
        signed_at: at(),
    };
    let signed = Signed::Here(ticket);
    assert_eq!((signed.name(), signed.ticket()), ("Ada Holt", Some(uuid(3))));
    let expected = json!({
        "hold": uuid(1).to_string(),
        "reason": "Liners were found whole",
        "deviation": null,
        "signed_by_name": "Ada Holt",
        "signature": {
            "ticket": uuid(3).to_string(), "person": uuid(8).to_string(), "name": "Ada Holt",
            "meaning": "Hold ended", "how": "password", "signed_at": "2026-11-25T06:11:00Z",
        },
    });
    assert_eq!(end_entry(&end, &signed), expected);
}

#[test]
fn the_end_of_a_deviations_hold_is_about_the_hold() {
    let asked = DeviationEnd {
        deviation: uuid(7),
        stamp: Stamp { subject: "deviation".into(), ..stamp(2) },
        reason: "Released with support".into(),
        signed_by_name: "Ada Holt".into(),
    };
    let (end, signed) = asked.of_hold(uuid(1));
    assert_eq!((end.stamp.subject.clone(), end.stamp.id), (subject(uuid(1)), uuid(2)));
    assert_eq!((signed.name(), signed.ticket()), ("Ada Holt", None));
    let entry = end_entry(&end, &signed);
    assert_eq!(entry["deviation"], uuid(7).to_string());
    assert_eq!(entry["signature"], Value::Null);
}

#[test]
fn a_hold_shows_its_end_and_a_lot_shows_only_itself() {
    let shown = hold_out(standing(None, true));
    assert_eq!(shown.lots.len(), 2);
    assert_eq!(shown.ended_by_name, "Ada Holt");
    assert_eq!(shown.ended_at, "2026-11-25T06:11:00Z");
    let on_lot = hold_on(uuid(12), standing(Some(uuid(7)), false).row);
    assert_eq!(on_lot.lots, [uuid(12).to_string()]);
    assert_eq!((on_lot.deviation, on_lot.ended_at), (uuid(7).to_string(), String::new()));
}
