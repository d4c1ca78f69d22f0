//! Files that were attached to a thing, listed with what proves them, and taken away.
//! It never shows what is in a file: a browser keeps it and opens nothing.

use maud::{Markup, html};
use platform::error::Kind;
use platform::hop;
use prost::Message as _;
use wire::v1;

use super::answer::Answer;
use super::methods;
use super::shown;
use super::visit::{Visit, Whole};
use crate::problem::Problem;
use crate::stream;

/// The operation that gives a file's bytes.
const DOWNLOAD_FILE: &str = "/hankbook.v1.Files/DownloadFile";

/// The files about one thing, named as kind and id.
pub async fn about(visit: &Visit, about: &str) -> Result<Whole<v1::File>, Problem> {
    list(visit, v1::ListFilesRequest { about: about.to_owned(), ..Default::default() }).await
}

/// The files about a lot and about what names it.
pub async fn of_lot(visit: &Visit, lot: &str) -> Result<Whole<v1::File>, Problem> {
    list(visit, v1::ListFilesRequest { lot: lot.to_owned(), ..Default::default() }).await
}

async fn list(visit: &Visit, asked: v1::ListFilesRequest) -> Result<Whole<v1::File>, Problem> {
    let page = |page_size, page_token| {
        let question = v1::ListFilesRequest { page_size, page_token, ..asked.clone() };
        async move {
            let answer = visit.ask(methods::LIST_FILES, question).await?;
            Ok((answer.files, answer.next_page_token))
        }
    };
    visit.whole(page).await
}

/// Files as a table, each with a link that takes it away.
pub fn shown(visit: &Visit, found: &Result<Whole<v1::File>, Problem>) -> Markup {
    let words = visit.words;
    let found = match found {
        Ok(found) => found,
        Err(problem) => return shown::missing(visit, &words.say("files"), problem),
    };
    let columns = ["file-name", "file-about", "file-type", "file-bytes", "file-sent"];
    html! {
        @if found.rows.is_empty() { p { (words.say("no-files")) } }
        @else {
            p { (words.say("files-mean")) }
            div.scroll tabindex="0" role="group" aria-label=(words.say("files")) {
                table {
                    thead { tr {
                        @for column in columns { th scope="col" { (words.say(column)) } }
                    } }
                    tbody { @for file in &found.rows { (row(visit, file)) } }
                }
            }
        }
        (shown::more(visit, found.rows.len(), found.has_more))
    }
}

fn row(visit: &Visit, file: &v1::File) -> Markup {
    let words = visit.words;
    let kind = file.about.split(':').next().unwrap_or_default();
    html! {
        tr {
            th scope="row" {
                a href={ "/files/" (file.file) } download { (file.name) }
                p.code { "SHA-256 " (file.sha256) }
            }
            td { (words.one_of("about", kind)) }
            td { (file.media_type) }
            td { (file.bytes) }
            td { (shown::instant(visit, &file.recorded_at)) " · " (file.entered_by_name) }
        }
    }
}

/// The file as it was sent.
pub async fn take_away(visit: &Visit, id: &str) -> Result<Answer, Problem> {
    let away = || Problem::new(Kind::Unavailable, "This part is not running.");
    let hop = visit.pages.gateway.hops.to(DOWNLOAD_FILE).ok_or_else(away)?;
    let question = v1::DownloadFileRequest { file: id.to_owned() }.encode_to_vec();
    let sent = hop::send(hop, DOWNLOAD_FILE, question.into(), visit.headers()).await;
    let response = sent.map_err(|status| Problem::of_status(&status))?;
    let (head, body) = stream::whole(response).await?;
    let named = head.get("content-disposition").and_then(|value| value.to_str().ok());
    let named = named.unwrap_or("attachment").to_owned();
    Ok(Answer::download(body.content_type, body.data, named))
}
