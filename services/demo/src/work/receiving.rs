//! Trucks in the morning: every lot is weighed in, and what is chilled is measured.
//! It never uses what was too warm: that stands on hold until QA has said what becomes of it.

use jiff::ToSpan;
use serde_json::json;

use super::Taken;
use crate::Done;
use crate::client::word;
use crate::mass::Mass;
use crate::tables::materials::{Sort, TURKEY_THIGH, material, receivings};
use crate::tables::places::RECEIVING_THERMOMETER;
use crate::week::Week;

/// What the turkey of the last morning shows, above its limit.
const WARM_F: f64 = 41.8;

impl Week {
    /// Receives a lot and measures it.
    pub async fn receive(&mut self, row: usize) -> Done {
        let rows = receivings(self.last_day() + 1);
        let Some(&(day, _, name, pounds)) = rows.get(row) else { return Ok(()) };
        let of = material(name);
        let (plan, place) = match of.sort {
            Sort::Chilled => (&self.plans.chilled, "Raw cooler"),
            Sort::Dry => (&self.plans.dry, "Dry store"),
            Sort::Packaging => (&self.plans.packaging, "Dry store"),
        };
        let plan = plan.clone();
        // A floor scale reads to half a pound; no combo weighs exactly what was ordered.
        let more = if pounds >= 900 { self.chance.below(40) as i64 * 500 } else { 0 };
        let mass = Mass(pounds * 1000 + more);
        let use_by = self.calendar.as_ref().map(|calendar| calendar.date(day));
        let use_by = use_by.and_then(|date| date.checked_add(of.keeps_days.days()).ok());
        let lot = self.plant.id();
        let number = 4000 + 37 * row + self.chance.below(30);
        let body = json!({
            "id": lot, "material": name, "supplier": self.suppliers.get(of.supplier),
            "supplierLot": format!("{}-{number}", of.lots), "mass": mass.json(),
            "place": self.place(place), "plan": plan, "observedAt": self.now(),
            "useBy": use_by.map(|date| date.to_string()),
        });
        self.plant.post("theo", "/v1/lots", &body).await?;
        self.counts.receivings += 1;
        let is_warm = day == self.last_day() && name == TURKEY_THIGH;
        let (check, value_f) = match of.sort {
            Sort::Chilled if is_warm => ("R-1", WARM_F),
            Sort::Chilled => ("R-1", self.chance.near(36.0, 2.5)),
            _ => ("R-2", self.chance.near(58.0, 6.0)),
        };
        let taken = Taken {
            who: "theo",
            plan: &plan,
            check,
            lots: std::slice::from_ref(&lot),
            values_f: &[value_f, value_f - self.chance.near(0.6, 0.5)],
            instrument: RECEIVING_THERMOMETER,
        };
        let read = self.reading(&taken).await?;
        if word(&read["deviation"]).is_empty() {
            self.stock.entry(of.name).or_default().push_back((lot, mass));
        } else {
            self.counts.deviations += 1;
        }
        Ok(())
    }
}
