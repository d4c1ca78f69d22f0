//! The rules of the house: which room may name which, and what the contract and the tables say.
//! They never build anything: manifests, .proto files and migrations are read as text.

use crate::source::{Rust, Source, has_word, in_name};

/// The files of `platform`: a closed list, so that it never becomes an attic. A new one belongs
/// here only if every service needs it and it knows no rule of the plant.
const PLATFORM: [&str; 24] = [
    "caller",
    "clock",
    "condition",
    "db",
    "error",
    "hop",
    "idempotency",
    "lib",
    "moments",
    "outbox",
    "pages",
    "plant",
    "records",
    "revocation",
    "server",
    "service",
    "shape",
    "statement",
    "tasks",
    "telemetry",
    "tickets",
    "tokens",
    "traces",
    "watch",
];

/// Libraries that `domain` must not even be able to name.
const IMPURE: [&str; 9] =
    ["actix-web", "diesel", "getrandom", "prost", "rand", "reqwest", "tokio", "tonic", "uuid"];

/// Words that would make `domain` impure.
const IMPURE_WORDS: [&str; 9] = [
    "async",
    "await",
    "rand",
    "thread_rng",
    "thread_local",
    "tokio",
    "Instant",
    "SystemTime",
    "static mut",
];

/// Modules of the standard library that `domain` must not name.
const IMPURE_MODULES: [&str; 6] = ["env", "fs", "io", "net", "process", "thread"];

/// The classes of tables.
const CLASSES: [&str; 5] = ["record", "link", "sealed", "state", "transient"];

/// Our crates that a crate may import; nothing where it may import all.
fn importable(name: &str) -> Option<&'static [&'static str]> {
    match name {
        "domain" | "cluster" => Some(&[]),
        "wire" => Some(&["domain"]),
        "platform" => Some(&["wire", "domain"]),
        "hankbook" | "tests" => None,
        _ => Some(&["platform", "wire", "domain"]),
    }
}

/// Imports against the arrows, in a manifest of the crate `name`; `ours` are all our crates.
pub fn arrows(name: &str, manifest: &str, ours: &[String]) -> Vec<String> {
    let (mut faults, mut here) = (Vec::new(), false);
    let mut import = |imported: &str| {
        let is_ours = ours.iter().any(|own| own == imported);
        let may = importable(name).is_none_or(|may| may.contains(&imported));
        if is_ours && !may {
            faults.push(format!("{name} imports {imported}"));
        }
        if name == "domain" && IMPURE.contains(&imported) {
            faults.push(format!("domain imports {imported}, which is not pure"));
        }
        if name == "gateway" && imported.starts_with("diesel") {
            faults.push("gateway imports diesel".to_owned());
        }
    };
    for line in manifest.lines().map(str::trim) {
        if let Some(table) = line.strip_prefix('[') {
            let table = table.trim_end_matches(']');
            here = table.ends_with("dependencies");
            if let Some((_, imported)) = table.split_once("dependencies.") {
                import(imported);
            }
        } else if here && let Some((key, value)) = line.split_once('=') {
            import(key.split('.').next().unwrap_or(key).trim());
            let named = value.split_once("package").and_then(|(_, named)| named.split('"').nth(1));
            named.into_iter().for_each(&mut import);
        }
    }
    faults
}

/// The room of a file within its service, where it is one: `rpc`, `shape` or `store`.
fn room(path: &str) -> Option<&str> {
    let mut parts = path.strip_prefix("services/")?.splitn(3, '/').skip(1);
    let inner = parts.next().filter(|folder| *folder == "src").and(parts.next())?;
    let room = inner.split('/').next()?.trim_end_matches(".rs");
    let is_service = !path.starts_with("services/platform/") && !path.starts_with("services/wire/");
    (is_service && ["rpc", "shape", "store"].contains(&room)).then_some(room)
}

/// Names that a room must not know, and `diesel` anywhere in the gateway.
pub fn rooms(file: &Rust) -> Vec<String> {
    let in_gateway = file.path.starts_with("services/gateway/");
    let banned: &[&str] = match room(&file.path) {
        _ if in_gateway => &["diesel"],
        Some("rpc") => &["diesel"],
        Some("shape") => &["diesel", "clock", "Clock"],
        Some("store") => &["wire", "tonic"],
        _ => return Vec::new(),
    };
    let named = file.production().flat_map(|(number, line)| {
        let found = banned.iter().filter(|name| match **name {
            // diesel_async is diesel too; jiff_diesel only carries a time across.
            "diesel" => names_diesel(&line.code),
            name => has_word(&line.code, name),
        });
        found.map(move |name| (number, *name))
    });
    named.map(|(number, name)| format!("{}:{number}: names {name}", file.path)).collect()
}

