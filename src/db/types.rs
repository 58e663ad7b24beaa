//! How the values of `units` and the words of `domain` are kept in a column: one conversion each, for both databases.

use diesel::backend::Backend;
use diesel::deserialize::{self, FromSql, FromSqlRow};
use diesel::expression::AsExpression;
use diesel::serialize::{self, Output, ToSql};
use diesel::sql_types::{BigInt, Text};

use crate::domain::batches::Stage;
use crate::domain::bills::FileKind;
use crate::domain::books::EntryKind;
use crate::domain::cautions::Rule;
use crate::domain::costs::by_products::By;
use crate::domain::counts::{Ending, Reason};
use crate::domain::efforts::EffortKind;
use crate::domain::instruments::InstrumentKind;
use crate::domain::members::{Role, Scope};
use crate::domain::plans::StepKind;
use crate::domain::reminders::ReminderKind;
use crate::domain::steps::RecordKind;
use crate::domain::stock::ItemKind;
use crate::domain::tastings::Method;
use crate::domain::vessels::{Closure, Material};
use crate::units::ids::{
    AccountId, AuditId, BatchId, BillId, BottlingId, ClimateId, ClubId, CountId, CountLineId, EffortId,
    EntryId, FillingId, GlassId, HoldId, ImportId, InstrumentId, IntakeId, InvitationId, ItemId, LetterId,
    LotId, MemberId, PersonId, PlaceId, ReadingId, ReasonId, RecipeId, ReminderId, RevisionId, SampleId,
    SessionId, SetUpId, SheetId, StepRecordId, TallyId, TastingAgeId, TastingId, TokenId, VesselId,
};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// A whole number in the column.
macro_rules! whole_numbers {
    ($($kept:ident as $proxy:ident),* $(,)?) => {$(
        #[derive(AsExpression, FromSqlRow)]
        #[diesel(foreign_derive, sql_type = BigInt)]
        #[allow(dead_code, reason = "only carries the derives to a type of `units`")]
        struct $proxy($kept);

        impl<DB> FromSql<BigInt, DB> for $kept
        where
            DB: Backend,
            i64: FromSql<BigInt, DB>,
        {
            fn from_sql(value: DB::RawValue<'_>) -> deserialize::Result<Self> {
                i64::from_sql(value).map($kept)
            }
        }

        impl<DB> ToSql<BigInt, DB> for $kept
        where
            DB: Backend,
            i64: ToSql<BigInt, DB>,
        {
            fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, DB>) -> serialize::Result {
                self.0.to_sql(out)
            }
        }
    )*};
}

whole_numbers! {
    AccountId as AccountIdColumn, AuditId as AuditIdColumn, BillId as BillIdColumn, BatchId as BatchIdColumn,
    BottlingId as BottlingIdColumn, ClubId as ClubIdColumn, EntryId as EntryIdColumn,
    InvitationId as InvitationIdColumn, ItemId as ItemIdColumn, LotId as LotIdColumn,
    MemberId as MemberIdColumn, PersonId as PersonIdColumn, PlaceId as PlaceIdColumn,
    LetterId as LetterIdColumn,
    ReadingId as ReadingIdColumn, ReminderId as ReminderIdColumn, SessionId as SessionIdColumn,
    SetUpId as SetUpIdColumn, TastingAgeId as TastingAgeIdColumn, TokenId as TokenIdColumn,
    TastingId as TastingIdColumn, SampleId as SampleIdColumn, GlassId as GlassIdColumn, SheetId as SheetIdColumn,
    ReasonId as ReasonIdColumn, VesselId as VesselIdColumn, FillingId as FillingIdColumn, HoldId as HoldIdColumn,
    IntakeId as IntakeIdColumn,
    RecipeId as RecipeIdColumn, RevisionId as RevisionIdColumn, StepRecordId as StepRecordIdColumn,
    CountId as CountIdColumn, CountLineId as CountLineIdColumn, TallyId as TallyIdColumn,
    InstrumentId as InstrumentIdColumn, ImportId as ImportIdColumn, EffortId as EffortIdColumn,
    ClimateId as ClimateIdColumn,
    Money as MoneyColumn, Milli as MilliColumn, Measured as MeasuredColumn,
}

/// A word in the column; one that is not known is a fault, never a default.
macro_rules! words {
    ($($kept:ident as $proxy:ident by $read:ident, $write:ident);* $(;)?) => {$(
        #[derive(AsExpression, FromSqlRow)]
        #[diesel(foreign_derive, sql_type = Text)]
        #[allow(dead_code, reason = "only carries the derives to a type of another room")]
        struct $proxy($kept);

        impl<DB> FromSql<Text, DB> for $kept
        where
            DB: Backend,
            String: FromSql<Text, DB>,
        {
            fn from_sql(value: DB::RawValue<'_>) -> deserialize::Result<Self> {
                let word = String::from_sql(value)?;
                $kept::$read(&word).ok_or_else(|| format!("the database holds the unknown word “{word}”").into())
            }
        }

        impl<DB> ToSql<Text, DB> for $kept
        where
            DB: Backend,
            str: ToSql<Text, DB>,
        {
            fn to_sql<'b>(&'b self, out: &mut Output<'b, '_, DB>) -> serialize::Result {
                self.$write().to_sql(out)
            }
        }
    )*};
}

words! {
    BaseUnit as BaseUnitColumn by from_sign, sign;
    EntryKind as EntryKindColumn by from_code, code;
    ItemKind as ItemKindColumn by from_code, code;
    ReadingKind as ReadingKindColumn by from_code, code;
    ReminderKind as ReminderKindColumn by from_code, code;
    Role as RoleColumn by from_name, name;
    Scope as ScopeColumn by from_name, name;
    Stage as StageColumn by from_code, code;
    Method as MethodColumn by from_code, code;
    StepKind as StepKindColumn by from_code, code;
    Rule as RuleColumn by from_code, code;
    RecordKind as RecordKindColumn by from_code, code;
    InstrumentKind as InstrumentKindColumn by from_code, code;
    By as ByColumn by from_code, code;
    EffortKind as EffortKindColumn by from_code, code;
    Material as MaterialColumn by from_code, code;
    Closure as ClosureColumn by from_code, code;
    Reason as CountReasonColumn by from_code, code;
    Ending as EndingColumn by from_code, code;
    FileKind as FileKindColumn by from_code, code;
}
