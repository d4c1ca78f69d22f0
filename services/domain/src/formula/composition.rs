//! Composition of the finished product from what went in, against a standard of composition.
//! It never lets anything but water be lost on the way, and never guesses a percentage.

use super::{hundred, in_text, percent_of};
use crate::exact::Exact;
use crate::fault::Faults;
use crate::rules::Rule;
use crate::units::{Quantity, Unit};
use crate::verdict::{Judgement, Verdict};

/// What a part is, as the standards count it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartKind {
    /// Skeletal meat.
    Meat,
    /// Meat by-product.
    Byproduct,
    /// Poultry.
    Poultry,
    /// Liver, fresh weight.
    Liver,
    /// Beef cheek meat.
    BeefCheek,
    /// Binder or extender: its protein does not carry water.
    Binder,
    /// Anything else: its protein does not carry water either.
    Other,
}

impl PartKind {
    const ALL: [(Self, &'static str); 7] = [
        (Self::Meat, "meat"),
        (Self::Byproduct, "byproduct"),
        (Self::Poultry, "poultry"),
        (Self::Liver, "liver"),
        (Self::BeefCheek, "beef_cheek"),
        (Self::Binder, "binder"),
        (Self::Other, "other"),
    ];

    /// The kind of a word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.iter().find(|(_, own)| *own == word).map(|(kind, _)| *kind)
    }

    /// Every word, for a message that says what is allowed.
    pub fn words() -> String {
        Self::ALL.map(|(_, word)| word).join(" ")
    }

    fn protein_counts(self) -> bool {
        !matches!(self, Self::Binder | Self::Other)
    }
}

/// A constituent of which a part may state its percentage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Constituent {
    /// Fat.
    Fat,
    /// Moisture.
    Moisture,
    /// Protein.
    Protein,
    /// Salt.
    Salt,
}

/// What went in under one name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// How the standards count it.
    pub kind: PartKind,
    /// Its mass, not negative.
    pub mass: Quantity,
    /// Fat, moisture, protein and salt in per cent of the part, each if it is known, 100 in all at
    /// most.
    pub pct: [Option<Exact>; 4],
}

impl Part {
    /// Grams of a constituent; 0 in a part without mass; nothing when its percentage is not given.
    fn grams(&self, constituent: Constituent) -> Option<Exact> {
        let mass = self.mass.base();
        if mass.is_zero() {
            return Some(mass);
        }
        let pct = self.pct[constituent as usize].as_ref()?;
        Some(mass * pct / hundred())
    }

    /// Grams of what is known not to be water.
    fn solids(&self) -> Exact {
        [Constituent::Fat, Constituent::Protein, Constituent::Salt]
            .into_iter()
            .filter_map(|constituent| self.grams(constituent))
            .sum()
    }
}

/// What went in, and how much came out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Formula {
    /// At least one part.
    pub parts: Vec<Part>,
    /// Water and ice put in.
    pub added_water: Option<Quantity>,
    /// The finished product; absent: nothing was lost.
    pub finished_mass: Option<Quantity>,
}

/// The finished product, in per cent of its mass; a percentage that a part lacks leaves out what
/// needs it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finished {
    /// Its mass, in the unit of the first part.
    pub mass: Quantity,
    /// Fat, moisture, protein and salt.
    pub pct: [Option<Exact>; 4],
    /// Moisture - 4 x protein, protein of binders and others not counted; may be negative.
    pub added_water_pct: Option<Exact>,
    /// Moisture to protein.
    pub moisture_protein_ratio: Option<Exact>,
    /// Salt in per cent of salt and moisture.
    pub water_phase_salt_pct: Option<Exact>,
}

/// One limit of a standard, judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limit {
    /// `fat`, `added_water`, `fat_and_added_water`, `poultry`, `liver`, `beef_cheek`,
    /// `water_in_formula`.
    pub id: &'static str,
    /// `finished`, `formula` or `formula_less_water`.
    pub basis: &'static str,
    /// `max` or `min`.
    pub bound: &'static str,
    /// What was found.
    pub value_pct: Option<Exact>,
    /// What is allowed, itself allowed.
    pub limit_pct: Exact,
    /// The outcome.
    pub judgement: Judgement,
}

/// The standard of an identifier such as `us.composition.cooked-sausage`.
pub fn standard(id: &str) -> Option<&'static Rule> {
    Rule::newest(id).filter(|rule| rule.id.starts_with("us.composition."))
}

/// The identifiers of all standards, for a message that says what is allowed.
pub fn standard_ids() -> String {
    let ids = Rule::all().iter().map(|rule| rule.id);
    let mut ids: Vec<_> = ids.filter(|id| id.starts_with("us.composition.")).collect();
    ids.dedup();
    ids.join(" ")
}

