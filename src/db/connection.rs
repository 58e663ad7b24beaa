//! Where the data is, and how it is read and written.
//!
//! One enum stands for both databases; its variant follows from the address. Reads run in a read-only snapshot off
//! the async threads. Writes on SQLite go to one writer thread that commits all that wait together (`writer.rs`); on
//! PostgreSQL each runs in a serializable transaction of its own that is tried again when another came between.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use diesel::connection::{SimpleConnection, TransactionManager};
use diesel::r2d2::{ManageConnection, Pool};
use diesel::{Connection, PgConnection, SqliteConnection};
use tokio::sync::Semaphore;

use super::failure::Failure;
use super::writer::Writer;

pub use any::AnyConn;

#[allow(missing_docs, reason = "the derive makes public items without documentation")]
mod any {
    use diesel::{PgConnection, SqliteConnection};

    /// A connection to either database.
    #[derive(diesel::MultiConnection)]
    pub enum AnyConn {
        /// PostgreSQL.
        Postgres(PgConnection),
        /// SQLite.
        Sqlite(SqliteConnection),
    }
}

/// Begin, commit and roll back, the same for both.
pub(super) type Transactions = <AnyConn as Connection>::TransactionManager;

/// Where a database is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Address {
    /// A file of this program.
    Sqlite(PathBuf),
    /// A server.
    Postgres(String),
}

impl Address {
    /// From a file path, `sqlite:…` or `postgres:…`.
    pub fn read(text: &str) -> Self {
        if text.starts_with("postgres:") || text.starts_with("postgresql:") {
            Self::Postgres(text.to_owned())
        } else {
            let path = text.strip_prefix("sqlite:").unwrap_or(text);
            Self::Sqlite(PathBuf::from(path.strip_prefix("//").unwrap_or(path)))
        }
    }
}

/// Opens connections of one kind.
struct Opener {
    address: Address,
    query_only: bool,
}

impl Opener {
    fn open(&self) -> Result<AnyConn, Failure> {
        match &self.address {
            Address::Sqlite(path) => open_sqlite(path, self.query_only).map(AnyConn::Sqlite),
            Address::Postgres(url) => PgConnection::establish(url)
                .map(AnyConn::Postgres)
                .map_err(|error| Failure::Unavailable(error.to_string())),
        }
    }
}

pub(super) fn open_sqlite(path: &Path, query_only: bool) -> Result<SqliteConnection, Failure> {
    let mut conn = SqliteConnection::establish(&path.to_string_lossy())
        .map_err(|error| Failure::Unavailable(format!("{}: {error}", path.display())))?;
    conn.batch_execute(
        "PRAGMA busy_timeout = 5000; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; \
         PRAGMA foreign_keys = ON; PRAGMA cache_size = -8000; PRAGMA temp_store = MEMORY;",
    )?;
    if query_only {
        conn.batch_execute("PRAGMA query_only = ON")?;
    }
    Ok(conn)
}

impl ManageConnection for Opener {
    type Connection = AnyConn;
    type Error = Failure;

    fn connect(&self) -> Result<AnyConn, Failure> {
        self.open()
    }

    fn is_valid(&self, conn: &mut AnyConn) -> Result<(), Failure> {
        Ok(conn.batch_execute("SELECT 1")?)
    }

    fn has_broken(&self, conn: &mut AnyConn) -> bool {
        matches!(
            Transactions::transaction_manager_status_mut(conn),
            diesel::connection::TransactionManagerStatus::InError
        ) || std::thread::panicking()
    }
}

/// The database of this server.
#[derive(Clone)]
pub struct Database {
    readers: Pool<Opener>,
    turns: Arc<Semaphore>,
    writes: Writes,
    address: Address,
}

#[derive(Clone)]
enum Writes {
    Together(Arc<Writer>),
    Each(Pool<Opener>),
}

/// Connections to each kind of database beside the writer of SQLite.
const TO_SQLITE: usize = 4;
const TO_POSTGRES: usize = 8;

/// How long somebody waits for a connection before the answer is "busy".
const PATIENCE: Duration = Duration::from_secs(10);

/// How often a write is tried on PostgreSQL before the caller is told to try again. All but the first have the books to
/// themselves, so that more than two are hardly ever needed.
const TRIES: u32 = 5;

