//! The rules of Rust text: sizes, heads, and what must not stand in it.
//! They never look at what the code means: that is for the compiler, clippy and the tests.

use crate::source::{Line, Rust, block, has_word, in_name, line_of};

/// The most lines of a file.
const FILE_MAX: usize = 500;
/// The most lines of a function.
const FUNCTION_MAX: usize = 70;
/// The most columns of a line.
const COLUMNS_MAX: usize = 100;
/// From here on a literal excuses the length of its line.
const LITERAL_LONG: usize = 60;
/// How many lines above a call its proof may stand.
const PROOF_LINES: usize = 2;

/// Calls that end the process where they fail.
const CALLS: [&str; 3] = [".unwrap()", ".unwrap_err()", ".expect("];

/// Time and identity that come from elsewhere than their one place.
const AMBIENT: [&str; 8] = [
    "tokio::spawn",
    "tokio::task::spawn",
    "Timestamp::now",
    "Zoned::now",
    "SystemTime::now",
    "Instant::now",
    "Uuid::now_v7",
    "Uuid::new_v4",
];

/// The files that may name them: the clock, the maker of ids, and the launcher of Postgres,
/// which imports nothing of ours.
const AMBIENT_HOMES: [&str; 3] = [
    "services/platform/src/clock.rs",
    "services/platform/src/records.rs",
    "services/cluster/src/deadline.rs",
];

/// A file that is too long.
pub fn long_file(file: &Rust) -> Vec<String> {
    let lines = file.lines.len();
    let fault = format!("{}: {lines} lines, over {FILE_MAX}", file.path);
    if lines > FILE_MAX { vec![fault] } else { Vec::new() }
}

/// Lines that are too long, but for an address or a long literal, which cannot be broken.
pub fn long_lines(file: &Rust) -> Vec<String> {
    let numbered = file.lines.iter().enumerate().filter(|(_, line)| {
        let is_excused = line.literal > LITERAL_LONG || line.raw.contains("://");
        line.raw.chars().count() > COLUMNS_MAX && !is_excused
    });
    numbered
        .map(|(at, line)| {
            let columns = line.raw.chars().count();
            format!("{}:{}: {columns} columns, over {COLUMNS_MAX}", file.path, at + 1)
        })
        .collect()
}

/// Functions that are too long, counted from `fn` to the closing brace.
pub fn long_functions(file: &Rust) -> Vec<String> {
    let code = file.code();
    let starts = code.match_indices("fn ").filter(|(at, _)| {
        let before = code[..*at].chars().next_back();
        let after = code[at + 3..].chars().next();
        !before.is_some_and(in_name) && after.is_some_and(in_name)
    });
    starts
        .filter_map(|(at, _)| {
            let (_, end) = block(&code, at)?;
            let (first, last) = (line_of(&code, at), line_of(&code, end));
            let lines = last - first + 1;
            let name: String = code[at + 3..].chars().take_while(|c| in_name(*c)).collect();
            let fault = format!(
                "{}:{}: {name} has {lines} lines, over {FUNCTION_MAX}",
                file.path,
                first + 1
            );
            (lines > FUNCTION_MAX).then_some(fault)
        })
        .collect()
}

/// A file whose first two lines do not say why it exists and what it never does.
pub fn headless(file: &Rust) -> Vec<String> {
    let says = |line: &Line| line.raw.strip_prefix("//!").is_some_and(|text| text.trim().len() > 2);
    let has_head = file.lines.len() >= 2 && file.lines[..2].iter().all(says);
    let fault = format!("{}: it does not begin with two lines of //!", file.path);
    if has_head { Vec::new() } else { vec![fault] }
}

/// What silences a lint, skips a test, or stands for work not done.
pub fn silenced(file: &Rust) -> Vec<String> {
    let mut faults = Vec::new();
    for (at, line) in file.lines.iter().enumerate() {
        let code: String = line.code.chars().filter(|c| !c.is_whitespace()).collect();
        let marks = ["#[allow", "#![allow", "#[ignore", "assert!(true)", "assert!(true,"];
        let calls = ["todo!", "unimplemented!"];
        let found = marks.into_iter().find(|mark| code.contains(mark));
        let found = found.or_else(|| calls.into_iter().find(|call| code.contains(call)));
        if let Some(found) = found {
            faults.push(format!("{}:{}: {found}", file.path, at + 1));
        }
    }
    faults
}

