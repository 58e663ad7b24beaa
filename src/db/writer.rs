//! The one writer of a SQLite database: a thread that owns the write connection and a bounded queue of jobs.
//!
//! All jobs that wait are carried out in one transaction, each in a savepoint of its own, and made durable by one
//! commit; only then are their callers answered. A full queue answers "busy" at once.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use diesel::connection::TransactionManager;
use tokio::sync::oneshot;

use super::connection::{AnyConn, Transactions, begin, commit, roll_back};
use super::failure::Failure;

/// Jobs that may wait.
const QUEUE: usize = 1024;
/// Jobs that may share a commit, and how long the first of them may wait for the others.
const TOGETHER: usize = 256;
const LONGEST: Duration = Duration::from_millis(10);

/// Answers one caller, once it is known whether the commit held.
type Answer = Box<dyn FnOnce(Result<(), Failure>) + Send>;
/// Does one job's work and gives back how to answer its caller, or answers that nothing can be written now.
type Job = Box<dyn FnOnce(Result<&mut AnyConn, Failure>) -> Option<Answer> + Send>;

/// The handle to the writer thread; dropping it finishes what waits and ends the thread.
pub struct Writer {
    queue: Option<SyncSender<Job>>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl Writer {
    /// Start the thread on this connection.
    pub fn start(conn: AnyConn) -> Result<Self, Failure> {
        let (queue, jobs) = sync_channel::<Job>(QUEUE);
        let thread = std::thread::Builder::new()
            .name("writer".to_owned())
            .spawn(move || run(conn, &jobs))
            .map_err(|error| Failure::Unavailable(error.to_string()))?;
        Ok(Self { queue: Some(queue), thread: Mutex::new(Some(thread)) })
    }

    /// Hand over a job and wait until it is durable or refused.
    pub async fn write<T, E, F>(&self, work: F) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<Failure> + Send + 'static,
        F: Fn(&mut AnyConn) -> Result<T, E> + Send + 'static,
    {
        let (answer, answered) = oneshot::channel::<Result<T, E>>();
        // A caller that has gone away is no reason to stop: that its answer cannot be sent is no failure.
        let job: Job = Box::new(move |conn| match conn {
            Ok(conn) => {
                let result = in_savepoint(conn, work);
                Some(Box::new(move |committed: Result<(), Failure>| {
                    let _ = answer.send(committed.map_err(E::from).and(result));
                }))
            }
            Err(failure) => {
                let _ = answer.send(Err(failure.into()));
                None
            }
        });
        let Some(queue) = &self.queue else { return Err(Failure::Busy.into()) };
        match queue.try_send(job) {
            Ok(()) => answered.await.unwrap_or_else(|_| Err(stopped().into())),
            Err(TrySendError::Full(_)) => Err(Failure::Busy.into()),
            Err(TrySendError::Disconnected(_)) => Err(stopped().into()),
        }
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.queue = None;
        let thread = self.thread.lock().ok().and_then(|mut thread| thread.take());
        if let Some(thread) = thread {
            let _ = thread.join();
        }
    }
}

fn stopped() -> Failure {
    Failure::Unavailable("the writer has stopped".to_owned())
}

fn in_savepoint<T, E: From<Failure>>(
    conn: &mut AnyConn,
    work: impl Fn(&mut AnyConn) -> Result<T, E>,
) -> Result<T, E> {
    Transactions::begin_transaction(conn).map_err(Failure::from)?;
    match catch_unwind(AssertUnwindSafe(|| work(conn))) {
        Ok(Ok(value)) => {
            Transactions::commit_transaction(conn).map_err(Failure::from)?;
            Ok(value)
        }
        Ok(Err(error)) => {
            roll_back(conn);
            Err(error)
        }
        Err(_) => {
            roll_back(conn);
            Err(Failure::Fault("a rule broke off; nothing was recorded".to_owned()).into())
        }
    }
}

/// A job that waits. Where none does, whoever is about to hand one over gets the core for it first; where nobody is,
/// that takes no time.
fn next(jobs: &Receiver<Job>) -> Option<Job> {
    jobs.try_recv().ok().or_else(|| {
        std::thread::yield_now();
        jobs.try_recv().ok()
    })
}

fn run(mut conn: AnyConn, jobs: &Receiver<Job>) {
    while let Ok(first) = jobs.recv() {
        let started = Instant::now();
        if let Err(failure) = begin(&mut conn, "BEGIN IMMEDIATE", "BEGIN ISOLATION LEVEL SERIALIZABLE") {
            first(Err(failure));
            continue;
        }
        let mut answers = vec![first(Ok(&mut conn))];
        while answers.len() < TOGETHER && started.elapsed() < LONGEST {
            let Some(job) = next(jobs) else { break };
            answers.push(job(Ok(&mut conn)));
        }
        let committed = commit(&mut conn);
        if committed.is_err() {
            roll_back(&mut conn);
        }
        for answer in answers.into_iter().flatten() {
            answer(committed.clone());
        }
    }
}
