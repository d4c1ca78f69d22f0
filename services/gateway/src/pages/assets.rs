//! The files that pages load, each under a name that holds the hash of what is in it.
//! They never change under one name, so browsers may keep them.

use std::sync::LazyLock;

use sha2::{Digest, Sha256};

use super::answer::Answer;

const STYLE: &str = include_str!("../../assets/house.css");

const KEYPAD: &str = include_str!("../../assets/keypad.js");

const LIVE: &str = include_str!("../../assets/live.js");

const ICON: &str = include_str!("../../assets/icon.svg");

static STYLE_NAME: LazyLock<String> = LazyLock::new(|| named("house", STYLE, "css"));
static KEYPAD_NAME: LazyLock<String> = LazyLock::new(|| named("keypad", KEYPAD, "js"));
static LIVE_NAME: LazyLock<String> = LazyLock::new(|| named("live", LIVE, "js"));
static ICON_NAME: LazyLock<String> = LazyLock::new(|| named("icon", ICON, "svg"));

fn named(name: &str, text: &str, ending: &str) -> String {
    let hash = Sha256::digest(text);
    let hash: String = hash.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
    format!("{name}-{hash}.{ending}")
}

/// The path of the style sheet.
pub fn style_path() -> String {
    format!("/assets/{}", *STYLE_NAME)
}

/// The path of the keypad's script.
pub fn keypad_path() -> String {
    format!("/assets/{}", *KEYPAD_NAME)
}

/// The path of the script that keeps a page as the plant stands.
pub fn live_path() -> String {
    format!("/assets/{}", *LIVE_NAME)
}

/// The path of the picture beside the title.
pub fn icon_path() -> String {
    format!("/assets/{}", *ICON_NAME)
}

/// The file of a name.
pub fn find(name: &str) -> Option<Answer> {
    match name {
        name if name == *STYLE_NAME => Some(Answer::file("text/css; charset=utf-8", STYLE)),
        name if name == *KEYPAD_NAME => {
            Some(Answer::file("text/javascript; charset=utf-8", KEYPAD))
        }
        name if name == *LIVE_NAME => Some(Answer::file("text/javascript; charset=utf-8", LIVE)),
        name if name == *ICON_NAME => Some(Answer::file("image/svg+xml", ICON)),
        _ => None,
    }
}
