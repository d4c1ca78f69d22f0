//! Challenges: a good one proves what passed since the last good one, a failed one doubts it.
//! It never heals a deviation: a later good challenge proves only what passes again.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use platform::shape::{optional_date, optional_id};
use tonic::{Request, Response, Status};
use wire::v1;

use super::genealogy;
use crate::shape::challenges::{self as shape, challenge_in, challenge_out};
use crate::store::challenges::{self as store, CHALLENGE};
use crate::store::deviations::open;
use crate::store::rows::{self, Record};
use crate::{Haccp, plans};

/// Records a challenge.
pub async fn record(
    service: &Haccp,
    request: Request<v1::RecordChallengeRequest>,
) -> Result<Response<v1::Challenge>, Status> {
    let call = Call::of(request.extensions())?;
    let mut new = challenge_in(&call, &service.house.plant, request.get_ref())?;
    let plan = service.plan(new.plan.0, new.plan.1).await?;
    let check = shape::check(&new, &plan)?.clone();
    new.place_name = genealogy::place_name(service, new.place, "place").await?;
    let (columns, entry) = new.record(&check);
    let record = Record {
        table: CHALLENGE,
        form: "haccp.challenge/1",
        stamp: new.stamp.clone(),
        moments: Some(new.moments),
        columns,
        entry,
    };
    let work = Arc::new((new, check, record));
    let outbox = service.outbox.clone();
    let row = service
        .db
        .write("haccp.record_challenge", move |conn| {
            let (work, outbox) = (work.clone(), outbox.clone());
            Box::pin(async move {
                let (new, check, record) = &*work;
                if rows::known(conn, CHALLENGE, &new.stamp).await? {
                    return store::find(conn, new.stamp.id).await;
                }
                let plan = (new.plan.0, new.plan.1);
                if !new.moments.happened && !crate::store::plans::may_use(conn, plan, &[]).await? {
                    return Err(plans::not_in_force(plan.0, plan.1));
                }
                rows::insert(conn, record).await?;
                let at = new.moments.by_the_plant(new.moments.observed_at);
                let last = store::last_good(conn, (new.place, &check.device), at).await?;
                if let Some(opening) = new.opens(check, last)? {
                    open(conn, &outbox, &opening).await?;
                }
                store::find(conn, new.stamp.id).await
            })
        })
        .await?;
    service.outbox.wake();
    Ok(Response::new(challenge_out(row)?))
}

/// Challenges, of one place where one is named.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListChallengesRequest>,
) -> Result<Response<v1::ListChallengesResponse>, Status> {
    let request = request.into_inner();
    let mut faults = Faults::new();
    let place = optional_id(&request.place, "place", &mut faults);
    let day = optional_date(&request.day, "day", &mut faults);
    let wanted = faults.into_result(Some((place, day))).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("haccp.list_challenges", |conn| {
            Box::pin(async move { store::list(conn, wanted, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let challenges = rows.into_iter().map(challenge_out).collect::<Result<_, _>>()?;
    Ok(Response::new(v1::ListChallengesResponse { challenges, next_page_token }))
}
