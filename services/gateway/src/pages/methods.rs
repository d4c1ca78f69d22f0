//! The operations that pages ask, each with the types of its question and its answer.
//! It never declares an operation: a test compares every line with the contract.

use std::marker::PhantomData;

use http::{HeaderMap, HeaderName, HeaderValue};
use platform::error::Kind;
use platform::hop;
use prost::Message;
use wire::v1;

use crate::Gateway;
use crate::problem::Problem;

/// One operation.
pub struct Method<Q, A> {
    path: &'static str,
    types: PhantomData<fn(Q) -> A>,
}

const fn method<Q, A>(path: &'static str) -> Method<Q, A> {
    Method { path, types: PhantomData }
}

/// Declares the operations, and a list of them for the test.
macro_rules! methods {
    ($($(#[$doc:meta])* $name:ident $path:literal $question:ident $answer:ident;)*) => {
        $($(#[$doc])* pub const $name: Method<v1::$question, v1::$answer> = method($path);)*
        #[cfg(test)]
        fn listed() -> Vec<(&'static str, String, String)> {
            use prost::Name as _;
            vec![$(($path, v1::$question::full_name(), v1::$answer::full_name()),)*]
        }
    };
}

methods! {
    SIGN_IN "/hankbook.v1.Identity/SignIn" SignInRequest Session;
    REFRESH_SESSION "/hankbook.v1.Identity/RefreshSession" RefreshSessionRequest Session;
    SIGN_OUT "/hankbook.v1.Identity/SignOut" SignOutRequest SignOutResponse;
    CHANGE_PASSWORD "/hankbook.v1.Identity/ChangePassword"
        ChangePasswordRequest ChangePasswordResponse;
    CREATE_SIGNATURE "/hankbook.v1.Identity/CreateSignature"
        CreateSignatureRequest SignatureTicket;
    PUT_PERSON "/hankbook.v1.Identity/PutPerson" PutPersonRequest Person;
    GET_PERSON "/hankbook.v1.Identity/GetPerson" GetPersonRequest Person;
    LIST_PEOPLE "/hankbook.v1.Identity/ListPeople" ListPeopleRequest ListPeopleResponse;
    LIST_PLACES "/hankbook.v1.Genealogy/ListPlaces" ListPlacesRequest ListPlacesResponse;
    GET_LOT "/hankbook.v1.Genealogy/GetLot" GetLotRequest Lot;
    LIST_LOTS "/hankbook.v1.Genealogy/ListLots" ListLotsRequest ListLotsResponse;
    LIST_HOLDS "/hankbook.v1.Genealogy/ListHolds" ListHoldsRequest ListHoldsResponse;
    PLACE_HOLD "/hankbook.v1.Genealogy/PlaceHold" PlaceHoldRequest Hold;
    END_HOLD "/hankbook.v1.Genealogy/EndHold" EndHoldRequest Hold;
    GET_TRANSFORMATION "/hankbook.v1.Making/GetTransformation"
        GetTransformationRequest Transformation;
    TRACE_LOT "/hankbook.v1.Making/TraceLot" TraceLotRequest Trace;
    LIST_LOT_ITEMS "/hankbook.v1.Making/ListLotItems" ListLotItemsRequest ListLotItemsResponse;
    CHECK_SHIPMENT "/hankbook.v1.Shipping/CheckShipment"
        CheckShipmentRequest CheckShipmentResponse;
    LIST_PALLETS "/hankbook.v1.Shipping/ListPallets" ListPalletsRequest ListPalletsResponse;
    LIST_PARTNERS "/hankbook.v1.Genealogy/ListPartners" ListPartnersRequest ListPartnersResponse;
    SHIP "/hankbook.v1.Shipping/Ship" ShipRequest Shipment;
    GET_SHIPMENT "/hankbook.v1.Shipping/GetShipment" GetShipmentRequest Shipment;
    LIST_SHIPMENTS "/hankbook.v1.Shipping/ListShipments"
        ListShipmentsRequest ListShipmentsResponse;
    GET_PLAN "/hankbook.v1.Haccp/GetPlan" GetPlanRequest Plan;
    LIST_READINGS "/hankbook.v1.Haccp/ListReadings" ListReadingsRequest ListReadingsResponse;
    RECORD_READING "/hankbook.v1.Haccp/RecordReading" RecordReadingRequest Reading;
    AMEND_READING "/hankbook.v1.Haccp/AmendReading" AmendReadingRequest Reading;
    GET_READING "/hankbook.v1.Haccp/GetReading" GetReadingRequest Reading;
    GET_DEVIATION "/hankbook.v1.Haccp/GetDeviation" GetDeviationRequest Deviation;
    CLOSE_DEVIATION "/hankbook.v1.Haccp/CloseDeviation" CloseDeviationRequest Deviation;
    LIST_DEVIATIONS "/hankbook.v1.Haccp/ListDeviations"
        ListDeviationsRequest ListDeviationsResponse;
    LIST_FILES "/hankbook.v1.Files/ListFiles" ListFilesRequest ListFilesResponse;
    LIST_LOADS "/hankbook.v1.Cooking/ListLoads" ListLoadsRequest ListLoadsResponse;
    GET_LOAD "/hankbook.v1.Cooking/GetLoad" GetLoadRequest Load;
    GET_LOAD_CURVES "/hankbook.v1.Cooking/GetLoadCurves" GetLoadCurvesRequest LoadCurves;
    RECORD_WEIGHING "/hankbook.v1.Yields/RecordWeighing" RecordWeighingRequest Weighing;
    GET_WEIGHING "/hankbook.v1.Yields/GetWeighing" GetWeighingRequest Weighing;
    LIST_WEIGHINGS "/hankbook.v1.Yields/ListWeighings"
        ListWeighingsRequest ListWeighingsResponse;
    GET_YIELDS "/hankbook.v1.Yields/GetYields" GetYieldsRequest YieldReport;
    PULL_RACKS "/hankbook.v1.Cooking/PullRacks" PullRacksRequest Load;
    LEAVE_PROBE_OUT "/hankbook.v1.Cooking/LeaveProbeOut" LeaveProbeOutRequest Load;
    RECORD_SAMPLES "/hankbook.v1.Cooking/RecordSamples" RecordSamplesRequest SampleBlock;
    LIST_CHALLENGES "/hankbook.v1.Verification/ListChallenges"
        ListChallengesRequest ListChallengesResponse;
    LIST_INSTRUMENTS "/hankbook.v1.Verification/ListInstruments"
        ListInstrumentsRequest ListInstrumentsResponse;
    GET_CLEARANCE "/hankbook.v1.Verification/GetClearance" GetClearanceRequest Clearance;
    LIST_CLEARANCES "/hankbook.v1.Verification/ListClearances"
        ListClearancesRequest ListClearancesResponse;
    SIGN_REVIEW "/hankbook.v1.Verification/SignReview" SignReviewRequest Review;
    LIST_REVIEWS "/hankbook.v1.Verification/ListReviews" ListReviewsRequest ListReviewsResponse;
    LIST_OPEN_ITEMS "/hankbook.v1.Verification/ListOpenItems"
        ListOpenItemsRequest ListOpenItemsResponse;
}

impl<Q: Message, A: Message + Default> Method<Q, A> {
    /// As the contract names it: `/hankbook.v1.Haccp/CloseDeviation`.
    pub const fn path(&self) -> &'static str {
        self.path
    }

    /// As a signature names it: `hankbook.v1.Haccp/CloseDeviation`.
    pub fn signed_name(&self) -> &'static str {
        self.path.trim_start_matches('/')
    }

    /// Asks the service that has the operation.
    pub async fn ask(
        &self,
        gateway: &Gateway,
        question: &Q,
        headers: HeaderMap,
    ) -> Result<A, Problem> {
        let away = || Problem::new(Kind::Unavailable, "This part is not running.");
        let hop = gateway.hops.to(self.path).ok_or_else(away)?;
        let sent = hop::unary(hop, self.path, question.encode_to_vec().into(), headers).await;
        let (_, bytes) = sent.map_err(|status| Problem::of_status(&status))?;
        let broken = |_| Problem::new(Kind::Internal, "The answer cannot be shown.");
        A::decode(bytes).map_err(broken)
    }
}

/// A header to send along; one that cannot be a header is left out and the service refuses.
pub fn put(headers: &mut HeaderMap, name: &'static str, value: &str) {
    if let Ok(value) = HeaderValue::from_str(value) {
        headers.insert(HeaderName::from_static(name), value);
    }
}

#[cfg(test)]
mod tests {
    use platform::caller::operation;

    #[test]
    fn every_operation_is_the_contracts_with_its_types() {
        for (path, question, answer) in super::listed() {
            let declared = operation(path).unwrap_or_else(|| panic!("{path} is not declared"));
            assert_eq!(declared.input.full_name(), question, "{path}");
            assert_eq!(declared.output.full_name(), answer, "{path}");
        }
    }
}
