//! Kits weighed up, batches mixed, racks hung: every pound is taken from a lot that has it.
//! It never uses more than is on hand; the oldest goes first.

use serde_json::{Value, json};

use super::Taken;
use super::formulas::Contents;
use crate::mass::Mass;
use crate::tables::places::MIXER_THERMOMETER;
use crate::tables::products::{PRODUCTS, product};
use crate::tables::specifications::{REWORK, WATER};
use crate::tables::week::{BLOCK_LB, RACKS};
use crate::week::{Rack, Week};
use crate::{Done, Failed};

/// A kit scale reads to so many thousandths of a pound, a gram scale and a floor scale to these.
const KIT_SCALE: i64 = 5;
const FINE_SCALE: i64 = 1;
const FLOOR_SCALE: i64 = 500;
/// Thousandths of a pound on 100 lb from which on the kit scale is used.
const FINE_BELOW: i64 = 100;
/// Casing on 100 lb of mix, in thousandths of a pound: 1.2 lb.
const CASING: i64 = 1200;
/// What stays in mixer, hopper and horn, in thousandths of a pound on 100 lb.
const STAYS: i64 = 900;

/// What is used of lots.
pub type Used = Vec<(String, Mass)>;

/// The inputs of a call.
pub fn inputs(used: &[(String, Mass)]) -> Vec<Value> {
    let mut all: Vec<(String, Mass)> = Vec::new();
    for (lot, mass) in used {
        match all.iter_mut().find(|(known, _)| known == lot) {
            Some((_, whole)) => *whole += *mass,
            None => all.push((lot.clone(), *mass)),
        }
    }
    all.iter().map(|(lot, mass)| json!({ "lot": lot, "mass": mass.json() })).collect()
}

/// What was taken, with what it is.
fn named(material: &'static str, taken: &[(String, Mass)]) -> Contents {
    taken.iter().map(|(lot, mass)| (material, lot.clone(), *mass)).collect()
}

impl Week {
    /// Takes a mass of a material off the oldest lots.
    fn take(&mut self, material: &'static str, mass: Mass) -> Result<Used, Failed> {
        let (mut used, mut left) = (Vec::new(), mass);
        let lots = self.stock.entry(material).or_default();
        while left > Mass::default() {
            let Some((lot, on_hand)) = lots.front_mut() else {
                return Err(format!("the week's tables buy too little {material}").into());
            };
            let part = left.min(*on_hand);
            used.push((lot.clone(), part));
            *on_hand -= part;
            left -= part;
            if *on_hand == Mass::default() {
                lots.pop_front();
            }
        }
        Ok(used)
    }

    /// Weighs up the kits of batches.
    pub async fn weigh_kits(&mut self, batches: &[usize]) -> Done {
        for &batch in batches {
            let of = &PRODUCTS[self.batches[batch].product];
            let product = self.batches[batch].product;
            let (mut used, mut contents) = (Vec::new(), Vec::new());
            let (mut whole, mut checked) = (Mass::default(), Mass::default());
            for (at, (material, thousandths)) in of.kit.iter().enumerate() {
                let scale = if *thousandths < FINE_BELOW { FINE_SCALE } else { KIT_SCALE };
                let mass = Mass::lb(BLOCK_LB).per_100_lb(*thousandths, scale);
                let taken = self.take(material, mass)?;
                contents.extend(named(material, &taken));
                used.extend(taken);
                whole += mass;
                // Cure stands second in a cured kit, salt first in any.
                if at == usize::from(of.cured) {
                    checked = mass;
                }
            }
            let (plan, check) = match of.cured {
                true => (self.plans.cured_kit.clone(), "K-1"),
                false => (self.plans.plain_kit.clone(), "K-2"),
            };
            let lot = self.plant.id();
            let body = json!({
                "id": self.plant.id(), "kind": "weigh_up", "place": self.place("Spice room"),
                "inputs": inputs(&used), "observedAt": self.now(),
                "outputs": [{
                    "lot": lot, "kind": "kit", "material": format!("Kit of {}", of.name),
                    "mass": whole.json(), "plan": plan,
                }],
            });
            self.plant.post("theo", "/v1/transformations", &body).await?;
            self.record_kit(product, &lot, &contents).await?;
            let body = json!({
                "id": self.plant.id(), "lots": [lot], "plan": plan, "planVersion": 1,
                "check": check, "readings": [checked.text()], "unit": "[lb_av]",
                "observedAt": self.now(),
            });
            self.plant.post("theo", "/v1/readings", &body).await?;
            self.batches[batch].kit = Some((lot, whole));
        }
        Ok(())
    }

