//! The operations of the service as a list; one file a resource does the work.
//! It never holds a rule.

mod bundles;
mod checkpoints;
mod entries;
mod log;

use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};
use wire::google::api::HttpBody;
use wire::internal::v1::audit_internal_server::AuditInternal;
use wire::v1;
use wire::v1::audit_server::Audit as Operations;

use crate::Audit;

type Answer<T> = Result<Response<T>, Status>;
/// What was sealed, as it is told.
type Told = ReceiverStream<Result<v1::LogEvent, Status>>;

#[tonic::async_trait]
impl Operations for Audit {
    type GetBundleStream = ReceiverStream<Result<HttpBody, Status>>;
    type GetEntriesOfStream = ReceiverStream<Result<HttpBody, Status>>;
    type WatchLogStream = Told;

    async fn get_checkpoint(
        &self,
        request: Request<v1::GetCheckpointRequest>,
    ) -> Answer<v1::Checkpoint> {
        checkpoints::get(self, request).await
    }

    async fn get_inclusion_proof(
        &self,
        request: Request<v1::GetInclusionProofRequest>,
    ) -> Answer<v1::InclusionProof> {
        checkpoints::inclusion(self, request).await
    }

    async fn get_consistency_proof(
        &self,
        request: Request<v1::GetConsistencyProofRequest>,
    ) -> Answer<v1::ConsistencyProof> {
        checkpoints::consistency(self, request).await
    }

    async fn list_entries(
        &self,
        request: Request<v1::ListEntriesRequest>,
    ) -> Answer<v1::ListEntriesResponse> {
        entries::list(self, request).await
    }

    async fn get_bundle(
        &self,
        request: Request<v1::GetBundleRequest>,
    ) -> Answer<Self::GetBundleStream> {
        bundles::get(self, request).await
    }

    async fn get_entries_of(
        &self,
        request: Request<v1::GetEntriesOfRequest>,
    ) -> Answer<Self::GetEntriesOfStream> {
        bundles::entries_of(self, request).await
    }

    async fn watch_log(&self, request: Request<v1::WatchLogRequest>) -> Answer<Told> {
        log::watch(self, request).await
    }
}

#[tonic::async_trait]
impl AuditInternal for Audit {
    type WatchLogStream = Told;

    async fn watch_log(&self, request: Request<v1::WatchLogRequest>) -> Answer<Told> {
        log::watch(self, request).await
    }
}
