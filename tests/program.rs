//! The program under test, built by cargo beside the tests that run it.
//! It never differs from `hankbook`.

use std::process::ExitCode;

fn main() -> ExitCode {
    hankbook::main()
}