    /// Mixes a batch: meat block, kit, water and what else the product holds.
    pub async fn mix(&mut self, batch: usize) -> Done {
        let (product, day) = (self.batches[batch].product, self.batches[batch].day);
        let of = &PRODUCTS[product];
        let block = Mass::lb(BLOCK_LB);
        let mut loose = Contents::new();
        for (material, pct) in of.block.iter().chain(of.added) {
            let mass = block.per_100_lb(pct * 1000, FLOOR_SCALE);
            loose.extend(named(material, &self.take(material, mass)?));
        }
        // The tub of rework goes into the first Rope of the day that comes after it.
        if product == self::product("ROPE") && self.batches[batch].slot == 0 {
            loose.extend(self.rework.take().map(|(lot, mass)| (REWORK, lot, mass)));
        }
        let mut used: Used = loose.iter().map(|(_, lot, mass)| (lot.clone(), *mass)).collect();
        let water = block.per_100_lb(of.water_lb * 1000, FLOOR_SCALE);
        loose.push((WATER, String::new(), water));
        let kit = self.batches[batch].kit.clone().unwrap_or_default();
        self.may_tip(product, (&kit.0, &loose)).await?;
        let whole = kit.1 + loose.iter().map(|(_, _, mass)| *mass).sum();
        used.push(kit);
        let plan = self.plans.products[product].clone();
        let lot = self.plant.id();
        let body = json!({
            "id": self.plant.id(), "kind": "mix", "place": self.place("Mixer 1"),
            "inputs": inputs(&used), "observedAt": self.now(),
            "formula": self.formulas[product], "formulaVersion": 1,
            "additions": [{ "name": WATER, "mass": water.json() }],
            "outputs": [{
                "lot": lot, "kind": "batch", "material": of.name, "plan": plan,
                "mass": whole.json(), "run": self.run(batch),
            }],
        });
        self.plant.post("ines", "/v1/transformations", &body).await?;
        (self.batches[batch].lot, self.batches[batch].mass) = (lot.clone(), whole);
        self.counts.batches += 1;
        if of.cook_f.is_none() {
            self.plan_fresh(batch);
        }
        // One mixer temperature of the day before the last was never entered.
        let is_forgotten = Some(day) == self.before_last(1) && self.batches[batch].slot == 4;
        if is_forgotten {
            return Ok(());
        }
        let check = if of.cook_f.is_some() { "Q-1" } else { "CCP-1" };
        let value_f = self.chance.near(36.0, 2.0);
        let instrument = MIXER_THERMOMETER;
        let lots = [lot];
        let taken = Taken {
            who: "ines",
            plan: &plan,
            check,
            lots: &lots,
            values_f: &[value_f],
            instrument,
        };
        self.reading(&taken).await?;
        Ok(())
    }

    /// What the batches of one product on one day are called together.
    fn run(&self, batch: usize) -> String {
        let of = &self.batches[batch];
        let date = self.calendar.as_ref().map(|c| c.date(of.day).strftime("%y%j").to_string());
        format!("{} {}", PRODUCTS[of.product].name, date.unwrap_or_default())
    }

    /// Stuffs a batch and hangs it on racks.
    pub async fn hang(&mut self, batch: usize) -> Done {
        let (product, whole) = (self.batches[batch].product, self.batches[batch].mass);
        let of = &PRODUCTS[product];
        let casing = whole.per_100_lb(CASING, KIT_SCALE);
        let mut used = self.take(of.casing, casing)?;
        used.push((self.batches[batch].lot.clone(), whole));
        let stuffed = whole + casing - whole.per_100_lb(STAYS, FLOOR_SCALE);
        let each = stuffed.times(1.0 / RACKS as f64, FLOOR_SCALE);
        let plan = self.plans.products[product].clone();
        let racks: Vec<Rack> =
            (0..RACKS).map(|_| Rack { lot: self.plant.id(), mass: each }).collect();
        let outputs: Vec<Value> = racks
            .iter()
            .map(|rack| {
                json!({
                    "lot": rack.lot, "kind": "rack", "material": of.name, "plan": plan,
                    "mass": rack.mass.json(),
                })
            })
            .collect();
        let stuffer = if of.line == 1 { "Stuffer 1" } else { "Stuffer 2" };
        let body = json!({
            "id": self.plant.id(), "kind": "rack", "place": self.place(stuffer),
            "inputs": inputs(&used), "outputs": outputs, "observedAt": self.now(),
        });
        self.plant.post("ines", "/v1/transformations", &body).await?;
        self.batches[batch].racks = racks;
        let lots: Vec<String> = self.batches[batch].racks.iter().map(|r| r.lot.clone()).collect();
        let body = json!({
            "id": self.plant.id(), "lots": lots, "place": self.place("Drying cooler"),
            "observedAt": self.now(),
        });
        self.plant.post("ines", "/v1/transfers", &body).await?;
        Ok(())
    }
}
