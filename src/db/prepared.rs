//! Statements that are prepared once.
//!
//! The library prepares a statement anew each time where its text might differ from call to call: every update, every
//! list of values, every query that is put together as it goes. Preparing takes longer than running most of them. Here
//! a caller says that there are only a few different texts, and they are kept like the others. A list of values is made
//! as long as the next power of two, so that there are few of them.
//!
//! What is asked of either database is put together for both first, and then again for the one. What is run or asked
//! most goes to the one as it is.

use diesel::backend::Backend;
use diesel::connection::{DefaultLoadingMode, LoadConnection};
use diesel::pg::Pg;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::query_dsl::methods::LoadQuery;
use diesel::sql_types::Untyped;
use diesel::sqlite::Sqlite;
use diesel::{OptionalExtension, PgConnection, QueryResult, RunQueryDsl, SqliteConnection};

use super::connection::AnyConn;

/// A statement with few different texts.
#[derive(Debug, Clone, Copy)]
pub(in crate::db) struct Prepared<T>(T);

/// Says of a statement that it has few different texts.
pub(in crate::db) trait Prepare: Sized {
    /// Keep it prepared.
    fn prepared(self) -> Prepared<Self> {
        Prepared(self)
    }
}

impl<T> Prepare for T {}

impl<T: QueryFragment<DB>, DB: Backend> QueryFragment<DB> for Prepared<T> {
    fn walk_ast<'b>(&'b self, pass: AstPass<'_, 'b, DB>) -> QueryResult<()> {
        self.0.walk_ast(pass)
    }

    fn is_safe_to_cache_prepared(&self, _: &DB) -> QueryResult<bool> {
        Ok(true)
    }
}

impl<T: QueryId> QueryId for Prepared<T> {
    type QueryId = Prepared<T::QueryId>;
    const HAS_STATIC_QUERY_ID: bool = T::HAS_STATIC_QUERY_ID;
}

impl<T: Query> Query for Prepared<T> {
    type SqlType = T::SqlType;
}

impl<T, C> RunQueryDsl<C> for Prepared<T> {}

impl<T: QueryFragment<Pg> + QueryFragment<Sqlite> + QueryId> Prepared<T> {
    /// Change something.
    pub(in crate::db) fn run(self, conn: &mut AnyConn) -> QueryResult<()> {
        match conn {
            AnyConn::Postgres(conn) => LoadConnection::<DefaultLoadingMode>::load(conn, Change(self.0))?
                .try_for_each(|row| row.map(drop)),
            AnyConn::Sqlite(conn) => conn.load(Change(self.0))?.try_for_each(|row| row.map(drop)),
        }
    }
}

impl<T> Prepared<T> {
    /// Its only row, if there is one: asked of the database as it is, without the text being put together for either.
    pub(in crate::db) fn one<'q, U>(self, conn: &mut AnyConn) -> QueryResult<Option<U>>
    where
        Self: LoadQuery<'q, PgConnection, U> + LoadQuery<'q, SqliteConnection, U>,
    {
        match conn {
            AnyConn::Postgres(conn) => self.get_result(conn).optional(),
            AnyConn::Sqlite(conn) => self.get_result(conn).optional(),
        }
    }

    /// All its rows, asked of the database as it is.
    pub(in crate::db) fn all<'q, U>(self, conn: &mut AnyConn) -> QueryResult<Vec<U>>
    where
        Self: LoadQuery<'q, PgConnection, U> + LoadQuery<'q, SqliteConnection, U>,
    {
        match conn {
            AnyConn::Postgres(conn) => self.load(conn),
            AnyConn::Sqlite(conn) => self.load(conn),
        }
    }
}

/// A change, which has no rows. It is run like a query, because a query is asked itself whether it may be kept; of a
/// change, what stands inside would be asked.
struct Change<T>(T);