impl Database {
    /// Open the database, bring its schema up to date, and start what writes to it.
    pub fn open(address: &Address) -> Result<Self, Failure> {
        let mut first = Opener { address: address.clone(), query_only: false }.open()?;
        super::migrations::run(&mut first, address)?;
        if let Err(why) = look_over(&mut first) {
            tracing::warn!(%why, "the database could not look over what it holds; some pages may be slower");
        }
        let (readers, writes, most) = match address {
            Address::Sqlite(_) => {
                let readers = pool(address, true, TO_SQLITE)?;
                (readers, Writes::Together(Arc::new(Writer::start(first)?)), TO_SQLITE)
            }
            Address::Postgres(_) => {
                let both = pool(address, false, TO_POSTGRES)?;
                (both.clone(), Writes::Each(both), TO_POSTGRES)
            }
        };
        Ok(Self { readers, turns: Arc::new(Semaphore::new(most)), writes, address: address.clone() })
    }

    /// A connection of its own for what runs alone: `verify`, `backup`, measurements.
    pub fn connection(&self) -> Result<AnyConn, Failure> {
        Opener { address: self.address.clone(), query_only: false }.open()
    }

    /// Where it is.
    pub fn address(&self) -> &Address {
        &self.address
    }

    /// Read in one snapshot, off the async threads.
    pub async fn read<T, E, F>(&self, work: F) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<Failure> + Send + 'static,
        F: FnOnce(&mut AnyConn) -> Result<T, E> + Send + 'static,
    {
        self.on_connection(self.readers.clone(), move |conn| read_now(conn, work)).await
    }

    /// Do something on a connection of a pool, off the async threads. Whoever asks first comes first, and no thread
    /// waits for a connection: only as many are at work as there are connections.
    async fn on_connection<T, E, F>(&self, pool: Pool<Opener>, work: F) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<Failure> + Send + 'static,
        F: FnOnce(&mut AnyConn) -> Result<T, E> + Send + 'static,
    {
        let turn = tokio::time::timeout(PATIENCE, self.turns.clone().acquire_owned()).await;
        let Ok(Ok(turn)) = turn else { return Err(Failure::Busy.into()) };
        tokio::task::spawn_blocking(move || {
            let mut conn = pool.get().map_err(|_| Failure::Busy)?;
            let done = work(&mut conn);
            drop((conn, turn));
            done
        })
        .await
        .unwrap_or_else(|error| Err(Failure::Fault(error.to_string()).into()))
    }

    /// Write in one transaction. The work may run more than once: it has no effect but on the connection.
    pub async fn write<T, E, F>(&self, work: F) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<Failure> + Again + Send + 'static,
        F: Fn(&mut AnyConn) -> Result<T, E> + Send + 'static,
    {
        match &self.writes {
            Writes::Together(writer) => writer.write(work).await,
            Writes::Each(pool) => self.on_connection(pool.clone(), move |conn| write_now(conn, work)).await,
        }
    }
}

fn pool(address: &Address, query_only: bool, size: usize) -> Result<Pool<Opener>, Failure> {
    Pool::builder()
        .max_size(u32::try_from(size).unwrap_or(1))
        .min_idle(Some(1))
        .test_on_check_out(!query_only)
        .connection_timeout(PATIENCE)
        .build(Opener { address: address.clone(), query_only })
        .map_err(|error| Failure::Unavailable(error.to_string()))
}

/// An error that may say: the same again may succeed.
pub trait Again {
    /// Whether to try again.
    fn again(&self) -> bool;
}

impl Again for Failure {
    fn again(&self) -> bool {
        *self == Failure::Again
    }
}

/// Run `work` in a read-only snapshot on this connection.
pub fn read_now<T, E: From<Failure>>(
    conn: &mut AnyConn,
    work: impl FnOnce(&mut AnyConn) -> Result<T, E>,
) -> Result<T, E> {
    begin(conn, "BEGIN", "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")?;
    let result = work(conn);
    roll_back(conn);
    result
}

