//! The one binary: its subcommands run one service or all of them, and the tools beside them.
//! It never holds a rule; it only puts the parts together.

mod calc;
mod check;
mod clock_check;
pub mod database;
mod folder;
pub mod migrate;
mod plant;
mod serve;
mod services;
mod verify;

use std::error::Error;
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
    /// Run the whole house: all services, the REST and the gRPC door, and (unless DATABASE_URL
    /// names another) a private Postgres in the data folder.
    Serve(serve::Arguments),
    /// Work one week of an invented plant by REST, on a simulated folder of its own, and serve it.
    Demo(demo::Arguments),
    /// Bring the database to this version's schema and stop.
    Migrate(migrate::Arguments),
    /// Check that what a stopped plant's database derives is what its records say.
    Check(check::Arguments),
    /// Check a bundle of records by its signed checkpoint: no server, no database. Exit 1 when
    /// anything in it does not hold; each altered, missing, unsigned or moved record is named.
    Verify(verify::Arguments),
    /// Check one proof, as REST answered it, in the same way.
    Proof(verify::ProofArguments),
    /// Run one calculation: JSON on standard input, JSON on standard output.
    Calc(calc::Arguments),
}

/// The program: reads its arguments, does one thing, says how it ended.
pub fn main() -> ExitCode {
    match Cli::parse().command {
        Command::Calc(arguments) => calc::run(&arguments),
        Command::Check(arguments) => told(check::run(&arguments)),
        Command::Verify(arguments) => verify::run(&arguments),
        Command::Proof(arguments) => verify::run_proof(&arguments),
        Command::Demo(arguments) => told(demo::run(&arguments, folder::Folder::of_the_demo())),
        Command::Migrate(arguments) => told(migrate::run(&arguments)),
        Command::Serve(arguments) => told(serve::run(&arguments)),
    }
}

/// Exit 0, or exit 1 with one clear line that says what to do.
fn told(done: Result<(), Box<dyn Error + Send + Sync>>) -> ExitCode {
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("hankbook: {}", chain(error.as_ref()));
            ExitCode::FAILURE
        }
    }
}

/// A failure with what caused it, each said once.
fn chain(error: &(dyn Error + 'static)) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        let cause_text = cause.to_string();
        if !text.contains(&cause_text) {
            text.push_str(": ");
            text.push_str(&cause_text);
        }
        next = cause.source();
    }
    text
}
