//! The lots and kits that a sheet suggests, the oldest first.
//! It never suggests what would be stopped at the scan: that is listed last, with why.

use domain::fault::Faults;
use domain::units::Quantity;
use jiff::Timestamp;
use platform::error::Failure;
use uuid::Uuid;
use wire::v1;

use super::super::kits::{Content, kit_made};
use super::super::on_hand::filled_out;
use super::super::{mass, quantity_out};
use crate::book::{Book, Kind, Label, Recipe};
use crate::judge::batch::is_for_block;
use crate::judge::on_hand::{OnHand, Shelf, fill, stopped_by};
use crate::store::kits::KitRow;

/// How many kits of one code are told.
const OF_A_CODE: usize = 10;

/// A kit that was made for the block of a sheet.
#[derive(Clone, Debug)]
pub struct KitMade {
    pub lot: Uuid,
    code: String,
    block: Quantity,
    contents: Vec<Content>,
}

impl KitMade {
    /// The lots that it holds.
    pub fn lots(&self) -> impl Iterator<Item = Uuid> {
        self.contents.iter().filter_map(|held| held.lot)
    }
}

/// The kits among those that are not used which a sheet asks for.
pub fn kits_for(
    sheet: &v1::BatchSheet,
    recipe: &Recipe,
    unused: &[KitRow],
) -> Result<Vec<KitMade>, Failure> {
    let meat = mass(sheet.block.as_ref(), "block", &mut Faults::new());
    let meat = meat.ok_or_else(|| Failure::internal("a kept sheet cannot be read"))?;
    let mut kits = Vec::new();
    for row in unused {
        let (made, contents) = kit_made(&(row.clone(), None))?;
        if recipe.kits.contains(&made.code) && is_for_block(recipe, &made.block, &meat) {
            kits.push(KitMade { lot: row.lot, code: made.code, block: made.block, contents });
        }
    }
    Ok(kits)
}

/// The sheet with what is on hand of its lines and kits.
pub fn suggested(
    sheet: v1::BatchSheet,
    (recipe, book): (&Recipe, &Book),
    (shelf, kits): (&Shelf, &[KitMade]),
    at: Timestamp,
) -> v1::BatchSheet {
    let label = book.labels.get(&recipe.label);
    let kits = recipe.kits.iter().flat_map(|code| {
        let of_it = |lot: &OnHand| kits.iter().find(|kit| kit.lot == lot.lot && kit.code == *code);
        let on_hand = shelf.lots().iter().filter(|lot| lot.kind == "kit");
        let found = on_hand.filter_map(|lot| Some(kit_out((lot, of_it(lot)?), book, label, at)));
        let mut found: Vec<_> = found.collect();
        // Of kits alike the oldest stays first: the sort keeps their order.
        found.sort_by_key(|kit| !kit.forbidden_by.is_empty());
        found.truncate(OF_A_CODE);
        found
    });
    let kits_on_hand = kits.collect();
    let lines = sheet.lines.into_iter().map(|line| filled(line, book, shelf, (label, at)));
    let lines = lines.collect();
    v1::BatchSheet { lines, kits_on_hand, ..sheet }
}

fn filled(
    line: v1::BatchSheetLine,
    book: &Book,
    shelf: &Shelf,
    (label, at): (Option<&Label>, Timestamp),
) -> v1::BatchSheetLine {
    let material = book.material(&line.material);
    let material = material.filter(|material| !matches!(material.kind, Kind::Water));
    let target = mass(line.target.as_ref(), "target", &mut Faults::new());
    let (Some(material), Some(target)) = (material, target) else { return line };
    let lots = shelf.of(material).map(|lot| {
        let mut why = lot.forbidden_by.clone();
        why.extend(stopped_by(material, (lot.lot, &lot.code, &lot.kind), label, at));
        (lot, why)
    });
    let filled = fill(&target, lots.collect());
    filled_out(line, &filled, shelf.has_more_of(material))
}

fn kit_out(
    (lot, kit): (&OnHand, &KitMade),
    book: &Book,
    label: Option<&Label>,
    at: Timestamp,
) -> v1::KitOnHand {
    let mut forbidden_by = lot.forbidden_by.clone();
    for held in &kit.contents {
        let (Some(material), Some(of)) = (book.material(&held.material), held.lot) else {
            continue;
        };
        forbidden_by.extend(stopped_by(material, (of, &lot.code, "received"), label, at));
    }
    v1::KitOnHand {
        kit: kit.code.clone(),
        lot: lot.lot.to_string(),
        code: lot.code.clone(),
        block: Some(quantity_out(&kit.block)),
        made_at: lot.made_at.to_string(),
        forbidden_by,
    }
}
