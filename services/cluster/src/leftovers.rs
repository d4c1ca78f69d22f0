//! Ends what an earlier run left in a data folder: an orphaned server, or its orphaned backends.
//! It never signals a process that is not a Postgres of that folder and that user.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::thread::sleep;
use std::time::Duration;

use nix::errno::Errno;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;

use crate::account::Account;
use crate::deadline::Deadline;
use crate::error::ClusterError;

/// How long a server is given to shut down cleanly, in seconds.
const CLEAN_LIMIT_S: u64 = 30;
/// How long orphaned backends are given to notice that their server is gone, in seconds.
const NOTICE_LIMIT_S: u64 = 2;
/// How long a process is given after each harder signal, in seconds.
const HARD_LIMIT_S: u64 = 5;

/// Ends every Postgres process of this data folder. The caller holds the folder's lock, so
/// none of them has a living launcher.
pub(crate) fn end(data: &Path, account: &Account) -> Result<(), ClusterError> {
    let found = occupants(data, account);
    let server = recorded_pid(data);
    let first_limit_s = match server.filter(|pid| found.contains(pid)) {
        Some(pid) => {
            signal(&[pid], Signal::SIGINT);
            CLEAN_LIMIT_S
        }
        None => NOTICE_LIMIT_S,
    };
    let mut left = wait_gone(data, account, first_limit_s);
    for hard in [Signal::SIGQUIT, Signal::SIGKILL] {
        if !left.is_empty() {
            signal(&left, hard);
            left = wait_gone(data, account, HARD_LIMIT_S);
        }
    }
    if !left.is_empty() {
        let pids = left.into_iter().map(Pid::as_raw).collect();
        return Err(ClusterError::Leftover { data: data.to_owned(), pids });
    }
    forget_stranger(data, server)
}

/// Removes a stale `postmaster.pid` whose number now belongs to some other program: Postgres
/// would take that program for a server and refuse to start.
fn forget_stranger(data: &Path, server: Option<Pid>) -> Result<(), ClusterError> {
    let Some(pid) = server else { return Ok(()) };
    if kill(pid, None) == Err(Errno::ESRCH) {
        return Ok(());
    }
    let path = data.join("postmaster.pid");
    match fs::remove_file(&path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            Err(ClusterError::io("remove the stale", &path)(error))
        }
        _ => Ok(()),
    }
}

/// The process named in `postmaster.pid`.
fn recorded_pid(data: &Path) -> Option<Pid> {
    let text = fs::read_to_string(data.join("postmaster.pid")).ok()?;
    let number: i32 = text.lines().next()?.trim().parse().ok()?;
    (number > 0).then(|| Pid::from_raw(number))
}

/// Processes called `postgres` or `initdb`, run by the account, whose working folder is the data
/// folder; a server and all its backends are that, an administrator's shell there is not.
fn occupants(data: &Path, account: &Account) -> Vec<Pid> {
    let Ok(data) = fs::canonicalize(data) else { return Vec::new() };
    let processes = fs::read_dir("/proc").into_iter().flatten().flatten();
    let is_ours = |process: &Path| {
        fs::read_link(process.join("cwd")).is_ok_and(|cwd| cwd == data)
            && fs::read_to_string(process.join("comm"))
                .is_ok_and(|name| ["postgres", "initdb"].contains(&name.trim()))
            && fs::metadata(process).is_ok_and(|process| process.uid() == account.uid)
    };
    let pid_of = |name: &str| name.parse().ok().map(Pid::from_raw);
    processes
        .filter_map(|entry| Some((pid_of(entry.file_name().to_str()?)?, entry.path())))
        .filter(|(_, process)| is_ours(process))
        .map(|(pid, _)| pid)
        .collect()
}

fn wait_gone(data: &Path, account: &Account, limit_s: u64) -> Vec<Pid> {
    let deadline = Deadline::after(Duration::from_secs(limit_s));
    loop {
        let left = occupants(data, account);
        if left.is_empty() || deadline.is_over() {
            return left;
        }
        sleep(Duration::from_millis(10));
    }
}

fn signal(pids: &[Pid], signal: Signal) {
    for pid in pids {
        // One that has just gone needs no signal; one that stays is found again by the caller.
        let _gone = kill(*pid, signal);
    }
}
