//! Invented plants in small: what shares, stages, shrink and costs must be.
//! A number that is published has its source beside it.

use proptest::prelude::*;

use super::cost::{self, Price};
use super::flow::{Graph, Kind, Lot, Making};
use super::stages::{self, Stage, Weighing};
use crate::exact::Exact;
use crate::units::{Quantity, Unit};

fn whole(value: i64) -> Exact {
    Exact::whole(value)
}

fn lot(kind: Kind, mass_g: i64, made_by: Option<usize>) -> Lot {
    Lot { kind, mass_g: whole(mass_g), made_by }
}

fn making(inputs: &[(usize, i64)], additions_g: i64) -> Making {
    let inputs = inputs.iter().map(|(lot, mass_g)| (*lot, whole(*mass_g))).collect();
    Making { inputs, additions_g: whole(additions_g) }
}

fn weighing(lots: &[usize], stage: Stage, net_g: i64) -> Weighing {
    let lots = lots.iter().copied().map(Some).collect();
    Weighing { lots, stage, net: Quantity::new(whole(net_g), Unit::Gram) }
}

const MEAT: usize = 0;
const SPICE: usize = 1;
const KIT: usize = 2;
const BATCH: usize = 3;
const RACK_A: usize = 4;
const RACK_B: usize = 5;
const PACK_A: usize = 6;
const SCRAP: usize = 7;

/// Meat 2000 g (1000 of it used) and a kit of 20 g with 80 g of water: a batch of 1100 g, hung on
/// two racks; the first is packed, and some of it goes into rework.
fn plant() -> Graph {
    let lots = vec![
        lot(Kind::Received, 2000, None),
        lot(Kind::Received, 500, None),
        lot(Kind::Kit, 20, Some(0)),
        lot(Kind::Batch, 1100, Some(1)),
        lot(Kind::Rack, 550, Some(2)),
        lot(Kind::Rack, 540, Some(3)),
        lot(Kind::Finished, 450, Some(4)),
        lot(Kind::Rework, 50, Some(4)),
    ];
    let makings = vec![
        making(&[(SPICE, 20)], 0),
        making(&[(MEAT, 1000), (KIT, 20)], 80),
        making(&[(BATCH, 550)], 0),
        making(&[(BATCH, 550)], 0),
        making(&[(RACK_A, 550)], 0),
    ];
    Graph::of(lots, makings).expect("a graph")
}

fn found(roots: &[usize], weighings: &[Weighing], stage: Stage) -> stages::Found {
    let all = stages::found(&plant(), roots, weighings);
    all.into_iter().find(|found| found.stage == stage).expect("every stage")
}

#[test]
fn a_graph_with_a_cycle_or_a_hole_is_none() {
    let round = vec![lot(Kind::Batch, 1, Some(0)), lot(Kind::Rework, 1, Some(1))];
    let makings = vec![making(&[(1, 1)], 0), making(&[(0, 1)], 0)];
    assert!(Graph::of(round, makings).is_none());
    assert!(Graph::of(vec![lot(Kind::Batch, 1, Some(0))], Vec::new()).is_none());
    assert!(Graph::of(vec![lot(Kind::Batch, 0, None)], Vec::new()).is_none());
    assert!(Graph::of(Vec::new(), vec![making(&[(0, 1)], 0)]).is_none());
}

#[test]
fn shares_go_by_mass_both_ways() {
    let part = |numerator, denominator| Exact::ratio(numerator, denominator).expect("a number");
    let held = plant().back(&[PACK_A], |_| false);
    // 450 of 500 g that were made; the rack wholly, half of the batch, half of the meat used.
    assert_eq!(held[RACK_A], part(9, 10));
    assert_eq!(held[BATCH], part(9, 20));
    assert_eq!(held[MEAT], part(450, 2000));
    assert_eq!(held[SPICE], part(9, 500));
    assert_eq!(held[RACK_B], whole(0));
    let came = plant().forward(&[BATCH], |_| false);
    assert_eq!([RACK_A, RACK_B, PACK_A].map(|lot| came[lot].clone()), [1, 1, 1].map(whole));
    let came = plant().forward(&[MEAT], |_| false);
    // 1000 of the 1100 g that went into the mixer.
    assert_eq!((&came[BATCH], &came[PACK_A]), (&part(10, 11), &part(10, 11)));
}

