//! When a probe left the product that it sat in, found by a rise that conduction cannot explain.
//! It never takes a reading away: what the probe shows stays in its curve.

use num_traits::ToPrimitive;
use rust_decimal::Decimal;

use super::gate::question::At;
use super::samples::{Line, Reading};
use crate::heat::fallen_probe::{
    self, Finding, LEAST_DIFFUSIVITY_M2_S, MOST_DIFFUSIVITY_M2_S, Rise,
};

/// By how much a probe's reading may be wrong, in [degF] (common practice, no source).
const PROBE_TOLERANCE_F: f64 = 1.0;
/// Besides each pair of readings, rises over these times are looked at, in microseconds: a fall
/// that many close readings show is small in each pair of them.
const SPANS: [At; 2] = [120_000_000, 300_000_000];

/// A rise that conduction cannot explain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fall {
    /// The last reading before it: what comes later never counts.
    pub from: At,
    /// The reading that showed it.
    pub to: At,
    /// What it showed at the first, in [degF].
    pub from_f: Decimal,
    /// The rise, in [degF].
    pub seen_f: f64,
    /// The highest air temperature until then, in [degF].
    pub air_f: f64,
    /// The most at the least and at the greatest diffusivity thinkable, in [degF].
    pub most_f: [f64; 2],
    /// The diameter of the product, in millimetres.
    pub diameter_mm: f64,
}

impl Fall {
    /// What was found and what was possible, in words.
    pub fn words(&self) -> String {
        let seconds = (self.to - self.from) as f64 / 1e6;
        let [least, most] = self.most_f;
        format!(
            "not in product: it gained {:.1} [degF] in {seconds} s; even with its surface at \
             {:.1} [degF] the core of a product of {} mm could gain only about {least:.0} [degF] \
             (first conduction mode, 1.37e-7 m2/s), {most:.0} [degF] at 2.0e-7 m2/s",
            self.seen_f, self.air_f, self.diameter_mm
        )
    }
}

/// The first fall of a probe in a product of `diameter_mm`, by the highest temperature that any
/// probe in the air has shown until then; nothing where no air was watched.
pub fn find(line: &Line, air: &[Line], diameter_mm: f64) -> Option<Fall> {
    let readings = line.readings();
    let mut air = Highest::of(air);
    let mut starts = [0; SPANS.len()];
    for (at, later) in readings.iter().enumerate().skip(1) {
        let air_f = air.until(later.at)?;
        for (start, span) in starts.iter_mut().zip(SPANS) {
            while readings[*start].at < later.at.saturating_sub(span) {
                *start += 1;
            }
        }
        let earlier = [starts[1], starts[0], at - 1];
        let falls = earlier.into_iter().filter(|start| *start < at);
        let mut falls = falls.filter_map(|start| fall(&readings[start], later, air_f, diameter_mm));
        // The shortest rise tells best when it began.
        if let Some(found) = falls.next_back() {
            return Some(whole(found, &readings[at..], air, diameter_mm));
        }
    }
    None
}

/// The same fall over as much of the first span as shows it: a longer rise says more.
fn whole(found: Fall, later: &[Reading], mut air: Highest<'_>, diameter_mm: f64) -> Fall {
    let start = Reading { at: found.from, lowest_f: found.from_f, highest_f: found.from_f };
    let within = later.iter().take_while(|r| r.at <= found.from.saturating_add(SPANS[0]));
    let mut longest = found;
    for reading in within {
        let Some(air_f) = air.until(reading.at) else { break };
        longest = fall(&start, reading, air_f, diameter_mm).unwrap_or(longest);
    }
    longest
}

fn fall(earlier: &Reading, later: &Reading, air_f: f64, diameter_mm: f64) -> Option<Fall> {
    let rise = Rise {
        from_f: float(earlier.highest_f),
        to_f: float(later.lowest_f),
        interval_s: (later.at - earlier.at) as f64 / 1e6,
        surface_f: air_f,
        tolerance_f: PROBE_TOLERANCE_F,
    };
    let found = fallen_probe::judge(&rise, diameter_mm);
    if found.finding != Finding::NotInProduct {
        return None;
    }
    let bare = Rise { tolerance_f: 0.0, ..rise };
    let most = |diffusivity| fallen_probe::most_rise_f(&bare, diameter_mm, diffusivity);
    let most_f = [LEAST_DIFFUSIVITY_M2_S, MOST_DIFFUSIVITY_M2_S].map(most);
    let (from, to) = (earlier.at, later.at);
    Some(Fall {
        from,
        to,
        from_f: earlier.highest_f,
        seen_f: found.seen_f,
        air_f,
        most_f,
        diameter_mm,
    })
}

