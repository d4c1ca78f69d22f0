//! Walks a JSON body beside the shape of its message and writes the message's wire bytes.
//! It never holds the body as a tree and never stops at a fault that JSON itself survives.

use std::borrow::Cow;
use std::collections::HashSet;

use domain::fault::Fault;

use super::given::{Branch, Node};
use super::scalar::{self, Token};
use super::tokens::{self, Stop, Tokens};
use super::{Given, Read};
use crate::checks::{Found, shown};
use crate::format;
use crate::rules::{self, Scalar};
use crate::shape::{Field, Kind, Known, Many, Shape, Table};

/// A step of the path to a value, as it was typed.
pub(super) enum Step<'a> {
    Name(Cow<'a, str>),
    Index(usize),
}

pub(super) struct Reader<'t, 'a> {
    pub table: &'t Table,
    pub tokens: Tokens<'a>,
    pub path: Vec<Step<'a>>,
    pub found: Found,
    /// Required fields without an answer, by the place of their fault.
    missing: Vec<(usize, &'t Field)>,
    /// Within a secret field.
    pub secret: bool,
    /// The caller types names as the contract does.
    pub snake: bool,
    pub out: Vec<u8>,
}

/// What was met in one object, one bit a field.
#[derive(Default)]
pub(super) struct Marks {
    /// Named, be it with null.
    pub named: u128,
    /// With a value.
    pub valued: u128,
    /// With a value that answers `required`.
    pub given: u128,
    pub wrong: u128,
}

/// Reads a body and the values of path and query.
pub(super) fn read(
    table: &Table,
    shape: &Shape,
    body: &[u8],
    extra: &[Given<'_>],
) -> Result<Read, Vec<Fault>> {
    let text = std::str::from_utf8(body).map_err(|error| {
        let (line, column) = tokens::place(body, error.valid_up_to());
        let message = format!("is no UTF-8 text at line {line}, column {column}");
        vec![Fault { field: String::new(), value: None, message }]
    })?;
    let mut reader = Reader {
        table,
        tokens: Tokens::new(text),
        path: Vec::new(),
        found: Found::default(),
        missing: Vec::new(),
        secret: false,
        snake: false,
        out: Vec::with_capacity(body.len()),
    };
    let mut given = Branch::default();
    for value in extra {
        if !given.add(table, shape, value) {
            let field = shown(&value.name);
            let message = UNKNOWN.to_owned();
            reader.found.add(|| Fault { field, value: None, message });
        }
    }
    if let Err(stop) = reader.whole(shape, &given) {
        reader.stopped(stop, body);
    }
    reader.finish()
}

const UNKNOWN: &str = "is not a field here";
pub(super) const TWICE: &str = "is given twice";

impl<'t, 'a> Reader<'t, 'a> {
    fn whole(&mut self, shape: &'t Shape, given: &Branch<'_>) -> Result<(), Stop> {
        if self.tokens.peek().is_none() {
            self.only_given(shape, given);
            return Ok(());
        }
        self.message(shape, Some(given))?;
        self.tokens.end()
    }

    /// The one fault of a text that cannot be read further.
    fn stopped(&mut self, stop: Stop, body: &[u8]) {
        if stop.deep {
            return self.fault(None, stop.message.to_owned());
        }
        self.path.clear();
        let (line, column) = tokens::place(body, stop.at);
        let message = format!("is no JSON at line {line}, column {column}: {}", stop.message);
        self.fault(None, message);
    }

    fn finish(mut self) -> Result<Read, Vec<Fault>> {
        if self.found.count == 0 {
            return Ok(Read { bytes: self.out });
        }
        for (index, field) in self.missing {
            let name = if self.snake { &field.proto_name } else { &field.camel_name };
            if let Some(fault) = self.found.named(index) {
                if !fault.field.is_empty() {
                    fault.field.push('.');
                }
                fault.field.push_str(name);
            }
        }
        Err(self.found.into_vec())
    }

    /// Adds a fault of where the reading stands; the value is not shown within secret fields.
    pub fn fault(&mut self, value: Option<&str>, message: String) {
        let value = value.filter(|_| !self.secret);
        let path = &self.path;
        self.found.add(|| Fault { field: rendered(path), value: value.map(shown), message });
    }

    /// Adds a fault of the next value as a whole and steps over it.
    pub fn refuse(&mut self, message: &str) -> Result<(), Stop> {
        let text = self.tokens.skip()?;
        self.fault(single(text), message.to_owned());
        Ok(())
    }

    /// An object; `given` is what path and query say of the same message.
    fn message(&mut self, shape: &'t Shape, given: Option<&Branch<'_>>) -> Result<(), Stop> {
        if self.tokens.peek() != Some(b'{') {
            let outer = self.secret;
            self.secret |= shape.fields.iter().any(|field| field.rules.secret);
            self.refuse("must be an object")?;
            self.secret = outer;
            return Ok(());
        }
        self.tokens.enter()?;
        let mut marks = Marks::default();
        let mut first = true;
        while self.tokens.more(first, b'}')? {
            first = false;
            let name = self.tokens.name()?;
            let index = shape.named(&name);
            if let Some(index) = index {
                let field = &shape.fields[index];
                self.snake |= name == field.proto_name && name != field.camel_name;
            }
            self.path.push(Step::Name(name));
            match index {
                Some(index) => self.member(shape, index, given, &mut marks)?,
                None => {
                    // The value may be a misspelt secret, so it is not shown.
                    self.tokens.skip()?;
                    self.fault(None, UNKNOWN.to_owned());
                }
            }
            self.path.pop();
        }
        if let Some(given) = given {
            self.given(shape, given, &mut marks);
        }
        self.missing(shape, &marks);
        Ok(())
    }

    fn member(
        &mut self,
        shape: &'t Shape,
        index: usize,
        given: Option<&Branch<'_>>,
        marks: &mut Marks,
    ) -> Result<(), Stop> {
        let (field, bit) = (&shape.fields[index], 1_u128 << index);
        let before = self.found.count;
        let node = given.and_then(|given| given.of(index));
        if marks.named & bit != 0 {
            self.tokens.skip()?;
            self.fault(None, TWICE.to_owned());
        } else if self.tokens.peek() == Some(b'n') {
            self.tokens.literal("null")?;
        } else if let Some(Node::Texts(_)) = node {
            self.tokens.skip()?;
            self.fault(None, "stands already in the path or the query".to_owned());
            marks.valued |= bit;
        } else if let Some(message) = refusal(shape, index, marks) {
            self.tokens.skip()?;
            self.fault(None, message);
            marks.valued |= bit;
        } else {
            marks.valued |= bit;
            let outer = self.secret;
            self.secret |= field.rules.secret;
            let branch = match node {
                Some(Node::Branch(branch)) => Some(branch),
                _ => None,
            };
            if self.field(field, branch)? {
                marks.given |= bit;
            }
            self.secret = outer;
        }
        marks.named |= bit;
        if self.found.count > before {
            marks.wrong |= bit;
        }
        Ok(())
    }

    /// The value of a field, however often it stands; true when it answers `required`.
    fn field(&mut self, field: &'t Field, given: Option<&Branch<'_>>) -> Result<bool, Stop> {
        match field.many {
            Many::Plain | Many::Optional => self.one(field, given, false),
            Many::List { packed } => self.list(field, packed),
            Many::Map => self.map(field),
        }
    }

    fn list(&mut self, field: &'t Field, packed: bool) -> Result<bool, Stop> {
        if self.tokens.peek() != Some(b'[') {
            self.refuse("must be a list")?;
            return Ok(true);
        }
        self.tokens.enter()?;
        let start = packed.then(|| format::open(&mut self.out, field.number));
        let mut count = 0;
        while self.tokens.more(count == 0, b']')? {
            self.path.push(Step::Index(count));
            self.one(field, None, packed)?;
            self.path.pop();
            count += 1;
        }
        if let Some(start) = start {
            format::close(&mut self.out, start);
        }
        if let Some(fault) = rules::judge_count(field, count) {
            self.fault(None, fault);
        }
        Ok(count > 0)
    }

    fn map(&mut self, field: &'t Field) -> Result<bool, Stop> {
        let pair = format::shape_of(self.table, field.kind)
            .and_then(|shape| Some((shape.of_number(1)?, shape.of_number(2)?)));
        let Some((key, value)) = pair.filter(|_| self.tokens.peek() == Some(b'{')) else {
            self.refuse("must be an object")?;
            return Ok(true);
        };
        self.tokens.enter()?;
        let mut names = HashSet::new();
        while self.tokens.more(names.is_empty(), b'}')? {
            let name = self.tokens.name()?;
            self.path.push(Step::Name(name.clone()));
            let start = format::open(&mut self.out, field.number);
            match scalar::read(self.table, key, scalar::token_of(key.kind, &name)) {
                Ok(text) => format::put(&mut self.out, key.number, key.kind, &text),
                Err(message) => self.fault(None, message),
            }
            if !names.insert(name) {
                self.fault(None, TWICE.to_owned());
            }
            self.one(value, None, false)?;
            format::close(&mut self.out, start);
            self.path.pop();
        }
        if let Some(fault) = rules::judge_count(field, names.len()) {
            self.fault(None, fault);
        }
        Ok(!names.is_empty())
    }

    /// One value of a field; true when it answers `required`.
    fn one(
        &mut self,
        field: &'t Field,
        given: Option<&Branch<'_>>,
        packed: bool,
    ) -> Result<bool, Stop> {
        if let Some(shape) = format::shape_of(self.table, field.kind) {
            let start = format::open(&mut self.out, field.number);
            match shape.known {
                Known::Ordinary => self.message(shape, given)?,
                Known::Timestamp => self.time()?,
                Known::Struct => self.structure()?,
                Known::Value => self.value()?,
                Known::List => self.values()?,
            }
            format::close(&mut self.out, start);
            return Ok(true);
        }
        let start = self.tokens.start();
        let token = self.token()?;
        let text = match &token {
            Token::Text(text) => Some(text.clone()),
            _ => single(self.tokens.since(start)).map(Cow::Borrowed),
        };
        Ok(self.scalar(field, token, text.as_deref(), packed))
    }

    fn token(&mut self) -> Result<Token<'a>, Stop> {
        Ok(match self.tokens.peek() {
            Some(b'"') => Token::Text(self.tokens.string()?),
            Some(b'-' | b'0'..=b'9') => Token::Number(self.tokens.number()?),
            Some(b't') => {
                self.tokens.literal("true")?;
                Token::Truth(true)
            }
            Some(b'f') => {
                self.tokens.literal("false")?;
                Token::Truth(false)
            }
            _ => {
                self.tokens.skip()?;
                Token::Other
            }
        })
    }

    /// Judges and writes one value that is no message; true when it answers `required`.
    pub fn scalar(
        &mut self,
        field: &Field,
        token: Token<'_>,
        text: Option<&str>,
        packed: bool,
    ) -> bool {
        let value = match scalar::read(self.table, field, token) {
            Ok(value) => value,
            Err(message) => {
                self.fault(text, message);
                return true;
            }
        };
        for message in rules::judge(self.table, field, &value) {
            self.fault(text, message);
        }
        if packed {
            format::put_value(&mut self.out, field.kind, &value);
        } else if field.many != Many::Plain || !value.is_default() {
            format::put(&mut self.out, field.number, field.kind, &value);
        }
        rules::is_given(field, &value)
    }

    fn time(&mut self) -> Result<(), Stop> {
        let start = self.tokens.start();
        match self.token()? {
            Token::Text(text) => self.time_of(&text),
            _ => {
                let text = single(self.tokens.since(start));
                self.fault(text, "must be a time as text".to_owned());
            }
        }
        Ok(())
    }

    pub fn time_of(&mut self, text: &str) {
        match scalar::time(text) {
            Ok((seconds, nanoseconds)) => {
                let (seconds, nanoseconds) = (seconds.into(), nanoseconds.into());
                format::put(&mut self.out, 1, Kind::Int64, &Scalar::Whole(seconds));
                format::put(&mut self.out, 2, Kind::Int32, &Scalar::Whole(nanoseconds));
            }
            Err(message) => self.fault(Some(text), message),
        }
    }

    /// Adds a fault of every required field that has no answer and is not yet known as wrong.
    pub fn missing(&mut self, shape: &'t Shape, marks: &Marks) {
        let answered = marks.given | marks.wrong;
        for (index, field) in shape.fields.iter().enumerate() {
            if !field.rules.required || answered & (1 << index) != 0 {
                continue;
            }
            let message = rules::missing(field).to_owned();
            let path = &self.path;
            let fault = || Fault { field: rendered(path), value: None, message };
            if let Some(place) = self.found.add(fault) {
                self.missing.push((place, field));
            }
        }
    }
}

/// Why a field must not stand here, whatever its value.
pub(super) fn refusal(shape: &Shape, index: usize, marks: &Marks) -> Option<String> {
    let field = &shape.fields[index];
    if field.rules.output_only {
        return Some(rules::OUTPUT_ONLY.to_owned());
    }
    let members = shape.choices.get(field.choice?)?;
    let other = (marks.valued & members).checked_ilog2()?;
    let other = shape.fields.get(other as usize)?;
    Some(format!("excludes {}, which is given too", other.camel_name))
}

/// The text of a value that may be shown: a list or object might hold a secret somewhere.
pub(super) fn single(text: &str) -> Option<&str> {
    (!text.starts_with(['{', '['])).then_some(text)
}

/// The path as text, with every name cut to what is shown.
pub(super) fn rendered(path: &[Step<'_>]) -> String {
    let mut text = String::new();
    for step in path {
        match step {
            Step::Index(index) => text.push_str(&format!("[{index}]")),
            Step::Name(name) => {
                if !text.is_empty() {
                    text.push('.');
                }
                text.push_str(&shown(name));
            }
        }
    }
    text
}
