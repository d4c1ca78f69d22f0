//! Statements written as SQL that a connection prepares once. Diesel's own are planned again at
//! each call, which for the long reads of a closure takes longer than running them.

use std::borrow::Cow;
use std::marker::PhantomData;

use diesel::pg::Pg;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::result::QueryResult;
use diesel::serialize::ToSql;
use diesel::sql_types::{HasSqlType, Untyped};

/// A statement whose text is one of few, so nothing that a caller said may stand in it.
#[must_use = "a statement is run by load, get_result or execute"]
#[derive(Clone, Debug)]
pub struct Statement<'t, Values> {
    text: Cow<'t, str>,
    is_kept: bool,
    values: Values,
}

/// The values of a statement up to one more.
#[derive(Clone, Debug)]
pub struct Bound<Before, Type, Value> {
    before: Before,
    value: Value,
    of: PhantomData<Type>,
}

/// No value yet.
#[derive(Clone, Copy, Debug)]
pub struct Nothing;

/// A statement with `$1`, `$2` and so on for the values that are bound to it in this order; its
/// rows are read by the names of their columns. It is kept prepared for as long as its connection
/// lives.
pub fn statement<'t>(text: impl Into<Cow<'t, str>>) -> Statement<'t, Nothing> {
    Statement { text: text.into(), is_kept: true, values: Nothing }
}

/// A statement that is planned at each call: a value of it says what is asked at all, and a plan
/// for every value would read all rows.
pub fn planned<'t>(text: impl Into<Cow<'t, str>>) -> Statement<'t, Nothing> {
    Statement { is_kept: false, ..statement(text) }
}

impl<'t, Values> Statement<'t, Values> {
    /// The next value, as the type that its place in the text expects.
    pub fn bind<Type, Value>(self, value: Value) -> Statement<'t, Bound<Values, Type, Value>> {
        let values = Bound { before: self.values, value, of: PhantomData };
        Statement { text: self.text, is_kept: self.is_kept, values }
    }
}

impl QueryFragment<Pg> for Nothing {
    fn walk_ast<'b>(&'b self, _: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        Ok(())
    }
}

impl<Before, Type, Value> QueryFragment<Pg> for Bound<Before, Type, Value>
where
    Before: QueryFragment<Pg>,
    Pg: HasSqlType<Type>,
    Value: ToSql<Type, Pg>,
{
    fn walk_ast<'b>(&'b self, mut out: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        self.before.walk_ast(out.reborrow())?;
        out.push_bind_param_value_only(&self.value)
    }
}

impl<Values: QueryFragment<Pg>> QueryFragment<Pg> for Statement<'_, Values> {
    fn walk_ast<'b>(&'b self, mut out: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        if !self.is_kept {
            out.unsafe_to_cache_prepared();
        }
        out.push_sql(&self.text);
        self.values.walk_ast(out)
    }
}

// Without an id of its type a statement is found again by its text and the types of its values.
impl<Values> QueryId for Statement<'_, Values> {
    type QueryId = ();

    const HAS_STATIC_QUERY_ID: bool = false;
}

impl<Values> Query for Statement<'_, Values> {
    type SqlType = Untyped;
}

#[cfg(test)]
mod tests {
    use diesel::debug_query;
    use diesel::sql_types::{Array, BigInt, Text};

    use super::*;

    #[test]
    fn values_follow_in_order_and_it_may_be_kept() {
        let asked = statement("SELECT $1 || name FROM partner WHERE sort = ANY($2) LIMIT $3")
            .bind::<Text, _>("Mr ")
            .bind::<Array<BigInt>, _>(vec![1_i64, 2])
            .bind::<BigInt, _>(7_i64);
        let shown = debug_query::<Pg, _>(&asked).to_string();
        assert!(shown.ends_with(r#"LIMIT $3 -- binds: ["Mr ", [1, 2], 7]"#), "{shown}");
        assert!(asked.is_safe_to_cache_prepared(&Pg).expect("a statement"));
        let anew = planned("SELECT 1 WHERE $1 IS NULL").bind::<BigInt, _>(1_i64);
        assert!(!anew.is_safe_to_cache_prepared(&Pg).expect("a statement"));
    }
}
