//! The end of the server's log, for the message when it does not start.
//! It never follows a link out of the log folder and never reads a whole log.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use nix::fcntl::OFlag;

use crate::error::ClusterError;
use crate::folder::{Folder, remove_if_there};

/// How much of a log's end is read, in bytes.
const TAIL_BYTES: u64 = 2_000;
/// How many lines of it are shown.
const TAIL_LINES: usize = 6;

/// Opens the file that takes what the server says before its own log is open.
pub(crate) fn open_start_log(folder: &Folder) -> Result<File, ClusterError> {
    let path = start_log(folder);
    remove_if_there(&path)
        .and_then(|()| File::create_new(&path))
        .map_err(ClusterError::io("write", &path))
}

/// The last lines of what the server said while starting, and of its newest log.
pub(crate) fn tail(folder: &Folder) -> String {
    let newest = newest(&folder.log);
    let parts = [Some(start_log(folder)), newest].into_iter().flatten();
    let parts: Vec<String> = parts.filter_map(|path| last_lines(&path).ok()).collect();
    parts.join("\n").trim().to_owned()
}

fn start_log(folder: &Folder) -> PathBuf {
    folder.root.join("start.log")
}

fn newest(log: &Path) -> Option<PathBuf> {
    let files = fs::read_dir(log).ok()?.flatten();
    let dated = files.filter_map(|entry| Some((entry.metadata().ok()?.modified().ok()?, entry)));
    dated.max_by_key(|(modified, _)| *modified).map(|(_, entry)| entry.path())
}

fn last_lines(path: &Path) -> io::Result<String> {
    // The folder belongs to the server's user, who must not make root read another file.
    let no_link = OFlag::O_NOFOLLOW.bits();
    let mut file = OpenOptions::new().read(true).custom_flags(no_link).open(path)?;
    let length = file.metadata()?.len();
    file.seek(SeekFrom::Start(length.saturating_sub(TAIL_BYTES)))?;
    let mut bytes = Vec::new();
    file.take(TAIL_BYTES).read_to_end(&mut bytes)?;
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let lines: Vec<&str> = text.lines().collect();
    Ok(lines.get(lines.len().saturating_sub(TAIL_LINES)..).unwrap_or_default().join("\n"))
}
