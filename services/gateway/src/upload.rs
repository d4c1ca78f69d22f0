//! A body that is taken as it is: a file, whose other fields come from the path and the query.
//! It never looks into the bytes and never takes more of them than the contract allows.

use actix_web::HttpRequest;
use actix_web::http::header::{CONTENT_LENGTH, CONTENT_TYPE, HeaderMap};
use actix_web::web::Payload;
use domain::fault::Fault;
use platform::error::Kind;
use prost_reflect::FieldDescriptor;
use wire::contract::{Operation, UPLOAD_MAX};
use wire::google::api::HttpBody;
use wire::json::{self, Given};

use crate::problem::Problem;

/// The message of a request whose body goes into `field`.
pub async fn message(
    operation: &Operation,
    field: &FieldDescriptor,
    (request, payload): (&HttpRequest, Payload),
    given: &[Given<'_>],
) -> Result<Vec<u8>, Problem> {
    let mut message = beside(operation, field, given)?;
    let content_type = media_type(request.headers())?;
    if announced(request.headers()).is_some_and(|length| length > UPLOAD_MAX as u64) {
        return Err(too_large());
    }
    let data = payload.to_bytes_limited(UPLOAD_MAX).await.map_err(|_| too_large())?;
    let data = data.map_err(|_| Problem::new(Kind::BadInput, "The body broke off."))?;
    let raw = HttpBody { content_type, data };
    prost::encoding::message::encode(field.number(), &raw, &mut message);
    Ok(message)
}

/// The fields beside the raw one, which the path and the query must not name.
fn beside(
    operation: &Operation,
    field: &FieldDescriptor,
    given: &[Given<'_>],
) -> Result<Vec<u8>, Problem> {
    let is_raw = |given: &&Given<'_>| {
        let first = given.name.split('.').next().unwrap_or_default();
        first == field.name() || first == field.json_name()
    };
    let fault = |given: &Given<'_>| Fault {
        field: given.name.to_string(),
        value: None,
        message: "must come as the body".to_owned(),
    };
    let faults: Vec<_> = given.iter().filter(is_raw).map(fault).collect();
    if !faults.is_empty() {
        return Err(Problem::faults(faults));
    }
    let read = json::read(b"", &operation.input, given).map_err(Problem::faults)?;
    Ok(read.bytes)
}

fn media_type(headers: &HeaderMap) -> Result<String, Problem> {
    let named = headers.get(CONTENT_TYPE).and_then(|value| value.to_str().ok());
    let named = named.map(str::trim).filter(|text| !text.is_empty());
    let missing = || Problem::new(Kind::MediaType, "Content-Type must name what the body is.");
    named.map(str::to_owned).ok_or_else(missing)
}

/// The length that the caller says the body has.
fn announced(headers: &HeaderMap) -> Option<u64> {
    headers.get(CONTENT_LENGTH)?.to_str().ok()?.trim().parse().ok()
}

fn too_large() -> Problem {
    let text = format!("The body is over {} MiB.", UPLOAD_MAX / 1024 / 1024);
    Problem::new(Kind::TooLarge, text)
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;
    use actix_web::{FromRequest as _, web::Bytes};
    use prost::Message as _;
    use wire::contract::operations;
    use wire::v1::AttachFileRequest;

    use super::*;

    const ID: &str = "01997000-0000-7000-8000-000000000001";
    const LOT: &str = "lot:01997000-0000-7000-8000-000000000002";

    fn given<'a>(pairs: &[(&'a str, &'a str)]) -> Vec<Given<'a>> {
        let pairs = pairs.iter();
        pairs.map(|(name, text)| Given { name: (*name).into(), text: (*text).into() }).collect()
    }

    async fn taken(request: TestRequest, given: &[Given<'_>]) -> Result<Vec<u8>, Problem> {
        let attach = operations().iter().find(|found| found.method == "AttachFile").unwrap();
        let (request, mut payload) = request.to_http_parts();
        let payload = Payload::from_request(&request, &mut payload).await.unwrap();
        message(attach, attach.raw().unwrap(), (&request, payload), given).await
    }

    fn asked() -> Vec<Given<'static>> {
        given(&[("id", ID), ("about", LOT), ("name", "a.csv")])
    }

    #[actix_web::test]
    async fn the_body_goes_into_its_field_as_it_is() {
        let request = TestRequest::post().insert_header(("content-type", "text/csv"));
        let request = request.set_payload(Bytes::from_static(b"a\0\xffb"));
        let bytes = taken(request, &asked()).await.expect("a message");
        let read = AttachFileRequest::decode(bytes.as_slice()).unwrap();
        let file = read.file.expect("a file");
        assert_eq!((read.id.as_str(), read.about.as_str(), read.name.as_str()), (ID, LOT, "a.csv"));
        assert_eq!((file.content_type.as_str(), &file.data[..]), ("text/csv", &b"a\0\xffb"[..]));
    }

    #[actix_web::test]
    async fn what_is_too_large_is_told_before_it_is_read() {
        let over = (UPLOAD_MAX + 1).to_string();
        let request = TestRequest::post().insert_header(("content-type", "text/csv"));
        let request = request.insert_header(("content-length", over));
        assert_eq!(taken(request, &asked()).await.unwrap_err().kind, Kind::TooLarge);
        for (length, is_taken) in [(UPLOAD_MAX, true), (UPLOAD_MAX + 1, false)] {
            let request = TestRequest::post().insert_header(("content-type", "text/csv"));
            let taken = taken(request.set_payload(vec![b'a'; length]), &asked()).await;
            assert_eq!(taken.is_ok(), is_taken, "{length}");
        }
    }

    #[actix_web::test]
    async fn a_body_says_what_it_is_and_stands_nowhere_else() {
        let bare = TestRequest::post().set_payload("a");
        assert_eq!(taken(bare, &asked()).await.unwrap_err().kind, Kind::MediaType);
        let typed = || TestRequest::post().insert_header(("content-type", "text/csv"));
        for name in ["file", "file.data", "file.contentType"] {
            let twice = [asked(), given(&[(name, "x")])].concat();
            let refused = taken(typed(), &twice).await.unwrap_err();
            assert_eq!(refused.faults[0].field, name);
        }
        let refused = taken(typed(), &given(&[("name", "a")])).await.unwrap_err();
        let fields: Vec<_> = refused.faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(fields, ["id", "about"]);
    }
}
