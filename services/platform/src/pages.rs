//! Cursors of lists: where the next page begins, read back only by us.
//! It never holds authority: a cursor only says after which row to go on.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

use crate::error::Failure;

/// The most rows of a page.
pub const PAGE_MAX: i64 = 1000;
/// The rows of a page when the caller names no number.
pub const PAGE_DEFAULT: i64 = 100;

/// A page asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    /// How many rows.
    pub size: i64,
    /// The key of the last row of the page before.
    pub after: Option<String>,
}

impl Page {
    /// Reads `page_size` and `page_token`.
    pub fn of(size: i32, token: &str) -> Result<Self, Failure> {
        let size = if size <= 0 { PAGE_DEFAULT } else { i64::from(size).min(PAGE_MAX) };
        if token.is_empty() {
            return Ok(Self { size, after: None });
        }
        let read = URL_SAFE_NO_PAD.decode(token).ok().and_then(|raw| String::from_utf8(raw).ok());
        let wrong = || Failure::fault("page_token", token, "must come from the answer before");
        Ok(Self { size, after: Some(read.ok_or_else(wrong)?) })
    }

    /// One row more than the page, to learn whether another page follows.
    pub fn fetch(&self) -> i64 {
        self.size + 1
    }

    /// Cuts the extra row off and gives the next token: the key of the last row that stays.
    pub fn cut<T>(&self, rows: &mut Vec<T>, key: impl Fn(&T) -> String) -> String {
        let size = self.size as usize;
        if rows.len() <= size {
            return String::new();
        }
        rows.truncate(size);
        rows.last().map(|row| URL_SAFE_NO_PAD.encode(key(row))).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_leads_to_the_row_after_it() {
        let page = Page::of(2, "").expect("a page");
        let mut rows = vec!["a", "b", "c"];
        let token = page.cut(&mut rows, |row| (*row).to_owned());
        assert_eq!(rows, ["a", "b"]);
        let next = Page::of(2, &token).expect("a page");
        assert_eq!(next.after.as_deref(), Some("b"));
        assert_eq!(next.cut(&mut vec!["c"], |row| (*row).to_owned()), "");
        assert!(Page::of(2, "%%%").is_err());
    }
}
