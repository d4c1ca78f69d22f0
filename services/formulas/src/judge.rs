//! The judgement of a formula or a batch: what goes in, against limits, standard and label.
//! It never rounds a number that is judged, and holds no limit of its own.

pub mod agents;
pub mod batch;
pub mod cover;
pub mod formula;
pub mod kit;
pub mod label;
pub mod on_hand;
pub mod sheet;
pub mod ways;

use domain::exact::Exact;
use domain::formula::agents::{Batch, Holding, Line};
use domain::formula::composition::{self, Finished, Limit, Part};
use domain::formula::declaration;
use domain::rules::Rule;
use domain::units::{Quantity, Unit};
use domain::verdict::{Judgement, Verdict};
use uuid::Uuid;

use crate::book::{Kind, Material, Product, Specification};

/// One check, with the rules behind it.
#[derive(Clone, Debug)]
pub struct Check {
    /// A word for machines.
    pub code: &'static str,
    /// What it is about.
    pub subject: String,
    pub judgement: Judgement,
    pub rules: Vec<&'static Rule>,
    pub cautions: Vec<String>,
    /// The portions that it is about.
    pub portions: Vec<usize>,
    pub holding: Option<Holding>,
    pub limit: Option<Limit>,
    /// False for what is shown and changes no verdict.
    pub counts: bool,
}

impl Check {
    /// A check that rests on no rule but the plant's own.
    pub fn new(code: &'static str, subject: impl Into<String>, judgement: Judgement) -> Self {
        Self {
            code,
            subject: subject.into(),
            judgement,
            rules: Vec::new(),
            cautions: Vec::new(),
            portions: Vec::new(),
            holding: None,
            limit: None,
            counts: true,
        }
    }

    /// A check with one reason.
    pub fn because(
        code: &'static str,
        subject: impl Into<String>,
        verdict: Verdict,
        reason: impl Into<String>,
    ) -> Self {
        Self::new(code, subject, Judgement::because(verdict, reason))
    }

    /// The same about these portions.
    pub fn about(self, portions: Vec<usize>) -> Self {
        Self { portions, ..self }
    }

    /// The same with a rule behind it and the cautions that the rule asks for.
    pub fn under(mut self, rule: Option<&'static Rule>) -> Self {
        self.cautions.extend(rule.into_iter().flat_map(Rule::cautions));
        self.rules.extend(rule);
        self
    }

    /// What it says.
    pub fn verdict(&self) -> Verdict {
        self.judgement.verdict
    }

    /// Its reasons as one text.
    pub fn text(&self) -> String {
        self.judgement.reasons.join("; ")
    }
}

/// The verdict of all checks that count.
pub fn verdict(checks: &[Check]) -> Verdict {
    Verdict::of_all(checks.iter().filter(|check| check.counts).map(Check::verdict))
}

/// A part of what goes in: a material, from one lot where a lot is known.
#[derive(Clone, Debug)]
pub struct Portion<'b> {
    pub material: &'b Material,
    /// Nothing where none is in force.
    pub specification: Option<&'b Specification>,
    pub lot: Option<Uuid>,
    /// The kit that holds it.
    pub kit: Option<Uuid>,
    pub mass: Quantity,
    /// The division of the scale that weighed it.
    pub division: Option<Quantity>,
    /// What it is declared as, where that is known by what went into it and not by a
    /// specification: rework.
    pub origin: Option<Vec<declaration::Line>>,
}

impl Portion<'_> {
    /// How sentences name it.
    pub fn name(&self) -> String {
        match self.lot {
            Some(lot) => format!("{}, lot {lot}", self.material.name),
            None => self.material.name.clone(),
        }
    }

    /// Its entries of a declaration with their masses.
    pub fn declared(&self) -> Vec<declaration::Line> {
        if let Some(origin) = &self.origin {
            return origin.clone();
        }
        let line = self.specification.map(|stated| declaration::Line {
            grams: self.mass.base(),
            statement: stated.statement.clone(),
            allergens: stated.allergens.clone(),
        });
        line.into_iter().collect()
    }
}

