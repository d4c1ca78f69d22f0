//! How long the program takes from its start until it says that it is ready.
//! It never looks inside: it reads what is printed.

use std::fmt;
use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use platform::clock::monotonic;

/// Printed as `MEDIAN LEAST MOST`, milliseconds.
pub struct Starts(Vec<Duration>);

impl fmt::Display for Starts {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut took: Vec<_> = self.0.iter().map(Duration::as_millis).collect();
        took.sort_unstable();
        let (least, most) = (took.first().unwrap_or(&0), took.last().unwrap_or(&0));
        write!(out, "{} {least} {most}", took.get(took.len() / 2).unwrap_or(&0))
    }
}

/// Starts and stops the program `times` times: on the folder `used`, or on a new one in it each.
pub fn measure(program: &str, folder: &Path, times: usize, used: bool) -> Starts {
    let took = (0..times).map(|number| {
        let data = if used { folder.to_owned() } else { folder.join(number.to_string()) };
        start(program, &data)
    });
    Starts(took.collect())
}

fn start(program: &str, data: &Path) -> Duration {
    let begun = monotonic();
    let mut process = Command::new(program)
        .args(["serve", "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--data-dir"])
        .arg(data)
        .env_remove("DATABASE_URL")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut lines = BufReader::new(process.stdout.take().expect("its output")).lines();
    let is_ready = lines.any(|line| line.is_ok_and(|line| line.contains("is ready")));
    let took = begun.elapsed();
    assert!(is_ready, "the program ended before it was ready");
    kill(Pid::from_raw(process.id() as i32), Signal::SIGTERM).expect("it lives");
    lines.for_each(drop);
    assert!(process.wait().expect("its end").success(), "it did not stop cleanly");
    took
}
