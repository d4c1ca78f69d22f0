//! What was weighed from stage to stage, as a message with all that it leaves open.
//! It never shows a total over a stage that was weighed in part.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::units::{Quantity, Unit};
use domain::yields::stages::{Found, Reconciled, Shrink, found, reconciled, shrink};
use platform::error::Failure;
use platform::shape;
use wire::internal::v1::MassesOfRequest;
use wire::v1;

use super::graph::Around;
use super::{ROUNDING, exact_out};
use crate::store::weighings::Whole;

/// Reads what a report is about: a lot, or a day and a product.
pub fn asked_in(request: &v1::GetYieldsRequest) -> Result<MassesOfRequest, Failure> {
    let v1::GetYieldsRequest { lot, day, product } = request;
    let mut faults = Faults::new();
    if lot.is_empty() {
        shape::date(day, "day", &mut faults);
        if product.is_empty() {
            faults.add("product", "is needed with a day; or name a lot");
        }
    } else {
        for (field, text) in [("day", day), ("product", product)] {
            if !text.is_empty() {
                faults.add_value(field, text, "must be left out where a lot is named");
            }
        }
    }
    faults.into_result(Some(()))?;
    let lots = if lot.is_empty() { Vec::new() } else { vec![lot.clone()] };
    Ok(MassesOfRequest { lots, day: day.clone(), material: product.clone(), alone: false })
}

/// What a report is made of.
struct Parts<'p> {
    around: &'p Around,
    whole: &'p [Whole],
    /// The place of each weighing among `whole`.
    of: Vec<usize>,
    found: Vec<Found>,
    unit: Unit,
    shrink: Option<Shrink>,
    reconciled: Option<Reconciled>,
}

/// The report on weighings around lots.
pub fn report_out(mut around: Around, whole: &[Whole]) -> Result<v1::YieldReport, Failure> {
    let (of, weighings) = around.weighed(whole)?;
    let around = &around;
    let found = found(&around.graph, &around.roots, &weighings);
    let first = found.iter().flat_map(|found| &found.counted).next();
    let unit = first.map_or(Unit::Kilogram, |first| weighings[first.weighing].net.unit);
    let (shrink, reconciled) = (shrink(&found, unit), reconciled(&found));
    let parts = Parts { around, whole, of, found, unit, shrink, reconciled };
    let reasons = parts.reasons();
    let weighed = parts.found.iter().filter(|found| is_weighed(found));
    let nowhere = parts.found.iter().filter(|found| !is_weighed(found));
    let chain = parts.shrink.as_ref().map(|shrink| &shrink.chain);
    let from_stuffed = parts.shrink.as_ref().and_then(|shrink| shrink.from_stuffed_pct.as_ref());
    let undetermined = (!reasons.is_empty()).then(|| v1::Verdict::Undetermined.into());
    Ok(v1::YieldReport {
        of: around.named(&around.roots),
        unit: unit.code().to_owned(),
        stages: weighed.map(|found| parts.stage_out(found)).collect(),
        not_weighed: nowhere.map(|found| found.stage.word().to_owned()).collect(),
        total_shrink_pct: chain.and_then(|chain| exact_out(&chain.total_shrink_pct)),
        total_yield_pct: chain.and_then(|chain| exact_out(&chain.total_yield_pct)),
        from_stuffed_shrink_pct: from_stuffed.and_then(exact_out),
        reconciliation: parts.reconciled.as_ref().map(reconciled_out),
        verdict: undetermined,
        reasons,
        cautions: parts.cautions(),
        rounding: ROUNDING.to_owned(),
    })
}

/// True for a stage at which anything was weighed of what was asked for.
fn is_weighed(found: &Found) -> bool {
    !found.counted.is_empty()
}

fn reconciled_out(reconciled: &Reconciled) -> v1::Reconciliation {
    v1::Reconciliation {
        from_stage: reconciled.from.word().to_owned(),
        to_stage: reconciled.to.word().to_owned(),
        weighed_shrink_pct: exact_out(&reconciled.weighed_pct),
        recorded_shrink_pct: exact_out(&reconciled.recorded_pct),
        difference: exact_out(&reconciled.difference),
    }
}

