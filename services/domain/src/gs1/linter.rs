//! The content checks that the syntax dictionary names, each under a word of its own.
//! It never looks a key up anywhere: whether a company prefix is allocated is not known here.

use super::codes;
use super::date::{Date, digits};
use super::dictionary::SET_82;
use super::key::check_digit;

/// A check of one part of a value, by the linter of the dictionary (its word in brackets).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Linter {
    /// The last digit is the check digit (csum).
    CheckDigit,
    /// The last two characters are the check pair (csumalpha).
    CheckPair,
    /// It starts with a company prefix, at least four digits (gcppos1).
    CompanyPrefix,
    /// A company prefix starts at the second character (gcppos2).
    CompanyPrefixSecond,
    /// One character at least is no digit (hasnondigit).
    NonDigit,
    /// 00 to 23 (hh).
    Hour,
    /// Hours and minutes (hhmi).
    HourMinute,
    /// A minus sign (hyphen).
    Hyphen,
    /// An international bank account number (iban).
    Iban,
    /// A character of the importer index (importeridx).
    ImporterIndex,
    /// A country by its number (iso3166).
    Country,
    /// A country by its number, or 999 for several (iso3166999).
    CountryOr999,
    /// A country by its two letters (iso3166alpha2).
    CountryLetters,
    /// A currency by its number (iso4217).
    Currency,
    /// 0, 1, 2 or 9 (iso5218).
    Sex,
    /// Ten digits up to 180 degrees (latitude).
    Latitude,
    /// Ten digits up to 360 degrees (longitude).
    Longitude,
    /// 01 to 10 or 80 to 99 (mediatype).
    MediaType,
    /// 00 to 59 (mi).
    Minute,
    /// Not 0 (nonzero).
    NonZero,
    /// No leading zero (nozeroprefix).
    NoZeroPrefix,
    /// Percent signs are followed by two hexadecimal digits (pcenc).
    PercentEncoding,
    /// A number not above the total that follows it, neither 0 (pieceoftotal).
    PieceOfTotal,
    /// A position, a slash and the last position (posinseqslash).
    PositionInSequence,
    /// 00 to 59 (ss).
    Second,
    /// 0, 1 or 9 (winding).
    Winding,
    /// 0 or 1 (yesno).
    YesNo,
    /// YYMMDD, the day may be 00 (yymmd0).
    DateOrMonth,
    /// YYMMDD (yymmdd).
    Date,
    /// YYYYMMDD (yyyymmdd).
    LongDate,
    /// 0 (zero).
    Zero,
}

impl Linter {
    /// Checks the text of a part, whose characters and length are those of its format.
    /// Errors: what was asked, in words that follow the AI.
    pub(super) fn check(self, text: &str, year: Option<i32>) -> Result<(), String> {
        if self.holds(text, year) { Ok(()) } else { Err(format!("{}: {text}", self.asks())) }
    }

    fn holds(self, text: &str, year: Option<i32>) -> bool {
        let below = |limit: u64| text.parse::<u64>().is_ok_and(|number| number < limit);
        match self {
            Self::CheckDigit => check_digit_holds(text),
            Self::CheckPair => check_pair_holds(text),
            Self::CompanyPrefix => starts_with_prefix(text, 0),
            Self::CompanyPrefixSecond => starts_with_prefix(text, 1),
            Self::NonDigit => text.bytes().any(|b| !b.is_ascii_digit()),
            Self::Hour => below(24),
            Self::Minute | Self::Second => below(60),
            Self::HourMinute => {
                digits(text, 0, 2).is_some_and(|hour: u8| hour < 24)
                    && digits(text, 2, 4).is_some_and(|minute: u8| minute < 60)
            }
            Self::Hyphen => text.bytes().all(|b| b == b'-'),
            Self::Iban => iban_holds(text),
            Self::ImporterIndex => {
                text.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_".contains(&b))
            }
            Self::Country => codes::is_country(text),
            Self::CountryOr999 => text == "999" || codes::is_country(text),
            Self::CountryLetters => codes::is_country_letters(text),
            Self::Currency => codes::is_currency(text),
            Self::Sex => ["0", "1", "2", "9"].contains(&text),
            Self::Winding => ["0", "1", "9"].contains(&text),
            Self::YesNo => ["0", "1"].contains(&text),
            Self::Latitude => below(1_800_000_001),
            Self::Longitude => below(3_600_000_001),
            Self::MediaType => {
                text.parse::<u8>().is_ok_and(|kind| matches!(kind, 1..=10 | 80..=99))
            }
            Self::NonZero => text.bytes().any(|b| b != b'0'),
            Self::Zero => text.bytes().all(|b| b == b'0'),
            Self::NoZeroPrefix => text == "0" || !text.starts_with('0'),
            Self::PercentEncoding => percent_holds(text),
            Self::PieceOfTotal => piece_holds(text),
            Self::PositionInSequence => position_holds(text),
            Self::DateOrMonth => Date::short(text, year).is_some(),
            Self::Date => !text.ends_with("00") && Date::short(text, year).is_some(),
            Self::LongDate => !text.ends_with("00") && Date::long(text).is_some(),
        }
    }

