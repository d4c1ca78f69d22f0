//! The form of a reading's entry, which is for ever.
//! It never asks the database.

use super::*;

fn stamp() -> Stamp {
    Stamp {
        id: Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0001),
        subject: "lot:01997000-0000-7000-8000-000000000002".into(),
        day: "2026-11-25".parse().expect("a date"),
        recorded_at: "2026-11-25T06:10:02Z".parse().expect("an instant"),
        entered_by: "01997000-0000-7000-8000-000000000003".into(),
        entered_by_name: "Ines Tolland".into(),
        station: "Receiving".into(),
        fingerprint: Vec::new(),
    }
}

fn new() -> NewReading {
    let at = |text: &str| text.parse().expect("an instant");
    NewReading {
        lots: vec![Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0002)],
        plan: (Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0004), 1, "CCP-1".into()),
        values: Values { texts: vec!["38.6".into(), "40.0".into()], unit: Unit::Fahrenheit },
        moments: Moments {
            observed_at: at("2026-11-25T06:10:00Z"),
            entered_at: at("2026-11-25T06:10:01Z"),
            recorded_at: at("2026-11-25T06:10:02Z"),
            offset_ms: 0,
            happened: false,
        },
        used: None,
        note: String::new(),
        stamp: stamp(),
    }
}

#[test]
fn the_form_of_a_reading_stands() {
    let judgement = Judgement::because(Verdict::Pass, "All 2 values meet at most 40 [degF].");
    let leaf = stamp().leaf("haccp.reading/1", entry(&new(), &judgement, None)).expect("a leaf");
    let golden = include_str!("../../../../../tests/golden/haccp.reading.1.json");
    assert_eq!(leaf.entry, golden.trim_end());
}

#[test]
fn the_form_of_an_amendment_stands() {
    let judgement = Judgement::because(Verdict::Pass, "38.6 [degF] meets at most 40 [degF].");
    let ticket = Ticket {
        id: Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0005),
        person: Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0006),
        name: "Dana Okrent".into(),
        method: "hankbook.v1.Haccp/AmendReading".into(),
        subject: "reading:01997000-0000-7000-8000-000000000007".into(),
        meaning: "I amend this reading.".into(),
        how: "password".into(),
        signed_at: "2026-11-25T06:12:00Z".parse().expect("an instant"),
    };
    let of = Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0007);
    let entry = entry(&new(), &judgement, Some((of, "typed 83.6 for 38.6", &ticket)));
    let leaf = stamp().leaf("haccp.reading/1", entry).expect("a leaf");
    let golden = include_str!("../../../../../tests/golden/haccp.reading.1.amendment.json");
    assert_eq!(leaf.entry, golden.trim_end());
}
