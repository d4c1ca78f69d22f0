//! The files that pages load, each under a name that holds the hash of what is in it.
//! They never change under one name, so browsers may keep them.

use std::sync::LazyLock;

use sha2::{Digest, Sha256};

use super::answer::Answer;

const STYLE: &str = include_str!("../../assets/house.css");

static STYLE_NAME: LazyLock<String> = LazyLock::new(|| {
    let hash: String =
        Sha256::digest(STYLE).iter().take(8).map(|byte| format!("{byte:02x}")).collect();
    format!("house-{hash}.css")
});

/// The path of the style sheet.
pub fn style_path() -> String {
    format!("/assets/{}", *STYLE_NAME)
}

/// The file of a name.
pub fn find(name: &str) -> Option<Answer> {
    (name == *STYLE_NAME).then(|| Answer::file("text/css; charset=utf-8", STYLE))
}
