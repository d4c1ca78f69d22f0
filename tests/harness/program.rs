//! One more program on a database that somebody else has made: a second process of a plant, or a
//! plant that was restored elsewhere.
//! It never makes or removes a database.

use std::path::Path;
use std::process::{Child, ExitStatus};
use std::sync::mpsc::RecvTimeoutError;

use crate::plant::{Options, READY_LIMIT, launch};

/// A running program.
pub struct Program {
    /// Address of REST.
    pub http: String,
    process: Child,
}

impl Program {
    /// Starts it on a data folder and waits until it is ready.
    pub fn start(folder: &Path, url: &str, options: &Options) -> Self {
        let (process, lines) = launch(folder, url, options);
        let mut program = Self { http: String::new(), process };
        loop {
            let Ok(line) = lines.recv_timeout(READY_LIMIT) else {
                let log = std::fs::read_to_string(folder.join("log")).unwrap_or_default();
                panic!("the program did not start: {log}");
            };
            if line.trim_start().starts_with("REST ") {
                line.split_whitespace().last().unwrap_or_default().clone_into(&mut program.http);
            }
            if line.contains("Ctrl-C") {
                // Its output is read to the end, so that it never waits for a reader.
                std::thread::spawn(move || lines.iter().count());
                return program;
            }
        }
    }

    /// Starts it on a data folder, where it dies before anybody ends it; gives how.
    pub fn start_to_die(folder: &Path, url: &str, options: &Options) -> ExitStatus {
        let (process, lines) = launch(folder, url, options);
        let mut program = Self { http: String::new(), process };
        loop {
            match lines.recv_timeout(READY_LIMIT) {
                Ok(_) => {}
                Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => panic!("the program lives on"),
            }
        }
        program.process.wait().expect("its end")
    }

    /// Ends it at once, as a power cut would.
    pub fn kill(&mut self) {
        self.process.kill().expect("it lives");
        self.process.wait().expect("its end");
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // It must not outlive its test, however that ends.
        self.process.kill().ok();
        self.process.wait().ok();
    }
}
