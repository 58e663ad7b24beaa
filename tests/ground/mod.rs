//! The ground that tests of the database stand on: a new, empty database each, on SQLite and on PostgreSQL, and clubs
//! to put into it.

pub mod cellar;

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};

use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection, SqliteConnection};
use undercroft::db::connection::{Address, AnyConn};
use undercroft::db::verify::{Findings, verify};
use undercroft::db::{Database, members};
use undercroft::domain::members::{Cellarhand, Doer, NewClub, NewPerson, Role, Steward, Taster};
use undercroft::units::days::{Day, Instant};

/// Runs each of these `async fn name(ground: &Ground)` as `sqlite::name` and as `postgres::name`.
macro_rules! on_both {
    ($($name:ident),* $(,)?) => {
        mod sqlite {
            $(#[test]
            fn $name() {
                crate::ground::run(crate::ground::Ground::sqlite(), super::$name);
            })*
        }

        mod postgres {
            $(#[test]
            #[ignore = "needs PostgreSQL: UNDERCROFT_TEST_POSTGRES"]
            fn $name() {
                crate::ground::run(crate::ground::Ground::postgres(), super::$name);
            })*
        }
    };
}
pub(crate) use on_both;

/// What `undercroft verify` finds in this database.
pub fn findings(db: &Database) -> Findings {
    verify(&mut db.connection().expect("a connection of its own")).expect("the check runs")
}

/// A database that nobody else uses, and that goes when the test ends.
pub struct Ground {
    /// Where it is.
    pub address: Address,
    home: Home,
}

/// What has to be taken away at the end.
enum Home {
    Folder(PathBuf),
    Server { url: String, database: String },
}

impl Ground {
    /// A file in a folder of its own.
    pub fn sqlite() -> Self {
        let folder = std::env::temp_dir().join(fresh_name());
        std::fs::create_dir_all(&folder).expect("the temporary folder can be written");
        Self { address: Address::Sqlite(folder.join("cellar.db")), home: Home::Folder(folder) }
    }

    /// A database of its own on the server that `UNDERCROFT_TEST_POSTGRES` names.
    pub fn postgres() -> Self {
        let url = std::env::var("UNDERCROFT_TEST_POSTGRES")
            .expect("UNDERCROFT_TEST_POSTGRES is the address of a server where databases may be made");
        let database = fresh_name();
        on_server(&url, &format!("CREATE DATABASE {database}"));
        let (server, _) = url.rsplit_once('/').expect("the address ends with the name of a database");
        Self {
            address: Address::Postgres(format!("{server}/{database}")),
            home: Home::Server { url, database },
        }
    }

    /// The database with its schema, as the server opens it.
    pub fn open(&self) -> Database {
        Database::open(&self.address).expect("the database opens")
    }

    /// Whether this is SQLite: what is said to the database in its own words differs.
    pub fn is_sqlite(&self) -> bool {
        matches!(self.home, Home::Folder(_))
    }

    /// A connection that does what the program never does, such as planting a fault.
    pub fn tamper(&self, sql: &str) {
        let mut conn = self.connection();
        conn.batch_execute(sql).unwrap_or_else(|error| panic!("{sql}: {error}"));
    }

    /// A bare connection, without any of the settings that the program makes.
    pub fn connection(&self) -> AnyConn {
        match &self.address {
            Address::Sqlite(path) => {
                let mut conn: SqliteConnection =
                    Connection::establish(&path.to_string_lossy()).expect("the file opens");
                // Who used it before may still be closing it.
                conn.batch_execute("PRAGMA busy_timeout = 5000").expect("it waits");
                AnyConn::Sqlite(conn)
            }
            Address::Postgres(url) => {
                AnyConn::Postgres(Connection::establish(url).expect("the server answers"))
            }
        }
    }
}

impl Drop for Ground {
    fn drop(&mut self) {
        match &self.home {
            Home::Folder(folder) => std::fs::remove_dir_all(folder).expect("the folder is ours"),
            Home::Server { url, database } => {
                on_server(url, &format!("DROP DATABASE {database} WITH (FORCE)"));
            }
        }
    }
}

fn fresh_name() -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    format!("undercroft_test_{}_{count}", std::process::id())
}

fn on_server(url: &str, sql: &str) {
    let mut server = PgConnection::establish(url).expect("the server of UNDERCROFT_TEST_POSTGRES answers");
    server.batch_execute(sql).unwrap_or_else(|error| panic!("{sql}: {error}"));
}

/// Runs a test to its end; its database goes with it, also when it fails.
#[allow(clippy::needless_pass_by_value, reason = "the ground ends here")]
pub fn run(ground: Ground, test: impl AsyncFnOnce(&Ground)) {
    block_on(test(&ground));
}

/// Runs one future to its end.
pub fn block_on<T>(future: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    runtime.expect("a runtime of one thread").block_on(future)
}

/// A day of the year in which all tests play.
pub fn day(text: &str) -> Day {
    text.parse().expect("a day such as 2026-06-30")
}

/// When every request of a test comes: after all that the tests record.
pub fn now() -> Instant {
    day("2026-12-31").and_hms_opt(12, 0, 0).expect("noon")
}

/// A club with one member of each kind that tests need.
pub struct Club {
    /// Runs it.
    pub steward: Steward,
    /// Records everything.
    pub hand: Cellarhand,
    /// Takes bottles.
    pub taster: Taster,
}

/// A new club of this name.
pub async fn club(db: &Database, name: &str) -> Club {
    let named = name.to_owned();
    let doers: Vec<Doer> = db
        .write(move |conn| {
            let person = |who: &str| {
                let address = format!("{who}@{}.example", named.to_lowercase().replace(' ', "-"));
                NewPerson::read(who, &address, "wheel pit at low tide").expect("a person")
            };
            let new = NewClub::read(&named, "EUR", "Europe/Amsterdam", Ok(person("Marit"))).expect("a club");
            let id = members::add_club(conn, &new, now())?;
            [("Marit", Role::Steward), ("Joost", Role::Cellarhand), ("Wieke", Role::Taster)]
                .into_iter()
                .map(|(who, role)| {
                    let person = person(who);
                    let person = members::add_person(conn, &person.name, &person.email, "", now())?;
                    let member = members::add_member(conn, id, person, who, role, day("2026-01-01"))?;
                    members::doer_of_member(conn, member, now())
                })
                .collect()
        })
        .await
        .expect("a club can be made");
    let [steward, hand, taster] = <[Doer; 3]>::try_from(doers).expect("three members");
    Club {
        steward: Steward::from_doer(steward).expect("Marit is steward"),
        hand: Cellarhand::from_doer(hand).expect("Joost is cellarhand"),
        taster: Taster::from_doer(taster).expect("Wieke is taster"),
    }
}
