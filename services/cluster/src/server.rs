//! One running server process: a thread that owns it, its signals, its end.
//! It never signals a process number after the process was reaped.

use std::io;
use std::process::{Child, Command};
use std::sync::mpsc::channel;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

use nix::errno::Errno;
use nix::sys::signal::{Signal, kill};
use nix::sys::wait::{Id, WaitPidFlag, waitid};
use nix::unistd::Pid;

use crate::deadline::Deadline;

/// How long each way of stopping is given, gentlest first.
const STOPS: [(Signal, Duration); 3] = [
    (Signal::SIGINT, Duration::from_secs(30)),
    (Signal::SIGQUIT, Duration::from_secs(10)),
    (Signal::SIGKILL, Duration::from_secs(10)),
];

/// A server process; clones share it.
#[derive(Debug, Clone)]
pub(crate) struct Server {
    pid: Pid,
    end: Arc<End>,
}

#[derive(Debug, Default)]
struct End {
    /// How the process ended, in words; `None` while it runs.
    status: Mutex<Option<String>>,
    changed: Condvar,
}

impl Server {
    /// Starts the process from a thread of its own. The kernel's parent-death signal follows the
    /// thread that started the child, so that thread stays until the child has ended.
    pub fn launch(mut command: Command) -> io::Result<Self> {
        let end = Arc::new(End::default());
        let shared = Arc::clone(&end);
        let (sender, receiver) = channel();
        thread::Builder::new().name("postgres-keeper".to_owned()).spawn(move || {
            let spawned = command.spawn();
            // The number of a child just started fits a process id, which is a signed number.
            let pid = spawned.as_ref().map(|child| Pid::from_raw(child.id().cast_signed()));
            let answer = pid.map_err(|error| io::Error::new(error.kind(), error.to_string()));
            if sender.send(answer).is_ok()
                && let Ok(child) = spawned
            {
                shared.keep(child);
            }
        })?;
        let answer = receiver.recv().map_err(|_| io::Error::other("its keeper thread died"))?;
        Ok(Self { pid: answer?, end })
    }

    /// Process id of the server.
    pub fn pid(&self) -> i32 {
        self.pid.as_raw()
    }

    /// How the process ended, if it has.
    pub fn ended(&self) -> Option<String> {
        self.end.status().clone()
    }

    /// Stops the process, harder at each step; says which signal ended it and how it ended.
    pub fn stop(&self) -> (Option<Signal>, String) {
        if let Some(status) = self.ended() {
            return (None, status);
        }
        for (signal, limit) in STOPS {
            self.signal(signal);
            if let Some(status) = self.end.wait(limit) {
                return (Some(signal), status);
            }
        }
        (None, "it could not be killed".to_owned())
    }

    fn signal(&self, signal: Signal) {
        // Holding the status keeps the keeper from reaping, so the number is still the child's.
        let status = self.end.status();
        if status.is_none() {
            // A child that cannot be signalled shows in the wait that follows.
            let _unsent = kill(self.pid, signal);
        }
    }
}

impl End {
    fn status(&self) -> MutexGuard<'_, Option<String>> {
        self.status.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for the child to end, and reaps it only while holding the status.
    fn keep(&self, mut child: Child) {
        let pid = Pid::from_raw(child.id().cast_signed());
        let flags = WaitPidFlag::WEXITED | WaitPidFlag::WNOWAIT;
        while waitid(Id::Pid(pid), flags) == Err(Errno::EINTR) {}
        let mut status = self.status();
        *status = Some(match child.wait() {
            Ok(ended) => ended.to_string(),
            Err(error) => error.to_string(),
        });
        self.changed.notify_all();
    }

    fn wait(&self, limit: Duration) -> Option<String> {
        let deadline = Deadline::after(limit);
        let mut status = self.status();
        while status.is_none() {
            let left = deadline.left();
            if left.is_zero() {
                return None;
            }
            let waited = self.changed.wait_timeout(status, left);
            status = waited.unwrap_or_else(PoisonError::into_inner).0;
        }
        status.clone()
    }
}
