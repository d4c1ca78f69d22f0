//! Weighings: from what a tablet sends to what is stored and shown.
//! It never asks the database, and never fills in a tare that nobody gave.

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use domain::units::Unit;
use domain::yields::stages::Stage;
use domain::yields::weighing::{Given, Weighed, weighed};
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use platform::tickets::Ticket;
use prost::Message;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::{ids, mass_unit, number_out, stored};
use crate::store::scales::ScaleRow;
use crate::store::weighings::{Columns, WeighingRow, Whole};

/// The form of the entry of a weighing, and of an amendment of one.
pub const FORM: &str = "yields.weighing/1";

/// What was weighed.
#[derive(Clone, Debug)]
pub struct Content {
    /// When on its way, where somebody said so.
    pub stage: Option<Stage>,
    pub weighed: Weighed,
    pub unit: Unit,
    pub moments: Moments,
    pub note: String,
}

/// A weighing about to be recorded.
#[derive(Clone, Debug)]
pub struct NewWeighing {
    /// What stood on the scale together, in id order.
    pub lots: Vec<Uuid>,
    pub content: Content,
    /// The scale that it names.
    pub scale: Option<Uuid>,
    pub stamp: Stamp,
}

/// The fields that a weighing and an amendment of one share.
struct Fields<'r> {
    stage: &'r str,
    /// Gross, tare, net.
    masses: [Option<&'r str>; 3],
    unit: &'r str,
    claimed: Claimed<'r>,
    note: &'r str,
}

fn content(call: &Call, fields: &Fields<'_>, faults: &mut Faults) -> Option<Content> {
    let unit = mass_unit(fields.unit, faults);
    let moments = Moments::of(call, fields.claimed, faults);
    let mut is_whole = true;
    let mut read = |at: usize, field: &str| {
        let value = shape::decimal(fields.masses[at]?, field, faults);
        is_whole &= value.is_some();
        value
    };
    let (gross, tare, net) = (read(0, "gross"), read(1, "tare"), read(2, "net"));
    // What is no number was named already; it is not missing too.
    let found = is_whole.then(|| weighed(Given { gross, tare, net }));
    let weighed = match found {
        Some(Ok(weighed)) => Some(weighed),
        Some(Err(found)) => {
            found.into_vec().into_iter().for_each(|one| match one.value {
                Some(value) => faults.add_value(one.field, value, one.message),
                None => faults.add(one.field, one.message),
            });
            None
        }
        None => None,
    };
    let stage = Stage::of_word(fields.stage);
    let note = fields.note.to_owned();
    Some(Content { stage, weighed: weighed?, unit: unit?, moments: moments?, note })
}

/// Reads a weighing; every fault is named.
pub fn weighing_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordWeighingRequest,
) -> Result<NewWeighing, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let scale = shape::optional_id(&request.scale, "scale", &mut faults);
    let lots = ids(&request.lots, "lots", &mut faults);
    let fields = Fields {
        stage: &request.stage,
        masses: [request.gross.as_deref(), request.tare.as_deref(), request.net.as_deref()],
        unit: &request.unit,
        claimed: Claimed {
            observed_at: &request.observed_at,
            entered_at: &request.entered_at,
            happened: request.happened.unwrap_or(false),
        },
        note: &request.note,
    };
    let content = content(call, &fields, &mut faults);
    let (id, content) = faults.into_result(id.zip(content))?;
    let stamp = Stamp::of(call, plant, id, format!("lot:{}", lots[0]), request)?;
    Ok(NewWeighing { lots, content, scale, stamp })
}

/// An amendment about to be recorded.
#[derive(Clone, Debug)]
pub struct NewAmendment {
    /// The first weighing.
    pub of: Uuid,
    pub id: Uuid,
    pub content: Content,
    pub reason: String,
}

/// Reads an amendment. It tells of what has happened, so no device clock refuses it.
pub fn amendment_in(
    call: &Call,
    request: &v1::AmendWeighingRequest,
) -> Result<NewAmendment, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let of = shape::id(&request.weighing, "weighing", &mut faults);
    let fields = Fields {
        stage: &request.stage,
        masses: [request.gross.as_deref(), request.tare.as_deref(), request.net.as_deref()],
        unit: &request.unit,
        claimed: Claimed { observed_at: &request.observed_at, entered_at: "", happened: true },
        note: &request.note,
    };
    let content = content(call, &fields, &mut faults);
    let all = (|| Some((id?, of?, content?)))();
    let (id, of, content) = faults.into_result(all)?;
    Ok(NewAmendment { of, id, content, reason: request.reason.clone() })
}

impl NewAmendment {
    /// The stamp of the amendment of a weighing.
    pub fn stamp(
        &self,
        first: &Whole,
        (call, plant): (&Call, &Plant),
        request: &impl Message,
    ) -> Result<Stamp, Failure> {
        let lot = first.lots.first().ok_or_else(|| Failure::internal("a weighing of no lot"))?;
        Stamp::of(call, plant, self.id, format!("lot:{lot}"), request)
    }

    /// The row of the amendment, signed by a ticket; lots and scale stay those of the first.
    pub fn row(&self, first: &Whole, stamp: &Stamp, ticket: Uuid) -> Result<WeighingRow, Failure> {
        let WeighingRow { scale, scale_version, scale_name, .. } = &first.row;
        let scale = scale.zip(*scale_version).zip(scale_name.clone());
        let scale = scale.map(|((scale, version), name)| (scale, version, name));
        let amends = (self.of, self.reason.clone(), ticket);
        Ok(columns(&self.content, scale, Some(amends))?.row(stamp))
    }
}

