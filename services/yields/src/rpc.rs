//! The operations of the service as a list; one file a resource does the work.
//! It never holds a rule.

mod costs;
mod genealogy;
mod report;
mod scales;
mod weighings;

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::yields_server::Yields as Operations;

use crate::Yields;

type Answer<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl Operations for Yields {
    async fn put_scale(&self, request: Request<v1::PutScaleRequest>) -> Answer<v1::Scale> {
        scales::put(self, request).await
    }

    async fn list_scales(
        &self,
        request: Request<v1::ListScalesRequest>,
    ) -> Answer<v1::ListScalesResponse> {
        scales::list(self, request).await
    }

    async fn record_weighing(
        &self,
        request: Request<v1::RecordWeighingRequest>,
    ) -> Answer<v1::Weighing> {
        weighings::record(self, request).await
    }

    async fn get_weighing(&self, request: Request<v1::GetWeighingRequest>) -> Answer<v1::Weighing> {
        weighings::get(self, request).await
    }

    async fn list_weighings(
        &self,
        request: Request<v1::ListWeighingsRequest>,
    ) -> Answer<v1::ListWeighingsResponse> {
        weighings::list(self, request).await
    }

    async fn amend_weighing(
        &self,
        request: Request<v1::AmendWeighingRequest>,
    ) -> Answer<v1::Weighing> {
        weighings::amend(self, request).await
    }

    async fn get_yields(&self, request: Request<v1::GetYieldsRequest>) -> Answer<v1::YieldReport> {
        report::get(self, request).await
    }

    async fn put_cost(&self, request: Request<v1::PutCostRequest>) -> Answer<v1::LotCost> {
        costs::put(self, request).await
    }

    async fn list_costs(
        &self,
        request: Request<v1::ListCostsRequest>,
    ) -> Answer<v1::ListCostsResponse> {
        costs::list(self, request).await
    }

    async fn get_input_cost(
        &self,
        request: Request<v1::GetInputCostRequest>,
    ) -> Answer<v1::InputCost> {
        costs::of_inputs(self, request).await
    }
}
