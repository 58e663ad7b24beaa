//! Statements that are prepared once.
//!
//! The library prepares a statement anew each time where its text might differ from call to call: every update, every
//! list of values, every query that is put together as it goes. Preparing takes longer than running most of them. Here
//! a caller says that there are only a few different texts, and they are kept like the others. A list of values is made
//! as long as the next power of two, so that there are few of them.

use diesel::QueryResult;
use diesel::RunQueryDsl;
use diesel::backend::Backend;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};

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

impl<T> QueryId for Prepared<T> {
    type QueryId = ();
    const HAS_STATIC_QUERY_ID: bool = false;
}

impl<T: Query> Query for Prepared<T> {
    type SqlType = T::SqlType;
}

impl<T, C> RunQueryDsl<C> for Prepared<T> {}

/// These values, the last of them again and again until there are a power of two.
pub(in crate::db) fn padded<T: Copy>(values: &[T]) -> Vec<T> {
    let missing = values.len().next_power_of_two() - values.len();
    let last = values.last().copied().into_iter().cycle().take(missing);
    values.iter().copied().chain(last).collect()
}

#[cfg(test)]
mod tests {
    use super::padded;

    #[test]
    fn a_list_is_as_long_as_a_power_of_two_and_holds_the_same() {
        let lengths: Vec<usize> = (0..10).map(|n| padded(&vec![7; n]).len()).collect();
        assert_eq!(lengths, [0, 1, 2, 4, 4, 8, 8, 8, 8, 16]);
        assert_eq!(padded(&[1, 2, 3]), [1, 2, 3, 3]);
    }
}
