//! Cases, pallets and shipments as a list of operations; one file a resource does the work.
//! It never holds a rule.

pub mod after;
mod packing;
mod pallets;
mod ship;

use tonic::{Request, Response, Status};
use wire::v1;
use wire::v1::shipping_server::Shipping;

use crate::Genealogy;

type Answer<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl Shipping for Genealogy {
    async fn pack_cases(&self, request: Request<v1::PackCasesRequest>) -> Answer<v1::Packing> {
        packing::pack(self, request).await
    }

    async fn run_again(&self, request: Request<v1::RunAgainRequest>) -> Answer<v1::Rerun> {
        packing::run_again(self, request).await
    }

    async fn build_pallet(&self, request: Request<v1::BuildPalletRequest>) -> Answer<v1::Pallet> {
        pallets::build(self, request).await
    }

    async fn change_pallet(&self, request: Request<v1::ChangePalletRequest>) -> Answer<v1::Pallet> {
        pallets::change(self, request).await
    }

    async fn get_pallet(&self, request: Request<v1::GetPalletRequest>) -> Answer<v1::Pallet> {
        pallets::get(self, request).await
    }

    async fn list_pallets(
        &self,
        request: Request<v1::ListPalletsRequest>,
    ) -> Answer<v1::ListPalletsResponse> {
        pallets::list(self, request).await
    }

    async fn check_shipment(
        &self,
        request: Request<v1::CheckShipmentRequest>,
    ) -> Answer<v1::CheckShipmentResponse> {
        ship::check(self, request).await
    }

    async fn ship(&self, request: Request<v1::ShipRequest>) -> Answer<v1::Shipment> {
        ship::ship(self, request).await
    }

    async fn get_shipment(&self, request: Request<v1::GetShipmentRequest>) -> Answer<v1::Shipment> {
        ship::get(self, request).await
    }

    async fn list_shipments(
        &self,
        request: Request<v1::ListShipmentsRequest>,
    ) -> Answer<v1::ListShipmentsResponse> {
        ship::list(self, request).await
    }

    async fn list_after_shipment(
        &self,
        request: Request<v1::ListAfterShipmentRequest>,
    ) -> Answer<v1::ListAfterShipmentResponse> {
        after::list(self, request).await
    }
}
