//! What every service must know of the plant itself: its time zone and when its day begins.
//! It never guesses: until settings are made the zone is UTC and the day begins at midnight.

use std::sync::{Arc, PoisonError, RwLock};

use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use wire::v1::PlantSettings;

/// How a plant counts its days.
#[derive(Clone, Debug)]
pub struct Days {
    /// The plant's time zone.
    pub zone: TimeZone,
    /// When a production day begins, by the clock on the wall.
    pub start: Time,
}

/// The plant's settings in force, shared by all services of a process.
#[derive(Clone, Debug)]
pub struct Plant {
    days: Arc<RwLock<Days>>,
    settings: Arc<RwLock<PlantSettings>>,
}

impl Default for Plant {
    fn default() -> Self {
        let days = Days { zone: TimeZone::UTC, start: Time::midnight() };
        Self { days: Arc::new(RwLock::new(days)), settings: Arc::default() }
    }
}

impl Plant {
    /// Puts the settings that identity sends in force; days keep their count when
    /// the zone is unknown here.
    pub fn set(&self, settings: PlantSettings) {
        let zone = TimeZone::get(&settings.zone);
        let start = settings.day_start.parse::<Time>();
        match (zone, start) {
            (Ok(zone), Ok(start)) => self.set_days(Days { zone, start }),
            _ => tracing::error!(zone = settings.zone, "settings name no known zone or time"),
        }
        *self.settings.write().unwrap_or_else(PoisonError::into_inner) = settings;
    }

    /// The settings in force; version 0 until identity was heard.
    pub fn settings(&self) -> PlantSettings {
        self.settings.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Puts a new way of counting days in force.
    pub fn set_days(&self, days: Days) {
        *self.days.write().unwrap_or_else(PoisonError::into_inner) = days;
    }

    /// The date on the plant's wall at an instant, whatever production day it belongs to.
    pub fn date_of(&self, at: Timestamp) -> Date {
        let days = self.days.read().unwrap_or_else(PoisonError::into_inner);
        at.to_zoned(days.zone.clone()).date()
    }

    /// The production day to which an instant belongs.
    pub fn day_of(&self, at: Timestamp) -> Date {
        let days = self.days.read().unwrap_or_else(PoisonError::into_inner);
        let local = at.to_zoned(days.zone.clone()).datetime();
        if local.time() >= days.start {
            return local.date();
        }
        // The first day that exists has no yesterday; it is millennia away.
        local.date().yesterday().unwrap_or(local.date())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_night_shift_belongs_to_the_day_it_began() {
        let plant = Plant::default();
        let zone = TimeZone::get("America/New_York").expect("a zone of the bundled data");
        plant.set_days(Days { zone, start: Time::constant(4, 0, 0, 0) });
        let at = |text: &str| plant.day_of(text.parse().expect("an instant")).to_string();
        assert_eq!(at("2026-11-25T08:59:59Z"), "2026-11-24");
        assert_eq!(at("2026-11-25T09:00:00Z"), "2026-11-25");
        let night = plant.date_of("2026-11-25T08:59:59Z".parse().expect("an instant"));
        assert_eq!(night.to_string(), "2026-11-25", "the wall shows the next date by then");
    }

    #[test]
    fn settings_of_an_unknown_zone_leave_the_days_as_they_were() {
        let plant = Plant::default();
        let settings = |zone: &str, version| {
            let (zone, day_start) = (zone.to_owned(), "04:00".to_owned());
            PlantSettings { zone, day_start, version, ..Default::default() }
        };
        let night: Timestamp = "2026-11-25T08:59:59Z".parse().expect("an instant");
        plant.set(settings("America/New_York", 1));
        assert_eq!(plant.day_of(night).to_string(), "2026-11-24");
        plant.set(settings("Nowhere/Town", 2));
        assert_eq!(plant.day_of(night).to_string(), "2026-11-24");
        assert_eq!(plant.settings().version, 2);
    }
}
