//! Other lots that could go in where a stop says that another lot is a way on.
//! It never names a lot that was not judged as the scanned one was: by its own specification, in
//! the same batch.

use std::collections::BTreeSet;

use domain::verdict::Verdict;
use uuid::Uuid;

use super::{Asked, closing_checks, materials, whole};
use crate::book::Material;
use crate::judge::on_hand::{OnHand, Shelf, cut, is_made_here, label_stops};
use crate::judge::{agents, label};

/// How many stops are answered with lots: a batch with more has other things amiss.
const OTHERS_MAX: usize = 20;

/// What a stop is: the code of a check or a reason, and what it is about.
type Stop = (&'static str, String);

/// The other lots of a material that would mend a stop.
#[derive(Clone, Debug)]
pub struct Others<'b> {
    /// The code of the refusal.
    pub code: &'static str,
    pub subject: String,
    pub material: &'b Material,
    /// The oldest first.
    pub lots: Vec<OnHand>,
}

/// Looks for other lots, and keeps what it found.
pub struct Finder<'a, 'b> {
    asked: &'a Asked<'b>,
    /// What stops the batch as it is.
    before: BTreeSet<Stop>,
    pub found: Vec<Others<'b>>,
}

impl<'a, 'b> Finder<'a, 'b> {
    /// Where nobody told what is on hand nothing is judged again.
    pub fn of(asked: &'a Asked<'b>) -> Self {
        let is_told = matches!(asked.shelf, Shelf::Known { .. });
        let before = if is_told { stops(&bare(asked)) } else { BTreeSet::new() };
        Self { asked, before, found: Vec::new() }
    }

    /// Looks for lots that could stand in for these portions; gives what the way on says of them in
    /// brackets, empty where nobody asked what is on hand.
    pub fn say(&mut self, code: &'static str, stop: (&'static str, &str), at: &[usize]) -> String {
        let mut texts: Vec<(&str, String)> = Vec::new();
        let mut seen: Vec<Uuid> = Vec::new();
        for place in at {
            let material = self.asked.portions[*place].material;
            if seen.contains(&material.id) || self.found.len() >= OTHERS_MAX {
                continue;
            }
            seen.push(material.id);
            let of_it = |one: &&usize| self.asked.portions[**one].material.id == material.id;
            let places: Vec<_> = at.iter().filter(of_it).copied().collect();
            let lots: Vec<_> = self.asked.shelf.of(material).collect();
            let fits = lots.into_iter().filter(|lot| self.fits(stop, (material, &places), lot));
            let lots: Vec<OnHand> = fits.cloned().collect();
            texts.push((&material.name, self.text(material, &lots)));
            self.found.push(Others { code, subject: stop.1.to_owned(), material, lots });
        }
        match (&self.asked.shelf, texts.as_slice()) {
            (Shelf::NotAsked, _) | (_, []) => String::new(),
            (Shelf::Away, _) => " (which lots are on hand cannot be said now)".to_owned(),
            (_, [(_, text)]) => format!(" ({text})"),
            (_, texts) => {
                let all = texts.iter().map(|(name, text)| format!("{name}: {text}"));
                format!(" ({})", all.collect::<Vec<_>>().join("; "))
            }
        }
    }

    fn text(&self, material: &Material, lots: &[OnHand]) -> String {
        if lots.is_empty() && self.asked.shelf.has_more_of(material) {
            return "none of the oldest lots on hand may go in, and there are more".to_owned();
        }
        if lots.is_empty() {
            return "no other lot on hand may go in".to_owned();
        }
        let say = |lot: &OnHand| format!("{}, {} on hand", lot.code, cut(&lot.mass));
        lots.iter().map(say).collect::<Vec<_>>().join("; ")
    }

    /// True for a lot that brings no such stop, and with which nothing else stops the batch that
    /// does not stop it already.
    fn fits(&self, stop: (&str, &str), of: (&'b Material, &[usize]), lot: &OnHand) -> bool {
        let (asked, (material, places)) = (self.asked, of);
        let is_in = places.iter().any(|at| asked.portions[*at].lot == Some(lot.lot));
        // What was made here is judged by what went into it, which nobody told.
        if is_in || !lot.forbidden_by.is_empty() || is_made_here(&lot.kind) {
            return false;
        }
        let Some(specification) = material.specification(Some(lot.lot), asked.at) else {
            return false;
        };
        let label = asked.book.labels.get(&asked.recipe.label);
        let own = label_stops((material, lot.lot), label, asked.at);
        if own.iter().any(|(code, subject)| (*code, subject.as_str()) == stop) {
            return false;
        }
        let mut changed = bare(asked);
        for at in places {
            let portion = &mut changed.portions[*at];
            portion.lot = Some(lot.lot);
            portion.specification = Some(specification);
            portion.origin = None;
        }
        stops(&changed).is_subset(&self.before)
    }
}

/// The same question without what is on hand.
fn bare<'b>(asked: &Asked<'b>) -> Asked<'b> {
    Asked { shelf: Shelf::NotAsked, ..asked.clone() }
}

/// All that a specification of a lot can change of what stops a batch.
fn stops(asked: &Asked<'_>) -> BTreeSet<Stop> {
    let reasons = materials(asked, &mut Finder::of(asked));
    let mut stops: BTreeSet<Stop> =
        reasons.into_iter().map(|reason| (reason.code, reason.subject)).collect();
    let mut checks = Vec::new();
    if let Some(whole) = whole(asked).filter(|whole| whole.meat().value.is_positive()) {
        checks.extend(agents::checks(&whole));
        checks.extend(closing_checks(asked, &whole));
    }
    checks.retain(|check| match check.code {
        "COMPOSITION" => check.verdict() == Verdict::Fail,
        _ => check.counts && check.verdict() != Verdict::Pass,
    });
    let labels =
        label::checks(&asked.portions, asked.book.labels.get(&asked.recipe.label), asked.at);
    checks.extend(labels.into_iter().filter(|check| check.verdict() == Verdict::Fail));
    stops.extend(checks.into_iter().map(|check| (check.code, check.subject)));
    stops
}

#[cfg(test)]
mod tests;
