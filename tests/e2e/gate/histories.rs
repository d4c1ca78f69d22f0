//! Random histories through the real program: small plants, faults, retries, kills, shipments.
//! It never believes the program: what may leave is asked of the plain model, on what was sent.
//!
//! `HISTORIES` sets how many are played and `HISTORY_SEED` the first; both are printed.

mod events;
mod growth;
mod ledger;
#[path = "../../../services/domain/tests/gate/model.rs"]
#[expect(dead_code, reason = "the proof in memory asks it more than this one does")]
mod model;
mod plans;
#[path = "../../../services/domain/tests/gate/random.rs"]
mod random;
mod settle;
mod site;

use self::growth::History;
use self::random::Rng;
use self::site::Site;

fn number(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

#[tokio::test]
async fn no_unsafe_case_leaves_the_real_program_and_none_is_stuck() {
    let (first, count) = (number("HISTORY_SEED", 1), number("HISTORIES", 12));
    println!("histories: seeds {first} to {}", first + count - 1);
    let mut site = Site::open().await;
    let (mut left, mut refused, mut dead) = (0, 0, 0);
    for seed in first..first + count {
        println!("history {seed}");
        let history = History::grown(&mut site, Rng::of(seed)).await;
        let ended = history.played(&mut site).await;
        let ended = ended.unwrap_or_else(|fault| panic!("history {seed}: {fault}"));
        left += ended.left;
        refused += ended.refused;
        dead += ended.dead;
    }
    println!(
        "{left} cases left, {dead} were disposed of otherwise; {refused} shipments were refused; \
         {} calls, {} said twice, {} kills",
        site.calls, site.twice, site.kills
    );
    assert!(left > usize::try_from(count).expect("a count"), "{left} cases prove little");
    assert!(refused > 0, "nothing was ever refused");
    site.plant.stop().await;
}
