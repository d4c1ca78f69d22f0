//! The application identifiers (AIs) as the GS1 syntax dictionary describes them.
//! It never holds an AI of its own: the table is made from the dictionary at build time.

use super::linter::Linter;

/// The characters that a part of a value may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Charset {
    /// `N`: digits.
    Digits,
    /// `X`: the 82 characters of ISO/IEC 646 that GS1 allows in text.
    Set82,
    /// `Y`: the 39 characters for components and parts.
    Set39,
    /// `Z`: base64 for file names and URLs.
    Base64Url,
}

/// The 82 characters of set X, in the order of their numbers in check character pairs.
pub(super) const SET_82: &str =
    "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz";

impl Charset {
    /// True for a character of the set.
    pub(super) fn holds(self, byte: u8) -> bool {
        match self {
            Self::Digits => byte.is_ascii_digit(),
            Self::Set82 => SET_82.as_bytes().contains(&byte),
            Self::Set39 => {
                byte.is_ascii_uppercase() || byte.is_ascii_digit() || b"#-/".contains(&byte)
            }
            Self::Base64Url => byte.is_ascii_alphanumeric() || b"-_=".contains(&byte),
        }
    }

    /// What it allows, for a message.
    fn allowed(self) -> &'static str {
        match self {
            Self::Digits => "digits",
            Self::Set82 => "letters, digits and !\"%&'()*+,-./:;<=>?_",
            Self::Set39 => "capital letters, digits and #-/",
            Self::Base64Url => "letters, digits and -_=",
        }
    }
}

/// A part of a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// True when the value may end before it.
    pub optional: bool,
    /// The characters that it may hold.
    pub charset: Charset,
    /// The fewest characters.
    pub least: usize,
    /// The most characters.
    pub most: usize,
    pub(super) linters: &'static [Linter],
}

/// AIs or patterns of AIs (`31nn`, n for any digit) that stand together.
pub(super) type Group = &'static [&'static str];

/// An application identifier.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ai {
    /// Its digits.
    pub code: &'static str,
    /// Its data title, as printed beside a barcode.
    pub title: &'static str,
    /// True when its length is pre-defined, so that no separator follows.
    pub predefined: bool,
    /// True when it may stand in the query of a web address.
    pub query: bool,
    /// The parts of its value, in order.
    pub parts: &'static [Part],
    /// Of each list one group must stand in the same message.
    pub(super) requires: &'static [&'static [Group]],
    /// Patterns of other AIs that may not stand in the same message.
    pub(super) excludes: Group,
    /// For a primary key of web addresses: the sequences of qualifiers that may follow it.
    pub(super) key: Option<&'static [Group]>,
}

include!(concat!(env!("OUT_DIR"), "/gs1.rs"));

impl Ai {
    /// Every AI, in the order of their codes.
    pub fn all() -> &'static [Ai] {
        ALL
    }

    /// The AI of a code.
    pub fn of(code: &str) -> Option<&'static Ai> {
        let at = ALL.binary_search_by_key(&code, |ai| ai.code).ok()?;
        ALL.get(at)
    }

    /// The AI with which a text starts; no AI is the beginning of another.
    pub fn starting(text: &str) -> Option<&'static Ai> {
        (2..=4).find_map(|length| Self::of(text.get(..length)?))
    }

    /// The most characters of a value.
    pub fn most(&self) -> usize {
        self.parts.iter().map(|part| part.most).sum()
    }

    /// Checks a value by the format and the linters of the dictionary; `year` is the current year,
    /// which decides the century of a 29 February (without it: 2000 to 2099).
    /// Errors: what is wrong with the first part that is wrong, with the AI in brackets.
    pub fn check(&self, value: &str, year: Option<i32>) -> Result<(), String> {
        self.check_parts(value, year).map_err(|fault| format!("({}) {fault}", self.code))
    }

    fn check_parts(&self, value: &str, year: Option<i32>) -> Result<(), String> {
        if !value.is_ascii() {
            return Err("holds a character that no barcode of ours carries".to_owned());
        }
        let mut rest = value;
        for part in self.parts {
            if rest.is_empty() && part.optional {
                break;
            }
            let (text, after) = rest.split_at_checked(part.most).unwrap_or((rest, ""));
            rest = after;
            if !text.bytes().all(|byte| part.charset.holds(byte)) {
                return Err(format!("may hold only {} here: {text}", part.charset.allowed()));
            }
            if text.len() < part.least {
                return Err("is too short".to_owned());
            }
            for linter in part.linters {
                linter.check(text, year)?;
            }
        }
        if rest.is_empty() { Ok(()) } else { Err("is too long".to_owned()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_dictionary_is_read_whole() {
        // GS1 Barcode Syntax Dictionary, commit ff2eb4b: first, last, a range, an expansion.
        assert_eq!(Ai::all().first().map(|ai| ai.code), Some("00"));
        assert_eq!(Ai::all().last().map(|ai| ai.code), Some("99"));
        assert_eq!(
            Ai::of("3202").map(|ai| (ai.title, ai.predefined)),
            Some(("NET WEIGHT (lb)", true))
        );
        assert_eq!(Ai::of("10").map(|ai| (ai.most(), ai.predefined)), Some((20, false)));
        assert_eq!(Ai::of("3106"), None);
        assert_eq!(Ai::of("89"), None);
        assert_eq!(Ai::starting("7030840EST38").map(|ai| ai.code), Some("7030"));
        assert_eq!(Ai::starting("1").map(|ai| ai.code), None);
        assert_eq!(Ai::starting("ééé").map(|ai| ai.code), None);
    }

    #[test]
    fn the_extract_for_meat_labels_agrees() {
        // Made from the same dictionary by other hands; formats, separators, web query, pairings.
        let table = include_str!("../../tests/data/gs1/ai-table.csv");
        let mut checked = 0;
        for line in table.lines().skip(1) {
            let cells = csv_cells(line);
            let ai = Ai::of(&cells[0]).expect("an AI of the dictionary");
            assert_eq!(ai.title, cells[1]);
            assert_eq!(ai.predefined, cells[3] == "no", "{}", ai.code);
            assert_eq!(ai.query, cells[4] == "yes", "{}", ai.code);
            let groups: Vec<String> =
                ai.requires.iter().flat_map(|l| l.iter()).map(|g| g.join("+")).collect();
            assert_eq!(groups.join(","), cells[5], "{}", ai.code);
            assert_eq!(ai.excludes.join(","), cells[6], "{}", ai.code);
            let most: usize = cells[2]
                .split_whitespace()
                .map(|part| part.split(',').next().unwrap_or_default())
                .map(|part| part.trim_matches(|c: char| !c.is_ascii_digit()))
                .map(|digits| digits.parse::<usize>().expect("a length"))
                .sum();
            assert_eq!(ai.most(), most, "{}", ai.code);
            checked += 1;
        }
        assert!(checked > 80);
    }

    /// Cells of a line whose quoted cells hold no quotes.
    fn csv_cells(line: &str) -> Vec<String> {
        let mut cells = vec![String::new()];
        let mut quoted = false;
        for c in line.chars() {
            match c {
                '"' => quoted = !quoted,
                ',' if !quoted => cells.push(String::new()),
                _ => cells.last_mut().expect("never empty").push(c),
            }
        }
        cells
    }
}