impl Parts<'_> {
    fn mass_out(&self, grams: &Exact) -> Option<String> {
        exact_out(&Quantity::from_base(grams, self.unit).value)
    }

    fn stage_out(&self, found: &Found) -> v1::StageYield {
        let at = self.shrink.as_ref().and_then(|shrink| {
            let is_here = |at: &usize| self.found[*at].stage == found.stage;
            shrink.stages.iter().position(is_here).map(|at| &shrink.chain.stages[at])
        });
        let (net, recorded) = (found.mass_g(), found.recorded_g.as_ref());
        let recorded = recorded.filter(|_| found.is_whole());
        let difference = recorded.map(|recorded| &net - recorded);
        v1::StageYield {
            stage: found.stage.word().to_owned(),
            is_whole: found.is_whole(),
            net: found.is_whole().then(|| self.mass_out(&net)).flatten(),
            step_shrink_pct: at.and_then(|at| exact_out(at.step_shrink_pct.as_ref()?)),
            step_yield_pct: at.and_then(|at| exact_out(at.step_yield_pct.as_ref()?)),
            cumulative_yield_pct: at.and_then(|at| exact_out(&at.cumulative_yield_pct)),
            recorded: recorded.and_then(|recorded| self.mass_out(recorded)),
            difference: difference.and_then(|difference| self.mass_out(&difference)),
            counted: found.counted.iter().map(|counted| self.counted_out(counted)).collect(),
            lacking: self.around.named(&found.lacking),
        }
    }

    fn counted_out(&self, counted: &domain::yields::stages::Counted) -> v1::CountedWeighing {
        let whole = &self.whole[self.of[counted.weighing]];
        let is_on_it = |lot: &&v1::NamedLot| whole.lots.iter().any(|on| lot.lot == on.to_string());
        v1::CountedWeighing {
            weighing: whole.row.id.to_string(),
            lots: self.around.lots.iter().filter(is_on_it).cloned().collect(),
            share_pct: exact_out(&(&counted.share * &Exact::whole(100))),
            net: self.mass_out(&counted.mass_g),
        }
    }

    /// Why something is not known.
    fn reasons(&self) -> Vec<String> {
        let in_part = self.found.iter().filter(|found| is_weighed(found) && !found.is_whole());
        let mut reasons: Vec<String> = in_part
            .map(|found| {
                format!(
                    "{} was weighed in part and stands in no shrink: missing are {}.",
                    found.stage.word(),
                    self.around.codes(&found.lacking)
                )
            })
            .collect();
        if self.shrink.is_none() {
            let whole = self.found.iter().filter(|found| found.is_whole()).count();
            reasons.push(match whole {
                0 => "No stage was weighed whole, so no shrink is known.".to_owned(),
                _ => "One stage alone was weighed whole, so no shrink is known.".to_owned(),
            });
        }
        reasons
    }

    /// What goes with the numbers.
    fn cautions(&self) -> Vec<String> {
        let mut said = Vec::new();
        let mut counted = self.found.iter().flat_map(|found| &found.counted);
        if counted.any(|counted| counted.share != Exact::one()) {
            said.push(
                "Some weighings count in part, by the masses of the lot graph: a lot is taken to \
                 be alike throughout."
                    .to_owned(),
            );
        }
        if let Some(shrink) = &self.shrink {
            for gain in &shrink.chain.gains {
                let word = |at: usize| self.found[shrink.stages[at]].stage.word();
                said.push(format!("{} weighs more than {}.", word(*gain), word(gain - 1)));
            }
            self.out_of_order(shrink, &mut said);
        }
        self.rework(&mut said);
        if let Some(reconciled) = self.reconciled.as_ref().filter(|one| !one.difference.is_zero()) {
            said.push(format!(
                "The total from {} to {} differs from that of the lot graph by {} percentage \
                 points.",
                reconciled.from.word(),
                reconciled.to.word(),
                reconciled.difference
            ));
        }
        said
    }

    /// Rework is no product: it counts as lost, and is told once.
    fn rework(&self, said: &mut Vec<String>) {
        let whole = self.found.iter().filter(|found| found.is_whole());
        let mut left: Vec<_> = whole.flat_map(|found| &found.rework).collect();
        left.sort_by_key(|(lot, _)| *lot);
        left.dedup_by_key(|(lot, _)| *lot);
        for (lot, grams) in left {
            let mass = Quantity::from_base(grams, self.unit);
            let code = &self.around.lots[*lot].code;
            said.push(format!("{code} left as rework with {mass}, and counts as lost."));
        }
    }

    /// Stages whose weighings were observed the wrong way round.
    fn out_of_order(&self, shrink: &Shrink, said: &mut Vec<String>) {
        let times = |at: usize| {
            let counted = self.found[at].counted.iter();
            let row = counted.map(|one| self.whole[self.of[one.weighing]].standing());
            row.map(|row| row.moments().by_the_plant(row.observed_at.to_jiff()))
        };
        for pair in shrink.stages.windows(2) {
            if times(pair[1]).max() < times(pair[0]).min() {
                let words = [pair[1], pair[0]].map(|at| self.found[at].stage.word());
                said.push(format!("{} was weighed before {}.", words[0], words[1]));
            }
        }
    }
}