/// All that goes into one batch, as it is or as it is planned.
#[derive(Clone, Debug)]
pub struct Whole<'b> {
    pub product: &'b Product,
    pub portions: Vec<Portion<'b>>,
    /// The finished product in per cent of all that goes in.
    pub yield_pct: Exact,
    /// The unit in which masses are answered.
    pub unit: Unit,
    pub block_division: Option<Quantity>,
}

impl Whole<'_> {
    /// The raw meat, and nothing else.
    pub fn meat(&self) -> Quantity {
        self.sum(|kind| kind.is_raw())
    }

    /// All that goes in.
    pub fn total(&self) -> Quantity {
        self.sum(|_| true)
    }

    fn sum(&self, counts: impl Fn(Kind) -> bool) -> Quantity {
        let counted = self.portions.iter().filter(|one| counts(one.material.kind));
        Quantity::from_base(&counted.map(|one| one.mass.base()).sum(), self.unit)
    }

    /// The finished product at the expected yield.
    pub fn finished(&self) -> Quantity {
        let grams = self.total().base() * &self.yield_pct / Exact::whole(100);
        Quantity::from_base(&grams, self.unit)
    }

    /// The batch as the limits of restricted ingredients see it, with the portion of each line. A
    /// portion that brings several agents is a line for each: the formula's mass is given, so that
    /// none of them is weighed twice.
    pub fn batch(&self) -> (Batch, Vec<usize>) {
        let (mut lines, mut owners) = (Vec::new(), Vec::new());
        for (at, portion) in self.portions.iter().enumerate() {
            if portion.material.kind.is_raw() {
                continue;
            }
            let actives = portion.specification.map(|one| one.agents.clone()).unwrap_or_default();
            let mut actives: Vec<_> = actives.into_iter().map(Some).collect();
            if actives.is_empty() {
                actives.push(None);
            }
            for active in actives {
                lines.push(Line {
                    name: portion.name(),
                    mass: portion.mass.clone(),
                    rework: portion.material.kind == Kind::Rework,
                    active,
                });
                owners.push(at);
            }
        }
        let meat = self.meat();
        let batch = Batch {
            class: self.product.class,
            unit: self.unit,
            meat: Some(meat).filter(|meat| meat.value.is_positive()),
            lines,
            formula_mass: Some(self.total()),
            finished_mass: Some(self.finished()),
            pickle: None,
        };
        (batch, owners)
    }
}

/// What a composition was judged: the finished product where it could be computed, and the checks.
pub fn composition(whole: &Whole<'_>) -> (Option<Finished>, Vec<Check>) {
    let mut parts = Vec::new();
    let mut water = Exact::zero();
    for portion in &whole.portions {
        match portion.material.kind.part() {
            Some(kind) => parts.push(Part {
                kind,
                mass: portion.mass.clone(),
                pct: portion.specification.map(|one| one.pct.clone()).unwrap_or_default(),
            }),
            None => water = water + portion.mass.base(),
        }
    }
    let formula = composition::Formula {
        parts,
        added_water: Some(Quantity::from_base(&water, whole.unit)),
        finished_mass: Some(whole.finished()),
    };
    let finished = match composition::finished(&formula) {
        Ok(finished) => finished,
        Err(faults) => {
            let reasons = faults.into_vec().into_iter().map(|fault| fault.message).collect();
            let judgement = Judgement { verdict: Verdict::Undetermined, reasons };
            let check = Check::new("COMPOSITION", "expected yield", judgement);
            return (None, vec![check.under(whole.product.standard)]);
        }
    };
    let Some(standard) = whole.product.standard else { return (Some(finished), Vec::new()) };
    let limits = composition::judge(&formula, &finished, standard);
    let with_rework = whole.portions.iter().any(|one| one.material.kind == Kind::Rework);
    let checks = limits.into_iter().map(|limit| {
        let check = Check::new("COMPOSITION", limit.id, limit.judgement.clone());
        let mut check = Check { limit: Some(limit), ..check }.under(Some(standard));
        if with_rework {
            check.cautions.push("Rework counts as meat by its own specification.".into());
        }
        check
    });
    let checks = checks.collect();
    (Some(finished), checks)
}
