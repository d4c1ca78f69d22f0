//! The kinds by their word, so that the command line and the service run the same functions.
//! It never knows more of a kind than its word, its messages and its function.

use domain::fault::Faults;
use prost::{DecodeError, Message};

use crate::{
    agents, blend, brine, composition, control_chart, convert, cook_projection, cooling,
    declaration, gs1, instrument_check, lethality, net_contents, psychrometrics, scale, shrink,
};

/// Why a kind gave no answer.
#[derive(Debug)]
pub enum Refusal {
    /// The input is wrong; each fault is named by its proto path.
    Faults(Faults),
    /// The bytes are no such message.
    Malformed(DecodeError),
}

/// A calculation over encoded messages.
pub struct Kind {
    /// Its word: `convert`.
    pub word: &'static str,
    /// Its method in the contract.
    pub method: &'static str,
    run: fn(&[u8]) -> Result<Vec<u8>, Refusal>,
}

impl Kind {
    /// Runs the kind on an encoded request and gives the encoded response.
    pub fn run(&self, request: &[u8]) -> Result<Vec<u8>, Refusal> {
        (self.run)(request)
    }
}

macro_rules! kinds {
    ($($word:literal $method:literal $module:ident),* $(,)?) => {
        /// Every kind.
        pub static KINDS: &[Kind] = &[$(Kind {
            word: $word,
            method: $method,
            run: |request| through(request, $module::calculate),
        }),*];
    };
}

kinds! {
    "convert" "Convert" convert,
    "cooling" "Cooling" cooling,
    "lethality" "Lethality" lethality,
    "agents" "Agents" agents,
    "composition" "Composition" composition,
    "blend" "Blend" blend,
    "scale" "Scale" scale,
    "shrink" "Shrink" shrink,
    "brine" "Brine" brine,
    "declaration" "Declaration" declaration,
    "cook-projection" "CookProjection" cook_projection,
    "instrument-check" "InstrumentCheck" instrument_check,
    "psychrometrics" "Psychrometrics" psychrometrics,
    "net-contents" "NetContents" net_contents,
    "control-chart" "ControlChart" control_chart,
    "gs1" "Gs1" gs1,
}

fn through<Q: Message + Default, A: Message>(
    request: &[u8],
    calculate: fn(Q) -> Result<A, Faults>,
) -> Result<Vec<u8>, Refusal> {
    let request = Q::decode(request).map_err(Refusal::Malformed)?;
    calculate(request).map(|answer| answer.encode_to_vec()).map_err(Refusal::Faults)
}
