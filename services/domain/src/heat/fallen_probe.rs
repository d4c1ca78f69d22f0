//! Whether a probe that rises fast can still be in the product, by conduction.
//! It never removes a reading: it says what was possible, and a person signs what follows.

/// First zero of the Bessel function J0 (Abramowitz and Stegun, table 9.5).
const FIRST_ZERO_OF_J0: f64 = 2.404_825_557_7;
/// Least thermal diffusivity thinkable of sausage, m2/s (Choi and Okos 1986, common mixtures).
pub const LEAST_DIFFUSIVITY_M2_S: f64 = 1.37e-7;
/// Greatest thermal diffusivity thinkable of sausage, m2/s (a textbook's measured frankfurter).
pub const MOST_DIFFUSIVITY_M2_S: f64 = 2.0e-7;

/// Two successive readings of one core probe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// First reading, in [degF].
    pub from_f: f64,
    /// Next reading, in [degF].
    pub to_f: f64,
    /// Time between them, in seconds, above 0.
    pub interval_s: f64,
    /// The highest temperature that the surface can have had, in [degF]: the dry bulb, unless the
    /// house can do otherwise.
    pub surface_f: f64,
    /// By how much each reading may be wrong, in [degF], not negative.
    pub tolerance_f: f64,
}

/// What a rise says of a probe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finding {
    /// Conduction explains it even at the least diffusivity.
    Possible,
    /// It needs a diffusivity above the least thinkable: look at the probe.
    Doubtful,
    /// No thinkable diffusivity explains it: the tip is not in the product.
    NotInProduct,
}

/// A rise, and what conduction allows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RiseFinding {
    /// What it says of the probe.
    pub finding: Finding,
    /// The rise seen, in [degF].
    pub seen_f: f64,
    /// The most at the least diffusivity, in [degF].
    pub most_at_least_diffusivity_f: f64,
    /// The most at the greatest diffusivity, in [degF].
    pub most_at_most_diffusivity_f: f64,
}

/// The most that the core of a long cylinder can gain, in [degF], by the first conduction mode:
/// `(surface - core) (1 - e^(-(2.4048/r)^2 alpha t))`.
///
/// It bounds every rise under these assumptions: the product was at one temperature throughout
/// when it went in (fully mixed), its surface has never become colder since, and is never hotter
/// than `surface_f`. Then the distance of the core from `surface_f` is a sum, with weights that are
/// not negative, of responses to steps of the surface, and of none of them does the core close in
/// faster than the first mode does: the second mode has the opposite sign at the core and dies
/// first. After a cold shower, or with a tip off the centre, it proves nothing.
pub fn most_rise_f(rise: &Rise, diameter_mm: f64, diffusivity_m2_s: f64) -> f64 {
    let radius_m = diameter_mm / 2000.0;
    let mode = FIRST_ZERO_OF_J0 / radius_m;
    let closed = -libm::expm1(-mode * mode * diffusivity_m2_s * rise.interval_s);
    let coldest_core_f = rise.from_f - rise.tolerance_f;
    (rise.surface_f - coldest_core_f).max(0.0) * closed
}

/// Judges a rise in a product of `diameter_mm`; the probe is given the tolerance of both readings.
pub fn judge(rise: &Rise, diameter_mm: f64) -> RiseFinding {
    let least = most_rise_f(rise, diameter_mm, LEAST_DIFFUSIVITY_M2_S);
    let most = most_rise_f(rise, diameter_mm, MOST_DIFFUSIVITY_M2_S);
    let seen_f = rise.to_f - rise.from_f;
    let sure_f = seen_f - 2.0 * rise.tolerance_f;
    let finding = if sure_f > most {
        Finding::NotInProduct
    } else if sure_f > least {
        Finding::Doubtful
    } else {
        Finding::Possible
    };
    RiseFinding {
        finding,
        seen_f,
        most_at_least_diffusivity_f: least,
        most_at_most_diffusivity_f: most,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rise(from_f: f64, to_f: f64, interval_s: f64) -> Rise {
        Rise { from_f, to_f, interval_s, surface_f: 170.0, tolerance_f: 0.0 }
    }

    #[test]
    fn a_probe_that_gains_28_degrees_in_two_minutes_has_fallen_out() {
        // A 26 mm link with its surface at 170 [degF]: about 14 and 18 [degF] by the formula.
        let found = judge(&rise(138.0, 166.0, 120.0), 26.0);
        assert_eq!(found.finding, Finding::NotInProduct);
        assert!((found.most_at_least_diffusivity_f - 13.8).abs() < 0.05);
        assert!((found.most_at_most_diffusivity_f - 17.9).abs() < 0.05);
        assert_eq!(judge(&rise(138.0, 154.0, 120.0), 26.0).finding, Finding::Doubtful);
        assert_eq!(judge(&rise(138.0, 151.0, 120.0), 26.0).finding, Finding::Possible);
    }

    #[test]
    fn noise_at_the_surface_temperature_is_no_fall() {
        let noisy = Rise { tolerance_f: 0.5, ..rise(170.0, 170.4, 10.0) };
        assert_eq!(judge(&noisy, 26.0).finding, Finding::Possible);
    }

    /// Zeros of J0 and the coefficients of the step response at the core, 2/(zero J1(zero))
    /// (Abramowitz and Stegun, table 9.5).
    const MODES: [(f64, f64); 5] = [
        (2.404_825_557_7, 0.519_147_497_3),
        (5.520_078_110_3, -0.340_264_806_5),
        (8.653_727_912_9, 0.271_452_299_9),
        (11.791_534_439_1, -0.232_459_831_4),
        (14.930_917_708_5, 0.206_546_433_1),
    ];

    fn core_distance(fourier: f64) -> f64 {
        // Below this the five modes do not converge, and the core has not felt the step.
        if fourier < 0.02 {
            return 1.0;
        }
        let mode = |(zero, j1): (f64, f64)| 2.0 / (zero * j1) * (-zero * zero * fourier).exp();
        MODES.into_iter().map(mode).sum()
    }

    proptest! {
        /// A surface that rises in two steps from a uniform start: no rise is called impossible.
        #[test]
        fn a_possible_rise_is_never_called_impossible(
            share in 0.0f64..1.0, first in 0.03f64..1.5, wait in 0.0f64..1.5, step in 0.05f64..1.0,
        ) {
            let distance = |fourier: f64| {
                let second = if fourier > wait { core_distance(fourier - wait) } else { 1.0 };
                share * core_distance(fourier) + (1.0 - share) * second
            };
            let (before, after) = (distance(first), distance(first + step));
            // Of radius 10 mm and diffusivity 2e-7 m2/s a Fourier number of 1 is 500 s.
            let seen = Rise {
                from_f: 170.0 - 100.0 * before,
                to_f: 170.0 - 100.0 * after,
                interval_s: 500.0 * step,
                surface_f: 170.0,
                tolerance_f: 0.0,
            };
            let most = most_rise_f(&seen, 20.0, MOST_DIFFUSIVITY_M2_S);
            prop_assert!(seen.to_f - seen.from_f <= most + 1e-3, "{seen:?} {most}");
        }
    }
}
