//! Random questions: a plant with readings, misses, dispositions, covers, challenges and reviews.
//! It never decides what must come out; most is well, so that what is not decides.

use domain::haccp::gate::question::{
    Block, Case, Challenge, Closing, Concerns, Cover, Deviation, Disposition, Finding, Gap, Kind,
    LotKind, Question, Review, Ship,
};
use domain::verdict::Verdict;

use super::graphs::{self, STEP};
use super::plans;
use super::random::Rng;

/// When it is asked.
pub const NOW: i64 = 1_000;

const DISPOSITIONS: [Disposition; 7] = [
    Disposition::ReleaseWithSupport,
    Disposition::ReleaseWithSupport,
    Disposition::ReleaseWithSupport,
    Disposition::Recook,
    Disposition::ReworkWithLethalStep,
    Disposition::Destroy,
    Disposition::RecordedWrongly,
];

/// The question of a seed.
pub fn question(seed: u64) -> Question {
    let mut rng = Rng::of(seed);
    let mut question = Question {
        plans: plans::plans(&mut rng),
        lots: Vec::new(),
        deviations: Vec::new(),
        challenges: Vec::new(),
        ships: Vec::new(),
        at: NOW,
    };
    let most = rng.pick(&[8, 20, 40, 60]);
    graphs::grow(&mut question, &mut rng, most);
    let faults = rng.pick(&[0, 4, 12, 40]);
    let mut records = Records { question, rng, faults };
    records.lots();
    records.challenges();
    records.ships();
    records.strays();
    records.seen();
    records.question
}

struct Records {
    question: Question,
    rng: Rng,
    /// How many in a thousand checks are not simply met.
    faults: u64,
}

impl Records {
    fn lots(&mut self) {
        for lot in 0..self.question.lots.len() {
            let Some(plan) = self.question.lots[lot].plan else { continue };
            for check in 0..self.question.plans[plan].checks.len() {
                let of = &self.question.plans[plan].checks[check];
                let on = self.question.plans[plan].steps[of.step].on;
                if of.kind != Kind::Bracket && on == self.question.lots[lot].kind {
                    self.check(lot, check);
                }
            }
        }
    }

    fn check(&mut self, lot: usize, check: usize) {
        let is_fresh = self.of(lot, check).fresh_for_us.is_some();
        let made = if is_fresh { 960 } else { i64::try_from(lot).expect("few lots") * STEP };
        if !self.rng.per_mille(self.faults) {
            let late = self.rng.chance(10);
            let at = self.find(lot, check, made + 1, Verdict::Pass);
            self.question.lots[lot].findings[at].is_late = late;
            if self.rng.chance(20) {
                self.find(lot, check, made + 2, Verdict::Pass);
            }
            return;
        }
        match self.rng.below(8) {
            0 => self.missing(lot, check),
            1 | 2 => self.failed(lot, check, made),
            3 => self.undetermined(lot, check, made),
            4 | 5 => self.missed(lot, check, made),
            6 => self.attempted(lot, check, made),
            _ => {
                let early = self.rng.pick(&[900, 700, made]);
                self.find(lot, check, early, Verdict::Pass);
            }
        }
    }

    fn of(&self, lot: usize, check: usize) -> &domain::haccp::gate::question::Check {
        let plan = self.question.lots[lot].plan.expect("a lot whose checks are recorded");
        &self.question.plans[plan].checks[check]
    }

    fn find(&mut self, lot: usize, check: usize, at: i64, verdict: Verdict) -> usize {
        let known_at = at + self.rng.pick(&[0, 0, 0, 1, 30]);
        let findings = &mut self.question.lots[lot].findings;
        findings.push(Finding { check, at, known_at, is_late: false, verdict, deviation: None });
        findings.len() - 1
    }

    fn missing(&mut self, lot: usize, check: usize) {
        self.answer(lot, check, 0, 0);
    }

