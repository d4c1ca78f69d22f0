//! A formula scaled to a batch, from message to message.
//! It never rounds but to the division that was named.

use domain::fault::Faults;
use domain::formula::scaling::{self, Aim, Line, Scaled};
use domain::units::Quantity;
use wire::v1::{ScaleLine, ScaleRequest, ScaleResponse, ScaledLine};

use crate::{masses, shape};

/// Scales a formula. Faults: no aim or several, no meat to scale by, lines that weigh nothing.
pub fn calculate(request: ScaleRequest) -> Result<ScaleResponse, Faults> {
    let mut faults = Faults::new();
    masses::not_empty(&request.lines, "lines", &mut faults);
    let division = masses::positive(request.division.as_ref(), "division", &mut faults);
    let given = request.lines.iter().enumerate();
    let lines: Vec<Option<Line>> =
        given.map(|(at, line)| read_line(line, at, division.as_ref(), &mut faults)).collect();
    let aim = read_aim(&request, &mut faults);
    let has_meat = request.lines.iter().any(|line| line.meat == Some(true));
    if request.meat_mass.is_some() && !has_meat && !request.lines.is_empty() {
        faults.add("lines", "one at least must be marked meat to scale to meat_mass");
    }
    let lines: Option<Vec<Line>> = lines.into_iter().collect();
    let (lines, aim) = faults.into_result(lines.zip(aim))?;
    let Some(scaled) = scaling::scale(&lines, &aim) else {
        let mut faults = Faults::new();
        faults.add("lines", "must weigh more than 0 together to be scaled to a mass");
        return Err(faults);
    };
    Ok(answer(&request, &scaled))
}

fn read_line(
    line: &ScaleLine,
    at: usize,
    common: Option<&Quantity>,
    faults: &mut Faults,
) -> Option<Line> {
    let field = |part: &str| format!("lines[{at}].{part}");
    let mass = masses::needed(line.mass.as_ref(), &field("mass"), faults);
    let own = masses::positive(line.division.as_ref(), &field("division"), faults);
    Some(Line {
        mass: mass?,
        meat: line.meat == Some(true),
        division: own.or_else(|| common.cloned()),
    })
}

fn read_aim(request: &ScaleRequest, faults: &mut Faults) -> Option<Aim> {
    let given = [
        ("meat_mass", request.meat_mass.is_some()),
        ("total_mass", request.total_mass.is_some()),
        ("factor", request.factor.is_some()),
    ];
    let given: Vec<_> = given.into_iter().filter(|(_, is_given)| *is_given).collect();
    match given.as_slice() {
        [] => faults.add("meat_mass", "is needed, or total_mass or factor"),
        [(first, _), others @ ..] => {
            for (other, _) in others {
                faults.add(*other, format!("must not stand beside {first}"));
            }
        }
    }
    let meat = masses::positive(request.meat_mass.as_ref(), "meat_mass", faults);
    let total = masses::positive(request.total_mass.as_ref(), "total_mass", faults);
    let factor = shape::positive(request.factor.as_deref(), "factor", faults);
    let mass = meat.map(Aim::MeatMass).or_else(|| total.map(Aim::TotalMass));
    mass.or_else(|| factor.map(Aim::Factor))
}

fn answer(request: &ScaleRequest, scaled: &Scaled) -> ScaleResponse {
    let mut cautions = Vec::new();
    let lines = request.lines.iter().zip(&scaled.lines).enumerate().map(|(at, (line, scaled))| {
        if scaled.exact.value.is_positive() && scaled.mass.value.is_zero() {
            let name = masses::name_or_place(&line.name, "line", at);
            cautions.push(format!("{name}: {} is less than half a division.", scaled.exact));
        }
        ScaledLine {
            name: (!line.name.is_empty()).then(|| line.name.clone()),
            exact: Some(shape::quantity_out(&scaled.exact)),
            mass: Some(shape::quantity_out(&scaled.mass)),
            meat_block_pct: scaled.meat_block_pct.as_ref().and_then(shape::number_out),
            total_pct: scaled.total_pct.as_ref().and_then(shape::number_out),
        }
    });
    let lines = lines.collect();
    ScaleResponse {
        lines,
        factor: shape::number_out(&scaled.factor),
        meat_mass: scaled.meat_mass.as_ref().map(shape::quantity_out),
        total_mass: Some(shape::quantity_out(&scaled.total_mass)),
        cautions,
    }
}
