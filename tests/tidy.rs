//! The tree keeps its own rules: each test here is one, and fails with the list of what breaks it.
//! It never builds or starts anything: it reads files.

#[path = "tidy/house.rs"]
mod house;
#[path = "tidy/paper.rs"]
mod paper;
#[path = "tidy/rust.rs"]
mod rust;
#[path = "tidy/source.rs"]
mod source;

use source::{Rust, Source};

/// Fails with every fault on a line of its own.
#[track_caller]
fn none(faults: Vec<String>) {
    assert!(faults.is_empty(), "{} found:\n  {}", faults.len(), faults.join("\n  "));
}

fn in_rust(rule: fn(&Rust) -> Vec<String>) -> Vec<String> {
    source::rust().iter().flat_map(rule).collect()
}

fn paths(tree: &[Source]) -> Vec<&str> {
    tree.iter().map(|file| file.path.as_str()).collect()
}

/// Our crates by name with their manifests.
fn manifests() -> Vec<(String, String)> {
    let tree = source::tree();
    let inner = tree.into_iter().filter_map(|file| {
        let folder = file.path.strip_suffix("/Cargo.toml")?;
        let name = folder.strip_prefix("services/").unwrap_or(folder).to_owned();
        Some((name, file.text))
    });
    inner.collect()
}

#[test]
fn a_file_has_at_most_500_lines() {
    none(in_rust(rust::long_file));
}

#[test]
fn a_line_has_at_most_100_columns() {
    none(in_rust(rust::long_lines));
}

#[test]
fn a_function_has_at_most_70_lines() {
    none(in_rust(rust::long_functions));
}

#[test]
fn a_file_says_why_it_exists_and_what_it_never_does() {
    none(in_rust(rust::headless));
}

#[test]
fn nothing_is_silenced_skipped_or_left_undone() {
    none(in_rust(rust::silenced));
}

#[test]
fn a_call_that_may_end_the_process_has_its_proof_beside_it() {
    none(in_rust(rust::unproved));
}

#[test]
fn tasks_time_and_ids_come_from_their_one_place() {
    none(in_rust(rust::ambient));
}

#[test]
fn clippy_bans_what_has_one_place() {
    let tree = source::tree();
    let clippy = tree.iter().find(|file| file.path == "clippy.toml").expect("clippy.toml");
    none(rust::unbanned(&clippy.text));
}

#[test]
fn a_crate_imports_only_along_the_arrows() {
    let manifests = manifests();
    let ours: Vec<_> = manifests.iter().map(|(name, _)| name.clone()).collect();
    let named = |(name, text): &(String, String)| {
        let is_named = text.lines().any(|line| line == format!("name = \"{name}\""));
        (!is_named).then(|| format!("the package of {name} has another name than its folder"))
    };
    let misnamed = manifests.iter().filter_map(named);
    let wrong = manifests.iter().flat_map(|(name, text)| house::arrows(name, text, &ours));
    none(misnamed.chain(wrong).collect());
}

#[test]
fn a_room_names_only_what_it_may_know() {
    none(in_rust(house::rooms));
}

#[test]
fn domain_is_pure() {
    none(in_rust(house::impure));
}

#[test]
fn platform_is_a_closed_list_of_files() {
    none(house::attic(&paths(&source::tree())));
}

#[test]
fn every_method_says_who_may_call_it() {
    let files = source::ending(".proto");
    none(files.iter().flat_map(house::accessless).collect());
}

#[test]
fn migrations_count_up_without_a_gap() {
    none(house::misnumbered(&paths(&source::tree())));
}

#[test]
fn every_table_has_a_class() {
    none(house::unclassed(&source::ending(".sql")));
}

#[test]
fn no_word_stands_where_it_must_not() {
    none(source::tree().iter().flat_map(paper::words).collect());
}

#[test]
fn every_page_can_be_reached_and_every_link_leads_somewhere() {
    none(paper::unlinked(&source::tree()));
}

#[test]
fn a_path_that_a_page_names_exists() {
    let root = source::root();
    let pages = source::ending(".md");
    none(pages.iter().flat_map(|page| paper::missing_paths(page, &root)).collect());
}
