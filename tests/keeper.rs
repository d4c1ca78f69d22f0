//! Keeps one Postgres for all tests of a run and ends it when no test has asked for a while.
//! It never holds anything worth keeping: its folder is made anew at every start.

use std::path::PathBuf;
use std::time::Duration;
use std::{env, error, fs, thread};

use cluster::{Cluster, Settings};
use harness::shared::{ADDRESS_FILE, IDLE, TOUCH_FILE, USE_FILE, open};

fn main() -> Result<(), Box<dyn error::Error>> {
    let folder = PathBuf::from(env::args().nth(1).ok_or("usage: cluster-keeper FOLDER")?);
    fs::write(folder.join("keeper.pid"), std::process::id().to_string())?;
    let roles = hankbook::database::SERVICES.map(|name| format!("hankbook_{name}")).to_vec();
    let cluster = Cluster::start(Settings {
        roles,
        max_connections: 300,
        ..Settings::for_tests(folder.join("plant"))
    })?;
    let address = cluster.connection_string(cluster::SUPERUSER, "DATABASE");
    let ready = folder.join("address.new");
    fs::write(&ready, address)?;
    fs::rename(ready, folder.join(ADDRESS_FILE))?;
    while (touched(&folder) || is_used(&folder)) && cluster.is_running() {
        thread::sleep(Duration::from_secs(1));
    }
    fs::remove_file(folder.join(ADDRESS_FILE))?;
    cluster.stop()?;
    Ok(())
}

/// True while some test has asked within the idle time.
fn touched(folder: &std::path::Path) -> bool {
    let at = fs::metadata(folder.join(TOUCH_FILE)).and_then(|about| about.modified());
    at.is_ok_and(|at| at.elapsed().is_ok_and(|age| age < IDLE))
}

/// True while a test program that has asked still runs.
fn is_used(folder: &std::path::Path) -> bool {
    open(folder, USE_FILE).try_lock().is_err()
}