#[test]
fn what_is_used_is_a_part_of_what_the_lot_weighed_last() {
    // 495 g of a rack of 550 g are packed: nine tenths of it, unless it weighed 495 g by then.
    let lots = vec![lot(Kind::Rack, 550, None), lot(Kind::Finished, 490, Some(0))];
    let mut graph = Graph::of(lots, vec![making(&[(0, 495)], 0)]).expect("a graph");
    assert_eq!(graph.back(&[1], |_| false)[0], Exact::ratio(9, 10).expect("a number"));
    assert!(graph.has_rest(0));
    let weighings = [
        weighing(&[0], Stage::Stuffed, 550),
        weighing(&[0], Stage::Chilled, 300),
        weighing(&[0], Stage::Chilled, 195),
        weighing(&[1], Stage::Packed, 490),
    ];
    stages::weighed_last(&mut graph, &weighings);
    assert_eq!((graph.back(&[1], |_| false)[0].clone(), graph.has_rest(0)), (whole(1), false));
    let all = stages::found(&graph, &[1], &weighings);
    let shrink = stages::shrink(&all, Unit::Gram).expect("whole stages");
    assert_eq!(shrink.chain.stages[1].step_shrink_pct, Some(whole(10)));
    assert_eq!(shrink.from_stuffed_pct, Exact::ratio(120, 11));
    // A weighing below what was used of the lot says that all of it was used.
    graph.weighed_last(0, &whole(400));
    assert_eq!(graph.back(&[1], |_| false)[0], whole(1));
}

#[test]
fn a_stage_counts_the_share_that_belongs_to_what_was_asked_for() {
    let mixed = [weighing(&[BATCH], Stage::Mixed, 1088)];
    let found = found(&[PACK_A], &mixed, Stage::Mixed);
    assert!(found.is_whole());
    assert_eq!(found.counted[0].share, Exact::ratio(9, 20).expect("a number"));
    assert_eq!(found.mass_g().to_string(), "489.6");
    assert_eq!(found.recorded_g, Some(whole(495)));
}

#[test]
fn parts_of_a_lot_add_up_and_are_recorded_once() {
    let parts = [
        weighing(&[RACK_A], Stage::Stuffed, 300),
        weighing(&[RACK_A], Stage::Stuffed, 249),
        weighing(&[RACK_A], Stage::Smoked, 500),
    ];
    let found = found(&[RACK_A], &parts, Stage::Stuffed);
    assert_eq!((found.mass_g(), found.recorded_g), (whole(549), Some(whole(550))));
}

#[test]
fn a_stage_that_was_weighed_in_part_is_not_whole_and_names_the_rest() {
    let one = [weighing(&[RACK_A], Stage::Smoked, 500)];
    let smoked = found(&[BATCH], &one, Stage::Smoked);
    assert_eq!((smoked.is_whole(), smoked.lacking), (false, vec![RACK_B]));
    let nobody = found(&[BATCH], &[], Stage::Smoked);
    assert!(!nobody.is_whole() && nobody.counted.is_empty());
    let packed = found(&[BATCH], &[weighing(&[PACK_A], Stage::Packed, 450)], Stage::Packed);
    assert_eq!(packed.lacking, [RACK_B], "it hangs there still, and was never packed");
    assert_eq!(packed.rework, [(SCRAP, whole(50))]);
}

#[test]
fn what_stood_on_the_scale_with_others_is_not_divided() {
    let mut together = weighing(&[RACK_A], Stage::Smoked, 1200);
    together.lots.push(None);
    let smoked = found(&[RACK_A], &[together], Stage::Smoked);
    assert_eq!((smoked.is_whole(), smoked.lacking), (false, vec![RACK_A]));
    let both = [weighing(&[RACK_A, RACK_B], Stage::Smoked, 1000)];
    let smoked = found(&[BATCH], &both, Stage::Smoked);
    assert_eq!((smoked.is_whole(), smoked.mass_g()), (true, whole(1000)));
}

