//! Checks of the blend against published optima and two independent methods.
//! It never shares code with the solver that it checks.

use good_lp::{Expression, Solution, SolverModel, constraint, microlp, variable, variables};
use proptest::prelude::*;

use super::*;

fn exact(text: &str) -> Exact {
    text.parse().expect("a decimal")
}

fn material(
    name: &str,
    pct: [&str; 3],
    cost: &str,
    min: Option<&str>,
    max: Option<&str>,
) -> Material {
    Material {
        name: name.to_owned(),
        pct: pct.map(|text| Some(exact(text))),
        cost_per_kg: exact(cost),
        min_kg: min.map(exact),
        max_kg: max.map(exact),
    }
}

fn target(property: Property, min: Option<&str>, max: Option<&str>) -> Target {
    Target { property, min: min.map(exact), max: max.map(exact) }
}

fn best(materials: &[Material], targets: &[Target], total: &str) -> Optimum {
    match blend(materials, targets, &exact(total)) {
        Some(Blend::Optimal(best)) => *best,
        other => panic!("no optimum: {other:?}"),
    }
}

fn price(binding: &[Binding], limit: &str) -> Option<String> {
    let found = binding.iter().find(|binding| binding.limit == limit)?;
    Some(format!("{:.5}", found.shadow_price.to_f64()))
}

#[test]
fn pork_and_beef_meet_fat_and_protein_at_least_cost() {
    // Compositions: USDA National Nutrient Database SR26; prices invented; worked by hand.
    let materials = [
        material("butt", ["12.36", "69.18", "17.42"], "1.60", None, None),
        material("belly", ["53.01", "36.74", "9.34"], "1.30", None, None),
        material("beef 90/10", ["10", "69.5", "20"], "3.10", Some("15"), None),
    ];
    let targets = [
        target(Property::Fat, Some("23"), Some("27")),
        target(Property::Protein, Some("15"), None),
    ];
    let Optimum { total_cost, kg, achieved, binding } = best(&materials, &targets, "100");
    assert_eq!(format!("{:.4}", total_cost.to_f64()), "172.0780");
    let kg: Vec<_> = kg.iter().map(|kg| format!("{:.4}", kg.to_f64())).collect();
    assert_eq!(kg, ["50.2599", "34.7401", "15.0000"]);
    assert_eq!(achieved[Property::Protein as usize], Some(exact("15")));
    assert_eq!(price(&binding, "protein_pct.min").as_deref(), Some("3.71287"));
    assert_eq!(price(&binding, "beef 90/10.min_kg").as_deref(), Some("1.40421"));
    assert_eq!(binding.len(), 2);
}

#[test]
fn two_fats_mix_by_the_square() {
    // common practice, no source: the square method, 30 % and 12 % to 20 % is 8 parts to 10.
    let materials = [
        material("fat", ["30", "0", "0"], "1", None, None),
        material("lean", ["12", "0", "0"], "1", None, None),
    ];
    let targets = [target(Property::Fat, Some("20"), Some("20"))];
    let Optimum { kg, binding, .. } = best(&materials, &targets, "18");
    assert_eq!(kg, [exact("8"), exact("10")]);
    let names: Vec<_> = binding.iter().map(|binding| binding.limit.as_str()).collect();
    assert_eq!(names, ["fat_pct.min", "fat_pct.max"]);
    assert!(binding.iter().all(|binding| binding.shadow_price.is_zero()));
}