/// The composition of the finished product. Only water is lost on the way (mass balance).
/// Faults: no mass at all, more out than in, more lost than there is water to lose.
pub fn finished(formula: &Formula) -> Result<Finished, Faults> {
    let unit = formula.parts.first().map_or(Unit::Gram, |part| part.mass.unit);
    let all_in = all_in(formula);
    let mut faults = Faults::new();
    if formula.parts.is_empty() {
        faults.add("parts", "must hold at least one part");
        return Err(faults);
    }
    let mass = formula.finished_mass.as_ref().map_or_else(|| all_in.clone(), Quantity::base);
    if !all_in.is_positive() {
        faults.add_value("parts[0].mass.value", "0", "the parts must weigh more than 0 together");
    }
    if let Some(given) = &formula.finished_mass {
        check_yield(formula, given, &all_in, &mut faults);
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let lost = &all_in - &mass;
    Ok(per_cent(formula, &mass, &lost, unit))
}

fn check_yield(formula: &Formula, given: &Quantity, all_in: &Exact, faults: &mut Faults) {
    let mass = given.base();
    let shown = |grams: &Exact| Quantity::from_base(grams, given.unit);
    let field = "finished_mass.value";
    if !mass.is_positive() {
        faults.add_value(field, &given.value, "must be above 0");
    } else if mass > *all_in {
        let most = shown(all_in);
        faults.add_value(field, &given.value, format!("must not be above what went in, {most}"));
    } else if all_in - &mass > water_at_most(formula) {
        let least = shown(&(all_in - &water_at_most(formula)));
        let message = format!("must not be below {least}: more water is lost than there is");
        faults.add_value(field, &given.value, message);
    }
}

fn all_in(formula: &Formula) -> Exact {
    formula.parts.iter().map(|part| part.mass.base()).sum::<Exact>() + added_water(formula)
}

fn added_water(formula: &Formula) -> Exact {
    formula.added_water.as_ref().map_or_else(Exact::zero, Quantity::base)
}

/// Grams of water that there can be: moisture where it is given, else all that is not known to be
/// something else.
fn water_at_most(formula: &Formula) -> Exact {
    let of_part = |part: &Part| {
        part.grams(Constituent::Moisture).unwrap_or_else(|| part.mass.base() - part.solids())
    };
    formula.parts.iter().map(of_part).sum::<Exact>() + added_water(formula)
}

fn per_cent(formula: &Formula, mass: &Exact, lost: &Exact, unit: Unit) -> Finished {
    let sum = |constituent| {
        formula.parts.iter().map(|part| part.grams(constituent)).sum::<Option<Exact>>()
    };
    let moisture = sum(Constituent::Moisture).map(|grams| grams + added_water(formula) - lost);
    let (fat, protein) = (sum(Constituent::Fat), sum(Constituent::Protein));
    let salt = sum(Constituent::Salt);
    let counted = formula.parts.iter().filter(|part| part.kind.protein_counts());
    let counted: Option<Exact> = counted.map(|part| part.grams(Constituent::Protein)).sum();
    let of_mass = |grams: &Exact| percent_of(grams, mass);
    let both = |a: &Option<Exact>, b: &Option<Exact>| a.clone().zip(b.clone());
    let water_phase =
        both(&salt, &moisture).and_then(|(salt, moisture)| percent_of(&salt, &(&salt + &moisture)));
    Finished {
        mass: Quantity::from_base(mass, unit),
        added_water_pct: both(&moisture, &counted)
            .and_then(|(moisture, counted)| of_mass(&(moisture - counted * Exact::whole(4)))),
        moisture_protein_ratio: both(&moisture, &protein).and_then(|(m, p)| m.checked_div(&p)),
        water_phase_salt_pct: water_phase,
        pct: [fat, moisture, protein, salt].map(|grams| grams.as_ref().and_then(of_mass)),
    }
}

/// Judges the limits of a standard, exactly. Sources: 9 CFR 319.15, 319.140, 319.160, 319.180,
/// 319.182.
pub fn judge(formula: &Formula, finished: &Finished, standard: &'static Rule) -> Vec<Limit> {
    let limit = |row: &crate::rules::Row| {
        let (id, basis) = (row.word("id")?, row.word("basis")?);
        let (bound, limit_pct) = (row.word("bound")?, row.number("limit_pct")?);
        let value_pct = value(id, formula, finished, basis);
        let judgement = judgement(id, bound, value_pct.as_ref(), &limit_pct);
        Some(Limit { id, basis, bound, value_pct, limit_pct, judgement })
    };
    standard.rows.iter().filter_map(limit).collect()
}

fn judgement(id: &str, bound: &str, value: Option<&Exact>, limit: &Exact) -> Judgement {
    let name = id.replace('_', " ");
    let Some(value) = value else {
        let reason = format!("{name}: a percentage that it needs is not given");
        return Judgement::because(Verdict::Undetermined, reason);
    };
    let met = if bound == "min" { value >= limit } else { value <= limit };
    let asked = if bound == "min" { "at least" } else { "at most" };
    let reason = format!("{name} {} %, {asked} {limit} %", in_text(value));
    Judgement::because(Verdict::met(met), reason)
}

fn value(id: &str, formula: &Formula, finished: &Finished, basis: &str) -> Option<Exact> {
    let whole = match basis {
        "formula" => all_in(formula),
        "formula_less_water" => all_in(formula) - added_water(formula),
        _ => finished.mass.base(),
    };
    let of_kind = |kind: PartKind| {
        let parts = formula.parts.iter().filter(|part| part.kind == kind);
        percent_of(&parts.map(|part| part.mass.base()).sum(), &whole)
    };
    match id {
        "fat" => finished.pct[Constituent::Fat as usize].clone(),
        "added_water" => finished.added_water_pct.clone(),
        "fat_and_added_water" => {
            let added = finished.added_water_pct.clone()?.max(Exact::zero());
            Some(finished.pct[Constituent::Fat as usize].clone()? + added)
        }
        "water_in_formula" => percent_of(&added_water(formula), &whole),
        "poultry" => of_kind(PartKind::Poultry),
        "liver" => of_kind(PartKind::Liver),
        "beef_cheek" => of_kind(PartKind::BeefCheek),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
