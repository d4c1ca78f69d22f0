//! A link as a long cylinder in rings: heat comes through its surface, water leaves by it.
//! It never knows a programme; it is told what air stands around it, minute by minute.
//!
//! The surface takes heat by convection and gives it off by evaporation, by the equation of the
//! psychrometer (ASHRAE Handbook, Fundamentals, chapter 1): a wet surface tends to the wet bulb,
//! and the core stalls there. Diffusivity and conductivity are of a common sausage mixture (Choi
//! and Okos 1986); film coefficients and the drying of the surface are from memory, fitted so that
//! hog casing loses about a tenth of its weight.

use domain::process::air;

/// Rings of the cylinder.
const RINGS: usize = 10;
/// Thermal diffusivity, m2/s.
const DIFFUSIVITY_M2_S: f64 = 1.37e-7;
/// Thermal conductivity, W/m K.
const CONDUCTIVITY_W_MK: f64 = 0.455;
/// Density, kg/m3.
const DENSITY_KG_M3: f64 = 1026.0;
/// The psychrometer's coefficient at the pressure of 420 ft of altitude, Pa/K.
const PSYCHROMETER_PA_K: f64 = 65.5;
/// Heat of evaporation about 45 Cel, J/kg.
const LATENT_J_KG: f64 = 2.39e6;
/// The part of its weight that a surface gives off until it is a third as wet.
const DRYING: f64 = 0.04;
/// How wet a surface stays.
const DRY_WETNESS: f64 = 0.1;
/// The most water that condenses on a cold link before it drips, as a part of its weight.
const DRIP: f64 = 0.004;
/// Fourier number of a ring in one step: explicit steps are stable below a half.
const STEP_FOURIER: f64 = 0.2;

/// What stands around a link.
#[derive(Clone, Copy, Debug)]
pub struct Around {
    /// [degF]
    pub dry_bulb_f: f64,
    /// [degF]
    pub wet_bulb_f: f64,
    /// W/m2 K.
    pub film_w_m2k: f64,
    /// How wet the surface is, from 0 to 1; nothing: as it has dried.
    pub wetness: Option<f64>,
}

/// A link.
#[derive(Clone, Debug)]
pub struct Link {
    diameter_m: f64,
    rings_c: [f64; RINGS],
    /// The part of its weight that it has given off.
    pub lost: f64,
}

impl Link {
    /// A link at one temperature.
    pub fn new(diameter_mm: f64, at_f: f64) -> Self {
        Self { diameter_m: diameter_mm / 1000.0, rings_c: [celsius(at_f); RINGS], lost: 0.0 }
    }

    /// The core, in [degF].
    pub fn core_f(&self) -> f64 {
        fahrenheit(self.rings_c[0])
    }

    /// Lets so many seconds pass.
    pub fn pass(&mut self, seconds: f64, around: &Around) {
        let ring_m = self.diameter_m / 2.0 / RINGS as f64;
        let longest_s = STEP_FOURIER * ring_m * ring_m / DIFFUSIVITY_M2_S;
        let steps = (seconds / longest_s).ceil().max(1.0);
        for _ in 0..steps as usize {
            self.step(seconds / steps, ring_m, around);
        }
    }

    fn step(&mut self, seconds: f64, ring_m: f64, around: &Around) {
        let outer = CONDUCTIVITY_W_MK / (ring_m / 2.0);
        let (surface_c, given_off_w_m2) = self.surface(outer, around);
        let kilograms_m2 = given_off_w_m2 / LATENT_J_KG * seconds;
        let lost = self.lost + kilograms_m2 * 4.0 / (self.diameter_m * DENSITY_KG_M3);
        self.lost = lost.max(-DRIP);
        let before = self.rings_c;
        let capacity = CONDUCTIVITY_W_MK / DIFFUSIVITY_M2_S;
        for ring in 0..RINGS {
            let (inside_m, outside_m) = (ring as f64 * ring_m, (ring + 1) as f64 * ring_m);
            let flow = |r_m: f64, warm_c: f64, cold_c: f64| {
                CONDUCTIVITY_W_MK * r_m * (warm_c - cold_c) / ring_m
            };
            let inner = match ring {
                0 => 0.0,
                ring => flow(inside_m, before[ring - 1], before[ring]),
            };
            let outer = match before.get(ring + 1) {
                Some(next) => flow(outside_m, *next, before[ring]),
                None => outside_m * outer * (surface_c - before[ring]),
            };
            let volume = (outside_m * outside_m - inside_m * inside_m) / 2.0;
            self.rings_c[ring] += seconds * (inner + outer) / (capacity * volume);
        }
    }

