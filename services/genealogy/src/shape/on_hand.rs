//! Lots on hand: what is asked for, in which order they are told, and their messages.
//! It never asks the database.

use std::collections::BTreeMap;

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use jiff::Timestamp;
use jiff::civil::Date;
use platform::error::Failure;
use uuid::Uuid;
use wire::internal::v1 as internal;

use super::ids_in;

/// How many lots of one material are told.
pub const OF_A_MATERIAL: usize = 10;

/// Which lots are asked for.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// Materials as lots name them.
    pub materials: Vec<String>,
    /// Lots besides.
    pub lots: Vec<Uuid>,
    /// The date on which they would be used.
    pub on: Date,
}

/// A lot with what may still be used of it.
#[derive(Clone, Debug)]
pub struct OnHand {
    /// The material that was asked for, in small letters; None: the lot was named.
    pub asked_as: Option<String>,
    pub lot: Uuid,
    pub code: String,
    pub kind: String,
    pub material: String,
    /// On hand, and in no case.
    pub mass_g: BigDecimal,
    /// In which it was received or made.
    pub unit: String,
    /// By the plant's clock.
    pub made_at: Timestamp,
    pub use_by: Option<Date>,
    /// A sentence for each thing that forbids its use.
    pub forbidden_by: Vec<String>,
}

/// Lots in the order in which they are suggested.
#[derive(Clone, Debug)]
pub struct Shelf {
    pub lots: Vec<OnHand>,
    /// Materials of which there are more.
    pub more: Vec<String>,
}

impl Shelf {
    /// The oldest first, those that may not be used behind all that may; of each material at most
    /// as many as are told.
    pub fn of(mut lots: Vec<OnHand>) -> Self {
        lots.sort_by(|one, other| one.place().cmp(&other.place()));
        let mut told: BTreeMap<String, usize> = BTreeMap::new();
        lots.retain(|lot| {
            let Some(word) = &lot.asked_as else { return true };
            let count = told.entry(word.clone()).or_default();
            *count += 1;
            *count <= OF_A_MATERIAL
        });
        let is_cut = |(word, count): (String, usize)| (count > OF_A_MATERIAL).then_some(word);
        Self { lots, more: told.into_iter().filter_map(is_cut).collect() }
    }
}

impl OnHand {
    /// Of two that came at one instant that of the lower number: the shorter code.
    fn place(&self) -> (bool, Timestamp, usize, &str) {
        (!self.forbidden_by.is_empty(), self.made_at, self.code.len(), &self.code)
    }
}

/// Reads what is asked for.
pub fn wanted_in(request: &internal::LotsOnHandRequest, on: Date) -> Result<Wanted, Failure> {
    let mut faults = Faults::new();
    let lots = ids_in(&request.lots, "lots", false, &mut faults);
    let lots = faults.into_result(Some(lots))?;
    Ok(Wanted { materials: request.materials.clone(), lots, on })
}

/// Lots on hand as a message.
pub fn on_hand_out(shelf: Shelf) -> internal::LotsOnHandResponse {
    let out = |lot: OnHand| internal::LotOnHand {
        lot: lot.lot.to_string(),
        code: lot.code,
        kind: lot.kind,
        material: lot.material,
        mass_g: Some(lot.mass_g.to_plain_string()),
        unit: lot.unit,
        made_at_us: lot.made_at.as_microsecond(),
        use_by: lot.use_by.map(|day| day.to_string()).unwrap_or_default(),
        forbidden_by: lot.forbidden_by,
    };
    let lots = shelf.lots.into_iter().map(out).collect();
    internal::LotsOnHandResponse { lots, more: shelf.more }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lot(number: u128, made_at: &str, forbidden_by: &[&str]) -> OnHand {
        OnHand {
            asked_as: Some("spice blend no. 1".into()),
            lot: Uuid::from_u128(number),
            code: format!("SB-{number}"),
            kind: "received".into(),
            material: "Spice blend No. 1".into(),
            mass_g: BigDecimal::from(1),
            unit: "[lb_av]".into(),
            made_at: made_at.parse().expect("an instant"),
            use_by: None,
            forbidden_by: forbidden_by.iter().map(|one| (*one).to_owned()).collect(),
        }
    }

    fn codes(shelf: &Shelf) -> Vec<&str> {
        shelf.lots.iter().map(|lot| lot.code.as_str()).collect()
    }

    #[test]
    fn the_oldest_stands_first_and_what_is_forbidden_last() {
        let (first, second) = ("2026-11-24T05:00:00Z", "2026-11-24T05:00:01Z");
        let lots = vec![
            lot(4, second, &[]),
            lot(10, first, &[]),
            lot(1, first, &["SB-1 is on hold."]),
            lot(3, first, &[]),
            lot(2, first, &[]),
        ];
        let shelf = Shelf::of(lots);
        assert_eq!(codes(&shelf), ["SB-2", "SB-3", "SB-10", "SB-4", "SB-1"]);
        assert_eq!(shelf.more, [""; 0]);
    }

    #[test]
    fn ten_of_a_material_are_told_and_that_there_are_more() {
        let at = "2026-11-24T05:00:00Z";
        let mut lots: Vec<_> = (1..=11).map(|number| lot(number, at, &[])).collect();
        let kit = OnHand { asked_as: None, code: "K-1".into(), ..lot(12, at, &[]) };
        lots.push(kit);
        let shelf = Shelf::of(lots);
        assert_eq!(shelf.lots.len(), OF_A_MATERIAL + 1, "a named lot is told besides");
        assert_eq!(shelf.more, ["spice blend no. 1"]);
        assert!(codes(&shelf).contains(&"K-1"));
    }
}
