//! Asks the database's catalogue what the design promises of every table.
//! It never trusts a migration's text.

use std::collections::BTreeMap;

use harness::shared::Database;
use tokio_postgres::Client;

const SERVICES: [&str; 6] = hankbook::database::SERVICES;

async fn rows(client: &Client, query: &str) -> Vec<Vec<String>> {
    let found = client.query(query, &[]).await.expect("the catalogue answers");
    found.iter().map(|row| (0..row.len()).map(|at| row.get(at)).collect()).collect()
}

/// Every table of ours with its class (the first word of its comment).
async fn classes(client: &Client) -> BTreeMap<String, String> {
    let query = "SELECT n.nspname || '.' || c.relname, \
        coalesce(split_part(obj_description(c.oid, 'pg_class'), ':', 1), '') \
        FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace \
        WHERE c.relkind IN ('r', 'p') AND n.nspname IN \
        ('house', 'audit', 'formulas', 'genealogy', 'haccp', 'identity', 'yields')";
    rows(client, query).await.into_iter().map(|row| (row[0].clone(), row[1].clone())).collect()
}

#[tokio::test]
async fn every_table_says_its_class_and_belongs_to_the_owner() {
    let database = Database::cloned().await;
    let client = database.connect().await;
    let classes = classes(&client).await;
    assert!(classes.len() >= 8, "{classes:?}");
    for (table, class) in &classes {
        let known = ["record", "link", "state", "transient"].contains(&class.as_str());
        assert!(known, "{table} has the class {class:?}");
    }
    let query = "SELECT n.nspname || '.' || c.relname, pg_get_userbyid(c.relowner) FROM pg_class c \
        JOIN pg_namespace n ON n.oid = c.relnamespace WHERE c.relkind IN ('r', 'p', 'S', 'v') \
        AND n.nspname IN ('house', 'audit', 'formulas', 'genealogy', 'haccp', 'identity', 'yields')";
    for row in rows(&client, query).await {
        assert_eq!(row[1], "hankbook_owner", "{}", row[0]);
    }
    drop(client);
    database.remove().await;
}

#[tokio::test]
async fn grants_are_those_of_the_class() {
    let database = Database::cloned().await;
    let client = database.connect().await;
    let classes = classes(&client).await;
    let query = "SELECT table_schema || '.' || table_name, grantee, privilege_type \
        FROM information_schema.role_table_grants WHERE grantee LIKE 'hankbook\\_%' \
        AND grantee <> 'hankbook_owner'";
    let mut seen = 0;
    for row in rows(&client, query).await {
        let (table, role, right) = (&row[0], &row[1], row[2].as_str());
        let Some(class) = classes.get(table) else { continue };
        let allowed: &[&str] = match class.as_str() {
            "record" | "link" => &["SELECT", "INSERT"],
            "state" => &["SELECT", "INSERT", "UPDATE"],
            _ => &["SELECT", "INSERT", "UPDATE", "DELETE"],
        };
        assert!(allowed.contains(&right), "{role} has {right} on the {class} {table}");
        let schema = table.split('.').next().unwrap_or_default();
        let is_own = *role == format!("hankbook_{schema}");
        let is_leaf = table == "audit.leaf" && right == "INSERT";
        let is_reference = table == "genealogy.lot" || table == "genealogy.lot_safety";
        let is_plant = schema == "house";
        let excepted = is_leaf || is_reference || is_plant;
        assert!(is_own || excepted, "{role} reaches into {table} with {right}");
        seen += 1;
    }
    assert!(seen > 20, "only {seen} grants were seen");
    drop(client);
    database.remove().await;
}

#[tokio::test]
async fn no_record_can_be_changed_even_by_its_owner() {
    let database = Database::cloned().await;
    let client = database.connect().await;
    let mut tried = 0;
    for (table, class) in classes(&client).await {
        if !matches!(class.as_str(), "record" | "link") {
            continue;
        }
        let column = rows(
            &client,
            &format!(
                "SELECT attname::text FROM pg_attribute WHERE attrelid = '{table}'::regclass \
             AND attnum > 0 AND NOT attisdropped ORDER BY attnum LIMIT 1"
            ),
        )
        .await;
        let column = &column[0][0];
        for statement in [format!("TRUNCATE {table} CASCADE")] {
            let refused = client.batch_execute(&statement).await.expect_err("a guard");
            let code = refused.code().map(|code| code.code().to_owned());
            assert_eq!(code.as_deref(), Some("23001"), "{statement}: {refused}");
        }
        let triggers = rows(
            &client,
            &format!(
                "SELECT tgname::text FROM pg_trigger WHERE tgrelid = '{table}'::regclass \
             AND tgname IN ('refuse_change', 'refuse_truncate') AND tgenabled = 'O'"
            ),
        )
        .await;
        assert_eq!(triggers.len(), 2, "{table} ({column}) lacks a guard");
        tried += 1;
    }
    assert!(tried >= 4);
    let leaf = "INSERT INTO audit.leaf (id, form, subject, day, recorded_at, entry, hash) VALUES \
        (gen_random_uuid(), 'test/1', 'test:1', '2026-11-25', now(), '{}', sha256('x'))";
    client.batch_execute(leaf).await.expect("a leaf");
    for change in ["UPDATE audit.leaf SET entry = ''", "DELETE FROM audit.leaf"] {
        let refused = client.batch_execute(change).await.expect_err("a guard");
        assert_eq!(refused.code().map(|code| code.code()), Some("23001"), "{change}");
    }
    drop(client);
    database.remove().await;
}

#[tokio::test]
async fn a_session_has_the_limits_that_the_pool_sets() {
    let database = Database::cloned().await;
    let client = database.connect().await;
    client.batch_execute(platform::db::SESSION_LIMITS).await.expect("the limits");
    for (name, value) in [
        ("statement_timeout", "15s"),
        ("idle_in_transaction_session_timeout", "10s"),
        ("lock_timeout", "5s"),
        ("TimeZone", "UTC"),
    ] {
        let shown = client.query_one(&format!("SHOW {name}"), &[]).await.expect("a setting");
        assert_eq!(shown.get::<_, String>(0), value);
    }
    drop(client);
    database.remove().await;
}

#[tokio::test]
async fn a_service_cannot_reach_into_another_schema() {
    let database = Database::cloned().await;
    for service in SERVICES {
        let client = database.connect().await;
        client.batch_execute(&format!("SET ROLE hankbook_{service}")).await.expect("the role");
        for other in SERVICES.iter().filter(|other| **other != service) {
            for statement in [
                format!(
                    "INSERT INTO {other}.outbox (id, subject, method, body) VALUES \
                         (gen_random_uuid(), 'x', 'x', '')"
                ),
                format!("DELETE FROM {other}.idempotency"),
            ] {
                assert!(client.batch_execute(&statement).await.is_err(), "{service}: {statement}");
            }
        }
        let forbidden = client.batch_execute("CREATE TABLE house.mine (a int)").await;
        assert!(forbidden.is_err(), "{service} may create tables");
    }
    database.remove().await;
}
