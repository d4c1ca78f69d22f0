//! Loads: racks go into a house, probes show what the link's physics say, people look and pull.
//! It never pulls below the limit, but where a house has lost its steam and that is recorded.

use jiff::SignedDuration;
use serde_json::{Value, json};

use super::Taken;
use crate::client::word;
use crate::ids::Chance;
use crate::physics::house::{self, Cooked, Raw};
use crate::physics::{Programme, Shown};
use crate::tables::places::COOK_THERMOMETER;
use crate::tables::products::{PRODUCTS, product};
use crate::week::{Group, Load, Task, Week};
use crate::{Done, Failed};

/// How often a house sends its samples, in minutes.
const SEND_MIN: i64 = 30;
/// How often Marcus Vey looks where somebody must, in minutes.
const LOOK_MIN: i64 = 28;
/// The look that was missed, by its number.
const MISSED_LOOK: i64 = 3;
/// The core at which the house lost its steam, in [degF].
const LOST_STEAM_F: f64 = 148.4;
/// A cook of links that were cooked before: steam from the start.
const AGAIN: Programme = &[(600, 172.0, 158.0)];
/// At which they go in again, in [degF].
const AGAIN_FROM_F: f64 = 121.0;

/// Samples of a curve after one second and up to another, as the API takes them.
pub fn samples(curve: &[Shown], (after_s, to_s): (i64, i64)) -> Vec<Value> {
    let within = curve.iter().filter(|(t_s, _)| *t_s > after_s && *t_s <= to_s);
    within.map(|(t_s, value)| json!({ "tS": t_s, "value": format!("{value:.1}") })).collect()
}

fn air(programme: Programme, end_s: i64, chance: &mut Chance) -> [Vec<Shown>; 2] {
    let (mut dry, mut wet) = (Vec::new(), Vec::new());
    let (mut at_dry, mut at_wet) = (92.0, 78.0);
    for minute in 0..=end_s / house::SAMPLE_S {
        let second = minute * house::SAMPLE_S;
        let (dry_bulb_f, wet_bulb_f) = house::air_at(programme, second);
        // A house comes to a new set point within some ten minutes.
        at_dry += (dry_bulb_f - at_dry) * 0.25;
        at_wet += (wet_bulb_f - at_wet) * 0.25;
        dry.push((second, house::shown(chance.near(at_dry, 0.8), chance)));
        wet.push((second, house::shown(chance.near(at_wet, 0.5), chance)));
    }
    [dry, wet]
}

impl Week {
    /// Loads a house: what each probe will show is settled here, and told as it happens.
    pub async fn load(&mut self, load: usize) -> Done {
        let mut loaded = self.loads[load].clone();
        loaded.groups = match loaded.again {
            Some(from) => vec![self.cooked_again(from)],
            None => self.groups(&loaded),
        };
        let thickest = loaded.groups.iter().map(|group| &PRODUCTS[group.product]);
        let thickest = thickest.max_by(|a, b| a.diameter_mm.total_cmp(&b.diameter_mm));
        loaded.programme = match loaded.again {
            Some(_) => AGAIN,
            None => thickest.map_or(&[], |product| product.programme),
        };
        let mut probe = 0;
        let count = if loaded.groups.len() == 1 { 2 } else { 1 };
        for group in &mut loaded.groups {
            self.cook(group, loaded.programme, (loaded.again.is_some(), count));
            for (name, _, _) in &mut group.probes {
                probe += 1;
                *name = format!("P{probe}");
            }
        }
        let end_s = loaded.groups.iter().map(|group| group.pull_s).max().unwrap_or_default();
        loaded.air = air(loaded.programme, end_s, &mut self.chance);
        loaded.id = self.plant.id();
        loaded.sent_s = -1;
        self.start(&loaded).await?;
        self.put_cook(load, &loaded, end_s);
        self.loads[load] = loaded;
        self.counts.loads += 1;
        Ok(())
    }

