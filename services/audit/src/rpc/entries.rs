//! The search over sealed entries.
//! It never looks anywhere but into the log.

use platform::error::Failure;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::store::entries::Stretch;
use crate::{Audit, shape, store};

/// Entries in the order of the log.
pub async fn list(
    service: &Audit,
    request: Request<v1::ListEntriesRequest>,
) -> Result<Response<v1::ListEntriesResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let wanted = shape::wanted(&request)?;
    let wrong = || Failure::fault("page_token", "", "must come from the answer before");
    let after = match &page.after {
        None => -1,
        Some(key) => key.parse().map_err(|_| wrong())?,
    };
    let stretch = Stretch { after, before: i64::MAX, limit: page.fetch() };
    let mut rows = service
        .db
        .read("audit.list_entries", |conn| {
            Box::pin(async move { store::entries::list(conn, &wanted, stretch).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.position.to_string());
    let entries = rows.into_iter().map(shape::entry_out).collect();
    Ok(Response::new(v1::ListEntriesResponse { entries, next_page_token }))
}
