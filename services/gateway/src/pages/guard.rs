//! Whether a form was sent from a page of this house.
//! It never relies on a cookie alone: another site's form would carry it along.

use http::HeaderMap;
use platform::error::Kind;

use crate::problem::Problem;

/// True when the browser says that the form came from here. A caller that says nothing is no
/// browser of ours; programs have REST, with tokens.
pub fn is_from_here(headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    let site = text("sec-fetch-site");
    if site.is_some_and(|site| site != "same-origin") {
        return false;
    }
    match (text("origin"), text("host")) {
        (Some(origin), Some(host)) => {
            let named = origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://"));
            named.is_some_and(|named| named.eq_ignore_ascii_case(host))
        }
        (Some(_), None) => false,
        (None, _) => site.is_some(),
    }
}

/// What such a form is told.
pub fn refusal() -> Problem {
    Problem::new(Kind::NotAllowed, "The form did not come from a page of this house.")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from_here(lines: &[(&'static str, &str)]) -> bool {
        let mut headers = HeaderMap::new();
        for (name, value) in lines {
            headers.insert(*name, value.parse().expect("a header"));
        }
        is_from_here(&headers)
    }

    #[test]
    fn only_forms_of_this_house_are_taken() {
        let host = ("host", "127.0.0.1:8080");
        assert!(from_here(&[host, ("origin", "http://127.0.0.1:8080")]));
        assert!(from_here(&[host, ("sec-fetch-site", "same-origin")]));
        assert!(!from_here(&[host]), "nothing said");
        assert!(!from_here(&[host, ("origin", "http://127.0.0.1:8081")]), "another port");
        assert!(!from_here(&[host, ("origin", "null")]));
        assert!(!from_here(&[host, ("sec-fetch-site", "same-site")]));
        let both = [host, ("origin", "http://127.0.0.1:8080"), ("sec-fetch-site", "cross-site")];
        assert!(!from_here(&both));
    }
}
