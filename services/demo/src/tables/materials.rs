//! What the plant buys: of whom, how it comes, and the week's sixty receivings.
//! It never says what becomes of it; the formulas of the products do.

/// How a material is received and watched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    /// Meat and dairy, whose temperature is a critical limit.
    Chilled,
    /// Spices, cure, casings.
    Dry,
    /// What touches the product and needs no cook.
    Packaging,
}

/// A material.
pub struct Material {
    /// As it is named in records.
    pub name: &'static str,
    /// The supplier, by its place in the table.
    pub supplier: usize,
    /// How the supplier's lots begin.
    pub lots: &'static str,
    pub sort: Sort,
    /// Days from receiving to the last day of use.
    pub keeps_days: i32,
}

const fn of(
    name: &'static str,
    supplier: usize,
    lots: &'static str,
    sort: Sort,
    keeps_days: i32,
) -> Material {
    Material { name, supplier, lots, sort, keeps_days }
}

pub const PORK_TRIM: &str = "Pork trim 72/28";
pub const PORK_SHOULDER: &str = "Pork shoulder, boneless";
pub const BEEF_TRIM: &str = "Beef trim 85/15";
pub const TURKEY_THIGH: &str = "Turkey thigh, boneless";
pub const CHEESE: &str = "Cheddar cubes, high melt";
pub const SALT: &str = "Salt, fine";
pub const SUGAR: &str = "Cane sugar";
pub const PEPPER: &str = "Black pepper, ground";
pub const GARLIC: &str = "Garlic, granulated";
pub const MARJORAM: &str = "Marjoram, rubbed";
pub const SAGE: &str = "Sage, rubbed";
pub const CURE: &str = "Cure mix, 6.25 % sodium nitrite";
pub const ERYTHORBATE: &str = "Sodium erythorbate";
pub const HOG_CASING: &str = "Hog casings 32-35 mm, salted";
pub const COLLAGEN: &str = "Collagen casings 26 mm";
pub const BEEF_MIDDLE: &str = "Beef middles 60 mm, salted";
pub const CELLULOSE: &str = "Cellulose casings 25 mm, peelable";
pub const FILM: &str = "Printed film";
pub const CARTONS: &str = "Cartons";

/// Every material.
pub static MATERIALS: [Material; 19] = [
    of(PORK_TRIM, 0, "HR", Sort::Chilled, 6),
    of(PORK_SHOULDER, 1, "TV", Sort::Chilled, 6),
    of(BEEF_TRIM, 2, "BB", Sort::Chilled, 7),
    of(TURKEY_THIGH, 3, "WT", Sort::Chilled, 7),
    of(CHEESE, 4, "FD", Sort::Chilled, 60),
    of(SALT, 5, "SS", Sort::Dry, 700),
    of(SUGAR, 5, "SS", Sort::Dry, 700),
    of(PEPPER, 5, "SS", Sort::Dry, 700),
    of(GARLIC, 5, "SS", Sort::Dry, 540),
    of(MARJORAM, 5, "SS", Sort::Dry, 540),
    of(SAGE, 5, "SS", Sort::Dry, 540),
    of(CURE, 5, "CM", Sort::Dry, 700),
    of(ERYTHORBATE, 5, "SS", Sort::Dry, 540),
    of(HOG_CASING, 6, "LC", Sort::Dry, 180),
    of(COLLAGEN, 6, "LC", Sort::Dry, 540),
    of(BEEF_MIDDLE, 6, "LC", Sort::Dry, 180),
    of(CELLULOSE, 6, "LC", Sort::Dry, 700),
    of(FILM, 7, "OP", Sort::Packaging, 700),
    of(CARTONS, 7, "OP", Sort::Packaging, 700),
];

/// A receiving: the day of the week from 0, the time, what, how many pounds.
pub type Receiving = (usize, &'static str, &'static str, i64);

/// What comes every day.
const DAILY: [(&str, &str, i64); 6] = [
    ("05:00", PORK_TRIM, 1120),
    ("05:06", PORK_TRIM, 1080),
    ("05:14", PORK_SHOULDER, 1260),
    ("05:22", BEEF_TRIM, 1020),
    ("05:30", TURKEY_THIGH, 400),
    ("05:36", CHEESE, 42),
];

/// What comes on one day: on the first the dry store is filled.
const SINGLE: [Receiving; 30] = [
    (0, "05:38", SALT, 400),
    (0, "05:39", SUGAR, 150),
    (0, "05:40", PEPPER, 100),
    (0, "05:41", GARLIC, 100),
    (0, "05:42", MARJORAM, 60),
    (0, "05:43", CURE, 55),
    (0, "05:44", ERYTHORBATE, 25),
    (0, "05:45", HOG_CASING, 130),
    (0, "05:46", COLLAGEN, 60),
    (0, "05:47", BEEF_MIDDLE, 60),
    (0, "05:48", CELLULOSE, 40),
    (0, "05:49", FILM, 220),
    (0, "05:50", CARTONS, 600),
    (0, "05:51", SAGE, 20),
    (1, "07:40", SALT, 250),
    (1, "07:42", HOG_CASING, 110),
    (1, "07:44", PEPPER, 50),
    (1, "09:25", CARTONS, 600),
    (2, "07:35", CURE, 25),
    (2, "07:37", GARLIC, 50),
    (2, "07:39", SUGAR, 100),
    (2, "09:30", FILM, 180),
    (3, "07:45", MARJORAM, 30),
    (3, "07:47", HOG_CASING, 120),
    (3, "07:49", BEEF_MIDDLE, 40),
    (3, "09:20", CARTONS, 600),
    (4, "07:30", SALT, 250),
    (4, "07:32", COLLAGEN, 40),
    (4, "07:34", CELLULOSE, 30),
    (4, "09:15", FILM, 180),
];

/// The receivings of a week of so many days, in the order of the table.
pub fn receivings(days: usize) -> Vec<Receiving> {
    let daily = (0..days).flat_map(|day| DAILY.map(|(at, what, lb)| (day, at, what, lb)));
    daily.chain(SINGLE.into_iter().filter(|one| one.0 < days)).collect()
}

/// The material of this name.
pub fn material(name: &str) -> &'static Material {
    MATERIALS.iter().find(|material| material.name == name).unwrap_or(&MATERIALS[0])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_whole_week_has_sixty_receivings_of_known_materials() {
        let all = receivings(5);
        assert_eq!(all.len(), 60);
        assert!(all.iter().all(|one| material(one.2).name == one.2));
    }
}
