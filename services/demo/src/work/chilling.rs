//! From the oven door to the cooler: by a logger in one rack, or by somebody with a thermometer.
//! It never makes a reading that nobody could have taken.

use jiff::SignedDuration;
use serde_json::json;

use super::cooking::samples;
use crate::Done;
use crate::physics::house::{self, Cold};
use crate::tables::places::COOK_THERMOMETER;
use crate::tables::products::{APART_FILM, CROWDED_FILM, PRODUCTS};
use crate::week::{Task, Week};

/// The blast cell's air, in [degF].
const CELL_F: f64 = 32.0;
/// A chill is watched until it is so cold, in [degF].
const COLD_F: f64 = 39.0;
/// How often a logger is read out, in minutes.
const READ_OUT_MIN: i64 = 60;
/// When somebody reads by hand, in minutes from the pull.
const BY_HAND_MIN: [i64; 12] = [12, 25, 40, 58, 75, 95, 125, 165, 210, 260, 320, 390];
/// The same on the day on which nobody came, and the racks stood too close.
const LATE_MIN: [i64; 3] = [65, 115, 126];
/// The first reading of the last morning, which is overdue when the week ends.
const OVERDUE_MIN: i64 = 46;
/// When the pocket logger of that day was read out, in minutes from the pull.
const POCKET_MIN: [i64; 2] = [235, 415];

impl Week {
    /// Settles how a product cools from now on, and who watches it.
    pub fn begin_chill(&mut self, load: usize, group: usize) {
        let of = &self.loads[load].groups[group];
        let product = &PRODUCTS[of.product];
        let is_crowded = product.by_hand && self.before_last(3) == Some(self.loads[load].day);
        let warmest = of.probes.iter().map(|(_, _, cooked)| &cooked.link);
        let Some(link) = warmest.max_by(|a, b| a.core_f().total_cmp(&b.core_f())).cloned() else {
            return;
        };
        let film_w_m2k = match (is_crowded, product.by_hand) {
            (true, _) => CROWDED_FILM,
            (false, true) => self.chance.near(APART_FILM, 0.3),
            (false, false) => self.chance.near(4.6, 0.5),
        };
        let cold = Cold { shower_min: product.shower_min, air_f: CELL_F, film_w_m2k };
        let chill = house::chill(link, &cold, COLD_F, &mut self.chance);
        let end_s = chill.last().map_or(0, |last| last.0);
        let is_last = self.loads[load].day == self.last_day();
        self.loads[load].groups[group].chill = chill;
        let hand = |minutes: &[i64]| -> Vec<i64> {
            minutes.iter().map(|min| min * 60).filter(|second| *second < end_s).collect()
        };
        let mut hands = Vec::new();
        let mut loggers = Vec::new();
        match (is_crowded, product.by_hand) {
            (true, _) => {
                hands = hand(&LATE_MIN);
                loggers = hand(&POCKET_MIN);
                loggers.push(end_s);
            }
            (false, true) => {
                hands = hand(&BY_HAND_MIN);
                hands.retain(|second| !is_last || *second >= OVERDUE_MIN * 60);
                hands.push(end_s);
            }
            (false, false) => {
                let step = READ_OUT_MIN as usize * 60;
                loggers = (READ_OUT_MIN * 60..end_s).step_by(step).collect();
                loggers.push(end_s);
            }
        }
        let now = self.plant.now;
        for second in hands {
            let at = now + SignedDuration::from_secs(second);
            self.put(at, Task::ReadChill(load, group, second));
        }
        for second in loggers {
            let at = now + SignedDuration::from_secs(second);
            self.put(at, Task::ReadLogger(load, group, second));
        }
    }

    /// Reads a chill by hand in the warmest rack.
    pub async fn read_chill(&mut self, (load, group): (usize, usize), second: i64) -> Done {
        let of = &self.loads[load].groups[group];
        let true_f = house::at(&of.chill, second);
        let lots = self.rack_lots(&of.racks);
        let is_end = of.chill.last().is_some_and(|last| last.0 == second);
        let rack = lots[lots.len() / 2].clone();
        let (instrument, error_f) =
            self.instruments.get(COOK_THERMOMETER).cloned().unwrap_or_default();
        let body = json!({
            "id": self.plant.id(), "probe": COOK_THERMOMETER, "source": "hand", "lot": rack,
            "unit": "[degF]", "begunAt": self.now(), "instrument": instrument,
            "samples": [{ "tS": 0, "value": format!("{:.1}", true_f + error_f) }],
        });
        let path = format!("/v1/loads/{}/samples", self.loads[load].id);
        self.plant.post("marcus", &path, &body).await?;
        if is_end { self.move_lots("ines", &lots, "Cooler 4").await } else { Ok(()) }
    }

    /// Reads out the logger that hangs in one rack of a product.
    pub async fn read_logger(&mut self, (load, group): (usize, usize), second: i64) -> Done {
        let of = &self.loads[load].groups[group];
        let pulled_at = self.loads[load].at + SignedDuration::from_secs(of.pull_s);
        let lots = self.rack_lots(&of.racks);
        let end_s = of.chill.last().map_or(0, |last| last.0);
        let samples = samples(&of.chill, (of.chill_sent_s, second));
        let body = json!({
            "id": self.plant.id(), "probe": format!("L-{}", group + 1), "source": "logger",
            "lot": lots[lots.len() / 2], "unit": "[degF]", "begunAt": pulled_at.to_string(),
            "samples": samples,
        });
        let is_by_hand = PRODUCTS[of.product].by_hand;
        let is_first = of.chill_sent_s < 0;
        let path = format!("/v1/loads/{}/samples", self.loads[load].id);
        self.plant.post("marcus", &path, &body).await?;
        self.loads[load].groups[group].chill_sent_s = second;
        if is_by_hand && is_first {
            self.counts.deviations += 1;
            let day = self.loads[load].day;
            self.put(self.when(day + 1, "09:00"), Task::Destroy(load, group));
        }
        if second == end_s { self.move_lots("ines", &lots, "Cooler 4").await } else { Ok(()) }
    }
}
