//! The newest signed head of the sealed log, in which the lot's records stand.
//! It never proves anything by itself: the bundle does, without this service.

use maud::{Markup, html};
use platform::caller::operation;
use platform::error::Kind;
use platform::hop;
use serde_json::Value;
use wire::json::{self, Names};

use super::gather::{File, Part, nothing};
use super::part;
use crate::pages::shown;
use crate::pages::visit::Visit;
use crate::problem::Problem;

/// The operation that gives the newest checkpoint.
const GET_CHECKPOINT: &str = "/hankbook.v1.Audit/GetCheckpoint";

/// Asks for the newest checkpoint; a house without a sealed log says so.
pub async fn ask(visit: &Visit) -> Part<Value> {
    let away = || Problem::new(Kind::Unavailable, "The sealed log is not running here.");
    let operation = operation(GET_CHECKPOINT).ok_or_else(away)?;
    let hop = visit.pages.gateway.hops.to(GET_CHECKPOINT).ok_or_else(away)?;
    let sent = hop::unary(hop, GET_CHECKPOINT, nothing().into(), visit.headers()).await;
    let (_, bytes) = sent.map_err(|status| Problem::of_status(&status))?;
    let text = json::write(&bytes, &operation.output, Names::Camel).unwrap_or_default();
    let broken = |_| Problem::new(Kind::Internal, "The answer cannot be shown.");
    serde_json::from_str(&text).map_err(broken)
}

/// The part of the file.
pub fn shown(visit: &Visit, file: &File) -> Markup {
    let words = visit.words;
    part(visit, "file-log", &file.checkpoint, |checkpoint| {
        let text = |name: &str| match &checkpoint[name] {
            Value::String(text) => text.clone(),
            Value::Null => String::new(),
            other => other.to_string(),
        };
        html! {
            p { (words.say("log-means")) }
            dl {
                dt { (words.say("log-size")) } dd { (text("size")) }
                dt { (words.say("log-signed-at")) }
                dd { (shown::instant(visit, &text("signedAt"))) }
                dt { (words.say("log-root")) } dd.code { (text("root")) }
                dt { (words.say("log-key")) } dd.code { (text("key")) }
            }
            p { (words.with("log-bundle", [
                ("path", format!("/v1/bundles/lot:{}", file.lot.lot).into())
            ])) }
        }
    })
}
