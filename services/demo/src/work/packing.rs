//! The morning after: cooked product is packed off, case by case past a metal detector.
//! It never packs what is on hold.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};

use crate::Done;
use crate::mass::Mass;
use crate::tables::products::{PRODUCTS, product};
use crate::week::{Finished, Task, Trouble, Week};

/// Net mass of a case: twelve packs of 14 oz.
const CASE: Mass = Mass(10_500);
/// From one case to the next, in seconds.
const CASE_S: i64 = 40;
/// Cases that are recorded together.
const TOGETHER: usize = 45;
/// Cases on a pallet at most.
const ON_PALLET: usize = 40;
/// What the cooler takes, what breaks and what is cut off, as a part.
const AFTER_COOK: f64 = 0.972;
/// From one lot to the next on a line, in minutes.
const CHANGE_MIN: i64 = 8;
/// From the mixing of a fresh batch to its packing, in minutes.
const FRESH_MIN: i64 = 35;
/// The longest run without a challenge, in cases.
const UNPROVED_MOST: usize = 80;
/// The tub of rework: what was hung of it, and what it weighs.
const TUB: (Mass, Mass) = (Mass(24_500), Mass(22_000));
/// The floor scale's division, in thousandths of a pound.
const DIVISION: i64 = 500;

impl Week {
    /// Lays out the day's lines: what was cooked the production day before.
    pub fn plan_packing(&mut self, day: usize) -> Done {
        let mut lots: BTreeMap<usize, Vec<(usize, usize)>> = BTreeMap::new();
        for (at, load) in self.loads.iter().enumerate() {
            for group in load.groups.iter().filter(|group| !group.is_cut_short) {
                if load.day + 1 == day && !self.has_failed(at, group.product) {
                    lots.entry(group.product).or_default().extend(&group.racks);
                }
            }
        }
        let mut ends = [self.when(day, "06:40"); 2];
        for (product, racks) in lots {
            let line = PRODUCTS[product].line;
            let batches = Vec::new();
            let finished = self.new_lot((day, product), (racks, batches), ends[line - 1]);
            ends[line - 1] = self.put_lot(finished);
        }
        Ok(())
    }

    /// Lays out the packing of a fresh batch that was mixed now.
    pub fn plan_fresh(&mut self, batch: usize) {
        let (day, product) = (self.batches[batch].day, self.batches[batch].product);
        let begins_at = self.plant.now + SignedDuration::from_mins(FRESH_MIN);
        let finished = self.new_lot((day, product), (Vec::new(), vec![batch]), begins_at);
        self.put_lot(finished);
    }

    /// The chill of this product of a load has failed.
    fn has_failed(&self, load: usize, product: usize) -> bool {
        PRODUCTS[product].by_hand && self.before_last(3) == Some(self.loads[load].day)
    }

    fn new_lot(
        &mut self,
        (day, product): (usize, usize),
        (racks, batches): (Vec<(usize, usize)>, Vec<usize>),
        begins_at: Timestamp,
    ) -> Finished {
        let trouble = match (self.last_day() - day, PRODUCTS[product].code) {
            (3, "RING") => Some(Trouble::MissedLook),
            (2, "ROPE") => Some(Trouble::Warm),
            (1, "TURKEY") => Some(Trouble::Doubtful),
            (2 | 0, "SKINLESS") => Some(Trouble::Sampled),
            _ => None,
        };
        Finished {
            day,
            product,
            line: PRODUCTS[product].line,
            racks,
            batches,
            lot: self.plant.id(),
            cases: Vec::new(),
            begins_at,
            pallets: Vec::new(),
            waiting: Vec::new(),
            doubtful: Vec::new(),
            trouble,
            hold: String::new(),
        }
    }

