//! The operations of verification and review as a list; one file a resource does the work.
//! It never holds a rule.

use tonic::Request;
use wire::v1;
use wire::v1::verification_server::Verification as Operations;

use super::{
    Answer, challenges, clearance, deviations, foreign_material, instruments, missed_checks,
    open_items, reviews, stations,
};
use crate::Haccp;

#[tonic::async_trait]
impl Operations for Haccp {
    async fn put_instrument(
        &self,
        request: Request<v1::PutInstrumentRequest>,
    ) -> Answer<v1::Instrument> {
        instruments::put(self, request).await
    }

    async fn list_instruments(
        &self,
        request: Request<v1::ListInstrumentsRequest>,
    ) -> Answer<v1::ListInstrumentsResponse> {
        instruments::list(self, request).await
    }

    async fn check_instrument(
        &self,
        request: Request<v1::CheckInstrumentRequest>,
    ) -> Answer<v1::InstrumentCheck> {
        instruments::check(self, request).await
    }

    async fn record_challenge(
        &self,
        request: Request<v1::RecordChallengeRequest>,
    ) -> Answer<v1::Challenge> {
        challenges::record(self, request).await
    }

    async fn list_challenges(
        &self,
        request: Request<v1::ListChallengesRequest>,
    ) -> Answer<v1::ListChallengesResponse> {
        challenges::list(self, request).await
    }

    async fn open_deviation(
        &self,
        request: Request<v1::OpenDeviationRequest>,
    ) -> Answer<v1::Deviation> {
        deviations::open(self, request).await
    }

    async fn cover_missed_check(
        &self,
        request: Request<v1::CoverMissedCheckRequest>,
    ) -> Answer<v1::MissedCheck> {
        missed_checks::cover(self, request).await
    }

    async fn record_foreign_material(
        &self,
        request: Request<v1::RecordForeignMaterialRequest>,
    ) -> Answer<v1::ForeignMaterial> {
        foreign_material::record(self, request).await
    }

    async fn answer_foreign_material(
        &self,
        request: Request<v1::AnswerForeignMaterialRequest>,
    ) -> Answer<v1::ForeignMaterial> {
        foreign_material::answer(self, request).await
    }

    async fn get_clearance(
        &self,
        request: Request<v1::GetClearanceRequest>,
    ) -> Answer<v1::Clearance> {
        clearance::get(self, request).await
    }

    async fn list_clearances(
        &self,
        request: Request<v1::ListClearancesRequest>,
    ) -> Answer<v1::ListClearancesResponse> {
        clearance::list(self, request).await
    }

    async fn sign_review(&self, request: Request<v1::SignReviewRequest>) -> Answer<v1::Review> {
        reviews::sign(self, request).await
    }

    async fn get_review(&self, request: Request<v1::GetReviewRequest>) -> Answer<v1::Review> {
        reviews::get(self, request).await
    }

    async fn list_reviews(
        &self,
        request: Request<v1::ListReviewsRequest>,
    ) -> Answer<v1::ListReviewsResponse> {
        reviews::list(self, request).await
    }

    async fn bind_station(
        &self,
        request: Request<v1::BindStationRequest>,
    ) -> Answer<v1::StationPlace> {
        stations::bind(self, request).await
    }

    async fn hear_station(
        &self,
        request: Request<v1::HearStationRequest>,
    ) -> Answer<v1::StationHeard> {
        stations::hear(self, request).await
    }

    async fn look_at_station(
        &self,
        request: Request<v1::LookAtStationRequest>,
    ) -> Answer<v1::StationLook> {
        stations::look(self, request).await
    }

    async fn list_open_items(
        &self,
        request: Request<v1::ListOpenItemsRequest>,
    ) -> Answer<v1::ListOpenItemsResponse> {
        open_items::list(self, request).await
    }
}
