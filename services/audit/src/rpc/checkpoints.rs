//! Checkpoints and the proofs that lead to them.
//! It never signs: it shows what the sealer signed.

use platform::error::{Failure, Kind};
use tonic::{Request, Response, Status};
use wire::v1;

use crate::store::tree::CheckpointRow;
use crate::{Audit, sealer, shape, store};

/// The newest checkpoint, or that of a size, with the name of its log.
pub async fn named(service: &Audit, size: Option<i64>) -> Result<(CheckpointRow, String), Failure> {
    let found = service.db.read("audit.checkpoint", |conn| {
        Box::pin(async move {
            let origin = sealer::origin(store::tree::plant(conn).await?);
            Ok((store::tree::checkpoint(conn, size).await?, origin))
        })
    });
    let (row, origin) = found.await?;
    Ok((row.ok_or_else(|| Failure::not_found("checkpoint"))?, origin))
}

/// One checkpoint.
pub async fn get(
    service: &Audit,
    request: Request<v1::GetCheckpointRequest>,
) -> Result<Response<v1::Checkpoint>, Status> {
    let size = shape::whole(request.get_ref().size.as_deref(), "size")?;
    let (row, origin) = named(service, size).await?;
    Ok(Response::new(shape::checkpoint_out(row, origin)))
}

/// What a tree without one of its parts means for whoever asks for a proof.
pub fn incomplete() -> Failure {
    Failure::new(Kind::Internal, "The stored tree is not whole: run hankbook check replay.")
}

/// The proof that a record stands in the log.
pub async fn inclusion(
    service: &Audit,
    request: Request<v1::GetInclusionProofRequest>,
) -> Result<Response<v1::InclusionProof>, Status> {
    let mut faults = domain::fault::Faults::new();
    let id = platform::shape::id(&request.get_ref().record, "record", &mut faults);
    let id = faults.into_result(id).map_err(Failure::from)?;
    let (row, origin) = named(service, None).await?;
    let size = row.size;
    let found = service.db.read("audit.inclusion", |conn| {
        Box::pin(async move {
            let entry = store::entries::one(conn, id).await?.filter(|entry| entry.position < size);
            let entry = entry.ok_or_else(|| Failure::not_found("sealed record"))?;
            let position = entry.position as u64;
            let mut view = store::tree::view(conn, size as u64, &[position]).await?;
            Ok((entry, view.inclusion(position).ok_or_else(incomplete)?))
        })
    });
    let (entry, hashes) = found.await?;
    Ok(Response::new(v1::InclusionProof {
        record: entry.id.to_string(),
        position: Some(entry.position.to_string()),
        entry: entry.entry,
        hashes: shape::hashes_out(hashes),
        checkpoint: Some(shape::checkpoint_out(row, origin)),
    }))
}

/// The proof that a later log begins with an earlier one.
pub async fn consistency(
    service: &Audit,
    request: Request<v1::GetConsistencyProofRequest>,
) -> Result<Response<v1::ConsistencyProof>, Status> {
    let request = request.into_inner();
    let first = shape::whole(request.from.as_deref(), "from")?;
    let second = shape::whole(request.to.as_deref(), "to")?;
    let (from, origin) = named(service, first.or(Some(0))).await?;
    let (to, _) = named(service, second).await?;
    if from.size > to.size {
        return Err(Failure::fault("from", from.size, "must not be above to").into());
    }
    let (first, second) = (from.size as u64, to.size as u64);
    let found = service.db.read("audit.consistency", |conn| {
        Box::pin(async move {
            let mut view = store::tree::view(conn, second, &[first - 1]).await?;
            view.consistency(first).ok_or_else(incomplete)
        })
    });
    let hashes = found.await?;
    Ok(Response::new(v1::ConsistencyProof {
        from: Some(shape::checkpoint_out(from, origin.clone())),
        to: Some(shape::checkpoint_out(to, origin)),
        hashes: shape::hashes_out(hashes),
    }))
}
