//! The dock in the afternoon: reviews, temperatures at the door, trucks for twelve customers.
//! It never ships past a refusal: what is refused is mended, or stays.

use serde_json::{Value, json};

use super::Taken;
use crate::client::word;
use crate::tables::places::DOCK_THERMOMETER;
use crate::week::{Task, Trouble, Week};
use crate::{Done, Failed};

/// Trucks a day.
const TRUCKS: usize = 4;
/// From a refusal to its mending, in minutes.
const MEND_MIN: i64 = 12;

impl Week {
    /// Lots of a day that no sample holds.
    fn lots_of(&self, day: usize) -> Vec<usize> {
        let all = self.finished.iter().enumerate();
        let all = all.filter(|(_, lot)| lot.day == day && !lot.pallets.is_empty());
        all.map(|(at, _)| at).filter(|at| !self.is_sampled(*at)).collect()
    }

    /// Reviews what was packed today.
    pub async fn review_day(&mut self, day: usize) -> Done {
        let lots = self.lots_of(day);
        self.review(&lots).await
    }

    /// Measures what will leave today.
    pub async fn loading(&mut self, day: usize) -> Done {
        for lot in self.lots_of(day) {
            self.measure(lot, &[37.4, 38.1]).await?;
        }
        Ok(())
    }

    /// Measures product of a lot at the door.
    pub async fn measure(&mut self, lot: usize, about_f: &[f64]) -> Result<Value, Failed> {
        let of = &self.finished[lot];
        let (plan, lots) = (self.plans.products[of.product].clone(), [of.lot.clone()]);
        let values: Vec<f64> = about_f.iter().map(|about| self.chance.near(*about, 0.3)).collect();
        let taken = Taken {
            who: "dana",
            plan: &plan,
            check: "L-1",
            lots: &lots,
            values_f: &values,
            instrument: DOCK_THERMOMETER,
        };
        self.reading(&taken).await
    }

    /// The customer of a truck: twelve over the three days on which trucks leave.
    fn customer(&self, day: usize, truck: usize) -> usize {
        (day.saturating_sub(1) * TRUCKS + truck) % self.customers.len()
    }

    /// Loads a truck of the day.
    pub async fn truck(&mut self, day: usize, truck: usize) -> Done {
        let customer = self.customer(day, truck);
        let lots = self.lots_of(day);
        let pallets: Vec<(usize, String)> = lots
            .iter()
            .flat_map(|lot| self.finished[*lot].pallets.iter().map(|one| (*lot, one.clone())))
            .enumerate()
            .filter(|(at, _)| at % TRUCKS == truck)
            .map(|(_, pallet)| pallet)
            .collect();
        let is_troubled = |lot: usize| self.finished[lot].trouble.is_some();
        let (troubled, clear): (Vec<_>, Vec<_>) =
            pallets.iter().cloned().partition(|(lot, _)| is_troubled(*lot));
        if !troubled.is_empty() {
            for (lot, _) in &troubled {
                self.warm(*lot).await?;
            }
            let all: Vec<String> = pallets.iter().map(|(_, pallet)| pallet.clone()).collect();
            let body = self.ship_body(&all, customer);
            self.plant.refused("lee", "/v1/shipments", &body).await?;
            self.counts.refused += 1;
        }
        let mut leaving: Vec<String> = clear.into_iter().map(|(_, pallet)| pallet).collect();
        for (lot, pallet) in troubled {
            if self.finished[lot].waiting.is_empty() {
                self.put_in(MEND_MIN, Task::Mend(lot));
            }
            self.finished[lot].waiting.push((pallet.clone(), customer));
            if self.finished[lot].trouble == Some(Trouble::Doubtful)
                && self.take_off(&pallet).await?
            {
                leaving.push(pallet);
            }
        }
        if leaving.is_empty() { Ok(()) } else { self.ship(&leaving, customer).await }
    }

    /// A lot that stood too long at the door, the first time that a truck wants it.
    async fn warm(&mut self, lot: usize) -> Done {
        let of = &self.finished[lot];
        if of.trouble == Some(Trouble::Warm) && of.waiting.is_empty() {
            self.measure(lot, &[38.6, 39.1, 40.6]).await?;
        }
        Ok(())
    }

    /// Takes off a pallet what is not clear; says whether anything is left on it.
    async fn take_off(&mut self, pallet: &str) -> Result<bool, Failed> {
        let path = format!("/v1/shipment-checks?pallets={pallet}");
        let check = self.plant.get("lee", &path).await?;
        let clear = check["pallets"][0]["clearCases"].as_array().cloned().unwrap_or_default();
        let stands = self.plant.get("lee", &format!("/v1/pallets/{pallet}")).await?;
        let on = stands["cases"].as_array().cloned().unwrap_or_default();
        let off: Vec<String> = on
            .iter()
            .map(|case| case["serial"].clone())
            .filter(|serial| !clear.contains(serial))
            .map(|serial| word(&serial))
            .collect();
        if off.len() == on.len() {
            return Ok(false);
        }
        let body = json!({
            "id": self.plant.id(), "takenOff": off, "observedAt": self.now(),
            "reason": "Not proved by the metal detector.",
        });
        self.plant.post("lee", &format!("/v1/pallets/{pallet}/changes"), &body).await?;
        Ok(true)
    }

    fn ship_body(&mut self, pallets: &[String], customer: usize) -> Value {
        json!({
            "id": self.plant.id(), "customer": self.customers[customer], "pallets": pallets,
            "place": self.place("Dock"), "truck": format!("Trailer {}", 11 + customer),
            "observedAt": self.now(),
        })
    }

    /// Ships pallets that may leave.
    pub async fn ship(&mut self, pallets: &[String], customer: usize) -> Done {
        let body = self.ship_body(pallets, customer);
        self.plant.post("lee", "/v1/shipments", &body).await?;
        self.counts.shipments += 1;
        Ok(())
    }
}
