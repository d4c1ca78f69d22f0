//! Blocks as lines: what each probe, logger and hand has shown of a load.
//! It never leaves a block out: what does not count is left out by who judges.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use domain::exact::decimal;
use domain::haccp::chill::Source;
use domain::haccp::gate::question::At;
use domain::haccp::samples::{Block, Line};
use domain::units::Unit;
use platform::error::Failure;
use rust_decimal::Decimal;
use uuid::Uuid;

use crate::shape::plans::PlanVersion;
use crate::store::cooking::whole::{BlockRow, Head};

/// The versions of plans that a load needs.
pub type Plans = HashMap<(Uuid, i32), Arc<PlanVersion>>;

/// An instant in microseconds.
pub fn micros(at: jiff_diesel::Timestamp) -> At {
    at.to_jiff().as_microsecond()
}

/// What was shown under one name on one rack.
#[derive(Clone, Debug)]
pub struct Series {
    pub name: String,
    /// None: of a probe in the air.
    pub rack: Option<Uuid>,
    pub source: Source,
    pub line: Line,
}

/// All that was shown of a load.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    /// Each probe with a seat, since the load began.
    pub probes: BTreeMap<String, Line>,
    /// What tells of a chill: loggers, hands, and probes that went along with their rack.
    pub chills: Vec<Series>,
}

/// A row as numbers.
pub fn block(row: &BlockRow) -> Result<Block, Failure> {
    let broken = || Failure::internal(format!("haccp.sample_block {}", row.id));
    let number = |text: &String| decimal(text).map_err(|_| broken());
    let samples = row.times.iter().zip(&row.shown);
    let samples = samples.map(|(t_s, value)| Ok((number(t_s)?, number(value)?)));
    Ok(Block {
        begun_at: micros(row.begun_at),
        samples: samples.collect::<Result<_, Failure>>()?,
        unit: Unit::from_code(&row.unit).ok_or_else(broken)?,
        correction: row.correction.as_ref().map_or(Ok(Decimal::ZERO), number)?,
    })
}

/// The line of some rows.
pub fn line<'r>(rows: impl IntoIterator<Item = &'r BlockRow>) -> Result<Line, Failure> {
    let blocks = rows.into_iter().map(block).collect::<Result<Vec<_>, _>>()?;
    Line::of(&blocks).ok_or_else(|| Failure::internal("samples do not fit exact numbers"))
}

impl Lines {
    /// Puts rows together.
    pub fn of(head: &Head, rows: &[BlockRow]) -> Result<Self, Failure> {
        let begun_at = micros(head.load.observed_at);
        let mut probes = BTreeMap::new();
        for seat in &head.probes {
            let is_of = |row: &&BlockRow| row.source == "probe" && row.probe == seat.probe;
            let shown = line(rows.iter().filter(is_of))?;
            // What a probe shows before it is in the product tells nothing of it.
            probes.insert(seat.probe.clone(), shown.from_on(begun_at));
        }
        let mut named: BTreeMap<(&str, &str, Uuid), Vec<&BlockRow>> = BTreeMap::new();
        for row in rows {
            if let Some(lot) = row.lot {
                named.entry((&row.source, &row.probe, lot)).or_default().push(row);
            }
        }
        let mut chills = Vec::new();
        for ((source, name, lot), rows) in named {
            let source = if source == "hand" { Source::Hand } else { Source::Logger };
            let line = line(rows)?;
            chills.push(Series { name: name.to_owned(), rack: Some(lot), source, line });
        }
        Ok(Self { probes, chills })
    }
}
