//! A browser that asks for every page of the demo's plant, again and again.
//! It never judges a number: it prints what it measured.

use std::fs;
use std::path::Path;

use harness::pages::{Example, PASSWORD, of_demo, somebody};
use platform::clock::monotonic;
use reqwest::header::{COOKIE, SET_COOKIE};
use reqwest::redirect::Policy;

/// Who looks: quality assurance, who sees the most.
const WHO: &str = "dana";
/// Rounds before those that count.
const WARM: usize = 2;

/// A browser with what it keeps.
struct Browser {
    base: String,
    http: reqwest::Client,
    cookie: String,
}

impl Browser {
    /// Signs in by the form.
    async fn signed_in(base: &str) -> Self {
        let http = reqwest::Client::builder().redirect(Policy::none()).build().expect("a client");
        let form = format!("name={WHO}&password={}", PASSWORD.replace(' ', "+"));
        let request = http
            .post(format!("{base}/sign-in"))
            .header("content-type", "application/x-www-form-urlencoded")
            .header("sec-fetch-site", "same-origin")
            .body(form);
        let answer = request.send().await.expect("an answer");
        let lines = answer.headers().get_all(SET_COOKIE).iter();
        let pairs: Vec<&str> =
            lines.filter_map(|line| line.to_str().ok()?.split(';').next()).collect();
        assert!(answer.status() == 303 && !pairs.is_empty(), "{WHO} could not sign in");
        Self { base: base.to_owned(), cookie: pairs.join("; "), http }
    }

    /// Milliseconds until the page was there whole, and the page.
    async fn get(&self, path: &str) -> (f64, Vec<u8>) {
        let request = self.http.get(format!("{}{path}", self.base)).header(COOKIE, &self.cookie);
        let request = request.header("accept", "text/html").header("accept-language", "en");
        let begun = monotonic();
        let answer = request.send().await.expect("an answer");
        let status = answer.status().as_u16();
        let page = answer.bytes().await.expect("a page").to_vec();
        let took = begun.elapsed().as_secs_f64() * 1000.0;
        assert!(status == 200, "{path}: {status} {}", String::from_utf8_lossy(&page));
        (took, page)
    }
}

/// Asks every page so many times, one after the other, and prints what, path, p50, p95, the most,
/// bytes and the file in which the page was put: the slowest first. Then the files that the first
/// page and the day load besides.
pub async fn run(http: &str, times: usize, folder: &Path) {
    let examples = of_demo(&somebody(http, WHO).await, &somebody(http, "ines").await).await;
    let missing: Vec<&str> = gateway::PAGES
        .into_iter()
        .filter(|page| examples.iter().all(|example| example.page != *page))
        .collect();
    assert!(missing.is_empty(), "pages without an example: {missing:?}");
    let browser = Browser::signed_in(http).await;
    let mut took: Vec<Vec<f64>> = vec![Vec::new(); examples.len()];
    let mut bytes = vec![0; examples.len()];
    for round in 0..WARM + times {
        for (at, Example { path, .. }) in examples.iter().enumerate() {
            let (ms, page) = browser.get(path).await;
            if round >= WARM {
                took[at].push(ms);
            }
            bytes[at] = page.len();
            fs::write(folder.join(format!("{at}.html")), page).expect("a file");
        }
    }
    let mut rows: Vec<(f64, String)> = Vec::new();
    for (at, (example, took)) in examples.iter().zip(&mut took).enumerate() {
        took.sort_by(f64::total_cmp);
        let p = |share: f64| took[((took.len() - 1) as f64 * share).round() as usize];
        let Example { page, what, .. } = example;
        let times = format!("{:.1}\t{:.1}\t{:.1}", p(0.5), p(0.95), p(1.0));
        rows.push((p(0.95), format!("{what}\t{page}\t{times}\t{}\t{at}.html", bytes[at])));
    }
    rows.sort_by(|one, other| other.0.total_cmp(&one.0));
    for (_, row) in rows {
        println!("{row}");
    }
    loaded(&browser, folder).await;
}

/// Puts what the first page loads besides into files: `asset-0`, `asset-1`.
async fn loaded(browser: &Browser, folder: &Path) {
    let (_, page) = browser.get("/sign-in").await;
    let page = String::from_utf8_lossy(&page).into_owned();
    let named = page.split('"').filter(|part| part.starts_with("/assets/"));
    for (at, path) in named.enumerate() {
        let (_, asset) = browser.get(path).await;
        fs::write(folder.join(format!("asset-{at}")), asset).expect("a file");
    }
}
