//! Throws arbitrary requests at the kinds of formula and mass.
//! It never asks for a certain answer: only that there is one, of numbers, in bounded time.

use calculations::{agents, blend, brine, composition, declaration, scale, shrink};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use wire::v1;

fn number() -> impl Strategy<Value = String> {
    prop_oneof![
        20 => (0i32..1500).prop_map(|tenths| format!("{}", f64::from(tenths) / 10.0)),
        5 => (0i64..1_000_000_000).prop_map(|parts| format!("{parts}e-9")),
        1 => Just("1e-28".to_owned()),
        1 => Just("7.9e28".to_owned()),
        1 => Just("-1".to_owned()),
        1 => Just("0".to_owned()),
        1 => Just("NaN".to_owned()),
    ]
}

fn pct() -> impl Strategy<Value = Option<String>> {
    option::weighted(0.8, prop_oneof![9 => (0i32..40).prop_map(|n| n.to_string()), 1 => number()])
}

fn mass() -> impl Strategy<Value = Option<v1::Quantity>> {
    let unit = select(&["kg", "[lb_av]", "g", "kg", "[oz_av]", "Cel", "stone"][..]);
    let quantity = (option::weighted(0.95, number()), unit)
        .prop_map(|(value, unit)| v1::Quantity { value, unit: unit.to_owned() });
    option::weighted(0.9, quantity)
}

fn word(words: &'static [&'static str]) -> impl Strategy<Value = String> {
    select(words).prop_map(str::to_owned)
}

fn agent_line() -> impl Strategy<Value = v1::AgentLine> {
    let agents = &["nitrite", "nitrate", "potassium_nitrite", "phosphate", "lactate", "sugar", "x"];
    let marks = (option::of(any::<bool>()), option::of(any::<bool>()));
    (mass(), marks, option::of(word(agents)), pct()).prop_map(|(mass, marks, agent, active_pct)| {
        let (meat, rework) = marks;
        v1::AgentLine { name: String::new(), mass, meat, rework, agent, active_pct }
    })
}

fn blend_material() -> impl Strategy<Value = v1::BlendMaterial> {
    let pcts = (pct(), pct(), pct());
    let kg = || option::weighted(0.3, number());
    (word(&["a", "b", "c", "d", ""]), pcts, option::weighted(0.95, number()), kg(), kg()).prop_map(
        |(name, (fat_pct, moisture_pct, protein_pct), cost_per_kg, min_kg, max_kg)| {
            v1::BlendMaterial {
                name,
                fat_pct,
                moisture_pct,
                protein_pct,
                cost_per_kg,
                min_kg,
                max_kg,
            }
        },
    )
}

fn blend_target() -> impl Strategy<Value = v1::BlendTarget> {
    let property = word(&["fat_pct", "moisture_pct", "protein_pct", "ash_pct"]);
    (property, pct(), pct()).prop_map(|(property, min, max)| v1::BlendTarget { property, min, max })
}

fn part() -> impl Strategy<Value = v1::CompositionPart> {
    let kind = word(&["meat", "poultry", "liver", "binder", "other", "tofu"]);
    (kind, mass(), (pct(), pct(), pct(), pct())).prop_map(|(kind, mass, pcts)| {
        let (fat_pct, moisture_pct, protein_pct, salt_pct) = pcts;
        let name = String::new();
        v1::CompositionPart { name, kind, mass, fat_pct, moisture_pct, protein_pct, salt_pct }
    })
}

proptest! {
    #[test]
    fn agents_answers_anything(
        product_class in word(&["comminuted", "fresh", "pumped", "immersion", "bacon_pumped", "?"]),
        lines in vec(agent_line(), 0..6),
        masses in (mass(), mass(), mass(), mass()),
        pump_pct in pct(),
    ) {
        let (meat_mass, formula_mass, finished_mass, pickle_mass) = masses;
        let request = v1::AgentsRequest {
            product_class, meat_mass, lines, formula_mass, finished_mass, pickle_mass, pump_pct,
        };
        match agents::calculate(request) {
            Ok(answer) => prop_assert!(answer.verdict.is_some() && !answer.cautions.is_empty()),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    #[test]
    fn composition_answers_anything(
        parts in vec(part(), 0..5),
        added_water in mass(),
        finished_mass in mass(),
        standard in option::of(word(&["us.composition.frankfurter-group", "us.composition.pie"])),
    ) {
        let standard_id = standard;
        let is_judged = standard_id.is_some();
        let request = v1::CompositionRequest { parts, added_water, finished_mass, standard_id };
        match composition::calculate(request) {
            Ok(answer) => prop_assert_eq!(answer.verdict.is_some(), is_judged),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    #[test]
    fn blend_answers_anything(
        materials in vec(blend_material(), 0..5),
        total_kg in option::weighted(0.95, number()),
        targets in vec(blend_target(), 0..3),
    ) {
        match blend::calculate(v1::BlendRequest { materials, total_kg, targets }) {
            Ok(answer) => prop_assert!(answer.total_cost.is_some() == answer.conflicts.is_empty()),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    #[test]
    fn scale_answers_anything(
        lines in vec((mass(), option::of(any::<bool>()), mass()), 0..5),
        meat_mass in mass(),
        total_mass in mass(),
        factor in option::weighted(0.3, number()),
        division in mass(),
    ) {
        let lines = lines.into_iter().map(|(mass, meat, division)| v1::ScaleLine {
            name: String::new(), mass, meat, division,
        }).collect();
        let request = v1::ScaleRequest { lines, meat_mass, total_mass, factor, division };
        match scale::calculate(request) {
            Ok(answer) => prop_assert!(answer.factor.is_some()),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    #[test]
    fn shrink_brine_and_declaration_answer_anything(
        masses in vec((mass(), word(&["salt", "pork", " "]), word(&["milk", "pollen"])), 0..5),
        salt_pct in pct(),
        moisture_pct in pct(),
        target_pct in pct(),
    ) {
        let stages = masses.iter().cloned();
        let stages = stages.map(|(mass, name, _)| v1::ShrinkStage { name, mass }).collect();
        if let Ok(answer) = shrink::calculate(v1::ShrinkRequest { stages }) {
            prop_assert!(answer.total_yield_pct.is_some());
        }
        let has_target = target_pct.is_some();
        let request = v1::BrineRequest { salt_pct, moisture_pct, target_pct };
        if let Ok(answer) = brine::calculate(request) {
            prop_assert!(answer.water_phase_salt_pct.is_some() || has_target);
        }
        let lines = masses.into_iter().map(|(mass, statement, allergen)| v1::DeclarationLine {
            name: String::new(), mass, statement, allergens: vec![allergen],
        }).collect();
        if let Ok(answer) = declaration::calculate(v1::DeclarationRequest { lines }) {
            prop_assert!(answer.statement.is_some());
        }
    }
}
