//! A curve in tenths of a degree at a steady interval, one byte a reading, and its lethality fast.
//! It never judges: it recomputes thousands of stored cooks; verdicts come from the exact curves.

use super::model::{Model, Rates};

/// A byte that no difference uses: the two bytes after it are the reading itself, low byte first.
const ESCAPE: u8 = 0x80;
/// Lowest and highest reading of a working sensor, -30 and 200 Cel, in tenths of [degF].
const LEAST: i16 = -220;
const MOST: i16 = 3920;
/// Readings summed into sums of their own, so that one addition need not wait for the last.
const LANES: usize = 8;

/// Readings in tenths of [degF]: the first, then one byte each, the difference to the one before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TenthsCurve {
    first: i16,
    /// Differences and escapes.
    bytes: Vec<u8>,
}

impl TenthsCurve {
    /// Packs readings in tenths of [degF]; nothing when there is none or one lies outside -30 to
    /// 200 Cel.
    pub fn pack(readings: &[i16]) -> Option<Self> {
        let (&first, rest) = readings.split_first()?;
        if readings.iter().any(|reading| !(LEAST..=MOST).contains(reading)) {
            return None;
        }
        let mut bytes = Vec::with_capacity(rest.len());
        let mut last = first;
        for &reading in rest {
            match i8::try_from(reading - last) {
                Ok(difference) if difference != i8::MIN => bytes.push(difference as u8),
                _ => {
                    bytes.push(ESCAPE);
                    bytes.extend(reading.to_le_bytes());
                }
            }
            last = reading;
        }
        Some(Self { first, bytes })
    }

    /// A curve from its first reading and its bytes, as stored. What is damaged shows when it is
    /// read: no number comes out.
    pub fn from_parts(first: i16, bytes: Vec<u8>) -> Self {
        Self { first, bytes }
    }

    /// The first reading.
    pub fn first(&self) -> i16 {
        self.first
    }

    /// Every byte after the first reading.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The readings in tenths of [degF]; nothing when an escape lacks its reading.
    pub fn unpack(&self) -> Option<Vec<i16>> {
        let mut readings = vec![self.first];
        let (mut last, mut bytes) = (self.first, self.bytes.as_slice());
        while let Some((&byte, rest)) = bytes.split_first() {
            bytes = rest;
            last = if byte == ESCAPE {
                let (reading, rest) = rest.split_first_chunk::<2>()?;
                bytes = rest;
                i16::from_le_bytes(*reading)
            } else {
                last.wrapping_add(i16::from(byte as i8))
            };
            readings.push(last);
        }
        Some(readings)
    }
}

/// Lethal rates of every tenth of a degree by one model, and the mean rate of every slope.
#[derive(Clone, Debug)]
pub struct RateTable {
    model: Rates,
    /// By reading less `least`, in tenths, as an unsigned number; no number outside a sensor's
    /// range, 0 below the floor.
    rates: Box<[f64; 1 << 16]>,
    /// By difference in tenths as an unsigned byte: the mean rate of a piece per rate at its begin.
    slopes: Box<[f64; 1 << 8]>,
    /// Nothing below counts, in tenths; not always a whole one.
    floor_tenths: f64,
    /// The least whole tenth that counts.
    least: i16,
}

impl RateTable {
    /// The table of a model; nothing when a rate is beyond what a float can hold.
    pub fn new(model: &Model) -> Option<Self> {
        let floor = model.floor_f.as_ref().map_or(f64::NEG_INFINITY, |f| f.to_f64() * 10.0);
        let floor_tenths = floor.clamp(f64::from(LEAST), f64::from(MOST) + 1.0);
        let mut table = Self {
            model: model.rates(),
            rates: vec![f64::NAN; 1 << 16].into_boxed_slice().try_into().ok()?,
            slopes: vec![1.0; 1 << 8].into_boxed_slice().try_into().ok()?,
            floor_tenths,
            least: floor_tenths.ceil() as i16,
        };
        for tenths in LEAST..=MOST {
            let rate = if tenths < table.least { 0.0 } else { table.rate(f64::from(tenths)) };
            let at = table.place(tenths);
            table.rates[at] = rate;
        }
        for difference in i8::MIN..=i8::MAX {
            let slope = mean_of_slope(table.model.growth(f64::from(difference) / 10.0));
            table.slopes[usize::from(difference as u8)] = slope;
        }
        let in_range = |tenths: i16| table.rates[table.place(tenths)].is_finite();
        let finite = (LEAST..=MOST).all(in_range) && table.slopes.iter().all(|s| s.is_finite());
        finite.then_some(table)
    }

