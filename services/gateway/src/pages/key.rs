//! The key file under which browsers' cookies are sealed.
//! It never leaves its folder; losing it only means that everybody signs in again.

use std::fs;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

/// Bytes of an AES-256 key.
pub const LENGTH: usize = 32;

/// The key of a plant's pages.
#[derive(Clone)]
pub struct Key(pub(super) [u8; LENGTH]);

impl Key {
    /// Reads the key, or makes it (mode 0600) where there is none.
    pub fn open_or_create(file: &Path) -> io::Result<Self> {
        let bytes = match fs::read(file) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => create(file)?,
            Err(error) => return Err(error),
        };
        let key = bytes.try_into();
        key.map(Self).map_err(|_| io::Error::other("the page key file holds no 32 bytes"))
    }
}

fn create(file: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = vec![0; LENGTH];
    let filled = aws_lc_rs::rand::fill(&mut bytes);
    filled.map_err(|_| io::Error::other("no key could be made"))?;
    let mut out = fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(file)?;
    out.write_all(&bytes)?;
    out.sync_all()?;
    Ok(bytes)
}
