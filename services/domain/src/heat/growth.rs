//! How far Clostridium perfringens could have grown in a chill: support for a person's decision.
//! It never gives a number for cured product and never changes the verdict of a chill.

use super::probes::Probes;
use super::sweep::Piece;
use crate::verdict::{Judgement, Verdict};

/// A published set of parameters, from spores in uncured product.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameters {
    /// Ours: `cp.beef-braised`.
    pub id: &'static str,
    /// What it is, in a few words.
    pub title: &'static str,
    /// Where the temperatures and the rate were published.
    pub citation: &'static str,
    /// Which reading of it.
    pub edition: &'static str,
    /// No growth at or below it, in Cel.
    pub least_c: f64,
    /// Fastest growth, in Cel.
    pub best_c: f64,
    /// No growth at or above it, in Cel.
    pub most_c: f64,
    /// Rate at the best temperature, natural logarithms per hour.
    pub best_rate_per_h: f64,
    /// State of the spores at the start (Baranyi's h0): fitted, not published.
    pub h0: f64,
    /// Root mean square error of the fit, in log10.
    pub error_log10: f64,
}

/// The organism of every set.
pub const ORGANISM: &str = "Clostridium perfringens";
/// The rule that limits growth.
pub const RULE: &str = "us.chill.growth";
/// Level of spores at the start unless given, log10 per gram.
pub const Y0_LOG10: f64 = 2.5;
/// Greatest level unless given, log10 per gram.
pub const YMAX_LOG10: f64 = 8.5;

/// The sets held, the default first. h0 and its error come from our own fit of both sets to growth
/// published for uncured injected pork (exponential chills from 54.4 to 7.2 Cel).
pub const SETS: [Parameters; 2] = [
    Parameters {
        id: "cp.beef-braised",
        title: "Growth of C. perfringens from spores in braised beef",
        citation: "one-step dynamic analysis in Food Control; h0 fitted here",
        edition: "abstract",
        least_c: 10.3,
        best_c: 43.5,
        most_c: 53.4,
        best_rate_per_h: 5.64,
        h0: 10.5,
        error_log10: 0.41,
    },
    Parameters {
        id: "cp.chicken-roasted",
        title: "Growth of C. perfringens from spores in roasted chicken",
        citation: "one-step dynamic analysis in Food Control; h0 fitted here",
        edition: "abstract",
        least_c: 8.8,
        best_c: 46.4,
        most_c: 51.5,
        best_rate_per_h: 6.06,
        h0: 9.0,
        error_log10: 0.35,
    },
];

/// What every prediction says beside its number.
pub const CAUTION: &str = "Predicted growth is support only: replicates can differ by as much as \
    the limit of 1 log, and the lag (h0) is a fit of our own; it releases nothing.";

/// Where a prediction starts; the set's own h0 and the usual levels unless given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Start {
    /// State of the spores, not negative.
    pub h0: f64,
    /// Level at the start, log10 per gram.
    pub y0_log10: f64,
    /// Greatest level, log10 per gram, not below `y0_log10`.
    pub ymax_log10: f64,
}

/// Predicted growth.
#[derive(Clone, Debug, PartialEq)]
pub struct Growth {
    /// Predicted, in log10.
    pub log10_growth: f64,
    /// With twice the error of the set: this is judged.
    pub upper_log10_growth: f64,
    /// Without lag and without ceiling, in log10.
    pub potential_log10: f64,
    /// Against the limit of growth.
    pub judgement: Judgement,
}

