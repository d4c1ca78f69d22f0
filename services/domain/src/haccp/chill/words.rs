//! What a chill is found to be, in sentences with its numbers.
//! It never decides anything, and never rounds a time towards a pass.

use super::{Asked, Shown, Source};
use crate::exact::Exact;
use crate::haccp::cook::{clock, instant};
use crate::haccp::gate::question::At;
use crate::heat::Between;
use crate::heat::cooling::{LimbResult, OptionResult};

/// One track by the option that the plan asks.
pub fn track(shown: &Shown<'_>, asked: &Asked) -> String {
    let kind = match shown.track.source {
        Source::Logger => "Logger",
        Source::Hand => "By hand",
    };
    let name = &shown.track.name;
    let found = match shown.asked(asked) {
        Some(option) if option.applies => by_option(shown, option),
        Some(option) => option.judgement.reasons.join("; "),
        None => "one reading alone bounds nothing".to_owned(),
    };
    let gap = match (shown.track.source, shown.between) {
        (Source::Logger, Between::Bounds) => " Its readings are too far apart for a curve.",
        _ => "",
    };
    format!("{kind} {name}: {}: {found}.{gap}", shown.verdict(asked))
}

/// The other options by the track that decides.
pub fn others(shown: &Shown<'_>, asked: &Asked) -> Vec<String> {
    let others = shown.options.iter().filter(|option| option.rule.id != asked.option);
    let in_words = |option: &OptionResult| match option.applies {
        true => format!(
            "Not asked by the plan, {}: {}: {}.",
            option.rule.id,
            option.judgement.verdict,
            by_option(shown, option)
        ),
        false => {
            let why = option.judgement.reasons.join("; ");
            format!("{} does not apply: {why}.", option.rule.id)
        }
    };
    others.map(in_words).collect()
}

/// That a reading is due.
pub fn due(at: At, first_f: &Exact) -> String {
    let at = clock(at);
    format!("Take a reading by {at}, before the product passes {first_f} [degF].")
}

fn by_option(shown: &Shown<'_>, option: &OptionResult) -> String {
    let limbs = option.limbs.iter().map(|limb| by_limb(shown, limb));
    limbs.collect::<Vec<_>>().join("; ")
}

fn by_limb(shown: &Shown<'_>, limb: &LimbResult) -> String {
    let LimbResult { from_f, to_f, limit_s, .. } = limb;
    let head = format!("{from_f} to {to_f} [degF]");
    let most = format!("at most {} min are allowed", minutes(limit_s));
    let verdict = limb.judgement.verdict;
    if let Some(timed) = &limb.timed {
        let taken_s = timed.length_s();
        let at = |after_s| instant(shown.pulled_at, after_s).map(|at| clock(at).to_string());
        let (from, to) = (at(&timed.from_s), at(&timed.to_s));
        let (from, to) = (from.unwrap_or_default(), to.unwrap_or_default());
        let over = match taken_s > *limit_s {
            true => format!(", {} min too long", minutes(&(&taken_s - limit_s))),
            false => String::new(),
        };
        let taken = minutes(&taken_s);
        return format!("{head} in {taken} min, {from} to {to}, {verdict}{over} ({most})");
    }
    let Some(taken) = &limb.taken else {
        return format!("{head}: {verdict}, {}", limb.judgement.reasons.join("; "));
    };
    let least = taken.least_s.as_ref().map(|s| minutes(&floor_at_hundredths_of_a_minute(s)));
    let longest = taken.most_s.as_ref().map(minutes);
    let bound = |known: Option<String>| known.map_or("unknown".to_owned(), |m| format!("{m} min"));
    let (least, longest) = (bound(least), bound(longest));
    format!("{head} in at least {least} and at most {longest}, {verdict} ({most})")
}

/// Seconds in minutes, rounded up to the hundredth.
fn minutes(seconds: &Exact) -> String {
    let hundred = Exact::whole(100);
    ((seconds * &hundred / Exact::whole(60)).ceil() / hundred).to_string()
}

fn floor_at_hundredths_of_a_minute(seconds: &Exact) -> Exact {
    let hundredth_s = Exact::whole(60) / Exact::whole(100);
    (seconds / &hundredth_s).floor() * hundredth_s
}