impl<T: QueryFragment<DB>, DB: Backend> QueryFragment<DB> for Change<T> {
    fn walk_ast<'b>(&'b self, pass: AstPass<'_, 'b, DB>) -> QueryResult<()> {
        self.0.walk_ast(pass)
    }

    fn is_safe_to_cache_prepared(&self, _: &DB) -> QueryResult<bool> {
        Ok(true)
    }
}

impl<T: QueryId> QueryId for Change<T> {
    type QueryId = Change<T::QueryId>;
    const HAS_STATIC_QUERY_ID: bool = T::HAS_STATIC_QUERY_ID;
}

impl<T> Query for Change<T> {
    type SqlType = Untyped;
}

/// These values, the last of them again and again until there are a power of two.
pub(in crate::db) fn padded<T: Clone>(values: &[T]) -> Vec<T> {
    let missing = values.len().next_power_of_two() - values.len();
    let last = values.last().cloned().into_iter().cycle().take(missing);
    values.iter().cloned().chain(last).collect()
}

#[cfg(test)]
mod tests {
    use std::sync::{Arc, Mutex};

    use diesel::connection::{InstrumentationEvent, SimpleConnection};
    use diesel::prelude::*;

    use super::*;

    diesel::table! {
        jars (id) {
            id -> BigInt,
            full -> BigInt,
        }
    }

    #[test]
    fn a_list_is_as_long_as_a_power_of_two_and_holds_the_same() {
        let lengths: Vec<usize> = (0..10).map(|n| padded(&vec![7; n]).len()).collect();
        assert_eq!(lengths, [0, 1, 2, 4, 4, 8, 8, 8, 8, 16]);
        assert_eq!(padded(&[1, 2, 3]), [1, 2, 3, 3]);
    }

    #[test]
    fn a_change_and_a_list_are_prepared_once() {
        let mut conn = AnyConn::Sqlite(SqliteConnection::establish(":memory:").unwrap());
        conn.batch_execute(
            "CREATE TABLE jars (id BIGINT PRIMARY KEY, full BIGINT); INSERT INTO jars VALUES (1, 0);",
        )
        .unwrap();
        let kept = Arc::new(Mutex::new(Vec::new()));
        let seen = Arc::clone(&kept);
        conn.set_instrumentation(move |event: InstrumentationEvent<'_>| {
            if let InstrumentationEvent::CacheQuery { sql, .. } = event {
                seen.lock().unwrap().push(sql.split(' ').next().unwrap().to_owned());
            }
        });
        for full in 1..4_i64 {
            let one = jars::table.filter(jars::id.eq(1_i64));
            assert_eq!(diesel::update(one).set(jars::full.eq(full)).prepared().run(&mut conn), Ok(()));
            let list = jars::table.filter(jars::id.eq_any(padded(&[1_i64, 2, 3])));
            assert_eq!(list.select(jars::full).prepared().load::<i64>(&mut conn), Ok(vec![full]));
            let more = diesel::insert_into(jars::table).values((jars::id.eq(full + 10), jars::full.eq(0)));
            assert_eq!(more.prepared().run(&mut conn), Ok(()));
            let count = jars::table.filter(jars::full.eq(0)).count();
            assert_eq!(count.prepared().one(&mut conn), Ok(Some(full)));
        }
        assert_eq!(*kept.lock().unwrap(), ["UPDATE", "SELECT", "INSERT", "SELECT"]);
        let none = jars::table.filter(jars::id.eq(99_i64)).select(jars::full);
        assert_eq!(none.prepared().one::<i64>(&mut conn), Ok(None));
    }

    /// As `.cargo/config.toml` says: a statement with a bound limit is not planned anew for each limit.
    #[test]
    fn statements_are_planned_whatever_they_are_run_with() {
        let mut conn = SqliteConnection::establish(":memory:").unwrap();
        let asked = diesel::sql_query("SELECT sqlite_compileoption_used('ENABLE_QPSG') AS used");
        assert_eq!(asked.get_result::<Used>(&mut conn).unwrap().used, 1);
    }

    #[derive(QueryableByName)]
    struct Used {
        #[diesel(sql_type = diesel::sql_types::Integer)]
        used: i32,
    }
}
