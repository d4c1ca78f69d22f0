//! Yield and shrink from stage to stage, from message to message.
//! It never refuses a gain: it says that water, rework or an error must be behind it.

use domain::fault::Faults;
use domain::formula::shrink::{self, Stage};
use domain::units::Quantity;
use wire::v1::{ShrinkRequest, ShrinkResponse, ShrinkStage, ShrinkStageResult};

use crate::{masses, shape};

/// Yields of a chain. Faults: fewer than two stages, nothing left before the last.
pub fn calculate(request: ShrinkRequest) -> Result<ShrinkResponse, Faults> {
    let mut faults = Faults::new();
    let given = request.stages.iter().enumerate();
    let masses: Vec<Option<Quantity>> = given
        .map(|(at, stage)| {
            masses::needed(stage.mass.as_ref(), &format!("stages[{at}].mass"), &mut faults)
        })
        .collect();
    if request.stages.len() < 2 {
        faults.add("stages", "must hold at least two stages");
    }
    let masses = faults.into_result(masses.into_iter().collect::<Option<Vec<_>>>())?;
    let chain = shrink::chain(&masses)?;
    let name = |at: &usize| masses::name_or_place(&request.stages[*at].name, "stage", *at);
    let caution = |at: &usize| {
        format!(
            "{} weighs more than the stage before it: water was taken up, something was added, or \
             a weight is wrong.",
            name(at)
        )
    };
    Ok(ShrinkResponse {
        stages: request.stages.iter().zip(&chain.stages).map(stage_out).collect(),
        total_yield_pct: shape::number_out(&chain.total_yield_pct),
        total_shrink_pct: shape::number_out(&chain.total_shrink_pct),
        cautions: chain.gains.iter().map(caution).collect(),
    })
}

fn stage_out((given, stage): (&ShrinkStage, &Stage)) -> ShrinkStageResult {
    ShrinkStageResult {
        name: (!given.name.is_empty()).then(|| given.name.clone()),
        mass: Some(shape::quantity_out(&stage.mass)),
        step_yield_pct: stage.step_yield_pct.as_ref().and_then(shape::number_out),
        step_shrink_pct: stage.step_shrink_pct.as_ref().and_then(shape::number_out),
        cumulative_yield_pct: shape::number_out(&stage.cumulative_yield_pct),
    }
}
