//! Conversion of one quantity, exactly.
//! It never converts between dimensions.

use domain::fault::Faults;
use domain::units::Unit;
use wire::v1::{ConvertRequest, ConvertResponse};

use crate::shape;

/// The same quantity, or temperature difference, in the unit asked for.
/// Faults: an unknown unit, a unit of another dimension (names `to`), below absolute zero.
pub fn calculate(request: ConvertRequest) -> Result<ConvertResponse, Faults> {
    let mut faults = Faults::new();
    let difference = request.difference.unwrap_or(false);
    let quantity = if difference {
        shape::any_difference(request.quantity.as_ref(), "quantity", &mut faults)
    } else {
        shape::any_quantity(request.quantity.as_ref(), "quantity", &mut faults)
    };
    let to = shape::unit(&request.to, "to", &mut faults);
    let converted = quantity.zip(to).and_then(|(quantity, to)| {
        let converted = if difference { quantity.difference_to(to) } else { quantity.to(to) };
        if converted.is_none() {
            let allowed = Unit::codes(quantity.unit.dimension());
            faults.add_value("to", to, format!("must be a unit of the same dimension: {allowed}"));
        }
        converted
    });
    faults
        .into_result(converted)
        .map(|quantity| ConvertResponse { quantity: Some(shape::quantity_out(&quantity)) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use wire::v1::Quantity;

    fn request(value: &str, unit: &str, to: &str) -> ConvertRequest {
        let quantity = Quantity { value: Some(value.into()), unit: unit.into() };
        ConvertRequest { quantity: Some(quantity), to: to.into(), difference: None }
    }

    #[test]
    fn a_pound_converts_exactly() {
        // NIST Handbook 44, appendix C: 1 lb = 453.59237 g exactly.
        let answer = calculate(request("1", "[lb_av]", "g")).expect("an answer");
        assert_eq!(answer.quantity.and_then(|q| q.value).as_deref(), Some("453.59237"));
    }

    #[test]
    fn another_dimension_is_refused_by_name() {
        let faults = calculate(request("1", "kg", "Cel")).expect_err("faults").into_vec();
        assert_eq!(faults[0].field, "to");
        assert_eq!(faults.len(), 1);
    }
}