    fn failed(&mut self, lot: usize, check: usize, made: i64) {
        let at = made + self.rng.within(1, 9);
        let found = self.find(lot, check, at, Verdict::Fail);
        let code = self.of(lot, check).code.clone();
        let closing = self.closing(at);
        let deviation = self.about(lot, code, closing);
        let deviation = self.opens(deviation);
        self.question.lots[lot].findings[found].deviation = Some(deviation);
        if self.rng.chance(80) {
            self.question.lots[lot].deviations.push(deviation);
        }
        if self.rng.chance(50) {
            let again = at + self.rng.within(-1, 12);
            let verdict = self.rng.pick(&[Verdict::Pass, Verdict::Pass, Verdict::Fail]);
            self.find(lot, check, again, verdict);
        }
    }

    fn undetermined(&mut self, lot: usize, check: usize, made: i64) {
        if self.rng.chance(50) {
            self.find(lot, check, made + 1, Verdict::Pass);
        }
        let at = made + self.rng.within(0, 3);
        self.find(lot, check, at, Verdict::Undetermined);
        self.answer(lot, check, at, at);
    }

    fn missed(&mut self, lot: usize, check: usize, made: i64) {
        if self.rng.chance(90) {
            self.find(lot, check, made + 6, Verdict::Pass);
        }
        let (from, to) = (made, made + self.rng.within(2, 5));
        self.question.lots[lot].gaps.push(Gap { check, from, to });
        self.answer(lot, check, from, to);
    }

    /// Attempts, of which the last may be met, without a deviation.
    fn attempted(&mut self, lot: usize, check: usize, made: i64) {
        self.find(lot, check, made + 1, Verdict::Fail);
        let at = made + self.rng.within(0, 3);
        let verdict = self.rng.pick(&[Verdict::Pass, Verdict::Pass, Verdict::Undetermined]);
        self.find(lot, check, at, verdict);
        if self.rng.chance(40) {
            self.answer(lot, check, made + 1, at);
        }
    }

    fn answer(&mut self, lot: usize, check: usize, from: i64, to: i64) {
        match self.rng.below(10) {
            0..4 => {
                let (from, to) = (from - self.rng.within(-1, 3), to + self.rng.within(-1, 3));
                let checks =
                    self.question.plans[self.question.lots[lot].plan.unwrap_or(0)].checks.len();
                let check = if self.rng.chance(90) { check } else { self.rng.below(checks) };
                self.question.lots[lot].covers.push(Cover { check, from, to });
            }
            4..8 => {
                let code = self.of(lot, check).code.clone();
                let closing = self.closing(to);
                let by_hand = self.rng.chance(90);
                let deviation = Deviation { by_hand, ..self.about(lot, code, closing) };
                let deviation = self.opens(deviation);
                self.question.lots[lot].deviations.push(deviation);
                if closing != Closing::Open && self.rng.chance(30) {
                    let at = to + self.rng.within(0, 30);
                    self.find(lot, check, at, Verdict::Pass);
                }
            }
            _ => {}
        }
    }

    fn closing(&mut self, at: i64) -> Closing {
        let disposition = self.rng.pick(&DISPOSITIONS);
        let at = at + self.rng.within(-2, 32);
        if self.rng.chance(15) { Closing::Open } else { Closing::Closed { disposition, at } }
    }

    /// A deviation of a check of the lot's plan, which names whole lots.
    fn about(&self, lot: usize, check: String, closing: Closing) -> Deviation {
        let at = self.question.deviations.len();
        let plan = self.question.lots[lot].plan.unwrap_or(0);
        Deviation {
            name: format!("D{at}"),
            id: at.to_string(),
            check,
            plan: self.question.plans[plan].identity,
            by_hand: false,
            concerns: Concerns::Lots,
            closing,
        }
    }

    fn opens(&mut self, deviation: Deviation) -> usize {
        self.question.deviations.push(deviation);
        self.question.deviations.len() - 1
    }