fn names_diesel(code: &str) -> bool {
    code.match_indices("diesel").any(|(at, _)| {
        let before = code[..at].chars().next_back();
        !before.is_some_and(in_name)
    })
}

/// What would make `domain` depend on anything but its arguments.
pub fn impure(file: &Rust) -> Vec<String> {
    if !file.path.starts_with("services/domain/src/") {
        return Vec::new();
    }
    let named = file.production().flat_map(|(number, line)| {
        let words = IMPURE_WORDS.into_iter().filter(|word| has_word(&line.code, word));
        let modules = IMPURE_MODULES.into_iter().filter(|name| names_std(&line.code, name));
        words.chain(modules).map(move |word| (number, word))
    });
    named.map(|(number, word)| format!("{}:{number}: names {word}", file.path)).collect()
}

/// True for `std::fs` and for `use std::{fmt, fs}`.
fn names_std(code: &str, module: &str) -> bool {
    let in_group = code.split_once("std::{").is_some_and(|(_, group)| has_word(group, module));
    has_word(code, &format!("std::{module}")) || in_group
}

/// Files of `platform` that are not on its closed list, and names on the list without a file.
pub fn attic(paths: &[&str]) -> Vec<String> {
    let inside = paths.iter().filter_map(|path| path.strip_prefix("services/platform/src/"));
    let found: Vec<_> = inside.map(|name| name.trim_end_matches(".rs")).collect();
    let new = found.iter().filter(|name| !PLATFORM.contains(name));
    let new = new.map(|name| format!("platform has {name}, which is not on its closed list"));
    let gone = PLATFORM.iter().filter(|name| !found.contains(name));
    new.chain(gone.map(|name| format!("platform has no {name}, which its list names"))).collect()
}

/// Methods of a .proto file that do not say who may call them.
pub fn accessless(file: &Source) -> Vec<String> {
    let bare = file.text.lines().map(|line| line.split("//").next().unwrap_or(line));
    let bare = bare.collect::<Vec<_>>().join("\n");
    let mut faults = Vec::new();
    for (at, _) in bare.match_indices("rpc ").filter(|(at, _)| bare[..*at].ends_with([' ', '\n'])) {
        let rest = &bare[at + 4..];
        let name = rest.split('(').next().unwrap_or(rest).trim();
        let end = rest[1..].find("rpc ").map_or(rest.len(), |end| end + 1);
        if !rest[..end].contains("access)") {
            faults.push(format!("{}: {name} has no access option", file.path));
        }
    }
    faults
}

/// Folders of migrations that do not count up from 0001 by one, or hold no up.sql.
pub fn misnumbered(paths: &[&str]) -> Vec<String> {
    let inside = paths.iter().filter_map(|path| path.strip_prefix("migrations/"));
    let mut folders: Vec<_> = inside.clone().filter_map(|path| path.split('/').next()).collect();
    folders.dedup();
    let mut faults = Vec::new();
    for (at, folder) in folders.iter().enumerate() {
        let (number, words) = folder.split_once('_').unwrap_or((folder, ""));
        if number != format!("{:04}", at + 1) || words.is_empty() {
            faults.push(format!("migrations/{folder}: {:04}_words is expected here", at + 1));
        }
        if !inside.clone().any(|path| path == format!("{folder}/up.sql")) {
            faults.push(format!("migrations/{folder}: it holds no up.sql"));
        }
    }
    faults
}

