//! What the people of the plant do, a file for each room: all of it by REST.
//! It never decides what is safe; what the plant refuses is mended as its refusal says.

mod chilling;
mod cooking;
mod deviations;
mod formulas;
mod making;
mod mending;
mod packing;
mod plans;
mod receiving;
mod set_up;
mod shipping;

use serde_json::{Value, json};

use crate::Failed;
use crate::week::Week;

/// A reading to record.
pub struct Taken<'t> {
    pub who: &'t str,
    pub plan: &'t str,
    pub check: &'t str,
    pub lots: &'t [String],
    /// True temperatures in [degF], before what the thermometer shows too much.
    pub values_f: &'t [f64],
    pub instrument: &'static str,
}

impl Week {
    /// The id of a place.
    pub fn place(&self, name: &str) -> String {
        self.places.get(name).cloned().unwrap_or_default()
    }

    /// What the plant's clock shows.
    pub fn now(&self) -> String {
        self.plant.now.to_string()
    }

    /// Records a reading in [degF], as the thermometer shows it.
    pub async fn reading(&mut self, taken: &Taken<'_>) -> Result<Value, Failed> {
        let (instrument, error_f) =
            self.instruments.get(taken.instrument).cloned().unwrap_or_default();
        let shown = taken.values_f.iter().map(|value| format!("{:.1}", value + error_f));
        let body = json!({
            "id": self.plant.id(), "lots": taken.lots, "plan": taken.plan, "planVersion": 1,
            "check": taken.check, "readings": shown.collect::<Vec<_>>(), "unit": "[degF]",
            "observedAt": self.now(), "instrument": instrument,
        });
        self.plant.post(taken.who, "/v1/readings", &body).await
    }
}
