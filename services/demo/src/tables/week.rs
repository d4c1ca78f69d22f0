//! The week's batches and loads. Days are counted back from the last, which is 0.
//! It never says at which minute a cook ends: the product does.

use super::products::{self, product};

/// Pounds of meat in a batch.
pub const BLOCK_LB: i64 = 400;
/// Racks on which a batch hangs.
pub const RACKS: usize = 3;

/// When the batches of a day are mixed: five in the morning, four after.
pub const MIXED: [&str; 9] =
    ["06:00", "06:25", "06:50", "08:20", "08:50", "11:30", "12:00", "12:30", "13:00"];

/// What is made: day before the last, the products in the order of [`MIXED`].
pub const MADE: [(usize, &[&str]); 5] = [
    (4, &["ROPE", "TURKEY", "RING", "CHEESE", "ROPE", "SKINLESS", "ROPE", "PLAIN", "PLAIN"]),
    (3, &["ROPE", "ROPE", "RING", "CHEESE", "SKINLESS", "SKINLESS", "ROPE", "PLAIN", "PLAIN"]),
    (2, &["ROPE", "TURKEY", "RING", "CHEESE", "FRESH", "SKINLESS", "ROPE", "PLAIN", "PLAIN"]),
    (1, &["ROPE", "ROPE", "RING", "CHEESE", "ROPE", "SKINLESS", "ROPE", "PLAIN", "PLAIN"]),
    (0, &["ROPE", "TURKEY", "RING", "CHEESE", "ROPE"]),
];

/// A load: what goes into a house together.
pub struct Loading {
    /// When.
    pub at: &'static str,
    pub house: &'static str,
    /// Batches by their place in [`MIXED`].
    pub batches: &'static [usize],
    /// Mixed the day before, and hung overnight in the drying cooler.
    pub overnight: bool,
}

/// The loads of a day.
pub const LOADED: [Loading; 4] = [
    Loading { at: "05:20", house: "House 2", batches: &[5, 6], overnight: true },
    Loading { at: "06:50", house: "House 3", batches: &[7, 8], overnight: true },
    Loading { at: "08:00", house: "House 1", batches: &[0, 1, 2], overnight: false },
    Loading { at: "10:20", house: "House 2", batches: &[3, 4], overnight: false },
];

/// The products of a day, by their place in the table of products.
pub fn made(days_before_last: usize) -> Vec<usize> {
    let found = MADE.iter().find(|(day, _)| *day == days_before_last);
    found.map(|(_, codes)| codes.iter().map(|code| product(code)).collect()).unwrap_or_default()
}

/// A batch of this product is cooked.
pub fn is_cooked(product: usize) -> bool {
    products::PRODUCTS[product].cook_f.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_week_makes_about_forty_batches_of_every_product() {
        let all: Vec<usize> = (0..5).flat_map(made).collect();
        assert_eq!(all.len(), 41);
        for (at, product) in products::PRODUCTS.iter().enumerate() {
            assert!(all.contains(&at), "{}", product.name);
        }
        for (_, codes) in MADE {
            assert!(codes.iter().all(|code| products::PRODUCTS[product(code)].code == *code));
        }
    }
}
