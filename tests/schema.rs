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
        let known = ["record", "link", "sealed", "state", "transient"].contains(&class.as_str());
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
            "record" | "link" | "sealed" => &["SELECT", "INSERT"],
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
        if !matches!(class.as_str(), "record" | "link" | "sealed") {
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

/// A service's schema.rs with the files under it.
fn schema_of(source: &std::path::Path) -> String {
    let mut text = std::fs::read_to_string(source.join("schema.rs")).unwrap_or_default();
    let parts = std::fs::read_dir(source.join("schema")).into_iter().flatten();
    for part in parts {
        let part = part.expect("an entry").path();
        text.push_str(&std::fs::read_to_string(part).expect("a part of the schema"));
    }
    text
}

/// The tables that queries name, as the services' schema.rs declare them: table, column, type.
fn declared() -> Vec<(String, String, String)> {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../services");
    let mut found = Vec::new();
    for service in SERVICES {
        let mut table = None;
        for line in schema_of(&root.join(service).join("src")).lines().map(str::trim) {
            match line.split_once(" -> ").filter(|_| !line.starts_with("diesel::")) {
                Some((column, kind)) => {
                    let table: &String = table.as_ref().expect("a column stands in a table");
                    let kind = kind.trim_end_matches(',').to_owned();
                    found.push((table.clone(), column.to_owned(), kind));
                }
                None if line.contains('.') && line.ends_with('{') => {
                    table = line.split_whitespace().next().map(str::to_owned);
                }
                None => {}
            }
        }
    }
    found
}

/// The name of a column's type in a table! declaration.
fn kind_of(udt: &str, is_nullable: &str) -> String {
    let kind = match udt {
        "uuid" => "Uuid",
        "int4" => "Integer",
        "int8" => "BigInt",
        "text" => "Text",
        "bool" => "Bool",
        "bytea" => "Bytea",
        "date" => "Date",
        "timestamptz" => "Timestamptz",
        "numeric" => "Numeric",
        "_text" => "Array<Text>",
        "jsonb" => "Jsonb",
        other => other,
    };
    if is_nullable == "YES" { format!("Nullable<{kind}>") } else { kind.to_owned() }
}

#[tokio::test]
async fn the_declared_tables_are_those_of_the_database() {
    let database = Database::cloned().await;
    let client = database.connect().await;
    let query = "SELECT table_schema || '.' || table_name, column_name::text, udt_name::text, \
        is_nullable::text FROM information_schema.columns";
    let columns: BTreeMap<(String, String), String> = rows(&client, query)
        .await
        .into_iter()
        .map(|row| ((row[0].clone(), row[1].clone()), kind_of(&row[2], &row[3])))
        .collect();
    let declared = declared();
    assert!(declared.len() > 80, "only {} columns are declared", declared.len());
    for (table, column, kind) in &declared {
        let found = columns.get(&(table.clone(), column.clone()));
        assert_eq!(found, Some(kind), "{table}.{column}");
    }
    let tables: std::collections::BTreeSet<_> = declared.iter().map(|(table, ..)| table).collect();
    for table in tables {
        let of = columns.keys().filter(|(name, _)| name == table).count();
        let ours = declared.iter().filter(|(name, ..)| name == table).count();
        assert_eq!(ours, of, "{table} has columns that its declaration leaves out");
    }
    drop(client);
    database.remove().await;
}

/// Each migration runs on a database that holds what the one before could hold.
#[tokio::test]
async fn every_migration_runs_on_a_database_that_holds_data() {
    let database = Database::empty().await;
    let client = database.connect().await;
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../migrations");
    let mut folders: Vec<_> = std::fs::read_dir(root)
        .expect("the migrations")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    folders.sort();
    for folder in &folders {
        let text = std::fs::read_to_string(folder.join("up.sql")).expect("up.sql");
        let run = client.batch_execute(&format!("BEGIN; {text} COMMIT")).await;
        run.unwrap_or_else(|error| panic!("{}: {error:?}", folder.display()));
        client.batch_execute(&rows_after(folder)).await.expect("rows of this schema");
    }
    let kept = "SELECT (SELECT name FROM genealogy.place), (SELECT name FROM genealogy.partner), \
        (SELECT name FROM identity.person), \
        (SELECT code FROM genealogy.lot WHERE kind = 'received'), \
        (SELECT count(*)::text FROM audit.leaf), (SELECT check_code FROM haccp.reading), \
        (SELECT position::text FROM audit.sealed)";
    let kept = rows(&client, kept).await;
    assert_eq!(
        kept,
        [["House 2", "Two Rivers Meats", "Dana Okrent", "26329-1", "1", "CCP-1", "0"]]
    );
    drop(client);
    database.remove().await;
}

/// Rows that a plant could hold once a migration has run; later ones must leave them as they are.
fn rows_after(folder: &std::path::Path) -> String {
    let name = folder.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    let file = format!("schema/{}.sql", name.split('_').next().unwrap_or_default());
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
    std::fs::read_to_string(&file).unwrap_or_else(|_| panic!("{} is missing", file.display()))
}
