//! A chill read by hand, and the logger that was read out later, to the second.
//! It never leaves the tests. The readings are invented; times follow from them.

use super::*;
use crate::haccp::samples::Block;
use crate::units::Unit;
use rust_decimal::Decimal;

/// 2026-11-25T10:05:00Z, the end of the cook.
const PULLED_S: i64 = 1_795_564_800 + 10 * 3600 + 5 * 60;
const PULLED_AT: At = PULLED_S * 1_000_000;

fn track(name: &str, source: Source, samples: Vec<(Decimal, Decimal)>) -> Track {
    let correction = Decimal::ZERO;
    let block = Block { begun_at: PULLED_AT, samples, unit: Unit::Fahrenheit, correction };
    Track { name: name.into(), source, line: Line::of([&block]).expect("a line") }
}

fn minute(minute: i64) -> At {
    PULLED_AT + minute * 60_000_000
}

fn by_hand(last: usize) -> Track {
    let readings = [(0, "158.4"), (65, "107.4"), (115, "83.1"), (126, "79.0")];
    let sample = |(minute, value): &(i64, &str)| {
        (Decimal::from(minute * 60), crate::exact::decimal(value).expect("a decimal"))
    };
    track("T-03", Source::Hand, readings[..last].iter().map(sample).collect())
}

/// Minute by minute, T = 36 + 122.4 e^(-0.0083 t) [degF], rounded to a tenth.
fn logger(minutes: std::ops::RangeInclusive<i64>) -> Track {
    let sample = |minute: i64| {
        let value = 36.0 + 122.4 * libm::exp(-0.0083 * minute as f64);
        (Decimal::from(minute * 60), Decimal::new(libm::round(value * 10.0) as i64, 1))
    };
    track("L-7", Source::Logger, minutes.map(sample).collect())
}

fn asked(option: u8) -> Asked {
    let option = format!("us.chill.option-{option}");
    Asked { option, edition: "1999".into(), product: ChilledProduct::default() }
}

fn seconds(limb: &Limb) -> (Option<Exact>, Option<Exact>) {
    (limb.taken.least_s.clone(), limb.taken.most_s.clone())
}

#[test]
fn a_reading_is_due_before_the_product_passes_130() {
    let unread = judge(&[], PULLED_AT, &asked(1));
    assert_eq!((unread.verdict, unread.seen_until), (Verdict::Undetermined, None));
    assert_eq!(unread.reading_due_at, Some(minute(20)));
    let words = "Take a reading by 2026-11-25T10:25:00Z, before the product passes 130 [degF].";
    assert!(unread.reasons.contains(&words.to_owned()), "{:?}", unread.reasons);
    assert_eq!(judge(&[by_hand(1)], PULLED_AT, &asked(1)).reading_due_at, Some(minute(20)));
    assert_eq!(judge(&[by_hand(2)], PULLED_AT, &asked(1)).reading_due_at, None);
    assert_eq!(judge(&[logger(0..=10)], PULLED_AT, &asked(1)).reading_due_at, None);
}

#[test]
fn readings_by_hand_bound_the_first_limb_and_prove_nothing() {
    // Option 1: 130 to 80 [degF] in 90 min (FSIS Appendix B, 64 FR 732).
    let found = judge(&[by_hand(4)], PULLED_AT, &asked(1));
    assert_eq!(found.verdict, Verdict::Undetermined);
    let minutes = |m: i64| Some(Exact::whole(m * 60));
    assert_eq!(seconds(&found.limbs[0]), (minutes(50), minutes(126)));
    assert!(found.reasons[0].contains("at least 50 min and at most 126 min, UNDETERMINED"));
    assert_eq!(found.seen_until, Some(minute(126)));
}

#[test]
fn the_logger_decides_and_the_hand_stays_beside_it() {
    let found = judge(&[by_hand(4), logger(0..=411)], PULLED_AT, &asked(1));
    assert_eq!(found.verdict, Verdict::Fail);
    let exact = |s: &str| Some(s.parse::<Exact>().expect("a decimal"));
    assert_eq!(seconds(&found.limbs[0]), (exact("5490"), exact("5490")));
    assert_eq!(found.limbs[0].verdict, Verdict::Fail);
    // 287.75 min of at most 300.
    assert_eq!(seconds(&found.limbs[1]), (exact("17265"), exact("17265")));
    assert_eq!(found.limbs[1].verdict, Verdict::Pass);
    assert!(found.reasons[0].starts_with("By hand T-03: UNDETERMINED"), "{:?}", found.reasons);
    let logger = &found.reasons[1];
    for part in ["91.5 min", "T10:36:45Z to 2026-11-25T12:08:15Z", "1.5 min too long", "287.75 min"]
    {
        assert!(logger.contains(part), "{part}: {logger}");
    }
    assert!(
        found.reasons[2].contains("us.chill.option-2: FAIL: 120 to 80 [degF] in 77.83 min"),
        "{found:?}"
    );
    assert!(found.reasons[3].starts_with("us.chill.option-3 does not apply: "));
    assert!(found.reasons[3].contains("none recorded"), "{}", found.reasons[3]);
}

#[test]
fn a_logger_still_running_fails_as_soon_as_the_time_is_over() {
    let still = judge(&[logger(0..=121)], PULLED_AT, &asked(1));
    assert_eq!(still.verdict, Verdict::Undetermined, "90 min from 10:36:45 end at 12:06:45");
    let so_far = "5355".parse::<Exact>().ok();
    assert_eq!(seconds(&still.limbs[0]), (so_far, None), "89.25 min have passed");
    assert_eq!(seconds(&still.limbs[1]), (None, None), "the second has not begun");
    assert_eq!(judge(&[logger(0..=122)], PULLED_AT, &asked(1)).verdict, Verdict::Fail);
}

#[test]
fn the_worst_of_several_decides() {
    let quick = [(0, "158"), (30, "120"), (31, "79"), (200, "39")];
    let quick =
        quick.map(|(m, v)| (Decimal::from(m * 60), crate::exact::decimal(v).expect("a decimal")));
    let hand = track("T-04", Source::Hand, quick.to_vec());
    assert_eq!(judge(std::slice::from_ref(&hand), PULLED_AT, &asked(1)).verdict, Verdict::Pass);
    assert_eq!(
        judge(&[hand.clone(), by_hand(4)], PULLED_AT, &asked(1)).verdict,
        Verdict::Undetermined
    );
    assert_eq!(judge(&[hand, logger(0..=411)], PULLED_AT, &asked(1)).verdict, Verdict::Fail);
    // The same readings of a logger are too far apart for a curve.
    let sparse = track("L-8", Source::Logger, quick.to_vec());
    let found = judge(&[sparse], PULLED_AT, &asked(1));
    assert_eq!(found.verdict, Verdict::Pass);
    assert!(found.reasons[0].ends_with("too far apart for a curve."));
}

#[test]
fn what_came_before_the_pull_and_options_without_numbers_prove_nothing() {
    let late = minute(500);
    let found = judge(&[logger(0..=411)], late, &asked(1));
    assert_eq!((found.verdict, found.seen_until), (Verdict::Undetermined, None));
    let found = judge(&[logger(0..=411)], PULLED_AT, &asked(4));
    assert_eq!((found.verdict, found.limbs.len()), (Verdict::Undetermined, 0));
    assert!(
        found.reasons.iter().any(|reason| reason.starts_with("No numbers of us.chill.option-4"))
    );
    let found = judge(&[logger(0..=411)], PULLED_AT, &asked(3));
    assert_eq!(found.verdict, Verdict::Undetermined, "the gate of option 3 is shut");
}
