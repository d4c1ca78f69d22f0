//! A house's programme and a cell's air, and what probes show of the links in them.
//! It never shows a tenth of a degree more than a probe could.

use super::link::{Around, Link};
use crate::ids::Chance;

/// How often a probe is read, in seconds.
pub const SAMPLE_S: i64 = 60;
/// The longest cook or chill that is followed, in minutes.
const LONGEST_MIN: i64 = 16 * 60;
/// By how much a probe trembles, in [degF].
const NOISE_F: f64 = 0.2;
/// Film coefficient of a house's moving air, W/m2 K.
const HOUSE_FILM: f64 = 20.0;
/// Film coefficient of a shower, W/m2 K.
const SHOWER_FILM: f64 = 110.0;
/// Water of a shower, [degF].
const SHOWER_F: f64 = 60.0;

/// A step of a programme: minutes, dry bulb and wet bulb in [degF]. The last goes on to the end.
pub type Step = (i64, f64, f64);

/// What a house does with a load.
pub type Programme = &'static [Step];

/// A value at a second of a curve.
pub type Shown = (i64, f64);

/// The air of a house over a cook, and what it shows.
pub fn air_at(programme: Programme, second: i64) -> (f64, f64) {
    let mut end_s = 0;
    for (minutes, dry_bulb_f, wet_bulb_f) in programme {
        end_s += minutes * 60;
        if second < end_s {
            return (*dry_bulb_f, *wet_bulb_f);
        }
    }
    programme.last().map_or((70.0, 60.0), |last| (last.1, last.2))
}

/// A cook.
#[derive(Clone, Debug)]
pub struct Cooked {
    /// What the core showed, each [`SAMPLE_S`].
    pub core: Vec<Shown>,
    /// The link at the end.
    pub link: Link,
}

impl Cooked {
    /// The second at which it ended.
    pub fn end_s(&self) -> i64 {
        self.core.last().map_or(0, |last| last.0)
    }
}

/// A link that is to be cooked.
#[derive(Clone, Copy, Debug)]
pub struct Raw {
    pub diameter_mm: f64,
    /// At which it goes in, in [degF].
    pub from_f: f64,
    /// How well the air reaches it: 1 is the mean of the house.
    pub position: f64,
}

/// Cooks a link until its core is at `until_f`, and at least for so many seconds.
pub fn cook(
    programme: Programme,
    raw: Raw,
    (until_f, least_s): (f64, i64),
    chance: &mut Chance,
) -> Cooked {
    let mut link = Link::new(raw.diameter_mm, raw.from_f);
    let mut core = vec![(0, shown(link.core_f(), chance))];
    for minute in 1..=LONGEST_MIN {
        let (dry_bulb_f, wet_bulb_f) = air_at(programme, (minute - 1) * 60);
        let film_w_m2k = HOUSE_FILM * raw.position;
        link.pass(60.0, &Around { dry_bulb_f, wet_bulb_f, film_w_m2k, wetness: None });
        core.push((minute * 60, shown(link.core_f(), chance)));
        if link.core_f() >= until_f && minute * 60 >= least_s {
            break;
        }
    }
    Cooked { core, link }
}

/// How product is chilled.
#[derive(Clone, Copy, Debug)]
pub struct Cold {
    /// Minutes under the shower.
    pub shower_min: i64,
    /// The cell's air, in [degF].
    pub air_f: f64,
    /// W/m2 K: how closely the racks stand decides.
    pub film_w_m2k: f64,
}

/// Chills a cooked link until its core is at or below `until_f`; gives what the core showed.
pub fn chill(mut link: Link, cold: &Cold, until_f: f64, chance: &mut Chance) -> Vec<Shown> {
    let mut core = vec![(0, shown(link.core_f(), chance))];
    for minute in 1..=LONGEST_MIN {
        let around = if minute <= cold.shower_min {
            let (wetness, film_w_m2k) = (Some(0.0), SHOWER_FILM);
            Around { dry_bulb_f: SHOWER_F, wet_bulb_f: SHOWER_F, film_w_m2k, wetness }
        } else {
            let (dry_bulb_f, film_w_m2k) = (cold.air_f, cold.film_w_m2k);
            Around { dry_bulb_f, wet_bulb_f: dry_bulb_f - 2.0, film_w_m2k, wetness: Some(0.12) }
        };
        link.pass(60.0, &around);
        core.push((minute * 60, shown(link.core_f(), chance)));
        if link.core_f() <= until_f {
            break;
        }
    }
    core
}

/// What a probe shows of a temperature: to a tenth, with its tremble.
pub fn shown(true_f: f64, chance: &mut Chance) -> f64 {
    (chance.near(true_f, NOISE_F) * 10.0).round() / 10.0
}

/// What a curve stands at, at a second or the last before it.
pub fn at(curve: &[Shown], second: i64) -> f64 {
    let after = curve.partition_point(|(t_s, _)| *t_s <= second);
    curve.get(after.saturating_sub(1)).map_or(0.0, |(_, value)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::products::{PRODUCTS, Product};

    fn cooked(product: &Product, position: f64) -> Cooked {
        let until_f = product.cook_f.expect("a cook") + 1.0;
        let raw = Raw { diameter_mm: product.diameter_mm, from_f: 40.0, position };
        cook(product.programme, raw, (until_f, 0), &mut Chance::new(1))
    }

    /// Hog casing takes three to four hours, and every product loses what the trade expects of it
    /// (both from memory), with its core slow where the surface stands at the wet bulb.
    #[test]
    fn every_product_is_cooked_in_hours_and_loses_a_plausible_part() {
        for product in PRODUCTS.iter().filter(|product| product.cook_f.is_some()) {
            for position in [0.9, 1.0, 1.1] {
                let cook = cooked(product, position);
                let minutes = cook.end_s() / 60;
                assert!((110..=300).contains(&minutes), "{}: {minutes} min", product.name);
                let lost = cook.link.lost;
                assert!((0.03..0.14).contains(&lost), "{}: {lost}", product.name);
                let rises = cook.core.windows(11).map(|w| (w[10].1 - w[0].1, w[0].0));
                let stall = rises.filter(|(_, t_s)| (1800..9000).contains(t_s)).map(|(r, _)| r);
                let slowest = stall.fold(f64::MAX, f64::min);
                assert!(slowest < 6.0, "{}: {slowest} in ten minutes", product.name);
            }
        }
    }

    /// FSIS Appendix B, 1999: option 1 asks 130 to 80 [degF] in 90 min and 80 to 40 in 300 min.
    #[test]
    fn racks_apart_meet_option_1_and_crowded_ones_do_not() {
        let plain = PRODUCTS.iter().find(|product| product.code == "PLAIN").expect("plain");
        let limbs_min = |film_w_m2k| {
            let cold = Cold { shower_min: 0, air_f: 32.0, film_w_m2k };
            let curve = chill(cooked(plain, 1.0).link, &cold, 40.0, &mut Chance::new(1));
            let at = |value: f64| {
                let found = curve.iter().find(|(_, shown)| *shown <= value);
                found.expect("so cold").0 / 60
            };
            (at(80.0) - at(130.0), at(40.0) - at(80.0))
        };
        let apart = limbs_min(crate::tables::products::APART_FILM);
        assert!(apart.0 < 80 && apart.1 < 250, "{apart:?}");
        let crowded = limbs_min(crate::tables::products::CROWDED_FILM);
        assert!((93..=105).contains(&crowded.0) && crowded.1 < 295, "{crowded:?}");
    }
}
