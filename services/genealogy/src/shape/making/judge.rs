//! What is wrong with using lots and making others: the reasons of a refusal, and as a fact what
//! it broke.
//! It never asks the database, and never rounds a mass.

use bigdecimal::{BigDecimal, Zero as _};
use jiff::civil::Date;
use platform::error::{Failure, Reason};
use platform::moments::Moments;
use uuid::Uuid;

use super::batch::Told;
use super::{Addition, Use};
use crate::shape::closure::Closure;
use crate::shape::lots::Mass;

/// A lot that is to be used, as it stands while its row is locked.
#[derive(Clone, Debug)]
pub struct Stock {
    pub lot: Uuid,
    pub code: String,
    pub on_hand_g: BigDecimal,
    /// What of that is in cases.
    pub packed_g: BigDecimal,
    pub use_by: Option<Date>,
    /// Each hold that stops its use.
    pub holds: Vec<Stop>,
    /// Of a kit that was used: what it went into. A kit is used once.
    pub kit_used_in: Option<String>,
}

/// A hold that stops the use of a lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stop {
    pub hold: Uuid,
    pub reason: String,
    pub deviation: Option<Uuid>,
    /// The ancestor that it was placed on; None: the lot itself.
    pub through: Option<String>,
}

/// Something that breaks a rule: it refuses a command, and stands beside a fact.
#[derive(Clone, Debug)]
pub struct Broken {
    pub reason: Reason,
    /// The code of the open item.
    pub item: &'static str,
    /// The lots that it concerns.
    pub lots: Vec<Uuid>,
    /// False: it is to be looked at, and holds nothing.
    pub is_held: bool,
}

impl Broken {
    /// Something about one lot.
    pub fn of_lot(
        (code, item): (&'static str, &'static str),
        (lot, who): (Uuid, &str),
        message: String,
        way_on: String,
    ) -> Self {
        let subject = format!("lot:{lot}");
        let reason = Reason { code, subject, message, who: who.into(), way_on };
        Self { reason, item, lots: vec![lot], is_held: true }
    }

    /// The same about more lots.
    pub fn on(self, lots: Vec<Uuid>) -> Self {
        Self { lots, ..self }
    }

    /// A plan that binds no such lot: the lots that name it are bound to nothing.
    pub fn no_plan(reason: Reason, lots: Vec<Uuid>) -> Self {
        Self { reason, item: "NO_PLAN", lots, is_held: true }
    }
}

/// Refuses a command with every reason; of a fact each stands as an open item instead.
pub fn refuse(moments: &Moments, broken: &[Broken]) -> Result<(), Failure> {
    if moments.happened || broken.is_empty() {
        return Ok(());
    }
    Err(Failure::refused(broken.iter().map(|broken| broken.reason.clone()).collect()))
}

/// The same with what another service told of it; of a fact that stands as open items too.
pub fn refuse_with(moments: &Moments, broken: &[Broken], told: &[Told]) -> Result<(), Failure> {
    if moments.happened || (broken.is_empty() && told.is_empty()) {
        return Ok(());
    }
    let own = broken.iter().map(|broken| broken.reason.clone()).collect();
    Err(Failure::refused(own).with_told(told.iter().map(|told| told.reason.clone()).collect()))
}

/// A fact of a device whose clock is off by more than may be.
pub fn clock_off(moments: &Moments, lots: Vec<Uuid>) -> Option<Broken> {
    let reason = Reason {
        code: "CLOCK_OFF",
        subject: "Device-Time".into(),
        message: format!("The device's clock was off by {} s.", moments.offset_ms / 1000),
        who: "supervisor".into(),
        way_on: "Set the device's clock right, and say when it happened.".into(),
    };
    let broken = Broken { reason, item: "CLOCK_OFF", lots, is_held: false };
    moments.is_clock_off().then_some(broken)
}

impl Stock {
    /// What may still be used: on hand, and in no case.
    pub fn free_g(&self) -> BigDecimal {
        (&self.on_hand_g - &self.packed_g).max(BigDecimal::zero())
    }

    /// What using a mass takes: all of it, or what there is.
    pub fn taken_g(&self, mass: &Mass) -> BigDecimal {
        mass.grams.clone().min(self.free_g())
    }

    /// What is wrong with using a mass of it on a date.
    pub fn faults_of_use(&self, mass: &Mass, on: Date) -> Vec<Broken> {
        let mut broken: Vec<_> = self.more_than_on_hand(mass).into_iter().collect();
        broken.extend(self.out_of_date(on));
        broken.extend(self.kit_used());
        broken.extend(self.holds.iter().map(|stop| self.on_hold(stop)));
        broken
    }

    /// What forbids any use of it on a date, a sentence each.
    pub fn forbidden_by(&self, on: Date) -> Vec<String> {
        let holds = self.holds.iter().map(|stop| self.on_hold(stop));
        let broken = self.out_of_date(on).into_iter().chain(self.kit_used()).chain(holds);
        broken.map(|broken| broken.reason.message).collect()
    }

