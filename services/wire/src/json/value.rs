//! Free JSON (`google.protobuf.Value`, `Struct`, `ListValue`) to wire bytes.
//! It never keeps a number's digits: these types hold floats.

use std::collections::HashSet;

use super::read::{Reader, Step};
use super::scalar;
use super::tokens::Stop;
use crate::format;
use crate::rules::Scalar;
use crate::shape::Kind;

impl Reader<'_, '_> {
    /// Any JSON value, as the content of a `Value`.
    pub fn value(&mut self) -> Result<(), Stop> {
        match self.tokens.peek() {
            Some(b'{') => {
                let start = format::open(&mut self.out, 5);
                self.structure()?;
                format::close(&mut self.out, start);
            }
            Some(b'[') => {
                let start = format::open(&mut self.out, 6);
                self.values()?;
                format::close(&mut self.out, start);
            }
            Some(b'"') => {
                let text = self.tokens.string()?;
                format::put(&mut self.out, 3, Kind::Text, &Scalar::Text(text));
            }
            Some(b'n') => {
                self.tokens.literal("null")?;
                format::put(&mut self.out, 1, Kind::Int32, &Scalar::Whole(0));
            }
            Some(b't') => {
                self.tokens.literal("true")?;
                format::put(&mut self.out, 4, Kind::Bool, &Scalar::Truth(true));
            }
            Some(b'f') => {
                self.tokens.literal("false")?;
                format::put(&mut self.out, 4, Kind::Bool, &Scalar::Truth(false));
            }
            Some(b'-' | b'0'..=b'9') => {
                let text = self.tokens.number()?;
                match scalar::finite(text.parse()) {
                    Ok(number) => {
                        format::put(&mut self.out, 2, Kind::Double, &Scalar::Float(number));
                    }
                    Err(message) => self.fault(Some(text), message),
                }
            }
            _ => {
                self.tokens.skip()?;
            }
        }
        Ok(())
    }

    /// A JSON object, as the content of a `Struct`.
    pub fn structure(&mut self) -> Result<(), Stop> {
        if self.tokens.peek() != Some(b'{') {
            return self.refuse("must be an object");
        }
        self.tokens.enter()?;
        let mut names = HashSet::new();
        while self.tokens.more(names.is_empty(), b'}')? {
            let name = self.tokens.name()?;
            self.path.push(Step::Name(name.clone()));
            let start = format::open(&mut self.out, 1);
            format::put(&mut self.out, 1, Kind::Text, &Scalar::Text(name.clone()));
            let inner = format::open(&mut self.out, 2);
            self.value()?;
            format::close(&mut self.out, inner);
            format::close(&mut self.out, start);
            if !names.insert(name) {
                self.fault(None, "is given twice".to_owned());
            }
            self.path.pop();
        }
        Ok(())
    }

    /// A JSON list, as the content of a `ListValue`.
    pub fn values(&mut self) -> Result<(), Stop> {
        if self.tokens.peek() != Some(b'[') {
            return self.refuse("must be a list");
        }
        self.tokens.enter()?;
        let mut count = 0;
        while self.tokens.more(count == 0, b']')? {
            self.path.push(Step::Index(count));
            let start = format::open(&mut self.out, 1);
            self.value()?;
            format::close(&mut self.out, start);
            self.path.pop();
            count += 1;
        }
        Ok(())
    }
}
