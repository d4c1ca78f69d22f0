//! A plant that brings its own Postgres: the real program on an empty folder, no DATABASE_URL.
//! It never starts a Postgres itself; the program does.

use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use platform::clock::Clock;
use platform::tokens::Signer;
use uuid::Uuid;

use crate::client::Client;
use crate::shared::program;
use crate::tokens;

/// `serve` on a data folder with its own Postgres, not started yet.
pub fn serve(folder: &Path, http: &str) -> Command {
    let mut command = Command::new(program("hankbook-under-test"));
    command.args(["serve", "--grpc", "127.0.0.1:0", "--http", http, "--data-dir"]).arg(folder);
    command.env_remove("DATABASE_URL").stdin(Stdio::null());
    command
}

/// A folder that Postgres' own account can reach too.
pub fn open_folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let open = fs::Permissions::from_mode(0o755);
    fs::set_permissions(folder.path(), open).expect("an open folder");
    folder
}

/// A running plant with its own Postgres, on the machine's clock.
pub struct Embedded {
    /// The program.
    pub process: Child,
    /// Address of REST.
    pub http: String,
    /// The data folder.
    pub data: PathBuf,
}

impl Embedded {
    /// Starts the program on a folder and waits until it is ready.
    pub fn start(data: &Path) -> Self {
        let mut command = serve(data, "127.0.0.1:0");
        let process = command.stdout(Stdio::piped()).spawn().expect("a start");
        let mut house = Self { process, http: String::new(), data: data.to_owned() };
        let out = BufReader::new(house.process.stdout.take().expect("output"));
        for line in out.lines().map_while(Result::ok) {
            if line.trim_start().starts_with("REST ") {
                house.http = line.split_whitespace().last().unwrap_or_default().to_owned();
            }
            if line.contains("Ctrl-C") {
                return house;
            }
        }
        let ended = house.process.wait();
        panic!("the house did not start: {ended:?}");
    }

    /// The plant's token key.
    pub fn signer(&self) -> Signer {
        Signer::open_or_create(&self.data.join("keys").join("token.der")).expect("the key")
    }

    /// A client of one person with these roles.
    pub fn with_roles(&self, roles: &[&str]) -> Client {
        let now = Clock::of_the_machine().now().as_second();
        let claims = tokens::claims(Uuid::from_u128(1), roles, now);
        Client::new(&self.http, Some(self.signer().sign(&claims).expect("a token")))
    }

    /// The lines of Postgres' own file about itself; none while it is down.
    fn postmaster_file(&self) -> Vec<String> {
        let text = fs::read_to_string(self.data.join("postgres/data/postmaster.pid"));
        text.unwrap_or_default().lines().map(str::to_owned).collect()
    }

    /// The process id of its Postgres; none while it is down.
    pub fn postmaster(&self) -> Option<Pid> {
        let file = self.postmaster_file();
        file.first().and_then(|line| line.trim().parse().ok()).map(Pid::from_raw)
    }

    /// Connection text of its Postgres, for a test that looks.
    pub fn database_url(&self) -> String {
        let file = self.postmaster_file();
        let folder = file.get(4).expect("the socket's folder is the fifth line");
        format!("host={folder} user=hankbook dbname=hankbook")
    }

    /// Asks for an orderly stop.
    pub fn stop(&mut self) {
        kill(Pid::from_raw(self.process.id() as i32), Signal::SIGINT).expect("it lives");
        assert!(self.process.wait().expect("its end").success());
    }
}

impl Drop for Embedded {
    fn drop(&mut self) {
        // A test that failed leaves the program running; its Postgres goes with an orderly stop.
        if let Ok(None) = self.process.try_wait() {
            kill(Pid::from_raw(self.process.id() as i32), Signal::SIGINT).ok();
            self.process.wait().ok();
        }
    }
}
