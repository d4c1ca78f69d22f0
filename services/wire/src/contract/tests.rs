//! Which declarations the contract lets through, and what is read of them.
//! It never depends on the operations that exist today, but for one.

use super::{Access, Verb, check, operations, pool, read};
use crate::sample::pool_of_text;

const HEAD: &str = r#"syntax = "proto3"; package hankbook.v1;
import "google/api/annotations.proto"; import "hankbook/v1/contract.proto";
message Ask { string id = 1; } message Answer { string id = 1; }"#;

/// What is wrong with a file beside the contract.
fn problems(text: &str) -> Vec<String> {
    read(&pool_of_text(text)).1
}

fn problems_of_rpc(options: &str) -> Vec<String> {
    let rpc = format!("service S {{ rpc M(Ask) returns (Answer) {{ {options} }} }}");
    problems(&format!("{HEAD} {rpc}"))
}

fn problems_of_field(field: &str) -> Vec<String> {
    problems(&format!("{HEAD} message F {{ {field} }}"))
}

#[test]
fn the_contract_holds() {
    assert_eq!(check(), Ok(()));
    let convert = operations().iter().find(|o| o.method == "Convert").unwrap();
    assert_eq!(convert.grpc_path, "/hankbook.v1.Calculations/Convert");
    assert_eq!(convert.access, Access::Open);
    let http = convert.http.as_ref().unwrap();
    assert_eq!(
        (http.verb, http.template.as_str(), http.body),
        (Verb::Post, "/v1/calculations/convert", true)
    );
    assert!(convert.comment.starts_with("Converts a quantity"), "{}", convert.comment);
    let quantity = pool().get_message_by_name("hankbook.v1.Quantity").unwrap();
    let comment = super::comment(&quantity.parent_file(), quantity.path());
    assert!(comment.starts_with("A value in a unit."), "{comment}");
    let value = super::field_rules(&quantity.get_field_by_name("value").unwrap());
    assert!(value.required && value.decimal && !value.secret);
}

#[test]
fn a_raw_body_goes_into_its_field_and_comes_by_post() {
    let attach = operations().iter().find(|o| o.method == "AttachFile").unwrap();
    let field = attach.raw().expect("a raw body");
    assert_eq!(field.name(), "file");
    assert!(super::field_rules(field).media_types.contains(&"text/csv".to_owned()));
    assert!(!attach.http.as_ref().unwrap().body);
    let head = HEAD.replace("message Ask {", "message Ask { google.api.HttpBody raw = 2; ");
    let head =
        head.replace("import \"google", "import \"google/api/httpbody.proto\"; import \"google");
    let found = |verb: &str| {
        let form = format!("option (google.api.http) = {{ {verb}: \"/v1/x\" body: \"raw\" }};");
        let access = "option (access) = { open: true };";
        let rpc = format!("rpc M(Ask) returns (Answer) {{ {access} {form} }}");
        problems(&format!("{head} service S {{ {rpc} }}"))
    };
    assert_eq!(found("post"), Vec::<String>::new());
    assert_eq!(found("put"), ["hankbook.v1.S.M: takes a raw body, which only POST does"]);
}

#[test]
fn the_public_set_shows_nothing_internal() {
    let public = prost_reflect::DescriptorPool::decode(super::PUBLIC_DESCRIPTOR_SET).unwrap();
    assert!(public.files().all(|file| !file.name().contains("internal")));
    assert!(public.get_message_by_name("hankbook.v1.Quantity").is_some());
}

#[test]
fn a_method_says_who_may_call_it_in_one_way() {
    assert_eq!(problems_of_rpc("option (access) = { roles: [ROLE_QA, ROLE_MANAGER] };").len(), 0);
    assert_eq!(problems_of_rpc("option (access) = { signed_in: true };").len(), 0);
    for (options, problem) in [
        ("", "says not who may call it (option access)"),
        ("option (access) = {};", "has an empty access"),
        ("option (access) = { open: true signed_in: true };", "has more than one form of access"),
        ("option (access) = { roles: [ROLE_UNSPECIFIED] };", "names no known role"),
        (
            "option (access) = { internal: true };",
            "internal access and package hankbook.internal go together",
        ),
        (
            "option (access) = { open: true }; option (google.api.http) = { get: \"/v1/{x}\" };",
            "has {x} in its path, which is no field of its request",
        ),
        (
            "option (access) = { open: true };
             option (google.api.http) = { get: \"/v1/{id}\" body: \"*\" };",
            "is read by GET and can have no body",
        ),
        (
            "option (access) = { open: true };
             option (google.api.http) = { post: \"/v1/{id}\" body: \"id\" };",
            "has a body that is neither \"*\" nor a google.api.HttpBody",
        ),
    ] {
        assert_eq!(problems_of_rpc(options), [format!("hankbook.v1.S.M: {problem}")]);
    }
}

#[test]
fn an_internal_method_has_no_http_form() {
    let head = HEAD.replace("package hankbook.v1;", "package hankbook.internal.v1;");
    let rpc = |options: &str| {
        let access = "option (hankbook.v1.access) = { internal: true };";
        problems(&format!(
            "{head} service S {{ rpc M(Ask) returns (Answer) {{ {access} {options} }} }}"
        ))
    };
    assert_eq!(rpc("").len(), 0);
    assert_eq!(
        rpc("option (google.api.http) = { post: \"/v1/x\" };"),
        ["hankbook.internal.v1.S.M: is internal and must have no HTTP form"]
    );
}

#[test]
fn options_that_make_no_sense_are_named() {
    for (field, problem) in [
        ("bool f = 1 [(min) = \"1\"];", "min is for decimals and whole numbers"),
        ("optional int32 f = 1 [(max) = \"1e\"];", "max = \"1e\" is no plain decimal number"),
        ("optional int32 f = 1 [(min) = \"2\", (max) = \"1\"];", "min is above max"),
        ("int32 f = 1 [(decimal) = true];", "decimal needs `optional` here: an empty text is"),
        ("optional int32 f = 1 [(decimal) = true];", "decimal is for text"),
        ("string f = 1 [(pattern) = \"(\"];", "the pattern does not compile: "),
        ("bytes f = 1 [(pattern) = \"a\"];", "pattern is for text"),
        ("string f = 1 [(max_items) = 1];", "max_items is for lists and maps"),
        ("bool f = 1 [(one_word_of) = \"a\"];", "one_word_of is for text"),
        ("bytes f = 1 [(media_type) = \"a/b\"];", "media_type is for google.api.HttpBody"),
        ("map<string, string> f = 1 [(max_len) = 1];", "max_len is for text and bytes"),
        ("int32 f = 1 [(required) = true];", "required needs `optional` here"),
        ("oneof o { string f = 1 [(required) = true]; }", "required does not fit a member"),
        (
            "string f = 1 [(required) = true, (output_only) = true];",
            "required and output_only exclude each other",
        ),
        ("int64 f = 1;", "a public message must not hold 64-bit whole numbers"),
    ] {
        let found = problems_of_field(field);
        assert_eq!(found.len(), 1, "{field}: {found:?}");
        assert!(found[0].starts_with(&format!("hankbook.v1.F.f: {problem}")), "{found:?}");
    }
}

#[test]
fn a_request_is_never_also_a_reply() {
    let rpc = "rpc M(Ask) returns (Ask) { option (access) = { open: true }; }";
    assert_eq!(
        problems(&format!("{HEAD} service S {{ {rpc} }}")),
        ["hankbook.v1.Ask: is both asked and answered; give the request its own message"]
    );
}