/// Calls outside tests that end the process, without a comment beside them that proves they
/// cannot fail.
pub fn unproved(file: &Rust) -> Vec<String> {
    let calls = file.production().filter_map(|(number, line)| {
        let call = CALLS.into_iter().find(|call| line.code.contains(call))?;
        let above = &file.lines[number.saturating_sub(PROOF_LINES + 1)..number];
        let is_proved = above.iter().any(|line| line.has_comment);
        (!is_proved).then(|| format!("{}:{number}: {call} without its proof", file.path))
    });
    calls.collect()
}

/// Tasks that nobody tracks, and time or ids taken past their one place.
pub fn ambient(file: &Rust) -> Vec<String> {
    if AMBIENT_HOMES.contains(&file.path.as_str()) {
        return Vec::new();
    }
    let named = file.production().filter_map(|(number, line)| {
        let call = AMBIENT.into_iter().find(|call| has_word(&line.code, call))?;
        Some(format!("{}:{number}: {call}", file.path))
    });
    named.collect()
}

/// What clippy must ban as well, so that tests and macros are covered too.
pub fn unbanned(clippy: &str) -> Vec<String> {
    let missing = AMBIENT.into_iter().filter(|call| {
        let ends = |path: &str| path == *call || path.ends_with(&format!("::{call}"));
        !clippy.split('"').any(ends)
    });
    missing.map(|call| format!("clippy.toml: {call} is not a disallowed method")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Rust {
        Rust::read("services/sample/src/sample.rs", text)
    }

    #[test]
    fn a_long_file_line_or_function_is_found() {
        assert_eq!(long_file(&read(&"\n".repeat(500))), Vec::<String>::new());
        assert_eq!(long_file(&read(&"\n".repeat(501))).len(), 1);
        assert_eq!(long_lines(&read(&"x".repeat(101))).len(), 1);
        assert_eq!(long_lines(&read(&format!("\"{}\"", "x".repeat(101)))).len(), 0);
        let function = |body: usize| format!("fn f(a: [u8; 2]) {{\n{}}}\n", "{}\n".repeat(body));
        assert_eq!(long_functions(&read(&function(68))).len(), 0);
        let found = long_functions(&read(&function(69)));
        assert_eq!(found, ["services/sample/src/sample.rs:1: f has 71 lines, over 70"]);
        assert_eq!(long_functions(&read("trait T { fn f(&self); }")).len(), 0);
    }

    #[test]
    fn a_missing_head_is_found() {
        assert_eq!(headless(&read("//! Why it is.\n//! What it never does.\n")).len(), 0);
        assert_eq!(headless(&read("//! Why it is.\n\nfn f() {}\n")).len(), 1);
        assert_eq!(headless(&read("fn f() {}\n")).len(), 1);
    }

    #[test]
    fn what_is_silenced_is_found_in_code_only() {
        assert_eq!(silenced(&read("#[allow(dead_code)]\nfn f() { todo!() }\n")).len(), 2);
        assert_eq!(silenced(&read("# ! [ allow (dead_code)]\nassert!( true );")).len(), 2);
        assert_eq!(silenced(&read("// #[allow] is never used\nlet a = \"todo!\";\n")).len(), 0);
    }

    #[test]
    fn a_call_needs_its_proof_outside_tests() {
        assert_eq!(unproved(&read("fn f() { g().unwrap() }")).len(), 1);
        assert_eq!(unproved(&read("// It is never empty.\n\nfn f() { g().unwrap() }")).len(), 0);
        assert_eq!(unproved(&read("/// Documentation.\nfn f() { g().expect(\"\") }")).len(), 1);
        assert_eq!(unproved(&read("#[cfg(test)]\nmod t {\nfn f() { g().unwrap() }\n}")).len(), 0);
        assert_eq!(unproved(&read("fn f() { g().unwrap_or_default() }")).len(), 0);
    }

    #[test]
    fn an_ambient_clock_or_a_bare_task_is_found() {
        assert_eq!(ambient(&read("tokio::spawn(work);\nlet a = Instant::now();")).len(), 2);
        assert_eq!(ambient(&read("tokio::task::spawn_blocking(work);")).len(), 0);
        assert_eq!(unbanned("").len(), AMBIENT.len());
    }
}
