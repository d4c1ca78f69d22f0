//! The operations of the service as a list; one file a resource does the work.
//! It never holds a rule.

mod partners;
mod places;

use tonic::{Request, Response, Status};
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
}
