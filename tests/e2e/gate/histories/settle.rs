//! A history to its end: what happens in it, and then each reason answered as it asks.
//! It never helps beyond the way on that a refusal names; what then still cannot leave is stuck.

use std::collections::BTreeSet;
use std::time::Duration;

use domain::haccp::gate::judge;
use domain::haccp::gate::question::{Disposition, Kind, Obstacle};
use domain::verdict::Verdict;

use super::growth::History;
use super::plans;
use super::site::Site;

const ROUNDS: usize = 15;

/// How a history ended.
pub struct Ended {
    pub left: usize,
    pub dead: usize,
    pub refused: usize,
}

impl History {
    /// Plays it to its end; an error says which case is stuck.
    pub async fn played(mut self, site: &mut Site) -> Result<Ended, String> {
        for _ in 0..20 + self.rng.below(25) {
            let lots = self.ledger.shippable();
            match (self.rng.below(10), self.rng.some(&lots)) {
                (0..3, Some(lot)) => {
                    let mut cases = self.ledger.left(lot);
                    cases.retain(|_| self.rng.chance(70));
                    if !cases.is_empty() {
                        self.ships(site, &cases).await.ok();
                    }
                }
                (3..5, Some(lot)) => {
                    let is_disturbed = self.rng.chance(25);
                    self.reviews(site, lot, is_disturbed).await;
                }
                _ => self.happens(site).await,
            }
        }
        let mut dead = BTreeSet::new();
        for lot in self.ledger.shippable() {
            self.settles(site, lot, &mut dead).await?;
        }
        let left = self.ledger.cases.iter().filter(|case| case.has_left).count();
        Ok(Ended { left, dead: dead.len(), refused: self.refused })
    }

    /// Answers what stands in the way of a lot until all of it has left that may.
    async fn settles(
        &mut self,
        site: &mut Site,
        lot: usize,
        dead: &mut BTreeSet<usize>,
    ) -> Result<(), String> {
        let mut obstacles = Vec::new();
        for _ in 0..ROUNDS {
            while self.ledger.holds.iter().any(|hold| !hold.has_ended) {
                self.ends_hold(site).await;
            }
            let cases = self.ledger.left(lot);
            obstacles = judge(&self.ledger.question(lot, &cases, site.at()));
            dead.extend(cases.iter().copied().filter(|&case| {
                let serial = &self.ledger.cases[case].serial;
                obstacles.iter().any(|one| is_final(one) && concerns(one, serial))
            }));
            let open: Vec<usize> = cases.into_iter().filter(|case| !dead.contains(case)).collect();
            if open.is_empty() {
                return Ok(());
            }
            obstacles.retain(|one| {
                let mut open = open.iter().map(|&case| &self.ledger.cases[case].serial);
                open.any(|serial| concerns(one, serial))
            });
            if obstacles.is_empty() {
                return self.leaves(site, lot, &open).await;
            }
            // What is asked anyway comes first, so that the last reasons stand alone for a while.
            obstacles.sort_by_key(|one| !is_asked_anyway(one));
            for obstacle in std::mem::take(&mut obstacles) {
                if !is_asked_anyway(&obstacle) {
                    self.dares(site, lot, &open).await;
                }
                self.answers(site, lot, &obstacle).await;
            }
        }
        Err(format!("lot {} is never clear: {obstacles:?}", self.ledger.lots[lot].name))
    }

    /// By what was sent it is clear: once messages have arrived it is reviewed and leaves.
    async fn leaves(&mut self, site: &mut Site, lot: usize, open: &[usize]) -> Result<(), String> {
        let mut last = "it cannot be reviewed".to_owned();
        for _ in 0..200 {
            if self.reviews(site, lot, false).await {
                match self.ships(site, open).await {
                    Ok(()) => return Ok(()),
                    Err(said) => last = said,
                }
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        Err(format!("lot {} is stuck: {last}", self.ledger.lots[lot].name))
    }

    /// Somebody reviews and ships although something stands in the way: what leaves all the same
    /// is held against the model.
    async fn dares(&mut self, site: &mut Site, lot: usize, open: &[usize]) {
        self.reviews(site, lot, false).await;
        let mut cases = open.to_vec();
        cases.retain(|&case| !self.ledger.cases[case].has_left && self.rng.chance(70));
        if !cases.is_empty() {
            self.ships(site, &cases).await.ok();
        }
    }

    async fn answers(&mut self, site: &mut Site, shipped: usize, obstacle: &Obstacle) {
        let lot = obstacle.lot;
        match obstacle.code {
            "CHECK_MISSING" | "CHECK_UNDETERMINED" | "CHECK_NOT_MET" | "CHECK_STALE" => {
                self.answers_check(site, lot, &obstacle.check).await;
            }
            "RECOOK_MISSING" => {
                if let Some(check) = self.check(lot, &obstacle.check) {
                    self.reads(site, (lot, check), Verdict::Pass, site.at()).await;
                }
            }
            "DEVIATION_OPEN" => self.releases(site).await,
            "STEP_NOT_PASSED" => {
                let plan = self.ledger.lots[shipped].plan.expect("every lot is made with a plan");
                for check in plans::opened_by_hand(&self.ledger.plans[plan]) {
                    self.by_hand(site, lot, (shipped, check)).await;
                }
                self.releases(site).await;
            }
            "CHALLENGE_AWAITED" | "CHALLENGE_FAILED" | "NEVER_PASSED" => {
                let cases = self.ledger.left(shipped);
                let is_named =
                    |case: &usize| obstacle.cases.contains(&self.ledger.cases[*case].serial);
                let cases: Vec<usize> = cases.into_iter().filter(is_named).collect();
                if obstacle.code != "CHALLENGE_AWAITED" && !cases.is_empty() {
                    self.reruns(site, &cases, 0).await;
                }
                for place in 0..2 {
                    self.challenges_at(site, place, (true, site.at())).await;
                }
            }
            code => panic!("nobody knows how to answer {code}: {obstacle:?}"),
        }
    }

    fn check(&self, lot: usize, code: &str) -> Option<usize> {
        let plan = self.ledger.lots[lot].plan.map(|plan| &self.ledger.plans[plan])?;
        plan.checks.iter().position(|check| check.code == code)
    }

    /// What can still be read is read; the rest is put before QA, who releases it.
    async fn answers_check(&mut self, site: &mut Site, lot: usize, code: &str) {
        let Some(check) = self.check(lot, code) else { return };
        let plan = self.ledger.lots[lot].plan.expect("every lot is made with a plan");
        let of = &self.ledger.plans[plan].checks[check];
        if of.kind == Kind::Attain && (of.fresh_for_us.is_some() || self.rng.chance(50)) {
            self.reads(site, (lot, check), Verdict::Pass, site.at()).await;
        } else {
            self.by_hand(site, lot, (lot, check)).await;
            self.releases(site).await;
        }
    }

    async fn releases(&mut self, site: &mut Site) {
        for deviation in self.open() {
            self.close(site, deviation, Disposition::ReleaseWithSupport).await;
        }
    }
}

/// Reasons that stand in the way of nearly every lot that was not loaded yet.
fn is_asked_anyway(obstacle: &Obstacle) -> bool {
    obstacle.code.starts_with("CHALLENGE") || obstacle.check == "L-1"
}

fn is_final(obstacle: &Obstacle) -> bool {
    matches!(obstacle.code, "TO_DESTROY" | "REWORK_NOT_COOKED")
}

fn concerns(obstacle: &Obstacle, serial: &str) -> bool {
    obstacle.cases.is_empty() || obstacle.cases.iter().any(|case| case == serial)
}
