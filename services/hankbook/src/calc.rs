//! `hankbook calc KIND`: the calculations without a server, a database or a network.
//! It never stores anything.

use std::io::{self, Read, Write};
use std::process::ExitCode;

use calculations::kinds::{KINDS, Kind, Refusal};
use clap::Args;
use clap::builder::PossibleValuesParser;
use domain::fault::Fault;
use serde_json::{Value, json};
use wire::contract::{Operation, operations};
use wire::json::{self, BODY_MAX, Names};

/// Which kind, and how to name fields in the answer.
#[derive(Args)]
pub struct Arguments {
    /// What to calculate.
    #[arg(value_parser = PossibleValuesParser::new(KINDS.iter().map(|kind| kind.word)))]
    kind: String,
    /// Name fields as the contract does (snake_case) in place of lowerCamelCase.
    #[arg(long)]
    proto_names: bool,
}

/// Reads the input, prints the answer (exit 0) or a problem with every violation (exit 2).
pub fn run(arguments: &Arguments) -> ExitCode {
    let found = KINDS.iter().find(|kind| kind.word == arguments.kind);
    let Some((kind, operation)) = found.and_then(|kind| Some((kind, operation_of(kind)?))) else {
        eprintln!("hankbook calc: {} is not in the contract", arguments.kind);
        return ExitCode::FAILURE;
    };
    let names = if arguments.proto_names { Names::Proto } else { Names::Camel };
    let body = match input() {
        Ok(body) => body,
        Err(error) => {
            eprintln!("hankbook calc: standard input cannot be read: {error}");
            return ExitCode::FAILURE;
        }
    };
    match answer(kind, operation, &body, names) {
        Ok(text) => print(&text, ExitCode::SUCCESS),
        Err(faults) => print(&problem(faults).to_string(), ExitCode::from(2)),
    }
}

fn operation_of(kind: &Kind) -> Option<&'static Operation> {
    operations()
        .iter()
        .find(|found| found.service == "hankbook.v1.Calculations" && found.method == kind.method)
}

fn input() -> io::Result<Vec<u8>> {
    let mut body = Vec::new();
    io::stdin().lock().take(BODY_MAX as u64 + 1).read_to_end(&mut body)?;
    Ok(body)
}

fn answer(
    kind: &Kind,
    operation: &Operation,
    body: &[u8],
    names: Names,
) -> Result<String, Vec<Fault>> {
    let whole = |message: String| vec![Fault { field: String::new(), value: None, message }];
    if body.len() > BODY_MAX {
        return Err(whole(format!("the input is over {BODY_MAX} bytes")));
    }
    let request = json::read(body, &operation.input, &[])?;
    let response = kind.run(&request.bytes).map_err(|refusal| match refusal {
        Refusal::Faults(faults) => json::as_typed(body, &operation.input, &[], faults.into_vec()),
        Refusal::Malformed(error) => whole(error.to_string()),
    })?;
    json::write(&response, &operation.output, names).map_err(|error| whole(error.to_string()))
}

/// The problem object of RFC 9457 with each violation.
fn problem(faults: Vec<Fault>) -> Value {
    let violations: Vec<Value> = faults
        .into_iter()
        .map(|fault| json!({"field": fault.field, "value": fault.value, "message": fault.message}))
        .collect();
    json!({
        "type": "tag:hankbook.example,2026:problem/bad-input",
        "title": "Fields are wrong",
        "status": 400,
        "detail": "Nothing was calculated; each wrong field is listed.",
        "violations": violations,
    })
}

fn print(text: &str, code: ExitCode) -> ExitCode {
    let written = writeln!(io::stdout().lock(), "{text}");
    if written.is_ok() { code } else { ExitCode::FAILURE }
}