#[test]
fn kits_and_rework_are_no_part_of_the_meat() {
    let received = found(&[BATCH], &[weighing(&[MEAT], Stage::Received, 2004)], Stage::Received);
    assert!(received.is_whole(), "the spice of the kit is no meat: {received:?}");
    assert_eq!(received.mass_g(), whole(1002));
    let mixed = found(&[BATCH], &[weighing(&[MEAT], Stage::Mixed, 2000)], Stage::Mixed);
    assert_eq!(mixed.lacking, [BATCH], "the kit goes into the mixer too");
    let block = found(&[PACK_A], &[weighing(&[BATCH], Stage::Block, 1000)], Stage::Block);
    assert_eq!(block.mass_g(), whole(450));
    let of_meat = found(&[BATCH], &[weighing(&[MEAT], Stage::Block, 1000)], Stage::Block);
    assert!(of_meat.counted.is_empty(), "nobody knows of which batch it was the block");
}

#[test]
fn shrink_runs_over_whole_stages_alone_and_is_based_on_the_stuffed_weight() {
    // Plain arithmetic: (550 - 495) / 550 = 10 %, (495 - 450) / 495 = 1/11, together 2/11.
    let weighings = [
        weighing(&[BATCH], Stage::Mixed, 1100),
        weighing(&[RACK_A], Stage::Stuffed, 550),
        weighing(&[RACK_A], Stage::Chilled, 495),
        weighing(&[PACK_A], Stage::Packed, 450),
    ];
    let all = stages::found(&plant(), &[RACK_A], &weighings);
    let shrink = stages::shrink(&all, Unit::Gram).expect("whole stages");
    let words: Vec<_> = shrink.stages.iter().map(|at| all[*at].stage.word()).collect();
    assert_eq!(words, ["mixed", "stuffed", "chilled", "packed"]);
    assert_eq!(shrink.chain.stages[2].step_shrink_pct, Some(whole(10)));
    assert_eq!(shrink.from_stuffed_pct, Exact::ratio(200, 11));
    let reconciled = stages::reconciled(&all).expect("mixed and packed");
    assert_eq!((reconciled.from, reconciled.to), (Stage::Mixed, Stage::Packed));
    assert!(reconciled.difference.is_zero());
    assert!(stages::shrink(&all[..4], Unit::Gram).is_some());
    assert!(stages::shrink(&all[..3], Unit::Gram).is_none(), "one stage shrinks nowhere");
}

#[test]
fn a_difference_to_the_lot_graph_is_stated_exactly() {
    let weighings =
        [weighing(&[RACK_A], Stage::Stuffed, 560), weighing(&[PACK_A], Stage::Packed, 448)];
    let all = stages::found(&plant(), &[RACK_A], &weighings);
    let reconciled = stages::reconciled(&all).expect("two stages");
    // As weighed 20 %; by the graph (550 - 450) / 550.
    assert_eq!(reconciled.weighed_pct, whole(20));
    assert_eq!(reconciled.recorded_pct, Exact::ratio(200, 11).expect("a number"));
    assert_eq!(reconciled.difference, Exact::ratio(20, 11).expect("a number"));
}

#[test]
fn the_cost_of_inputs_follows_the_masses_and_lacks_what_has_no_price() {
    let price = |amount, per| Some(Price { amount_minor: whole(amount), per_g: whole(per) });
    let mut prices = vec![None; plant().lots().len()];
    prices[MEAT] = price(600, 1000);
    prices[SPICE] = price(50, 10);
    let cost = cost::of(&plant(), &[PACK_A], &prices);
    // 450 g of meat at 0.6 a gram, 9 g of spice at 5.
    assert_eq!(cost.total_minor(), Some(whole(270 + 45)));
    prices[SPICE] = None;
    let cost = cost::of(&plant(), &[PACK_A], &prices);
    assert_eq!((cost.total_minor(), cost.known_minor), (None, whole(270)));
    let unknown: Vec<_> = cost.lines.iter().filter(|line| line.cost_minor.is_none()).collect();
    assert_eq!(unknown.len(), 1);
    assert_eq!(unknown[0].lot, SPICE);
}

#[test]
fn words_and_stages_are_one_to_one() {
    for stage in Stage::ALL {
        assert_eq!(Stage::of_word(stage.word()), Some(stage));
    }
    assert!(Stage::ALL.is_sorted());
    assert_eq!(Stage::of_word("cooked"), None);
    assert_eq!(Kind::of_word("opening_stock"), Some(Kind::Received));
    assert_eq!(Kind::of_word("pallet"), None);
}

