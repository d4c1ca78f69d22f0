//! A load as it is judged: its products by plan version and check, its chills by pull.
//! It never asks the database and never judges by anything but what was recorded.

use domain::exact::Exact;
use domain::haccp::chill::{self, ChillFound};
use domain::haccp::cook::{self, Cook, HandReading, Probe, Product, Rack, Stage};
use domain::haccp::fall::{self, Fall};
use domain::haccp::gate::question::{At, Kind, LotKind};
use domain::haccp::samples::Line;
use domain::heat::cooling::{ChilledProduct, EDITIONS};
use domain::heat::product::CookedProduct;
use domain::verdict::Verdict;
use jiff::Timestamp;
use platform::error::Failure;
use uuid::Uuid;

use super::found::Found;
use super::lines::{Lines, Plans, micros};
use crate::shape::plans::{Check, PlanVersion};
use crate::store::cooking::whole::{HandRow, Head, RackRow, Whole};

/// A load with what its probes, loggers and hands have shown.
pub struct Judging<'w> {
    pub head: &'w Head,
    pub lines: Lines,
    hand: &'w [HandRow],
    plans: &'w Plans,
}

/// The racks of one plan version and the check that their cook must attain.
pub struct Cooked<'w> {
    pub plan: &'w PlanVersion,
    pub check: &'w Check,
    pub racks: Vec<&'w RackRow>,
    product: Product,
    /// When the load went in.
    begun_at: At,
}

/// The racks of one plan version that were pulled together, and a check of their chill.
pub struct Chilled<'w> {
    pub plan: &'w PlanVersion,
    pub check: &'w Check,
    pub racks: Vec<&'w RackRow>,
    pub found: ChillFound,
}

impl<'w> Judging<'w> {
    /// Makes ready to judge.
    pub fn of(whole: &'w Whole, plans: &'w Plans) -> Result<Self, Failure> {
        let lines = Lines::of(&whole.head, &whole.blocks)?;
        Ok(Self { head: &whole.head, lines, hand: &whole.hand, plans })
    }

    /// True when time alone changes nothing of it any more: every rack was pulled, and nothing was
    /// shown later than now.
    pub fn is_settled(&self, now: Timestamp) -> bool {
        let shown = self.lines.probes.values().chain(self.lines.chills.iter().map(|s| &s.line));
        let mut last = shown.filter_map(|line| line.last()).map(|last| last.at);
        self.head.racks.iter().all(|rack| rack.pulled_at.is_some())
            && last.all(|last| last <= now.as_microsecond())
    }

    /// The plan versions to which racks are bound, each with its racks.
    fn products(&self) -> Vec<(&'w PlanVersion, Vec<&'w RackRow>)> {
        let mut products: Vec<(&PlanVersion, Vec<&RackRow>)> = Vec::new();
        for rack in &self.head.racks {
            let Some(bound) = rack.bound() else { continue };
            let Some(plan) = self.plans.get(&bound) else { continue };
            let is_same = |(of, _): &&mut (&PlanVersion, _)| (of.plan, of.version) == bound;
            match products.iter_mut().find(is_same) {
                Some((_, racks)) => racks.push(rack),
                None => products.push((plan, vec![rack])),
            }
        }
        products
    }

    /// Until when something of a name counts; nothing: on and on.
    pub fn left_out_from(&self, name: &str) -> Option<At> {
        let named = self.head.left_out.iter().filter(|row| row.probe == name);
        named.map(|row| micros(row.left_out_from)).min()
    }

    /// What probes in the air have shown while they count.
    fn air(&self) -> Vec<Line> {
        let seats = self.head.probes.iter().filter(|row| row.seat == "air");
        let lines = seats.filter_map(|row| {
            let line = self.lines.probes.get(&row.probe)?;
            Some(match self.left_out_from(&row.probe) {
                Some(from) => line.until(from),
                None => line.clone(),
            })
        });
        lines.collect()
    }

    /// When a probe left the product of a rack, by the diameter that the plan names.
    pub fn fall(&self, probe: &str, plan: &PlanVersion) -> Option<Fall> {
        let diameter_mm = plan.diameter_mm.as_ref().map(Exact::to_f64)?;
        let line = self.lines.probes.get(probe)?.from_coldest();
        fall::find(&line, &self.air(), diameter_mm)
    }

