//! Reading and keeping the bills of receipts. What a bill holds is read only where it is opened.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{bill_parts, bills, members};
use crate::domain::bills::{Bill, BillFile, FileKind};
use crate::domain::members::Doer;
use crate::units::days::Instant;
use crate::units::ids::{BillId, ClubId, EntryId};

/// Bytes of a part: a multiple of three, so that the base64 of all parts is that of the whole.
const PART: usize = 12 * 1024;

/// The bills of a receipt, in the order in which they came; those that were struck out too.
pub fn of_entry(conn: &mut AnyConn, club: ClubId, entry: EntryId) -> Result<Vec<Bill>, Failure> {
    type Row = ((BillId, String, FileKind, i64, String, Instant), (Option<String>, Option<Instant>, String));
    let strikers = diesel::alias!(members as strikers);
    let rows: Vec<Row> = bills::table
        .inner_join(members::table.on(members::id.eq(bills::added_by)))
        .left_join(strikers.on(strikers.field(members::id).nullable().eq(bills::struck_by)))
        .filter(bills::club_id.eq(club).and(bills::entry_id.eq(entry)))
        .order(bills::id)
        .select((
            (bills::id, bills::name, bills::kind, bills::size, members::name, bills::added_at),
            (strikers.field(members::name).nullable(), bills::struck_at, bills::struck_because),
        ))
        .load(conn)?;
    let told = |((id, name, kind, size, by, at), (striker, struck_at, because)): Row| Bill {
        id,
        entry,
        name,
        kind,
        size: usize::try_from(size).unwrap_or_default(),
        by,
        at,
        struck: striker.zip(struck_at).map(|(striker, at)| (striker, at, because)),
    };
    Ok(rows.into_iter().map(told).collect())
}

/// What a bill of a receipt holds; one that was struck out is gone.
pub fn file(conn: &mut AnyConn, club: ClubId, entry: EntryId, id: BillId) -> Result<Vec<u8>, Failure> {
    let of_club = bills::club_id.eq(club).and(bills::entry_id.eq(entry));
    let parts: Vec<String> = bill_parts::table
        .inner_join(bills::table.on(bills::id.eq(bill_parts::bill_id)))
        .filter(bill_parts::bill_id.eq(id).and(of_club))
        .order(bill_parts::number)
        .select(bill_parts::held)
        .load(conn)?;
    if parts.is_empty() {
        return Err(Failure::Gone);
    }
    let mut held = Vec::new();
    for part in parts {
        let torn = |error| Failure::Fault(format!("bill {id}: {error}"));
        STANDARD.decode_vec(part, &mut held).map_err(torn)?;
    }
    Ok(held)
}

/// The files that stand with a receipt, by what they hold.
pub fn standing(conn: &mut AnyConn, entry: EntryId) -> Result<Vec<(String, BillId)>, Failure> {
    Ok(bills::table
        .filter(bills::entry_id.eq(entry).and(bills::struck_at.is_null()))
        .select((bills::fingerprint, bills::id))
        .load(conn)?)
}

/// Keep a file with a receipt.
pub fn add(conn: &mut AnyConn, doer: &Doer, entry: EntryId, file: &BillFile) -> Result<BillId, Failure> {
    let id = BillId::fresh();
    diesel::insert_into(bills::table)
        .values((
            bills::id.eq(id),
            bills::club_id.eq(doer.club),
            bills::entry_id.eq(entry),
            bills::name.eq(&file.name),
            bills::kind.eq(file.kind),
            bills::size.eq(i64::try_from(file.bytes.len()).unwrap_or(i64::MAX)),
            bills::fingerprint.eq(&file.fingerprint),
            bills::added_by.eq(doer.member),
            bills::added_at.eq(doer.now),
            bills::struck_because.eq(""),
        ))
        .execute(conn)?;
    for (number, part) in (0_i64..).zip(file.bytes.chunks(PART)) {
        diesel::insert_into(bill_parts::table)
            .values((
                bill_parts::bill_id.eq(id),
                bill_parts::number.eq(number),
                bill_parts::club_id.eq(doer.club),
                bill_parts::held.eq(STANDARD.encode(part)),
            ))
            .execute(conn)?;
    }
    Ok(id)
}

/// Strike a bill out: what it holds goes, what it was stays.
pub fn strike(conn: &mut AnyConn, doer: &Doer, id: BillId, because: &str) -> Result<(), Failure> {
    diesel::delete(bill_parts::table.filter(bill_parts::bill_id.eq(id))).execute(conn)?;
    diesel::update(bills::table.filter(bills::id.eq(id)))
        .set((
            bills::struck_at.eq(doer.now),
            bills::struck_by.eq(doer.member),
            bills::struck_because.eq(because),
        ))
        .execute(conn)?;
    Ok(())
}
