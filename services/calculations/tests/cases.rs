//! Runs the case files of every kind through the codec and the kind, as the command line does.
//! It never holds an expectation of its own: what a kind answers stands in its case file.

use std::fs;
use std::path::Path;

use calculations::kinds::{KINDS, Refusal};
use domain::fault::Fault;
use serde_json::{Value, json};
use wire::json::Names;

/// What `hankbook calc --proto-names KIND` prints, and its exit code.
fn run(kind: &str, input: &Value) -> (i64, Value) {
    let kind = KINDS.iter().find(|known| known.word == kind).expect("a kind");
    let service = wire::contract::pool()
        .get_service_by_name("hankbook.v1.Calculations")
        .expect("the service of the contract");
    let method = service.methods().find(|m| m.name() == kind.method).expect("its method");
    let read = match wire::json::read(input.to_string().as_bytes(), &method.input(), &[]) {
        Ok(read) => read,
        Err(faults) => return (2, problem(faults)),
    };
    match kind.run(&read.bytes) {
        Ok(answer) => {
            let text = wire::json::write(&answer, &method.output(), Names::Proto);
            let text = text.expect("an answer of the contract");
            (0, serde_json::from_str(&text).expect("JSON"))
        }
        Err(Refusal::Faults(faults)) => (2, problem(faults.into_vec())),
        Err(Refusal::Malformed(error)) => panic!("{error}"),
    }
}

fn problem(faults: Vec<Fault>) -> Value {
    let violation = |fault: Fault| json!({"field": fault.field, "message": fault.message});
    json!({"violations": faults.into_iter().map(violation).collect::<Vec<_>>()})
}

/// The value at a path: `agents[0].ppm`, `lines[name=cure 6.25 %].mass`.
fn pick<'a>(document: &'a Value, path: &str) -> Option<&'a Value> {
    let mut here = document;
    let mut rest = path;
    while !rest.is_empty() {
        let end = match rest.strip_prefix('[') {
            Some(bracketed) => bracketed.find(']')? + 2,
            None => rest.find(['.', '[']).unwrap_or(rest.len()),
        };
        let part = rest[..end].trim_matches(['[', ']']);
        rest = rest[end..].trim_start_matches('.');
        here = match part.split_once('=') {
            Some((key, wanted)) => here
                .as_array()?
                .iter()
                .find(|entry| entry.get(key).and_then(Value::as_str) == Some(wanted))?,
            None if here.is_array() => here.get(part.parse::<usize>().ok()?)?,
            None => here.get(part)?,
        };
    }
    Some(here).filter(|value| !value.is_null())
}

fn number(value: &Value) -> Option<f64> {
    let value = value.get("value").unwrap_or(value);
    value.as_f64().or_else(|| value.as_str()?.parse().ok())
}

fn holds(found: Option<&Value>, wanted: &Value) -> bool {
    let bound = |name: &str| wanted.get(name).and_then(Value::as_f64);
    if wanted.get("absent").is_some() {
        return found.is_none_or(|value| *value == json!([]) || *value == json!(""));
    }
    let Some(found) = found else {
        return false;
    };
    if let Some(part) = wanted.get("contains").and_then(Value::as_str) {
        // The case files write their JSON with a space behind each colon and comma.
        let text = found.to_string().replace("\":", "\": ").replace("\",\"", "\", \"");
        let text = text.to_lowercase();
        return text.contains(&part.to_lowercase());
    }
    if let Some(middle) = bound("approx") {
        let relative = bound("rel").map_or(0.0, |part| middle.abs() * part);
        let within = bound("abs").unwrap_or(relative) + 1e-12;
        return number(found).is_some_and(|value| (value - middle).abs() <= within);
    }
    if bound("min").is_some() || bound("max").is_some() {
        let (least, most) = (bound("min").unwrap_or(f64::MIN), bound("max").unwrap_or(f64::MAX));
        return number(found).is_some_and(|value| (least..=most).contains(&value));
    }
    match wanted.as_f64() {
        Some(wanted) => number(found) == Some(wanted),
        None => found == wanted,
    }
}

#[test]
fn every_case_holds() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases");
    let mut wrong = Vec::new();
    let mut ran = 0;
    for entry in fs::read_dir(folder).expect("the case files").flatten() {
        let text = fs::read_to_string(entry.path()).expect("a case file");
        let cases: Vec<Value> = serde_json::from_str(&text).expect("a list of cases");
        for case in &cases {
            let name = format!("{}:{}", case["kind"], case["id"]);
            let (exit, answer) = run(case["kind"].as_str().expect("a kind"), &case["input"]);
            if exit != case.get("exit").and_then(Value::as_i64).unwrap_or(0) {
                wrong.push(format!("{name}: exit {exit}: {answer}"));
            }
            for (path, wanted) in case["expect"].as_object().expect("expectations") {
                let found = pick(&answer, path);
                if !holds(found, wanted) {
                    wrong.push(format!("{name}: {path}: {found:?}, not {wanted}"));
                }
            }
            ran += 1;
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(ran > 0);
}
