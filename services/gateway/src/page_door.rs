//! Between actix and the pages: takes a browser's request in, sends the answer out.
//! It never runs a page on an actix thread.

use std::sync::Arc;

use actix_web::http::StatusCode;
use actix_web::http::header::{
    CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE, LOCATION, SET_COOKIE,
};
use actix_web::web::Payload;
use actix_web::{HttpRequest, HttpResponse};
use http::{HeaderMap, HeaderName, HeaderValue};
use tokio::runtime::Handle;
use tracing::Instrument as _;

use crate::answer::REQUEST_ID;
use crate::pages::{Answer, Asked, Fields, POLICY, Pages, Verb};

/// Where pages listen to what is recorded.
pub const LIVE: &str = "/live";
/// The largest form.
const FORM_MAX: usize = 256 * 1024;
/// What a page needs of a request, and what it passes on of it.
const HEADERS: [&str; 6] =
    ["accept", "accept-language", "cookie", "host", "origin", "sec-fetch-site"];

/// Answers with a page; nothing where no page has that path and verb.
pub async fn answer(
    runtime: &Handle,
    pages: &Arc<Pages>,
    (request, payload): (&HttpRequest, Payload),
    request_id: &str,
) -> Option<HttpResponse> {
    let verb = match request.method().as_str() {
        "GET" | "HEAD" => Verb::Get,
        "POST" => Verb::Post,
        _ => return None,
    };
    let form = form(verb, request, payload).await?;
    let asked = Asked {
        verb,
        path: request.path().to_owned(),
        raw_query: request.query_string().to_owned(),
        query: Fields::read(request.query_string()),
        form,
        headers: headers(request),
        request_id: request_id.to_owned(),
    };
    let work = runtime.spawn(pages.clone().answer(asked).in_current_span()).await;
    match work {
        Ok(answer) => answer.map(|answer| sent(answer, request_id)),
        Err(_) => Some(HttpResponse::InternalServerError().finish()),
    }
}

/// What a trace calls a request for a page: its kind, never the thing that it is about.
pub fn name(request: &HttpRequest) -> String {
    let kind = request.path().split('/').nth(1).unwrap_or_default();
    format!("{} /{kind}", request.method())
}

/// The fields of a form; nothing for a body that is none, or is too large.
async fn form(verb: Verb, request: &HttpRequest, payload: Payload) -> Option<Fields> {
    if verb == Verb::Get {
        return Some(Fields::default());
    }
    let named = request.headers().get("content-type").and_then(|value| value.to_str().ok());
    let media = named.and_then(|named| named.split(';').next()).map(str::trim);
    if media != Some("application/x-www-form-urlencoded") {
        return None;
    }
    let body = payload.to_bytes_limited(FORM_MAX).await.ok()?.ok()?;
    Some(Fields::read(std::str::from_utf8(&body).ok()?))
}

/// What a page needs of a request's headers.
pub fn headers(request: &HttpRequest) -> HeaderMap {
    let mut headers = HeaderMap::new();
    for name in HEADERS {
        for value in request.headers().get_all(name) {
            if let Ok(value) = HeaderValue::from_bytes(value.as_bytes()) {
                headers.append(HeaderName::from_static(name), value);
            }
        }
    }
    headers
}

fn sent(answer: Answer, request_id: &str) -> HttpResponse {
    let status = StatusCode::from_u16(answer.status);
    let mut response = HttpResponse::build(status.unwrap_or(StatusCode::INTERNAL_SERVER_ERROR));
    let kept = match answer.is_lasting {
        true => "public, max-age=31536000, immutable",
        false => "no-store",
    };
    response.insert_header((CACHE_CONTROL, kept));
    response.insert_header((CONTENT_TYPE, answer.media_type.as_ref()));
    response.insert_header((REQUEST_ID, request_id));
    response.insert_header(("content-security-policy", POLICY));
    response.insert_header(("cross-origin-opener-policy", "same-origin"));
    response.insert_header(("referrer-policy", "same-origin"));
    response.insert_header(("x-content-type-options", "nosniff"));
    response.insert_header(("vary", "cookie, accept-language"));
    for cookie in answer.cookies {
        response.append_header((SET_COOKIE, cookie));
    }
    if let Some(location) = answer.location {
        response.insert_header((LOCATION, location));
    }
    if let Some(disposition) = answer.disposition {
        response.insert_header((CONTENT_DISPOSITION, disposition));
    }
    response.body(answer.body)
}