#[test]
fn conflicts_are_as_few_as_possible() {
    let fat = |pct| [pct, "0", "0"];
    let conflicts = |materials: &[Material], targets: &[Target]| match blend(
        materials,
        targets,
        &exact("18"),
    ) {
        Some(Blend::Infeasible(conflicts)) => conflicts,
        other => panic!("no conflict: {other:?}"),
    };
    let plain =
        [material("a", fat("30"), "1", None, None), material("b", fat("12"), "1", None, None)];
    let low = [target(Property::Fat, None, Some("10"))];
    assert_eq!(conflicts(&plain, &low), ["fat_pct.max"]);
    let heavy = [
        material("a", fat("30"), "1", Some("2"), None),
        material("b", fat("12"), "1", Some("10"), None),
        material("c", fat("12"), "1", Some("9"), None),
    ];
    assert_eq!(conflicts(&heavy, &[]), ["b.min_kg", "c.min_kg"]);
    let scarce = [
        material("a", fat("30"), "1", None, Some("2")),
        material("b", fat("12"), "1", None, Some("3")),
    ];
    assert_eq!(conflicts(&scarce, &[]), ["a.max_kg", "b.max_kg"]);
    let mixed = [
        material("a", fat("30"), "1", Some("9"), None),
        material("b", fat("12"), "1", Some("1"), None),
    ];
    assert_eq!(
        conflicts(&mixed, &[target(Property::Fat, Some("5"), Some("15"))]),
        ["fat_pct.max", "a.min_kg"]
    );
}

#[test]
fn two_hundred_materials_are_solved_in_time() {
    let texts: Vec<[String; 4]> = (0..200_u64)
        .map(|at| {
            let fat = (at * 37 % 61) as f64;
            let protein = (at * 17 % 20) as f64;
            [fat.to_string(), protein.to_string(), format!("{}", 100 + at * 53 % 97), "1".into()]
        })
        .collect();
    let materials: Vec<Material> = texts
        .iter()
        .enumerate()
        .map(|(at, [fat, protein, cost, max])| {
            let name = format!("m{at}");
            material(&name, [fat, "0", protein], cost, Some("0.1"), Some(max))
        })
        .collect();
    let good = [
        target(Property::Fat, Some("24"), Some("26")),
        target(Property::Protein, Some("11"), None),
    ];
    let solved = blend(&materials, &good, &exact("100"));
    assert!(matches!(solved, Some(Blend::Optimal(_))));
    let bad = [target(Property::Fat, None, Some("9"))];
    let solved = blend(&materials, &bad, &exact("100"));
    assert!(matches!(solved, Some(Blend::Infeasible(conflicts)) if conflicts.len() > 1));
    let too_much = blend(&materials, &[], &exact("201"));
    assert!(matches!(too_much, Some(Blend::Infeasible(conflicts)) if conflicts.len() == 200));
}

/// A constraint `parts . x` at least (or, negated, at most) `bound`.
struct Half {
    parts: Vec<Exact>,
    bound: Exact,
}

fn halves(materials: &[Material], targets: &[Target], total: &Exact) -> Vec<Half> {
    let unit = |at: usize, sign: i64| -> Vec<Exact> {
        (0..materials.len()).map(|i| Exact::whole(if i == at { sign } else { 0 })).collect()
    };
    let mut all = Vec::new();
    for (at, one) in materials.iter().enumerate() {
        let least = one.min_kg.clone().unwrap_or_else(Exact::zero);
        all.push(Half { parts: unit(at, 1), bound: least });
        all.extend(one.max_kg.clone().map(|max| Half { parts: unit(at, -1), bound: -max }));
    }
    for target in targets {
        let pct = |sign: i64| -> Vec<Exact> {
            let of = |m: &Material| m.pct[target.property as usize].clone().expect("given");
            materials.iter().map(|m| of(m) * Exact::whole(sign)).collect()
        };
        all.extend(target.min.clone().map(|min| Half { parts: pct(1), bound: min * total }));
        all.extend(target.max.clone().map(|max| Half { parts: pct(-1), bound: -(max * total) }));
    }
    all
}