fn float(value: Decimal) -> f64 {
    value.to_f64().unwrap_or(f64::NAN)
}

/// The highest air temperature until an instant that only moves on.
struct Highest<'a> {
    lines: Vec<&'a [Reading]>,
    highest_f: Option<f64>,
}

impl<'a> Highest<'a> {
    fn of(air: &'a [Line]) -> Self {
        Self { lines: air.iter().map(Line::readings).collect(), highest_f: None }
    }

    /// Between two readings the air may already have been as the later one shows it.
    fn until(&mut self, at: At) -> Option<f64> {
        for line in &mut self.lines {
            while let Some((first, rest)) = line.split_first() {
                let value = float(first.highest_f);
                self.highest_f = Some(self.highest_f.map_or(value, |highest| highest.max(value)));
                if first.at > at {
                    break;
                }
                *line = rest;
            }
        }
        self.highest_f
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples::Block;
    use super::*;
    use crate::units::Unit;

    fn line(samples: &[(i64, &str)]) -> Line {
        let decimal = |text| crate::exact::decimal(text).expect("a decimal");
        let samples = samples.iter().map(|(t, v)| (Decimal::from(*t), decimal(v))).collect();
        let block =
            Block { begun_at: 0, samples, unit: Unit::Fahrenheit, correction: Decimal::ZERO };
        Line::of([&block]).expect("a line")
    }

    const AIR: [(i64, &str); 4] = [(0, "150"), (599, "150"), (600, "170"), (9000, "170")];

    #[test]
    fn a_probe_that_gains_28_degrees_in_two_minutes_has_left_the_product() {
        // A 26 mm link: about 14 and 18 [degF] by the first mode of a long cylinder (Carslaw and
        // Jaeger, Conduction of Heat in Solids, ch. 7), the diffusivities as fallen_probe names.
        let probe = line(&[(0, "129.0"), (720, "138.0"), (840, "166.0"), (1800, "168.5")]);
        let found = find(&probe, &[line(&AIR)], 26.0).expect("a fall");
        assert_eq!((found.from, found.to), (720_000_000, 840_000_000));
        let words = found.words();
        for part in ["28.0 [degF] in 120 s", "170.0 [degF]", "26 mm", "about 14 ", ", 18 [degF]"] {
            assert!(words.contains(part), "{part}: {words}");
        }
        assert_eq!(find(&probe, &[], 26.0), None, "without air nothing bounds the rise");
    }

    #[test]
    fn the_whole_fall_is_told_once_it_was_seen() {
        let early = [(0, "129.0"), (720, "138.0"), (780, "152.0"), (840, "166.0"), (900, "167")];
        let found = find(&line(&early[..3]), &[line(&AIR)], 26.0).expect("a fall");
        assert_eq!((found.from, found.to), (720_000_000, 780_000_000));
        let found = find(&line(&early), &[line(&AIR)], 26.0).expect("a fall");
        assert_eq!((found.from, found.to), (720_000_000, 840_000_000));
        assert!(found.words().contains("about 14 "), "{}", found.words());
    }

    #[test]
    fn a_fall_is_found_however_close_the_readings_are() {
        let before = (0..72).map(|at| (at * 10, 1290 + at * 5 / 4));
        let during = (0..=12).map(|at| (720 + at * 10, 1380 + at * 280 / 12));
        let texts: Vec<(i64, String)> = before
            .chain(during)
            .map(|(t, tenths)| (t, format!("{}.{}", tenths / 10, tenths % 10)))
            .collect();
        let samples: Vec<(i64, &str)> = texts.iter().map(|(t, v)| (*t, v.as_str())).collect();
        let found = find(&line(&samples), &[line(&AIR)], 26.0).expect("a fall");
        assert!((600_000_000..=730_000_000).contains(&found.from), "{found:?}");
    }

    #[test]
    fn a_slow_rise_and_the_noise_of_a_probe_are_no_fall() {
        let noisy =
            line(&[(0, "40.0"), (600, "96.0"), (610, "96.9"), (620, "95.8"), (3600, "150")]);
        assert_eq!(find(&noisy, &[line(&AIR)], 50.0), None);
    }
}
