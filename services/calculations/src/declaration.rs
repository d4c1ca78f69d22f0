//! The ingredient statement and allergens, from message to message.
//! It never rewords a statement.

use domain::fault::Faults;
use domain::formula::declaration::{self, ALLERGENS, Line};
use wire::v1::{DeclarationLine, DeclarationRequest, DeclarationResponse};

use crate::{masses, shape};

/// Declares a formula. Faults: a statement without words, an unknown allergen.
pub fn calculate(request: DeclarationRequest) -> Result<DeclarationResponse, Faults> {
    let mut faults = Faults::new();
    masses::not_empty(&request.lines, "lines", &mut faults);
    let given = request.lines.iter().enumerate();
    let lines: Vec<Option<Line>> =
        given.map(|(at, line)| read_line(line, at, &mut faults)).collect();
    let lines = faults.into_result(lines.into_iter().collect::<Option<Vec<Line>>>())?;
    let declared = declaration::declare(&lines);
    Ok(DeclarationResponse {
        statement: Some(declared.statement),
        allergens: declared.allergens.into_iter().map(str::to_owned).collect(),
        cautions: cautions(&request, &lines),
    })
}

fn read_line(line: &DeclarationLine, at: usize, faults: &mut Faults) -> Option<Line> {
    let field = |part: &str| format!("lines[{at}].{part}");
    let mass = masses::needed(line.mass.as_ref(), &field("mass"), faults);
    if line.statement.trim().is_empty() {
        shape::missing(&field("statement"), faults);
    }
    let mut allergens = Vec::new();
    for (place, word) in line.allergens.iter().enumerate() {
        match declaration::allergen(word) {
            Some(own) => allergens.push(own),
            None => {
                let allowed = format!("must be one of: {}", ALLERGENS.join(", "));
                faults.add_value(field(&format!("allergens[{place}]")), word, allowed);
            }
        }
    }
    Some(Line { grams: mass?.base(), statement: line.statement.clone(), allergens })
}

/// A line that is left out takes its allergens with it: a person should know.
fn cautions(request: &DeclarationRequest, lines: &[Line]) -> Vec<String> {
    let all = request.lines.iter().zip(lines).enumerate();
    let left_out = all.filter(|(_, (_, line))| line.grams.is_zero() && !line.allergens.is_empty());
    left_out
        .map(|(at, (given, line))| {
            let name = masses::name_or_place(&given.name, "line", at);
            format!("{name} has no mass: it is left out with {}.", line.allergens.join(", "))
        })
        .collect()
}
