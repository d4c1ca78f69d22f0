//! The operations of the service as a list; one file a resource does the work.
//! It never holds a rule.

mod checks;
mod drafts;
mod formulas;
mod genealogy;
mod internal;
mod kits;
mod labels;
mod materials;
mod products;
mod sheets;

use tonic::{Request, Response, Status};
use wire::internal::v1 as internal_v1;
use wire::internal::v1::formulas_internal_server::FormulasInternal as InternalOperations;
use wire::v1;
use wire::v1::batching_server::Batching;
use wire::v1::formulas_server::Formulas as Operations;

use crate::Formulas;

type Answer<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl Operations for Formulas {
    async fn put_material(&self, request: Request<v1::PutMaterialRequest>) -> Answer<v1::Material> {
        materials::put(self, request).await
    }

    async fn get_material(&self, request: Request<v1::GetMaterialRequest>) -> Answer<v1::Material> {
        materials::get(self, request).await
    }

    async fn list_materials(
        &self,
        request: Request<v1::ListMaterialsRequest>,
    ) -> Answer<v1::ListMaterialsResponse> {
        materials::list(self, request).await
    }

    async fn add_specification(
        &self,
        request: Request<v1::AddSpecificationRequest>,
    ) -> Answer<v1::Specification> {
        materials::specify(self, request).await
    }

    async fn list_specifications(
        &self,
        request: Request<v1::ListSpecificationsRequest>,
    ) -> Answer<v1::ListSpecificationsResponse> {
        materials::specifications(self, request).await
    }

    async fn put_product(&self, request: Request<v1::PutProductRequest>) -> Answer<v1::Product> {
        products::put(self, request).await
    }

    async fn get_product(&self, request: Request<v1::GetProductRequest>) -> Answer<v1::Product> {
        products::get(self, request).await
    }

    async fn list_products(
        &self,
        request: Request<v1::ListProductsRequest>,
    ) -> Answer<v1::ListProductsResponse> {
        products::list(self, request).await
    }

    async fn put_label(&self, request: Request<v1::PutLabelRequest>) -> Answer<v1::Label> {
        labels::put(self, request).await
    }

    async fn get_label(&self, request: Request<v1::GetLabelRequest>) -> Answer<v1::LabelItem> {
        labels::get(self, request).await
    }

    async fn list_labels(
        &self,
        request: Request<v1::ListLabelsRequest>,
    ) -> Answer<v1::ListLabelsResponse> {
        labels::list(self, request).await
    }

    async fn put_formula_draft(
        &self,
        request: Request<v1::PutFormulaDraftRequest>,
    ) -> Answer<v1::FormulaDraft> {
        drafts::put(self, request).await
    }

    async fn get_formula_draft(
        &self,
        request: Request<v1::GetFormulaDraftRequest>,
    ) -> Answer<v1::FormulaDraft> {
        drafts::get(self, request).await
    }

    async fn delete_formula_draft(
        &self,
        request: Request<v1::DeleteFormulaDraftRequest>,
    ) -> Answer<v1::DeleteFormulaDraftResponse> {
        drafts::delete(self, request).await
    }

    async fn approve_formula(
        &self,
        request: Request<v1::ApproveFormulaRequest>,
    ) -> Answer<v1::Formula> {
        formulas::approve(self, request).await
    }

    async fn get_formula(&self, request: Request<v1::GetFormulaRequest>) -> Answer<v1::Formula> {
        formulas::get(self, request).await
    }

    async fn list_formulas(
        &self,
        request: Request<v1::ListFormulasRequest>,
    ) -> Answer<v1::ListFormulasResponse> {
        formulas::list(self, request).await
    }
}

#[tonic::async_trait]
impl Batching for Formulas {
    async fn make_batch_sheet(
        &self,
        request: Request<v1::MakeBatchSheetRequest>,
    ) -> Answer<v1::BatchSheet> {
        sheets::make(self, request).await
    }

    async fn get_batch_sheet(
        &self,
        request: Request<v1::GetBatchSheetRequest>,
    ) -> Answer<v1::BatchSheet> {
        sheets::get(self, request).await
    }

    async fn record_kit(&self, request: Request<v1::RecordKitRequest>) -> Answer<v1::Kit> {
        kits::record(self, request).await
    }

    async fn get_kit(&self, request: Request<v1::GetKitRequest>) -> Answer<v1::Kit> {
        kits::get(self, request).await
    }

    async fn check_batch(&self, request: Request<v1::CheckBatchRequest>) -> Answer<v1::BatchCheck> {
        checks::check(self, request).await
    }
}

#[tonic::async_trait]
impl InternalOperations for Formulas {
    async fn judge_batch(
        &self,
        request: Request<internal_v1::JudgeBatchRequest>,
    ) -> Answer<internal_v1::JudgeBatchResponse> {
        internal::judge_batch(self, request).await
    }

    async fn tell_kit_used(
        &self,
        request: Request<internal_v1::TellKitUsedRequest>,
    ) -> Answer<internal_v1::TellKitUsedResponse> {
        internal::tell_kit_used(self, request).await
    }

    async fn label_cover(
        &self,
        request: Request<internal_v1::LabelCoverRequest>,
    ) -> Answer<internal_v1::LabelCoverResponse> {
        internal::label_cover(self, request).await
    }
}
