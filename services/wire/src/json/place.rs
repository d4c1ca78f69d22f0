//! Finds where in the caller's JSON a fault lies, so that it is named as the caller typed it.
//! It never finds new faults and never shows a value of a secret field.

use std::collections::HashMap;

use domain::fault::Fault;

use super::Given;
use super::read::single;
use super::tokens::{Stop, Tokens};
use crate::checks::shown;
use crate::format;
use crate::shape::{Field, Known, Many, Shape, Table};

/// The most steps of a path that is looked for.
const STEPS_MAX: usize = 64;

/// The faults below one place, by the next step in proto names.
#[derive(Default)]
struct Wanted {
    steps: HashMap<String, Wanted>,
    /// The faults of the place itself.
    faults: Vec<usize>,
}

/// Renames faults in proto names to the names that the caller typed and adds the values.
pub(super) fn as_typed(
    table: &Table,
    shape: &Shape,
    (body, extra): (&[u8], &[Given<'_>]),
    faults: Vec<Fault>,
) -> Vec<Fault> {
    let mut wanted = Wanted::default();
    for (index, fault) in faults.iter().enumerate() {
        wanted.add(&fault.field, index);
    }
    let mut search = Search { table, snake: false, faults };
    let whole = Place { shape: Some(shape), field: None, typed: String::new(), secret: false };
    let text = std::str::from_utf8(body).unwrap_or_default();
    let mut tokens = Tokens::new(text);
    let walked = tokens.peek().is_some() && search.value(&mut tokens, &whole, &wanted).is_ok();
    if !walked {
        search.absent(&whole, &wanted);
    }
    for given in extra {
        search.given(shape, given, &wanted);
    }
    search.faults
}

impl Wanted {
    fn add(&mut self, path: &str, fault: usize) {
        let steps: Vec<_> = steps(path).collect();
        if steps.len() > STEPS_MAX {
            return;
        }
        let place = steps
            .into_iter()
            .fold(self, |place, step| place.steps.entry(step.to_owned()).or_default());
        place.faults.push(fault);
    }
}

/// `curve.samples[3].t_s` as `curve`, `samples`, `[3]`, `t_s`.
fn steps(path: &str) -> impl Iterator<Item = &str> {
    path.split('.').flat_map(|part| {
        let end = part.find('[').unwrap_or(part.len());
        let (name, indices) = part.split_at(end);
        std::iter::once(name).chain(indices.split_inclusive(']')).filter(|step| !step.is_empty())
    })
}

/// A place in the body.
struct Place<'t> {
    /// Of a message: its shape.
    shape: Option<&'t Shape>,
    /// Of a whole list or map: its field.
    field: Option<&'t Field>,
    typed: String,
    secret: bool,
}

struct Search<'t> {
    table: &'t Table,
    snake: bool,
    faults: Vec<Fault>,
}

impl<'t> Search<'t> {
    fn value(
        &mut self,
        tokens: &mut Tokens<'_>,
        place: &Place<'t>,
        wanted: &Wanted,
    ) -> Result<(), Stop> {
        let start = tokens.start();
        match tokens.peek() {
            _ if wanted.steps.is_empty() => {
                tokens.skip()?;
            }
            Some(b'{') => self.object(tokens, place, wanted)?,
            Some(b'[') => self.list(tokens, place, wanted)?,
            _ => {
                tokens.skip()?;
                self.rest(place, wanted, |_| true);
            }
        }
        self.found(place, wanted, tokens.since(start));
        Ok(())
    }

    fn found(&mut self, place: &Place<'_>, wanted: &Wanted, text: &str) {
        for index in &wanted.faults {
            let fault = &mut self.faults[*index];
            fault.field = place.typed.clone();
            let hidden = place.secret || text == "null";
            fault.value = single(text).filter(|_| !hidden).map(|text| shown(&unquoted(text)));
        }
    }

    fn object(
        &mut self,
        tokens: &mut Tokens<'_>,
        place: &Place<'t>,
        wanted: &Wanted,
    ) -> Result<(), Stop> {
        tokens.enter()?;
        let mut met = Vec::new();
        let mut first = true;
        while tokens.more(first, b'}')? {
            first = false;
            let name = tokens.name()?;
            let field = place.shape.and_then(|s| s.named(&name).map(|index| &s.fields[index]));
            let step = field.map_or(&*name, |field| field.proto_name.as_str());
            self.snake |= field.is_some_and(|f| name == f.proto_name && name != f.camel_name);
            match wanted.steps.get_key_value(step) {
                Some((step, below)) => {
                    met.push(step.as_str());
                    let inner = self.inner(place, field, &shown(&name));
                    self.value(tokens, &inner, below)?;
                }
                None => {
                    tokens.skip()?;
                }
            }
        }
        self.rest(place, wanted, |step| !met.contains(&step));
        Ok(())
    }

