//! GS1 keys of digits and their check digit, which catches most slips of a hand entry.
//! It never says that a key is in use, only that it is well formed.

/// A kind of key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeyKind {
    /// Its word: `GTIN-14`.
    pub word: &'static str,
    /// Its digits with the check digit.
    pub digits: usize,
}

/// Every kind of key, in the order in which messages list them. Lengths: GS1 syntax dictionary;
/// shorter trade item numbers: GS1 General Specifications.
pub const KINDS: [KeyKind; 7] = [
    KeyKind { word: "GTIN-8", digits: 8 },
    KeyKind { word: "GTIN-12", digits: 12 },
    KeyKind { word: "GTIN-13", digits: 13 },
    KeyKind { word: "GTIN-14", digits: 14 },
    KeyKind { word: "SSCC", digits: 18 },
    KeyKind { word: "GLN", digits: 13 },
    KeyKind { word: "GSIN", digits: 17 },
];

impl KeyKind {
    /// The kind of a word.
    pub fn of(word: &str) -> Option<Self> {
        KINDS.into_iter().find(|kind| kind.word == word)
    }

    /// Every word, for a message that says what is allowed.
    pub fn words() -> String {
        KINDS.map(|kind| kind.word).join(" ")
    }

    /// Adds the check digit. Errors: another number of digits, or something that is no digit.
    pub fn complete(self, digits: &str) -> Result<String, String> {
        self.check_length(digits, self.digits - 1)?;
        // The length was just found to be above 0 and every character a digit.
        check_digit(digits)
            .map(|digit| format!("{digits}{digit}"))
            .ok_or_else(|| format!("must be {} digits", self.digits - 1))
    }

    /// Checks a key with its check digit. Errors: what is wrong with it.
    pub fn verify(self, complete: &str) -> Result<(), String> {
        self.check_length(complete, self.digits)?;
        let (digits, _) = complete.split_at(self.digits - 1);
        let right = self.complete(digits)?;
        if right == complete {
            return Ok(());
        }
        Err(format!("has a wrong check digit: {} is right", &right[self.digits - 1..]))
    }

    fn check_length(self, text: &str, length: usize) -> Result<(), String> {
        if text.len() == length && text.bytes().all(|b| b.is_ascii_digit()) {
            return Ok(());
        }
        Err(format!("must be {length} digits"))
    }
}

/// The check digit of digits: from the right they weigh 3, 1, 3 and on; it brings the sum to a
/// multiple of 10 (GS1 General Specifications, standard check digit calculation). Nothing for a
/// text that holds anything but digits, or nothing at all.
pub(super) fn check_digit(digits: &str) -> Option<u32> {
    let weighed = digits.chars().rev().zip([3, 1].into_iter().cycle());
    let sum: u32 =
        weighed.map(|(c, weight)| Some(c.to_digit(10)? * weight)).sum::<Option<u32>>()?;
    (!digits.is_empty()).then_some((10 - sum % 10) % 10)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn published_keys_hold() {
        // GS1 syntax dictionary and syntax engine unit tests, 2026 (named in each row).
        let table = include_str!("../../tests/data/gs1/check-digits.csv");
        let mut checked = 0;
        for line in table.lines().skip(1) {
            let cells: Vec<&str> = line.splitn(4, ',').collect();
            let kind = KeyKind::of(cells[0]).expect("a kind");
            assert_eq!(kind.verify(cells[1]).is_ok(), cells[2] == "yes", "{line}");
            if cells[2] == "yes" {
                let digits = &cells[1][..kind.digits - 1];
                assert_eq!(kind.complete(digits).as_deref(), Ok(cells[1]));
            }
            checked += 1;
        }
        assert!(checked >= 17);
    }

    #[test]
    fn a_key_of_another_shape_is_refused() {
        let kind = KeyKind::of("GTIN-8").expect("a kind");
        for text in ["", "0234567", "023456733", "0234567A", "0234567³", "٠٢٣٤٥٦٧٣"] {
            assert!(kind.verify(text).is_err(), "{text}");
        }
        assert!(kind.complete("02345673").is_err());
        assert_eq!(KeyKind::of("gtin-8"), None);
    }

    proptest! {
        #[test]
        fn one_wrong_digit_is_always_caught(
            digits in "[0-9]{17}",
            at in 0usize..18,
            add in 1u32..10,
        ) {
            let kind = KeyKind::of("SSCC").expect("a kind");
            let complete = kind.complete(&digits).expect("17 digits");
            prop_assert!(kind.verify(&complete).is_ok());
            let wrong: String = complete
                .char_indices()
                .map(|(i, c)| match c.to_digit(10) {
                    Some(digit) if i == at => ((digit + add) % 10).to_string(),
                    _ => c.to_string(),
                })
                .collect();
            prop_assert!(kind.verify(&wrong).is_err());
        }

        #[test]
        fn any_text_is_answered(text in ".*") {
            for kind in KINDS {
                let _ = kind.verify(&text);
                let _ = kind.complete(&text);
            }
        }
    }
}
