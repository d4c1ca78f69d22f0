//! Pallets of a list, as messages.
//! It never counts by itself: each lot on a pallet comes counted.

use wire::v1;

use super::shipments::lot_out;
use crate::shape::lots::id_or_empty;
use crate::store::shipping::listed::Listed;

/// The pallets of rows that come pallet by pallet.
pub fn pallets_out(rows: Vec<Listed>) -> Vec<v1::ListedPallet> {
    let mut pallets: Vec<v1::ListedPallet> = Vec::new();
    for row in rows {
        let id = row.of.pallet.to_string();
        if pallets.last().is_none_or(|last| last.pallet != id) {
            pallets.push(v1::ListedPallet {
                pallet: id,
                label: row.of.label.clone(),
                place_name: row.place_name,
                shipment: id_or_empty(row.shipment),
                recorded_at: row.recorded_at.to_jiff().to_string(),
                lots: Vec::new(),
            });
        }
        if let Some(pallet) = pallets.last_mut() {
            pallet.lots.push(lot_out(row.of));
        }
    }
    pallets
}
