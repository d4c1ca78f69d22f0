//! The kinds as a service: the same functions that the command line runs.
//! It never stores anything.

use domain::fault::Faults;
use platform::error::Failure;
use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::calculations_server::Calculations as Operations;

use crate::{convert, cooling, lethality};

/// The service; it has nothing to keep.
#[derive(Clone, Copy)]
pub struct Calculations;

type Answer<T> = Result<Response<T>, Status>;

/// Long curves take a while, so a calculation does not hold up the tasks beside it.
async fn answer<Q, A>(
    request: Request<Q>,
    calculate: fn(Q) -> Result<A, Faults>,
) -> Result<Response<A>, Status>
where
    Q: Send + 'static,
    A: Send + 'static,
{
    let work = tokio::task::spawn_blocking(move || calculate(request.into_inner()));
    let done = work.await.map_err(Failure::internal)?;
    Ok(Response::new(done.map_err(Failure::from)?))
}

#[tonic::async_trait]
impl Operations for Calculations {
    async fn convert(&self, request: Request<v1::ConvertRequest>) -> Answer<v1::ConvertResponse> {
        answer(request, convert::calculate).await
    }

    async fn cooling(&self, request: Request<v1::CoolingRequest>) -> Answer<v1::CoolingResponse> {
        answer(request, cooling::calculate).await
    }

    async fn lethality(
        &self,
        request: Request<v1::LethalityRequest>,
    ) -> Answer<v1::LethalityResponse> {
        answer(request, lethality::calculate).await
    }
}
