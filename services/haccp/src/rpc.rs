//! The operations of the service as a list; one file a resource does the work.
//! It never holds a rule.

mod drafts;

use tonic::{Request, Response, Status};
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
}
