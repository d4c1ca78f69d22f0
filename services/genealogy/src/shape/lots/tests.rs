//! Checks that a lot is read, refused and written exactly as it was asked for.
//! It never asks a database.

use jiff::Timestamp;
use jiff_diesel::ToDiesel as _;

use super::*;

fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

fn uuid(number: u128) -> Uuid {
    Uuid::from_u128(number)
}

fn mass(value: &str, unit: &str) -> Result<Mass, Vec<String>> {
    let given = v1::Quantity { value: Some(value.into()), unit: unit.into() };
    let mut faults = Faults::new();
    let read = mass_in(Some(&given), "mass", &mut faults);
    faults.into_result(read).map_err(|faults| fields(faults.into_vec()))
}

fn fields(faults: Vec<domain::fault::Fault>) -> Vec<String> {
    faults.into_iter().map(|fault| fault.field).collect()
}

fn partner(in_use: bool, is_supplier: bool) -> PartnerRow {
    PartnerRow {
        id: uuid(2),
        version: 3,
        record_id: uuid(20),
        name: "Two Rivers Meats".into(),
        is_supplier,
        is_customer: true,
        address: String::new(),
        phone: String::new(),
        in_use,
        entered_by: String::new(),
        entered_by_name: String::new(),
        recorded_at: at("2026-11-24T10:00:00Z").to_diesel(),
        fingerprint: Vec::new(),
    }
}

fn place(in_use: bool) -> PlaceRow {
    PlaceRow {
        id: uuid(4),
        version: 1,
        record_id: uuid(4),
        name: "Receiving dock".into(),
        kind: "receiving".into(),
        in_use,
        entered_by: String::new(),
        entered_by_name: String::new(),
        recorded_at: at("2026-11-24T10:00:00Z").to_diesel(),
        fingerprint: Vec::new(),
    }
}

fn asked(content: Option<Content>) -> Asked {
    let mut faults = Faults::new();
    if content.is_none() {
        faults.add("mass.value", "must be above 0");
    }
    let (supplier, place, plan) = (uuid(2), uuid(4), uuid(5));
    let supplier_lot = "TR-118".into();
    Asked { stamp: stamp(), supplier, place, plan, supplier_lot, content, faults }
}

fn stamp() -> Stamp {
    Stamp {
        id: uuid(1),
        subject: format!("lot:{}", uuid(1)),
        day: jiff::civil::date(2026, 11, 25),
        recorded_at: at("2026-11-25T06:11:00Z"),
        entered_by: uuid(9).to_string(),
        entered_by_name: "Rosa Lind".into(),
        station: String::new(),
        fingerprint: vec![1],
    }
}

fn content() -> Content {
    Content {
        material: "Pork trim 72".into(),
        use_by: None,
        run: None,
        mass: mass("1.50", "[lb_av]").expect("a mass"),
        moments: Moments {
            observed_at: at("2026-11-25T06:10:00Z"),
            entered_at: at("2026-11-25T06:10:30Z"),
            recorded_at: at("2026-11-25T06:11:00Z"),
            offset_ms: 0,
            happened: false,
        },
    }
}

fn new_lot(pattern: &str) -> NewLot {
    NewLot {
        stamp: stamp(),
        content: content(),
        kind: RECEIVED.to_owned(),
        origin: Origin::Received {
            supplier: partner(true, true).into(),
            supplier_lot: "TR-118".into(),
        },
        place: place(true),
        plan: Some(PlanVersion { id: uuid(5), version: 2, name: "Receiving raw meat".into() }),
        pattern: Pattern::parse(pattern).expect("a usable pattern"),
    }
}

#[test]
fn a_mass_keeps_its_digits_and_has_exact_grams() {
    // NIST Handbook 44, appendix C: 1 lb = 453.59237 g exactly.
    let read = mass("1.50", "[lb_av]").expect("a mass");
    assert_eq!(read.value.to_plain_string(), "1.50");
    assert_eq!(read.grams.to_plain_string(), "680.388555");
    let small = mass("0.00000001", "mg").expect("a mass");
    assert_eq!(small.grams.to_plain_string(), "0.00000000001");
    let most = "9999999999999999999999999999";
    let large = mass(most, "t").expect("a mass");
    assert_eq!(large.grams.to_plain_string(), format!("{most}000000"));
}

#[test]
fn only_a_mass_above_nothing_is_received() {
    for value in ["0", "0.000", "-0", "-1.5", "x"] {
        assert_eq!(mass(value, "kg").expect_err("a fault"), ["mass.value"], "{value}");
    }
    assert_eq!(mass("1", "Cel").expect_err("a fault"), ["mass.unit"]);
}

#[test]
fn every_fault_of_the_message_is_told_at_once() {
    let found = |content, supplier, place| {
        asked(content).content(supplier, place).map_err(|failure| fields(failure.faults))
    };
    assert!(found(Some(content()), Some(partner(true, true)), Some(place(true))).is_ok());
    let nothing = found(None, None, None).map(|_| ()).expect_err("faults");
    assert_eq!(nothing, ["mass.value", "supplier", "place"]);
    let gone = found(Some(content()), Some(partner(false, true)), Some(place(false)));
    assert_eq!(gone.map(|_| ()).expect_err("faults"), ["supplier", "place"]);
    let customer = found(Some(content()), Some(partner(true, false)), Some(place(true)));
    assert_eq!(customer.map(|_| ()).expect_err("a fault"), ["supplier"]);
}

