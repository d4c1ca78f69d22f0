//! Turns the GS1 syntax dictionary into constant tables, and stops the build at a word it does not
//! know.
//! It never repairs an entry: a dictionary that reads differently is for a person to look at.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

/// The linter words of the dictionary with the variant that checks them. A word without one is
/// let through unchecked: its code list is not held, and no label of ours carries its AI.
const LINTERS: &[(&str, Option<&str>)] = &[
    ("couponcode", None),
    ("couponposoffer", None),
    ("csum", Some("CheckDigit")),
    ("csumalpha", Some("CheckPair")),
    ("gcppos1", Some("CompanyPrefix")),
    ("gcppos2", Some("CompanyPrefixSecond")),
    ("hasnondigit", Some("NonDigit")),
    ("hh", Some("Hour")),
    ("hhmi", Some("HourMinute")),
    ("hyphen", Some("Hyphen")),
    ("iban", Some("Iban")),
    ("importeridx", Some("ImporterIndex")),
    ("iso3166", Some("Country")),
    ("iso3166999", Some("CountryOr999")),
    ("iso3166alpha2", Some("CountryLetters")),
    ("iso4217", Some("Currency")),
    ("iso5218", Some("Sex")),
    ("latitude", Some("Latitude")),
    ("longitude", Some("Longitude")),
    ("mediatype", Some("MediaType")),
    ("mi", Some("Minute")),
    ("nonzero", Some("NonZero")),
    ("nozeroprefix", Some("NoZeroPrefix")),
    ("packagetype", None),
    ("pcenc", Some("PercentEncoding")),
    ("pieceoftotal", Some("PieceOfTotal")),
    ("posinseqslash", Some("PositionInSequence")),
    ("ss", Some("Second")),
    ("winding", Some("Winding")),
    ("yesno", Some("YesNo")),
    ("yymmd0", Some("DateOrMonth")),
    ("yymmdd", Some("Date")),
    ("yyyymmdd", Some("LongDate")),
    ("zero", Some("Zero")),
];

/// One line of the dictionary, its range of AIs not yet spread out.
#[derive(Default)]
struct Entry {
    range: (String, String),
    predefined: bool,
    query: bool,
    parts: Vec<String>,
    fixed: bool,
    requires: Vec<Vec<Vec<String>>>,
    excludes: Vec<String>,
    key: Option<Vec<Vec<String>>>,
    title: String,
}

/// The Rust text of the table; faults of the dictionary are added to `faults`.
pub fn constants(path: &Path, faults: &mut Vec<String>) -> String {
    let name = path.display();
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| {
        faults.push(format!("{name}: {error}"));
        String::new()
    });
    let mut out = String::from("pub(super) static ALL: &[Ai] = &[\n");
    let mut seen: Vec<String> = Vec::new();
    let mut named = BTreeSet::new();
    for (at, line) in text.lines().enumerate() {
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        match entry(line).and_then(|entry| Ok((codes(&entry.range)?, entry))) {
            Ok((codes, entry)) => {
                for code in codes {
                    write_entry(&mut out, &code, &entry);
                    seen.push(code);
                }
                named.extend(entry.key.into_iter().flatten().flatten());
            }
            Err(error) => faults.push(format!("{name}: line {}: {error}", at + 1)),
        }
    }
    check_codes(&seen, &named, &name.to_string(), faults);
    out.push_str("];\n");
    out
}

/// The search in the table and the reading of element strings rest on these.
fn check_codes(seen: &[String], named: &BTreeSet<String>, name: &str, faults: &mut Vec<String>) {
    if seen.is_empty() {
        faults.push(format!("{name}: holds no AI"));
    }
    for pair in seen.windows(2) {
        if pair[0] >= pair[1] || pair[1].starts_with(&pair[0]) {
            faults.push(format!("{name}: AI {} does not follow {}", pair[1], pair[0]));
        }
    }
    for qualifier in named.iter().filter(|code| !seen.contains(code)) {
        faults.push(format!("{name}: the qualifier {qualifier} is no AI"));
    }
}

fn entry(line: &str) -> Result<Entry, String> {
    let (line, title) = line.split_once('#').unwrap_or((line, ""));
    let mut words = line.split_whitespace().peekable();
    let codes = words.next().ok_or("no AI")?;
    let range = codes.split_once('-').unwrap_or((codes, codes));
    let mut entry = Entry {
        range: (range.0.to_owned(), range.1.to_owned()),
        title: title.trim().to_owned(),
        fixed: true,
        ..Entry::default()
    };
    if let Some(flags) = words.next_if(|word| word.chars().all(|c| c.is_ascii_punctuation())) {
        for flag in flags.chars() {
            match flag {
                '*' => entry.predefined = true,
                '?' => entry.query = true,
                _ => return Err(format!("unknown flag {flag}")),
            }
        }
    }
    for word in words {
        let is_part = word.starts_with(['N', 'X', 'Y', 'Z', '[']);
        if is_part { component(word, &mut entry)? } else { attribute(word, &mut entry)? }
    }
    if entry.parts.is_empty() || entry.predefined && !entry.fixed {
        return Err("no format, or a pre-defined length that varies".to_owned());
    }
    Ok(entry)
}

