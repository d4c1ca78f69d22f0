//! A running plant: the real program on a database of its own, with a simulated clock.
//! It never reaches into the program; it speaks to its doors and reads its database.

use platform::records::new_id;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use jiff::Timestamp;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use platform::tokens::Signer;
use tempfile::TempDir;
use uuid::Uuid;

use crate::client::Client;
use crate::shared::{Database, program};
use crate::tokens;

/// When the clock of a test plant starts, unless a test says otherwise: a Wednesday, 06:00 UTC.
pub const START: &str = "2026-11-25T06:00:00Z";
/// How long a start may take before the test gives up (never a measure of speed).
pub(crate) const READY_LIMIT: Duration = Duration::from_secs(60);

/// How a plant is started.
#[derive(Clone, Debug)]
pub struct Options {
    /// The simulated clock's start; none for the machine's clock.
    pub clock: Option<Timestamp>,
    /// More arguments of `serve`.
    pub arguments: Vec<String>,
    /// More environment of `serve`.
    pub environment: Vec<(String, String)>,
}

impl Default for Options {
    fn default() -> Self {
        Self { clock: START.parse().ok(), arguments: Vec::new(), environment: Vec::new() }
    }
}

/// A running plant.
pub struct Plant {
    /// Its database.
    pub database: Database,
    /// Address of REST: `http://127.0.0.1:PORT`.
    pub http: String,
    /// Address of gRPC: `http://127.0.0.1:PORT`.
    pub grpc: String,
    /// What `serve` printed.
    pub printed: Vec<String>,
    folder: TempDir,
    options: Options,
    process: Child,
}

impl Plant {
    /// A plant on a fresh database with the migrated schema.
    pub async fn start() -> Self {
        Self::start_with(Options::default()).await
    }

    /// A plant started as `options` say.
    pub async fn start_with(options: Options) -> Self {
        let database = Database::cloned().await;
        let folder = tempfile::tempdir().expect("a data folder");
        let open = fs::Permissions::from_mode(0o755);
        fs::set_permissions(folder.path(), open).expect("an open folder");
        let (process, lines) = launch(folder.path(), &database.url, &options);
        let mut plant = Self {
            database,
            http: String::new(),
            grpc: String::new(),
            printed: Vec::new(),
            folder,
            options,
            process,
        };
        plant.read(&lines);
        plant
    }

    fn read(&mut self, lines: &mpsc::Receiver<String>) {
        self.printed.clear();
        loop {
            let Ok(line) = lines.recv_timeout(READY_LIMIT) else {
                panic!("the plant did not start: {:?}\n{}", self.printed, self.log());
            };
            let last = line.split_whitespace().last().unwrap_or_default().to_owned();
            if line.trim_start().starts_with("REST ") {
                self.http = last;
            } else if line.trim_start().starts_with("gRPC") {
                self.grpc = format!("http://{last}");
            }
            let is_last = line.contains("Ctrl-C");
            self.printed.push(line);
            if is_last {
                return;
            }
        }
    }

    /// The data folder.
    pub fn folder(&self) -> PathBuf {
        self.folder.path().to_owned()
    }

    /// How it was started.
    pub fn options(&self) -> &Options {
        &self.options
    }

    /// What the program logged.
    pub fn log(&self) -> String {
        fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    /// The process id.
    pub fn pid(&self) -> Pid {
        Pid::from_raw(self.process.id() as i32)
    }

    /// Sends a signal.
    pub fn signal(&self, signal: Signal) {
        kill(self.pid(), signal).expect("the program lives");
    }

    /// Waits for the program to end by itself; gives its exit code.
    pub async fn wait(&mut self) -> Option<i32> {
        loop {
            // Blocking here would stop the test's own clients from closing their connections.
            if let Some(status) = self.process.try_wait().expect("the program's state") {
                return status.code();
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }

    /// Ends the program at once, as a power cut would.
    pub fn kill(&mut self) {
        self.signal(Signal::SIGKILL);
        self.process.wait().expect("the program ends");
    }

    /// Starts the program again on the same folder and database.
    pub fn start_again(&mut self) {
        let (process, lines) = launch(self.folder.path(), &self.database.url, &self.options);
        self.process = process;
        self.read(&lines);
    }

    /// Asks for an orderly stop and removes the database.
    pub async fn stop(mut self) {
        self.signal(Signal::SIGTERM);
        let code = self.wait().await;
        assert_eq!(code, Some(0), "{}", self.log());
        self.database.remove().await;
    }

    /// The plant's token key.
    pub fn signer(&self) -> Signer {
        let file = self.folder.path().join("keys").join("token.der");
        Signer::open_or_create(&file).expect("the plant's key")
    }

    /// A client without a token.
    pub fn anybody(&self) -> Client {
        Client::new(&self.http, None)
    }

    /// A client with a token of a new person who holds `roles`, signed with the plant's key.
    pub fn with_roles(&self, roles: &[&str]) -> Client {
        self.person_with_roles(new_id(), roles)
    }

    /// A client with a token of a person who holds `roles`.
    pub fn person_with_roles(&self, person: Uuid, roles: &[&str]) -> Client {
        let now = self.options.clock.unwrap_or_else(machine_now).as_second();
        let claims = tokens::claims(person, roles, now);
        let token = self.signer().sign(&claims).expect("a token");
        Client::new(&self.http, Some(token))
    }
}

impl Drop for Plant {
    fn drop(&mut self) {
        // A test that failed leaves the program running; it must not outlive the test.
        self.process.kill().ok();
        self.process.wait().ok();
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "a plant on the machine's clock is tested against it"
)]
fn machine_now() -> Timestamp {
    Timestamp::now()
}

pub(crate) fn launch(
    folder: &Path,
    url: &str,
    options: &Options,
) -> (Child, mpsc::Receiver<String>) {
    let file = folder.join("log");
    let log = fs::OpenOptions::new().create(true).append(true).open(file).expect("a log file");
    let mut command = Command::new(program("hankbook-under-test"));
    command.args(["serve", "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--data-dir"]);
    command.arg(folder).args(&options.arguments).env("DATABASE_URL", url);
    if let Some(clock) = options.clock {
        command.args(["--simulated-clock", &clock.to_string()]);
    }
    command.envs(options.environment.iter().cloned());
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(log);
    let mut process = command.spawn().expect("the program starts");
    let out = process.stdout.take().expect("its output");
    (process, lines_of(out))
}

fn lines_of(out: impl Read + Send + 'static) -> mpsc::Receiver<String> {
    let (give, take) = mpsc::channel();
    std::thread::spawn(move || {
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            if give.send(line).is_err() {
                return;
            }
        }
    });
    take
}