    fn asks(self) -> &'static str {
        match self {
            Self::CheckDigit => "has a wrong check digit",
            Self::CheckPair => "has a wrong check character pair",
            Self::CompanyPrefix | Self::CompanyPrefixSecond => {
                "must hold a company prefix of at least four digits"
            }
            Self::NonDigit => "must hold a character that is no digit",
            Self::Hour => "must hold an hour, 00 to 23",
            Self::HourMinute => "must hold a time HHMM",
            Self::Hyphen => "may end only with a minus sign",
            Self::Iban => "must be a bank account number with right check digits",
            Self::ImporterIndex => "must end with a letter, a digit, - or _",
            Self::Country => "must hold the three digits of a country (ISO 3166)",
            Self::CountryOr999 => "must hold the three digits of a country (ISO 3166) or 999",
            Self::CountryLetters => "must be the two letters of a country (ISO 3166)",
            Self::Currency => "must hold the three digits of a currency (ISO 4217)",
            Self::Sex => "must be 0, 1, 2 or 9",
            Self::Latitude => "must hold a latitude, at most 1800000000",
            Self::Longitude => "must hold a longitude, at most 3600000000",
            Self::MediaType => "must be 01 to 10 or 80 to 99",
            Self::Minute => "must hold minutes, 00 to 59",
            Self::NonZero => "must not be 0",
            Self::NoZeroPrefix => "must not start with 0",
            Self::PercentEncoding => "has a percent sign without two hexadecimal digits",
            Self::PieceOfTotal => "must hold a piece and a total not below it, neither 0",
            Self::PositionInSequence => "must be a position, a slash and the last position",
            Self::Second => "must hold seconds, 00 to 59",
            Self::Winding => "must hold 0, 1 or 9 for the winding",
            Self::YesNo => "must be 0 or 1",
            Self::DateOrMonth => "must hold a date YYMMDD (day 00: the whole month)",
            Self::Date => "must hold a date YYMMDD",
            Self::LongDate => "must hold a date YYYYMMDD",
            Self::Zero => "must start with 0",
        }
    }
}

fn check_digit_holds(text: &str) -> bool {
    text.len().checked_sub(1).is_some_and(|end| {
        let (digits, last) = text.split_at(end);
        check_digit(digits).is_some_and(|digit| last == digit.to_string())
    })
}

/// The shortest company prefix has four digits.
fn starts_with_prefix(text: &str, from: usize) -> bool {
    digits::<u16>(text, from, from + 4).is_some()
}

/// The alphanumeric check pair: places from the right weigh 2, 3, 5 and on along the primes; the
/// sum of weight times number, modulo 1021, is written with two of 32 characters
/// (GS1 General Specifications, check character calculation for alphanumeric keys).
fn check_pair_holds(text: &str) -> bool {
    const PAIR: &[u8] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
    const PRIMES: [usize; 23] =
        [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83];
    let Some((body, pair)) = text.len().checked_sub(2).and_then(|end| text.split_at_checked(end))
    else {
        return false;
    };
    let number = |byte: u8| SET_82.bytes().position(|b| b == byte);
    if body.is_empty() || body.len() > PRIMES.len() {
        return false;
    }
    let weighed = body.bytes().rev().zip(PRIMES).map(|(b, prime)| Some(number(b)? * prime));
    let Some(sum) = weighed.sum::<Option<usize>>() else {
        return false;
    };
    let rest = sum % 1021;
    pair.as_bytes() == [PAIR[rest / 32], PAIR[rest % 32]]
}