    /// Puts the work of a lot; gives when its line is free.
    fn put_lot(&mut self, mut lot: Finished) -> Timestamp {
        let at = self.finished.len();
        let count = usize::try_from(self.packed_mass(&lot).0 / CASE.0).unwrap_or_default();
        let date = self.calendar.as_ref().map(|c| c.date(lot.day).strftime("%y%j").to_string());
        let date = date.unwrap_or_default();
        let instant =
            |case: usize| lot.begins_at + SignedDuration::from_secs((case as i64 + 1) * CASE_S);
        lot.cases =
            (0..count).map(|case| (format!("{date}-{at:02}{case:03}"), instant(case))).collect();
        let ends_at = lot.cases.last().map_or(lot.begins_at, |last| last.1);
        let minutes = SignedDuration::from_mins;
        self.put(lot.begins_at - minutes(4), Task::Challenge(at, true));
        self.put(lot.begins_at, Task::PackOff(at));
        for from in (0..count).step_by(TOGETHER) {
            let to = (from + TOGETHER).min(count);
            self.put(lot.cases[to - 1].1, Task::Cases(at, from, to));
        }
        for case in (UNPROVED_MOST..count).step_by(UNPROVED_MOST) {
            self.put(lot.cases[case].1, Task::Challenge(at, true));
        }
        if lot.trouble == Some(Trouble::Doubtful) {
            // Good in the middle, failed at the end: what passed between is not proved.
            let middle = lot.cases[count / 2].1;
            self.put(middle, Task::Challenge(at, true));
            let doubtful = lot.cases.iter().filter(|(_, at)| *at > middle);
            lot.doubtful = doubtful.map(|(serial, _)| serial.clone()).collect();
            self.put(ends_at + minutes(1), Task::Challenge(at, false));
        }
        self.put(ends_at + minutes(3), Task::Challenge(at, true));
        if lot.trouble == Some(Trouble::Sampled) {
            self.put(self.when(lot.day, "10:20"), Task::Sample(at));
            self.put(self.when(lot.day + 1, "15:30"), Task::Result(at));
        }
        self.finished.push(lot);
        ends_at + minutes(CHANGE_MIN)
    }

    /// What a lot weighs when it is packed off.
    fn packed_mass(&self, lot: &Finished) -> Mass {
        let racks = lot.racks.iter().map(|&(batch, rack)| {
            let lost = self.cook_loss(batch);
            self.rack((batch, rack)).mass.times((1.0 - lost) * AFTER_COOK, DIVISION)
        });
        let fresh =
            lot.batches.iter().map(|&batch| self.batches[batch].mass.times(0.985, DIVISION));
        racks.chain(fresh).sum()
    }

    /// The part of its weight that a batch lost in its cook, or its cooks.
    fn cook_loss(&self, batch: usize) -> f64 {
        let of = self.loads.iter().flat_map(|load| &load.groups);
        let of = of.filter(|group| group.racks.iter().any(|(one, _)| *one == batch));
        of.map(|group| {
            let lost = group.probes.iter().map(|(_, _, cooked)| cooked.link.lost);
            lost.sum::<f64>() / group.probes.len().max(1) as f64
        })
        .sum()
    }

    /// A detector is challenged with the test pieces of its line.
    pub async fn challenge(&mut self, lot: usize, is_good: bool) -> Done {
        let (line, product) = (self.finished[lot].line, self.finished[lot].product);
        let body = json!({
            "id": self.plant.id(), "plan": self.plans.products[product], "planVersion": 1,
            "check": "CCP-3", "place": self.place(detector(line)), "observedAt": self.now(),
            "pieces": [
                { "name": "ferrous 1.5 mm", "found": true },
                { "name": "non-ferrous 2.0 mm", "found": true },
                { "name": "stainless 2.5 mm", "found": is_good },
            ],
        });
        self.plant.post("rosa", "/v1/challenges", &body).await?;
        if !is_good {
            self.counts.deviations += 1;
        }
        Ok(())
    }

