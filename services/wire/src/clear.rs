//! Re-encodes a message in one fixed form without its secrets, for fingerprints.
//! It never keeps a secret field or a field that the contract does not know.

use crate::format::{self, Entry, Malformed, Raw, WIRE_DEPTH_MAX};
use crate::shape::{Field, Many, Shape, Table};

/// The message in order of field numbers, defaults of plain fields left out, maps in order of
/// their encoded entries, every secret field left out.
pub(crate) fn cleared(table: &Table, shape: &Shape, bytes: &[u8]) -> Result<Vec<u8>, Malformed> {
    Clearing { table, depth: 0 }.message(shape, bytes)
}

struct Clearing<'t> {
    table: &'t Table,
    depth: usize,
}

impl Clearing<'_> {
    fn message(&mut self, shape: &Shape, bytes: &[u8]) -> Result<Vec<u8>, Malformed> {
        self.depth += 1;
        if self.depth > WIRE_DEPTH_MAX {
            return Err(Malformed);
        }
        let mut entries = format::gather(shape, bytes)?;
        entries.sort_by_key(|entry| shape.fields[entry.field].number);
        let mut out = Vec::with_capacity(bytes.len());
        for occurrences in entries.chunk_by(|a, b| a.field == b.field) {
            let field = &shape.fields[occurrences[0].field];
            match format::shape_of(self.table, field.kind) {
                _ if field.rules.secret => {}
                Some(inner) => self.messages(field, inner, occurrences, &mut out)?,
                None => put_scalars(field, occurrences, &mut out)?,
            }
        }
        self.depth -= 1;
        Ok(out)
    }

    fn messages(
        &mut self,
        field: &Field,
        shape: &Shape,
        entries: &[Entry<'_>],
        out: &mut Vec<u8>,
    ) -> Result<(), Malformed> {
        let mut parts = Vec::with_capacity(entries.len());
        for entry in entries {
            let Raw::Bytes(bytes) = &entry.value else { return Err(Malformed) };
            parts.push(self.message(shape, bytes)?);
        }
        if field.many == Many::Map {
            parts.sort();
        }
        for part in parts {
            let start = format::open(out, field.number);
            out.extend_from_slice(&part);
            format::close(out, start);
        }
        Ok(())
    }
}

fn put_scalars(field: &Field, entries: &[Entry<'_>], out: &mut Vec<u8>) -> Result<(), Malformed> {
    if let Many::List { packed: true } = field.many {
        let start = format::open(out, field.number);
        for entry in entries {
            format::put_value(out, field.kind, &format::scalar(field.kind, &entry.value)?);
        }
        format::close(out, start);
        return Ok(());
    }
    for entry in entries {
        let scalar = format::scalar(field.kind, &entry.value)?;
        if field.many != Many::Plain || !scalar.is_default() {
            format::put(out, field.number, field.kind, &scalar);
        }
    }
    Ok(())
}
