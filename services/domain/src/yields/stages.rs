//! What lots weighed at each stage, through the lot graph, and the shrink between stages.
//! It never takes a stage that was weighed in part for one that was weighed whole.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

use super::flow::{Graph, Kind};
use crate::exact::Exact;
use crate::formula::shrink::{self, Chain};
use crate::units::{Quantity, Unit};

/// When goods are weighed on their way, in the plant's order. Each stage may be left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// As they came.
    Received,
    /// The raw meat of a batch.
    Block,
    /// What came out of the mixer.
    Mixed,
    /// Green, at the stuffer: the base of shrink.
    Stuffed,
    /// After drying.
    Dried,
    /// After smoke and cook.
    Smoked,
    /// After chilling.
    Chilled,
    /// Without casings.
    Peeled,
    /// As packed.
    Packed,
}

impl Stage {
    /// All of them, in the plant's order.
    pub const ALL: [Self; 9] = [
        Self::Received,
        Self::Block,
        Self::Mixed,
        Self::Stuffed,
        Self::Dried,
        Self::Smoked,
        Self::Chilled,
        Self::Peeled,
        Self::Packed,
    ];

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Received => "received",
            Self::Block => "block",
            Self::Mixed => "mixed",
            Self::Stuffed => "stuffed",
            Self::Dried => "dried",
            Self::Smoked => "smoked",
            Self::Chilled => "chilled",
            Self::Peeled => "peeled",
            Self::Packed => "packed",
        }
    }

    /// The stage of a word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|stage| stage.word() == word)
    }

    /// At which stage lots of a kind get the mass that the lot graph holds of them.
    fn of_making(kind: Kind) -> Option<Self> {
        match kind {
            Kind::Received => Some(Self::Received),
            Kind::Batch => Some(Self::Mixed),
            Kind::Rack => Some(Self::Stuffed),
            Kind::Finished => Some(Self::Packed),
            Kind::Kit | Kind::Rework => None,
        }
    }

    /// Whether a weighing of a lot of a kind counts at this stage: what came from a supplier counts
    /// as received, and the raw meat of a batch on the batch, for a lot is not the part of it that
    /// was weighed up.
    fn counts_on(self, kind: Kind) -> bool {
        match self {
            Self::Received => kind == Kind::Received,
            Self::Block => kind == Kind::Batch,
            _ => true,
        }
    }
}

/// The first and the last stage through which lots of a kind go.
fn own(kind: Kind) -> (Stage, Stage) {
    match kind {
        Kind::Received | Kind::Kit => (Stage::Received, Stage::Received),
        Kind::Batch => (Stage::Block, Stage::Mixed),
        Kind::Rack => (Stage::Stuffed, Stage::Peeled),
        Kind::Finished | Kind::Rework => (Stage::Packed, Stage::Packed),
    }
}

/// A weighing as it counts: the newest amendment in place of what it amends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Weighing {
    /// What stood on the scale together, as places among the lots; nothing for a lot outside the
    /// graph.
    pub lots: Vec<Option<usize>>,
    /// When it was weighed on its way.
    pub stage: Stage,
    /// The goods alone; above 0.
    pub net: Quantity,
}

/// A weighing with what of it counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Counted {
    /// Its place among the weighings.
    pub weighing: usize,
    /// Which part of its net belongs to what was asked for, by the masses of the lot graph.
    pub share: Exact,
    /// So much of its net, in grams.
    pub mass_g: Exact,
}

/// What was weighed at one stage.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The stage.
    pub stage: Stage,
    /// Every weighing that counts; those of one lot are its parts and add up.
    pub counted: Vec<Counted>,
    /// What the lot graph holds of the same goods, in grams; nothing where they got their mass
    /// there at another stage.
    pub recorded_g: Option<Exact>,
    /// Lots of which a part was not weighed, or not alone; empty when the stage is whole.
    pub lacking: Vec<usize>,
    /// Rework that left on the way, with its grams: it is no product, and counts as lost.
    pub rework: Vec<(usize, Exact)>,
}

impl Found {
    /// True when all that was asked for was weighed at this stage.
    pub fn is_whole(&self) -> bool {
        self.lacking.is_empty() && !self.counted.is_empty()
    }

    /// All that was weighed, in grams.
    pub fn mass_g(&self) -> Exact {
        self.counted.iter().map(|counted| &counted.mass_g).sum()
    }
}