    /// Every product with each check of its cook.
    pub fn cooked(&self) -> Vec<Cooked<'w>> {
        let mut cooked = Vec::new();
        for (plan, racks) in self.products() {
            let probes = self.probes(plan, &racks);
            for check in plan.checks.iter().filter(|check| is_of_cook(plan, check)) {
                let of_rack = |rack: &&RackRow| self.rack(rack, plan, check);
                let product = Product {
                    limit: check.limit.clone(),
                    racks: racks.iter().map(of_rack).collect(),
                    probes: probes.clone(),
                };
                let begun_at = micros(self.head.load.observed_at);
                cooked.push(Cooked { plan, check, racks: racks.clone(), product, begun_at });
            }
        }
        cooked
    }

    fn probes(&self, plan: &PlanVersion, racks: &[&RackRow]) -> Vec<Probe> {
        let seated = self.head.probes.iter().filter_map(|row| {
            let rack = racks.iter().position(|rack| row.lot == Some(rack.lot))?;
            let line = self.lines.probes.get(&row.probe).cloned().unwrap_or_default();
            Some(Probe {
                name: row.probe.clone(),
                rack,
                line,
                left_out_from: self.left_out_from(&row.probe),
                fall: self.fall(&row.probe, plan),
            })
        });
        seated.collect()
    }

    fn rack(&self, row: &RackRow, plan: &PlanVersion, check: &Check) -> Rack {
        let is_of = |hand: &&HandRow| {
            hand.lot == row.lot
                && (hand.plan, hand.plan_version) == (plan.plan, plan.version)
                && hand.check_code == check.code
        };
        let hand = self.hand.iter().filter(is_of).map(|hand| HandReading {
            at: micros(hand.observed_at),
            verdict: Verdict::met(hand.is_met),
            what: in_words(hand),
        });
        Rack { pulled_at: row.pulled_at.map(micros), hand: hand.collect() }
    }

    /// Every pull of a product with each check of its chill.
    pub fn chilled(&self) -> Vec<Chilled<'w>> {
        let mut chilled = Vec::new();
        for (plan, racks) in self.products() {
            for (pulled_at, racks) in by_pull(&racks) {
                for check in plan.checks.iter().filter(|check| is_of_chill(plan, check)) {
                    let tracks = self.tracks(&racks);
                    let found = chill::judge(&tracks, micros(pulled_at), &asked(plan, check));
                    chilled.push(Chilled { plan, check, racks: racks.clone(), found });
                }
            }
        }
        chilled
    }

    /// What was shown on any of the racks: the plan watches the warmest spot, so it stands for all
    /// racks of a product that were pulled together (common practice, no source).
    fn tracks(&self, racks: &[&RackRow]) -> Vec<chill::Track> {
        let is_of = |rack: Option<Uuid>| racks.iter().any(|row| Some(row.lot) == rack);
        let shown = self.lines.chills.iter().filter(|series| is_of(series.rack));
        let tracks = shown.map(|series| chill::Track {
            name: series.name.clone(),
            source: series.source,
            line: match self.left_out_from(&series.name) {
                Some(from) => series.line.until(from),
                None => series.line.clone(),
            },
        });
        tracks.filter(|track| track.line.last().is_some()).collect()
    }

    /// What is found of the racks that were pulled, as far as it is to be recorded.
    pub fn found(&self) -> Vec<Found<'w>> {
        let cooks = self.cooked().into_iter().flat_map(|cooked| cooked.found());
        let chills = self.chilled().into_iter().filter_map(|chilled| chilled.found());
        cooks.chain(chills).collect()
    }
}

/// Racks that were pulled, those pulled at the same time together.
fn by_pull<'w>(racks: &[&'w RackRow]) -> Vec<(jiff_diesel::Timestamp, Vec<&'w RackRow>)> {
    let mut pulls: Vec<(jiff_diesel::Timestamp, Vec<&RackRow>)> = Vec::new();
    for rack in racks {
        let Some(pulled_at) = rack.pulled_at else { continue };
        match pulls.iter_mut().find(|(at, _)| micros(*at) == micros(pulled_at)) {
            Some((_, together)) => together.push(rack),
            None => pulls.push((pulled_at, vec![rack])),
        }
    }
    pulls
}

/// A limit that the cook of a rack must attain.
fn is_of_cook(plan: &PlanVersion, check: &Check) -> bool {
    let step = plan.step_of(check).filter(|step| step.on == LotKind::Rack);
    step.is_some_and(|step| step.operation == "cook")
        && check.kind == Kind::Attain
        && check.cooling.is_empty()
}

/// A cooling option by which the chill of a rack is judged.
fn is_of_chill(plan: &PlanVersion, check: &Check) -> bool {
    let step = plan.step_of(check).filter(|step| step.on == LotKind::Rack);
    step.is_some_and(|step| step.operation == "chill") && !check.cooling.is_empty()
}

