//! The operations of the service as a list; one file a resource does the work.
//! It never holds a rule.

mod formulas;
mod holds;
mod internal;
mod lots;
mod making;
mod partners;
mod places;
mod shipping;

use tonic::{Request, Response, Status};
use wire::internal::v1 as inside;
use wire::internal::v1::genealogy_internal_server::GenealogyInternal;
use wire::v1;
use wire::v1::genealogy_server::Genealogy as Operations;

use crate::Genealogy;

type Answer<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl Operations for Genealogy {
    async fn put_place(&self, request: Request<v1::PutPlaceRequest>) -> Answer<v1::Place> {
        places::put(self, request).await
    }

    async fn get_place(&self, request: Request<v1::GetPlaceRequest>) -> Answer<v1::Place> {
        places::get(self, request).await
    }

    async fn list_places(
        &self,
        request: Request<v1::ListPlacesRequest>,
    ) -> Answer<v1::ListPlacesResponse> {
        places::list(self, request).await
    }

    async fn put_partner(&self, request: Request<v1::PutPartnerRequest>) -> Answer<v1::Partner> {
        partners::put(self, request).await
    }

    async fn get_partner(&self, request: Request<v1::GetPartnerRequest>) -> Answer<v1::Partner> {
        partners::get(self, request).await
    }

    async fn list_partners(
        &self,
        request: Request<v1::ListPartnersRequest>,
    ) -> Answer<v1::ListPartnersResponse> {
        partners::list(self, request).await
    }
    async fn receive_lot(&self, request: Request<v1::ReceiveLotRequest>) -> Answer<v1::Lot> {
        lots::receive(self, request).await
    }

    async fn get_lot(&self, request: Request<v1::GetLotRequest>) -> Answer<v1::Lot> {
        lots::get(self, request).await
    }

    async fn list_lots(
        &self,
        request: Request<v1::ListLotsRequest>,
    ) -> Answer<v1::ListLotsResponse> {
        lots::list(self, request).await
    }

    async fn place_hold(&self, request: Request<v1::PlaceHoldRequest>) -> Answer<v1::Hold> {
        holds::place(self, request).await
    }

    async fn end_hold(&self, request: Request<v1::EndHoldRequest>) -> Answer<v1::Hold> {
        holds::end(self, request).await
    }

    async fn list_holds(
        &self,
        request: Request<v1::ListHoldsRequest>,
    ) -> Answer<v1::ListHoldsResponse> {
        holds::list(self, request).await
    }
}

#[tonic::async_trait]
impl GenealogyInternal for Genealogy {
    async fn hold_for_deviation(
        &self,
        request: Request<inside::HoldForDeviationRequest>,
    ) -> Answer<inside::HoldForDeviationResponse> {
        holds::place_for_deviation(self, request).await
    }

    async fn end_hold_for_deviation(
        &self,
        request: Request<inside::EndHoldForDeviationRequest>,
    ) -> Answer<inside::EndHoldForDeviationResponse> {
        holds::end_for_deviation(self, request).await
    }

    async fn tell_less_safe(
        &self,
        request: Request<inside::TellLessSafeRequest>,
    ) -> Answer<inside::TellLessSafeResponse> {
        shipping::after::less_safe(self, request).await
    }

    async fn closures_of(
        &self,
        request: Request<inside::ClosuresOfRequest>,
    ) -> Answer<inside::ClosuresOfResponse> {
        internal::closures_of(self, request).await
    }

    async fn closure_of(
        &self,
        request: Request<inside::ClosureOfRequest>,
    ) -> Answer<inside::ClosureOfResponse> {
        internal::closure_of(self, request).await
    }

    async fn masses_of(
        &self,
        request: Request<inside::MassesOfRequest>,
    ) -> Answer<inside::MassesOfResponse> {
        internal::masses_of(self, request).await
    }

    async fn lots_on_hand(
        &self,
        request: Request<inside::LotsOnHandRequest>,
    ) -> Answer<inside::LotsOnHandResponse> {
        internal::lots_on_hand(self, request).await
    }

    async fn find_place(
        &self,
        request: Request<inside::FindPlaceRequest>,
    ) -> Answer<inside::FindPlaceResponse> {
        internal::find_place(self, request).await
    }
}