    /// Every fifteen or so at two places, for each device; the last one usually good.
    fn challenges(&mut self) {
        for place in 0..2 {
            for device in ["metal_detector", "film"] {
                let mut last_good = None;
                let mut at = self.rng.within(0, 15);
                while at < NOW {
                    let is_good = !self.rng.per_mille(self.faults);
                    self.challenge((place, device, at), is_good, last_good);
                    if is_good {
                        last_good = Some(at);
                    }
                    at += self.rng.pick(&[0, 10, 15, 15, 20, 60]);
                }
                if !self.rng.per_mille(self.faults * 2) {
                    self.challenge((place, device, NOW), true, last_good);
                }
            }
        }
    }

    fn challenge(&mut self, at: (usize, &str, i64), is_good: bool, from: Option<i64>) {
        let (place, device, at) = at;
        let mut deviation = None;
        if !is_good && self.rng.chance(90) {
            let closing = self.closing(at);
            let concerns = Concerns::Span { place, from, to: at };
            let opened = Deviation { concerns, ..self.about(0, "CCP-3".to_owned(), closing) };
            deviation = Some(self.opens(opened));
        }
        let device = device.to_owned();
        self.question.challenges.push(Challenge { place, device, at, is_good, deviation });
    }

    fn ships(&mut self) {
        let lots: Vec<usize> = (0..self.question.lots.len())
            .filter(|&lot| {
                let kind = self.question.lots[lot].kind;
                kind == LotKind::Finished || (kind == LotKind::OpeningStock && lot % 3 == 0)
            })
            .collect();
        for _ in 0..1 + self.rng.below(4) {
            let Some(lot) = self.rng.some(&lots) else { return };
            let ship = self.question.ships.len();
            let cases = (0..self.rng.below(5)).map(|at| self.case(ship, lot, at)).collect();
            let review = match self.rng.below(20) {
                0 => Review::Missing,
                1..5 => Review::NotAsked,
                5 => Review::Signed {
                    excepted: vec![format!("{ship}-0"), format!("{ship}-9")],
                    seen: Vec::new(),
                },
                _ => Review::Signed { excepted: Vec::new(), seen: Vec::new() },
            };
            self.question.ships.push(Ship { lot, cases, review });
        }
    }

    fn case(&mut self, ship: usize, lot: usize, at: usize) -> Case {
        let made = i64::try_from(lot).expect("few lots") * STEP;
        let never = self.rng.per_mille(self.faults);
        let mut passings = vec![(self.rng.below(2), made + self.rng.within(1, 9))];
        if self.rng.chance(20) {
            passings.insert(0, (self.rng.below(2), self.rng.within(made, NOW)));
        }
        if never {
            passings.clear();
        }
        Case { serial: format!("{ship}-{at}"), passings }
    }

    /// Deviations that name lots for checks of other lots, blocks, silence.
    fn strays(&mut self) {
        for lot in 0..self.question.lots.len() {
            if self.rng.per_mille(self.faults / 4) {
                self.question.lots[lot].silent.push("tablet".to_owned());
            }
            if self.rng.per_mille(self.faults / 4) {
                self.question.lots[lot].blocks.push(Block {
                    code: "FOREIGN_MATERIAL",
                    what: "steel".to_owned(),
                    who: "QA",
                    way_on: "answer".to_owned(),
                });
            }
            if self.rng.per_mille(self.faults) {
                let plan = self.question.lots[lot].plan.unwrap_or(0);
                let checks = self.question.plans[plan].checks.len();
                let check = self.rng.below(checks);
                let code = self.question.plans[plan].checks[check].code.clone();
                let closing = self.closing(NOW - 60);
                let deviation = Deviation { by_hand: true, ..self.about(lot, code, closing) };
                let deviation = self.opens(deviation);
                self.question.lots[lot].deviations.push(deviation);
            }
        }
    }

    /// Most reviews have seen all that was not met; some have not.
    fn seen(&mut self) {
        let unmet = domain::haccp::gate::reviewable(&self.question).unmet;
        for (ship, names) in self.question.ships.iter_mut().zip(unmet) {
            if let Review::Signed { seen, .. } = &mut ship.review {
                let faults = self.faults;
                *seen = names.into_iter().filter(|_| !self.rng.per_mille(faults)).collect();
            }
        }
    }
}
