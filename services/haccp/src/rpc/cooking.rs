//! The operations of cooking as a list; one file a resource does the work.
//! It never holds a rule.

mod judging;
mod loads;
mod pulls;
mod samples;

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::cooking_server::Cooking;

use crate::Haccp;

pub use judging::after_reading;

type Answer<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl Cooking for Haccp {
    async fn start_load(&self, request: Request<v1::StartLoadRequest>) -> Answer<v1::Load> {
        loads::start(self, request).await
    }

    async fn record_samples(
        &self,
        request: Request<v1::RecordSamplesRequest>,
    ) -> Answer<v1::SampleBlock> {
        samples::record(self, request).await
    }

    async fn leave_probe_out(
        &self,
        request: Request<v1::LeaveProbeOutRequest>,
    ) -> Answer<v1::Load> {
        pulls::leave_out(self, request).await
    }

    async fn pull_racks(&self, request: Request<v1::PullRacksRequest>) -> Answer<v1::Load> {
        pulls::pull(self, request).await
    }

    async fn get_load(&self, request: Request<v1::GetLoadRequest>) -> Answer<v1::Load> {
        loads::get(self, request).await
    }

    async fn get_load_curves(
        &self,
        request: Request<v1::GetLoadCurvesRequest>,
    ) -> Answer<v1::LoadCurves> {
        loads::curves(self, request).await
    }

    async fn list_loads(
        &self,
        request: Request<v1::ListLoadsRequest>,
    ) -> Answer<v1::ListLoadsResponse> {
        loads::list(self, request).await
    }
}
