//! The proof of the safety gate: its judgement against a plain model, and its protocol in a plant.
//! It never trusts the judgement: the model is written from the rule alone.
//!
//! `GATE_SEED` sets the first seed and `GATE_HISTORIES` how many follow; both are printed. A fault
//! is shown with its seed; the question that shows it, made small, belongs into `gate/replays.rs`.
//!
//! What this does not prove. Transactions are single steps that lock, and then commit: Postgres is
//! taken at its word. How records become a question (which readings an instrument spoils, which
//! gaps a load has, where a lot was) is written here a second time and simply; the services' own
//! reading is tested through the program. One shipment is of one lot. Lots are all made before the
//! docks open; only inputs join later. Labels, foreign material, looks at silent stations and
//! messages refused for good are not played.

mod gate {
    pub mod graphs;
    pub mod history;
    pub mod house;
    pub mod judged;
    pub mod mishaps;
    pub mod model;
    pub mod plans;
    pub mod processes;
    pub mod questions;
    pub mod random;
    pub mod replays;
    pub mod settle;
    pub mod shrink;
    pub mod views;
    pub mod writes;
}

use gate::house::Broken;
use gate::{history, judged, questions, shrink};

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

#[test]
fn no_unsafe_case_leaves_and_none_is_stuck() {
    let (first, count) = (number("GATE_SEED", 1), number("GATE_HISTORIES", 2_000));
    println!("histories: seeds {first} to {}", first + count - 1);
    let mut shipped = 0;
    for seed in first..first + count {
        match history::play(seed, Broken::Nothing) {
            Ok(left) => shipped += left,
            Err(fault) => panic!("seed {seed}: {fault}"),
        }
    }
    println!("{shipped} cases left");
    assert!(shipped > usize::try_from(count).expect("a count"), "{shipped} cases prove little");
}

#[test]
fn each_broken_rule_of_the_protocol_is_found() {
    let mut living = Vec::new();
    for broken in BROKEN {
        let found = (1..=2_000)
            .find_map(|seed| history::play(seed, broken).err().map(|fault| (seed, fault)));
        match found {
            Some((seed, fault)) => {
                let fault: String = fault.chars().take(100).collect();
                println!("{broken:?}: seed {seed}: {fault}");
            }
            None => living.push(broken),
        }
    }
    assert!(living.is_empty(), "not found: {living:?}");
}

const BROKEN: [Broken; 19] = [
    Broken::NoVersionsAdded,
    Broken::PlantRowNotAdded,
    Broken::NotCompared,
    Broken::PlantRowNotCompared,
    Broken::ReadAfterwards,
    Broken::NoLocks,
    Broken::OldAnswerTaken,
    Broken::CasesTakenTwice,
    Broken::HoldsNotRead,
    Broken::HoldAddsNothing,
    Broken::InputAddsNothing,
    Broken::ReviewOfAnyVersions,
    Broken::ReviewForgetsWhatItSaw,
    Broken::SignedUnseen,
    Broken::SilenceNotRead,
    Broken::OffsetNotAdded,
    Broken::MessagesForgotten,
    Broken::MessagesTwice,
    Broken::MessagesInAnyOrder,
];
