//! Checks of composition: mass balance, the standards, and what must never change.
//! It never takes a percentage for granted that no part states.

use proptest::prelude::*;

use super::*;

fn kilograms(value: i64) -> Quantity {
    Quantity::new(Exact::whole(value), Unit::Kilogram)
}

fn part(kind: PartKind, mass: i64, pct: [Option<&str>; 4]) -> Part {
    let pct = pct.map(|text| text.map(|text| text.parse().expect("a decimal")));
    Part { kind, mass: kilograms(mass), pct }
}

fn formula(parts: Vec<Part>, added_water: Option<i64>, finished: Option<i64>) -> Formula {
    Formula {
        parts,
        added_water: added_water.map(kilograms),
        finished_mass: finished.map(kilograms),
    }
}

fn limits(formula: &Formula, id: &str) -> Vec<Limit> {
    let finished = finished(formula).expect("a composition");
    judge(formula, &finished, standard(id).expect("a standard"))
}

fn shown(value: &Option<Exact>) -> String {
    value.as_ref().map_or("none".to_owned(), |value| format!("{:.3}", value.to_f64()))
}

#[test]
fn water_alone_is_lost() {
    // Mass balance, worked by hand.
    let green = part(PartKind::Meat, 100, [Some("25"), Some("57"), Some("15"), None]);
    let smoked = finished(&formula(vec![green], None, Some(90))).expect("a composition");
    assert_eq!(smoked.pct.each_ref().map(shown), ["27.778", "52.222", "16.667", "none"]);
    assert_eq!(shown(&smoked.moisture_protein_ratio), "3.133");
    assert_eq!(smoked.water_phase_salt_pct, None);
}

#[test]
fn a_frankfurter_is_judged_on_fat_and_added_water() {
    // 9 CFR 319.180: fat at most 30 %, fat and added water at most 40 %.
    let meat = part(PartKind::Meat, 100, [Some("27.5"), Some("54"), Some("13"), None]);
    let limits = limits(&formula(vec![meat], None, None), "us.composition.frankfurter-group");
    let found: Vec<_> = limits.iter().map(|l| (l.id, shown(&l.value_pct))).collect();
    assert_eq!(
        found,
        [
            ("fat", "27.500".to_owned()),
            ("fat_and_added_water", "29.500".to_owned()),
            ("poultry", "0.000".to_owned())
        ]
    );
    assert!(limits.iter().all(|limit| limit.judgement.verdict == Verdict::Pass));
}

#[test]
fn lean_meat_does_not_make_room_for_fat() {
    let lean = part(PartKind::Meat, 100, [Some("30"), Some("50"), Some("19"), None]);
    let formula = formula(vec![lean], None, None);
    let composition = finished(&formula).expect("a composition");
    assert_eq!(shown(&composition.added_water_pct), "-26.000");
    let both = &limits(&formula, "us.composition.frankfurter-group")[1];
    assert_eq!(shown(&both.value_pct), "30.000");
}

#[test]
fn protein_that_is_no_meat_carries_no_water() {
    // 9 CFR 319.140: added water at most 10 %.
    let parts = vec![
        part(PartKind::Meat, 90, [Some("20"), Some("60"), Some("15"), None]),
        part(PartKind::Binder, 10, [Some("0"), Some("0"), Some("80"), None]),
    ];
    let limit = &limits(&formula(parts, None, None), "us.composition.cooked-sausage")[0];
    assert_eq!(shown(&limit.value_pct), "0.000");
    let unknown = vec![
        part(PartKind::Meat, 90, [None, Some("60"), Some("15"), None]),
        part(PartKind::Other, 10, [None, Some("0"), None, None]),
    ];
    let limit = &limits(&formula(unknown, None, None), "us.composition.cooked-sausage")[0];
    assert_eq!(limit.judgement.verdict, Verdict::Pass);
}

#[test]
fn a_missing_percentage_leaves_its_limit_open() {
    let part = part(PartKind::Meat, 100, [None, Some("60"), Some("15"), None]);
    let limits = limits(&formula(vec![part], None, None), "us.composition.smoked-pork-sausage");
    let verdicts: Vec<_> = limits.iter().map(|limit| limit.judgement.verdict).collect();
    assert_eq!(verdicts, [Verdict::Undetermined, Verdict::Pass]);
}

