//! The operations of the service as a list; one file a resource does the work.
//! It never holds a rule.

mod keys;
mod passwords;
mod people;
mod sessions;
mod settings;
mod signatures;
mod stations;
pub mod watch;

use tonic::{Request, Response, Status};
use wire::internal::v1 as internal;
use wire::internal::v1::identity_internal_server::IdentityInternal;
use wire::v1;
use wire::v1::identity_server::Identity as Operations;

use crate::Identity;

type Answer<T> = Result<Response<T>, Status>;

#[tonic::async_trait]
impl Operations for Identity {
    async fn sign_in(&self, request: Request<v1::SignInRequest>) -> Answer<v1::Session> {
        sessions::sign_in(self, request).await
    }

    async fn refresh_session(
        &self,
        request: Request<v1::RefreshSessionRequest>,
    ) -> Answer<v1::Session> {
        sessions::refresh(self, request).await
    }

    async fn sign_out(&self, request: Request<v1::SignOutRequest>) -> Answer<v1::SignOutResponse> {
        sessions::sign_out(self, request).await
    }

    async fn change_password(
        &self,
        request: Request<v1::ChangePasswordRequest>,
    ) -> Answer<v1::ChangePasswordResponse> {
        passwords::change(self, request).await
    }

    async fn create_signature(
        &self,
        request: Request<v1::CreateSignatureRequest>,
    ) -> Answer<v1::SignatureTicket> {
        signatures::create(self, request).await
    }

    async fn put_person(&self, request: Request<v1::PutPersonRequest>) -> Answer<v1::Person> {
        people::put(self, request).await
    }

    async fn get_person(&self, request: Request<v1::GetPersonRequest>) -> Answer<v1::Person> {
        people::get(self, request).await
    }

    async fn list_people(
        &self,
        request: Request<v1::ListPeopleRequest>,
    ) -> Answer<v1::ListPeopleResponse> {
        people::list(self, request).await
    }

    async fn put_station(&self, request: Request<v1::PutStationRequest>) -> Answer<v1::Station> {
        stations::put(self, request).await
    }

    async fn list_stations(
        &self,
        request: Request<v1::ListStationsRequest>,
    ) -> Answer<v1::ListStationsResponse> {
        stations::list(self, request).await
    }

    async fn put_plant_settings(
        &self,
        request: Request<v1::PutPlantSettingsRequest>,
    ) -> Answer<v1::PlantSettings> {
        settings::put(self, request).await
    }

    async fn get_plant_settings(
        &self,
        _request: Request<v1::GetPlantSettingsRequest>,
    ) -> Answer<v1::PlantSettings> {
        settings::get(self).await
    }

    async fn jwks(&self, _request: Request<v1::JwksRequest>) -> Answer<v1::JwksResponse> {
        Ok(Response::new(keys::public(self)))
    }

    async fn move_clock(
        &self,
        request: Request<v1::MoveClockRequest>,
    ) -> Answer<v1::MoveClockResponse> {
        settings::move_clock(self, request)
    }
}

#[tonic::async_trait]
impl IdentityInternal for Identity {
    type WatchStream = watch::Events;

    async fn watch(&self, _request: Request<internal::WatchRequest>) -> Answer<Self::WatchStream> {
        Ok(Response::new(watch::events(self)))
    }
}
