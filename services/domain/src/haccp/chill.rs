//! What readings and loggers prove of a chill, from the pull of the racks on.
//! It never draws a line between readings by hand, and never lets a growth estimate release.

mod words;

use super::gate::question::At;
use super::samples::Line;
use crate::exact::Exact;
use crate::heat::Between;
use crate::heat::bounds::Taken;
use crate::heat::cooling::{self, ChilledProduct, LimbResult, OptionResult};
use crate::heat::probes::{Probes, Worst};
use crate::rules::Rule;
use crate::verdict::Verdict;

/// The longest time between two readings of a logger over which it still draws a curve, in
/// microseconds: beyond it its readings bound, as those of a hand (common practice, no source).
const LONGEST_GAP: At = 900_000_000;
/// A reading is due this long after the end of the cook or the last reading, in microseconds, until
/// the first limb has begun (common practice, no source).
const READ_WITHIN: At = 20 * 60_000_000;

/// How readings came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Of a probe that went along, or of a logger that was read out: straight lines between them.
    Logger,
    /// By hand: nothing is known but the readings.
    Hand,
}

/// What one logger showed, or one hand read.
#[derive(Clone, Debug)]
pub struct Track {
    /// As it is called.
    pub name: String,
    /// How it came.
    pub source: Source,
    /// Its readings, also those before the pull.
    pub line: Line,
}

/// What the plan asks.
#[derive(Clone, Debug)]
pub struct Asked {
    /// The rule of the option: `us.chill.option-1`.
    pub option: String,
    /// 1999 or 2021.
    pub edition: String,
    /// The product.
    pub product: ChilledProduct,
}

/// A limb against what is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limb {
    /// From this, in [degF].
    pub from_f: Exact,
    /// Down to this, in [degF].
    pub to_f: Exact,
    /// The most it may take, in seconds.
    pub limit_s: Exact,
    /// How long it took as far as is known.
    pub taken: Taken,
    /// Against the limit.
    pub verdict: Verdict,
}

/// What is proved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChillFound {
    /// Of the worst track that decides.
    pub verdict: Verdict,
    /// One sentence a track, then what else a person should know.
    pub reasons: Vec<String>,
    /// The limbs by the track that decides.
    pub limbs: Vec<Limb>,
    /// The last reading that was looked at; nothing while there is none.
    pub seen_until: Option<At>,
    /// When a reading is due, while nobody knows how warm it is and it can still be taken.
    pub reading_due_at: Option<At>,
}

/// What one track shows.
struct Shown<'a> {
    track: &'a Track,
    line: Line,
    /// The zero of the clock by which it was judged.
    pulled_at: At,
    options: Vec<OptionResult>,
    between: Between,
}

impl Shown<'_> {
    fn asked<'s>(&'s self, asked: &Asked) -> Option<&'s OptionResult> {
        self.options.iter().find(|option| option.rule.id == asked.option)
    }

    /// An option whose gate is shut proves nothing either way.
    fn verdict(&self, asked: &Asked) -> Verdict {
        let option = self.asked(asked).filter(|option| option.applies);
        option.map_or(Verdict::Undetermined, |option| option.judgement.verdict)
    }
}

