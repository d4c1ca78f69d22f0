//! Turns the rule files into constant data, and stops the build at one that cannot be right.
//! It never repairs a rule: a missing citation or a table out of order is for a person to mend.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, process};

use serde::Deserialize;

#[path = "build/gs1.rs"]
mod gs1;
#[path = "build/spc.rs"]
mod spc;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleFile {
    rule: Vec<Rule>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Rule {
    id: String,
    title: String,
    citation: String,
    edition: String,
    effective_from: String,
    effective_to: Option<String>,
    confirmation: String,
    caution: Option<String>,
    #[serde(default)]
    scope: Scope,
    #[serde(default)]
    numbers: BTreeMap<String, String>,
    #[serde(default)]
    words: BTreeMap<String, String>,
    #[serde(default)]
    table: Table,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Scope {
    #[serde(default)]
    species: Vec<String>,
    #[serde(default)]
    forms: Vec<String>,
    cured: Option<bool>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    /// Columns that rise strictly from row to row.
    #[serde(default)]
    rising: Vec<String>,
    /// Columns that never rise from row to row.
    #[serde(default)]
    falling: Vec<String>,
    /// Columns that hold words, not numbers.
    #[serde(default)]
    words: Vec<String>,
    #[serde(default)]
    rows: Vec<BTreeMap<String, String>>,
}

fn main() {
    println!("cargo:rerun-if-changed=rules");
    println!("cargo:rerun-if-changed=data");
    let mut faults = Vec::new();
    let mut rules = Vec::new();
    for path in rule_files(Path::new("rules"), &mut faults) {
        let name = path.display().to_string();
        let read = fs::read_to_string(&path).map_err(|e| e.to_string());
        match read.and_then(|t| toml::from_str::<RuleFile>(&t).map_err(|e| e.to_string())) {
            Ok(file) => rules.extend(file.rule),
            Err(error) => faults.push(format!("{name}: {error}")),
        }
    }
    rules.sort_by(|a, b| (&a.id, &a.edition).cmp(&(&b.id, &b.edition)));
    check(&rules, &mut faults);
    let dictionary = gs1::constants(Path::new("data/gs1/gs1-syntax-dictionary.txt"), &mut faults);
    let spc = spc::constants(Path::new("data/spc-constants.csv"), &mut faults);
    if !faults.is_empty() {
        eprintln!("the rule and data files are wrong:\n  {}", faults.join("\n  "));
        process::exit(1);
    }
    let out = env::var("OUT_DIR").map(PathBuf::from);
    let written = out.map_err(|e| e.to_string()).and_then(|dir| {
        let files = [("rules.rs", constants(&rules)), ("gs1.rs", dictionary), ("spc.rs", spc)];
        files
            .iter()
            .try_for_each(|(name, text)| fs::write(dir.join(name), text).map_err(|e| e.to_string()))
    });
    if let Err(error) = written {
        eprintln!("the rules cannot be written: {error}");
        process::exit(1);
    }
}

fn rule_files(folder: &Path, faults: &mut Vec<String>) -> Vec<PathBuf> {
    let mut found = Vec::new();
    match fs::read_dir(folder) {
        Ok(entries) => {
            for path in entries.flatten().map(|entry| entry.path()) {
                if path.is_dir() {
                    found.extend(rule_files(&path, faults));
                } else if path.extension().is_some_and(|ending| ending == "toml") {
                    found.push(path);
                }
            }
        }
        Err(error) => faults.push(format!("{}: {error}", folder.display())),
    }
    found
}

fn check(rules: &[Rule], faults: &mut Vec<String>) {
    let mut seen = BTreeSet::new();
    for rule in rules {
        let name = format!("{} ({})", rule.id, rule.edition);
        if !seen.insert(name.clone()) {
            faults.push(format!("{name}: stands twice"));
        }
        for (field, text) in
            [("title", &rule.title), ("citation", &rule.citation), ("edition", &rule.edition)]
        {
            if text.trim().is_empty() {
                faults.push(format!("{name}: {field} is missing"));
            }
        }
        check_dates(&name, rule, faults);
        if !["read", "second-hand", "recalled"].contains(&rule.confirmation.as_str()) {
            faults.push(format!("{name}: confirmation is read, second-hand or recalled"));
        }
        for (number, value) in &rule.numbers {
            if !is_decimal(value) {
                faults.push(format!("{name}: {number} is no decimal: {value}"));
            }
        }
        check_table(&name, &rule.table, faults);
    }
}

fn check_dates(name: &str, rule: &Rule, faults: &mut Vec<String>) {
    let is_date = |text: &str| {
        text.len() == 10
            && text.bytes().enumerate().all(|(i, b)| match i {
                4 | 7 => b == b'-',
                _ => b.is_ascii_digit(),
            })
    };
    let until = rule.effective_to.as_deref();
    if !is_date(&rule.effective_from) || until.is_some_and(|date| !is_date(date)) {
        faults.push(format!("{name}: effective dates are YYYY-MM-DD"));
    } else if until.is_some_and(|date| date <= rule.effective_from.as_str()) {
        faults.push(format!("{name}: it ends before it begins"));
    }
}

fn check_table(name: &str, table: &Table, faults: &mut Vec<String>) {
    for (at, row) in table.rows.iter().enumerate() {
        for (column, value) in row {
            if !table.words.contains(column) && !is_decimal(value) {
                faults.push(format!("{name}: row {at}: {column} is no decimal: {value}"));
            }
        }
    }
    for pair in table.rows.windows(2) {
        let value = |row: &BTreeMap<String, String>, column: &String| {
            row.get(column).and_then(|text| text.parse::<f64>().ok())
        };
        for column in &table.rising {
            if value(&pair[0], column) >= value(&pair[1], column) {
                faults.push(format!("{name}: {column} must rise from row to row"));
            }
        }
        for column in &table.falling {
            if value(&pair[0], column) < value(&pair[1], column) {
                faults.push(format!("{name}: {column} must not rise from row to row"));
            }
        }
    }
}

fn is_decimal(text: &str) -> bool {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let (whole, part) = digits.split_once('.').unwrap_or((digits, "0"));
    [whole, part].iter().all(|t| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit()))
}

fn constants(rules: &[Rule]) -> String {
    let mut text = String::from("pub(super) static ALL: &[Rule] = &[\n");
    for rule in rules {
        let confirmation = match rule.confirmation.as_str() {
            "read" => "Read",
            "second-hand" => "SecondHand",
            _ => "Recalled",
        };
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "Rule {{ id: {:?}, title: {:?}, citation: {:?}, edition: {:?}, effective_from: {:?}, \
             effective_to: {:?}, confirmation: Confirmation::{confirmation}, caution: {:?}, \
             scope: Scope {{ species: &{:?}, forms: &{:?}, cured: {:?} }}, numbers: &{:?}, \
             words: &{:?}, rows: &[{}] }},",
            rule.id,
            rule.title,
            rule.citation,
            rule.edition,
            rule.effective_from,
            rule.effective_to,
            rule.caution,
            rule.scope.species,
            rule.scope.forms,
            rule.scope.cured,
            pairs(&rule.numbers),
            pairs(&rule.words),
            rule.table.rows.iter().map(|r| format!("Row(&{:?}),", pairs(r))).collect::<String>(),
        );
    }
    text.push_str("];\n");
    text
}

fn pairs(map: &BTreeMap<String, String>) -> Vec<(&String, &String)> {
    map.iter().collect()
}
