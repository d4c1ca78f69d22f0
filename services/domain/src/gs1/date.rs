//! Dates of six digits (YYMMDD), with the century by the rule of the GS1 General Specifications.
//! It never knows what today is: the current year is given or left out.

/// A day of the calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Date {
    year: i32,
    month: u32,
    day: u32,
}

impl Date {
    /// Reads YYMMDD; day 00 means the last day of the month. Nothing when there is no such day.
    /// The century: with the difference of the two-digit years, 51 and more is the last century,
    /// -50 and less the next one (GS1 syntax dictionary, linter yymmd0).
    pub(super) fn short(text: &str, current_year: Option<i32>) -> Option<Self> {
        let short_year: i32 = digits(text, 0, 2)?;
        let century = match current_year {
            None => 20,
            Some(current) => {
                let this = current.div_euclid(100);
                match short_year - current.rem_euclid(100) {
                    51.. => this - 1,
                    ..=-50 => this + 1,
                    _ => this,
                }
            }
        };
        let (month, day) = (digits(text, 2, 4)?, digits(text, 4, 6)?);
        Self::new(century * 100 + short_year, month, day)
    }

    /// Reads YYYYMMDD.
    pub(super) fn long(text: &str) -> Option<Self> {
        Self::new(digits(text, 0, 4)?, digits(text, 4, 6)?, digits(text, 6, 8)?)
    }

    fn new(year: i32, month: u32, day: u32) -> Option<Self> {
        let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
        let last = match month {
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            1..=12 => 31,
            _ => return None,
        };
        let day = if day == 0 { last } else { day };
        (day <= last).then_some(Self { year, month, day })
    }
}

impl std::fmt::Display for Date {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

/// The number that the characters from `from` to before `to` write.
pub(super) fn digits<T: std::str::FromStr>(text: &str, from: usize, to: usize) -> Option<T> {
    let part = text.get(from..to)?;
    part.bytes().all(|b| b.is_ascii_digit()).then(|| part.parse().ok())?
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str, year: i32) -> Option<String> {
        Date::short(text, Some(year)).map(|date| date.to_string())
    }

    #[test]
    fn days_that_do_not_exist_are_refused() {
        assert_eq!(Date::short("261301", None), None);
        assert_eq!(Date::short("260001", None), None);
        assert_eq!(Date::short("260230", None), None);
        assert_eq!(Date::short("260431", None), None);
        assert!(Date::short("280229", None).is_some());
        assert_eq!(Date::short("270229", None), None);
        assert_eq!(Date::short("2ö", None), None);
    }

    #[test]
    fn the_century_turns_with_the_current_year() {
        // GS1 syntax dictionary, linter yymmd0: differences 51 and -50 are the first to turn.
        assert_eq!(shown("770101", 2026).as_deref(), Some("1977-01-01"));
        assert_eq!(shown("760101", 2026).as_deref(), Some("2076-01-01"));
        assert_eq!(shown("490101", 2099).as_deref(), Some("2149-01-01"));
        assert_eq!(shown("500101", 2099).as_deref(), Some("2050-01-01"));
        // 2100 is no leap year.
        assert_eq!(shown("000229", 2060), None);
        assert_eq!(shown("000200", 2060).as_deref(), Some("2100-02-28"));
    }
}
