//! Whether a rule may be used for a product: by species, form and cure.
//! It never guesses what a caller has not said; it says that it was not said.

use crate::rules::Rule;

/// Species that are meat.
pub const MEATS: [&str; 6] = ["beef", "veal", "pork", "lamb", "mutton", "goat"];
/// Species that are poultry.
pub const POULTRY: [&str; 4] = ["chicken", "turkey", "duck", "goose"];
/// Forms of a product.
pub const FORMS: [&str; 4] = ["link", "patty", "whole", "other"];

/// What is known of the product that was cooked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CookedProduct {
    /// Words of [`MEATS`] and [`POULTRY`]; empty when not stated.
    pub species: Vec<String>,
    /// Not stated is not cured.
    pub cured: bool,
    /// A word of [`FORMS`]; nothing when not stated.
    pub form: Option<String>,
}

/// Why a rule may not be used for a product; empty when it may.
pub fn reasons_against(rule: &Rule, product: &CookedProduct) -> Vec<String> {
    let mut reasons = Vec::new();
    let covered = rule.scope.species;
    for species in &product.species {
        if !covered.is_empty() && !covered.contains(&species.as_str()) {
            reasons.push(format!("{} is not written for product that holds {species}", rule.id));
        }
    }
    if let Some(needed) = rule.word("must_hold") {
        let holds = |word: &str| product.species.iter().any(|species| species == word);
        if !product.species.is_empty() && !needed.split(' ').any(holds) {
            let needed = needed.replace(' ', ", ");
            reasons.push(format!("{} is written for product that holds {needed}", rule.id));
        }
    }
    if let Some(form) = &product.form
        && !rule.scope.forms.is_empty()
        && !rule.scope.forms.contains(&form.as_str())
    {
        let forms = rule.scope.forms.join(", ");
        reasons.push(format!("{} is written for the form {forms}, not {form}", rule.id));
    }
    match rule.scope.cured {
        Some(true) if !product.cured => {
            reasons.push(format!("{} is for cured product; no cure is stated", rule.id));
        }
        Some(false) if product.cured => {
            reasons.push(format!("{} is for uncured product", rule.id));
        }
        _ => {}
    }
    reasons
}

/// What was not said of the product although the rule depends on it.
pub fn not_stated(rule: &Rule, product: &CookedProduct) -> Vec<String> {
    let mut cautions = Vec::new();
    if product.species.is_empty() && !rule.scope.species.is_empty() {
        let species = rule.scope.species.join(", ");
        cautions.push(format!("{}: species not stated; it is written for {species}.", rule.id));
    }
    if product.form.is_none() && !rule.scope.forms.is_empty() {
        let forms = rule.scope.forms.join(", ");
        cautions.push(format!("{}: form not stated; it is written for {forms}.", rule.id));
    }
    cautions
}
