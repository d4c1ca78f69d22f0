//! The operations of the service as a list; one file a resource does the work.
//! It never holds a rule.

mod challenges;
mod clearance;
mod cooking;
mod deviations;
mod drafts;
mod files;
mod foreign_material;
mod genealogy;
mod instruments;
mod internal;
mod missed_checks;
mod open_items;
mod plans;
mod readings;
mod reviews;
mod stations;
mod verification;

use tonic::{Request, Response, Status};
use wire::internal::v1 as internal_v1;
use wire::internal::v1::haccp_internal_server::HaccpInternal as InternalOperations;
use wire::v1;
use wire::v1::haccp_server::Haccp as Operations;

use crate::Haccp;

type Answer<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl Operations for Haccp {
    async fn put_plan_draft(
        &self,
        request: Request<v1::PutPlanDraftRequest>,
    ) -> Answer<v1::PlanDraft> {
        drafts::put(self, request).await
    }

    async fn get_plan_draft(
        &self,
        request: Request<v1::GetPlanDraftRequest>,
    ) -> Answer<v1::PlanDraft> {
        drafts::get(self, request).await
    }

    async fn delete_plan_draft(
        &self,
        request: Request<v1::DeletePlanDraftRequest>,
    ) -> Answer<v1::DeletePlanDraftResponse> {
        drafts::delete(self, request).await
    }

    async fn approve_plan(&self, request: Request<v1::ApprovePlanRequest>) -> Answer<v1::Plan> {
        plans::approve(self, request).await
    }

    async fn get_plan(&self, request: Request<v1::GetPlanRequest>) -> Answer<v1::Plan> {
        plans::get(self, request).await
    }

    async fn list_plans(
        &self,
        request: Request<v1::ListPlansRequest>,
    ) -> Answer<v1::ListPlansResponse> {
        plans::list(self, request).await
    }

    async fn record_reading(
        &self,
        request: Request<v1::RecordReadingRequest>,
    ) -> Answer<v1::Reading> {
        readings::record(self, request).await
    }

    async fn get_reading(&self, request: Request<v1::GetReadingRequest>) -> Answer<v1::Reading> {
        readings::get(self, request).await
    }

    async fn list_readings(
        &self,
        request: Request<v1::ListReadingsRequest>,
    ) -> Answer<v1::ListReadingsResponse> {
        readings::list(self, request).await
    }

    async fn amend_reading(
        &self,
        request: Request<v1::AmendReadingRequest>,
    ) -> Answer<v1::Reading> {
        readings::amend(self, request).await
    }

    async fn get_deviation(
        &self,
        request: Request<v1::GetDeviationRequest>,
    ) -> Answer<v1::Deviation> {
        deviations::get(self, request).await
    }

    async fn list_deviations(
        &self,
        request: Request<v1::ListDeviationsRequest>,
    ) -> Answer<v1::ListDeviationsResponse> {
        deviations::list(self, request).await
    }

    async fn close_deviation(
        &self,
        request: Request<v1::CloseDeviationRequest>,
    ) -> Answer<v1::Deviation> {
        deviations::close(self, request).await
    }
}

#[tonic::async_trait]
impl InternalOperations for Haccp {
    async fn plan_in_force(
        &self,
        request: Request<internal_v1::PlanInForceRequest>,
    ) -> Answer<internal_v1::PlanInForceResponse> {
        internal::plan_in_force(self, request).await
    }

    async fn bind_lot(
        &self,
        request: Request<internal_v1::BindLotRequest>,
    ) -> Answer<internal_v1::BindLotResponse> {
        internal::bind_lot(self, request).await
    }

    async fn clear(
        &self,
        request: Request<internal_v1::ClearRequest>,
    ) -> Answer<internal_v1::ClearResponse> {
        clearance::clear(self, request).await
    }
}
