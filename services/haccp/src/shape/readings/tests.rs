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

/// The same reading with an instrument that shows 0.4 [degF] too much.
fn measured() -> NewReading {
    let good = crate::shape::instruments::GoodCheck {
        check: Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0009),
        error: "0.4".into(),
        unit: "[degF]".into(),
    };
    let used = Used {
        instrument: Uuid::from_u128(0x0199_7000_0000_7000_8000_0000_0000_0008),
        name: "T-03".into(),
        good: Some(good),
    };
    let values = Values { texts: vec!["38.6".into(), "40.4".into()], unit: Unit::Fahrenheit };
    NewReading { used: Some(used), values, ..new() }
}

fn receiving() -> PlanVersion {
    let check = v1::PlanCheck {
        code: "CCP-1".into(),
        class: "ccp".into(),
        kind: "each".into(),
        unit: "[degF]".into(),
        at_most: Some("40".into()),
        ..v1::PlanCheck::default()
    };
    let content = v1::PlanContent {
        binds: "received".into(),
        checks: vec![check],
        ..v1::PlanContent::default()
    };
    crate::shape::plans::version((new().plan.0, 1), content).expect("a version")
}

#[test]
fn the_form_of_a_reading_with_an_instrument_stands() {
    let (new, plan) = (measured(), receiving());
    let (_, judgement) = judged(&new, &plan).expect("judged");
    let leaf = stamp().leaf(form(&new), entry(&new, &judgement, None)).expect("a leaf");
    let golden = include_str!("../../../../../tests/golden/haccp.reading.2.json");
    assert_eq!(leaf.entry, golden.trim_end());
}

#[test]
fn an_error_is_taken_off_exactly_and_without_a_good_check_nothing_is_known() {
    let (plan, mut new) = (receiving(), measured());
    let verdict = |new: &NewReading| judged(new, &plan).expect("judged").1.verdict;
    assert_eq!(verdict(&new), Verdict::Pass, "40.4 less 0.4 is 40 exactly");
    new.values.texts[1] = "40.41".into();
    assert_eq!(verdict(&new), Verdict::Fail);
    new.used.iter_mut().for_each(|used| used.good = None);
    assert_eq!(verdict(&new), Verdict::Undetermined);
    let mut other = measured();
    other.values.unit = Unit::Celsius;
    assert!(judged(&other, &plan).is_err(), "the error is known in [degF] alone");
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
