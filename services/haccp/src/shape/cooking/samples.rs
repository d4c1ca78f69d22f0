//! Blocks of samples: from what a house sends or a person types to what is stored and judged.
//! It never changes a value: what an instrument shows too much is kept beside it.

use domain::exact::{Exact, decimal};
use domain::fault::Faults;
use domain::haccp::samples::{Block, Clash};
use domain::units::{Dimension, Quantity, Unit};
use jiff::Timestamp;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::{Leaf, Stamp};
use platform::shape;
use rust_decimal::Decimal;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::lines::micros;
use crate::shape::instruments::Used;
use crate::store::cooking::whole::{BlockRow, Head};

/// Readings outside of this are those of a broken sensor, in [degF]: -30 and 200 Cel (common
/// practice, no source).
const SENSOR_F: (i64, i64) = (-22, 392);
/// The most clashes that a refusal tells one by one.
const TOLD_MAX: usize = 10;

/// A block about to be recorded.
#[derive(Clone, Debug)]
pub struct NewBlock {
    pub load: Uuid,
    pub probe: String,
    /// probe, logger or hand.
    pub source: String,
    /// The rack, where one is named.
    pub lot: Option<Uuid>,
    /// The instrument that is named.
    pub instrument: Option<Uuid>,
    /// Its good check and what it shows too much, once they were looked up.
    pub instrument_check: Option<Uuid>,
    pub correction: Option<String>,
    pub begun_at: Timestamp,
    /// Seconds and values as they were sent.
    pub times: Vec<String>,
    pub shown: Vec<String>,
    /// The same as numbers.
    pub block: Block,
    pub moments: Moments,
    pub stamp: Stamp,
}

/// Reads a block; every fault is named.
pub fn block_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordSamplesRequest,
) -> Result<NewBlock, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let load = shape::id(&request.load, "load", &mut faults);
    let lot = shape::optional_id(&request.lot, "lot", &mut faults);
    let instrument = shape::optional_id(&request.instrument, "instrument", &mut faults);
    let unit = Unit::from_code(&request.unit).filter(|u| u.dimension() == Dimension::Temperature);
    if unit.is_none() {
        let text = format!("must be one of: {}", Unit::codes(Dimension::Temperature));
        faults.add_value("unit", &request.unit, text);
    }
    if request.source != "probe" && request.lot.is_empty() {
        faults.add("lot", "is needed: the rack that was read");
    }
    let begun_at = shape::instant(&request.begun_at, "begun_at", &mut faults);
    let samples = samples(&request.samples, unit, &mut faults);
    let all = (|| Some((id?, load?, unit?, begun_at?, samples)))();
    let (id, load, unit, begun_at, samples) = faults.into_result(all)?;
    let block =
        Block { begun_at: begun_at.as_microsecond(), samples, unit, correction: Decimal::ZERO };
    let moments = moments(call, request, &block)?;
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    Ok(NewBlock {
        load,
        probe: request.probe.clone(),
        source: request.source.clone(),
        lot,
        instrument,
        instrument_check: None,
        correction: None,
        begun_at,
        times: request.samples.iter().map(|sample| text(&sample.t_s)).collect(),
        shown: request.samples.iter().map(|sample| text(&sample.value)).collect(),
        block,
        moments,
        stamp: Stamp::of(call, plant, id, format!("load:{load}"), request)?,
    })
}

fn samples(
    given: &[v1::Sample],
    unit: Option<Unit>,
    faults: &mut Faults,
) -> Vec<(Decimal, Decimal)> {
    let mut read = Vec::with_capacity(given.len());
    let mut last: Option<Decimal> = None;
    for (at, sample) in given.iter().enumerate() {
        let field = |name| format!("samples[{at}].{name}");
        let t_s = sample.t_s.as_deref().unwrap_or_default();
        let value = sample.value.as_deref().unwrap_or_default();
        let t_s = shape::decimal(t_s, &field("t_s"), faults);
        let value = shape::decimal(value, &field("value"), faults);
        let (Some(t_s), Some(value)) = (t_s, value) else { continue };
        if t_s.normalize().scale() > 6 || t_s.abs() > Decimal::from(100_000_000) {
            let text = "must have at most six decimals and lie within 100000000 s";
            faults.add_value(field("t_s"), t_s, text);
        }
        if last.is_some_and(|last| t_s <= last) {
            faults.add_value(field("t_s"), t_s, "must be later than the sample before");
        }
        if unit.is_some_and(|unit| !is_shown_by_a_sensor(value, unit)) {
            let text = "no working sensor shows this: it must lie from -30 to 200 Cel";
            faults.add_value(field("value"), value, text);
        }
        last = Some(t_s);
        read.push((t_s, value));
    }
    read
}

/// With at most six decimals, so that whatever is computed of it stays exact.
fn is_shown_by_a_sensor(value: Decimal, unit: Unit) -> bool {
    let value_f = Quantity::new(Exact::from(value), unit).base();
    let (least, most) = SENSOR_F;
    let is_within = value_f >= Exact::whole(least) && value_f <= Exact::whole(most);
    is_within && value.normalize().scale() <= 6
}