fn asked(plan: &PlanVersion, check: &Check) -> chill::Asked {
    let edition = match check.edition.as_str() {
        "" => EDITIONS[EDITIONS.len() - 1],
        edition => edition,
    };
    chill::Asked {
        option: check.cooling.replace("cooling_option_", "us.chill.option-"),
        edition: edition.to_owned(),
        product: ChilledProduct {
            cured: plan.cured.unwrap_or(false),
            ingoing_nitrite_ppm: plan.ingoing_nitrite_ppm.clone(),
            erythorbate_ppm: None,
        },
    }
}

fn in_words(hand: &HandRow) -> String {
    let taken_off = match &hand.correction {
        Some(correction) => format!(", {correction} taken off each"),
        None => String::new(),
    };
    let met = if hand.is_met { "met" } else { "not met" };
    let (shown, unit, who) = (hand.shown.join(", "), &hand.unit, &hand.entered_by_name);
    format!("{shown} {unit}{taken_off}, read by {who}: {met}.")
}

impl<'w> Cooked<'w> {
    /// The product as it stands: while a rack is in the house an attempt is no failure.
    pub fn now(&self, now: Timestamp) -> Cook {
        let racks: Vec<usize> = (0..self.racks.len()).collect();
        let pulled: Option<Vec<At>> =
            self.racks.iter().map(|rack| rack.pulled_at.map(micros)).collect();
        match pulled.and_then(|pulled| pulled.into_iter().max()) {
            Some(last) => cook::judge(&self.product, &racks, last, Stage::Pulled),
            None => cook::judge(&self.product, &racks, now.as_microsecond(), Stage::InTheHouse),
        }
    }

    /// When somebody must look again: of the racks in the house the one that was looked at the
    /// longest ago. Only readings by hand are looks, and so is the start.
    pub fn look_due_at(&self) -> Option<At> {
        let every = self.check.every_s?.checked_mul(1_000_000)?;
        let inside = self.product.racks.iter().filter(|rack| rack.pulled_at.is_none());
        let last = |rack: &Rack| rack.hand.iter().map(|hand| hand.at).max();
        let looks = inside.map(|rack| last(rack).unwrap_or(self.begun_at).max(self.begun_at));
        looks.min()?.checked_add(every)
    }

    /// True when a probe sits in one of its racks.
    pub fn has_probe(&self) -> bool {
        !self.product.probes.is_empty()
    }

    /// One rack at its pull; nothing while it is in the house.
    pub fn at_its_pull(&self, rack: &RackRow) -> Option<Cook> {
        let place = self.racks.iter().position(|row| row.lot == rack.lot)?;
        let pulled_at = micros(rack.pulled_at?);
        Some(cook::judge(&self.product, &[place], pulled_at, Stage::Pulled))
    }

    /// Lethality by the table of meat, as support.
    pub fn support(&self, now: Timestamp) -> Vec<String> {
        let species = self.plan.species.clone();
        let cured = self.plan.cured.unwrap_or(false);
        let cooked = CookedProduct { species, cured, form: None };
        cook::support(&self.product, &cooked, now.as_microsecond())
    }

    fn found(self) -> Vec<Found<'w>> {
        let mut found = Vec::new();
        for (pulled_at, racks) in by_pull(&self.racks) {
            // By hand each rack was read or not, so each stands for itself.
            let judged = racks.iter().filter_map(|rack| Some((*rack, self.at_its_pull(rack)?)));
            let mut alike: Vec<(Cook, Vec<&RackRow>)> = Vec::new();
            for (rack, cook) in judged {
                match alike.iter_mut().find(|(other, _)| *other == cook) {
                    Some((_, together)) => together.push(rack),
                    None => alike.push((cook, vec![rack])),
                }
            }
            let of = |(cook, racks): (Cook, Vec<&RackRow>)| Found {
                plan: (self.plan.plan, self.plan.version),
                check: self.check,
                is_cook: true,
                lots: lots(&racks),
                verdict: cook.verdict,
                observed_at: pulled_at.to_jiff(),
                reasons: cook.reasons,
                stands_at: cook.stands_at,
            };
            found.extend(alike.into_iter().map(of));
        }
        found
    }
}

impl<'w> Chilled<'w> {
    /// Nothing while nobody has read anything.
    fn found(self) -> Option<Found<'w>> {
        let seen_until = self.found.seen_until?;
        Some(Found {
            plan: (self.plan.plan, self.plan.version),
            check: self.check,
            is_cook: false,
            lots: lots(&self.racks),
            verdict: self.found.verdict,
            observed_at: Timestamp::from_microsecond(seen_until).ok()?,
            reasons: self.found.reasons,
            stands_at: None,
        })
    }
}

fn lots(racks: &[&RackRow]) -> Vec<Uuid> {
    let mut lots: Vec<Uuid> = racks.iter().map(|rack| rack.lot).collect();
    lots.sort_unstable();
    lots
}