/// The scale of a weighing as its record names it. Faults: none of that id, one out of use unless
/// it has happened.
pub fn scale_used(
    asked: Option<Uuid>,
    found: Option<ScaleRow>,
    happened: bool,
) -> Result<Option<(Uuid, i32, String)>, Failure> {
    let Some(asked) = asked else { return Ok(None) };
    let Some(row) = found else {
        return Err(Failure::fault("scale", asked, "must be a scale of the plant"));
    };
    if !row.in_use && !happened {
        return Err(Failure::fault("scale", asked, "must be a scale in use"));
    }
    Ok(Some((row.id, row.version, row.name)))
}

/// Refuses a command at a stage before one at which one of its lots was weighed.
pub fn check_order(new: &NewWeighing, before: &[Whole]) -> Result<(), Failure> {
    let (Some(stage), false) = (new.content.stage, new.content.moments.happened) else {
        return Ok(());
    };
    let later = before.iter().filter_map(|whole| {
        let at = Stage::of_word(whole.standing().stage.as_deref()?)?;
        let lot = whole.lots.iter().find(|lot| new.lots.contains(lot))?;
        (at > stage).then_some((at, *lot))
    });
    let Some((at, lot)) = later.max_by_key(|(at, _)| *at) else { return Ok(()) };
    let words = (stage.word(), at.word());
    Err(Failure::refused(vec![Reason {
        code: "STAGE_BEFORE",
        subject: format!("lot:{lot}"),
        message: format!("The lot was weighed {} already; {} comes before it.", words.1, words.0),
        who: "operator".into(),
        way_on: "Choose the stage at which it is now; or, if it was weighed then and was not \
                 entered, record it as it happened."
            .into(),
    }]))
}

/// The masses of a weighing as numbers of the database: gross, tare, net.
fn masses(weighed: &Weighed) -> Result<[BigDecimal; 3], Failure> {
    let read = |text: String| stored(&text).ok_or_else(|| Failure::internal("no decimal"));
    let Weighed { gross, tare, net } = weighed;
    Ok([read(gross.to_string())?, read(tare.to_string())?, read(net.to_string())?])
}

/// The columns of a weighing's row.
pub fn columns(
    content: &Content,
    scale: Option<(Uuid, i32, String)>,
    amends: Option<(Uuid, String, Uuid)>,
) -> Result<Columns, Failure> {
    Ok(Columns {
        stage: content.stage.map(|stage| stage.word().to_owned()),
        masses: masses(&content.weighed)?,
        unit: content.unit.code().to_owned(),
        scale,
        note: content.note.clone(),
        amends,
        moments: content.moments,
    })
}

/// The entry of a weighing; masses are texts, exactly as they were entered or came out.
pub fn entry(row: &WeighingRow, lots: &[Uuid], signature: Option<&Ticket>) -> Value {
    let scale = row.scale.map(|scale| {
        json!({ "id": scale.to_string(), "version": row.scale_version, "name": row.scale_name })
    });
    let mut entry = json!({
        "kind": "weighing",
        "lots": lots.iter().map(Uuid::to_string).collect::<Vec<_>>(),
        "stage": row.stage.as_deref().unwrap_or_default(),
        "gross": number_out(&row.gross),
        "tare": number_out(&row.tare),
        "net": number_out(&row.net),
        "unit": row.unit,
        "scale": scale,
        "times": Value::from(row.moments()),
        "note": row.note,
    });
    if let (Some(supersedes), Some(ticket)) = (row.supersedes, signature) {
        entry["kind"] = json!("amendment");
        entry["supersedes"] = json!(supersedes.to_string());
        entry["reason"] = json!(row.reason);
        entry["signature"] = ticket.entry();
    }
    entry
}

/// A weighing as a message, with its amendments.
pub fn whole_out(whole: Whole) -> v1::Weighing {
    let Whole { row, lots, amendments } = whole;
    let amendments = amendments.into_iter().map(|row| row_out(row, &lots)).collect();
    v1::Weighing { amendments, ..row_out(row, &lots) }
}

/// One row as a message.
pub fn row_out(row: WeighingRow, lots: &[Uuid]) -> v1::Weighing {
    let moments = row.moments();
    let text = |id: Option<Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
    v1::Weighing {
        weighing: row.id.to_string(),
        lots: lots.iter().map(Uuid::to_string).collect(),
        stage: row.stage.unwrap_or_default(),
        gross: number_out(&row.gross),
        tare: number_out(&row.tare),
        net: number_out(&row.net),
        unit: row.unit,
        scale: text(row.scale),
        scale_name: row.scale_name.unwrap_or_default(),
        observed_at: moments.observed_at.to_string(),
        entered_at: moments.entered_at.to_string(),
        recorded_at: moments.recorded_at.to_string(),
        late_s: i32::try_from(moments.late_s()).unwrap_or(i32::MAX),
        clock_off: moments.is_clock_off(),
        happened: moments.happened,
        entered_by_name: row.entered_by_name,
        station: row.station,
        day: row.day.to_jiff().to_string(),
        note: row.note,
        supersedes: text(row.supersedes),
        reason: row.reason.unwrap_or_default(),
        amendments: Vec::new(),
    }
}

#[cfg(test)]
mod tests;