/// Every stage of `roots`, lots of one kind: those before theirs on the way back, those after on
/// the way forward.
pub fn found(graph: &Graph, roots: &[usize], weighings: &[Weighing]) -> Vec<Found> {
    let kind = roots.first().map_or(Kind::Received, |root| graph.lots()[*root].kind);
    let (first, last) = own(kind);
    let at = |stage: Stage| {
        let walk = Walk { graph, roots, weighings, stage };
        if stage > last {
            return walk.forward();
        }
        let back = walk.back();
        // At their own stages the goods may also be weighed once they are divided.
        if stage >= first && back.counted.is_empty() { walk.forward() } else { back }
    };
    Stage::ALL.into_iter().map(at).collect()
}

/// Says of each lot of the graph what it weighed last by itself, so that what is used of it is a
/// part of that. The raw meat of a batch is not the batch.
pub fn weighed_last(graph: &mut Graph, weighings: &[Weighing]) {
    let mut last: BTreeMap<usize, (Stage, Exact)> = BTreeMap::new();
    for weighing in weighings.iter().filter(|weighing| weighing.stage != Stage::Block) {
        let [Some(lot)] = weighing.lots.as_slice() else { continue };
        let (first, end) = own(graph.lots()[*lot].kind);
        if !(first..=end).contains(&weighing.stage) {
            continue;
        }
        let mass = weighing.net.base();
        let known = last.entry(*lot).or_insert_with(|| (weighing.stage, Exact::zero()));
        match weighing.stage.cmp(&known.0) {
            Ordering::Less => {}
            Ordering::Equal => known.1 = &known.1 + &mass,
            Ordering::Greater => *known = (weighing.stage, mass),
        }
    }
    for (lot, (_, mass_g)) in &last {
        graph.weighed_last(*lot, mass_g);
    }
}

struct Walk<'w> {
    graph: &'w Graph,
    roots: &'w [usize],
    weighings: &'w [Weighing],
    stage: Stage,
}

impl Walk<'_> {
    fn here(&self) -> impl Iterator<Item = (usize, &Weighing)> {
        let lots = self.graph.lots();
        let counts = move |weighing: &Weighing| {
            let mut inside = weighing.lots.iter().flatten();
            weighing.stage == self.stage && inside.all(|lot| self.stage.counts_on(lots[*lot].kind))
        };
        self.weighings.iter().enumerate().filter(move |(_, weighing)| counts(weighing))
    }

    /// For each lot, whether it was weighed at this stage.
    fn weighed(&self) -> Vec<bool> {
        let mut weighed = vec![false; self.graph.lots().len()];
        for lot in self.here().flat_map(|(_, weighing)| weighing.lots.iter().flatten()) {
            weighed[*lot] = true;
        }
        weighed
    }

    fn back(&self) -> Found {
        let (lots, weighed) = (self.graph.lots(), self.weighed());
        let is_apart = |lot: usize| {
            self.stage == Stage::Received && matches!(lots[lot].kind, Kind::Kit | Kind::Rework)
        };
        let held = self.graph.back(self.roots, |lot| weighed[lot] || is_apart(lot));
        let is_open = |lot: &usize| held[*lot].is_positive() && !weighed[*lot] && !is_apart(*lot);
        let open: Vec<usize> = (0..lots.len()).filter(is_open).collect();
        let ends = open.iter().copied().filter(|lot| lots[*lot].made_by.is_none());
        let lacking = self.due(ends.collect(), &open);
        self.found(&held, lacking, Vec::new())
    }

    fn forward(&self) -> Found {
        let (lots, weighed) = (self.graph.lots(), self.weighed());
        let is_rework = |lot: usize| lots[lot].kind == Kind::Rework && !self.roots.contains(&lot);
        let came = self.graph.forward(self.roots, |lot| weighed[lot] || is_rework(lot));
        let is_open = |lot: &usize| came[*lot].is_positive() && !weighed[*lot];
        let (rework, open): (Vec<usize>, Vec<usize>) =
            (0..lots.len()).filter(is_open).partition(|lot| is_rework(*lot));
        let has_rest = |lot: &usize| self.graph.has_rest(*lot);
        let lacking = self.due(open.iter().copied().filter(has_rest).collect(), &open);
        let rework = rework.into_iter().map(|lot| (lot, &came[lot] * &lots[lot].mass_g)).collect();
        self.found(&came, lacking, rework)
    }

    /// Where the way ended unweighed, the lots that go through this stage and were not weighed at
    /// it; where there are none, those ends themselves.
    fn due(&self, ends: Vec<usize>, open: &[usize]) -> Vec<usize> {
        if ends.is_empty() {
            return ends;
        }
        let goes_through = |lot: &usize| {
            let (first, last) = own(self.graph.lots()[*lot].kind);
            (first..=last).contains(&self.stage)
        };
        let due: Vec<usize> = open.iter().copied().filter(goes_through).collect();
        if due.is_empty() { ends } else { due }
    }

    /// What counts of each weighing, by which part of each lot belongs to what was asked for.
    fn found(
        &self,
        parts: &[Exact],
        mut lacking: Vec<usize>,
        rework: Vec<(usize, Exact)>,
    ) -> Found {
        let lots = self.graph.lots();
        let grams = |lot: &usize| &parts[*lot] * &lots[*lot].mass_g;
        let (mut counted, mut seen) = (Vec::new(), BTreeSet::new());
        for (weighing, one) in self.here() {
            let inside: BTreeSet<usize> = one.lots.iter().copied().flatten().collect();
            let taken: Exact = inside.iter().map(grams).sum();
            if taken.is_zero() {
                continue;
            }
            if one.lots.iter().any(Option::is_none) {
                // It stood on the scale together with what is no part of this.
                lacking.extend(inside.iter().filter(|lot| parts[**lot].is_positive()));
                continue;
            }
            let whole: Exact = inside.iter().map(|lot| &lots[*lot].mass_g).sum();
            let Some(share) = taken.checked_div(&whole) else { continue };
            let mass_g = &share * &one.net.base();
            counted.push(Counted { weighing, share, mass_g });
            seen.extend(inside);
        }
        lacking.sort_unstable();
        lacking.dedup();
        let is_made_here =
            seen.iter().all(|lot| Stage::of_making(lots[*lot].kind) == Some(self.stage));
        let recorded_g = is_made_here.then(|| seen.iter().map(grams).sum());
        Found { stage: self.stage, counted, recorded_g, lacking, rework }
    }
}

