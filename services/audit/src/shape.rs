//! Between the contract's messages and this service's rows.
//! It never asks the database.

use std::ops::RangeInclusive;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use domain::fault::Faults;
use domain::record::Hash;
use jiff::civil::Date;
use platform::error::Failure;
use platform::shape;
use uuid::Uuid;
use wire::v1;

use crate::bundle::said;
use crate::store::entries::{EntryRow, Wanted};
use crate::store::tree::CheckpointRow;

/// The most days of a bundle.
const DAYS_MAX: i64 = 366;

/// A whole number that the contract has checked to be a decimal of at least 0.
pub fn whole(text: Option<&str>, field: &str) -> Result<Option<i64>, Failure> {
    let Some(text) = text else { return Ok(None) };
    let read = text.parse::<i64>().ok().filter(|number| *number >= 0);
    read.map(Some).ok_or_else(|| Failure::fault(field, text, "must be a whole number"))
}

/// What a search asks for.
pub fn wanted(request: &v1::ListEntriesRequest) -> Result<Wanted, Failure> {
    let mut faults = Faults::new();
    let mut wanted = Wanted::default();
    if !request.day.is_empty() {
        wanted.days = shape::date(&request.day, "day", &mut faults).map(|day| day..=day);
    }
    wanted.keys.extend(shape::optional_id(&request.lot, "lot", &mut faults));
    if let Some(person) = shape::optional_id(&request.person, "person", &mut faults) {
        wanted.keys.push(person);
        wanted.texts.push(member("entered_by", &format!("{{\"id\":\"{person}\"")));
    }
    if !request.subject.is_empty() {
        let id = request.subject.split_once(':').map(|(_, id)| id);
        let id: Option<Uuid> = id.and_then(|id| id.parse().ok());
        wanted.keys.extend(id);
        wanted.subject = Some(request.subject.clone());
    }
    wanted.keys.sort_unstable();
    wanted.keys.dedup();
    wanted.form = Some(request.form.clone()).filter(|form| !form.is_empty());
    Ok(faults.into_result(Some(wanted))?)
}

/// How a member of a canonical object is spelled.
fn member(name: &str, value: &str) -> String {
    format!("\"{name}\":{value}")
}

/// What a bundle is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum About {
    /// A lot, and what was recorded about those records.
    Lot(Uuid),
    /// Production days.
    Days(RangeInclusive<Date>),
    /// Readings and deviations of one check on some days.
    Check(String, Uuid, RangeInclusive<Date>),
}

/// Reads what a bundle is to be about.
pub fn about(text: &str) -> Result<About, Failure> {
    let wrong = || {
        let message = "must be lot:ID, day:DATE or check:CODE:PLAN:DATE; a span is DATE..DATE";
        Failure::fault("about", text, message)
    };
    let parts: Vec<&str> = text.split(':').collect();
    let id = |text: &str| text.parse::<Uuid>().map_err(|_| wrong());
    match parts.as_slice() {
        ["lot", lot] => Ok(About::Lot(id(lot)?)),
        ["day", days] => Ok(About::Days(days_of(days).ok_or_else(wrong)?)),
        ["check", code, plan, days] => {
            Ok(About::Check((*code).to_owned(), id(plan)?, days_of(days).ok_or_else(wrong)?))
        }
        _ => Err(wrong()),
    }
}

fn days_of(text: &str) -> Option<RangeInclusive<Date>> {
    let (first, last) = text.split_once("..").unwrap_or((text, text));
    let (first, last): (Date, Date) = (first.parse().ok()?, last.parse().ok()?);
    let length = last.duration_since(first).as_hours() / 24;
    (0..DAYS_MAX).contains(&length).then_some(first..=last)
}

impl About {
    /// What entries must meet to belong to it.
    pub fn wanted(&self) -> Wanted {
        match self {
            Self::Lot(lot) => Wanted { keys: vec![*lot], ..Wanted::default() },
            Self::Days(days) => Wanted { days: Some(days.clone()), ..Wanted::default() },
            Self::Check(code, plan, days) => Wanted {
                days: Some(days.clone()),
                texts: vec![
                    member("check", &format!("\"{code}\"")),
                    member("plan", &format!("\"{plan}\"")),
                ],
                ..Wanted::default()
            },
        }
    }
}

/// A checkpoint as a message.
pub fn checkpoint_out(row: CheckpointRow, origin: String) -> v1::Checkpoint {
    v1::Checkpoint {
        origin,
        size: Some(row.size.to_string()),
        root: STANDARD.encode(&row.root),
        note: row.note,
        key: row.key,
        signed_at: row.signed_at.to_jiff().to_string(),
    }
}

/// The hashes of a proof as texts.
pub fn hashes_out(hashes: Vec<Hash>) -> Vec<String> {
    hashes.iter().map(|hash| STANDARD.encode(hash)).collect()
}

/// An entry as a message.
pub fn entry_out(row: EntryRow) -> v1::LogEntry {
    let said = said(&row.entry);
    v1::LogEntry {
        record: row.id.to_string(),
        position: Some(row.position.to_string()),
        form: row.form,
        subject: row.subject,
        day: row.day.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by: said.entered_by,
        entered_by_name: said.entered_by_name,
        entry: row.entry,
    }
}

/// A record that was sealed, as live views hear of it.
pub fn sealed_out(row: EntryRow) -> v1::SealedEntry {
    v1::SealedEntry { record: row.id.to_string(), form: row.form, subject: row.subject }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bundle_is_about_a_lot_or_days_or_a_check() {
        let lot = "01997000-0000-7000-8000-000000000001";
        let day: Date = "2026-11-25".parse().expect("a date");
        let id: Uuid = lot.parse().expect("an id");
        let one = |text: &str| about(text).ok();
        assert_eq!(one(&format!("lot:{lot}")), Some(About::Lot(id)));
        assert_eq!(one("day:2026-11-25"), Some(About::Days(day..=day)));
        let span = one("day:2026-11-01..2026-11-30");
        assert!(matches!(span, Some(About::Days(days)) if days.contains(&day)));
        let check = one(&format!("check:CCP-1:{lot}:2026-11-25"));
        assert_eq!(check, Some(About::Check("CCP-1".into(), id, day..=day)));
        for wrong in [
            "",
            "lot:1",
            "day:2026-02-30",
            "day:2026-11-25..2026-11-24",
            "day:2020-01-01..2026-01-01",
        ] {
            assert!(about(wrong).is_err(), "{wrong}");
        }
    }
}
