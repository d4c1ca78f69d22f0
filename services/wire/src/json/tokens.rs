//! Reads JSON text token by token, so that numbers keep their own digits.
//! It never builds a tree and never looks back.

use std::borrow::Cow;

use super::DEPTH_MAX;

/// The text is no JSON from the byte `at` on, or nests too deep.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stop {
    pub at: usize,
    pub message: &'static str,
    /// Nested too deep: the fault belongs to the field, not to the text.
    pub deep: bool,
}

/// Where the reading stands.
pub(super) struct Tokens<'a> {
    text: &'a str,
    at: usize,
    depth: usize,
}

impl<'a> Tokens<'a> {
    pub fn new(text: &'a str) -> Self {
        Self { text, at: 0, depth: 0 }
    }

    fn bytes(&self) -> &'a [u8] {
        self.text.as_bytes()
    }

    fn stop<T>(&self, message: &'static str) -> Result<T, Stop> {
        Err(Stop { at: self.at, message, deep: false })
    }

    /// The first byte of the next token.
    pub fn peek(&mut self) -> Option<u8> {
        while let Some(b' ' | b'\t' | b'\n' | b'\r') = self.bytes().get(self.at) {
            self.at += 1;
        }
        self.bytes().get(self.at).copied()
    }

    /// Where the next token begins.
    pub fn start(&mut self) -> usize {
        self.peek();
        self.at
    }

    /// The text from `start` to here.
    pub fn since(&self, start: usize) -> &'a str {
        self.text.get(start..self.at).unwrap_or_default()
    }

    /// Steps over the byte that begins an object or list.
    pub fn enter(&mut self) -> Result<(), Stop> {
        if self.depth == DEPTH_MAX {
            let message = "nests deeper than 32 levels";
            return Err(Stop { at: self.at, message, deep: true });
        }
        self.depth += 1;
        self.at += 1;
        Ok(())
    }

    /// After `enter` and after each part: true when another part follows, false at the end.
    pub fn more(&mut self, first: bool, end: u8) -> Result<bool, Stop> {
        match self.peek() {
            Some(byte) if byte == end => {
                self.at += 1;
                self.depth -= 1;
                Ok(false)
            }
            Some(_) if first => Ok(true),
            Some(b',') => {
                self.at += 1;
                Ok(true)
            }
            Some(_) => self.stop("expected a comma or the end of the list or object"),
            None => self.stop("the text ends too early"),
        }
    }

    /// A member's name and the colon after it.
    pub fn name(&mut self) -> Result<Cow<'a, str>, Stop> {
        if self.peek() != Some(b'"') {
            return self.stop("expected a name in quotes");
        }
        let name = self.string()?;
        if self.peek() != Some(b':') {
            return self.stop("expected a colon");
        }
        self.at += 1;
        Ok(name)
    }

    /// Nothing but blanks may follow.
    pub fn end(&mut self) -> Result<(), Stop> {
        match self.peek() {
            None => Ok(()),
            Some(_) => self.stop("expected nothing after the object"),
        }
    }

    /// `true`, `false` or `null`, when it is the next token.
    pub fn literal(&mut self, word: &'static str) -> Result<(), Stop> {
        if !self.text[self.at..].starts_with(word) {
            return self.stop("expected a JSON value");
        }
        self.at += word.len();
        Ok(())
    }

    /// A number, digits as they stand.
    pub fn number(&mut self) -> Result<&'a str, Stop> {
        let start = self.at;
        if self.bytes().get(self.at) == Some(&b'-') {
            self.at += 1;
        }
        let whole = self.at;
        self.digits()?;
        if self.at - whole > 1 && self.bytes()[whole] == b'0' {
            return self.stop("a number must not begin with 0");
        }
        if self.bytes().get(self.at) == Some(&b'.') {
            self.at += 1;
            self.digits()?;
        }
        if let Some(b'e' | b'E') = self.bytes().get(self.at) {
            self.at += 1;
            if let Some(b'+' | b'-') = self.bytes().get(self.at) {
                self.at += 1;
            }
            self.digits()?;
        }
        Ok(self.since(start))
    }

    fn digits(&mut self) -> Result<(), Stop> {
        let start = self.at;
        while self.bytes().get(self.at).is_some_and(u8::is_ascii_digit) {
            self.at += 1;
        }
        if self.at == start { self.stop("expected a digit") } else { Ok(()) }
    }

    /// A text, of which the opening quote is the next byte.
    pub fn string(&mut self) -> Result<Cow<'a, str>, Stop> {
        self.at += 1;
        let mut start = self.at;
        let mut built = String::new();
        loop {
            match self.bytes().get(self.at) {
                Some(b'"') => {
                    let part = self.since(start);
                    self.at += 1;
                    if built.is_empty() {
                        return Ok(Cow::Borrowed(part));
                    }
                    built.push_str(part);
                    return Ok(Cow::Owned(built));
                }
                Some(b'\\') => {
                    built.push_str(self.since(start));
                    self.at += 1;
                    built.push(self.escape()?);
                    start = self.at;
                }
                Some(0..=0x1f) => return self.stop("a text must not hold control characters"),
                Some(_) => self.at += 1,
                None => return self.stop("the text ends too early"),
            }
        }
    }

    /// The character after a backslash.
    fn escape(&mut self) -> Result<char, Stop> {
        let character = match self.bytes().get(self.at) {
            Some(b'"') => '"',
            Some(b'\\') => '\\',
            Some(b'/') => '/',
            Some(b'b') => '\u{8}',
            Some(b'f') => '\u{c}',
            Some(b'n') => '\n',
            Some(b'r') => '\r',
            Some(b't') => '\t',
            Some(b'u') => {
                self.at += 1;
                return self.unicode();
            }
            _ => return self.stop("unknown escape"),
        };
        self.at += 1;
        Ok(character)
    }

    fn unicode(&mut self) -> Result<char, Stop> {
        let unit = self.four_digits()?;
        let code = match unit {
            0xd800..=0xdbff => {
                if self.bytes().get(self.at..self.at + 2) != Some(b"\\u") {
                    return self.stop("half of a surrogate pair");
                }
                self.at += 2;
                let low = self.four_digits()?;
                if !(0xdc00..=0xdfff).contains(&low) {
                    return self.stop("half of a surrogate pair");
                }
                0x10000 + ((unit - 0xd800) << 10) + (low - 0xdc00)
            }
            unit => unit,
        };
        match char::from_u32(code) {
            Some(character) => Ok(character),
            None => self.stop("half of a surrogate pair"),
        }
    }

    fn four_digits(&mut self) -> Result<u32, Stop> {
        let digits = self.text.get(self.at..self.at + 4);
        let digits = digits.filter(|d| d.bytes().all(|b| b.is_ascii_hexdigit()));
        match digits.and_then(|digits| u32::from_str_radix(digits, 16).ok()) {
            Some(unit) => {
                self.at += 4;
                Ok(unit)
            }
            None => self.stop("expected four hexadecimal digits"),
        }
    }

    /// Steps over the next value and answers its text.
    pub fn skip(&mut self) -> Result<&'a str, Stop> {
        let start = self.start();
        match self.peek() {
            Some(b'{') => {
                self.enter()?;
                let mut first = true;
                while self.more(first, b'}')? {
                    first = false;
                    self.name()?;
                    self.skip()?;
                }
            }
            Some(b'[') => {
                self.enter()?;
                let mut first = true;
                while self.more(first, b']')? {
                    first = false;
                    self.skip()?;
                }
            }
            Some(b'"') => {
                self.string()?;
            }
            Some(b't') => self.literal("true")?,
            Some(b'f') => self.literal("false")?,
            Some(b'n') => self.literal("null")?,
            Some(b'-' | b'0'..=b'9') => {
                self.number()?;
            }
            Some(_) => return self.stop("expected a JSON value"),
            None => return self.stop("the text ends too early"),
        }
        Ok(self.since(start))
    }
}

/// True when the whole text is a number as JSON writes it.
pub(super) fn is_number(text: &str) -> bool {
    let mut tokens = Tokens::new(text);
    tokens.number().is_ok_and(|number| number == text)
}

/// Line and column, both from 1, of a byte of the text; columns count characters.
pub(super) fn place(text: &[u8], at: usize) -> (usize, usize) {
    let before = &text[..at.min(text.len())];
    let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
    let start = before.iter().rposition(|byte| *byte == b'\n').map_or(0, |index| index + 1);
    let starts_character = |byte: &&u8| **byte & 0xc0 != 0x80;
    (line, before[start..].iter().filter(starts_character).count() + 1)
}
