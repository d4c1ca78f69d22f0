//! The kinds as a service: the same functions that the command line runs.
//! It never stores anything.

use domain::fault::Faults;
use platform::error::Failure;
use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::calculations_server::Calculations as Operations;

use crate::{
    agents, blend, brine, composition, control_chart, convert, cook_projection, cooling,
    declaration, gs1, instrument_check, lethality, net_contents, psychrometrics, scale, shrink,
};

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

    async fn agents(&self, request: Request<v1::AgentsRequest>) -> Answer<v1::AgentsResponse> {
        answer(request, agents::calculate).await
    }

    async fn composition(
        &self,
        request: Request<v1::CompositionRequest>,
    ) -> Answer<v1::CompositionResponse> {
        answer(request, composition::calculate).await
    }

    async fn blend(&self, request: Request<v1::BlendRequest>) -> Answer<v1::BlendResponse> {
        answer(request, blend::calculate).await
    }

    async fn scale(&self, request: Request<v1::ScaleRequest>) -> Answer<v1::ScaleResponse> {
        answer(request, scale::calculate).await
    }

    async fn shrink(&self, request: Request<v1::ShrinkRequest>) -> Answer<v1::ShrinkResponse> {
        answer(request, shrink::calculate).await
    }

    async fn brine(&self, request: Request<v1::BrineRequest>) -> Answer<v1::BrineResponse> {
        answer(request, brine::calculate).await
    }

    async fn declaration(
        &self,
        request: Request<v1::DeclarationRequest>,
    ) -> Answer<v1::DeclarationResponse> {
        answer(request, declaration::calculate).await
    }

    async fn psychrometrics(
        &self,
        request: Request<v1::PsychrometricsRequest>,
    ) -> Answer<v1::PsychrometricsResponse> {
        answer(request, psychrometrics::calculate).await
    }

    async fn cook_projection(
        &self,
        request: Request<v1::CookProjectionRequest>,
    ) -> Answer<v1::CookProjectionResponse> {
        answer(request, cook_projection::calculate).await
    }

    async fn instrument_check(
        &self,
        request: Request<v1::InstrumentCheckRequest>,
    ) -> Answer<v1::InstrumentCheckResponse> {
        answer(request, instrument_check::calculate).await
    }

    async fn net_contents(
        &self,
        request: Request<v1::NetContentsRequest>,
    ) -> Answer<v1::NetContentsResponse> {
        answer(request, net_contents::calculate).await
    }

    async fn control_chart(
        &self,
        request: Request<v1::ControlChartRequest>,
    ) -> Answer<v1::ControlChartResponse> {
        answer(request, control_chart::calculate).await
    }

    async fn gs1(&self, request: Request<v1::Gs1Request>) -> Answer<v1::Gs1Response> {
        answer(request, gs1::calculate).await
    }
}