    fn list(
        &mut self,
        tokens: &mut Tokens<'_>,
        place: &Place<'t>,
        wanted: &Wanted,
    ) -> Result<(), Stop> {
        tokens.enter()?;
        let mut count = 0;
        while tokens.more(count == 0, b']')? {
            let step = format!("[{count}]");
            match wanted.steps.get(&step) {
                Some(below) => self.value(tokens, &self.inner(place, None, &step), below)?,
                None => {
                    tokens.skip()?;
                }
            }
            count += 1;
        }
        let past = |step: &str| index_of(step).is_none_or(|index| index >= count);
        self.rest(place, wanted, past);
        Ok(())
    }

    /// The place one step further: below a message by a field, below a list or map by a key.
    fn inner(&self, place: &Place<'t>, field: Option<&'t Field>, step: &str) -> Place<'t> {
        let typed = match (place.typed.is_empty(), step.starts_with('[')) {
            (true, _) => step.to_owned(),
            (_, true) => format!("{}{step}", place.typed),
            _ => format!("{}.{step}", place.typed),
        };
        let secret = place.secret || field.is_some_and(|field| field.rules.secret);
        if let Some(field) = field.filter(|field| field.is_many()) {
            return Place { shape: None, field: Some(field), typed, secret };
        }
        let kind = match (field, place.field) {
            (Some(field), _) => Some(field.kind),
            (None, Some(many)) if many.many == Many::Map => {
                let pair = format::shape_of(self.table, many.kind);
                pair.and_then(|pair| pair.of_number(2)).map(|value| value.kind)
            }
            (None, many) => many.map(|many| many.kind),
        };
        let shape = kind.and_then(|kind| format::shape_of(self.table, kind));
        Place { shape: shape.filter(|s| s.known == Known::Ordinary), field: None, typed, secret }
    }

    /// Names the faults of steps that the caller did not send.
    fn rest(&mut self, place: &Place<'t>, wanted: &Wanted, unmet: impl Fn(&str) -> bool) {
        for (step, below) in wanted.steps.iter().filter(|(step, _)| unmet(step)) {
            let field = place.shape.and_then(|s| s.named(step).map(|index| &s.fields[index]));
            let name = match field {
                Some(field) if !self.snake => &field.camel_name,
                _ => step,
            };
            let inner = self.inner(place, field, name);
            self.absent(&inner, below);
        }
    }

    /// Names the faults at and below a place that the caller did not send.
    fn absent(&mut self, place: &Place<'t>, wanted: &Wanted) {
        for index in &wanted.faults {
            self.faults[*index].field = place.typed.clone();
            self.faults[*index].value = None;
        }
        self.rest(place, wanted, |_| true);
    }

    /// Names the faults of a value that came by path or query.
    fn given(&mut self, shape: &'t Shape, given: &Given<'_>, wanted: &Wanted) {
        let (mut shape, mut wanted, mut secret) = (Some(shape), wanted, false);
        for step in given.name.split('.') {
            let field = shape.and_then(|s| s.named(step).map(|index| &s.fields[index]));
            let Some(field) = field else { return };
            let Some(below) = wanted.steps.get(&field.proto_name) else { return };
            shape = format::shape_of(self.table, field.kind);
            secret |= field.rules.secret;
            wanted = below;
        }
        for index in &wanted.faults {
            self.faults[*index].field = given.name.to_string();
            self.faults[*index].value = (!secret).then(|| shown(&given.text));
        }
    }
}

fn index_of(step: &str) -> Option<usize> {
    step.strip_prefix('[')?.strip_suffix(']')?.parse().ok()
}

/// The content of a JSON text, any other JSON as it stands.
fn unquoted(text: &str) -> String {
    match text.starts_with('"') {
        true => Tokens::new(text).string().map_or_else(|_| text.to_owned(), |t| t.into_owned()),
        false => text.to_owned(),
    }
}