#[test]
fn each_limit_has_its_own_base() {
    let parts = || {
        vec![
            part(PartKind::Meat, 68, [Some("20"), Some("60"), Some("15"), None]),
            part(PartKind::Poultry, 15, [Some("20"), Some("60"), Some("15"), None]),
            part(PartKind::Liver, 17, [Some("4"), Some("71"), Some("20"), None]),
        ]
    };
    let watered = formula(parts(), Some(25), Some(110));
    // 9 CFR 319.180: poultry at most 15 % of the ingredients without water.
    let poultry = &limits(&watered, "us.composition.frankfurter-group")[2];
    assert_eq!(
        (shown(&poultry.value_pct).as_str(), poultry.basis),
        ("15.000", "formula_less_water")
    );
    // 9 CFR 319.182: at least 30 % fresh liver.
    let liver = &limits(&watered, "us.composition.braunschweiger")[1];
    assert_eq!((shown(&liver.value_pct).as_str(), liver.bound), ("13.600", "min"));
    assert_eq!(liver.judgement.verdict, Verdict::Fail);
    // 9 CFR 319.15(a): no water in chopped or ground beef.
    let water = &limits(&watered, "us.composition.ground-beef")[2];
    assert_eq!(water.judgement.verdict, Verdict::Fail);
}

#[test]
fn an_impossible_yield_is_refused() {
    let fields = |finished_mass: i64, pct| {
        let formula = formula(vec![part(PartKind::Meat, 100, pct)], None, Some(finished_mass));
        let found = finished(&formula).map(|_| ());
        found.map_err(|f| f.into_vec().into_iter().map(|fault| fault.field).collect::<Vec<_>>())
    };
    let known = [Some("25"), Some("57"), Some("15"), None];
    let refused = Err(vec!["finished_mass.value".to_owned()]);
    assert_eq!(fields(101, known), refused);
    assert_eq!(fields(42, known), refused);
    assert_eq!(fields(43, known), Ok(()));
    assert_eq!(fields(0, known), refused);
    assert_eq!(fields(39, [Some("25"), None, Some("15"), None]), refused);
    assert_eq!(fields(40, [Some("25"), None, Some("15"), None]), Ok(()));
}

proptest! {
    #[test]
    fn scaling_all_masses_changes_no_verdict(
        masses in prop::collection::vec(
            (0usize..7, 1i64..1000, 0i64..33, 0i64..33, 0i64..33),
            1..6,
        ),
        water in 0i64..500,
        lost in 0i64..100,
        factor in 1i64..10_000,
    ) {
        let parts: Vec<Part> = masses.iter().map(|(kind, mass, fat, moisture, protein)| Part {
            kind: PartKind::ALL[*kind].0,
            mass: kilograms(*mass),
            pct: [Some(*fat), Some(*moisture), Some(*protein), None].map(|p| p.map(Exact::whole)),
        }).collect();
        let all_in = masses.iter().map(|m| m.1).sum::<i64>() + water;
        let base = formula(parts, Some(water), Some((all_in - lost).max(1)));
        let factor = Exact::whole(factor) / Exact::whole(97);
        let times = |mass: &Quantity| Quantity::new(&mass.value * &factor, mass.unit);
        let mut scaled = base.clone();
        scaled.added_water = base.added_water.as_ref().map(times);
        scaled.finished_mass = base.finished_mass.as_ref().map(times);
        for part in &mut scaled.parts {
            part.mass = times(&part.mass);
        }
        match (finished(&base), finished(&scaled)) {
            (Ok(before), Ok(after)) => {
                for rule in Rule::all().iter().filter(|r| standard(r.id).is_some()) {
                    prop_assert_eq!(judge(&base, &before, rule), judge(&scaled, &after, rule));
                }
                let known: Option<Exact> = before.pct[..3].iter().cloned().sum();
                prop_assert!(known.is_some_and(|known| known <= hundred()));
            }
            (before, after) => prop_assert_eq!(before.is_err(), after.is_err()),
        }
    }
}