/// Run `work` in one write transaction on this connection, again if another came between.
pub fn write_now<T, E: From<Failure> + Again>(
    conn: &mut AnyConn,
    work: impl Fn(&mut AnyConn) -> Result<T, E>,
) -> Result<T, E> {
    let mut tried = 0;
    loop {
        tried += 1;
        begin(conn, "BEGIN IMMEDIATE", "BEGIN ISOLATION LEVEL SERIALIZABLE")?;
        let turn = take_turn(conn, tried == 1).map_err(E::from);
        let result = turn.and_then(|()| work(conn)).and_then(|value| match commit(conn) {
            Ok(()) => Ok(value),
            Err(failure) => Err(failure.into()),
        });
        match result {
            Err(error) => {
                roll_back(conn);
                if !error.again() || tried == TRIES {
                    return Err(error);
                }
            }
            done => return done,
        }
    }
}

/// Let the database look over what it holds, a sample of each index, so that it chooses the right one however long the
/// history has become: without, SQLite takes "of this club" to be as rare as "of this batch". Where little has changed
/// since the last time, nothing is done. PostgreSQL does so by itself.
///
/// The mask is that of a new connection with a limit to the sample (0x10): without it the whole file is read, and
/// samples of values are kept, for which every statement is prepared again whenever its values change.
pub fn look_over(conn: &mut AnyConn) -> Result<(), Failure> {
    match conn {
        AnyConn::Sqlite(inner) => Ok(inner.batch_execute("PRAGMA optimize = 0x10012")?),
        AnyConn::Postgres(_) => Ok(()),
    }
}

/// The same after much has come in at once, on the connection of the transaction in which it came. PostgreSQL looks
/// such tables over by itself, but if it did so while nothing of it was committed it takes them for empty until the
/// next time, and reads whole tables through for each row of another.
pub fn look_over_grown(conn: &mut AnyConn) -> Result<(), Failure> {
    const GROWN: &str = "ANALYZE accounts, batches, bottlings, entries, lots, postings, readings";
    match conn {
        AnyConn::Sqlite(_) => Ok(()),
        AnyConn::Postgres(inner) => Ok(inner.batch_execute(GROWN)?),
    }
}

/// On PostgreSQL the first try works beside others. When another came between, the next has the books to itself: it
/// waits until those at work have ended, and those that begin wait for it. (A snapshot is taken only after this.)
fn take_turn(conn: &mut AnyConn, first: bool) -> Result<(), Failure> {
    let mode = if first { "ROW EXCLUSIVE" } else { "EXCLUSIVE" };
    match conn {
        AnyConn::Sqlite(_) => Ok(()),
        AnyConn::Postgres(inner) => Ok(inner.batch_execute(&format!("LOCK TABLE counters IN {mode} MODE"))?),
    }
}

pub(super) fn begin(conn: &mut AnyConn, sqlite: &str, postgres: &str) -> Result<(), Failure> {
    use diesel::connection::AnsiTransactionManager as Ansi;
    match conn {
        AnyConn::Sqlite(inner) => Ansi::begin_transaction_sql(inner, sqlite)?,
        AnyConn::Postgres(inner) => Ansi::begin_transaction_sql(inner, postgres)?,
    }
    Ok(())
}

pub(super) fn commit(conn: &mut AnyConn) -> Result<(), Failure> {
    Ok(Transactions::commit_transaction(conn)?)
}

/// Undo what is open; a commit that failed has done so already. A connection whose transaction cannot even be undone is
/// not used again: the pool sees it as broken, and the writer stops.
pub(super) fn roll_back(conn: &mut AnyConn) {
    if let Ok(None) = Transactions::transaction_manager_status_mut(conn).transaction_depth() {
        return;
    }
    if let Err(error) = Transactions::rollback_transaction(conn) {
        tracing::warn!(%error, "a transaction could not be rolled back");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kind_of_database_follows_from_its_address() {
        assert_eq!(Address::read("cellar.db"), Address::Sqlite("cellar.db".into()));
        assert_eq!(Address::read("sqlite:/srv/cellar.db"), Address::Sqlite("/srv/cellar.db".into()));
        assert_eq!(Address::read("sqlite:///srv/cellar.db"), Address::Sqlite("/srv/cellar.db".into()));
        let url = "postgres://cellar@localhost/cellar";
        assert_eq!(Address::read(url), Address::Postgres(url.to_owned()));
    }
}
