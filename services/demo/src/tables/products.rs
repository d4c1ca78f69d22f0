//! The six products and the fresh one: what goes in, how each is cooked, chilled and packed.
//! It never holds a limit that the plant would not sign: each names what it rests on in its plan.

use super::materials::{
    BEEF_MIDDLE, BEEF_TRIM, CELLULOSE, CHEESE, COLLAGEN, CURE, ERYTHORBATE, GARLIC, HOG_CASING,
    MARJORAM, PEPPER, PORK_SHOULDER, PORK_TRIM, SAGE, SALT, SUGAR, TURKEY_THIGH,
};
use crate::physics::Programme;

/// Film coefficient of a cell's air between racks that stand apart, W/m2 K.
pub const APART_FILM: f64 = 4.2;
/// The same where racks are crowded.
pub const CROWDED_FILM: f64 = 2.75;

/// Hog casing: dry, smoke, colour, then steam. Schedules of the trade, rounded (from memory).
const HOG: Programme =
    &[(45, 130.0, 96.0), (80, 150.0, 114.0), (40, 162.0, 128.0), (600, 173.0, 160.0)];
/// Thin links: a shorter smoke under wetter air.
const THIN: Programme =
    &[(25, 130.0, 104.0), (45, 148.0, 120.0), (35, 160.0, 134.0), (600, 172.0, 162.0)];
/// Rings and mixed loads.
const THICK: Programme =
    &[(50, 130.0, 97.0), (75, 150.0, 114.0), (55, 164.0, 131.0), (600, 174.0, 159.0)];

/// A product.
pub struct Product {
    /// Short, for the tables.
    pub code: &'static str,
    /// As it stands in records and on the label.
    pub name: &'static str,
    pub species: &'static [&'static str],
    /// Of the link as it is cooked.
    pub diameter_mm: f64,
    /// The cook's limit; nothing: sold uncooked.
    pub cook_f: Option<f64>,
    /// The cooling option of its plan.
    pub chill: &'static str,
    pub cured: bool,
    /// How often somebody must look at its cook, in seconds.
    pub every_s: Option<i32>,
    /// The meat block: material and percent.
    pub block: &'static [(&'static str, i64)],
    /// Added in the mixer: material and pounds on 100 lb of meat.
    pub added: &'static [(&'static str, i64)],
    /// The kit: material and thousandths of a pound on 100 lb of meat.
    pub kit: &'static [(&'static str, i64)],
    /// Ice and water, in pounds on 100 lb of meat.
    pub water_lb: i64,
    pub casing: &'static str,
    pub programme: Programme,
    /// Minutes under the shower; none: air alone.
    pub shower_min: i64,
    /// Read by hand; otherwise a logger hangs in one rack.
    pub by_hand: bool,
    /// The line that packs it, 1 or 2.
    pub line: usize,
}

/// Cured kits: 0.245 lb of cure mix on 100 lb is 153.1 ppm of nitrite, of 156 (9 CFR 424.21(c)).
const CURED_KIT: &[(&str, i64)] = &[
    (SALT, 1900),
    (CURE, 245),
    (SUGAR, 300),
    (PEPPER, 200),
    (GARLIC, 300),
    (MARJORAM, 150),
    (ERYTHORBATE, 52),
];
const PLAIN_KIT: &[(&str, i64)] =
    &[(SALT, 1800), (SUGAR, 250), (PEPPER, 250), (GARLIC, 350), (MARJORAM, 200)];
const FRESH_KIT: &[(&str, i64)] = &[(SALT, 1600), (SUGAR, 300), (PEPPER, 250), (SAGE, 180)];

const ROPE: Product = Product {
    code: "ROPE",
    name: "No. 1 Rope",
    species: &["pork", "beef"],
    diameter_mm: 34.0,
    cook_f: Some(155.0),
    chill: "cooling_option_3",
    cured: true,
    every_s: None,
    block: &[(PORK_TRIM, 70), (BEEF_TRIM, 30)],
    added: &[],
    kit: CURED_KIT,
    water_lb: 10,
    casing: HOG_CASING,
    programme: HOG,
    shower_min: 10,
    by_hand: false,
    line: 1,
};

/// Every product, in the order of their numbers.
pub static PRODUCTS: [Product; 7] = [
    ROPE,
    Product {
        code: "PLAIN",
        name: "No. 2 Plain Link",
        species: &["pork"],
        cook_f: Some(158.0),
        chill: "cooling_option_1",
        cured: false,
        block: &[(PORK_SHOULDER, 100)],
        kit: PLAIN_KIT,
        water_lb: 8,
        shower_min: 0,
        by_hand: true,
        line: 2,
        ..ROPE
    },
    Product {
        code: "TURKEY",
        name: "No. 3 Turkey Link",
        species: &["turkey", "pork"],
        diameter_mm: 26.0,
        block: &[(TURKEY_THIGH, 85), (PORK_TRIM, 15)],
        casing: COLLAGEN,
        programme: THIN,
        line: 2,
        ..ROPE
    },
    Product {
        code: "CHEESE",
        name: "No. 4 Cheese Link",
        species: &["pork"],
        block: &[(PORK_TRIM, 100)],
        added: &[(CHEESE, 8)],
        ..ROPE
    },
    Product {
        code: "RING",
        name: "No. 5 Ring",
        species: &["beef", "pork"],
        diameter_mm: 60.0,
        every_s: Some(1800),
        block: &[(BEEF_TRIM, 60), (PORK_TRIM, 40)],
        casing: BEEF_MIDDLE,
        programme: THICK,
        shower_min: 20,
        ..ROPE
    },
    Product {
        code: "SKINLESS",
        name: "No. 6 Skinless",
        diameter_mm: 25.0,
        cook_f: Some(158.0),
        block: &[(PORK_TRIM, 60), (BEEF_TRIM, 40)],
        casing: CELLULOSE,
        programme: THIN,
        line: 2,
        ..ROPE
    },
    Product {
        code: "FRESH",
        name: "No. 7 Fresh Link",
        species: &["pork"],
        cook_f: None,
        chill: "",
        cured: false,
        block: &[(PORK_SHOULDER, 100)],
        kit: FRESH_KIT,
        water_lb: 3,
        line: 2,
        ..ROPE
    },
];

/// The place of a product in the table.
pub fn product(code: &str) -> usize {
    PRODUCTS.iter().position(|product| product.code == code).unwrap_or_default()
}
