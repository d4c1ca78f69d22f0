//! One cluster for a whole run, behind a file lock, and a fresh database for each test.
//! It never lets two tests share a database.

use platform::records::new_id;
use std::fs::{self, File, OpenOptions};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, SystemTime};
use std::{env, thread};

use nix::unistd::Uid;
use tokio::sync::Mutex;
use tokio_postgres::NoTls;

/// Holds the connection text once the cluster is ready.
pub const ADDRESS_FILE: &str = "address";
/// Its age tells the keeper when the last test asked.
pub const TOUCH_FILE: &str = "touched";
/// Locked, together with others, by each test program that has asked, for as long as it runs.
pub const USE_FILE: &str = "in-use";
/// How long the keeper waits for another test when none runs.
pub const IDLE: Duration = Duration::from_secs(90);
/// How long the first test waits for the cluster.
const START_LIMIT: Duration = Duration::from_secs(60);

/// Two databases that one test makes side by side take turns: the lock between programs blocks a
/// thread, which must not be the one that would give the lock back.
static TURN: Mutex<()> = Mutex::const_new(());

/// A database of one test.
pub struct Database {
    /// Its name.
    pub name: String,
    /// Connection text of the superuser.
    pub url: String,
    admin_url: String,
}

impl Database {
    /// A database cloned from the migrated template.
    pub async fn cloned() -> Self {
        let _turn = TURN.lock().await;
        Self::make(Some(&template().await)).await
    }

    /// An empty database.
    pub async fn empty() -> Self {
        let _turn = TURN.lock().await;
        Self::make(None).await
    }

    async fn make(template: Option<&str>) -> Self {
        let address = address();
        let name = format!("t_{}", new_id().simple());
        let admin_url = named(&address, "postgres");
        let from = template.map(|name| format!(" TEMPLATE {name}")).unwrap_or_default();
        execute(&admin_url, &format!("CREATE DATABASE {name}{from}")).await;
        Self { url: named(&address, &name), admin_url, name }
    }

    /// A connection of the superuser.
    pub async fn connect(&self) -> tokio_postgres::Client {
        connect(&self.url).await
    }

    /// Removes the database, whoever is still connected.
    pub async fn remove(&self) {
        let text = format!("DROP DATABASE IF EXISTS {} WITH (FORCE)", self.name);
        execute(&self.admin_url, &text).await;
    }
}

/// Connects, with the connection's own task behind it.
pub async fn connect(url: &str) -> tokio_postgres::Client {
    let (client, connection) = tokio_postgres::connect(url, NoTls).await.expect("a connection");
    #[expect(
        clippy::disallowed_methods,
        reason = "a test has no tracker and ends with its process"
    )]
    tokio::spawn(connection);
    client
}

async fn execute(url: &str, text: &str) {
    connect(url).await.batch_execute(text).await.expect("the statement runs");
}

fn named(address: &str, database: &str) -> String {
    address.replace("'DATABASE'", &format!("'{database}'"))
}

fn folder() -> PathBuf {
    env::temp_dir().join(format!("hankbook-tests-{}", Uid::current()))
}

/// The connection text of the run's cluster, started by the first test that asks.
pub fn address() -> String {
    let folder = folder();
    fs::create_dir_all(&folder).expect("a folder for the tests");
    let lock = lock(&folder);
    fs::write(folder.join(TOUCH_FILE), "").expect("the touch file");
    stay(&folder);
    if !is_alive(&folder) {
        start(&folder);
    }
    let address = fs::read_to_string(folder.join(ADDRESS_FILE)).expect("the address");
    drop(lock);
    address
}

fn lock(folder: &Path) -> File {
    let file = open(folder, "lock");
    file.lock().expect("the lock");
    file
}

/// A file that is there to be locked.
pub fn open(folder: &Path, name: &str) -> File {
    let path = folder.join(name);
    let file = OpenOptions::new().create(true).write(true).truncate(false).open(path);
    file.expect("a file to lock")
}

/// Tells the keeper that this program uses the cluster until it ends, however long a test takes.
fn stay(folder: &Path) {
    static USED: OnceLock<File> = OnceLock::new();
    USED.get_or_init(|| {
        let file = open(folder, USE_FILE);
        file.lock_shared().expect("a shared lock");
        file
    });
}

fn is_alive(folder: &Path) -> bool {
    let pid = fs::read_to_string(folder.join("keeper.pid")).unwrap_or_default();
    let alive = Path::new("/proc").join(pid.trim()).join("exe").exists() && !pid.is_empty();
    alive && folder.join(ADDRESS_FILE).exists()
}

fn start(folder: &Path) {
    fs::remove_file(folder.join(ADDRESS_FILE)).ok();
    fs::remove_dir_all(folder.join("plant")).ok();
    let log = File::create(folder.join("keeper.log")).expect("the keeper's log");
    let started = Command::new("setsid")
        .arg("--fork")
        .arg(program("cluster-keeper"))
        .arg(folder)
        .stdin(Stdio::null())
        .stdout(log.try_clone().expect("the log again"))
        .stderr(log)
        .status()
        .expect("setsid runs");
    assert!(started.success(), "the keeper did not start");
    let begun = platform::clock::monotonic();
    while !folder.join(ADDRESS_FILE).exists() {
        let log = fs::read_to_string(folder.join("keeper.log")).unwrap_or_default();
        assert!(begun.elapsed() < START_LIMIT, "the cluster did not start: {log}");
        thread::sleep(Duration::from_millis(50));
    }
}

/// A program of this package, beside the test that runs.
pub fn program(name: &str) -> PathBuf {
    let test = env::current_exe().expect("the test's own path");
    let folder = test.parent().and_then(Path::parent).expect("target/PROFILE/deps");
    folder.join(name)
}

/// The migrated template of this very build, made by the first test that asks.
async fn template() -> String {
    let address = address();
    let built = fs::metadata(program("hankbook-under-test")).and_then(|about| about.modified());
    let built = built.expect("the program is built").duration_since(SystemTime::UNIX_EPOCH);
    let name = format!("template_{}", built.expect("after 1970").as_micros());
    let _lock = lock(&folder());
    let admin = connect(&named(&address, "postgres")).await;
    let found = admin.query("SELECT 1 FROM pg_database WHERE datname = $1", &[&name]).await;
    if found.expect("the catalogue").is_empty() {
        let making = format!("making_{}", new_id().simple());
        execute(&named(&address, "postgres"), &format!("CREATE DATABASE {making}")).await;
        migrate(&named(&address, &making)).await;
        let renamed = format!("ALTER DATABASE {making} RENAME TO {name}");
        admin.batch_execute(&renamed).await.expect("the template is named");
    }
    name
}

/// Runs `hankbook migrate` on a database.
pub async fn migrate(url: &str) {
    let data = tempfile::tempdir().expect("a folder");
    let done = tokio::process::Command::new(program("hankbook-under-test"))
        .args(["migrate", "--data-dir"])
        .arg(data.path())
        .env("DATABASE_URL", url)
        .output()
        .await
        .expect("hankbook migrate runs");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
}