    /// Packs a lot off: its racks are used up.
    pub async fn pack_off(&mut self, lot: usize) -> Done {
        let of = self.finished[lot].clone();
        let name = PRODUCTS[of.product].name;
        let is_tub = of.product == product("ROPE") && self.before_last(3) == Some(of.day);
        if is_tub {
            self.tub(of.racks[0]).await?;
        }
        let plan = &self.plans.products[of.product];
        let racks = of.racks.iter().map(|at| self.rack(*at)).map(|r| (r.lot.clone(), r.mass));
        let fresh = of.batches.iter().map(|at| &self.batches[*at]);
        let fresh = fresh.map(|batch| (batch.lot.clone(), batch.mass));
        let used: Vec<Value> = racks
            .chain(fresh)
            .map(|(lot, mass)| json!({ "lot": lot, "mass": mass.json() }))
            .collect();
        let use_by = self.calendar.as_ref().map(|calendar| calendar.date(of.day));
        let keeps = if of.batches.is_empty() { 60 } else { 10 };
        let use_by = use_by.and_then(|d| d.checked_add(jiff::Span::new().days(keeps)).ok());
        let whole = CASE * of.cases.len() as i64;
        let body = json!({
            "id": self.plant.id(), "kind": "pack_off", "place": self.place(line(of.line)),
            "inputs": used, "observedAt": self.now(),
            "outputs": [{
                "lot": of.lot, "kind": "finished", "material": name, "plan": plan,
                "mass": whole.json(), "useBy": use_by.map(|date| date.to_string()),
            }],
        });
        self.plant.post("rosa", "/v1/transformations", &body).await?;
        Ok(())
    }

    /// Ends and broken links of a rack go into a tub, to be worked into a later batch.
    async fn tub(&mut self, (batch, rack): (usize, usize)) -> Done {
        let (hung, weighs) = TUB;
        let tub = self.plant.id();
        let product = self.batches[batch].product;
        let body = json!({
            "id": self.plant.id(), "kind": "rework", "place": self.place("Cooler 4"),
            "inputs": [{ "lot": self.rack((batch, rack)).lot, "mass": hung.json() }],
            "observedAt": self.now(),
            "outputs": [{
                "lot": tub, "kind": "rework", "mass": weighs.json(),
                "material": format!("{}, ends and broken links", PRODUCTS[product].name),
                "plan": self.plans.products[product],
            }],
        });
        self.plant.post("rosa", "/v1/transformations", &body).await?;
        self.batches[batch].racks[rack].mass -= hung;
        self.rework = Some((tub, weighs));
        Ok(())
    }

    /// Records cases of a lot that have passed.
    pub async fn cases(&mut self, lot: usize, (from, to): (usize, usize)) -> Done {
        let of = &self.finished[lot];
        let cases = of.cases[from..to].iter().map(|(serial, at)| {
            json!({ "serial": serial, "mass": CASE.json(), "packedAt": at.to_string() })
        });
        let cases: Vec<Value> = cases.collect();
        let (id, place) = (of.lot.clone(), self.place(detector(of.line)));
        let body = json!({
            "id": self.plant.id(), "lot": id, "place": place, "cases": cases,
            "observedAt": self.now(),
        });
        self.plant.post("rosa", "/v1/packings", &body).await?;
        self.counts.cases += to - from;
        Ok(())
    }

    /// Builds the pallets of the day's lots.
    pub async fn pallets(&mut self, day: usize) -> Done {
        for lot in 0..self.finished.len() {
            if self.finished[lot].day == day && self.finished[lot].pallets.is_empty() {
                let serials = self.finished[lot].cases.iter().map(|(serial, _)| serial.clone());
                let serials: Vec<String> = serials.collect();
                for cases in serials.chunks(ON_PALLET) {
                    let pallet = self.pallet(lot, cases).await?;
                    self.finished[lot].pallets.push(pallet);
                }
            }
        }
        Ok(())
    }

    /// Builds a pallet of a lot's cases.
    pub async fn pallet(&mut self, lot: usize, cases: &[String]) -> Result<String, crate::Failed> {
        let pallet = self.plant.id();
        self.pallets_built += 1;
        let date = self.calendar.as_ref().map(|c| c.date(self.finished[lot].day));
        let date = date.map(|date| date.strftime("%y%j").to_string()).unwrap_or_default();
        let body = json!({
            "id": pallet, "label": format!("P-{date}-{}", self.pallets_built),
            "place": self.place("Cooler 4"), "cases": cases, "observedAt": self.now(),
        });
        self.plant.post("lee", "/v1/pallets", &body).await?;
        Ok(pallet)
    }
}

/// The detector of a line.
pub fn detector(line: usize) -> &'static str {
    if line == 1 { "Detector 1" } else { "Detector 2" }
}

fn line(line: usize) -> &'static str {
    if line == 1 { "Packing line 1" } else { "Packing line 2" }
}
