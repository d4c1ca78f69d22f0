//! How much of each lot went into others, by the masses that the lot graph holds.
//! It never weighs anything: a lot is taken to be alike throughout, so shares go by mass.

use crate::exact::Exact;

/// What a lot is, as far as yields tell lots apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Came from a supplier, or was there before the records began.
    Received,
    /// Ingredients weighed beforehand.
    Kit,
    /// What was mixed in one mixer load.
    Batch,
    /// What hangs together.
    Rack,
    /// Packed.
    Finished,
    /// What goes back into a later batch.
    Rework,
}

impl Kind {
    /// The kind of a word of the lot graph.
    pub fn of_word(word: &str) -> Option<Self> {
        Some(match word {
            "received" | "opening_stock" => Self::Received,
            "kit" => Self::Kit,
            "batch" => Self::Batch,
            "rack" => Self::Rack,
            "finished" => Self::Finished,
            "rework" => Self::Rework,
            _ => return None,
        })
    }
}

/// A lot of the graph.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lot {
    /// What it is.
    pub kind: Kind,
    /// Its mass at its making, in grams; above 0.
    pub mass_g: Exact,
    /// What made it, as its place among the makings.
    pub made_by: Option<usize>,
}

/// What made lots of lots.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Making {
    /// Each lot that was used, as its place among the lots, with its mass in grams.
    pub inputs: Vec<(usize, Exact)>,
    /// Water and process aids that no lot tracks, in grams.
    pub additions_g: Exact,
}

/// Lots and what made them, without a cycle.
#[derive(Clone, Debug)]
pub struct Graph {
    lots: Vec<Lot>,
    makings: Vec<Making>,
    /// What each making made.
    outputs: Vec<Vec<usize>>,
    /// The makings, each after those that made its inputs.
    order: Vec<usize>,
    /// What each lot weighed when it was used, in grams: as it was weighed last, else as it was
    /// made; never less than what was used of it.
    at_use_g: Vec<Exact>,
}

impl Graph {
    /// A graph; nothing when a place lies outside, a mass is not above 0, or it has a cycle.
    pub fn of(lots: Vec<Lot>, makings: Vec<Making>) -> Option<Self> {
        let mut outputs = vec![Vec::new(); makings.len()];
        for (at, lot) in lots.iter().enumerate() {
            if !lot.mass_g.is_positive() {
                return None;
            }
            if let Some(making) = lot.made_by {
                outputs.get_mut(making)?.push(at);
            }
        }
        let mut inputs = makings.iter().flat_map(|making| &making.inputs);
        if inputs.any(|(lot, mass_g)| *lot >= lots.len() || mass_g.is_negative()) {
            return None;
        }
        let order = order(&lots, &makings, &outputs)?;
        let at_use_g = lots.iter().map(|lot| lot.mass_g.clone()).collect();
        let mut graph = Self { lots, makings, outputs, order, at_use_g };
        for lot in 0..graph.lots.len() {
            graph.weighed_last(lot, &graph.lots[lot].mass_g.clone());
        }
        Some(graph)
    }

    /// Says what a lot weighed before it was used, in grams: what is used of it is then a part of
    /// this, and what it lost before stays with it.
    pub fn weighed_last(&mut self, lot: usize, mass_g: &Exact) {
        self.at_use_g[lot] = mass_g.clone().max(self.used_g(lot));
    }

    /// Its lots.
    pub fn lots(&self) -> &[Lot] {
        &self.lots
    }

    /// Which part of each lot is in `roots`, the roots themselves whole; the way back ends at lots
    /// for which `ends` is true.
    pub fn back(&self, roots: &[usize], ends: impl Fn(usize) -> bool) -> Vec<Exact> {
        let mut parts = self.whole(roots);
        for making in self.order.iter().rev() {
            let made = &self.outputs[*making];
            let all: Exact = made.iter().map(|lot| &self.lots[*lot].mass_g).sum();
            let taken = made.iter().filter(|lot| !ends(**lot));
            let taken: Exact = taken.map(|lot| &parts[*lot] * &self.lots[*lot].mass_g).sum();
            let Some(share) = taken.checked_div(&all).filter(|share| !share.is_zero()) else {
                continue;
            };
            // A root is whole already, whatever other roots were made of it.
            let inputs =
                self.makings[*making].inputs.iter().filter(|(lot, _)| !roots.contains(lot));
            for (lot, mass_g) in inputs {
                parts[*lot] = &parts[*lot] + &(&share * &self.part_of(*lot, mass_g));
            }
        }
        parts
    }

    /// Which part of each lot came of `roots`, the roots themselves whole; the way forward ends at
    /// lots for which `ends` is true.
    pub fn forward(&self, roots: &[usize], ends: impl Fn(usize) -> bool) -> Vec<Exact> {
        let mut parts = self.whole(roots);
        for making in &self.order {
            let Making { inputs, additions_g } = &self.makings[*making];
            let used: Exact = inputs.iter().map(|(_, mass_g)| mass_g).sum();
            let of_roots = inputs.iter().filter(|(lot, _)| !ends(*lot));
            let of_roots: Exact = of_roots.map(|(lot, mass_g)| mass_g * &parts[*lot]).sum();
            let Some(share) = of_roots.checked_div(&(&used + additions_g)) else { continue };
            for lot in self.outputs[*making].iter().filter(|lot| !roots.contains(lot)) {
                parts[*lot] = share.clone();
            }
        }
        parts
    }

    /// True while a part of a lot was used by no making of the graph.
    pub fn has_rest(&self, lot: usize) -> bool {
        self.used_g(lot) < self.at_use_g[lot]
    }

    /// Which part of a lot these grams of it are.
    fn part_of(&self, lot: usize, mass_g: &Exact) -> Exact {
        mass_g.checked_div(&self.at_use_g[lot]).unwrap_or_else(Exact::zero)
    }

    fn used_g(&self, lot: usize) -> Exact {
        let inputs = self.makings.iter().flat_map(|making| &making.inputs);
        inputs.filter(|(of, _)| *of == lot).map(|(_, mass_g)| mass_g).sum()
    }

    fn whole(&self, roots: &[usize]) -> Vec<Exact> {
        let mut parts = vec![Exact::zero(); self.lots.len()];
        roots.iter().for_each(|root| parts[*root] = Exact::one());
        parts
    }
}

/// The makings, each after those that made its inputs; nothing when that cannot be.
fn order(lots: &[Lot], makings: &[Making], outputs: &[Vec<usize>]) -> Option<Vec<usize>> {
    let mut users: Vec<Vec<usize>> = vec![Vec::new(); lots.len()];
    let mut waits = vec![0_usize; makings.len()];
    for (at, making) in makings.iter().enumerate() {
        for (lot, _) in &making.inputs {
            if lots[*lot].made_by.is_some() {
                users[*lot].push(at);
                waits[at] += 1;
            }
        }
    }
    let mut order: Vec<usize> = (0..makings.len()).filter(|at| waits[*at] == 0).collect();
    let mut next = 0;
    while let Some(making) = order.get(next).copied() {
        next += 1;
        for user in outputs[making].iter().flat_map(|lot| &users[*lot]) {
            waits[*user] -= 1;
            if waits[*user] == 0 {
                order.push(*user);
            }
        }
    }
    (order.len() == makings.len()).then_some(order)
}
