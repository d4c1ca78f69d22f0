//! Files as they are sent: what each is about, its media type borne out by its first bytes.
//! It never judges what a file shows, and never puts its bytes into the entry.

#[cfg(test)]
mod tests;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Kind};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use prost::bytes::Bytes;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;
use wire::contract::UPLOAD_MAX;
use wire::google::api::HttpBody;
use wire::v1;

use crate::store::files::FileRow;
use crate::store::rows::hex;

/// What a file may be about: each is a column that refers to such things.
pub const KINDS: [&str; 5] = ["deviation", "load", "reading", "foreign_material", "lot"];

/// A media type that is taken, and how its file begins.
struct Media {
    name: &'static str,
    /// The end of a file's name.
    extension: &'static str,
    is_borne_out: fn(&[u8]) -> bool,
}

const MEDIA: [Media; 4] = [
    // Start of image and the marker after it: ITU-T T.81, annex B.
    Media {
        name: "image/jpeg",
        extension: "jpg",
        is_borne_out: |b| b.starts_with(b"\xff\xd8\xff"),
    },
    // The signature of the W3C's Portable Network Graphics specification, section 5.2.
    Media {
        name: "image/png",
        extension: "png",
        is_borne_out: |bytes| bytes.starts_with(b"\x89PNG\r\n\x1a\n"),
    },
    // The header of ISO 32000-1, 7.5.2.
    Media { name: "application/pdf", extension: "pdf", is_borne_out: |b| b.starts_with(b"%PDF-") },
    Media { name: "text/csv", extension: "csv", is_borne_out: is_text },
];

fn is_text(bytes: &[u8]) -> bool {
    std::str::from_utf8(bytes).is_ok() && !bytes.contains(&0)
}

/// A file about to be recorded.
#[derive(Clone, Debug)]
pub struct NewFile {
    /// One of the kinds, and its id.
    pub about: (&'static str, Uuid),
    pub name: String,
    pub media_type: &'static str,
    pub data: Bytes,
    pub stamp: Stamp,
}

/// Reads a file. Errors: every fault; too many bytes.
pub fn file_in(
    call: &Call,
    plant: &Plant,
    request: &v1::AttachFileRequest,
) -> Result<NewFile, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let about = about_in(&request.about, &mut faults);
    if request.name.trim().is_empty() || request.name.chars().any(char::is_control) {
        faults.add_value("name", &request.name, "must be a name without control characters");
    }
    let sent = request.file.clone().unwrap_or_default();
    if sent.data.len() > UPLOAD_MAX {
        let text = format!("The file is over {} MiB.", UPLOAD_MAX / 1024 / 1024);
        return Err(Failure::new(Kind::TooLarge, text));
    }
    let media_type = media_type(&sent, &mut faults);
    let all = (|| Some((id?, about?, media_type?)))();
    let (id, about, media_type) = faults.into_result(all)?;
    let subject = format!("{}:{}", about.0, about.1);
    let stamp = Stamp::of(call, plant, id, subject, request)?;
    Ok(NewFile { about, name: request.name.clone(), media_type, data: sent.data, stamp })
}

/// The kind and the id of what a file is about.
pub fn about_in(text: &str, faults: &mut Faults) -> Option<(&'static str, Uuid)> {
    let (kind, id) = text.split_once(':').unwrap_or_default();
    let kind = KINDS.into_iter().find(|known| *known == kind);
    let found = kind.zip(id.parse().ok());
    if found.is_none() {
        faults.add_value("about", text, "must be a kind and an id, as lot:ID");
    }
    found
}

/// The media type that is claimed, once the bytes bear it out.
fn media_type(sent: &HttpBody, faults: &mut Faults) -> Option<&'static str> {
    let claimed = sent.content_type.split(';').next().unwrap_or_default().trim();
    let Some(media) = MEDIA.iter().find(|media| media.name.eq_ignore_ascii_case(claimed)) else {
        let names = MEDIA.map(|media| media.name).join(", ");
        faults.add("file", format!("must be one of {names}"));
        return None;
    };
    let name = media.name;
    if sent.data.is_empty() {
        faults.add("file", "must not be empty");
    } else if !(media.is_borne_out)(&sent.data) {
        faults.add("file", format!("is not what it is said to be: {name}"));
    }
    Some(name)
}

/// SHA-256 of a file's bytes.
pub fn hash(bytes: &[u8]) -> Vec<u8> {
    Sha256::digest(bytes).to_vec()
}

/// The name under which a file is taken away; its own name may be of any letters.
pub fn download_name(row: &FileRow) -> String {
    let media = MEDIA.iter().find(|media| media.name == row.media_type);
    format!("{}.{}", row.id, media.map_or("bin", |media| media.extension))
}

impl NewFile {
    /// The columns of the record, and its entry, which holds the hash and never the bytes.
    pub fn record(&self) -> (Value, Value) {
        let hash = hash(&self.data);
        let said = json!({
            "about": self.stamp.subject, "name": self.name, "media_type": self.media_type,
            "bytes": self.data.len(),
        });
        let (mut columns, mut entry) = (said.clone(), said);
        columns[self.about.0] = json!(self.about.1.to_string());
        columns["sha256"] = json!(hex(&hash));
        entry["sha256"] = json!(digits(&hash));
        (columns, entry)
    }

    /// A fault where there is no such thing.
    pub fn explain(&self, failure: Failure) -> Failure {
        let (kind, _) = self.about;
        match failure.names_constraint(&format!("file_{kind}_fkey")) {
            true => Failure::fault("about", &self.stamp.subject, "must be of the plant's records"),
            false => failure,
        }
    }
}

fn digits(bytes: &[u8]) -> String {
    hex(bytes).trim_start_matches("\\x").to_owned()
}

/// A file as a message.
pub fn file_out(row: FileRow) -> v1::File {
    v1::File {
        file: row.id.to_string(),
        about: row.about,
        name: row.name,
        media_type: row.media_type,
        bytes: row.bytes,
        sha256: digits(&row.sha256),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
    }
}
