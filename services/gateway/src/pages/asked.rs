//! What a browser asked, apart from the server that took it in.
//! It never trusts a field: it only reads them.

use http::HeaderMap;
use percent_encoding::percent_decode_str;

/// The verbs of pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verb {
    /// Shows something and changes nothing.
    Get,
    /// Sends a form.
    Post,
}

/// One request of a browser.
#[derive(Clone, Debug)]
pub struct Asked {
    /// Its verb.
    pub verb: Verb,
    /// Its path.
    pub path: String,
    /// The query as it came.
    pub raw_query: String,
    /// The fields of the query.
    pub query: Fields,
    /// The fields of the form.
    pub form: Fields,
    /// Its headers.
    pub headers: HeaderMap,
    /// Under which it is logged.
    pub request_id: String,
}

impl Asked {
    /// Path and query, to come back to.
    pub fn way_back(&self) -> String {
        match (self.verb, self.raw_query.is_empty()) {
            (Verb::Get, false) => format!("{}?{}", self.path, self.raw_query),
            _ => self.path.clone(),
        }
    }

    /// A header as text; empty where there is none.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
    }

    /// True for a browser that shows what comes to a person.
    pub fn wants_a_page(&self) -> bool {
        self.header("accept").contains("text/html")
    }

    /// The value of a cookie.
    pub fn cookie(&self, name: &str) -> Option<&str> {
        cookie(&self.headers, name)
    }
}

/// The value of a cookie among the headers.
pub fn cookie<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    let lines = headers.get_all(http::header::COOKIE).iter().filter_map(|line| line.to_str().ok());
    let pairs = lines.flat_map(|line| line.split(';')).filter_map(|pair| pair.split_once('='));
    pairs.map(|(key, value)| (key.trim(), value.trim())).find(|(key, _)| *key == name).map(|p| p.1)
}

/// Named values of a query or a form, in their order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fields(Vec<(String, String)>);

impl Fields {
    /// Reads `application/x-www-form-urlencoded`; what is no UTF-8 is left out.
    pub fn read(text: &str) -> Self {
        let pairs = text.split('&').filter(|pair| !pair.is_empty()).filter_map(|pair| {
            let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
            Some((decoded(name)?, decoded(value)?))
        });
        Self(pairs.collect())
    }

    /// The first value of a name without blanks around it; empty where there is none.
    pub fn get(&self, name: &str) -> &str {
        self.raw(name).trim()
    }

    /// The first value of a name as it was typed: a password may begin with a blank.
    pub fn raw(&self, name: &str) -> &str {
        self.0.iter().find(|(key, _)| key == name).map_or("", |(_, value)| value.as_str())
    }

    /// Every value of a name that says something.
    pub fn all(&self, name: &str) -> Vec<String> {
        let named = self.0.iter().filter(|(key, value)| key == name && !value.trim().is_empty());
        named.map(|(_, value)| value.trim().to_owned()).collect()
    }
}

fn decoded(raw: &str) -> Option<String> {
    let spaced = raw.replace('+', " ");
    percent_decode_str(&spaced).decode_utf8().ok().map(|text| text.into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_are_read_as_forms_send_them() {
        let fields = Fields::read("value=38.9&value=&value=+40&name=a%26b+c");
        assert_eq!(fields.all("value"), ["38.9", "40"]);
        assert_eq!(fields.get("name"), "a&b c");
        assert_eq!(fields.get("other"), "");
        assert_eq!(fields.raw("value"), "38.9");
    }

    #[test]
    fn a_cookie_is_found_among_others() {
        let mut headers = HeaderMap::new();
        headers.insert("cookie", "a=1; __Host-b=x=y; c=3".parse().expect("a header"));
        assert_eq!(cookie(&headers, "__Host-b"), Some("x=y"));
        assert_eq!(cookie(&headers, "b"), None);
    }
}
