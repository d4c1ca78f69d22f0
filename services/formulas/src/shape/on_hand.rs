//! What is on hand: from genealogy's answers, and as suggestions in messages.
//! It never asks the database.

use domain::fault::Faults;
use domain::units::{Quantity, Unit};
use jiff::Timestamp;
use platform::error::Failure;
use platform::shape::id;
use wire::internal::v1 as internal;
use wire::v1;

use super::{number, quantity_out};
use crate::book::{Kind, Material};
use crate::judge::batch::{Judged, Others};
use crate::judge::on_hand::{Filled, OnHand, Shelf, Suggested, cut};

/// Why nothing on hand is told.
pub const AWAY: &str = "The lots on hand cannot be asked for now.";

/// The words by which lots of materials are found; none of water and packaging: no batch takes
/// them from a lot.
pub fn words<'m>(materials: impl IntoIterator<Item = &'m Material>) -> Vec<String> {
    let takes_lots = |one: &&Material| !matches!(one.kind, Kind::Water | Kind::Packaging);
    let of = |one: &Material| [one.name.clone(), one.id.to_string()];
    let mut words: Vec<_> = materials.into_iter().filter(takes_lots).flat_map(of).collect();
    words.sort();
    words.dedup();
    words
}

/// Reads what genealogy told.
pub fn shelf_in(
    lots: &[internal::LotOnHand],
    more: &[String],
    field: &str,
) -> Result<Shelf, Failure> {
    let mut faults = Faults::new();
    let mut read = Vec::with_capacity(lots.len());
    for (at, one) in lots.iter().enumerate() {
        read.extend(lot_in(one, &format!("{field}[{at}]"), &mut faults));
    }
    let lots = faults.into_result(Some(read))?;
    Ok(Shelf::Known { lots, more: more.to_vec() })
}

fn lot_in(one: &internal::LotOnHand, field: &str, faults: &mut Faults) -> Option<OnHand> {
    let lot = id(&one.lot, &format!("{field}.lot"), faults);
    let grams = number(one.mass_g.as_deref());
    if grams.is_none() {
        faults.add(format!("{field}.mass_g"), "is needed");
    }
    let made_at = Timestamp::from_microsecond(one.made_at_us).ok();
    if made_at.is_none() {
        faults.add_value(format!("{field}.made_at_us"), one.made_at_us, "must be an instant");
    }
    let unit = Unit::from_code(&one.unit).unwrap_or(Unit::Gram);
    Some(OnHand {
        lot: lot?,
        code: one.code.clone(),
        kind: one.kind.clone(),
        material: one.material.clone(),
        mass: Quantity::from_base(&grams?, unit),
        made_at: made_at?,
        use_by: one.use_by.clone(),
        forbidden_by: one.forbidden_by.clone(),
    })
}

/// The materials of which another lot would be a way on, as lots name them.
pub fn other_lots_of(judged: &Judged<'_>) -> Vec<String> {
    words(judged.others.iter().map(|others| others.material))
}

/// Lots that could go in instead.
pub fn others_out(others: &Others<'_>) -> v1::OtherLots {
    let lot = |lot| suggested_out(&Suggested { lot, take: None, forbidden_by: Vec::new() });
    v1::OtherLots {
        code: others.code.to_owned(),
        subject: others.subject.clone(),
        material: others.material.id.to_string(),
        material_name: others.material.name.clone(),
        lots: others.lots.iter().map(lot).collect(),
    }
}

/// How a line is filled, beside what it says already.
pub fn filled_out(line: v1::BatchSheetLine, filled: &Filled<'_>, more: bool) -> v1::BatchSheetLine {
    v1::BatchSheetLine {
        lots: filled.lots.iter().map(suggested_out).collect(),
        missing: filled.missing.as_ref().map(quantity_out),
        more_lots: more,
        ..line
    }
}

fn suggested_out(one: &Suggested<'_>) -> v1::SuggestedLot {
    v1::SuggestedLot {
        lot: one.lot.lot.to_string(),
        code: one.lot.code.clone(),
        on_hand: Some(quantity_out(&cut(&one.lot.mass))),
        take: one.take.as_ref().map(quantity_out),
        made_at: one.lot.made_at.to_string(),
        use_by: one.lot.use_by.clone(),
        forbidden_by: one.forbidden_by.clone(),
    }
}
