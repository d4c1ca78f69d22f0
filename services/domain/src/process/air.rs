//! Humid air: what dry bulb, wet bulb and pressure say about it, and how fast it dries a wet link.
//! It never extrapolates beyond the published range of its equations.
//!
//! Equations: ASHRAE Handbook, Fundamentals, chapter 1, after Hyland and Wexler 1983.

use super::root;

/// The rule that carries the citation of the equations of this module.
pub const RULE_ID: &str = "science.air.psychrometrics";
/// The rule that carries the citation of [`evaporation_kg_m2h`].
pub const DRYING_RULE_ID: &str = "science.air.drying-while-wet";
/// Standard pressure at sea level, Pa.
pub const STANDARD_PRESSURE_PA: f64 = 101_325.0;
/// Dry bulbs for which the equations are published, Cel.
pub const DRY_BULB_RANGE_C: (i64, i64) = (0, 200);
/// Altitudes for which the standard atmosphere is published, m.
pub const ALTITUDE_RANGE_M: (i64, i64) = (-5000, 11_000);
/// Pressures that are answered, Pa: from thin mountain air to a closed retort.
pub const PRESSURE_RANGE_PA: (i64, i64) = (10_000, 1_000_000);

const WATER: [f64; 6] =
    [-5.800_220_6e3, 1.391_499_3, -4.864_023_9e-2, 4.176_476_8e-5, -1.445_209_3e-8, 6.545_967_3];
const ICE: [f64; 7] = [
    -5.674_535_9e3,
    6.392_524_7,
    -9.677_843_0e-3,
    6.221_570_1e-7,
    2.074_782_5e-9,
    -9.484_024_0e-13,
    4.163_501_9,
];
/// Ratio of the molar masses of water and dry air.
const MASS_RATIO: f64 = 0.621_945;
const ZERO_CELSIUS_K: f64 = 273.15;
/// The lowest temperature of the equation over ice, Cel.
const LOWEST_C: f64 = -100.0;

/// The state of humid air at a dry bulb and a pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Vapour pressure over saturation pressure at the dry bulb, percent.
    pub relative_humidity_pct: f64,
    /// Thermodynamic wet bulb, Cel.
    pub wet_bulb_c: f64,
    /// Dew point (frost point below 0), Cel; nothing for air without vapour.
    pub dew_point_c: Option<f64>,
    /// Kilogram of vapour on a kilogram of dry air.
    pub humidity_ratio: f64,
    /// Saturation pressure at the dry bulb, Pa.
    pub saturation_pressure_pa: f64,
}

/// Why no air can be in the given state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Impossible {
    /// The wet bulb is so low that the air would hold less than no vapour.
    DrierThanDry,
    /// The wet bulb is not below the boiling point of water at the pressure.
    WetBulbBoils,
    /// The vapour alone would press as hard as the whole air, or harder.
    VapourAbovePressure,
}

/// Saturation pressure over water (0 to 200 Cel) or ice (-100 to 0 Cel), Pa.
pub fn saturation_pressure_pa(temperature_c: f64) -> f64 {
    let t = temperature_c + ZERO_CELSIUS_K;
    if temperature_c < 0.0 {
        let [c1, c2, c3, c4, c5, c6, c7] = ICE;
        (c1 / t + c2 + t * (c3 + t * (c4 + t * (c5 + t * c6))) + c7 * t.ln()).exp()
    } else {
        let [c8, c9, c10, c11, c12, c13] = WATER;
        (c8 / t + c9 + t * (c10 + t * (c11 + t * c12)) + c13 * t.ln()).exp()
    }
}

/// Pressure of the standard atmosphere at an altitude within [`ALTITUDE_RANGE_M`], Pa.
pub fn pressure_at_altitude_pa(altitude_m: f64) -> f64 {
    STANDARD_PRESSURE_PA * (1.0 - 2.255_77e-5 * altitude_m).powf(5.2559)
}

