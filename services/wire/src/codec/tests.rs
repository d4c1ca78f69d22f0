//! The codec between a client and a server in memory.
//! It never opens a socket.

use tonic::codegen::http::uri::PathAndQuery;
use tonic::{Code, Request, Response, Status};
use tonic_types::StatusExt;

use super::{CheckedCodec, STATUS_TEXT_MAX, bad_request};
use crate::v1::{ConvertRequest, ConvertResponse, Quantity};

/// Calls a server in memory that answers what it was asked, through the codec both ways.
async fn echoed(request: ConvertRequest) -> Result<ConvertResponse, Status> {
    let server = tower::service_fn(|call: http::Request<tonic::body::Body>| async {
        let codec = CheckedCodec::<ConvertResponse, ConvertRequest>::default();
        let answer = tower::service_fn(|request: Request<ConvertRequest>| async {
            // A reply that would break the rules of a request.
            let mut quantity = request.into_inner().quantity.unwrap_or_default();
            quantity.unit.clear();
            Ok::<_, Status>(Response::new(ConvertResponse { quantity: Some(quantity) }))
        });
        Ok::<_, Status>(tonic::server::Grpc::new(codec).unary(answer, call).await)
    });
    let codec = CheckedCodec::<ConvertRequest, ConvertResponse>::default();
    let path = PathAndQuery::from_static("/hankbook.v1.Calculations/Convert");
    let mut client = tonic::client::Grpc::new(server);
    client.unary(Request::new(request), path, codec).await.map(Response::into_inner)
}

#[tokio::test]
async fn a_request_with_faults_is_refused_with_all_of_them() {
    let request = ConvertRequest {
        quantity: Some(Quantity { value: Some("1,5".to_owned()), unit: String::new() }),
        to: "a unit of far too many letters".to_owned(),
        difference: None,
    };
    let status = echoed(request).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let details = status.get_details_bad_request().unwrap();
    let found: Vec<_> = details
        .field_violations
        .iter()
        .map(|v| (v.field.as_str(), v.description.as_str()))
        .collect();
    assert_eq!(
        found,
        [
            ("quantity.value", "must be a decimal number of at most 28 digits"),
            ("quantity.unit", "must be given and not be empty"),
            ("to", "must have at most 16 characters"),
        ]
    );
}

#[tokio::test]
async fn a_reply_is_never_refused() {
    let quantity = Quantity { value: Some("1.50".to_owned()), unit: "kg".to_owned() };
    let request =
        ConvertRequest { quantity: Some(quantity), to: "g".to_owned(), difference: Some(false) };
    let reply = echoed(request).await.unwrap();
    assert_eq!(reply.quantity.unwrap().unit, "");
}

#[test]
fn a_status_stays_small_enough_for_a_header() {
    let fault =
        domain::fault::Fault { field: "f".repeat(90), value: None, message: "m".repeat(10) };
    let status = bad_request(vec![fault; 1_000]);
    let violations = status.get_details_bad_request().unwrap().field_violations;
    assert_eq!(violations.len(), STATUS_TEXT_MAX / 100 + 1);
    assert_eq!(violations[STATUS_TEXT_MAX / 100].description, "has 940 more faults");
    assert!(status.details().len() < 2 * STATUS_TEXT_MAX);
}
