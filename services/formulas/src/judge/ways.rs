//! Ways out of a batch above a limit, in the lots that a person can take out or add to.
//! It never offers a way that leaves anything above a limit: each is judged again whole.

use domain::exact::Exact;
use domain::formula::agents::assess;
use domain::formula::ways_out::{MoreMeat, ways_out};
use domain::units::{Quantity, Unit};
use domain::verdict::Verdict;

use super::Whole;

/// The ways out of a batch.
#[derive(Clone, Debug, Default)]
pub struct Ways {
    pub more_meat: Option<MoreMeat>,
    pub less_of: Vec<Less>,
}

/// Less of one portion; all of them together are the way.
#[derive(Clone, Debug)]
pub struct Less {
    pub portion: usize,
    pub most: Quantity,
    pub on_scale: Quantity,
    pub take_out: Quantity,
    /// The least to take out in grams, rounded up to a tenth.
    pub take_out_at_least_g: Exact,
}

/// The ways out of a batch that fails by its restricted ingredients.
pub fn ways(whole: &Whole<'_>) -> Ways {
    let (batch, owners) = whole.batch();
    if assess(&batch).verdict != Verdict::Fail {
        return Ways::default();
    }
    let divisions: Vec<_> = owners.iter().map(|at| whole.portions[*at].division.clone()).collect();
    let found = ways_out(&batch, whole.block_division.as_ref(), &divisions);
    let mut less: Vec<Less> = Vec::new();
    for one in found.less_of.unwrap_or_default() {
        let at = owners[one.line];
        let tighter = less_of(whole, at, (one.most, one.on_scale));
        // A portion that brings several agents has a line for each: the least of them counts.
        match less.iter_mut().find(|less| less.portion == at) {
            Some(standing) if standing.on_scale.base() <= tighter.on_scale.base() => {}
            Some(standing) => *standing = tighter,
            None => less.push(tighter),
        }
    }
    let less_of = if mends(whole, &less) { less } else { Vec::new() };
    Ways { more_meat: found.more_meat, less_of }
}

fn less_of(whole: &Whole<'_>, portion: usize, (most, on_scale): (Quantity, Quantity)) -> Less {
    let mass = &whole.portions[portion].mass;
    let tenths = (mass.base() - most.base()) * Exact::whole(10);
    Less {
        portion,
        take_out: Quantity::new(&mass.value - &on_scale.value, mass.unit),
        take_out_at_least_g: tenths.ceil() / Exact::whole(10),
        most,
        on_scale,
    }
}

fn mends(whole: &Whole<'_>, less: &[Less]) -> bool {
    let mut changed = whole.clone();
    for one in less {
        changed.portions[one.portion].mass = one.on_scale.clone();
    }
    !less.is_empty() && assess(&changed.batch().0).verdict != Verdict::Fail
}

impl Ways {
    /// Both ways in one sentence; empty where there is none.
    pub fn say(&self, whole: &Whole<'_>) -> String {
        let parts: Vec<_> = self.less_of.iter().map(|less| say_less(whole, less)).collect();
        let less = (!parts.is_empty()).then(|| format!("take out {}", parts.join(" and ")));
        let more = self.more_meat.as_ref().map(|more| {
            let (add, unit) = (at_least(&more.add), more.on_scale.unit);
            format!("use {} {unit} of meat ({add} {unit} more)", at_least(&more.on_scale))
        });
        let ways: Vec<_> = less.into_iter().chain(more).collect();
        let much = if self.is_one_division(whole) { "One division too much" } else { "Too much" };
        if ways.is_empty() { String::new() } else { format!("{much}: {}.", ways.join(", or ")) }
    }

    /// True where one division less of one portion is enough.
    fn is_one_division(&self, whole: &Whole<'_>) -> bool {
        let [one] = self.less_of.as_slice() else { return false };
        let division = whole.portions[one.portion].division.as_ref();
        division.is_some_and(|division| division.base() == one.take_out.base())
    }
}

fn say_less(whole: &Whole<'_>, less: &Less) -> String {
    let name = &whole.portions[less.portion].material.name;
    let (out, unit) = (at_least(&less.take_out), less.take_out.unit);
    let grams = match unit {
        Unit::Gram => String::new(),
        _ => format!(", at least {} g", less.take_out_at_least_g),
    };
    format!("{out} {unit} of {name} (down to {} {unit}{grams})", at_most(&less.on_scale))
}

/// Decimals of a mass in a sentence.
const DECIMALS: i64 = 100_000;

/// A mass that must not be exceeded, in a sentence: cut, never up.
fn at_most(mass: &Quantity) -> String {
    ((&mass.value * &Exact::whole(DECIMALS)).floor() / Exact::whole(DECIMALS)).to_string()
}

/// A mass that must be reached, in a sentence: up, never cut.
fn at_least(mass: &Quantity) -> String {
    ((&mass.value * &Exact::whole(DECIMALS)).ceil() / Exact::whole(DECIMALS)).to_string()
}