    /// Asked for more than may still be used.
    pub fn more_than_on_hand(&self, mass: &Mass) -> Option<Broken> {
        let free = self.free_g();
        if mass.grams <= free {
            return None;
        }
        let code = &self.code;
        let (on_hand, asked, free) = (grams(&self.on_hand_g), grams(&mass.grams), grams(&free));
        let packed = match self.packed_g.is_zero() {
            true => String::new(),
            false => format!(", {} g of it in cases", grams(&self.packed_g)),
        };
        let entered = match mass.unit.as_str() {
            "g" => String::new(),
            unit => format!(" ({} {unit})", mass.value.to_plain_string()),
        };
        let message =
            format!("{code} has {on_hand} g on hand{packed}; {asked} g{entered} is more.");
        let way_on = format!("Use at most {free} g of {code}, or name the lot that it really was.");
        let codes = ("MORE_THAN_ON_HAND", "MORE_THAN_ON_HAND");
        Some(Broken::of_lot(codes, (self.lot, "supervisor"), message, way_on))
    }

    fn out_of_date(&self, on: Date) -> Option<Broken> {
        let last = self.use_by.filter(|last| on > *last)?;
        let message = format!("{} was to be used by {last}; it is {on}.", self.code);
        let way_on = format!("Use another lot; {} is for QA to dispose of.", self.code);
        let codes = ("LOT_OUT_OF_DATE", "USED_OUT_OF_DATE");
        Some(Broken::of_lot(codes, (self.lot, "QA"), message, way_on))
    }

    fn kit_used(&self) -> Option<Broken> {
        let batch = self.kit_used_in.as_ref()?;
        let code = &self.code;
        let message = format!("Kit {code} went into {batch}; a kit is used once.");
        let way_on = "Weigh up a new kit, or scan the one that was made for this batch.";
        let codes = ("KIT_USED", "KIT_USED");
        Some(Broken::of_lot(codes, (self.lot, "operator"), message, way_on.into()))
    }

    fn on_hold(&self, stop: &Stop) -> Broken {
        let through = match &stop.through {
            Some(code) => format!(" through {code}, of which it was made"),
            None => String::new(),
        };
        let message = format!("{} is on hold{through}: {}", self.code, stop.reason);
        let way_on = match stop.deviation {
            Some(deviation) => format!(
                "Close the deviation with a disposition that frees the lot: \
                 POST /v1/deviations/{deviation}/close; or use another lot."
            ),
            None => format!("End the hold: POST /v1/holds/{}/end; or use another lot.", stop.hold),
        };
        Broken::of_lot(("LOT_ON_HOLD", "USED_ON_HOLD"), (self.lot, "QA"), message, way_on)
    }
}

/// More made than was used: what came of nothing cannot be accounted for.
pub fn balance(uses: &[Use], additions: &[Addition], outputs: &[(Uuid, &Mass)]) -> Option<Broken> {
    let used: BigDecimal = uses.iter().map(|one| &one.mass.grams).sum();
    let added: BigDecimal = additions.iter().map(|one| &one.mass.grams).sum();
    let made: BigDecimal = outputs.iter().map(|(_, mass)| &mass.grams).sum();
    let came = &used + &added;
    if made <= came {
        return None;
    }
    let message = format!(
        "{} g are made of {} g used and {} g added: {} g too much.",
        grams(&made),
        grams(&used),
        grams(&added),
        grams(&(&made - &came))
    );
    let reason = Reason {
        code: "MORE_MADE_THAN_USED",
        subject: format!("lot:{}", outputs.first().map(|(lot, _)| *lot).unwrap_or_default()),
        message,
        who: "supervisor".into(),
        way_on: "Name every lot that was used, and water or ice as an addition; or weigh again."
            .into(),
    };
    let lots = outputs.iter().map(|(lot, _)| *lot).collect();
    Some(Broken { reason, item: "MORE_MADE_THAN_USED", lots, is_held: true })
}

/// The holds that stop the use of a lot, by its closure: any on itself, and those that cover all
/// that was made of an ancestor.
pub fn stops(closure: &Closure, lot: Uuid) -> Vec<Stop> {
    let Some(at) = closure.index(lot).filter(|_| !closure.holds.is_empty()) else {
        return Vec::new();
    };
    let own = closure.own(at);
    let held = closure.holds.iter().filter_map(|(held, hold)| {
        let held = closure.index(*held).filter(|held| own.binary_search(held).is_ok())?;
        let is_itself = held == at;
        (is_itself || hold.scope == "whole").then(|| Stop {
            hold: hold.id,
            reason: hold.reason.clone(),
            deviation: hold.deviation,
            through: (!is_itself).then(|| closure.lots[held].code.clone()),
        })
    });
    held.collect()
}

/// Grams without needless zeros.
pub fn grams(mass: &BigDecimal) -> String {
    mass.normalized().to_plain_string()
}

#[cfg(test)]
mod tests;