/// Spreads a range out, each code as wide as the range is written.
fn codes((first, last): &(String, String)) -> Result<Vec<String>, String> {
    let read = |code: &String| code.parse::<u32>().map_err(|_| format!("{code} is no AI"));
    let (from, to, width) = (read(first)?, read(last)?, first.len());
    if to < from || last.len() != width || !(2..=4).contains(&width) {
        return Err(format!("{first}-{last} is no range of AIs"));
    }
    Ok((from..=to).map(|code| format!("{code:0width$}")).collect())
}

fn component(word: &str, entry: &mut Entry) -> Result<(), String> {
    let mut words = word.split(',');
    let format = words.next().unwrap_or_default();
    let inner = format.strip_prefix('[').and_then(|rest| rest.strip_suffix(']'));
    let (set, length) = inner.unwrap_or(format).split_at_checked(1).ok_or("no format")?;
    let charset = match set {
        "N" => "Digits",
        "X" => "Set82",
        "Y" => "Set39",
        "Z" => "Base64Url",
        _ => return Err(format!("unknown character set {set}")),
    };
    let read = |text: &str| text.parse::<usize>().map_err(|_| format!("{text} is no length"));
    let (least, most) = match length.strip_prefix("..") {
        Some(most) => (1, read(most)?),
        None => (read(length)?, read(length)?),
    };
    let mut linters = Vec::new();
    for word in words {
        let known = LINTERS.iter().find(|(name, _)| *name == word);
        let (_, variant) = known.ok_or_else(|| format!("unknown linter {word}"))?;
        linters.extend(variant.map(|variant| format!("Linter::{variant}")));
    }
    entry.fixed &= least == most && inner.is_none();
    entry.parts.push(format!(
        "Part {{ optional: {}, charset: Charset::{charset}, least: {least}, most: {most}, \
         linters: &[{}] }}",
        inner.is_some(),
        linters.join(", "),
    ));
    Ok(())
}

fn attribute(word: &str, entry: &mut Entry) -> Result<(), String> {
    let split = |text: &str, at: char| text.split(at).map(str::to_owned).collect::<Vec<_>>();
    match word.split_once('=') {
        Some(("req", value)) => {
            let groups: Vec<Vec<String>> =
                value.split(',').map(|group| split(group, '+')).collect();
            check_patterns(groups.iter().flatten())?;
            entry.requires.push(groups);
        }
        Some(("ex", value)) => {
            let patterns = split(value, ',');
            check_patterns(patterns.iter())?;
            entry.excludes.extend(patterns);
        }
        Some(("dlpkey", value)) => {
            entry.key = Some(value.split('|').map(|sequence| split(sequence, ',')).collect());
        }
        None if word == "dlpkey" => entry.key = Some(Vec::new()),
        _ => return Err(format!("unknown attribute {word}")),
    }
    Ok(())
}

fn check_patterns<'a>(mut patterns: impl Iterator<Item = &'a String>) -> Result<(), String> {
    let is_pattern = |text: &String| {
        (2..=4).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit() || b == b'n')
    };
    match patterns.find(|text| !is_pattern(text)) {
        Some(wrong) => Err(format!("{wrong} is no pattern of an AI")),
        None => Ok(()),
    }
}

fn write_entry(out: &mut String, code: &str, entry: &Entry) {
    // Writing to a String cannot fail.
    let _ = writeln!(
        out,
        "Ai {{ code: {code:?}, title: {:?}, predefined: {}, query: {}, parts: &[{}], \
         requires: &[{}], excludes: &{:?}, key: {} }},",
        entry.title,
        entry.predefined,
        entry.query,
        entry.parts.join(", "),
        entry.requires.iter().map(|groups| nested(groups)).collect::<Vec<_>>().join(", "),
        entry.excludes,
        entry.key.as_ref().map_or("None".to_owned(), |key| format!("Some({})", nested(key))),
    );
}

fn nested(lists: &[Vec<String>]) -> String {
    format!("&[{}]", lists.iter().map(|list| format!("&{list:?}")).collect::<Vec<_>>().join(", "))
}
