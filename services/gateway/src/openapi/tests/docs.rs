//! The pages of docs/ that the contract writes, pinned: a page that differs fails its test.
//! They never hold a sentence about an operation that is not in proto/.
//!
//! With UPDATE=1 in the environment the tests write the pages instead.

use std::path::Path;

use platform::caller::role_word;
use platform::error::KINDS;
use wire::contract::{Access, Operation, operations};
use wire::v1::{Effect, Role};

use crate::openapi::field::upper_snake;
use crate::openapi::operation::{summary, who};
use crate::openapi::{service_comment, short};
use crate::problem::type_of;

const MADE: &str =
    "<!-- Made from the contract by `UPDATE=1 cargo nextest run -p gateway docs`. -->";

fn pin(name: &str, page: &str) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
    let path = folder.join(name);
    if std::env::var_os("UPDATE").is_some() {
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(&path, page).unwrap();
    }
    let held = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(held == page, "docs/{name} differs from the contract; {MADE}");
}

fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

fn services(of: impl Fn(&Operation) -> bool) -> Vec<(&'static str, Vec<&'static Operation>)> {
    let mut services: Vec<(&str, Vec<&Operation>)> = Vec::new();
    for operation in operations().iter().filter(|operation| of(operation)) {
        match services.last_mut() {
            Some((name, found)) if *name == operation.service => found.push(operation),
            _ => services.push((&operation.service, vec![operation])),
        }
    }
    services
}

fn is_internal(operation: &Operation) -> bool {
    operation.access == Access::Internal
}

fn needs(operation: &Operation) -> String {
    let effect = match operation.effect {
        Effect::Unspecified | Effect::Session => None,
        Effect::Record => Some("the record's id, made by the caller"),
        Effect::Keyed => Some("`Idempotency-Key`"),
        Effect::Draft => Some("`If-Match` or `If-None-Match: *`"),
    };
    let ticket = operation.signature.then_some("`Signature-Ticket`");
    effect.into_iter().chain(ticket).collect::<Vec<_>>().join(", ")
}

fn rest(operation: &Operation) -> String {
    match &operation.http {
        Some(form) => format!("`{} {}`", form.verb.as_str(), form.template),
        None => "gRPC only".to_owned(),
    }
}

fn api() -> String {
    let mut page = format!(
        "{MADE}\n\n# Operations\n\nEvery operation by REST and gRPC. `/openapi.json` has the \
         fields, [access.md](access.md) who may call, [errors.md](errors.md) what can go wrong.\n"
    );
    for (service, operations) in services(|operation| !is_internal(operation)) {
        page.push_str(&format!("\n## {}\n\n{}\n\n", short(service), service_comment(service)));
        page.push_str("| REST | gRPC | Who may call | Needs | What it does |\n");
        page.push_str("|---|---|---|---|---|\n");
        for operation in operations {
            page.push_str(&format!(
                "| {} | `{}` | {} | {} | {} |\n",
                rest(operation),
                operation.grpc_path.trim_start_matches('/'),
                who(&operation.access),
                needs(operation),
                cell(&summary(&operation.comment)),
            ));
        }
    }
    page
}

fn roles() -> Vec<Role> {
    let all = (0..).map_while(|number| Role::try_from(number).ok());
    all.filter(|role| *role != Role::Unspecified).collect()
}

fn access() -> String {
    let words: Vec<&str> = roles().into_iter().map(role_word).collect();
    let mut page = format!(
        "{MADE}\n\n# Who may call what\n\nOne of the marked roles is enough. \"Anybody\" needs no \
         sign-in; where every role is marked, being signed in is enough. S: a signature ticket \
         is needed as well.\n"
    );
    for (service, operations) in services(|operation| !is_internal(operation)) {
        page.push_str(&format!("\n## {}\n\n", short(service)));
        page.push_str(&format!("| Operation | Anybody | {} |\n", words.join(" | ")));
        page.push_str(&format!("|---|{}\n", ":-:|".repeat(words.len() + 1)));
        for operation in operations {
            let marks: Vec<&str> = marks(operation);
            page.push_str(&format!("| {} | {} |\n", operation.method, marks.join(" | ")));
        }
    }
    let internal = services(is_internal);
    if !internal.is_empty() {
        page.push_str("\n## Services only\n\nAbsent from both doors.\n\n");
    }
    for operation in internal.into_iter().flat_map(|(_, operations)| operations) {
        page.push_str(&format!("- `{}`\n", operation.grpc_path.trim_start_matches('/')));
    }
    page
}

/// One mark a column: anybody, then each role.
fn marks(operation: &Operation) -> Vec<&'static str> {
    let mark = |allowed: bool| match (allowed, operation.signature) {
        (false, _) => "",
        (true, false) => "x",
        (true, true) => "S",
    };
    let is_open = operation.access == Access::Open;
    let by_role = roles().into_iter().map(|role| match &operation.access {
        Access::Roles(allowed) => allowed.contains(&role),
        Access::Open | Access::SignedIn => true,
        Access::Internal => false,
    });
    [is_open].into_iter().chain(by_role).map(mark).collect()
}

fn errors() -> String {
    let mut page = format!(
        "{MADE}\n\n# What can go wrong\n\nREST answers with an RFC 9457 problem \
         (`application/problem+json`), gRPC with a status whose `google.rpc.ErrorInfo` has the \
         reason. Wrong fields come all at once, and so do the reasons of a refusal. \"Repeat\" \
         says whether the same call may be sent again as it is.\n\n\
         | Title | HTTP | gRPC | Reason | Problem type | Repeat | Who can act |\n\
         |---|---|---|---|---|---|---|\n"
    );
    for row in KINDS {
        page.push_str(&format!(
            "| {} | {} | {} | `{}` | `{}` | {} | {} |\n",
            row.title,
            row.http,
            upper_snake(&format!("{:?}", row.code)),
            row.reason,
            type_of(row.reason),
            if row.repeat { "yes" } else { "no" },
            row.who,
        ));
    }
    page
}

#[test]
fn docs_name_every_operation() {
    pin("api.md", &api());
}

#[test]
fn docs_say_who_may_call() {
    pin("access.md", &access());
}

#[test]
fn docs_list_every_problem() {
    pin("errors.md", &errors());
}
