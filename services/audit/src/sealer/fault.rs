//! The steps of the sealer, after each of which a test ends the program as a kill would.
//! It never does anything in a release build, nor where no step was asked for by its name.

/// The steps between a scan for leaves and a published head, in their order.
pub const STEPS: [&str; 10] = [
    "scanned",
    "ordered",
    "grown",
    "filed",
    "noted",
    "committed",
    "signed",
    "head-written",
    "head-named",
    "published",
];

/// The environment variable that names the step.
const ASKED: &str = "HANKBOOK_SEALER_DIES_AFTER";

/// Ends the program at once when it is to die after this step.
pub fn after(step: &str) {
    if cfg!(debug_assertions) && std::env::var(ASKED).is_ok_and(|asked| asked == step) {
        // No destructor runs and nothing is rolled back but by Postgres, as after a power cut.
        std::process::abort();
    }
}
