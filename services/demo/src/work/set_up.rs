//! Before the first day: people, places, partners, plans, thermometers, the week's own calendar.
//! It never makes anything that the plant's records would call product.

use serde_json::json;

use crate::client::{ADMINISTRATOR, word};
use crate::tables::materials::receivings;
use crate::tables::partners::{CUSTOMERS, Partner, SUPPLIERS};
use crate::tables::people::{PASSWORD, PEOPLE};
use crate::tables::places::{COLD_STORE, INSTRUMENTS, PLACES};
use crate::tables::week::{LOADED, MIXED, is_cooked, made};
use crate::week::{Batch, Load, Task, Week};
use crate::{Done, Failed};

/// A password that is changed at once.
const ONE_TIME: &str = "one time only 1";
/// Minutes from the mixing of a batch to its hanging.
const HANG_MIN: i64 = 35;

impl Week {
    /// Makes the plant ready for its first day.
    pub async fn set_up(&mut self, administrator_password: &str) -> Done {
        self.must_be_simulated(administrator_password).await?;
        self.plant.settle(ADMINISTRATOR, administrator_password).await?;
        self.open_at().await?;
        self.settings().await?;
        self.people().await?;
        for (name, kind) in PLACES.into_iter().chain([COLD_STORE]) {
            let body = json!({ "id": self.plant.id(), "name": name, "kind": kind });
            let place = self.plant.post("walt", "/v1/places", &body).await?;
            self.places.insert(name, word(&place["place"]));
        }
        self.suppliers = self.partners(&SUPPLIERS, "isSupplier").await?;
        self.customers = self.partners(&CUSTOMERS, "isCustomer").await?;
        for (name, kind, tolerance, error_f) in INSTRUMENTS {
            let body = json!({
                "id": self.plant.id(), "name": name, "kind": kind,
                "tolerance": { "value": tolerance, "unit": "[degF]" },
            });
            let made = self.plant.post("dana", "/v1/instruments", &body).await?;
            self.instruments.insert(name, (word(&made["instrument"]), error_f));
        }
        self.approve_plans().await?;
        self.approve_formulas().await?;
        self.put_days();
        Ok(())
    }

    /// Refused before anything is changed: a plant whose clock is real.
    async fn must_be_simulated(&mut self, administrator_password: &str) -> Done {
        self.plant.sign_in(ADMINISTRATOR, administrator_password).await?;
        let settings = self.plant.get(ADMINISTRATOR, "/v1/plant/settings").await?;
        match settings["isSimulated"] == true {
            true => Ok(()),
            false => Err("this plant's clock is real: the demo never enters its records".into()),
        }
    }

    /// Moves the clock to the first morning; a session from before may have run out.
    async fn open_at(&mut self) -> Done {
        let body = json!({ "to": self.now() });
        self.plant.post(ADMINISTRATOR, "/simulation/clock", &body).await?;
        self.plant.sign_in(ADMINISTRATOR, PASSWORD).await?;
        Ok(())
    }

    async fn settings(&mut self) -> Done {
        let zone = self.calendar.as_ref().map(|calendar| calendar.zone_name().to_owned());
        let body = json!({
            "id": self.plant.id(), "establishmentName": "Quarry Lane Provisions",
            "establishmentNumber": "00000", "zone": zone, "dayStart": "04:00",
            "temperatureUnit": "[degF]", "massUnit": "[lb_av]",
        });
        self.plant.post(ADMINISTRATOR, "/v1/plant/settings", &body).await?;
        Ok(())
    }

    async fn people(&mut self) -> Done {
        for person in &PEOPLE {
            let body = json!({
                "id": self.plant.id(), "signInName": person.sign_in, "name": person.name,
                "roles": [person.role], "language": person.language, "oneTimePassword": ONE_TIME,
            });
            self.plant.post(ADMINISTRATOR, "/v1/people", &body).await?;
            self.plant.settle(person.sign_in, ONE_TIME).await?;
        }
        Ok(())
    }