fn dot(a: &[Exact], b: &[Exact]) -> Exact {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Gauss-Jordan elimination; nothing for a singular system.
fn solve(mut rows: Vec<Vec<Exact>>) -> Option<Vec<Exact>> {
    let count = rows.len();
    for column in 0..count {
        let pivot = (column..count).find(|row| !rows[*row][column].is_zero())?;
        rows.swap(column, pivot);
        let lead = rows[column][column].clone();
        let scaled: Vec<Exact> = rows[column].iter().map(|value| value / &lead).collect();
        for (at, row) in rows.iter_mut().enumerate() {
            let times = if at == column { Exact::zero() } else { row[column].clone() };
            *row = row.iter().zip(&scaled).map(|(own, new)| own - &(&times * new)).collect();
        }
        rows[column] = scaled;
    }
    Some(rows.into_iter().map(|mut row| row.pop().expect("a right-hand side")).collect())
}

/// The least cost over all corners of what is allowed: every corner meets as many limits exactly
/// as there are materials.
fn least_of_all_corners(
    materials: &[Material],
    targets: &[Target],
    total: &Exact,
) -> Option<Exact> {
    let halves = halves(materials, targets, total);
    let costs: Vec<Exact> = materials.iter().map(|one| one.cost_per_kg.clone()).collect();
    let mut least: Option<Exact> = None;
    for choice in 0_u32..1 << halves.len() {
        if choice.count_ones() as usize != materials.len() - 1 {
            continue;
        }
        let chosen = halves.iter().enumerate().filter(|(at, _)| choice & (1 << at) != 0);
        let mut rows = vec![vec![Exact::one(); materials.len()]];
        rows[0].push(total.clone());
        rows.extend(chosen.map(|(_, half)| {
            half.parts.iter().cloned().chain([half.bound.clone()]).collect::<Vec<_>>()
        }));
        let Some(corner) = solve(rows) else { continue };
        if halves.iter().all(|half| dot(&half.parts, &corner) >= half.bound) {
            let cost = dot(&costs, &corner);
            least = Some(least.map_or(cost.clone(), |least| least.min(cost)));
        }
    }
    least
}

fn loosened(materials: &mut [Material], targets: &mut [Target], limit: &str, by: &Exact) {
    for one in materials {
        if limit == format!("{}.min_kg", one.name) {
            one.min_kg = one.min_kg.take().map(|min| min - by);
        }
        if limit == format!("{}.max_kg", one.name) {
            one.max_kg = one.max_kg.take().map(|max| max + by);
        }
    }
    for target in targets {
        if limit == format!("{}.min", target.property.word()) {
            target.min = target.min.take().map(|min| min - by);
        }
        if limit == format!("{}.max", target.property.word()) {
            target.max = target.max.take().map(|max| max + by);
        }
    }
}

fn without(materials: &mut [Material], targets: &mut [Target], limit: &str) {
    for one in materials {
        if limit == format!("{}.min_kg", one.name) {
            one.min_kg = None;
        }
        if limit == format!("{}.max_kg", one.name) {
            one.max_kg = None;
        }
    }
    for target in targets {
        if limit == format!("{}.min", target.property.word()) {
            target.min = None;
        }
        if limit == format!("{}.max", target.property.word()) {
            target.max = None;
        }
    }
}

/// The name of every limit that could be set.
fn names_of_limits(materials: &[Material]) -> Vec<String> {
    let names = materials.iter().map(|one| one.name.as_str());
    let of_materials = names.flat_map(|name| ["min_kg", "max_kg"].map(|s| format!("{name}.{s}")));
    let words = Property::ALL.into_iter().map(Property::word);
    let of_targets = words.flat_map(|word| ["min", "max"].map(|side| format!("{word}.{side}")));
    of_materials.chain(of_targets).collect()
}

fn small_materials() -> impl Strategy<Value = Vec<Material>> {
    let bound = prop::option::weighted(0.3, 0i64..6);
    let one = (0i64..8, 0i64..4, 0i64..5, bound.clone(), bound);
    prop::collection::vec(one, 2..5).prop_map(|list| {
        let whole = Exact::whole;
        let numbers = list.into_iter().enumerate();
        numbers
            .map(|(at, (fat, protein, cost, min, span))| Material {
                name: format!("m{at}"),
                pct: [fat * 10, 0, protein * 5].map(|pct| Some(whole(pct))),
                cost_per_kg: whole(cost),
                min_kg: min.map(whole),
                max_kg: span.map(|span| whole(min.unwrap_or(0) + span)),
            })
            .collect()
    })
}

fn small_targets() -> impl Strategy<Value = Vec<Target>> {
    let fat = (0i64..60, prop::option::of(0i64..20));
    let protein = prop::option::weighted(0.5, 0i64..15);
    (prop::option::of(fat), protein).prop_map(|(fat, protein)| {
        let fat = fat.map(|(min, span)| Target {
            property: Property::Fat,
            min: Some(Exact::whole(min)),
            max: span.map(|span| Exact::whole(min + span)),
        });
        let protein = protein.map(|min| Target {
            property: Property::Protein,
            min: Some(Exact::whole(min)),
            max: None,
        });
        fat.into_iter().chain(protein).collect()
    })
}

fn optimum(materials: &[Material], targets: &[Target], total: &Exact) -> Option<Exact> {
    match blend(materials, targets, total) {
        Some(Blend::Optimal(optimum)) => Some(optimum.total_cost),
        _ => None,
    }
}

fn microlp_cost(materials: &[Material], targets: &[Target], total: f64) -> Option<f64> {
    let float = |value: &Option<Exact>| value.as_ref().map(Exact::to_f64);
    variables! { programme: }
    let mut kg = Vec::new();
    for one in materials {
        let least = float(&one.min_kg).unwrap_or(0.0);
        let most = float(&one.max_kg).unwrap_or(f64::INFINITY);
        kg.push(programme.add(variable().min(least).max(most)));
    }
    let pairs = || materials.iter().zip(&kg);
    let cost: Expression = pairs().map(|(one, kg)| one.cost_per_kg.to_f64() * *kg).sum();
    let whole: Expression = kg.iter().sum();
    let mut model = programme.minimise(&cost).using(microlp).with(constraint!(whole == total));
    for target in targets {
        let pct = |one: &Material| float(&one.pct[target.property as usize]).unwrap_or(0.0);
        let sum: Expression = pairs().map(|(one, kg)| pct(one) * *kg).sum();
        if let Some(min) = float(&target.min) {
            model = model.with(constraint!(sum.clone() >= min * total));
        }
        if let Some(max) = float(&target.max) {
            model = model.with(constraint!(sum <= max * total));
        }
    }
    model.solve().ok().map(|solution| solution.eval(&cost))
}

proptest! {
    #[test]
    fn every_blend_agrees_with_its_corners(
        materials in small_materials(),
        targets in small_targets(),
        total in 1i64..15,
    ) {
        let total = Exact::whole(total);
        let least = least_of_all_corners(&materials, &targets, &total);
        match blend(&materials, &targets, &total).expect("an answer") {
            Blend::Optimal(best) => {
                let Optimum { total_cost, kg, binding, .. } = *best;
                prop_assert_eq!(Some(total_cost.clone()), least);
                let all = halves(&materials, &targets, &total);
                prop_assert!(all.iter().all(|half| dot(&half.parts, &kg) >= half.bound));
                prop_assert_eq!(kg.iter().sum::<Exact>(), total.clone());
                let little = exact("0.000000000001");
                for bound in binding {
                    let (mut m, mut t) = (materials.clone(), targets.clone());
                    loosened(&mut m, &mut t, &bound.limit, &little);
                    let cost = optimum(&m, &t, &total).expect("still feasible");
                    prop_assert_eq!((&total_cost - &cost) / little.clone(), bound.shadow_price);
                }
            }
            Blend::Infeasible(conflicts) => {
                prop_assert_eq!(least, None);
                prop_assert!(!conflicts.is_empty());
                let keep_only = |dropped: Option<&String>| {
                    let (mut m, mut t) = (materials.clone(), targets.clone());
                    for limit in names_of_limits(&materials) {
                        if !conflicts.contains(&limit) || dropped == Some(&limit) {
                            without(&mut m, &mut t, &limit);
                        }
                    }
                    least_of_all_corners(&m, &t, &total)
                };
                prop_assert_eq!(keep_only(None), None);
                for limit in &conflicts {
                    prop_assert!(keep_only(Some(limit)).is_some(), "{} is not needed", limit);
                }
            }
        }
    }

    #[test]
    fn a_floating_solver_finds_the_same_cost(
        materials in small_materials(),
        targets in small_targets(),
        total in 1i64..15,
    ) {
        let ours = optimum(&materials, &targets, &Exact::whole(total));
        let theirs = microlp_cost(&materials, &targets, total as f64);
        if let Some((ours, theirs)) = ours.zip(theirs) {
            prop_assert!((ours.to_f64() - theirs).abs() < 1e-6, "{} {}", ours, theirs);
        }
    }
}