/// The block is observed when its last sample was taken.
fn moments(
    call: &Call,
    request: &v1::RecordSamplesRequest,
    block: &Block,
) -> Result<Moments, Failure> {
    let last = block.samples.last().and_then(|(t_s, _)| block.instant(*t_s));
    let last = last.and_then(|at| Timestamp::from_microsecond(at).ok());
    let last = last.map(|at| at.to_string()).unwrap_or_default();
    let mut faults = Faults::new();
    let claimed = Claimed {
        observed_at: &last,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let read = Moments::of(call, claimed, &mut faults);
    if let Some(moments) = read.filter(|_| faults.is_empty()) {
        return Ok(moments);
    }
    // The last sample is what the caller can mend.
    let field = format!("samples[{}].t_s", block.samples.len().saturating_sub(1));
    let mut named = Faults::new();
    for fault in faults.into_vec() {
        // What was not given cannot be mended.
        if fault.field == "entered_at" && request.entered_at.is_empty() {
            continue;
        }
        let is_last = fault.field == "observed_at";
        let name = if is_last { field.clone() } else { fault.field };
        match fault.value {
            Some(value) => named.add_value(name, value, fault.message),
            None => named.add(name, fault.message),
        }
    }
    Err(named.into())
}

impl NewBlock {
    /// Takes off what the instrument shows too much. Faults: no good check of it before the last
    /// sample, so that nothing would be known; a unit in which its error is not known.
    pub fn with_instrument(mut self, used: Used) -> Result<Self, Failure> {
        let Some(good) = used.good else {
            let text = "has no good check before these samples; check it, or leave it out";
            return Err(Failure::fault("instrument", used.instrument, text));
        };
        if good.unit != self.block.unit.code() {
            let text = format!("must be {}, in which the instrument was checked", good.unit);
            return Err(Failure::fault("unit", self.block.unit, text));
        }
        let error = decimal(&good.error).map_err(Failure::internal)?;
        self.block.correction = error;
        self.instrument_check = Some(good.check);
        self.correction = Some(good.error);
        Ok(self)
    }

    /// Checks it against its load. Faults: a probe without a seat there, a rack that is not in it.
    pub fn check(&self, head: &Head) -> Result<(), Failure> {
        let mut faults = Faults::new();
        let seat = head.probes.iter().find(|row| row.probe == self.probe);
        match (self.source.as_str(), seat, self.lot) {
            ("probe", None, _) => {
                faults.add_value("probe", &self.probe, "has no seat in this load");
            }
            ("probe", Some(seat), Some(lot)) if seat.lot != Some(lot) => {
                faults.add_value("lot", lot, "must be the rack in which the probe sits");
            }
            ("logger" | "hand", Some(_), _) => {
                let text = "is a probe of the house; a logger or a hand needs a name of its own";
                faults.add_value("probe", &self.probe, text);
            }
            ("logger" | "hand", None, Some(lot)) if !head.racks.iter().any(|r| r.lot == lot) => {
                faults.add_value("lot", lot, "must be a rack of the load");
            }
            _ => {}
        }
        Ok(faults.into_result(Some(()))?)
    }

    /// True when a rack that has been pulled must be judged again for it: it tells of a time before
    /// a pull, or of the chill.
    pub fn touches_what_was_judged(&self, head: &Head) -> bool {
        let first = self.block.samples.first().and_then(|(t_s, _)| self.block.instant(*t_s));
        let first = first.unwrap_or(i64::MIN);
        let pulled = head.racks.iter().filter_map(|rack| rack.pulled_at.map(micros));
        let is_of_chill = self.lot.is_some();
        pulled.into_iter().any(|pulled_at| is_of_chill || first <= pulled_at)
    }

    /// The refusal of instants of which another value is recorded.
    pub fn differs(&self, clashes: &[Clash]) -> Failure {
        let reason = |clash: &Clash| {
            let at = self.times.get(clash.at).map(String::as_str).unwrap_or_default();
            let (known, sent) = (clash.known_f, clash.sent_f);
            Reason {
                code: "SAMPLE_DIFFERS",
                subject: format!("load:{}", self.load),
                message: format!(
                    "{} at {at} s after {}: {known} [degF] is recorded, {sent} [degF] was sent.",
                    self.probe, self.begun_at
                ),
                who: "QA".into(),
                way_on: "Send it with happened: true, and both stand: the worse one counts.".into(),
            }
        };
        let mut reasons: Vec<Reason> = clashes.iter().take(TOLD_MAX).map(reason).collect();
        if let (Some(first), true) = (reasons.first_mut(), clashes.len() > TOLD_MAX) {
            first.message = format!("{} In all {} differ.", first.message, clashes.len());
        }
        Failure::refused(reasons)
    }

    /// Its leaf; times and values are texts, exactly as they were sent.
    pub fn leaf(&self) -> Result<Leaf, Failure> {
        let id = |id: Option<Uuid>| id.map(|id| id.to_string());
        let entry = json!({
            "load": self.load.to_string(),
            "probe": self.probe,
            "source": self.source,
            "lot": id(self.lot),
            "instrument": id(self.instrument),
            "instrument_check": id(self.instrument_check),
            "correction": self.correction,
            "unit": self.block.unit.code(),
            "begun_at": self.begun_at.to_string(),
            "times_s": self.times,
            "readings": self.shown,
            "times": Value::from(self.moments),
        });
        self.stamp.leaf("haccp.sample_block/1", entry)
    }

    /// Its row as it stands once it is stored.
    pub fn row(&self) -> BlockRow {
        use jiff_diesel::ToDiesel as _;
        BlockRow {
            id: self.stamp.id,
            load: self.load,
            probe: self.probe.clone(),
            source: self.source.clone(),
            lot: self.lot,
            unit: self.block.unit.code().to_owned(),
            begun_at: self.begun_at.to_diesel(),
            times: self.times.clone(),
            shown: self.shown.clone(),
            correction: self.correction.clone(),
            recorded_at: self.moments.recorded_at.to_diesel(),
        }
    }
}
