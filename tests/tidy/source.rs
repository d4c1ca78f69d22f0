//! The tree as the rules see it: its files, and Rust text with code, comments and literals apart.
//! It never judges anything.

use std::fs;
use std::path::{Path, PathBuf};

/// Folders of the root that hold nothing of ours.
pub const OUTSIDE: [&str; 4] = [".git", "target", "data", "node_modules"];

/// A text file of the tree.
pub struct Source {
    /// Its path from the root, with `/`.
    pub path: String,
    /// What it says.
    pub text: String,
}

/// The root of the repository.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every text file of the tree in the order of their paths.
pub fn tree() -> Vec<Source> {
    let mut found = Vec::new();
    walk(&root(), "", &mut found);
    found.sort_by(|one, other| one.path.cmp(&other.path));
    assert!(found.iter().any(|file| file.path == "Cargo.toml"), "the root is where it was");
    found
}

/// The files of the tree whose name has this ending.
pub fn ending(with: &str) -> Vec<Source> {
    let found: Vec<_> = tree().into_iter().filter(|file| file.path.ends_with(with)).collect();
    assert!(!found.is_empty(), "a rule over no {with} file would always hold");
    found
}

/// The Rust files of the tree, read.
pub fn rust() -> Vec<Rust> {
    ending(".rs").into_iter().map(|file| Rust::read(&file.path, &file.text)).collect()
}

fn walk(folder: &Path, path: &str, found: &mut Vec<Source>) {
    let entries = fs::read_dir(folder).expect("a folder of the tree");
    for entry in entries.map(|entry| entry.expect("an entry")) {
        let name = entry.file_name().to_string_lossy().into_owned();
        let inner = if path.is_empty() { name.clone() } else { format!("{path}/{name}") };
        let kind = entry.file_type().expect("the kind of an entry");
        if kind.is_dir() {
            if !OUTSIDE.contains(&inner.as_str()) && name != "__pycache__" {
                walk(&entry.path(), &inner, found);
            }
        } else if let Ok(text) = fs::read_to_string(entry.path()) {
            // What is no UTF-8 is no text, and what has gone meanwhile is not of the tree.
            found.push(Source { path: inner, text });
        }
    }
}

/// One line of a Rust file.
pub struct Line {
    /// As it stands.
    pub raw: String,
    /// With comments and literals blanked.
    pub code: String,
    /// True when a comment that is no documentation stands on it.
    pub has_comment: bool,
    /// The most characters of one literal on it.
    pub literal: usize,
    /// True in what only tests see.
    pub is_test: bool,
}

/// A Rust file.
pub struct Rust {
    /// Its path from the root.
    pub path: String,
    /// Its lines.
    pub lines: Vec<Line>,
}

impl Rust {
    /// Reads a file.
    pub fn read(path: &str, text: &str) -> Self {
        let chars: Vec<char> = text.chars().collect();
        let classes = classes(&chars);
        let mut lines = Vec::new();
        let mut at = 0;
        for raw in text.lines() {
            let length = raw.chars().count();
            lines.push(line(raw, &classes[at..at + length]));
            // The end of a line is one character, or two where it was written on Windows.
            at += length + 1 + usize::from(chars.get(at + length) == Some(&'\r'));
        }
        let mut file = Self { path: path.to_owned(), lines };
        file.mark_tests();
        file
    }

    /// The blanked text in one piece.
    pub fn code(&self) -> String {
        self.lines.iter().flat_map(|line| [line.code.as_str(), "\n"]).collect()
    }

    /// True where the whole file is for tests.
    pub fn is_test(&self) -> bool {
        let folders = ["tests", "benches", "examples"];
        self.path.split('/').any(|part| folders.contains(&part)) || self.path.ends_with("/tests.rs")
    }

    /// The lines outside tests, with their numbers.
    pub fn production(&self) -> impl Iterator<Item = (usize, &Line)> {
        let whole = self.is_test();
        let numbered = self.lines.iter().enumerate();
        numbered.filter(move |(_, line)| !whole && !line.is_test).map(|(at, line)| (at + 1, line))
    }

    fn mark_tests(&mut self) {
        let code = self.code();
        for (at, attribute) in code.match_indices("#[cfg(test)]") {
            let body = at + attribute.len();
            let end = block(&code, body).map_or(body, |(_, end)| end);
            for line in line_of(&code, at)..=line_of(&code, end) {
                self.lines[line].is_test = true;
            }
        }
    }
}

/// The number of a line, from 0.
pub fn line_of(code: &str, at: usize) -> usize {
    code[..at].matches('\n').count()
}

/// The braces of the item that begins at `from`: where they open and close. None for one that
/// ends in a semicolon.
pub fn block(code: &str, from: usize) -> Option<(usize, usize)> {
    let (mut round, mut curly, mut open) = (0_i32, 0_i32, 0);
    for (offset, byte) in code.as_bytes()[from..].iter().enumerate() {
        match byte {
            b'(' | b'[' => round += 1,
            b')' | b']' => round -= 1,
            b';' if round == 0 && curly == 0 => return None,
            b'{' => {
                if curly == 0 {
                    open = from + offset;
                }
                curly += 1;
            }
            b'}' if curly == 1 => return Some((open, from + offset)),
            b'}' => curly -= 1,
            _ => {}
        }
    }
    None
}

