//! The one tracker of work that outlives its caller, so that a stop can wait for all of it.
//! It never cancels a write: a task is asked to stop and is waited for.

use std::future::Future;

use tokio::runtime::Handle;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

/// The work of a process on its one runtime.
#[derive(Clone, Debug)]
pub struct Tasks {
    runtime: Handle,
    tracker: TaskTracker,
    stopping: CancellationToken,
    closing: CancellationToken,
}

impl Tasks {
    /// A tracker on a runtime.
    pub fn on(runtime: Handle) -> Self {
        Self {
            runtime,
            tracker: TaskTracker::new(),
            stopping: CancellationToken::new(),
            closing: CancellationToken::new(),
        }
    }

    /// Runs work in a task of its own: dropping the handle lets it run on to its end.
    pub fn spawn<F>(&self, work: F) -> JoinHandle<F::Output>
    where
        F: Future<Output: Send + 'static> + Send + 'static,
    {
        self.tracker.spawn_on(work, &self.runtime)
    }

    /// Done once a stop is asked for; loops end at it.
    pub async fn stopping(&self) {
        self.stopping.cancelled().await;
    }

    /// True once a stop is asked for.
    pub fn is_stopping(&self) -> bool {
        self.stopping.is_cancelled()
    }

    /// Done once the doors are about to close: answers without an end finish at it, so that no
    /// door waits for them.
    pub async fn closing(&self) {
        self.closing.cancelled().await;
    }

    /// Asks answers without an end to finish.
    pub fn close(&self) {
        self.closing.cancel();
    }

    /// Asks loops to end and waits for all work that was begun.
    pub async fn stop(&self) {
        self.closing.cancel();
        self.stopping.cancel();
        self.tracker.close();
        self.tracker.wait().await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicBool, Ordering};

    #[tokio::test]
    async fn a_stop_waits_for_work_whose_caller_has_gone() {
        let tasks = Tasks::on(Handle::current());
        let done = Arc::new(AtomicBool::new(false));
        let mark = done.clone();
        let (start, started) = tokio::sync::oneshot::channel::<()>();
        drop(tasks.spawn(async move {
            started.await.ok();
            mark.store(true, Ordering::SeqCst);
        }));
        start.send(()).expect("the task waits");
        tasks.stop().await;
        assert!(done.load(Ordering::SeqCst));
    }
}
