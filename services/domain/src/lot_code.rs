//! How a plant's lot codes are made: its own pattern of fixed marks, a date and a running number.
//! It never gives out a number and never reads a code back into a date.

use jiff::civil::Date;

/// The pattern of a plant that has chosen none: year, day of the year, running number.
pub const DEFAULT: &str = "{yy}{ddd}-{n}";
/// The words that may stand in braces.
const WORDS: [(&str, Word); 6] = [
    ("yyyy", Word::Year),
    ("yy", Word::YearInCentury),
    ("mm", Word::Month),
    ("dd", Word::Day),
    ("ddd", Word::DayOfYear),
    ("n", Word::Number),
];

/// A word of a pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Word {
    Year,
    YearInCentury,
    Month,
    Day,
    DayOfYear,
    Number,
}

/// A mark that stands as it is, or a word.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Part {
    Mark(char),
    Word(Word),
}

/// A pattern whose codes cannot be told apart or spoken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unusable(String);

impl std::fmt::Display for Unusable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Unusable {}

/// A plant's pattern of lot codes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern {
    parts: Vec<Part>,
}

impl Pattern {
    /// Reads a pattern: capital letters, digits, `-`, `.`, and words in braces. It holds `{n}`
    /// once, and either no part of a date or a year with `{ddd}` or with `{mm}` and `{dd}`.
    /// Two words never touch, but for those of a date, whose length is fixed.
    pub fn parse(text: &str) -> Result<Self, Unusable> {
        let pattern = Self { parts: parts(text)? };
        let has = |word: Word| pattern.count(word) > 0;
        if pattern.count(Word::Number) != 1 {
            return Err(Unusable("must hold {n} once".into()));
        }
        let has_year = has(Word::Year) || has(Word::YearInCentury);
        let has_day = has(Word::DayOfYear) || (has(Word::Month) && has(Word::Day));
        let has_date_part = has_year || has(Word::DayOfYear) || has(Word::Month) || has(Word::Day);
        if has_date_part && !(has_year && has_day) {
            let text = "must name a whole date or none: a year with {ddd}, or with {mm} and {dd}";
            return Err(Unusable(text.into()));
        }
        if pattern.number_touches_a_digit() {
            let text = "must set {n} apart from digits on both sides, as in {yy}{ddd}-{n}";
            return Err(Unusable(text.into()));
        }
        Ok(pattern)
    }

    fn count(&self, word: Word) -> usize {
        self.parts.iter().filter(|part| **part == Part::Word(word)).count()
    }

    /// A running number has no fixed length: beside a digit, two codes could read the same.
    fn number_touches_a_digit(&self) -> bool {
        self.parts.windows(2).any(|pair| {
            let digit = |part: &Part| match part {
                Part::Mark(mark) => mark.is_ascii_digit(),
                Part::Word(_) => true,
            };
            pair.contains(&Part::Word(Word::Number)) && pair.iter().all(digit)
        })
    }

    /// True when the running number starts at 1 each production day.
    pub fn is_daily(&self) -> bool {
        self.count(Word::Year) + self.count(Word::YearInCentury) > 0
    }

    /// The code of the lot with a running number, made on a production day.
    pub fn code(&self, day: Date, number: u32) -> String {
        let mut code = String::new();
        for part in &self.parts {
            match part {
                Part::Mark(mark) => code.push(*mark),
                Part::Word(Word::Year) => code.push_str(&format!("{:04}", day.year())),
                Part::Word(Word::YearInCentury) => {
                    code.push_str(&format!("{:02}", day.year().rem_euclid(100)));
                }
                Part::Word(Word::Month) => code.push_str(&format!("{:02}", day.month())),
                Part::Word(Word::Day) => code.push_str(&format!("{:02}", day.day())),
                Part::Word(Word::DayOfYear) => {
                    code.push_str(&format!("{:03}", day.day_of_year()));
                }
                Part::Word(Word::Number) => code.push_str(&number.to_string()),
            }
        }
        code
    }
}

fn parts(text: &str) -> Result<Vec<Part>, Unusable> {
    let mut parts = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        if first == '{' {
            let (word, after) = rest[1..].split_once('}').unwrap_or((&rest[1..], ""));
            let found = WORDS.iter().find(|(name, _)| *name == word);
            let (_, found) = found.ok_or_else(|| {
                let words: Vec<_> = WORDS.iter().map(|(name, _)| format!("{{{name}}}")).collect();
                Unusable(format!("may hold in braces only {}", words.join(", ")))
            })?;
            parts.push(Part::Word(*found));
            rest = after;
        } else if first.is_ascii_uppercase() || first.is_ascii_digit() || "-.".contains(first) {
            parts.push(Part::Mark(first));
            rest = &rest[1..];
        } else {
            let text = "may hold capital letters, digits, - and . beside words in braces";
            return Err(Unusable(text.into()));
        }
    }
    Ok(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(pattern: &str, number: u32) -> String {
        let day = jiff::civil::date(2026, 2, 3);
        Pattern::parse(pattern).expect("a usable pattern").code(day, number)
    }

    #[test]
    fn codes_name_the_day_and_the_number() {
        assert_eq!(code(DEFAULT, 7), "26034-7");
        assert_eq!(code("R-{yyyy}.{mm}.{dd}-{n}", 1042), "R-2026.02.03-1042");
        assert_eq!(code("L{n}", 12), "L12");
    }

    #[test]
    fn the_number_starts_again_only_where_the_code_names_the_day() {
        let is_daily = |text| Pattern::parse(text).expect("a usable pattern").is_daily();
        assert!(is_daily(DEFAULT));
        assert!(!is_daily("L{n}"));
    }

    #[test]
    fn codes_that_could_be_confused_are_refused() {
        let patterns = [
            "",
            "A",
            "{n}{n}",
            "{ddd}-{n}",
            "{yy}-{n}",
            "{yy}{mm}-{n}",
            "{yy}{ddd}{n}",
            "L{n}0",
            "l{n}",
            "L {n}",
            "{week}-{n}",
            "{n",
        ];
        for pattern in patterns {
            assert!(Pattern::parse(pattern).is_err(), "{pattern}");
        }
    }
}