/// True for a character of a name.
pub fn in_name(character: char) -> bool {
    character.is_ascii_alphanumeric() || character == '_'
}

/// True where a word, or a path such as `tokio::spawn`, stands by itself.
pub fn has_word(text: &str, word: &str) -> bool {
    text.match_indices(word).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        let after = text[at + word.len()..].chars().next();
        !before.is_some_and(in_name) && !after.is_some_and(in_name)
    })
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Class {
    Code,
    Comment,
    Literal,
}

fn line(raw: &str, classes: &[Class]) -> Line {
    let blank = |(character, class)| if class == Class::Code { character } else { ' ' };
    let code = raw.chars().zip(classes.iter().copied()).map(blank).collect();
    let comment = classes.iter().position(|class| *class == Class::Comment).map(|at| {
        let text: String = raw.chars().skip(at).collect();
        !text.starts_with("///") && !text.starts_with("//!")
    });
    let runs = classes.chunk_by(|one, other| one == other);
    let literals = runs.filter(|run| run[0] == Class::Literal).map(<[Class]>::len);
    let literal = literals.max().unwrap_or(0);
    let has_comment = comment.unwrap_or(false);
    Line { raw: raw.to_owned(), code, has_comment, literal, is_test: false }
}

fn classes(chars: &[char]) -> Vec<Class> {
    let mut classes = Vec::with_capacity(chars.len());
    while classes.len() < chars.len() {
        let (class, length) = piece(&chars[classes.len()..]);
        let end = (classes.len() + length).min(chars.len());
        classes.resize(end, class);
    }
    classes
}

/// What stands at the beginning of `rest`, and how long it is.
fn piece(rest: &[char]) -> (Class, usize) {
    let up_to = |stop: fn(char) -> bool| rest.iter().position(|c| stop(*c)).unwrap_or(rest.len());
    match rest {
        ['/', '/', ..] => (Class::Comment, up_to(|c| c == '\n')),
        ['/', '*', ..] => (Class::Comment, block_comment(rest)),
        ['"', ..] => (Class::Literal, quoted(rest)),
        ['\'', '\\', _, more @ ..] => {
            let end = more.iter().position(|c| *c == '\'').unwrap_or(more.len());
            (Class::Literal, 4 + end)
        }
        ['\'', _, '\'', ..] => (Class::Literal, 3),
        [first, ..] if in_name(*first) => match raw_text(rest) {
            Some(length) => (Class::Literal, length),
            None => (Class::Code, up_to(|c| !in_name(c))),
        },
        _ => (Class::Code, 1),
    }
}

fn block_comment(rest: &[char]) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < rest.len() {
        match rest[at..] {
            ['/', '*', ..] => (depth, at) = (depth + 1, at + 2),
            ['*', '/', ..] => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
        if depth == 0 {
            break;
        }
    }
    at
}

fn quoted(rest: &[char]) -> usize {
    let mut at = 1;
    while at < rest.len() && rest[at] != '"' {
        at += if rest[at] == '\\' { 2 } else { 1 };
    }
    at + 1
}

/// The length of a raw text such as `r#"…"#`; none where something else begins.
fn raw_text(rest: &[char]) -> Option<usize> {
    let prefix = usize::from(matches!(rest[0], 'b' | 'c'));
    let after = rest.get(prefix..)?.strip_prefix(&['r'])?;
    let hashes = after.iter().take_while(|c| **c == '#').count();
    let inside = after[hashes..].strip_prefix(&['"'])?;
    let closes = |at: usize| {
        inside[at] == '"' && inside[at + 1..].iter().take_while(|c| **c == '#').count() >= hashes
    };
    let end = (0..inside.len()).find(|at| closes(*at))?;
    Some(prefix + 1 + hashes + 1 + end + 1 + hashes)
}

#[test]
fn literals_and_comments_are_no_code() {
    let sample = "let a = \"x // \\\" y\"; // b\nlet c = r#\"d \" e\"#; let f: &'g u8 = &'\\''; /* h\n \
                  i */ let j = '\"'; let k = b\"l\";\n#[cfg(test)]\nmod m {\n}\nfn n() {}\n";
    let file = Rust::read("services/o/src/p.rs", sample);
    let code = file.code();
    for name in ["a", "c", "f", "g", "j", "k", "n"] {
        assert!(has_word(&code, name), "{name} is code in {code}");
    }
    for name in ["x", "y", "d", "e", "h", "i", "l"] {
        assert!(!has_word(&code, name), "{name} is no code in {code}");
    }
    assert!(file.lines[0].has_comment && file.lines[1].has_comment);
    let tests: Vec<_> = file.lines.iter().map(|line| line.is_test).collect();
    assert_eq!(tests, [false, false, false, true, true, true, false]);
}