/// A batch on racks, each packed by itself: masses by the graph and as weighed, in grams.
fn rows() -> impl Strategy<Value = Vec<[i64; 5]>> {
    let grams = 1i64..1_000_000;
    prop::collection::vec([grams.clone(), grams.clone(), grams.clone(), grams.clone(), grams], 1..6)
}

/// The graph of rows, its finished lots and its weighings, all masses times `factor`.
fn scaled(rows: &[[i64; 5]], factor: &Exact) -> (Graph, Vec<usize>, Vec<Weighing>) {
    let times = |mass: i64| &whole(mass) * factor;
    let all: Exact = rows.iter().map(|row| times(row[0])).sum();
    let batch = Lot { kind: Kind::Batch, mass_g: all.clone(), made_by: None };
    let (mut lots, mut makings, mut roots, mut weighings) = (vec![batch], vec![], vec![], vec![]);
    let mut put = |lots: &[usize], stage, mass: Exact| {
        let lots = lots.iter().copied().map(Some).collect();
        weighings.push(Weighing { lots, stage, net: Quantity::new(mass, Unit::Gram) });
    };
    put(&[0], Stage::Mixed, all);
    for row in rows {
        let hung = Making { inputs: vec![(0, times(row[0]))], additions_g: Exact::zero() };
        makings.push(hung);
        let rack = lots.len();
        let made_by = Some(makings.len() - 1);
        lots.push(Lot { kind: Kind::Rack, mass_g: times(row[1]), made_by });
        let packed = Making { inputs: vec![(rack, times(row[1]))], additions_g: Exact::zero() };
        makings.push(packed);
        let made_by = Some(makings.len() - 1);
        lots.push(Lot { kind: Kind::Finished, mass_g: times(row[4]), made_by });
        roots.push(rack + 1);
        put(&[rack], Stage::Stuffed, times(row[2]));
        put(&[rack], Stage::Smoked, times(row[3]));
        put(&[rack + 1], Stage::Packed, times(row[4]));
    }
    (Graph::of(lots, makings).expect("a graph"), roots, weighings)
}

proptest! {
    #[test]
    fn steps_multiply_to_the_total_and_scaling_changes_no_share(
        rows in rows(),
        factor in (1i64..10_000, 1i64..10_000),
    ) {
        let shrinks = [Exact::one(), Exact::ratio(factor.0, factor.1).expect("above 0")].map(|by| {
            let (graph, roots, weighings) = scaled(&rows, &by);
            let found = stages::found(&graph, &roots, &weighings);
            let shares: Vec<_> =
                found.iter().flat_map(|one| &one.counted).map(|one| one.share.clone()).collect();
            let shrink = stages::shrink(&found, Unit::Gram).expect("whole stages");
            (shares, shrink, stages::reconciled(&found))
        });
        let [(shares, first, compared), (scaled_shares, scaled, scaled_compared)] = shrinks;
        prop_assert_eq!(first.stages.len(), 4);
        let steps = first.chain.stages.iter().filter_map(|stage| stage.step_yield_pct.clone());
        let product = steps.fold(Exact::whole(100), |all, step| all * step / Exact::whole(100));
        prop_assert_eq!(&product, &first.chain.total_yield_pct);
        prop_assert_eq!(shares, scaled_shares);
        prop_assert_eq!(first.chain.total_shrink_pct, scaled.chain.total_shrink_pct);
        prop_assert_eq!(first.from_stuffed_pct, scaled.from_stuffed_pct);
        prop_assert_eq!(compared, scaled_compared);
    }

    #[test]
    fn what_is_packed_together_costs_what_its_parts_cost(rows in rows(), minor in 1i64..1_000_000) {
        let (graph, roots, _) = scaled(&rows, &Exact::one());
        let mut prices = vec![None; graph.lots().len()];
        prices[0] = Some(Price { amount_minor: whole(minor), per_g: whole(1000) });
        let parts: Exact = roots
            .iter()
            .map(|root| cost::of(&graph, &[*root], &prices).total_minor().expect("a price"))
            .sum();
        let all = cost::of(&graph, &roots, &prices).total_minor().expect("a price");
        prop_assert_eq!(&parts, &all);
        prop_assert_eq!(all, &graph.lots()[0].mass_g * &whole(minor) / whole(1000));
    }
}
