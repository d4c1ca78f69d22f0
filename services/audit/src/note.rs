//! Signed notes and checkpoints (C2SP signed-note and tlog-checkpoint) with Ed25519 keys.
//! It never keeps a private key anywhere but in a file of mode 0600.

use std::fs;
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;
use std::str::FromStr;

use aws_lc_rs::rand::SystemRandom;
use aws_lc_rs::signature::{ED25519, Ed25519KeyPair, KeyPair as _, UnparsedPublicKey};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use domain::record::Hash;
use sha2::{Digest, Sha256};

/// What stands before an Ed25519 key in a verifier key and in the hash that names it.
const ED25519_KIND: u8 = 1;
/// How a signature line begins.
const DASH: &str = "\u{2014} ";
/// The most signature lines of a note.
const SIGNATURES_MAX: usize = 100;

/// Why a note is not believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoteError {
    /// It has not the form.
    #[error("it has not the form of a signed note")]
    Malformed,
    /// No signature is by the key.
    #[error("no signature is by the key")]
    Unsigned,
    /// A signature by the key does not fit.
    #[error("the signature does not fit")]
    BadSignature,
}

/// The key that signs a plant's checkpoints.
pub struct SigningKey {
    pair: Ed25519KeyPair,
}

impl SigningKey {
    /// Reads the key of a plant, or makes it (mode 0600) where there is none.
    pub fn open_or_create(file: &Path) -> io::Result<Self> {
        let der = match fs::read(file) {
            Ok(der) => der,
            Err(error) if error.kind() == io::ErrorKind::NotFound => create(file)?,
            Err(error) => return Err(error),
        };
        let pair = Ed25519KeyPair::from_pkcs8(&der)
            .map_err(|_| io::Error::other("the log's key file holds no Ed25519 key"))?;
        Ok(Self { pair })
    }

    /// The public half under a name.
    pub fn public(&self, name: &str) -> NoteKey {
        let mut public = [0; 32];
        public.copy_from_slice(self.pair.public_key().as_ref());
        NoteKey::new(name, public)
    }

    /// The note of a text that ends in a line feed, signed under a name.
    pub fn sign(&self, name: &str, text: &str) -> String {
        let mut signature = self.public(name).id.to_vec();
        signature.extend_from_slice(self.pair.sign(text.as_bytes()).as_ref());
        format!("{text}\n{DASH}{name} {}\n", STANDARD.encode(signature))
    }
}

fn create(file: &Path) -> io::Result<Vec<u8>> {
    let made = Ed25519KeyPair::generate_pkcs8(&SystemRandom::new());
    let der = made.map_err(|_| io::Error::other("no key could be made"))?;
    let mut out = fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(file)?;
    out.write_all(der.as_ref())?;
    out.sync_all()?;
    Ok(der.as_ref().to_vec())
}

/// A public key that verifies notes, with its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoteKey {
    /// Whose it is: the origin of the log.
    pub name: String,
    id: [u8; 4],
    public: [u8; 32],
}

impl NoteKey {
    fn new(name: &str, public: [u8; 32]) -> Self {
        let hash = Sha256::new()
            .chain_update(name.as_bytes())
            .chain_update([b'\n', ED25519_KIND])
            .chain_update(public)
            .finalize();
        let mut id = [0; 4];
        id.copy_from_slice(&hash[..4]);
        Self { name: name.to_owned(), id, public }
    }

    /// The text of a note that this key has signed. Signatures by other keys are not looked at.
    pub fn open<'n>(&self, note: &'n str) -> Result<&'n str, NoteError> {
        let end = note.rfind("\n\n").ok_or(NoteError::Malformed)?;
        let (text, signatures) = (&note[..=end], &note[end + 2..]);
        let is_plain = |c: char| c == '\n' || !c.is_ascii_control();
        let lines = signatures.strip_suffix('\n').ok_or(NoteError::Malformed)?;
        if !note.chars().all(is_plain) || lines.split('\n').count() > SIGNATURES_MAX {
            return Err(NoteError::Malformed);
        }
        let mut is_signed = false;
        for line in lines.split('\n') {
            let (name, signature) = signature_of(line).ok_or(NoteError::Malformed)?;
            if name != self.name || signature[..4] != self.id {
                continue;
            }
            let key = UnparsedPublicKey::new(&ED25519, &self.public);
            let fits = key.verify(text.as_bytes(), &signature[4..]);
            fits.map_err(|_| NoteError::BadSignature)?;
            is_signed = true;
        }
        if is_signed { Ok(text) } else { Err(NoteError::Unsigned) }
    }
}

/// The name and the bytes of a signature line.
fn signature_of(line: &str) -> Option<(&str, Vec<u8>)> {
    let (name, signature) = line.strip_prefix(DASH)?.split_once(' ')?;
    let bytes = STANDARD.decode(signature).ok()?;
    (is_name(name) && bytes.len() > 4).then_some((name, bytes))
}

fn is_name(name: &str) -> bool {
    !name.is_empty() && !name.contains(|c: char| c.is_whitespace() || c == '+')
}

impl std::fmt::Display for NoteKey {
    /// The verifier key of C2SP signed-note.
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let id = u32::from_be_bytes(self.id);
        let mut key = vec![ED25519_KIND];
        key.extend_from_slice(&self.public);
        write!(out, "{}+{id:08x}+{}", self.name, STANDARD.encode(key))
    }
}

impl FromStr for NoteKey {
    type Err = NoteError;

    fn from_str(text: &str) -> Result<Self, NoteError> {
        let mut parts = text.splitn(3, '+');
        let (name, id, key) = (parts.next(), parts.next(), parts.next());
        let (Some(name), Some(_), Some(key)) = (name, id, key) else {
            return Err(NoteError::Malformed);
        };
        let bytes = STANDARD.decode(key).map_err(|_| NoteError::Malformed)?;
        let public = match bytes.split_first() {
            Some((&ED25519_KIND, public)) => public.try_into().ok(),
            _ => None,
        };
        let read = Self::new(name, public.ok_or(NoteError::Malformed)?);
        // Written again it must be the same text: its id, its case, its padding.
        let is_same = is_name(name) && read.to_string() == text;
        is_same.then_some(read).ok_or(NoteError::Malformed)
    }
}

/// The head of a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checkpoint {
    /// The name of the log.
    pub origin: String,
    /// The number of entries.
    pub size: u64,
    /// The root of their tree.
    pub root: Hash,
}

impl Checkpoint {
    /// The text that is signed.
    pub fn text(&self) -> String {
        format!("{}\n{}\n{}\n", self.origin, self.size, STANDARD.encode(self.root))
    }

    /// The head that a note says, signed by the key of that log.
    pub fn open(note: &str, key: &NoteKey) -> Result<Self, NoteError> {
        let text = key.open(note)?;
        let read = Self::read(text).filter(|read| read.origin == key.name);
        read.ok_or(NoteError::Malformed)
    }

    fn read(text: &str) -> Option<Self> {
        let mut lines = text.split('\n');
        let (origin, size, root) = (lines.next()?, lines.next()?, lines.next()?);
        let root = STANDARD.decode(root).ok()?.try_into().ok()?;
        let read = Self { origin: origin.to_owned(), size: size.parse().ok()?, root };
        // Neither leading zeros nor lines after the third: it reads as it is written.
        (read.text() == text).then_some(read)
    }
}

#[cfg(test)]
mod tests;
