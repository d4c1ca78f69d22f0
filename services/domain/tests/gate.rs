//! The proof of the safety gate: its judgement against a plain model, and its protocol in a plant.
//! It never trusts the judgement: the model is written from the rule alone.
//!
//! `GATE_SEED` sets the first seed and `GATE_HISTORIES` how many follow; both are printed.

mod gate {
    pub mod graphs;
    pub mod judged;
    pub mod model;
    pub mod plans;
    pub mod questions;
    pub mod random;
    pub mod shrink;
}

use gate::{judged, questions, shrink};

fn number(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

#[test]
fn the_judgement_says_what_the_plain_model_says() {
    let (first, count) = (number("GATE_SEED", 1), number("GATE_HISTORIES", 2_000));
    println!("questions: seeds {first} to {}", first + count - 1);
    let mut total = (0, 0);
    for seed in first..first + count {
        let question = questions::question(seed);
        if let Some(difference) = judged::difference(&question) {
            let small = shrink::shrunk(question, |one| judged::difference(one).is_some());
            let difference = judged::difference(&small).unwrap_or(difference);
            panic!("seed {seed}: {difference}\n{small:#?}");
        }
        let (left, all) = judged::leaving(&question);
        total = (total.0 + left, total.1 + all);
    }
    println!("{} of {} cases could leave", total.0, total.1);
    assert!(total.0 * 5 > total.1 && total.0 * 10 < total.1 * 9, "{total:?} proves little");
}