    /// Seconds at the reference that a curve did, in closed form over each straight piece, with
    /// `interval_s` from reading to reading. The order of every addition is fixed, so that the same
    /// curve gives the same bits. Nothing for a damaged curve.
    pub fn equivalent_s(&self, curve: &TenthsCurve, interval_s: f64) -> Option<f64> {
        let above = i32::from(curve.first) - i32::from(self.least);
        let mut walk = Walk { table: self, above, sums: [0.0; LANES] };
        let mut bytes = curve.bytes.as_slice();
        while let Some((block, rest)) = bytes.split_first_chunk::<LANES>() {
            if holds_escape(block) || !walk.block(block) {
                // Past the byte that needs care at least, for it lies among these.
                let stop = bytes.len().saturating_sub(LANES);
                while bytes.len() > stop {
                    bytes = walk.step(bytes)?;
                }
            } else {
                bytes = rest;
            }
        }
        while !bytes.is_empty() {
            bytes = walk.step(bytes)?;
        }
        let [a, b, c, d, e, f, g, h] = walk.sums;
        let sum = (((a + b) + (c + d)) + ((e + f) + (g + h))) * interval_s;
        let last_is_sound = self.rates[place(walk.above)].is_finite();
        (sum.is_finite() && last_is_sound).then_some(sum)
    }

    fn place(&self, tenths: i16) -> usize {
        place(i32::from(tenths) - i32::from(self.least))
    }

    fn rate(&self, tenths: f64) -> f64 {
        self.model.at(tenths / 10.0)
    }

    /// The mean rate of any piece, through the floor or not, with a difference of any size.
    fn mean_rate(&self, from: i32, to: i32) -> f64 {
        let (from, to) = (from + i32::from(self.least), to + i32::from(self.least));
        let range = i32::from(LEAST)..=i32::from(MOST);
        if !range.contains(&from) || !range.contains(&to) {
            return f64::NAN;
        }
        let (low, high) = (f64::from(from.min(to)), f64::from(from.max(to)));
        if high < self.floor_tenths {
            return 0.0;
        }
        let counted = low.max(self.floor_tenths);
        let share = if high > low { (high - counted) / (high - low) } else { 1.0 };
        let fall = self.model.growth((counted - high) / 10.0);
        share * self.rate(high) * mean_of_slope(fall)
    }
}

/// The mean of `e^s` for s from 0 to `growth`.
fn mean_of_slope(growth: f64) -> f64 {
    if growth == 0.0 { 1.0 } else { libm::expm1(growth) / growth }
}

/// True when one of eight bytes is [`ESCAPE`].
fn holds_escape(block: &[u8; LANES]) -> bool {
    let zero_where_escape = u64::from_le_bytes(*block) ^ u64::from_le_bytes([ESCAPE; LANES]);
    let ones = u64::from_le_bytes([1; LANES]);
    let tops = u64::from_le_bytes([0x80; LANES]);
    zero_where_escape.wrapping_sub(ones) & !zero_where_escape & tops != 0
}

/// Where the rate of a reading stands, by its tenths above the least that counts.
fn place(above: i32) -> usize {
    usize::from(above as u16)
}

struct Walk<'a> {
    table: &'a RateTable,
    /// The present reading, in tenths above the least that counts.
    above: i32,
    sums: [f64; LANES],
}

impl Walk<'_> {
    /// Adds eight pieces; adds nothing and says so when one of them goes through the floor.
    #[inline(always)]
    fn block(&mut self, block: &[u8; LANES]) -> bool {
        let table = self.table;
        let mut above = self.above;
        let mut parts = [0.0; LANES];
        // Readings on both sides of the floor differ in sign, and so do these two at last.
        let (mut any, mut all) = (above, above);
        for lane in 0..LANES {
            parts[lane] = table.rates[place(above)] * table.slopes[usize::from(block[lane])];
            above += i32::from(block[lane] as i8);
            any |= above;
            all &= above;
        }
        if (any ^ all) < 0 {
            return false;
        }
        for (sum, part) in self.sums.iter_mut().zip(parts) {
            *sum += part;
        }
        self.above = above;
        true
    }

    /// Adds one piece, whatever it is, and gives the bytes after it; nothing when they are damaged
    /// or there is none.
    fn step<'b>(&mut self, bytes: &'b [u8]) -> Option<&'b [u8]> {
        let table = self.table;
        let (&byte, rest) = bytes.split_first()?;
        let (next, rest) = if byte == ESCAPE {
            let (reading, rest) = rest.split_first_chunk::<2>()?;
            (i32::from(i16::from_le_bytes(*reading)) - i32::from(table.least), rest)
        } else {
            (self.above + i32::from(byte as i8), rest)
        };
        let one_sided = (self.above < 0) == (next < 0);
        self.sums[0] += match one_sided && byte != ESCAPE {
            true => table.rates[place(self.above)] * table.slopes[usize::from(byte)],
            false => table.mean_rate(self.above, next),
        };
        self.above = next;
        Some(rest)
    }
}