/// Air by its dry and wet bulb. The dry bulb lies within [`DRY_BULB_RANGE_C`], the pressure within
/// [`PRESSURE_RANGE_PA`], and the wet bulb is not above the dry bulb.
pub fn by_wet_bulb(dry_c: f64, wet_c: f64, pressure_pa: f64) -> Result<Air, Impossible> {
    if wet_c < LOWEST_C {
        return Err(Impossible::DrierThanDry);
    }
    if saturation_pressure_pa(wet_c) >= pressure_pa {
        return Err(Impossible::WetBulbBoils);
    }
    let humidity_ratio = ratio_at_wet_bulb(dry_c, wet_c, pressure_pa);
    if humidity_ratio < 0.0 {
        return Err(Impossible::DrierThanDry);
    }
    let vapour_pa = pressure_pa * humidity_ratio / (MASS_RATIO + humidity_ratio);
    let saturation_pressure_pa = saturation_pressure_pa(dry_c);
    // A wet bulb at the dry bulb is saturated air; the division may miss 100 by its last digit.
    let relative_humidity_pct = (100.0 * vapour_pa / saturation_pressure_pa).min(100.0);
    Ok(Air {
        relative_humidity_pct,
        wet_bulb_c: wet_c,
        dew_point_c: dew_point_c(dry_c, vapour_pa),
        humidity_ratio,
        saturation_pressure_pa,
    })
}

/// Air by its dry bulb and relative humidity (0 to 100 %); ranges as of [`by_wet_bulb`].
pub fn by_relative_humidity(
    dry_c: f64,
    relative_humidity_pct: f64,
    pressure_pa: f64,
) -> Result<Air, Impossible> {
    let saturation_pressure_pa = saturation_pressure_pa(dry_c);
    let vapour_pa = saturation_pressure_pa * relative_humidity_pct / 100.0;
    if vapour_pa >= pressure_pa {
        return Err(Impossible::VapourAbovePressure);
    }
    let humidity_ratio = MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa);
    Ok(Air {
        relative_humidity_pct,
        wet_bulb_c: wet_bulb_c(dry_c, humidity_ratio, pressure_pa),
        dew_point_c: dew_point_c(dry_c, vapour_pa),
        humidity_ratio,
        saturation_pressure_pa,
    })
}

/// Water given off by a surface at wet bulb, kg on a square metre in an hour.
pub fn evaporation_kg_m2h(dry_c: f64, wet_c: f64, film_w_m2k: f64) -> f64 {
    let latent_heat_j_kg = 1000.0 * (2501.0 - 2.36 * wet_c);
    3600.0 * film_w_m2k * (dry_c - wet_c) / latent_heat_j_kg
}

/// Loss of weight of a long round link whose whole surface gives off `evaporation_kg_m2h`, percent
/// in an hour.
pub fn drying_pct_per_h(evaporation_kg_m2h: f64, diameter_m: f64, density_kg_m3: f64) -> f64 {
    100.0 * evaporation_kg_m2h * 4.0 / (diameter_m * density_kg_m3)
}

/// The humidity ratio that the psychrometer equation gives; below 0 for impossible wet bulbs.
fn ratio_at_wet_bulb(dry_c: f64, wet_c: f64, pressure_pa: f64) -> f64 {
    let saturated_pa = saturation_pressure_pa(wet_c);
    let saturated = MASS_RATIO * saturated_pa / (pressure_pa - saturated_pa);
    let cooling = 1.006 * (dry_c - wet_c);
    if wet_c < 0.0 {
        ((2830.0 - 0.24 * wet_c) * saturated - cooling) / (2830.0 + 1.86 * dry_c - 2.1 * wet_c)
    } else {
        ((2501.0 - 2.326 * wet_c) * saturated - cooling) / (2501.0 + 1.86 * dry_c - 4.186 * wet_c)
    }
}

fn wet_bulb_c(dry_c: f64, humidity_ratio: f64, pressure_pa: f64) -> f64 {
    let short = |wet_c: f64| {
        if saturation_pressure_pa(wet_c) >= pressure_pa {
            return f64::INFINITY;
        }
        ratio_at_wet_bulb(dry_c, wet_c, pressure_pa) - humidity_ratio
    };
    // A wick at 0 Cel may hold water or ice; where water fits, water is meant.
    if short(0.0) <= 0.0 {
        root::rising(0.0, dry_c, short)
    } else {
        root::rising(LOWEST_C, 0.0, short)
    }
}