impl Parameters {
    /// The set of an identifier.
    pub fn of(id: &str) -> Option<&'static Self> {
        SETS.iter().find(|set| set.id == id)
    }

    /// Growth rate at a temperature in Cel, natural logarithms per hour: the cardinal model of
    /// Rosso et al. (1993), from memory.
    pub fn rate_per_h(&self, celsius: f64) -> f64 {
        let (least, best, most) = (self.least_c, self.best_c, self.most_c);
        if celsius <= least || celsius >= most {
            return 0.0;
        }
        let above = (celsius - most) * (celsius - least) * (celsius - least);
        let slope =
            (best - least) * (celsius - best) - (best - most) * (best + least - 2.0 * celsius);
        self.best_rate_per_h * above / ((best - least) * slope)
    }

    /// The integral of the rate over a straight piece, in natural logarithms.
    fn over(&self, piece: &Piece) -> f64 {
        let celsius = |fahrenheit: f64| (fahrenheit - 32.0) / 1.8;
        let (from, to) = (celsius(piece.from_f), celsius(piece.to_f));
        let hours = piece.length_s / 3600.0;
        if from == to {
            return self.rate_per_h(from) * hours;
        }
        // Only the part between the cardinal temperatures counts, and there the rate is smooth.
        let (low, high) = (from.min(to).max(self.least_c), from.max(to).min(self.most_c));
        if low >= high {
            return 0.0;
        }
        let panels = (high - low).ceil().max(1.0);
        let width = (high - low) / panels;
        let mut sum = 0.0;
        for panel in 0..panels as u32 {
            let middle = low + width * (f64::from(panel) + 0.5);
            for (node, weight) in GAUSS {
                sum += weight * self.rate_per_h(middle + node * width / 2.0);
            }
        }
        sum * width / 2.0 * hours / (to - from).abs()
    }
}

/// Nodes and weights of the five-point rule (Abramowitz and Stegun, table 25.4).
const GAUSS: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189),
    (-0.538_469_310_105_683, 0.478_628_670_499_366),
    (0.0, 0.568_888_888_888_889),
    (0.538_469_310_105_683, 0.478_628_670_499_366),
    (0.906_179_845_938_664, 0.236_926_885_056_189),
];

/// Predicts growth along the warmest probe from its first highest reading on, against a limit.
/// Nothing when the probes share no time or a number is beyond what a float can hold.
///
/// The model of Baranyi and Roberts (1994) is solved in closed form: with `M` the integral of the
/// rate, the lag leaves `A = ln(1 + (e^M - 1) e^-h0)`, and the ceiling then takes
/// `ln(1 + (e^A - 1) e^-(ymax - y0))` of it. (From memory; the isothermal form is published.)
pub fn predict(
    probes: &Probes,
    set: &Parameters,
    start: Start,
    limit_log10: f64,
) -> Option<Growth> {
    let since = probes.worst_moment()?;
    let since_s = probes.time(&since).to_f64();
    let chilled = probes.line().iter().filter(|piece| piece.from_s >= since_s);
    // A sum of nothing is -0 as the library adds; 0 is meant.
    let potential = chilled.map(|piece| set.over(piece)).sum::<f64>() + 0.0;
    let room = (start.ymax_log10 - start.y0_log10) * std::f64::consts::LN_10;
    let grown = below_ceiling(after_lag(potential, start.h0), room);
    let log10_growth = grown / std::f64::consts::LN_10;
    let upper_log10_growth = log10_growth + 2.0 * set.error_log10;
    let potential_log10 = potential / std::f64::consts::LN_10;
    if ![log10_growth, upper_log10_growth, potential_log10].iter().all(|n| n.is_finite()) {
        return None;
    }
    let verdict = Verdict::met(upper_log10_growth <= limit_log10);
    let reason = format!(
        "predicted {log10_growth:.2} log, {upper_log10_growth:.2} with twice the error, of at most \
         {limit_log10} log; support only"
    );
    let judgement = Judgement::because(verdict, reason);
    Some(Growth { log10_growth, upper_log10_growth, potential_log10, judgement })
}

/// `ln(1 + (e^m - 1) e^-h0)` without overflow.
fn after_lag(m: f64, h0: f64) -> f64 {
    if m > h0 {
        m - h0 + libm::log1p(libm::exp(h0 - m) - libm::exp(-m))
    } else {
        libm::log1p(libm::exp(m - h0) - libm::exp(-h0))
    }
}

/// `a - ln(1 + (e^a - 1) e^-room)` without overflow.
fn below_ceiling(a: f64, room: f64) -> f64 {
    if a > room {
        room - libm::log1p(libm::exp(room - a) - libm::exp(-a))
    } else {
        a - libm::log1p(libm::exp(a - room) - libm::exp(-room))
    }
}