    /// The products of a load with their racks, in the order of the batches.
    fn groups(&self, load: &Load) -> Vec<Group> {
        let mut groups: Vec<Group> = Vec::new();
        for &batch in &load.batches {
            let product = self.batches[batch].product;
            let racks = (0..self.batches[batch].racks.len()).map(|rack| (batch, rack));
            match groups.iter_mut().find(|group| group.product == product) {
                Some(group) => group.racks.extend(racks),
                None => groups.push(group(product, racks.collect())),
            }
        }
        let lost_steam = self.before_last(4) == Some(load.day) && load.house == "House 2";
        for group in &mut groups {
            group.is_cut_short = lost_steam && group.product == product("CHEESE");
        }
        groups
    }

    fn cooked_again(&self, (load, at): (usize, usize)) -> Group {
        let before = &self.loads[load].groups[at];
        group(before.product, before.racks.clone())
    }

    /// What the probes of a product will show, and when it is pulled.
    fn cook(&mut self, group: &mut Group, programme: Programme, (again, count): (bool, usize)) {
        let of = &PRODUCTS[group.product];
        let limit_f = of.cook_f.unwrap_or_default();
        let until_f = match group.is_cut_short {
            true => LOST_STEAM_F,
            false => limit_f + self.chance.near(1.0, 0.3),
        };
        let mut raws = Vec::new();
        for _ in 0..count {
            let from_f = if again { AGAIN_FROM_F } else { 38.0 };
            let from_f = self.chance.near(from_f, 1.5);
            let position = self.chance.near(0.97, 0.03);
            raws.push(Raw { diameter_mm: of.diameter_mm, from_f, position });
        }
        let mut look =
            |raw: &Raw, least_s| house::cook(programme, *raw, (until_f, least_s), &mut self.chance);
        let ends = raws.iter().map(|raw| look(raw, 0).end_s()).max().unwrap_or_default();
        let cooked: Vec<Cooked> = raws.iter().map(|raw| look(raw, ends)).collect();
        group.pull_s = ends;
        for (at, cooked) in cooked.into_iter().enumerate() {
            let rack = (at * 3 + 1).min(group.racks.len() - 1);
            group.probes.push((String::new(), rack, cooked));
        }
    }

    async fn start(&mut self, load: &Load) -> Done {
        let racks: Vec<(usize, usize)> =
            load.groups.iter().flat_map(|group| group.racks.clone()).collect();
        let mut probes: Vec<Value> =
            ["DB", "WB"].map(|probe| json!({ "probe": probe, "seat": "air" })).to_vec();
        for group in &load.groups {
            for (name, rack, _) in &group.probes {
                let lot = self.rack(group.racks[*rack]).lot.clone();
                probes.push(json!({ "probe": name, "seat": "rack", "lot": lot }));
            }
        }
        let body = json!({
            "id": load.id, "house": self.place(load.house), "racks": self.rack_lots(&racks),
            "probes": probes, "observedAt": self.now(),
        });
        self.plant.post("marcus", "/v1/loads", &body).await?;
        Ok(())
    }

    fn put_cook(&mut self, load: usize, loaded: &Load, end_s: i64) {
        let after = |seconds| self.plant.now + SignedDuration::from_secs(seconds);
        let mut put = Vec::new();
        for second in (SEND_MIN * 60..end_s).step_by(SEND_MIN as usize * 60) {
            put.push((after(second), Task::Send(load)));
        }
        for (at, group) in loaded.groups.iter().enumerate() {
            put.push((after(group.pull_s), Task::Pull(load, at)));
            if PRODUCTS[group.product].every_s.is_none() {
                continue;
            }
            for look in 1..=(group.pull_s - 1) / (LOOK_MIN * 60) {
                let is_missed = self.before_last(4) == Some(loaded.day) && look == MISSED_LOOK;
                if !is_missed {
                    put.push((after(look * LOOK_MIN * 60), Task::Look(load, at)));
                }
            }
        }
        for (at, task) in put {
            self.put(at, task);
        }
    }

