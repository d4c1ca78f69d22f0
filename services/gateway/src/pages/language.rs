//! The choice of a language, kept in a cookie of its own.
//! It never changes what is recorded: records stay in the words in which they were made.

use super::answer::{Answer, own_path};
use super::asked::{Asked, Verb};
use super::words::Language;

/// The cookie's name.
pub const COOKIE: &str = "__Host-hankbook-language";
/// A year.
const KEPT_S: u32 = 31_536_000;

/// Keeps the language that was chosen and leads back.
pub fn answer(asked: &Asked) -> Answer {
    let back = Answer::see(own_path(asked.form.get("back")));
    match Language::from_tag(asked.form.get("language")) {
        Some(language) if asked.verb == Verb::Post => {
            let tag = language.tag();
            back.with_cookie(format!(
                "{COOKIE}={tag}; Path=/; Max-Age={KEPT_S}; Secure; HttpOnly; SameSite=Strict"
            ))
        }
        _ => back,
    }
}