/// The stages that are whole, with the shrink from each to the next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shrink {
    /// Their places among the stages found.
    pub stages: Vec<usize>,
    /// Their masses with the steps between them.
    pub chain: Chain,
    /// What was lost from the stuffed weight on, in per cent of it; nothing when it was not
    /// weighed, or nothing after it.
    pub from_stuffed_pct: Option<Exact>,
}

/// The shrink between whole stages, masses in `unit`; nothing with fewer than two of them.
pub fn shrink(found: &[Found], unit: Unit) -> Option<Shrink> {
    let stages: Vec<usize> = (0..found.len()).filter(|at| found[*at].is_whole()).collect();
    let mass = |at: &usize| Quantity::from_base(&found[*at].mass_g(), unit);
    let masses: Vec<Quantity> = stages.iter().map(mass).collect();
    let chain = shrink::chain(&masses).ok()?;
    let stuffed = stages.iter().position(|at| found[*at].stage == Stage::Stuffed);
    let from_stuffed = stuffed.and_then(|at| shrink::chain(&masses[at..]).ok());
    let from_stuffed_pct = from_stuffed.map(|chain| chain.total_shrink_pct);
    Some(Shrink { stages, chain, from_stuffed_pct })
}

/// The same total by weighings and by the lot graph.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reconciled {
    /// The first stage of which the lot graph holds a mass.
    pub from: Stage,
    /// The last.
    pub to: Stage,
    /// The shrink between them as weighed, in per cent.
    pub weighed_pct: Exact,
    /// The same by the masses of the lot graph.
    pub recorded_pct: Exact,
    /// The first less the second, in percentage points.
    pub difference: Exact,
}

/// Compares the total shrink with the lot graph; nothing with fewer than two whole stages of which
/// the graph holds masses.
pub fn reconciled(found: &[Found]) -> Option<Reconciled> {
    let both = |one: &Found| {
        let recorded_g = one.recorded_g.clone().filter(|_| one.is_whole())?;
        Some((one.stage, one.mass_g(), recorded_g))
    };
    let known: Vec<_> = found.iter().filter_map(both).collect();
    let [(from, weighed, recorded), .., (to, weighed_last, recorded_last)] = known.as_slice()
    else {
        return None;
    };
    let lost =
        |first: &Exact, last: &Exact| (&(first - last) * &Exact::whole(100)).checked_div(first);
    let weighed_pct = lost(weighed, weighed_last)?;
    let recorded_pct = lost(recorded, recorded_last)?;
    let difference = &weighed_pct - &recorded_pct;
    Some(Reconciled { from: *from, to: *to, weighed_pct, recorded_pct, difference })
}
