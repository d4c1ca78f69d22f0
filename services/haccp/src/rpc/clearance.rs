//! Whether what ships is proved: the facts go to the gate, its obstacles come back.
//! It never answers by itself: the gate judges, and what could not be read is no answer.

use platform::error::{Failure, Kind};
use tonic::{Request, Response, Status};
use wire::internal::v1;

use crate::Haccp;

/// What stands in the way of shipping.
pub async fn clear(
    _service: &Haccp,
    _request: Request<v1::ClearRequest>,
) -> Result<Response<v1::ClearResponse>, Status> {
    let text = "The clearance cannot be given yet; nothing ships.";
    Err(Failure::new(Kind::Unavailable, text).into())
}
