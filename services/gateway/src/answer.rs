//! A REST answer on its way out: JSON, or a problem with the status of its kind.
//! It never lets a browser or a proxy keep an answer.

use actix_web::http::StatusCode;
use actix_web::http::header::{
    ALLOW, CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE, ETAG, WWW_AUTHENTICATE,
};
use actix_web::{HttpResponse, HttpResponseBuilder};
use bytes::Bytes;
use http::HeaderMap;
use platform::error::Kind;
use tokio_stream::wrappers::ReceiverStream;

use crate::problem::Problem;

/// The header in which a caller finds the id under which the request is logged.
pub const REQUEST_ID: &str = "request-id";

fn begin(status: StatusCode, request_id: &str) -> HttpResponseBuilder {
    let mut response = HttpResponse::build(status);
    response.insert_header((CACHE_CONTROL, "no-store"));
    response.insert_header((REQUEST_ID, request_id));
    response.insert_header(("x-content-type-options", "nosniff"));
    response
}

/// JSON with the ETag that a service set.
pub fn json(text: String, metadata: &HeaderMap, request_id: &str) -> HttpResponse {
    let mut response = begin(StatusCode::OK, request_id);
    response.insert_header((CONTENT_TYPE, "application/json"));
    if let Some(etag) = metadata.get("etag").and_then(|value| value.to_str().ok()) {
        response.insert_header((ETAG, etag));
    }
    response.body(text)
}

/// A problem.
pub fn problem(problem: &Problem, has_token: bool, request_id: &str) -> HttpResponse {
    let status = StatusCode::from_u16(problem.kind.row().http);
    let mut response = begin(status.unwrap_or(StatusCode::INTERNAL_SERVER_ERROR), request_id);
    response.insert_header((CONTENT_TYPE, "application/problem+json"));
    if problem.kind == Kind::NotSignedIn {
        let challenge = if has_token { "Bearer error=\"invalid_token\"" } else { "Bearer" };
        response.insert_header((WWW_AUTHENTICATE, challenge));
    }
    if problem.kind.row().repeat {
        response.insert_header(("retry-after", "1"));
    }
    response.body(problem.json(request_id).to_string())
}

/// The problem of a path that exists for other verbs.
pub fn other_verbs(allowed: &str, request_id: &str) -> HttpResponse {
    let text = format!("This path takes {allowed}.");
    let mut response = problem(&Problem::new(Kind::VerbNotAllowed, text), false, request_id);
    if let Ok(value) = actix_web::http::header::HeaderValue::from_str(allowed) {
        response.headers_mut().insert(ALLOW, value);
    }
    response
}

/// Parts as they come, with the file name that a service set.
pub fn stream(
    parts: ReceiverStream<Result<Bytes, std::io::Error>>,
    media_type: &str,
    metadata: &HeaderMap,
    request_id: &str,
) -> HttpResponse {
    let mut response = begin(StatusCode::OK, request_id);
    response.insert_header((CONTENT_TYPE, media_type));
    let name = metadata.get("content-disposition").and_then(|value| value.to_str().ok());
    if let Some(name) = name {
        response.insert_header((CONTENT_DISPOSITION, name));
    }
    response.streaming(parts)
}

/// Text of our own: health, metrics, the OpenAPI document.
pub fn text(body: String, media_type: &str, request_id: &str) -> HttpResponse {
    begin(StatusCode::OK, request_id).insert_header((CONTENT_TYPE, media_type)).body(body)
}

/// Why the house would not take an entry now.
pub fn not_ready(reasons: &[String], request_id: &str) -> HttpResponse {
    let text = reasons.join(" ");
    problem(&Problem::new(Kind::Unavailable, text), false, request_id)
}
