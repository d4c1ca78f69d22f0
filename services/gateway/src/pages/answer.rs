//! What goes back to a browser, apart from the server that sends it.
//! It never lets a page load or run what is not ours: the policy goes with each answer.

use std::borrow::Cow;

use bytes::Bytes;
use maud::Markup;

/// What a page may load: our own style sheet, script and pictures; forms go home; nobody frames it.
pub const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; \
     connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// An answer.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The HTTP status.
    pub status: u16,
    /// The media type.
    pub media_type: Cow<'static, str>,
    /// What is shown.
    pub body: Bytes,
    /// Where to go instead.
    pub location: Option<String>,
    /// How it is kept under a name, for what is taken away and not shown.
    pub disposition: Option<String>,
    /// Lines of Set-Cookie.
    pub cookies: Vec<String>,
    /// True for what never changes under its path.
    pub is_lasting: bool,
}

impl Answer {
    /// A page.
    pub fn page(status: u16, markup: Markup) -> Self {
        let media_type = "text/html; charset=utf-8".into();
        Self { status, media_type, body: markup.into_string().into(), ..Self::empty() }
    }

    /// Leads to another page, which is then read.
    pub fn see(path: &str) -> Self {
        Self { status: 303, location: Some(path.to_owned()), ..Self::empty() }
    }

    /// A file of ours whose name holds the hash of what is in it.
    pub fn file(media_type: &'static str, body: &'static str) -> Self {
        let (media_type, body) = (media_type.into(), Bytes::from_static(body.as_bytes()));
        Self { media_type, body, is_lasting: true, ..Self::empty() }
    }

    /// What somebody attached, to be taken away under a name: no browser opens it as a page.
    pub fn download(media_type: String, body: Bytes, disposition: String) -> Self {
        let disposition = Some(disposition);
        Self { media_type: media_type.into(), body, disposition, ..Self::empty() }
    }

    fn empty() -> Self {
        Self {
            status: 200,
            media_type: "text/plain; charset=utf-8".into(),
            body: Bytes::new(),
            location: None,
            disposition: None,
            cookies: Vec::new(),
            is_lasting: false,
        }
    }

    /// The same with a cookie to keep.
    pub fn with_cookie(mut self, line: String) -> Self {
        self.cookies.push(line);
        self
    }

    /// True when it says itself what the browser is to keep.
    pub fn sets_a_cookie(&self) -> bool {
        !self.cookies.is_empty()
    }
}

/// A path of this house to lead to; anything else leads home.
pub fn own_path(path: &str) -> &str {
    let is_own = path.starts_with('/') && !path.starts_with("//") && !path.contains('\\');
    let is_plain = path.chars().all(|character| !character.is_control());
    if is_own && is_plain { path } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::own_path;

    #[test]
    fn nobody_is_led_out_of_the_house() {
        assert_eq!(own_path("/lots?code=A"), "/lots?code=A");
        for away in ["https://elsewhere.invalid/", "//elsewhere.invalid", "/\\elsewhere", "", "/\n"]
        {
            assert_eq!(own_path(away), "/", "{away:?}");
        }
    }
}
