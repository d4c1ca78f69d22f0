//! Makes a question that shows a fault small, so that a person can read it.
//! It never keeps a change after which the fault is gone.

use domain::haccp::gate::question::{Lot, Question};

/// The smallest question found for which the fault is still there.
pub fn shrunk(mut question: Question, is_faulty: impl Fn(&Question) -> bool) -> Question {
    loop {
        let smaller = candidates(&question).into_iter().find(|one| is_faulty(one));
        match smaller {
            Some(smaller) => question = smaller,
            None => return question,
        }
    }
}

fn candidates(question: &Question) -> Vec<Question> {
    let mut all = Vec::new();
    let mut with = |change: &dyn Fn(&mut Question)| {
        let mut one = question.clone();
        change(&mut one);
        all.push(one);
    };
    for ship in 0..question.ships.len() {
        with(&|one| drop(one.ships.remove(ship)));
        for case in 0..question.ships[ship].cases.len() {
            with(&|one| drop(one.ships[ship].cases.remove(case)));
        }
    }
    for challenge in 0..question.challenges.len() {
        with(&|one| drop(one.challenges.remove(challenge)));
    }
    for (at, lot) in question.lots.iter().enumerate() {
        for kept in 0..lot.inputs.len() {
            with(&|one| {
                one.lots[at].inputs.remove(kept);
            });
        }
        lists(lot, &mut |change| with(&|one| change(&mut one.lots[at])));
    }
    all
}

type Change<'a> = &'a dyn Fn(&mut Lot);

fn lists(lot: &Lot, with: &mut dyn FnMut(Change)) {
    for at in 0..lot.findings.len() {
        with(&|lot| {
            lot.findings.remove(at);
        });
    }
    for at in 0..lot.gaps.len() {
        with(&|lot| {
            lot.gaps.remove(at);
        });
    }
    for at in 0..lot.covers.len() {
        with(&|lot| {
            lot.covers.remove(at);
        });
    }
    for at in 0..lot.deviations.len() {
        with(&|lot| {
            lot.deviations.remove(at);
        });
    }
    for at in 0..lot.silent.len() {
        with(&|lot| {
            lot.silent.remove(at);
        });
    }
    for at in 0..lot.blocks.len() {
        with(&|lot| {
            lot.blocks.remove(at);
        });
    }
}
