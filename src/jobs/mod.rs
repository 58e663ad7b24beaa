//! Work that no member asks for: what the server does again and again by itself, and the loading of the demo
//! club.
//!
//! A periodic job may run at any time, twice, or on two servers at once without harm. Jobs call `actions` as
//! pages do; only housekeeping, which changes nothing that a member recorded, goes to `db`.

pub mod demo;
pub mod letters;
pub mod reminders;

#[cfg(test)]
mod cellar {
    use std::path::PathBuf;

    use crate::db::Database;
    use crate::db::connection::Address;
    use crate::units::ids::ClubId;

    /// A database in a folder of its own that goes with it.
    pub(super) struct Cellar {
        pub(super) db: Database,
        folder: PathBuf,
    }

    impl Cellar {
        pub(super) fn new() -> Self {
            let folder = std::env::temp_dir().join(format!("undercroft-demo-{}", ClubId::fresh()));
            std::fs::create_dir_all(&folder).unwrap();
            Self { db: Database::open(&Address::Sqlite(folder.join("cellar.db"))).unwrap(), folder }
        }
    }

    impl Drop for Cellar {
        fn drop(&mut self) {
            let _ = std::fs::remove_dir_all(&self.folder);
        }
    }
}
