//! When the week is: production days up to an instant that falls into the middle of a morning.
//! It never asks for the time.

use jiff::civil::{Date, Weekday};
use jiff::tz::{Offset, TimeZone};
use jiff::{SignedDuration, Timestamp, ToSpan};

use crate::Failed;

/// What the clock on the wall shows, in the tables of the week, when the week ends.
pub const ENDS: &str = "10:40";
/// When somebody unlocks the door.
const OPENS: &str = "04:35";
/// How far the wall's clock may be before [`ENDS`], in minutes, by the zone that is chosen.
const BEFORE_MIN: i64 = 30;

/// The production days of the week, the last one ending at the demo's end.
#[derive(Clone, Debug)]
pub struct Calendar {
    days: Vec<Date>,
    zone: TimeZone,
    zone_name: String,
    /// What to add to every time of the tables, so that the last of them is the end.
    shift: SignedDuration,
    ends_at: Timestamp,
}

impl Calendar {
    /// The days before `ends_at` (no Saturday, no Sunday) and its own, in the zone in which it is
    /// between 10:10 and 11:10 then.
    pub fn ending_at(ends_at: Timestamp, days_before: usize) -> Result<Self, Failed> {
        let ends_at = Timestamp::from_second(ends_at.as_second().div_euclid(60) * 60)?;
        let minute = ends_at.as_second().div_euclid(60).rem_euclid(24 * 60);
        let wanted = minute_of(ENDS);
        // The wall shows at least `wanted - 30` and less than `wanted + 30`.
        let mut hours = (wanted - BEFORE_MIN - minute).div_euclid(60);
        if (wanted - BEFORE_MIN - minute).rem_euclid(60) > 0 {
            hours += 1;
        }
        hours = (hours + 12).rem_euclid(24) - 12;
        let offset = Offset::from_hours(i8::try_from(hours)?)?;
        // The sign of these names is the other way round.
        let zone_name = match hours {
            0 => "Etc/GMT".to_owned(),
            hours => format!("Etc/GMT{:+}", -hours),
        };
        let zone = TimeZone::fixed(offset);
        let last = ends_at.to_zoned(zone.clone());
        let shift = (minute + hours * 60).rem_euclid(24 * 60) - wanted;
        let mut days = vec![last.date()];
        while days.len() <= days_before {
            days.push(worked_before(days[days.len() - 1])?);
        }
        days.reverse();
        let shift = SignedDuration::from_mins(shift);
        Ok(Self { days, zone, zone_name, shift, ends_at })
    }

    /// How many production days there are, the last one included.
    pub fn days(&self) -> usize {
        self.days.len()
    }

    /// The name of the plant's zone.
    pub fn zone_name(&self) -> &str {
        &self.zone_name
    }

    /// The date of a day.
    pub fn date(&self, day: usize) -> Date {
        self.days[day.min(self.days.len() - 1)]
    }

    /// The instant of a time of the tables on a day.
    pub fn at(&self, day: usize, time: &str) -> Timestamp {
        let minutes = SignedDuration::from_mins(minute_of(time));
        let midnight = self.date(day).to_zoned(self.zone.clone());
        // Within the years that a calendar can hold a day's minutes never leave it.
        midnight.map_or(self.ends_at, |midnight| midnight.timestamp() + minutes + self.shift)
    }

    /// The time of day by the wall's clock.
    pub fn wall(&self, at: Timestamp) -> String {
        at.to_zoned(self.zone.clone()).strftime("%a %H:%M").to_string()
    }

    /// Before anything has happened.
    pub fn opens_at(&self) -> Timestamp {
        self.at(0, OPENS)
    }

    /// The end.
    pub fn ends_at(&self) -> Timestamp {
        self.ends_at
    }
}

fn worked_before(day: Date) -> Result<Date, Failed> {
    let mut before = day.checked_sub(1.day())?;
    while matches!(before.weekday(), Weekday::Saturday | Weekday::Sunday) {
        before = before.checked_sub(1.day())?;
    }
    Ok(before)
}

/// Minutes since midnight of a time as the tables have it: 06:35.
fn minute_of(time: &str) -> i64 {
    let (hour, minute) = time.split_once(':').unwrap_or((time, "0"));
    let number = |text: &str| text.parse::<i64>().unwrap_or_default();
    number(hour) * 60 + number(minute)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whenever_it_is_started_the_week_ends_then_in_the_middle_of_a_morning() {
        for minute in 0..24 * 60 {
            let now = Timestamp::from_second(1_795_500_000 + minute * 60).expect("an instant");
            let calendar = Calendar::ending_at(now, 4).expect("a calendar");
            assert_eq!(calendar.at(4, ENDS), now, "{}", calendar.zone_name());
            let wall = calendar.wall(now);
            let wall = wall.split_once(' ').expect("a day and a time").1;
            assert!(("10:10".."11:10").contains(&wall), "{wall} in {}", calendar.zone_name());
            let zone = TimeZone::get(calendar.zone_name()).expect("a known zone");
            assert_eq!(now.to_zoned(zone).strftime("%H:%M").to_string(), wall);
        }
    }

    #[test]
    fn nobody_works_on_a_weekend_but_to_end_the_week() {
        // A Monday.
        let now = "2026-11-23T10:40:00Z".parse().expect("an instant");
        let calendar = Calendar::ending_at(now, 4).expect("a calendar");
        let days: Vec<String> = (0..5).map(|day| calendar.date(day).to_string()).collect();
        assert_eq!(days, ["2026-11-17", "2026-11-18", "2026-11-19", "2026-11-20", "2026-11-23"]);
    }
}
