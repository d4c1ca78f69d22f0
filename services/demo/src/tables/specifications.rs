//! What the makers of the plant's materials state of them, all invented and plausible.
//! It never holds what a material does not bring: a list that is left empty says that it is none.

use super::materials::{
    BEEF_MIDDLE, BEEF_TRIM, CELLULOSE, CHEESE, COLLAGEN, CURE, ERYTHORBATE, GARLIC, HOG_CASING,
    MARJORAM, PEPPER, PORK_SHOULDER, PORK_TRIM, SAGE, SALT, SUGAR, TURKEY_THIGH,
};

/// Ice and water, which no lot tracks.
pub const WATER: &str = "Ice and water";
/// Cooked product that is worked in again.
pub const REWORK: &str = "No. 1 Rope, ends and broken links";

/// A material with its specification.
pub struct Stated {
    pub name: &'static str,
    /// As the contract names kinds: meat, poultry, other, water, rework.
    pub kind: &'static str,
    /// Fat, moisture, protein and salt in grams of 100 g.
    pub composition: [&'static str; 4],
    /// A restricted ingredient that it brings, and its strength in per cent.
    pub agent: Option<(&'static str, &'static str)>,
    pub allergens: &'static [&'static str],
    /// Its words on a label; empty: nothing of it is declared.
    pub words: &'static str,
}

const fn stated(
    name: &'static str,
    kind: &'static str,
    composition: [&'static str; 4],
    words: &'static str,
) -> Stated {
    Stated { name, kind, composition, agent: None, allergens: &[], words }
}

/// Of all that goes into a batch, and of what it is stuffed into.
pub static STATED: [Stated; 19] = [
    stated(HOG_CASING, "other", ["3", "55", "12", "28"], ""),
    stated(BEEF_MIDDLE, "other", ["4", "53", "13", "28"], ""),
    stated(COLLAGEN, "other", ["0", "20", "72", "0"], ""),
    stated(CELLULOSE, "other", ["0", "8", "0", "0"], ""),
    stated(PORK_TRIM, "meat", ["27", "56", "16", "0.2"], "pork"),
    stated(PORK_SHOULDER, "meat", ["21", "61", "17", "0.2"], "pork"),
    stated(BEEF_TRIM, "meat", ["15", "66", "18.5", "0.2"], "beef"),
    stated(TURKEY_THIGH, "poultry", ["6", "74", "19.5", "0.2"], "turkey"),
    Stated {
        allergens: &["milk"],
        ..stated(
            CHEESE,
            "other",
            ["33", "37", "24", "1.8"],
            "cheddar cheese (pasteurized milk, salt, cultures, enzymes)",
        )
    },
    stated(SALT, "other", ["0", "0.2", "0", "99.5"], "salt"),
    stated(SUGAR, "other", ["0", "0.1", "0", "0"], "sugar"),
    stated(PEPPER, "other", ["3", "11", "10", "0"], "black pepper"),
    stated(GARLIC, "other", ["1", "6", "16", "0.1"], "granulated garlic"),
    stated(MARJORAM, "other", ["7", "8", "12", "0.2"], "marjoram"),
    stated(SAGE, "other", ["12", "8", "10", "0"], "sage"),
    Stated {
        agent: Some(("nitrite", "6.25")),
        ..stated(CURE, "other", ["0", "0", "0", "93.75"], "cure (salt, sodium nitrite)")
    },
    Stated {
        agent: Some(("erythorbate", "100")),
        ..stated(ERYTHORBATE, "other", ["0", "0", "0", "0"], "sodium erythorbate")
    },
    stated(WATER, "water", ["0", "100", "0", "0"], "water"),
    stated(REWORK, "rework", ["27", "54", "15", "2.1"], ""),
];