/// ISO 13616: country, check digits, account; moved and read as a number it leaves 1 modulo 97.
fn iban_holds(text: &str) -> bool {
    let Some((head, account)) = text.split_at_checked(4) else {
        return false;
    };
    let shaped = codes::is_country_letters(&head[..2])
        && head.bytes().skip(2).all(|b| b.is_ascii_digit())
        && !account.is_empty()
        && account.bytes().all(|b| b.is_ascii_digit() || b.is_ascii_uppercase());
    let rest = account.chars().chain(head.chars()).fold(0, |rest, c| match c.to_digit(36) {
        Some(digit) if digit > 9 => (rest * 100 + digit) % 97,
        Some(digit) => (rest * 10 + digit) % 97,
        None => 0,
    });
    shaped && rest == 1
}

fn percent_holds(text: &str) -> bool {
    text.split('%').skip(1).all(|after| {
        after.as_bytes().get(..2).is_some_and(|pair| pair.iter().all(u8::is_ascii_hexdigit))
    })
}

fn piece_holds(text: &str) -> bool {
    let half = text.len() / 2;
    let piece = digits::<u64>(text, 0, half);
    let total = digits::<u64>(text, half, text.len());
    piece.zip(total).is_some_and(|(piece, total)| piece > 0 && piece <= total)
}

fn position_holds(text: &str) -> bool {
    let number = |part: &str| {
        digits::<u64>(part, 0, part.len()).filter(|_| !part.is_empty() && !part.starts_with('0'))
    };
    let parts = text.split_once('/');
    let read = parts.and_then(|(position, last)| number(position).zip(number(last)));
    read.is_some_and(|(position, last)| position <= last)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holds(linter: Linter, text: &str) -> bool {
        linter.check(text, None).is_ok()
    }

    #[test]
    fn a_check_pair_holds() {
        // GS1 General Specifications, global model number: 1987654Ad4X4bL5ttr2310c has 2K.
        assert!(holds(Linter::CheckPair, "1987654Ad4X4bL5ttr2310c2K"));
        assert!(!holds(Linter::CheckPair, "1987654Ad4X4bL5ttr2310c2L"));
        assert!(!holds(Linter::CheckPair, "2K"));
        assert!(!holds(Linter::CheckPair, ""));
    }

    #[test]
    fn a_bank_account_holds() {
        // ISO 13616, the example of the United Kingdom.
        assert!(holds(Linter::Iban, "GB82WEST12345698765432"));
        assert!(!holds(Linter::Iban, "GB82WEST12345698765433"));
        assert!(!holds(Linter::Iban, "GB8"));
    }

    #[test]
    fn times_and_dates_hold_within_their_bounds() {
        assert!(holds(Linter::HourMinute, "2359") && !holds(Linter::HourMinute, "2400"));
        assert!(!holds(Linter::HourMinute, "1260") && !holds(Linter::Hour, "24"));
        assert!(holds(Linter::Minute, "59") && !holds(Linter::Second, "60"));
        assert!(holds(Linter::DateOrMonth, "260500") && !holds(Linter::Date, "260500"));
        assert!(holds(Linter::LongDate, "20260531") && !holds(Linter::LongDate, "20260532"));
    }

    #[test]
    fn short_lists_hold_their_words_only() {
        let cases = [
            (Linter::Country, "840", "999"),
            (Linter::CountryOr999, "999", "998"),
            (Linter::CountryLetters, "US", "ZZ"),
            (Linter::Currency, "840", "000"),
            (Linter::Sex, "9", "3"),
            (Linter::Winding, "1", "2"),
            (Linter::YesNo, "1", "2"),
            (Linter::MediaType, "80", "11"),
            (Linter::Zero, "0", "1"),
            (Linter::NonZero, "0001", "0000"),
            (Linter::NoZeroPrefix, "0", "01"),
            (Linter::Hyphen, "-", "+"),
            (Linter::ImporterIndex, "_", "/"),
            (Linter::Latitude, "1800000000", "1800000001"),
            (Linter::Longitude, "3600000000", "3600000001"),
            (Linter::NonDigit, "1A", "12"),
            (Linter::CompanyPrefix, "9521A", "952A1"),
            (Linter::CompanyPrefixSecond, "A9521", "9A521"),
            (Linter::PercentEncoding, "a%2Fb", "a%2"),
            (Linter::PieceOfTotal, "0102", "0201"),
            (Linter::PositionInSequence, "1/2", "2/1"),
        ];
        for (linter, good, bad) in cases {
            assert!(holds(linter, good), "{linter:?} {good}");
            assert!(!holds(linter, bad), "{linter:?} {bad}");
        }
    }
}
