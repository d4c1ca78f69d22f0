//! The operations by which lots are made of lots, as a list; one file a resource does the work.
//! It never holds a rule.

mod ends;
mod inputs;
mod items;
mod reads;
mod transfers;
mod transformations;

use tonic::Request;
use wire::v1;
use wire::v1::making_server::Making;

use super::Answer;
use crate::Genealogy;

#[tonic::async_trait]
impl Making for Genealogy {
    async fn record_transformation(
        &self,
        request: Request<v1::RecordTransformationRequest>,
    ) -> Answer<v1::Transformation> {
        transformations::record(self, request).await
    }

    async fn get_transformation(
        &self,
        request: Request<v1::GetTransformationRequest>,
    ) -> Answer<v1::Transformation> {
        transformations::get(self, request).await
    }

    async fn add_input(&self, request: Request<v1::AddInputRequest>) -> Answer<v1::Transformation> {
        inputs::add(self, request).await
    }

    async fn record_transfer(
        &self,
        request: Request<v1::RecordTransferRequest>,
    ) -> Answer<v1::Transfer> {
        transfers::record(self, request).await
    }

    async fn take_up_opening_stock(
        &self,
        request: Request<v1::TakeUpOpeningStockRequest>,
    ) -> Answer<v1::Lot> {
        ends::take_up(self, request).await
    }

    async fn record_destruction(
        &self,
        request: Request<v1::RecordDestructionRequest>,
    ) -> Answer<v1::Destruction> {
        ends::destroy(self, request).await
    }

    async fn trace_lot(&self, request: Request<v1::TraceLotRequest>) -> Answer<v1::Trace> {
        reads::trace(self, request).await
    }

    async fn get_closure(&self, request: Request<v1::GetClosureRequest>) -> Answer<v1::Closure> {
        reads::closure(self, request).await
    }

    async fn list_lot_items(
        &self,
        request: Request<v1::ListLotItemsRequest>,
    ) -> Answer<v1::ListLotItemsResponse> {
        items::list(self, request).await
    }

    async fn answer_lot_item(
        &self,
        request: Request<v1::AnswerLotItemRequest>,
    ) -> Answer<v1::LotItem> {
        items::answer(self, request).await
    }
}
