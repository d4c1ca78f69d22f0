//! Makes a new Postgres cluster, beside its final name, so that a cut-off attempt is seen as such.
//! It never touches a finished cluster.

use std::process::Output;

use crate::SUPERUSER;
use crate::account::{Account, said};
use crate::error::ClusterError;
use crate::folder::Folder;
use crate::leftovers;
use crate::programs::Programs;

/// Runs initdb in the half-made folder and renames that to `data`; on failure nothing remains.
pub(crate) fn initialise(
    folder: &Folder,
    programs: &Programs,
    account: &Account,
    durable: bool,
) -> Result<(), ClusterError> {
    leftovers::end(&folder.half_made, account)?;
    for locale in ["C.UTF-8", "C"] {
        folder.fresh_half_made(account)?;
        let output = run_initdb(folder, programs, account, (locale, durable))?;
        if output.status.success() {
            return folder.adopt_half_made();
        }
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        folder.remove_half_made()?;
        // A C library without C.UTF-8 still sorts by bytes in C, which is the same order.
        if locale == "C" || !text.contains("locale") {
            return Err(failure(folder, &text, &output));
        }
    }
    Err(ClusterError::Initialise { folder: folder.root.clone(), output: "no locale".to_owned() })
}

fn run_initdb(
    folder: &Folder,
    programs: &Programs,
    account: &Account,
    (locale, durable): (&str, bool),
) -> Result<Output, ClusterError> {
    let program = programs.path("initdb");
    let mut command = account.tied_command(&program);
    // Its working folder is how the next start knows an initdb that is still dying.
    command.current_dir(&folder.half_made);
    command.arg("-D").arg(&folder.half_made).args(["-U", SUPERUSER, "-A", "peer"]);
    command.args(["--data-checksums", "--encoding=UTF8", "--no-instructions"]);
    command.arg(format!("--locale={locale}"));
    if !durable {
        command.arg("--no-sync");
    }
    command.output().map_err(ClusterError::io("run", &program))
}

fn failure(folder: &Folder, text: &str, output: &Output) -> ClusterError {
    let folder = folder.root.clone();
    if text.contains("No space left on device") || text.contains("Disk quota exceeded") {
        return ClusterError::DiskFull { folder };
    }
    ClusterError::Initialise { folder, output: said(output) }
}