    /// The temperature of the surface, at which all heat that comes goes on, and the heat that
    /// evaporation takes (negative where water condenses), by a few steps of Newton.
    fn surface(&self, outer: f64, around: &Around) -> (f64, f64) {
        let (dry_c, wet_c) = (celsius(around.dry_bulb_f), celsius(around.wet_bulb_f));
        let vapour_pa = air::saturation_pressure_pa(wet_c) - PSYCHROMETER_PA_K * (dry_c - wet_c);
        let dried = || DRY_WETNESS + (1.0 - DRY_WETNESS) * (-self.lost.max(0.0) / DRYING).exp();
        let wetness = around.wetness.unwrap_or_else(dried);
        let film = around.film_w_m2k;
        let given_off = |surface_c: f64| {
            let excess_pa = air::saturation_pressure_pa(surface_c) - vapour_pa;
            let wetness = if excess_pa > 0.0 || wetness == 0.0 { wetness } else { 1.0 };
            wetness * film * excess_pa / PSYCHROMETER_PA_K
        };
        let last_c = self.rings_c[RINGS - 1];
        let mut surface_c = last_c;
        for _ in 0..4 {
            let taken = film * (dry_c - surface_c) - given_off(surface_c);
            let surplus = taken - outer * (surface_c - last_c);
            let steeper = (given_off(surface_c + 0.05) - given_off(surface_c)) / 0.05;
            surface_c += surplus / (film + outer + steeper.max(0.0));
        }
        (surface_c, given_off(surface_c))
    }
}

/// [degF] as Cel.
fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

/// Cel as [degF].
fn fahrenheit(celsius: f64) -> f64 {
    celsius * 1.8 + 32.0
}

#[cfg(test)]
mod tests {
    use domain::process::conduction::{Conduction, Place, Step};
    use domain::process::cylinder::Surface;

    use super::*;

    const AIR: Around =
        Around { dry_bulb_f: 150.0, wet_bulb_f: 112.0, film_w_m2k: 22.0, wetness: None };

    /// Dry, in one medium, the rings do what the closed series of a cylinder does.
    #[test]
    fn a_dry_link_warms_as_the_series_of_a_cylinder_says() {
        let air = Around { dry_bulb_f: 176.0, wetness: Some(0.0), film_w_m2k: 25.0, ..AIR };
        let mut link = Link::new(36.0, 39.2);
        let surface = Surface::of_film(25.0, 0.036, CONDUCTIVITY_W_MK);
        let rate_per_s = DIFFUSIVITY_M2_S / (0.018 * 0.018);
        let steps = [Step { duration_s: 7200.0, medium_c: 80.0, surface }];
        let series = Conduction::new(rate_per_s, 4.0, &steps, 64);
        for minute in 1..=120 {
            link.pass(60.0, &air);
            let exact_f = fahrenheit(series.at(f64::from(minute) * 60.0, Place::Core));
            assert!((link.core_f() - exact_f).abs() < 0.6, "{minute}: {} {exact_f}", link.core_f());
        }
    }

    #[test]
    fn a_wet_link_stalls_at_the_wet_bulb_and_a_dried_one_climbs() {
        let mut wet = Link::new(33.0, 40.0);
        wet.pass(3600.0 * 3.0, &Around { wetness: Some(1.0), ..AIR });
        assert!((wet.core_f() - AIR.wet_bulb_f).abs() < 0.5, "{}", wet.core_f());
        let mut drying = Link::new(33.0, 40.0);
        drying.pass(3600.0 * 2.0, &AIR);
        assert!(drying.core_f() > AIR.wet_bulb_f + 3.0 && drying.core_f() < AIR.dry_bulb_f);
        assert!((0.05..0.13).contains(&drying.lost), "{}", drying.lost);
    }

    #[test]
    fn water_condenses_on_a_cold_link_and_drips() {
        let mut link = Link::new(33.0, 36.0);
        link.pass(300.0, &AIR);
        assert!(link.lost < 0.0 && link.lost >= -DRIP, "{}", link.lost);
    }
}
