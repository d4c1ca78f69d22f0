//! What was weighed from stage to stage.
//! It never keeps a result: every answer is computed from the records as they stand.

use tonic::{Request, Response, Status};
use wire::v1;

use super::genealogy;
use crate::shape::report::{asked_in, report_out};
use crate::{Yields, store};

/// The shrink of a lot, or of a product on a day.
pub async fn get(
    service: &Yields,
    request: Request<v1::GetYieldsRequest>,
) -> Result<Response<v1::YieldReport>, Status> {
    let around = genealogy::around(service, &asked_in(request.get_ref())?).await?;
    let ids = around.ids.clone();
    let whole = service
        .db
        .read("yields.get_yields", |conn| {
            Box::pin(async move { store::weighings::of_lots(conn, &ids).await })
        })
        .await?;
    Ok(Response::new(report_out(around, &whole)?))
}
