//! The server that the demo starts: the same program, on a folder of its own, simulated.
//! It never serves a folder whose demo was left half worked, and never leaves a server behind.

use std::fs::{self, File, Permissions};
use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use jiff::Timestamp;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use tokio::signal::unix::{Signal as Signals, SignalKind, signal};

use crate::{Done, Failed};

/// The file that says how far the demo of a folder has come.
const MARK: &str = "demo";
/// How often the server is looked at.
const WATCH: Duration = Duration::from_millis(300);
/// How the line begins that shows the first administrator's password.
const PASSWORD: &str = "Sign in as administrator with password ";

/// A running server.
pub struct Server {
    process: Child,
    folder: PathBuf,
    /// Address of REST.
    pub http: String,
    /// The administrator's one-time password, at the folder's first start.
    pub first_password: Option<String>,
}

/// Removes the demo of a folder, so that another week is worked in it.
pub fn forget(folder: &Path) -> Done {
    if !folder.exists() {
        return Ok(());
    }
    let name = folder.display();
    if !folder.join(MARK).exists() {
        return Err(format!("{name} is not a demo's folder; nothing in it was removed").into());
    }
    // The server of a folder holds this lock as long as it runs.
    if let Ok(lock) = File::open(folder.join("postgres.lock")) {
        let in_use = |_| format!("the demo in {name} runs; stop it first");
        lock.try_lock().map_err(in_use)?;
    }
    Ok(fs::remove_dir_all(folder)?)
}

impl Server {
    /// Starts the program on a folder and waits until it is ready. The folder's plant is made as
    /// simulated; the program itself refuses one whose clock is real.
    pub fn start(
        folder: &Path,
        (http, grpc): (SocketAddr, SocketAddr),
        clock: Timestamp,
    ) -> Result<Self, Failed> {
        let is_made = folder.join("keys").exists() || folder.join("postgres").exists();
        if is_made && !folder.join(MARK).exists() {
            let folder = folder.display();
            return Err(format!(
                "{folder} is not a demo's folder; the demo needs one of its own (--data-dir)"
            )
            .into());
        }
        if !folder.exists() {
            fs::create_dir_all(folder)?;
            // Postgres runs as another user when we are root and must be able to pass through.
            fs::set_permissions(folder, Permissions::from_mode(0o711))?;
        }
        let mut command = Command::new(std::env::current_exe()?);
        command.args(["serve", "--http", &http.to_string(), "--grpc", &grpc.to_string()]);
        command.args(["--simulated-clock", &clock.to_string(), "--data-dir"]).arg(folder);
        if std::env::var_os("RUST_LOG").is_none() {
            // A message that is sent again while the clock steps would only unsettle a stranger.
            command.env("RUST_LOG", "error");
        }
        let process = command.stdin(Stdio::null()).stdout(Stdio::piped()).spawn()?;
        let (folder, http) = (folder.to_owned(), String::new());
        let mut server = Self { process, folder, http, first_password: None };
        server.read()?;
        Ok(server)
    }

    fn read(&mut self) -> Done {
        let Some(out) = self.process.stdout.take() else { return Err("no output".into()) };
        let mut lines = BufReader::new(out).lines().map_while(Result::ok);
        for line in lines.by_ref() {
            if line.trim_start().starts_with("REST ") {
                line.split_whitespace().last().unwrap_or_default().clone_into(&mut self.http);
            }
            if let Some(password) = line.strip_prefix(PASSWORD) {
                self.first_password = Some(password.to_owned());
            }
            if line.contains("Ctrl-C") {
                // Read to the end, so that it never waits for a reader.
                std::thread::spawn(move || lines.for_each(drop));
                return Ok(());
            }
        }
        self.process.wait()?;
        Err("the server did not start".into())
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Says how far the demo has come.
    pub fn mark(&self, how_far: &str) -> Done {
        Ok(fs::write(self.folder.join(MARK), format!("{how_far}\n"))?)
    }

    /// Refused: a demo that was left half worked.
    pub fn must_be_worked(&self) -> Done {
        let mark = fs::read_to_string(self.folder.join(MARK)).unwrap_or_default();
        match mark.trim() {
            "worked" => Ok(()),
            _ => {
                let folder = self.folder.display();
                Err(format!("the demo in {folder} was left half worked; --anew begins it again")
                    .into())
            }
        }
    }

    /// Waits until the server has ended by itself, which is a failure.
    pub async fn ended(&mut self) -> Done {
        loop {
            if let Some(status) = self.process.try_wait()? {
                return Err(format!("the server has ended: {status}").into());
            }
            tokio::time::sleep(WATCH).await;
        }
    }

    /// Asks for an orderly stop and waits for it.
    pub fn stop(&mut self) -> Done {
        if self.process.try_wait()?.is_none() {
            kill(Pid::from_raw(i32::try_from(self.process.id())?), Signal::SIGTERM)?;
            self.process.wait()?;
        }
        Ok(())
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // A demo that failed leaves no server behind.
        self.stop().ok();
    }
}

/// Whether somebody asked the demo to stop.
pub struct Stop {
    interrupt: Signals,
    terminate: Signals,
}

impl Stop {
    /// By Ctrl-C or SIGTERM.
    pub fn on_signals() -> Result<Self, Failed> {
        let interrupt = signal(SignalKind::interrupt())?;
        let terminate = signal(SignalKind::terminate())?;
        Ok(Self { interrupt, terminate })
    }

    /// Waits for it.
    pub async fn asked(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_demo_that_does_not_run_is_forgotten() {
        let folder = std::env::temp_dir().join(format!("demo-{}", std::process::id()));
        forget(&folder).expect("nothing is there");
        fs::create_dir_all(folder.join("keys")).expect("a folder");
        let said = forget(&folder).expect_err("a real plant's").to_string();
        assert!(
            said.contains("nothing in it was removed") && folder.join("keys").exists(),
            "{said}"
        );
        fs::write(folder.join(MARK), "worked\n").expect("a mark");
        let running = File::create(folder.join("postgres.lock")).expect("a lock");
        running.try_lock().expect("held");
        let said = forget(&folder).expect_err("it runs").to_string();
        assert!(said.contains("stop it first") && folder.join("keys").exists(), "{said}");
        running.unlock().expect("let go");
        forget(&folder).expect("forgotten");
        assert!(!folder.exists());
    }
}