#[test]
fn a_lot_is_bound_only_to_a_plan_in_force_for_its_kind() {
    let judged = |version, binds: &str, kind| {
        let (name, binds) = ("Receiving".to_owned(), binds.to_owned());
        let judged = plan_in(uuid(5), kind, &PlanInForceResponse { version, name, binds });
        judged.map(|plan| plan.version).map_err(|reason| reason.code)
    };
    assert_eq!(judged(4, "received", "received"), Ok(4));
    for kind in ["batch", "rack", "finished", "rework"] {
        assert_eq!(judged(4, "product", kind), Ok(4), "{kind}");
    }
    let refused = Err("PLAN_NOT_IN_FORCE");
    for (version, binds) in [(0, ""), (0, "received"), (4, "batch"), (4, ""), (4, "product")] {
        assert_eq!(judged(version, binds, "received"), refused, "{version} {binds}");
    }
    for kind in ["kit", "opening_stock"] {
        assert_eq!(judged(4, "product", kind), refused, "{kind}");
    }
}

#[test]
fn a_code_takes_its_number_from_the_day_only_where_it_names_the_day() {
    let daily = new_lot(lot_code::DEFAULT);
    assert_eq!((daily.series().as_str(), daily.code(7).as_str()), ("2026-11-25", "26329-7"));
    let running = new_lot("L{n}");
    assert_eq!((running.series().as_str(), running.code(7).as_str()), ("for ever", "L7"));
    let plain = pattern(&Plant::default()).expect("the pattern of a plant without settings");
    assert_eq!(plain, Pattern::parse(lot_code::DEFAULT).expect("a usable pattern"));
}

#[test]
fn the_entry_of_a_lot_never_changes_its_form() {
    let new = new_lot(lot_code::DEFAULT);
    let entry = new.entry("26329-7");
    let leaf = new.stamp.leaf(new.form(), entry).expect("a canonical entry");
    let expected = concat!(
        r#"{"code":"26329-7","day":"2026-11-25","device":"","#,
        r#""entered_by":{"id":"00000000-0000-0000-0000-000000000009","name":"Rosa Lind"},"#,
        r#""form":"genealogy.lot/1","id":"00000000-0000-0000-0000-000000000001","#,
        r#""kind":"received","lot":"00000000-0000-0000-0000-000000000001","#,
        r#""mass":{"g":"680.388555","unit":"[lb_av]","value":"1.50"},"#,
        r#""material":"Pork trim 72","#,
        r#""place":{"id":"00000000-0000-0000-0000-000000000004","name":"Receiving dock","#,
        r#""version":1},"#,
        r#""plan":{"id":"00000000-0000-0000-0000-000000000005","name":"Receiving raw meat","#,
        r#""version":2},"recorded_at":"2026-11-25T06:11:00Z","station":"","#,
        r#""subject":"lot:00000000-0000-0000-0000-000000000001","#,
        r#""supplier":{"id":"00000000-0000-0000-0000-000000000002","name":"Two Rivers Meats","#,
        r#""version":3},"supplier_lot":"TR-118","#,
        r#""times":{"entered_at":"2026-11-25T06:10:30Z","happened":false,"#,
        r#""observed_at":"2026-11-25T06:10:00Z","offset_ms":0}}"#,
    );
    assert_eq!(leaf.entry, expected);
}

#[test]
fn a_made_lot_says_what_made_it_and_a_dated_one_its_last_day() {
    let made = NewLot {
        kind: "batch".into(),
        origin: Origin::Made(uuid(7)),
        plan: None,
        ..new_lot(lot_code::DEFAULT)
    };
    let said = made.entry("26329-8");
    assert_eq!(made.form(), "genealogy.lot/2");
    assert_eq!(said["made_by"], uuid(7).to_string());
    for nothing in ["supplier", "supplier_lot", "plan", "use_by"] {
        assert!(said.get(nothing).is_some_and(Value::is_null), "{nothing}");
    }
    let mut dated = new_lot(lot_code::DEFAULT);
    dated.content.use_by = Some(jiff::civil::date(2026, 12, 1));
    assert_eq!(dated.form(), "genealogy.lot/2");
    assert_eq!(dated.entry("26329-9")["use_by"], "2026-12-01");
    assert!(dated.entry("26329-9")["made_by"].is_null());
}

#[test]
fn the_form_of_a_batch_of_a_run_stands() {
    let mut batch = NewLot {
        kind: "batch".into(),
        origin: Origin::Made(uuid(7)),
        ..new_lot(lot_code::DEFAULT)
    };
    batch.content.run = Some("Morning rope".into());
    let leaf = batch.stamp.leaf(batch.form(), batch.entry("26329-8")).expect("a canonical entry");
    let golden = include_str!("../../../../../tests/golden/genealogy.lot.3.json");
    assert_eq!(leaf.entry, golden.trim_end());
}