    /// Sends what the probes of a house have shown since it last did.
    pub async fn send(&mut self, load: usize) -> Done {
        let now_s = self.plant.now.duration_since(self.loads[load].at).as_secs();
        let Load { id, at, groups, air, sent_s, .. } = self.loads[load].clone();
        let begun_at = at.to_string();
        let mut curves: Vec<(&str, &[Shown])> = vec![("DB", &air[0]), ("WB", &air[1])];
        for group in groups.iter().filter(|group| !group.is_pulled) {
            curves.extend(group.probes.iter().map(|(name, _, c)| (name.as_str(), &c.core[..])));
        }
        for (probe, curve) in curves {
            let samples = samples(curve, (sent_s, now_s));
            if samples.is_empty() {
                continue;
            }
            let body = json!({
                "id": self.plant.id(), "probe": probe, "source": "probe", "unit": "[degF]",
                "begunAt": begun_at, "samples": samples,
            });
            self.plant.post("marcus", &format!("/v1/loads/{id}/samples"), &body).await?;
        }
        self.loads[load].sent_s = now_s;
        Ok(())
    }

    /// Looks at a product: reads a link of it by hand.
    pub async fn look(&mut self, load: usize, group: usize) -> Done {
        let second = self.plant.now.duration_since(self.loads[load].at).as_secs();
        let of = &self.loads[load].groups[group];
        let shown = of.probes.iter().map(|(_, _, cooked)| house::at(&cooked.core, second));
        let shown_f = shown.fold(f64::MAX, f64::min);
        let (product, racks) = (of.product, of.racks.clone());
        let (plan, lots) = (self.plans.products[product].clone(), self.rack_lots(&racks));
        let values_f = [shown_f + self.chance.near(0.7, 0.4)];
        let taken = Taken {
            who: "marcus",
            plan: &plan,
            check: "CCP-1",
            lots: &lots,
            values_f: &values_f,
            instrument: COOK_THERMOMETER,
        };
        self.reading(&taken).await?;
        Ok(())
    }

    /// Pulls a product of a load.
    pub async fn pull(&mut self, load: usize, group: usize) -> Done {
        self.send(load).await?;
        let of = self.loads[load].groups[group].clone();
        if PRODUCTS[of.product].every_s.is_some() {
            self.look(load, group).await?;
        }
        let lots = self.rack_lots(&of.racks);
        let mut body = json!({ "id": self.plant.id(), "racks": lots, "observedAt": self.now() });
        if of.is_cut_short {
            body["overrule"] = json!(true);
            body["reason"] = json!("The house has lost its steam: they go into House 3 at once.");
        }
        let path = format!("/v1/loads/{}/pulls", self.loads[load].id);
        self.plant.post("marcus", &path, &body).await?;
        self.loads[load].groups[group].is_pulled = true;
        if of.is_cut_short {
            self.counts.deviations += 1;
            self.put_in(12, Task::Recook(load, group));
            return Ok(());
        }
        self.move_lots("marcus", &lots, "Blast cell").await?;
        self.begin_chill(load, group);
        Ok(())
    }

    /// Moves lots to a place.
    pub async fn move_lots(&mut self, who: &str, lots: &[String], place: &str) -> Done {
        let body = json!({
            "id": self.plant.id(), "lots": lots, "place": self.place(place),
            "observedAt": self.now(),
        });
        self.plant.post(who, "/v1/transfers", &body).await?;
        Ok(())
    }

    /// The open deviation of lots.
    pub async fn deviation_of(&mut self, lot: &str) -> Result<String, Failed> {
        let path = format!("/v1/deviations?open=true&lot={lot}");
        let open = self.plant.until(&path, |open| open["deviations"].is_array()).await?;
        Ok(word(&open["deviations"][0]["deviation"]))
    }
}

fn group(product: usize, racks: Vec<(usize, usize)>) -> Group {
    Group {
        product,
        racks,
        probes: Vec::new(),
        pull_s: 0,
        is_cut_short: false,
        is_pulled: false,
        chill: Vec::new(),
        chill_sent_s: -1,
    }
}
