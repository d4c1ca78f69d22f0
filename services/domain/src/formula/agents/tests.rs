//! Checks of restricted ingredients against published figures and what must never change.
//! It never weakens a limit to make a check pass.

use proptest::prelude::*;

use super::*;
use crate::verdict::Verdict;

fn exact(text: &str) -> Exact {
    text.parse().expect("a decimal")
}

pub(crate) fn pounds(text: &str) -> Quantity {
    Quantity::new(exact(text), Unit::Pound)
}

pub(crate) fn cure(mass: Quantity, agent: Agent, pct: &str) -> Line {
    let active = Some(Active { agent, pct: exact(pct) });
    Line { name: String::new(), mass, rework: false, active }
}

pub(crate) fn batch(class: ProductClass, meat: &str, lines: Vec<Line>) -> Batch {
    Batch {
        class,
        unit: Unit::Pound,
        meat: Some(pounds(meat)),
        lines,
        formula_mass: None,
        finished_mass: None,
        pickle: None,
    }
}

fn held(batch: &Batch, agent: Agent) -> Holding {
    let found = assess(batch).agents.into_iter().find(|held| held.agent == agent);
    found.expect("the agent is listed")
}

fn verdict(held: &Holding) -> Option<Verdict> {
    held.judgement.as_ref().map(|judgement| judgement.verdict)
}

fn nitrite_ppm(meat: &str, mix: &str, pct: &str) -> (String, Option<Verdict>) {
    let batch = batch(ProductClass::Comminuted, meat, vec![cure(pounds(mix), Agent::Nitrite, pct)]);
    let held = held(&batch, Agent::Nitrite);
    (held.ppm.as_ref().expect("a ppm").to_string(), verdict(&held))
}

#[test]
fn a_weight_in_pounds_stands_exactly_at_its_limit() {
    // FSIS Processing Inspectors' Calculations Handbook (1995), ch. 3; limit 9 CFR 424.21(c),
    // 1/4 oz to 100 lb = 156.25 ppm.
    let pass = |ppm: &str| (ppm.to_owned(), Some(Verdict::Pass));
    let fail = |ppm: &str| (ppm.to_owned(), Some(Verdict::Fail));
    assert_eq!(nitrite_ppm("450", "0.72", "6.25"), pass("100"));
    assert_eq!(nitrite_ppm("400", "1.000", "6.25"), pass("156.25"));
    assert_eq!(nitrite_ppm("1000", "2.00", "6.25"), pass("125"));
    assert_eq!(nitrite_ppm("400", "1.000", "6.40"), fail("160"));
    assert_eq!(nitrite_ppm("400", "0.980", "6.25"), pass("153.125"));
    assert_eq!(nitrite_ppm("400", "1.005", "6.25"), fail("157.03125"));
    let (ppm, verdict) = nitrite_ppm("388.5", "1.000", "6.25");
    assert!(ppm.starts_with("160.875160875"), "{ppm}");
    assert_eq!(verdict, Some(Verdict::Fail));
}

#[test]
fn a_short_block_is_over_in_erythorbate_too() {
    // 7/8 oz to 100 lb = 546.875 ppm: 9 CFR 424.21(c), from memory.
    let lines = || vec![cure(pounds("0.21875"), Agent::Erythorbate, "100")];
    let full = held(&batch(ProductClass::Comminuted, "400", lines()), Agent::Erythorbate);
    assert_eq!(full.ppm, Some(exact("546.875")));
    assert_eq!(verdict(&full), Some(Verdict::Pass));
    let short = held(&batch(ProductClass::Comminuted, "388.5", lines()), Agent::Erythorbate);
    assert_eq!(format!("{:.3}", short.ppm.as_ref().expect("a ppm").to_f64()), "563.063");
    assert_eq!(verdict(&short), Some(Verdict::Fail));
}

#[test]
fn rework_is_no_green_weight() {
    let mut lines = vec![cure(pounds("1.100"), Agent::Nitrite, "6.25")];
    lines.push(Line { name: String::new(), mass: pounds("40"), rework: true, active: None });
    let held = held(&batch(ProductClass::Comminuted, "400", lines), Agent::Nitrite);
    assert_eq!(held.ppm, Some(exact("171.875")));
    assert_eq!(held.rework_ppm, None);
    assert_eq!(verdict(&held), Some(Verdict::Fail));
}