fn dew_point_c(dry_c: f64, vapour_pa: f64) -> Option<f64> {
    (vapour_pa >= saturation_pressure_pa(LOWEST_C))
        .then(|| root::rising(LOWEST_C, dry_c, |dew_c| saturation_pressure_pa(dew_c) - vapour_pa))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn celsius(fahrenheit: f64) -> f64 {
        (fahrenheit - 32.0) / 1.8
    }

    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "{got} is not {want} within {within}");
    }

    #[test]
    fn saturation_pressures_stand_as_published() {
        // ASHRAE Handbook, Fundamentals 2017, chapter 1, table 3.
        for (temperature_c, want_pa) in [
            (-60.0, 1.08),
            (-20.0, 103.24),
            (-5.0, 401.74),
            (5.0, 872.6),
            (25.0, 3169.7),
            (50.0, 12_351.3),
            (100.0, 101_418.0),
            (150.0, 476_101.4),
        ] {
            near(
                saturation_pressure_pa(temperature_c) / want_pa,
                1.0,
                3e-3_f64.min(0.3 / want_pa + 3e-4),
            );
        }
    }

    #[test]
    fn pressure_at_a_thousand_metres_stands_as_published() {
        // ASHRAE Handbook, Fundamentals 2017, chapter 1, table 1.
        near(pressure_at_altitude_pa(1000.0), 89_875.0, 1.0);
    }

    #[test]
    fn air_at_forty_and_twenty_stands_as_published() {
        // ASHRAE Handbook, Fundamentals 2017, chapter 1, example 1: W 0.0065, 14 %, dew point 7.
        let air = by_wet_bulb(40.0, 20.0, STANDARD_PRESSURE_PA).expect("air");
        near(air.humidity_ratio, 0.0065, 1.5e-4);
        near(air.relative_humidity_pct, 14.0, 0.5);
        near(air.dew_point_c.expect("a dew point"), 7.0, 0.5);
    }

    #[test]
    fn a_smokehouse_dries_a_wet_link_by_its_wet_bulb_depression() {
        // Plain arithmetic: 25 * (30 / 1.8) * 3600 / ((2501 - 2.36 * 54.444) * 1000) = 0.6322.
        let evaporation = evaporation_kg_m2h(celsius(160.0), celsius(130.0), 25.0);
        near(evaporation, 0.6322, 1e-4);
        near(drying_pct_per_h(evaporation, 0.036, 1026.0), 6.85, 5e-3);
    }

    #[test]
    fn impossible_air_is_refused() {
        let sea = STANDARD_PRESSURE_PA;
        assert_eq!(by_wet_bulb(90.0, 10.0, sea), Err(Impossible::DrierThanDry));
        assert_eq!(by_wet_bulb(90.0, -150.0, sea), Err(Impossible::DrierThanDry));
        assert_eq!(by_wet_bulb(120.0, 101.0, sea), Err(Impossible::WetBulbBoils));
        assert_eq!(by_relative_humidity(150.0, 50.0, sea), Err(Impossible::VapourAbovePressure));
    }

    #[test]
    fn dry_air_has_a_wet_bulb_and_no_dew_point() {
        let air = by_relative_humidity(60.0, 0.0, STANDARD_PRESSURE_PA).expect("air");
        assert_eq!((air.humidity_ratio, air.dew_point_c), (0.0, None));
        assert!(air.wet_bulb_c > 15.0 && air.wet_bulb_c < 25.0, "{}", air.wet_bulb_c);
    }

    proptest! {
        #[test]
        fn wet_bulb_and_humidity_are_inverse(
            dry_c in 0.0..200.0_f64,
            humidity_pct in 0.0..100.0_f64,
            pressure_pa in 10_000.0..1_000_000.0_f64,
        ) {
            let Ok(air) = by_relative_humidity(dry_c, humidity_pct, pressure_pa) else {
                return Ok(());
            };
            prop_assert!(air.wet_bulb_c <= dry_c);
            prop_assert!(air.dew_point_c.is_none_or(|dew_c| dew_c <= air.wet_bulb_c + 0.1));
            if let Ok(back) = by_wet_bulb(dry_c, air.wet_bulb_c, pressure_pa) {
                let off = (back.humidity_ratio - air.humidity_ratio).abs();
                prop_assert!(off <= 1e-9 + 1e-6 * air.humidity_ratio, "{back:?} {air:?}");
            }
        }

        #[test]
        fn more_humidity_means_a_higher_wet_bulb(dry_c in 1.0..99.0_f64, pct in 0.0..99.0_f64) {
            let at = |pct| by_relative_humidity(dry_c, pct, STANDARD_PRESSURE_PA).expect("air");
            prop_assert!(at(pct).wet_bulb_c < at(pct + 1.0).wet_bulb_c);
        }
    }
}
