//! Holds a test cluster open until standard input closes, for tests that kill its launcher.
//! It never keeps data: the cluster it starts is not durable.

use std::io::{Read, stdin};
use std::process::ExitCode;

use cluster::{Cluster, ClusterError, Settings};

fn main() -> ExitCode {
    let Some(data_dir) = std::env::args_os().nth(1) else {
        eprintln!("usage: hold DATA_DIR");
        return ExitCode::FAILURE;
    };
    match hold(Settings::for_tests(data_dir)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn hold(settings: Settings) -> Result<(), ClusterError> {
    let cluster = Cluster::start(settings)?;
    println!("{} {}", cluster.server_pid().unwrap_or_default(), cluster.system_user());
    // A broken standard input ends the wait just as a closed one does.
    let _ended = stdin().read_to_end(&mut Vec::new());
    cluster.stop()
}
