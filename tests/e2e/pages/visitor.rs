//! A browser as far as the protocol goes: it keeps cookies, sends forms, follows nothing by itself.
//! It never has a token: all it knows is in its cookies.

use std::collections::BTreeMap;

use harness::Plant;
use reqwest::header::HeaderMap;
use reqwest::redirect::Policy;
use reqwest::{Client, Method, RequestBuilder};

/// A browser.
pub struct Visitor {
    base: String,
    http: Client,
    /// What it keeps, by name.
    pub cookies: BTreeMap<String, String>,
}

/// What it was shown.
pub struct Page {
    pub status: u16,
    pub headers: HeaderMap,
    pub text: String,
}

impl Page {
    /// Where it was sent.
    pub fn location(&self) -> &str {
        self.header("location")
    }

    /// A header; empty where there is none.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
    }

    /// The page, which must have this status.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.text);
        self
    }

    /// What a person reads of it: the text without its tags.
    pub fn words(&self) -> String {
        let parts = self.text.split('<').filter_map(|part| part.split_once('>'));
        parts.map(|(_, text)| text).collect::<Vec<_>>().join(" ")
    }

    /// Fails unless the page says each of these.
    #[track_caller]
    pub fn says(&self, texts: &[&str]) {
        for text in texts {
            assert!(self.text.contains(text), "{text:?} is not on the page:\n{}", self.text);
        }
    }
}

impl Visitor {
    /// A browser that was never here.
    pub fn of(plant: &Plant) -> Self {
        let http = Client::builder().redirect(Policy::none()).build().expect("a client");
        Self { base: plant.http.clone(), http, cookies: BTreeMap::new() }
    }

    /// The same browser as it was: another tab that has not heard of newer cookies.
    pub fn tab(&self) -> Self {
        let (base, http) = (self.base.clone(), self.http.clone());
        Self { base, http, cookies: self.cookies.clone() }
    }

    /// Somebody who has signed in.
    pub async fn signed_in(plant: &Plant, name: &str, password: &str) -> Self {
        let mut visitor = Self::of(plant);
        let fields = [("name", name), ("password", password)];
        let page = visitor.post("/sign-in", &fields).await.expect(303);
        assert_eq!(page.location(), "/");
        visitor
    }

    /// Asks for a page.
    pub async fn get(&mut self, path: &str) -> Page {
        let request = self.request(Method::GET, path);
        self.send(request).await
    }

    /// Listens to what a path tells part by part.
    pub async fn listen(&self, path: &str) -> reqwest::Response {
        self.request(Method::GET, path).send().await.expect("an answer")
    }

    /// Sends a form as a page of this house would.
    pub async fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> Page {
        let origin = self.base.clone();
        let request = self.form(path, fields).header("origin", origin);
        self.send(request).await
    }

    /// A form, to be completed by the test.
    pub fn form(&self, path: &str, fields: &[(&str, &str)]) -> RequestBuilder {
        let url = reqwest::Url::parse_with_params("http://form.invalid/", fields).expect("fields");
        let body = url.query().unwrap_or_default().to_owned();
        let request = self.request(Method::POST, path).body(body);
        request.header("content-type", "application/x-www-form-urlencoded")
    }

    fn request(&self, method: Method, path: &str) -> RequestBuilder {
        let kept: Vec<_> =
            self.cookies.iter().map(|(name, value)| format!("{name}={value}")).collect();
        let request = self.http.request(method, format!("{}{path}", self.base));
        let request = request.header("accept", "text/html,application/xhtml+xml");
        if kept.is_empty() { request } else { request.header("cookie", kept.join("; ")) }
    }

    /// Sends a request and keeps the cookies of its answer.
    pub async fn send(&mut self, request: RequestBuilder) -> Page {
        let response = request.send().await.expect("an answer");
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        for line in headers.get_all("set-cookie") {
            let line = line.to_str().expect("a text");
            let (name, value) =
                line.split(';').next().and_then(|p| p.split_once('=')).expect("a pair");
            match line.contains("Max-Age=0") {
                true => self.cookies.remove(name),
                false => self.cookies.insert(name.to_owned(), value.to_owned()),
            };
        }
        Page { status, headers, text: response.text().await.expect("a body") }
    }
}
