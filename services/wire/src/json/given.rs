//! The values of path and query as a tree beside the body, one branch a message.
//! It never judges a value in its own way: the reader judges it as it does the body's.

use std::borrow::Cow;

use super::read::{Marks, Reader, Step, TWICE, refusal};
use super::{DEPTH_MAX, Given, scalar};
use crate::format;
use crate::rules;
use crate::shape::{Field, Known, Many, Shape, Table};

/// What path and query say of one message.
#[derive(Default)]
pub(super) struct Branch<'a> {
    pub parts: Vec<Part<'a>>,
}

/// What they say of one of its fields.
pub(super) struct Part<'a> {
    pub field: usize,
    /// The field's name as typed.
    pub name: Cow<'a, str>,
    pub node: Node<'a>,
}

pub(super) enum Node<'a> {
    /// As often as the name stands in path and query.
    Texts(Vec<Cow<'a, str>>),
    Branch(Branch<'a>),
}

impl<'a> Branch<'a> {
    /// What is said of a field.
    pub fn of(&self, field: usize) -> Option<&Node<'a>> {
        self.parts.iter().find(|part| part.field == field).map(|part| &part.node)
    }

    /// Adds a value; false when no such field can be named.
    pub fn add(&mut self, table: &Table, shape: &Shape, given: &Given<'a>) -> bool {
        let mut segments: Vec<_> = given.name.split('.').collect();
        let last = segments.pop().unwrap_or_default();
        if segments.len() >= DEPTH_MAX {
            return false;
        }
        let (mut branch, mut shape) = (self, shape);
        for segment in segments {
            let Some(index) = shape.named(segment) else { return false };
            let field = &shape.fields[index];
            let Some(inner) = format::shape_of(table, field.kind) else { return false };
            if field.is_many() || inner.known != Known::Ordinary {
                return false;
            }
            let empty = || Node::Branch(Branch::default());
            let Node::Branch(next) = branch.part(index, segment, empty) else { return false };
            (branch, shape) = (next, inner);
        }
        let Some(index) = shape.named(last) else { return false };
        match branch.part(index, last, || Node::Texts(Vec::new())) {
            Node::Texts(texts) => texts.push(given.text.clone()),
            Node::Branch(_) => return false,
        }
        true
    }

    fn part(&mut self, field: usize, name: &str, node: impl Fn() -> Node<'a>) -> &mut Node<'a> {
        let index = match self.parts.iter().position(|part| part.field == field) {
            Some(index) => index,
            None => {
                self.parts.push(Part { field, name: Cow::Owned(name.to_owned()), node: node() });
                self.parts.len() - 1
            }
        };
        &mut self.parts[index].node
    }
}

impl<'t> Reader<'t, '_> {
    /// A message of which only path and query say something.
    pub fn only_given(&mut self, shape: &'t Shape, given: &Branch<'_>) {
        let mut marks = Marks::default();
        self.given(shape, given, &mut marks);
        self.missing(shape, &marks);
    }

    /// Writes what path and query say, where the body has said nothing.
    pub fn given(&mut self, shape: &'t Shape, given: &Branch<'_>, marks: &mut Marks) {
        for part in &given.parts {
            let bit = 1_u128 << part.field;
            if marks.valued & bit != 0 {
                continue;
            }
            let field = &shape.fields[part.field];
            let before = self.found.count;
            self.path.push(Step::Name(Cow::Owned(part.name.to_string())));
            self.snake |= part.name == field.proto_name && part.name != field.camel_name;
            if let Some(message) = refusal(shape, part.field, marks) {
                self.fault(None, message);
            } else {
                let outer = self.secret;
                self.secret |= field.rules.secret;
                if self.given_field(field, &part.node) {
                    marks.given |= bit;
                }
                self.secret = outer;
            }
            self.path.pop();
            marks.valued |= bit;
            if self.found.count > before {
                marks.wrong |= bit;
            }
        }
    }

    fn given_field(&mut self, field: &'t Field, node: &Node<'_>) -> bool {
        match (node, format::shape_of(self.table, field.kind)) {
            (Node::Branch(branch), Some(shape)) => {
                let start = format::open(&mut self.out, field.number);
                self.only_given(shape, branch);
                format::close(&mut self.out, start);
                true
            }
            (Node::Texts(texts), shape) => self.given_texts(field, shape, texts),
            (Node::Branch(_), None) => false,
        }
    }

    fn given_texts(
        &mut self,
        field: &'t Field,
        shape: Option<&Shape>,
        texts: &[Cow<'_, str>],
    ) -> bool {
        let list = matches!(field.many, Many::List { .. });
        if texts.len() > 1 && !list {
            self.fault(None, TWICE.to_owned());
            return true;
        }
        if let Some(fault) = rules::judge_count(field, texts.len()) {
            self.fault(None, fault);
        }
        let mut answered = false;
        for (index, text) in texts.iter().enumerate() {
            if list {
                self.path.push(Step::Index(index));
            }
            answered |= self.given_text(field, shape, text);
            if list {
                self.path.pop();
            }
        }
        answered || list
    }

    fn given_text(&mut self, field: &'t Field, shape: Option<&Shape>, text: &str) -> bool {
        match shape.map(|shape| shape.known) {
            None => self.scalar(field, scalar::token_of(field.kind, text), Some(text), false),
            Some(Known::Timestamp) => {
                let start = format::open(&mut self.out, field.number);
                self.time_of(text);
                format::close(&mut self.out, start);
                true
            }
            Some(_) => {
                self.fault(Some(text), "cannot stand in the path or the query".to_owned());
                true
            }
        }
    }
}
