//! A REST client as an integrator would write one: it knows the contract's paths and nothing else.
//! It never retries unless a test says so.

use reqwest::{Method, RequestBuilder, StatusCode};
use serde_json::Value;

/// A client of one plant, with or without a token.
#[derive(Clone)]
pub struct Client {
    base: String,
    token: Option<String>,
    http: reqwest::Client,
}

/// What came back.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The JSON; null where there was none.
    pub json: Value,
    /// The body as text.
    pub text: String,
    /// The ETag.
    pub etag: Option<String>,
    /// All headers.
    pub headers: reqwest::header::HeaderMap,
}

impl Client {
    /// A client of the plant at `base`.
    pub fn new(base: &str, token: Option<String>) -> Self {
        Self { base: base.to_owned(), token, http: reqwest::Client::new() }
    }

    /// The same caller at another address: a program that was started again has another port.
    pub fn at(&self, base: &str) -> Self {
        Self { base: base.to_owned(), ..self.clone() }
    }

    /// The same address with another token.
    pub fn with_token(&self, token: impl Into<String>) -> Self {
        Self { token: Some(token.into()), ..self.clone() }
    }

    /// Its token.
    pub fn token(&self) -> Option<&str> {
        self.token.as_deref()
    }

    /// A request with the token, to be completed by the test.
    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        let request = self.http.request(method, format!("{}{path}", self.base));
        match &self.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        }
    }

    /// GET.
    pub async fn get(&self, path: &str) -> Answer {
        answer(self.request(Method::GET, path)).await
    }

    /// POST of JSON.
    pub async fn post(&self, path: &str, body: &Value) -> Answer {
        answer(self.request(Method::POST, path).json(body)).await
    }

    /// POST of JSON with more headers.
    pub async fn post_with(&self, path: &str, body: &Value, headers: &[(&str, &str)]) -> Answer {
        let mut request = self.request(Method::POST, path).json(body);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        answer(request).await
    }

    /// POST of a file about a thing, under a name with a blank in it.
    pub async fn attach(&self, id: &str, about: &str, file: (&'static str, &[u8])) -> Answer {
        let (media_type, bytes) = file;
        let path = format!("/v1/files?id={id}&about={about}&name=torn%20bag");
        let request = self.request(Method::POST, &path).header("content-type", media_type);
        answer(request.body(bytes.to_vec())).await
    }

    /// PUT of JSON with more headers.
    pub async fn put_with(&self, path: &str, body: &Value, headers: &[(&str, &str)]) -> Answer {
        let mut request = self.request(Method::PUT, path).json(body);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        answer(request).await
    }
}

/// Sends a request and reads the answer whole.
pub async fn answer(request: RequestBuilder) -> Answer {
    let response = request.send().await.expect("an answer");
    let status = response.status();
    let headers = response.headers().clone();
    let etag = headers.get("etag").and_then(|value| value.to_str().ok()).map(str::to_owned);
    let text = response.text().await.expect("a body");
    let json = serde_json::from_str(&text).unwrap_or(Value::Null);
    Answer { status: StatusCode::as_u16(&status), json, text, etag, headers }
}

impl Answer {
    /// The answer, which must have this status.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.text);
        self
    }

    /// The JSON of an answer that must be 200.
    #[track_caller]
    pub fn ok(self) -> Value {
        self.expect(200).json
    }

    /// The problem's type after its prefix: `bad-input`.
    pub fn problem(&self) -> &str {
        let kind = self.json["type"].as_str().unwrap_or_default();
        kind.rsplit('/').next().unwrap_or_default()
    }

    /// The codes of a refusal's reasons, in order.
    pub fn codes(&self) -> Vec<&str> {
        codes(&self.json)
    }

    /// The fields of its violations, in order.
    pub fn fields(&self) -> Vec<&str> {
        let violations = self.json["violations"].as_array().map(Vec::as_slice).unwrap_or_default();
        violations.iter().filter_map(|violation| violation["field"].as_str()).collect()
    }
}

/// The codes of the reasons in an answer, or in a part of one, in order.
pub fn codes(part: &Value) -> Vec<&str> {
    let reasons = part["reasons"].as_array().map(Vec::as_slice).unwrap_or_default();
    reasons.iter().filter_map(|reason| reason["code"].as_str()).collect()
}

/// How many items a list of an answer has: an empty list is left out.
pub fn length(list: &Value) -> usize {
    list.as_array().map_or(0, Vec::len)
}