#[test]
fn what_rework_alone_brings_is_shown_and_not_judged() {
    let mut rework = cure(pounds("40"), Agent::Nitrite, "0.015625");
    rework.rework = true;
    let batch = batch(ProductClass::Comminuted, "400", vec![rework]);
    let held = held(&batch, Agent::Nitrite);
    assert_eq!(held.ppm, Some(Exact::zero()));
    assert_eq!(held.rework_ppm, Some(exact("15.625")));
    assert_eq!(held.judgement, None);
    assert_eq!(assess(&batch).verdict, Verdict::Pass);
    assert!(assess(&batch).floors.is_empty());
}

#[test]
fn a_reason_names_the_strength_and_the_most_of_the_lot() {
    let batch =
        batch(ProductClass::Comminuted, "400", vec![cure(pounds("1.000"), Agent::Nitrite, "6.40")]);
    let judgement = held(&batch, Agent::Nitrite).judgement.expect("a judgement");
    let most = "at 6.4 % nitrite: at most about 0.976563 [lb_av]";
    assert!(judgement.reasons.iter().any(|reason| reason.contains(most)), "{judgement:?}");
}

#[test]
fn a_pickle_is_judged_by_what_is_pumped() {
    // FSIS Processing Inspectors' Calculations Handbook (1995), ch. 3: 2 lb to 100 gal at 10 %.
    let mut pumped =
        batch(ProductClass::Pumped, "1", vec![cure(pounds("2"), Agent::Nitrite, "100")]);
    pumped.meat = None;
    pumped.pickle = Some(Pickle { mass: pounds("1000"), pump_pct: Some(exact("10")) });
    let by_pump = held(&pumped, Agent::Nitrite);
    assert_eq!(by_pump.ppm, Some(exact("200")));
    assert_eq!(by_pump.limit_mass, Some(pounds("2")));
    assert_eq!(verdict(&by_pump), Some(Verdict::Pass));
    let mut soaked =
        batch(ProductClass::Immersion, "300", vec![cure(pounds("0.1"), Agent::Nitrite, "100")]);
    soaked.pickle = Some(Pickle { mass: pounds("200"), pump_pct: None });
    assert_eq!(held(&soaked, Agent::Nitrite).ppm, Some(exact("200")));
}

#[test]
fn a_basis_decides_what_is_known() {
    let lines = vec![
        cure(pounds("4.8"), Agent::Lactate, "100"),
        cure(pounds("0.5"), Agent::Phosphate, "100"),
    ];
    let mut batch = batch(ProductClass::Comminuted, "94.7", lines);
    let lactate = held(&batch, Agent::Lactate);
    assert_eq!(lactate.ppm, Some(exact("48000")));
    assert_eq!(verdict(&lactate), Some(Verdict::Pass));
    assert_eq!(verdict(&held(&batch, Agent::Phosphate)), Some(Verdict::Undetermined));
    batch.finished_mass = Some(pounds("100"));
    assert_eq!(held(&batch, Agent::Phosphate).ppm, Some(exact("5000")));
    batch.class = ProductClass::Fresh;
    assert_eq!(verdict(&held(&batch, Agent::Phosphate)), Some(Verdict::Fail));
}

#[test]
fn bacon_must_hold_what_its_process_rests_on() {
    // 9 CFR 424.22(b): 120 ppm nitrite with 550 ppm erythorbate or ascorbate.
    let lines = |erythorbate: &str| {
        vec![
            cure(pounds("0.12"), Agent::Nitrite, "100"),
            cure(pounds(erythorbate), Agent::Erythorbate, "100"),
        ]
    };
    let bacon = |lines| batch(ProductClass::BaconPumped, "1000", lines);
    assert_eq!(assess(&bacon(lines("0.55"))).verdict, Verdict::Pass);
    assert_eq!(assess(&bacon(lines("0.5499"))).verdict, Verdict::Fail);
    let lacking = assess(&bacon(Vec::new()));
    let listed: Vec<_> = lacking.agents.iter().map(|held| held.agent).collect();
    assert_eq!(listed, [Agent::Nitrite, Agent::Erythorbate]);
    assert!(lacking.agents.iter().all(|held| held.ppm == Some(Exact::zero())));
    assert_eq!(lacking.verdict, Verdict::Fail);
    let nitrate = bacon(vec![cure(pounds("0.001"), Agent::Nitrate, "100")]);
    assert_eq!(held(&nitrate, Agent::Nitrate).limit_ppm, Some(Exact::zero()));
    let starter = assess(&batch(ProductClass::BaconPumpedStarter, "1000", Vec::new()));
    assert_eq!(starter.agents.len(), 4);
}

