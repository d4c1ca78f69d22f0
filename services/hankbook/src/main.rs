//! The one binary: its subcommands run one service or all of them, and the tools beside them.
//! It never holds a rule; it only puts the parts together.

mod calc;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Records, calculations and proofs for a plant that makes smoked, fully cooked sausage.
#[derive(Parser)]
#[command(version, about)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Run one calculation: JSON on standard input, JSON on standard output.
    Calc(calc::Arguments),
}

fn main() -> ExitCode {
    match Cli::parse().command {
        Command::Calc(arguments) => calc::run(&arguments),
    }
}
