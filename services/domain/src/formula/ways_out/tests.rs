//! Checks of the ways out: each one offered mends the whole batch, and nothing less is offered.
//! It never checks a number of its own making against itself: limits come from 9 CFR 424.21(c).

use proptest::prelude::*;

use super::super::agents::tests::{any_batch, batch, cure, pounds};
use super::super::agents::{Batch, Pickle, ProductClass};
use super::*;
use crate::units::Unit;

fn kit(meat: &str, mix: &str) -> Batch {
    let lines = vec![
        cure(pounds(mix), Agent::Nitrite, "6.25"),
        cure(pounds("0.21875"), Agent::Erythorbate, "100"),
    ];
    batch(ProductClass::Comminuted, meat, lines)
}

#[test]
fn a_short_block_has_two_ways_out_that_each_mend_both_agents() {
    let ways =
        ways_out(&kit("388.5", "1.000"), Some(&pounds("0.5")), &[Some(pounds("0.005")), None]);
    let more = ways.more_meat.expect("more meat");
    assert_eq!(
        (more.least, more.on_scale, more.add),
        (pounds("400"), pounds("400"), pounds("11.5"))
    );
    let less = ways.less_of.expect("less of both");
    assert_eq!((less[0].line, less[1].line), (0, 1));
    assert_eq!(less[0].most, pounds("0.97125"));
    assert_eq!(less[0].on_scale, pounds("0.970"));
    assert_eq!(less[0].take_out, pounds("0.03"));
    assert_eq!(less[1].most, pounds("0.2124609375"));
    let least_out = Quantity::new(&pounds("1").value - &less[0].most.value, Unit::Pound);
    let grams = least_out.to(Unit::Gram).expect("a mass").value.to_f64();
    assert!((13.0..13.1).contains(&grams), "{grams}");
}

#[test]
fn a_strong_lot_has_its_own_most() {
    let lines = vec![cure(pounds("1.000"), Agent::Nitrite, "6.40")];
    let ways = ways_out(&batch(ProductClass::Comminuted, "400", lines), None, &[]);
    assert_eq!(ways.less_of.expect("less")[0].most, pounds("0.9765625"));
}

#[test]
fn one_division_too_much_is_one_division_out_or_two_pounds_of_meat() {
    let division = Some(pounds("0.005"));
    let ways = ways_out(&kit("400", "1.005"), Some(&pounds("0.5")), &[division, None]);
    assert_eq!(ways.more_meat.expect("more meat").on_scale, pounds("402.0"));
    let less = ways.less_of.expect("less");
    assert_eq!(less.len(), 1);
    assert_eq!(less[0].take_out, pounds("0.005"));
}

#[test]
fn a_target_on_the_limit_warns_and_proposes_room() {
    let formula = kit("400", "1.000");
    let room = target_room(&formula, 0, &pounds("0.005"), 4).expect("a line");
    assert!(room.stands_on_the_limit);
    assert_eq!(room.most, Some(pounds("1")));
    assert_eq!(room.proposal, Some(pounds("0.980")));
    let roomy = target_room(&kit("400", "0.980"), 0, &pounds("0.005"), 4).expect("a line");
    assert!(!roomy.stands_on_the_limit);
    assert_eq!(target_room(&formula, 2, &pounds("0.005"), 4), None);
}

#[test]
fn what_leaves_takes_its_formula_along() {
    let lines = vec![cure(pounds("10"), Agent::Lactate, "60")];
    let formula = batch(ProductClass::Comminuted, "90", lines);
    let less = ways_out(&formula, None, &[]).less_of.expect("less");
    // 0.60 m = 0.048 (90 + m), so m = 4.32 / 0.552.
    let most = Exact::ratio(4_320, 552).expect("a ratio");
    assert_eq!(less[0].most.value, most);
    let room = target_room(&formula, 0, &pounds("0.01"), 1).expect("a line");
    assert_eq!(room.most.map(|mass| mass.value), Some(most));
}

#[test]
fn no_way_is_offered_that_leaves_a_need_unmet() {
    // 9 CFR 424.22(b): bacon must hold exactly 120 ppm nitrite and 550 ppm erythorbate.
    let lines = vec![cure(pounds("0.13"), Agent::Nitrite, "100")];
    let bacon = batch(ProductClass::BaconPumped, "1000", lines);
    assert_eq!(ways_out(&bacon, None, &[]), WaysOut::default());
    let passing = kit("400", "1.000");
    assert_eq!(ways_out(&passing, None, &[]), WaysOut::default());
}

/// Of a pickle a line's part that the meat takes up goes into the formula, not all of it. Found by
/// the property below.
#[test]
fn a_pumped_target_keeps_its_room_where_the_formula_is_known() {
    let grams = |value: i64| Quantity::new(Exact::whole(value), Unit::Gram);
    let line = cure(grams(2_151), Agent::Lactate, "23.47");
    let mut pumped = batch(ProductClass::Comminuted, "1", vec![line]);
    pumped.meat = Some(grams(11_636));
    pumped.formula_mass = Some(grams(19_627));
    pumped.pickle = Some(Pickle { mass: grams(8_788), pump_pct: Some(Exact::whole(76)) });
    let room = target_room(&pumped, 0, &grams(1), 2).expect("a line");
    let proposal = room.proposal.expect("room below the most");
    let top = Quantity::new(&proposal.value + &Exact::whole(2), proposal.unit);
    assert!(assess(&with_line(&pumped, 0, top.clone())).verdict != Verdict::Fail);
    let above = Quantity::new(&top.value + &Exact::one(), top.unit);
    assert_eq!(
        assess(&with_line(&pumped, 0, above)).verdict,
        Verdict::Fail,
        "no gram is given away"
    );
}

proptest! {
    #[test]
    fn each_way_out_mends_all(batch in any_batch(), step in 1i64..50) {
        let division = Quantity::new(Exact::whole(step), Unit::Gram);
        let divisions = vec![Some(division.clone()); batch.lines.len()];
        let ways = ways_out(&batch, Some(&division), &divisions);
        if let Some(more) = ways.more_meat {
            prop_assert!(more.on_scale.base() >= more.least.base());
            let mended = with_meat(&batch, &more.on_scale);
            prop_assert!(assess(&mended).verdict != Verdict::Fail);
        }
        if let Some(less) = ways.less_of {
            let mut mended = batch.clone();
            for line in &less {
                prop_assert!(line.on_scale.base() <= line.most.base());
                prop_assert!(!line.on_scale.value.is_negative());
                mended = with_line(&mended, line.line, line.on_scale.clone());
            }
            mended.finished_mass = batch.pickle.is_none().then(|| {
                less_removed(&batch, &mended, batch.finished_mass.as_ref())
            }).flatten();
            if batch.pickle.is_none() {
                prop_assert!(assess(&mended).verdict != Verdict::Fail);
            }
        }
    }

    #[test]
    fn a_proposed_target_keeps_its_room(
        batch in any_batch(),
        at in 0usize..8,
        step in 1i64..50,
        room in 0u32..6,
    ) {
        let division = Quantity::new(Exact::whole(step), Unit::Gram);
        let found = target_room(&batch, at, &division, room).and_then(|room| room.proposal);
        if let Some(proposal) = found {
            for more in 0..=room {
                let value = &proposal.value + &Exact::whole(i64::from(more) * step);
                let tried = with_line(&batch, at, Quantity::new(value, proposal.unit));
                prop_assert!(assess(&tried).verdict != Verdict::Fail);
            }
        }
    }
}
