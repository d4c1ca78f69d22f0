//! The program `hankbook`.
//! It never holds anything of its own.

use std::process::ExitCode;

fn main() -> ExitCode {
    hankbook::main()
}
