//! What goes wrong in a plant, and what people do about it, right or not.
//! It never asks whether the moment is a good one; most of the time something is about to ship.

use domain::haccp::gate::question::{Cover, Disposition, Gap};
use domain::verdict::Verdict;

use super::history::{DEVICES, History, OPEN};
use super::house::Scope;
use super::processes::Process;
use super::writes::{self, Op};

impl History {
    /// Something happens that nobody wished for, or somebody mends something.
    pub fn happens(&mut self) {
        let lot = self.somewhere();
        let device = self.rng.below(DEVICES);
        let is_long_ago = self.rng.chance(40);
        let before = if is_long_ago { self.house.now - 10 } else { 40 };
        let truly = self.house.now - self.rng.within(0, before);
        match self.rng.below(16) {
            0 | 1 => {
                let checks = self.checks(lot);
                if let Some(check) = self.rng.some(&checks) {
                    let verdicts = [Verdict::Fail, Verdict::Pass, Verdict::Undetermined];
                    let verdict = self.rng.pick(&verdicts);
                    self.asks(Op::Reading { lot, check, truly, device, verdict });
                }
            }
            2 if !self.house.findings.is_empty() => {
                let finding = self.rng.below(self.house.findings.len());
                let verdict = self.rng.pick(&[Verdict::Fail, Verdict::Pass]);
                self.asks(Op::Amend { finding, verdict });
            }
            3 if self.rng.chance(40) => self.asks(Op::InstrumentOut { instrument: device }),
            4 => {
                let checks = self.checks(lot);
                if let Some(check) = self.rng.some(&checks) {
                    let gap = Gap { check, from: truly - 30, to: truly };
                    self.asks(Op::Gap { lot, gap });
                }
            }
            5 => self.covers(lot),
            6..10 => self.closes(),
            10 => {
                let scope = self.scope(lot);
                self.asks(Op::PlaceHold(scope));
            }
            11 if !self.house.holds.is_empty() => {
                let hold = self.rng.below(self.house.holds.len());
                if self.house.holds[hold].deviation.is_none() {
                    self.asks(Op::EndHold(hold));
                }
            }
            12 if lot > 0 => {
                let input = self.rng.below(lot);
                let is_made = !self.house.lots[lot].inputs.is_empty();
                if is_made && self.rng.chance(60) && !self.house.lots[lot].inputs.contains(&input) {
                    self.asks(Op::AddInput { lot, input });
                }
            }
            13 if !self.house.cases.is_empty() => {
                let case = self.rng.below(self.house.cases.len());
                let place = self.rng.below(2);
                self.asks(Op::Rerun { case, place });
            }
            14 | 15 => {
                let is_good = self.rng.chance(50);
                let place = self.rng.below(2);
                self.asks(Op::Challenge { place, truly, device, is_good });
            }
            _ => {}
        }
    }

    /// A case of a lot is put in doubt and released at once, while somebody reads its records.
    pub fn passes_by(&mut self, lot: usize) {
        let cases = self.house.left(lot);
        let Some(case) = self.rng.some(&cases) else { return };
        let passings = self.house.cases[case].passings.clone();
        let Some((place, truly)) = self.rng.some(&passings) else { return };
        let op = Op::Challenge { place, truly, device: 0, is_good: false };
        let keys = writes::names(&self.house, &op);
        if keys.iter().any(|key| self.house.locks.contains_key(key)) {
            return;
        }
        let opened = self.house.deviations.len();
        writes::commit(&mut self.house, &op);
        for deviation in opened..self.house.deviations.len() {
            let disposition = Disposition::ReleaseWithSupport;
            writes::commit(&mut self.house, &Op::Close { deviation, disposition });
        }
    }

    /// A lot; often one of a closure that is about to ship.
    fn somewhere(&mut self) -> usize {
        let shipping: Vec<usize> = self.running.iter().filter_map(Process::ships).collect();
        match self.rng.some(&shipping) {
            Some(lot) if self.rng.chance(60) => {
                let closure: Vec<usize> = self.house.closure(lot).into_iter().collect();
                self.rng.pick(&closure)
            }
            _ => self.rng.below(self.house.lots.len()),
        }
    }

    fn covers(&mut self, lot: usize) {
        let gaps: Vec<(usize, Gap)> = self.house.gaps.clone();
        let cover = match self.rng.some(&gaps) {
            Some((lot, gap)) => {
                let from = gap.from - self.rng.within(-1, 5);
                Some((lot, Cover { check: gap.check, from, to: gap.to + 1 }))
            }
            None => {
                let checks = self.checks(lot);
                let check = self.rng.some(&checks);
                check.map(|check| (lot, Cover { check, from: 0, to: self.house.now }))
            }
        };
        if let Some((lot, cover)) = cover {
            self.asks(Op::Cover { lot, cover });
        }
    }

    fn closes(&mut self) {
        use Disposition::{Destroy, Recook, RecordedWrongly, ReleaseWithSupport};
        if self.house.deviations.is_empty() {
            return;
        }
        let deviation = self.rng.below(self.house.deviations.len());
        let disposition = match self.rng.below(20) {
            0 => Destroy,
            1 => Disposition::ReworkWithLethalStep,
            2..5 => Recook,
            5..8 => RecordedWrongly,
            _ => ReleaseWithSupport,
        };
        self.asks(Op::Close { deviation, disposition });
    }

    fn scope(&mut self, lot: usize) -> Scope {
        match self.rng.below(4) {
            0 => Scope::Left(lot),
            1 if !self.house.cases.is_empty() => {
                Scope::Cases(vec![self.rng.below(self.house.cases.len())])
            }
            2 => {
                let (place, to) = (self.rng.below(2), self.rng.within(0, OPEN));
                Scope::SpanOf { lot, place, to }
            }
            _ => Scope::Whole(vec![lot]),
        }
    }
}
