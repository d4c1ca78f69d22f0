//! Loads, pulls, probes left out and judgements as they are written, each with leaf and links.
//! It never writes a judgement without what follows of it.

use diesel::QueryableByName;
use diesel::sql_types::{Array, Nullable, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::outbox::Outbox;
use platform::statement::statement;
use platform::tickets::Ticket;
use uuid::Uuid;

use crate::shape::cooking::changes::NewJudgement;
use crate::shape::cooking::racks::{LeavesOut, NewPull};
use crate::shape::cooking::{NewLoad, still_loaded};
use crate::shape::follows::LessSafe;
use crate::store::rows::{self, Record, Table};
use crate::store::{deviations, holds, safety};

/// Loads.
pub const LOAD: Table = Table::of("haccp.load");
/// Blocks of samples.
pub const BLOCK: Table = Table::of("haccp.sample_block");
/// Probes left out.
pub const LEFT_OUT: Table = Table::of("haccp.probe_left_out");
/// Pulls.
pub const PULL: Table = Table::of("haccp.pull");
/// Judgements.
const JUDGEMENT: Table = Table::of("haccp.judgement");

#[derive(QueryableByName)]
struct Loaded {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = Text)]
    lot_code: String,
    #[diesel(sql_type = SqlUuid)]
    load: Uuid,
}

/// Refuses racks that are in another load and were not pulled.
pub async fn refuse_loaded(conn: &mut AsyncPgConnection, new: &NewLoad) -> Result<(), Failure> {
    let racks: Vec<Uuid> = new.racks.iter().map(|(rack, _)| *rack).collect();
    let query = statement(
        "SELECT rack.lot, rack.lot_code, rack.load FROM haccp.load_rack AS rack \
         WHERE rack.lot = ANY($1) AND NOT EXISTS (SELECT 1 FROM haccp.pull_rack AS pulled \
         WHERE pulled.lot = rack.lot AND pulled.load = rack.load) ORDER BY rack.lot_code, rack.lot",
    );
    let found: Vec<Loaded> = query.bind::<Array<SqlUuid>, _>(racks).load(conn).await?;
    if found.is_empty() || new.moments.happened {
        return Ok(());
    }
    let reason = |row: &Loaded| still_loaded((row.lot, &row.lot_code), row.load);
    Err(Failure::refused(found.iter().map(reason).collect()))
}

/// Writes a load with its racks and seats.
pub async fn load(conn: &mut AsyncPgConnection, new: &NewLoad) -> Result<(), Failure> {
    let (columns, entry) = new.record();
    let record = Record {
        table: LOAD,
        form: "haccp.load/1",
        stamp: new.stamp.clone(),
        moments: Some(new.moments),
        columns,
        entry,
    };
    rows::insert(conn, &record).await?;
    let (racks, codes): (Vec<Uuid>, Vec<String>) = new.racks.iter().cloned().unzip();
    statement(
        "INSERT INTO haccp.load_rack (load, lot, lot_code) \
         SELECT $1, lot, code FROM unnest($2, $3) AS rack (lot, code)",
    )
    .bind::<SqlUuid, _>(new.stamp.id)
    .bind::<Array<SqlUuid>, _>(racks)
    .bind::<Array<Text>, _>(codes)
    .execute(conn)
    .await?;
    let names: Vec<&str> = new.probes.iter().map(|seat| seat.probe.as_str()).collect();
    let seats: Vec<&str> = new.probes.iter().map(|seat| seat.seat.as_str()).collect();
    let lots: Vec<Option<Uuid>> = new.probes.iter().map(|seat| seat.lot).collect();
    statement(
        "INSERT INTO haccp.load_probe (load, probe, seat, lot) \
         SELECT $1, probe, seat, lot FROM unnest($2, $3, $4) AS seated (probe, seat, lot)",
    )
    .bind::<SqlUuid, _>(new.stamp.id)
    .bind::<Array<Text>, _>(names)
    .bind::<Array<Text>, _>(seats)
    .bind::<Array<Nullable<SqlUuid>>, _>(lots)
    .execute(conn)
    .await?;
    Ok(())
}

/// Writes a pull with its racks.
pub async fn pull(conn: &mut AsyncPgConnection, new: &NewPull) -> Result<(), Failure> {
    let (columns, entry) = new.record();
    let record = Record {
        table: PULL,
        form: "haccp.pull/1",
        stamp: new.stamp.clone(),
        moments: Some(new.moments),
        columns,
        entry,
    };
    rows::insert(conn, &record).await?;
    statement("INSERT INTO haccp.pull_rack (pull, load, lot) SELECT $1, $2, unnest($3)")
        .bind::<SqlUuid, _>(new.stamp.id)
        .bind::<SqlUuid, _>(new.load)
        .bind::<Array<SqlUuid>, _>(&new.racks)
        .execute(conn)
        .await?;
    Ok(())
}

/// Writes that a probe is left out.
pub async fn left_out(
    conn: &mut AsyncPgConnection,
    new: &LeavesOut,
    ticket: &Ticket,
) -> Result<(), Failure> {
    let (columns, entry) = new.record(ticket);
    let record = Record {
        table: LEFT_OUT,
        form: "haccp.probe_left_out/1",
        stamp: new.stamp.clone(),
        moments: None,
        columns,
        entry,
    };
    rows::insert(conn, &record).await
}

/// Writes judgements with what follows of each.
pub async fn judgements(
    conn: &mut AsyncPgConnection,
    outbox: &Outbox,
    new: &[NewJudgement],
) -> Result<(), Failure> {
    for new in new {
        // Versions first: the order of locks is the same everywhere.
        if new.opens.is_none() && new.is_less_safe {
            less_safe(conn, outbox, new).await?;
        }
        let record = Record {
            table: JUDGEMENT,
            form: "haccp.judgement/1",
            stamp: new.stamp.clone(),
            moments: None,
            columns: new.columns.clone(),
            entry: new.entry.clone(),
        };
        rows::insert(conn, &record).await?;
        let links = ("haccp.judgement_lot", "judgement");
        rows::link(conn, links, new.stamp.id, &new.lots).await?;
        if let Some(opens) = &new.opens {
            deviations::open(conn, outbox, opens).await?;
        }
        if !new.is_less_safe {
            holds::end_recooked(conn, outbox, (new.plan, &new.check), &new.lots).await?;
        }
    }
    Ok(())
}

/// Raises the versions of its lots; genealogy is told where the check can stop a shipment.
async fn less_safe(
    conn: &mut AsyncPgConnection,
    outbox: &Outbox,
    new: &NewJudgement,
) -> Result<(), Failure> {
    if !new.gates {
        return safety::raise(conn, &new.lots).await;
    }
    let about = format!("judgement:{}", new.stamp.id);
    safety::tell(conn, outbox, &LessSafe::of(about, &new.what, &new.lots)).await
}