/// Judges a chill that began with the pull. A failure of any track is one of the chill; otherwise
/// loggers decide where there are any, the worst of them, and else the worst of what was read by
/// hand.
pub fn judge(tracks: &[Track], pulled_at: At, asked: &Asked) -> ChillFound {
    let shown: Vec<Shown> =
        tracks.iter().filter_map(|track| shown(track, pulled_at, asked)).collect();
    let failed = || shown.iter().filter(|one| one.verdict(asked) == Verdict::Fail);
    let has_logger = shown.iter().any(|one| one.track.source == Source::Logger);
    let wanted = if has_logger { Source::Logger } else { Source::Hand };
    let deciding = || shown.iter().filter(|one| one.track.source == wanted);
    let verdict = match (failed().next(), deciding().next()) {
        (Some(_), _) => Verdict::Fail,
        (None, None) => Verdict::Undetermined,
        _ => Verdict::of_all(deciding().map(|one| one.verdict(asked))),
    };
    let decides = failed().next().or_else(|| deciding().find(|one| one.verdict(asked) == verdict));
    let mut reasons: Vec<String> = shown.iter().map(|one| words::track(one, asked)).collect();
    if shown.is_empty() {
        reasons.push("Nobody has read it since the pull.".into());
    }
    let limbs = decides.and_then(|one| one.asked(asked)).map(limbs).unwrap_or_default();
    reasons.extend(decides.into_iter().flat_map(|one| words::others(one, asked)));
    let first_f = first_f(asked);
    if first_f.is_none() {
        reasons.push(format!("No numbers of {}, {}, are held.", asked.option, asked.edition));
    }
    let due =
        first_f.and_then(|first_f| Some((reading_due_at(&shown, pulled_at, &first_f)?, first_f)));
    reasons.extend(due.iter().map(|(due, first_f)| words::due(*due, first_f)));
    let reading_due_at = due.map(|(due, _)| due);
    let seen_until = shown.iter().filter_map(|one| one.line.last()).map(|last| last.at).max();
    ChillFound { verdict, reasons, limbs, seen_until, reading_due_at }
}

/// Judges the track from the last reading at or before the pull on; nothing where nothing follows.
fn shown<'a>(track: &'a Track, pulled_at: At, asked: &Asked) -> Option<Shown<'a>> {
    let line = track.line.since(pulled_at);
    if line.last().is_none_or(|last| last.at < pulled_at) {
        return None;
    }
    let is_curve = track.source == Source::Logger && line.longest_gap() <= LONGEST_GAP;
    let between = if is_curve { Between::Linear } else { Between::Bounds };
    let options = options(&line, (pulled_at, between), asked).unwrap_or_default();
    Some(Shown { track, line, pulled_at, options, between })
}

fn options(
    line: &Line,
    (pulled_at, between): (At, Between),
    asked: &Asked,
) -> Option<Vec<OptionResult>> {
    let curve = line.curve(Worst::Warmest, pulled_at)?;
    let probes = Probes::new(&[curve], Worst::Warmest, &Exact::zero()).ok()?;
    let chill = cooling::Chill {
        probes: &probes,
        product: &asked.product,
        cook_ended_s: Exact::zero(),
        chill_started_s: Some(Exact::zero()),
        between,
    };
    Some(cooling::judge(&chill, &asked.edition))
}

fn limbs(option: &OptionResult) -> Vec<Limb> {
    let running = |limb: &LimbResult| {
        limb.running_s.clone().map(|so_far_s| Taken { least_s: Some(so_far_s), most_s: None })
    };
    let limb = |limb: &LimbResult| Limb {
        from_f: limb.from_f.clone(),
        to_f: limb.to_f.clone(),
        limit_s: limb.limit_s.clone(),
        taken: limb.taken.clone().or_else(|| running(limb)).unwrap_or_default(),
        verdict: limb.judgement.verdict,
    };
    option.limbs.iter().map(limb).collect()
}

/// Where the clock of the first limb starts, in [degF].
fn first_f(asked: &Asked) -> Option<Exact> {
    Rule::edition(&asked.option, &asked.edition)?.rows.first()?.number("from_f")
}

/// While only hands read, and the last of them found it above where the first limb begins.
fn reading_due_at(shown: &[Shown<'_>], pulled_at: At, first_f: &Exact) -> Option<At> {
    if shown.iter().any(|one| one.track.source == Source::Logger) {
        return None;
    }
    let last = shown.iter().filter_map(|one| one.line.last()).max_by_key(|last| last.at);
    if last.is_some_and(|last| Exact::from(last.highest_f) <= *first_f) {
        return None;
    }
    let since = last.map_or(pulled_at, |last| last.at.max(pulled_at));
    Some(since.saturating_add(READ_WITHIN))
}

#[cfg(test)]
mod tests;
