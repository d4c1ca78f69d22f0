//! A REST request on its way in: headers that travel on, values of path and query, the body.
//! It never trusts a header of ours that comes from outside.

use actix_web::HttpRequest;
use actix_web::web::Bytes;
use http::{HeaderMap, HeaderName, HeaderValue};
use percent_encoding::percent_decode_str;
use platform::caller::{
    DEVICE_TIME_HEADER, IF_MATCH_HEADER, IF_NONE_MATCH_HEADER, KEY_HEADER, REQUEST_ID_HEADER,
    TICKET_HEADER,
};
use platform::error::Kind;
use platform::traces;
use wire::json::Given;

use crate::problem::Problem;

/// The headers that travel on to services, all others stay outside.
pub const TRAVELLING: [&str; 6] = [
    "authorization",
    TICKET_HEADER,
    KEY_HEADER,
    DEVICE_TIME_HEADER,
    IF_MATCH_HEADER,
    IF_NONE_MATCH_HEADER,
];

/// Headers for the hop: what travels on, and the id that this door gives the request.
pub fn headers(request: &HttpRequest, request_id: &str) -> HeaderMap {
    let mut headers = HeaderMap::new();
    for name in TRAVELLING {
        for value in request.headers().get_all(name) {
            if let Ok(value) = HeaderValue::from_bytes(value.as_bytes()) {
                headers.append(HeaderName::from_static(name), value);
            }
        }
    }
    if let Ok(id) = HeaderValue::from_str(request_id) {
        headers.insert(HeaderName::from_static(REQUEST_ID_HEADER), id);
    }
    headers
}

/// The trace to which the caller says that this request belongs.
pub fn trace(request: &HttpRequest) -> Option<&str> {
    request.headers().get(traces::HEADER).and_then(|value| value.to_str().ok())
}

/// The values of path and query, decoded.
pub fn given(
    path_values: Vec<(String, String)>,
    query: &str,
) -> Result<Vec<Given<'static>>, Problem> {
    let mut given = Vec::new();
    for (name, raw) in path_values {
        let text = decoded(&raw).ok_or_else(|| not_text(&name))?;
        given.push(Given { name: name.into(), text: text.into() });
    }
    for pair in query.split('&').filter(|pair| !pair.is_empty()) {
        let (name, text) = pair.split_once('=').unwrap_or((pair, ""));
        let name = decoded(&name.replace('+', " ")).ok_or_else(|| not_text(name))?;
        let text = decoded(&text.replace('+', " ")).ok_or_else(|| not_text(&name))?;
        given.push(Given { name: name.into(), text: text.into() });
    }
    Ok(given)
}

fn decoded(raw: &str) -> Option<String> {
    percent_decode_str(raw).decode_utf8().ok().map(|text| text.into_owned())
}

fn not_text(name: &str) -> Problem {
    let message = "must be UTF-8, percent-encoded".to_owned();
    let field = name.to_owned();
    Problem::faults(vec![domain::fault::Fault { field, value: None, message }])
}

/// Refuses a body whose media type is not JSON.
pub fn check_media_type(request: &HttpRequest, body: &Bytes) -> Result<(), Problem> {
    let named = request.headers().get("content-type").map(|value| value.to_str().unwrap_or("?"));
    let media = named.map(|text| text.split(';').next().unwrap_or_default().trim());
    match media {
        Some(media) if media.eq_ignore_ascii_case("application/json") => Ok(()),
        None if body.is_empty() => Ok(()),
        Some("") if body.is_empty() => Ok(()),
        _ => Err(Problem::new(Kind::MediaType, "The body must be application/json.")),
    }
}
