//! `hankbook verify` and `hankbook proof`: checks of what was exported, on any machine.
//! They never open a connection and never read anything but the named file.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use audit::note::NoteKey;
use audit::proofs;
use clap::{Args, Subcommand};
use serde_json::Value;

/// The exit code of a file that cannot be read: it is no verdict.
const UNREADABLE: u8 = 2;

/// Which bundle to check, and by whose key.
#[derive(Args)]
pub struct Arguments {
    /// The bundle, as downloaded.
    file: PathBuf,
    /// The public key of the log, as known from elsewhere (name+id+base64); without it the key
    /// that the bundle prints is used, which proves only that the bundle agrees with itself.
    #[arg(long)]
    key: Option<NoteKey>,
}

/// Which proof to check.
#[derive(Args)]
pub struct ProofArguments {
    #[command(subcommand)]
    what: Proof,
}

#[derive(Subcommand)]
enum Proof {
    /// Check the answer of GET /v1/proofs/inclusion: a record stands in the log.
    Inclusion(Arguments),
    /// Check the answer of GET /v1/proofs/consistency: a log goes on where it ended.
    Consistency(Arguments),
}

/// Checks a bundle; exit 1 when anything does not hold.
pub fn run(arguments: &Arguments) -> ExitCode {
    let bytes = match std::fs::read(&arguments.file) {
        Ok(bytes) => bytes,
        Err(error) => return unreadable(&arguments.file, &error),
    };
    let report = audit::verify::verify(&bytes, arguments.key.as_ref());
    let mut said: Vec<String> = report.findings.iter().map(ToString::to_string).collect();
    if let Some(about) = &report.about {
        said.push(format!("about    {about}"));
    }
    if let Some(head) = &report.checkpoint {
        said.push(format!("log      {} with {} entries", head.origin, head.size));
    }
    if let Some(key) = &report.key {
        said.push(format!("key      {key} ({})", origin_of(arguments)));
    }
    said.push(format!("{} of {} records are proved.", report.proved, report.records));
    say(&said);
    if report.findings.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Checks a proof; exit 1 when it does not hold.
pub fn run_proof(arguments: &ProofArguments) -> ExitCode {
    type Check = fn(&Value, Option<&NoteKey>) -> Result<proofs::Proved, proofs::ProofError>;
    let (arguments, check): (_, Check) = match &arguments.what {
        Proof::Inclusion(arguments) => (arguments, proofs::inclusion),
        Proof::Consistency(arguments) => (arguments, proofs::consistency),
    };
    let text = match std::fs::read_to_string(&arguments.file) {
        Ok(text) => text,
        Err(error) => return unreadable(&arguments.file, &error),
    };
    let answer: Value = serde_json::from_str(&text).unwrap_or_default();
    match check(&answer, arguments.key.as_ref()) {
        Ok(proved) => {
            let key = format!("key      {} ({})", proved.key, origin_of(arguments));
            say(&[format!("proved   {}", proved.what), key]);
            ExitCode::SUCCESS
        }
        Err(error) => {
            say(&[format!("NOT PROVED: {error}")]);
            ExitCode::FAILURE
        }
    }
}

fn origin_of(arguments: &Arguments) -> &'static str {
    match arguments.key {
        Some(_) => "pinned",
        None => "as the file prints it: compare it with one known from elsewhere",
    }
}

fn unreadable(file: &Path, error: &std::io::Error) -> ExitCode {
    eprintln!("hankbook: {} cannot be read: {error}", file.display());
    ExitCode::from(UNREADABLE)
}

fn say(lines: &[String]) {
    let mut out = std::io::stdout().lock();
    // A reader who closes the pipe has seen enough; the exit code still tells.
    lines.iter().try_for_each(|line| writeln!(out, "{line}")).ok();
}