#[test]
fn floors_stand_beside_the_verdict() {
    let low =
        batch(ProductClass::Comminuted, "400", vec![cure(pounds("0.7"), Agent::Nitrite, "6.25")]);
    let assessed = assess(&low);
    let floors: Vec<_> =
        assessed.floors.iter().map(|floor| (floor.id, floor.judgement.verdict)).collect();
    assert_eq!(
        floors,
        [
            ("us.chill.option-3", Verdict::Pass),
            ("us.agent.nitrite.keep-refrigerated", Verdict::Fail)
        ]
    );
    assert_eq!(assessed.verdict, Verdict::Pass);
}

pub(crate) fn any_batch() -> impl Strategy<Value = Batch> {
    let mass = 0i64..200_000;
    let agent = prop::option::of((prop::sample::select(Agent::ALL), 0i64..10_001));
    let line = (mass.clone(), any::<bool>(), agent);
    let whole = |grams: i64| Quantity::new(Exact::whole(grams) / Exact::whole(7), Unit::Gram);
    let line = line.prop_map(move |(grams, rework, agent)| Line {
        name: "a line".to_owned(),
        mass: whole(grams),
        rework,
        active: agent
            .map(|(agent, pct)| Active { agent, pct: Exact::whole(pct) / Exact::whole(100) }),
    });
    let pickle = prop::option::of((mass.clone(), prop::option::of(0i64..101)));
    let masses =
        (prop::option::of(mass.clone()), prop::option::of(mass.clone()), prop::option::of(mass));
    let lines = prop::collection::vec(line, 0..8);
    (prop::sample::select(ProductClass::ALL), masses, lines, pickle).prop_map(
        move |(class, (meat, formula, finished), lines, pickle)| Batch {
            class,
            unit: Unit::Kilogram,
            meat: meat.map(whole),
            lines,
            formula_mass: formula.map(whole),
            finished_mass: finished.map(whole),
            pickle: pickle
                .map(|(mass, pump)| Pickle { mass: whole(mass), pump_pct: pump.map(Exact::whole) }),
        },
    )
}

fn scaled(batch: &Batch, factor: &Exact) -> Batch {
    let times = |mass: &Quantity| Quantity::new(&mass.value * factor, mass.unit);
    let mut scaled = batch.clone();
    scaled.meat = batch.meat.as_ref().map(times);
    scaled.formula_mass = batch.formula_mass.as_ref().map(times);
    scaled.finished_mass = batch.finished_mass.as_ref().map(times);
    for line in &mut scaled.lines {
        line.mass = times(&line.mass);
    }
    if let Some(pickle) = &mut scaled.pickle {
        pickle.mass = times(&pickle.mass);
    }
    scaled
}

proptest! {
    #[test]
    fn scaling_all_masses_changes_no_verdict(
        batch in any_batch(),
        numerator in 1i64..1_000_000,
        denominator in 1i64..1_000_000,
    ) {
        let factor = Exact::ratio(numerator, denominator).expect("a ratio");
        let (before, after) = (assess(&batch), assess(&scaled(&batch, &factor)));
        prop_assert_eq!(before.verdict, after.verdict);
        prop_assert_eq!(before.floors, after.floors);
        for (before, after) in before.agents.iter().zip(&after.agents) {
            prop_assert_eq!(verdict(before), verdict(after));
            prop_assert_eq!(&before.ppm, &after.ppm);
        }
    }

    #[test]
    fn a_limit_mass_stands_exactly_at_the_limit(mass in 1i64..1_000_000, meat in 1i64..1_000_000) {
        let grams = |value| Quantity::new(Exact::whole(value), Unit::Gram);
        let mut batch = batch(ProductClass::Comminuted, "1", Vec::new());
        batch.meat = Some(grams(meat));
        batch.lines = vec![cure(grams(mass), Agent::Nitrite, "100")];
        let limit = held(&batch, Agent::Nitrite).limit_mass.expect("a limit");
        batch.lines[0].mass = limit;
        let at_limit = held(&batch, Agent::Nitrite);
        prop_assert_eq!(at_limit.ppm, Some(exact("156.25")));
        prop_assert_eq!(at_limit.judgement.map(|j| j.verdict), Some(Verdict::Pass));
    }
}
