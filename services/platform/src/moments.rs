//! The times of a record: observed, entered, recorded, and how far the device's clock is off.
//! It never back-dates: what was claimed, what was sent and what was received all stay.

use domain::fault::Faults;
use jiff::{SignedDuration, Timestamp};

use crate::caller::Call;
use crate::shape;

/// How far ahead of the plant's clock a claimed time may lie.
const AHEAD_MAX: SignedDuration = SignedDuration::from_secs(60);
/// How far a device's clock may be off before its entries are refused or marked.
const OFFSET_MAX_MS: i64 = 120_000;

/// When something happened, as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moments {
    /// As claimed.
    pub observed_at: Timestamp,
    /// The device's clock when the entry was saved.
    pub entered_at: Timestamp,
    /// When the service received it.
    pub recorded_at: Timestamp,
    /// What to add to the device's times to get the plant's, in milliseconds.
    pub offset_ms: i64,
    /// True: it has happened and is recorded as it was.
    pub happened: bool,
}

/// The times as a caller gives them.
#[derive(Clone, Copy, Debug)]
pub struct Claimed<'a> {
    /// RFC 3339.
    pub observed_at: &'a str,
    /// RFC 3339; empty: when the service received it.
    pub entered_at: &'a str,
    /// True for what has happened.
    pub happened: bool,
}

impl Moments {
    /// Reads the times of a call. Faults: no instants, a claimed time ahead of the plant's clock,
    /// an entry before what it tells of, and (unless it has happened) a device clock that is off.
    pub fn of(call: &Call, claimed: Claimed<'_>, faults: &mut Faults) -> Option<Self> {
        let offset_ms = match call.offset_ms() {
            Ok(offset) => offset.unwrap_or(0),
            Err(failure) => {
                failure.faults.into_iter().for_each(|f| faults.add_value(f.field, "", f.message));
                return None;
            }
        };
        let observed = shape::instant(claimed.observed_at, "observed_at", faults);
        let entered = match claimed.entered_at {
            "" => Some(before(call.received_at, offset_ms)),
            text => shape::instant(text, "entered_at", faults),
        };
        let (observed_at, entered_at) = (observed?, entered?);
        let recorded_at = call.received_at;
        let moments =
            Self { observed_at, entered_at, recorded_at, offset_ms, happened: claimed.happened };
        moments.check(faults).then_some(moments)
    }

    fn check(&self, faults: &mut Faults) -> bool {
        let mut good = true;
        for (field, at) in [("observed_at", self.observed_at), ("entered_at", self.entered_at)] {
            if self.by_the_plant(at).duration_since(self.recorded_at) > AHEAD_MAX {
                let text = format!("must not lie in the future (it is {})", self.recorded_at);
                faults.add_value(field, at, text);
                good = false;
            }
        }
        if self.observed_at.duration_since(self.entered_at) > AHEAD_MAX {
            let text = "must not be before what was observed";
            faults.add_value("entered_at", self.entered_at, text);
            good = false;
        }
        if !self.happened && self.is_clock_off() {
            let text = format!(
                "the device's clock is off by {} s, more than {} s; set it right",
                self.offset_ms / 1000,
                OFFSET_MAX_MS / 1000
            );
            faults.add("Device-Time", text);
            good = false;
        }
        good
    }

    /// A time of the device by the plant's clock.
    pub fn by_the_plant(&self, at: Timestamp) -> Timestamp {
        before(at, -self.offset_ms)
    }

    /// True when the device's clock is off by more than may be: an open item on the record.
    pub fn is_clock_off(&self) -> bool {
        Self::is_off(self.offset_ms)
    }

    /// True for an offset by which a device's clock is off by more than may be.
    pub fn is_off(offset_ms: i64) -> bool {
        offset_ms.abs() > OFFSET_MAX_MS
    }

    /// Seconds from what was observed to its entry; never negative.
    pub fn late_s(&self) -> i64 {
        self.entered_at.duration_since(self.observed_at).as_secs().max(0)
    }
}

fn before(at: Timestamp, ms: i64) -> Timestamp {
    // At the ends of time the device's own claim stands as it is.
    at.checked_sub(SignedDuration::from_millis(ms)).unwrap_or(at)
}

impl From<Moments> for serde_json::Value {
    /// The times as they stand in a record's entry.
    fn from(moments: Moments) -> Self {
        serde_json::json!({
            "observed_at": moments.observed_at.to_string(),
            "entered_at": moments.entered_at.to_string(),
            "offset_ms": moments.offset_ms,
            "happened": moments.happened,
        })
    }
}