    async fn partners(&mut self, rows: &[Partner], sort: &str) -> Result<Vec<String>, Failed> {
        let mut made = Vec::new();
        for (name, phone, address) in rows {
            let mut body = json!({
                "id": self.plant.id(), "name": name, "phone": phone, "address": address,
            });
            body[sort] = json!(true);
            made.push(word(&self.plant.post("walt", "/v1/partners", &body).await?["partner"]));
        }
        Ok(made)
    }

    /// Everybody who enters something signs in anew each morning, and thermometers go into ice.
    pub async fn morning(&mut self, day: usize) -> Done {
        self.plant.sign_in(ADMINISTRATOR, PASSWORD).await?;
        if day > 0 {
            for person in &PEOPLE {
                self.plant.sign_in(person.sign_in, PASSWORD).await?;
            }
        }
        for (name, _, _, error_f) in INSTRUMENTS {
            let (instrument, _) = self.instruments.get(name).cloned().unwrap_or_default();
            let body = json!({
                "id": self.plant.id(), "reference": { "value": "32.0", "unit": "[degF]" },
                "shown": { "value": format!("{:.1}", 32.0 + error_f), "unit": "[degF]" },
                "observedAt": self.now(), "note": "In ice, stirred.",
            });
            let path = format!("/v1/instruments/{instrument}/checks");
            self.plant.post("jo", &path, &body).await?;
        }
        Ok(())
    }

    fn put_days(&mut self) {
        for (row, (day, at, _, _)) in receivings(self.last_day() + 1).into_iter().enumerate() {
            self.put(self.when(day, at), Task::Receive(row));
        }
        for day in 0..=self.last_day() {
            self.put(self.when(day, "04:45"), Task::Morning(day));
            self.put_batches(day);
            self.put_loads(day);
            self.put(self.when(day, "06:30"), Task::PlanPacking(day));
            self.put(self.when(day, "10:00"), Task::Pallets(day));
            self.put(self.when(day, "13:30"), Task::Review(day));
            self.put(self.when(day, "14:30"), Task::Loading(day));
            for (truck, at) in ["14:50", "15:15", "15:40", "16:05"].into_iter().enumerate() {
                self.put(self.when(day, at), Task::Truck(day, truck));
            }
        }
    }

    fn put_batches(&mut self, day: usize) {
        let first = self.batches.len();
        for (slot, product) in made(self.last_day() - day).into_iter().enumerate() {
            let batch = self.batches.len();
            let at = self.when(day, MIXED[slot]);
            self.put(at, Task::Mix(batch));
            if is_cooked(product) {
                self.put(at + jiff::SignedDuration::from_mins(HANG_MIN), Task::Hang(batch));
            }
            let (kit, lot, racks) = (None, String::new(), Vec::new());
            let mass = crate::mass::Mass::default();
            self.batches.push(Batch { day, slot, product, kit, lot, mass, racks });
        }
        let all: Vec<usize> = (first..self.batches.len()).collect();
        let (morning, later) = all.split_at(all.len().min(5));
        self.put(self.when(day, "05:52"), Task::Kits(morning.to_vec()));
        if !later.is_empty() {
            self.put(self.when(day, "11:05"), Task::Kits(later.to_vec()));
        }
    }

    fn put_loads(&mut self, day: usize) {
        for loading in &LOADED {
            let mixed = if loading.overnight { day.checked_sub(1) } else { Some(day) };
            let is_of =
                |batch: &Batch| Some(batch.day) == mixed && loading.batches.contains(&batch.slot);
            let batches: Vec<usize> = (0..self.batches.len())
                .filter(|at| is_of(&self.batches[*at]) && is_cooked(self.batches[*at].product))
                .collect();
            if batches.is_empty() {
                continue;
            }
            let load = self.loads.len();
            let at = self.when(day, loading.at);
            self.put(at, Task::Load(load));
            self.loads.push(Load {
                day,
                at,
                house: loading.house,
                batches,
                programme: &[],
                id: String::new(),
                groups: Vec::new(),
                air: [Vec::new(), Vec::new()],
                sent_s: -1,
                again: None,
            });
        }
    }
}