/// Tables that no migration puts into a class.
pub fn unclassed(migrations: &[Source]) -> Vec<String> {
    let all: String = migrations.iter().map(|file| file.text.as_str()).collect();
    let all = all.replace("%1$I", "%I");
    let marks = |table: &str| {
        let called = CLASSES.iter().any(|class| {
            all.contains(&format!("house.make_{class}('{table}'"))
                || all.contains(&format!("house.make_{class}(format('{table}'"))
        });
        let comment = all.split_once(&format!("COMMENT ON TABLE {table} IS '"));
        let commented = comment.is_some_and(|(_, text)| {
            CLASSES.iter().any(|class| text.starts_with(&format!("{class}: ")))
        });
        called || commented
    };
    let mut faults = Vec::new();
    for (at, made) in all.match_indices("CREATE TABLE ") {
        let rest = all[at + made.len()..].trim_start_matches("IF NOT EXISTS ");
        let end = rest.find(|c: char| c.is_whitespace() || c == '(').unwrap_or(rest.len());
        if !marks(&rest[..end]) {
            faults.push(format!("{} has no class", &rest[..end]));
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(text: &str) -> Source {
        Source { path: "sample".to_owned(), text: text.to_owned() }
    }

    #[test]
    fn an_arrow_that_points_the_wrong_way_is_found() {
        let ours = ["domain", "wire", "haccp", "genealogy"].map(str::to_owned);
        let manifest = "[dependencies]\nhaccp.workspace = true\nwire = { workspace = true }\n";
        assert_eq!(arrows("genealogy", manifest, &ours), ["genealogy imports haccp"]);
        assert_eq!(arrows("hankbook", manifest, &ours).len(), 0);
        assert_eq!(arrows("domain", manifest, &ours).len(), 2);
        let hidden =
            "[dev-dependencies.haccp]\n[target.x.dependencies]\nh = { package = \"haccp\" }";
        assert_eq!(arrows("wire", hidden, &ours).len(), 2);
        assert_eq!(arrows("domain", "[dependencies]\ntokio = \"1\"", &ours).len(), 1);
        assert_eq!(arrows("gateway", "[dependencies]\ndiesel-async = \"1\"", &ours).len(), 1);
    }

    #[test]
    fn a_name_in_the_wrong_room_is_found() {
        let found = |path: &str, text: &str| rooms(&Rust::read(path, text)).len();
        assert_eq!(found("services/haccp/src/rpc/a.rs", "use diesel_async::B;"), 1);
        assert_eq!(found("services/haccp/src/shape.rs", "use platform::clock::Clock;"), 2);
        assert_eq!(found("services/haccp/src/shape.rs", "use jiff_diesel::Timestamp;"), 0);
        assert_eq!(found("services/haccp/src/store/a.rs", "use wire::v1;"), 1);
        assert_eq!(found("services/haccp/src/store/a.rs", "// Nothing of wire.\nuse diesel;"), 0);
        assert_eq!(found("services/gateway/src/door.rs", "use diesel::prelude::*;"), 1);
    }

    #[test]
    fn an_impure_domain_is_found() {
        let found = |text: &str| impure(&Rust::read("services/domain/src/a.rs", text)).len();
        assert_eq!(found("use std::{fmt, fs};\nasync fn a() {}\n"), 2);
        assert_eq!(found("let a = std::time::SystemTime::now();"), 1);
        assert_eq!(found("use std::fmt;\n// No async here.\n"), 0);
    }

    #[test]
    fn a_new_file_of_platform_is_found() {
        let mut paths: Vec<_> =
            PLATFORM.iter().map(|name| format!("services/platform/src/{name}.rs")).collect();
        let found =
            |paths: &[String]| attic(&paths.iter().map(String::as_str).collect::<Vec<_>>()).len();
        assert_eq!(found(&paths), 0);
        paths.push("services/platform/src/common.rs".to_owned());
        assert_eq!(found(&paths), 1);
        assert_eq!(found(&paths[1..]), 2);
    }

    #[test]
    fn a_method_without_access_is_found() {
        let text = "rpc A(B) returns (C) {\n option (access) = { open: true };\n }\n\
                    // rpc Old(D) returns (E);\n rpc F(G) returns (H);\n";
        assert_eq!(accessless(&source(text)), ["sample: F has no access option"]);
    }

    #[test]
    fn a_migration_out_of_order_is_found() {
        assert_eq!(misnumbered(&["migrations/0001_a/up.sql", "migrations/0002_b/up.sql"]).len(), 0);
        assert_eq!(misnumbered(&["migrations/0001_a/up.sql", "migrations/0001_b/up.sql"]).len(), 1);
        assert_eq!(misnumbered(&["migrations/0002_b/down.sql"]).len(), 2);
    }

    #[test]
    fn a_table_without_class_is_found() {
        let good = "CREATE TABLE a.b (\n); CALL house.make_record('a.b', 'c', 'd');\n\
                    CREATE TABLE %1$I.e (\n); CALL house.make_transient(format('%I.e', x), y);\n\
                    CREATE TABLE a.f (g int); COMMENT ON TABLE a.f IS 'state: h';";
        assert_eq!(unclassed(&[source(good)]).len(), 0);
        let bad = "CREATE TABLE a.b (\n); COMMENT ON TABLE a.b IS 'whatever';";
        assert_eq!(unclassed(&[source(bad)]), ["a.b has no class"]);
    }
}
