//! What the launcher's tests share: a folder others may pass, psql, and the helper process.
//! It never starts a cluster itself.

use std::fs::{self, Permissions};
use std::io::{BufRead, BufReader};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use cluster::{Cluster, SUPERUSER};
use nix::sys::signal::{Signal, kill};
use nix::unistd::{Pid, Uid};
use tempfile::TempDir;

pub fn is_root() -> bool {
    Uid::effective().is_root()
}

/// A temporary folder that the user Postgres runs as can pass through.
pub fn open_folder() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::set_permissions(folder.path(), Permissions::from_mode(0o755)).unwrap();
    folder
}

/// Runs one statement; the answer, or what psql complained of.
pub fn sql(cluster: &Cluster, role: &str, statement: &str) -> Result<String, String> {
    let mut psql = Command::new(cluster.programs_dir().join("psql"));
    psql.args(["-X", "-w", "-A", "-t", "-q", "-v", "ON_ERROR_STOP=1", "-c", statement]);
    let output = psql.arg(cluster.connection_string(role, "postgres")).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).trim().to_owned();
    if output.status.success() { Ok(text(&output.stdout)) } else { Err(text(&output.stderr)) }
}

pub fn ask(cluster: &Cluster, statement: &str) -> String {
    sql(cluster, SUPERUSER, statement).unwrap()
}

/// The helper process, built beside the tests.
pub fn helper() -> PathBuf {
    let test = std::env::current_exe().unwrap();
    test.parent().unwrap().parent().unwrap().join("examples/hold")
}

pub fn spawn(mut command: Command) -> Child {
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command.spawn().unwrap()
}

/// Starts the helper on a data folder.
pub fn hold(data_dir: &Path) -> Child {
    let mut command = Command::new(helper());
    command.arg(data_dir);
    spawn(command)
}

/// Waits for the helper's line: the server's process id and its user.
pub fn ready(helper: &mut Child) -> (i32, String) {
    let mut line = String::new();
    BufReader::new(helper.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
    let (pid, user) = line.trim().split_once(' ').expect("the helper did not start its cluster");
    (pid.parse().unwrap(), user.to_owned())
}

pub fn kill_hard(pid: i32) {
    kill(Pid::from_raw(pid), Signal::SIGKILL).unwrap();
}

pub fn lives(pid: i32) -> bool {
    let stat = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
    !stat.is_empty() && !stat.contains(") Z ")
}

pub fn wait_until(what: &str, mut holds: impl FnMut() -> bool) {
    for _ in 0..5_000 {
        if holds() {
            return;
        }
        sleep(Duration::from_millis(2));
    }
    panic!("waited in vain until {what}");
}
