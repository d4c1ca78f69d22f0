//! The rules of what people read: every page is reachable, every path in it exists.
//! They never judge style; they only look for words that must not stand in the tree.

use std::collections::BTreeSet;
use std::path::Path;

use crate::source::{OUTSIDE, Source, has_word, root};

/// Where a reader begins.
const FRONT_DOORS: [&str; 2] = ["README.md", "DEVELOPERS.md"];

/// Marks of work not done, put together here so that this file holds none.
const UNDONE: [&str; 3] = [concat!("FIX", "ME"), concat!("TO", "DO"), concat!("XX", "X")];

/// Words that the tree must not name: how it came about, or one person's machine.
const UNSPOKEN: [&str; 4] = [
    concat!("trans", "cript"),
    concat!("seed ", "document"),
    concat!("fa", "rm"),
    concat!("../", "shared"),
];

/// How folders begin that exist on somebody's machine only.
const MACHINES: [&str; 3] = [concat!("/ho", "me/"), concat!("/Us", "ers/"), concat!("/wo", "rk/")];

/// Work not done, words that must not stand here, and folders of one machine.
pub fn words(file: &Source) -> Vec<String> {
    let mut faults = Vec::new();
    for (at, line) in file.text.lines().enumerate() {
        let lower = line.to_lowercase();
        let undone = UNDONE.into_iter().filter(|word| has_word(line, word));
        let unspoken = UNSPOKEN.into_iter().filter(|word| has_word(&lower, word));
        let machines = MACHINES.into_iter().filter(|start| names_folder(line, start));
        let found = undone.chain(unspoken).chain(machines);
        faults.extend(found.map(|word| format!("{}:{}: {word}", file.path, at + 1)));
    }
    faults
}

/// True where a path begins with `start`: not inside a longer path or an address.
fn names_folder(line: &str, start: &str) -> bool {
    line.match_indices(start).any(|(at, _)| {
        let before = line[..at].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || "./_-~".contains(c))
    })
}

/// Pages of docs/ that no chain of links reaches, and links within the tree that lead nowhere.
pub fn unlinked(tree: &[Source]) -> Vec<String> {
    let (mut faults, mut reached) = (Vec::new(), BTreeSet::new());
    let mut ahead: Vec<String> = FRONT_DOORS.map(str::to_owned).to_vec();
    while let Some(path) = ahead.pop() {
        let Some(page) = tree.iter().find(|file| file.path == path) else { continue };
        if !reached.insert(path.clone()) || !path.ends_with(".md") {
            continue;
        }
        for link in links(&page.text) {
            let target = beside(&path, link);
            let found = tree.iter().filter(|file| leads_to(&target, &file.path));
            let before = ahead.len();
            ahead.extend(found.map(|file| file.path.clone()));
            // A picture is no text, so it is not of the tree.
            let is_picture = target.ends_with(".png") && root().join(&target).is_file();
            if ahead.len() == before && !is_picture {
                faults.push(format!("{path}: the link {link} leads nowhere"));
            }
        }
    }
    let pages = tree.iter().filter(|file| file.path.starts_with("docs/"));
    let lost = pages.filter(|page| !reached.contains(&page.path));
    faults.extend(lost.map(|page| format!("{}: no page links to it", page.path)));
    faults
}

/// True for the file itself, and for what lies in the folder that a link names.
fn leads_to(target: &str, path: &str) -> bool {
    let rest = path.strip_prefix(target.trim_end_matches('/'));
    rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// The targets of the links of a page that stay within the tree, without what follows `#`.
fn links(text: &str) -> Vec<&str> {
    let targets = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
    let inner = targets.filter(|target| !target.contains("://") && !target.starts_with('#'));
    inner.map(|target| target.split('#').next().unwrap_or(target)).collect()
}

/// A link of a page as a path from the root.
fn beside(page: &str, link: &str) -> String {
    let mut parts: Vec<&str> = page.split('/').collect();
    parts.pop();
    for part in link.split('/') {
        match part {
            "." | "" => {}
            ".." => _ = parts.pop(),
            part => parts.push(part),
        }
    }
    parts.join("/")
}

/// Paths in backticks of a page that do not exist. A name in capitals stands for any name.
pub fn missing_paths(page: &Source, root: &Path) -> Vec<String> {
    let named = page.text.split('`').skip(1).step_by(2);
    let paths = named.filter_map(|text| text.split_whitespace().next()).filter(|path| {
        let first = path.split('/').next().unwrap_or_default();
        let is_ours = !first.is_empty() && !OUTSIDE.contains(&first) && root.join(first).is_dir();
        path.contains('/') && is_ours && !has_blank(path)
    });
    let missing = paths.filter(|path| !root.join(path).exists());
    missing.map(|path| format!("{}: there is no {path}", page.path)).collect()
}

fn has_blank(path: &str) -> bool {
    let is_blank = |part: &str| part.len() > 1 && part.chars().all(|c| c.is_ascii_uppercase());
    path.contains(['*', '<', '{', '…'])
        || path.split('/').any(|part| is_blank(part.trim_end_matches(".rs")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(path: &str, text: &str) -> Source {
        Source { path: path.to_owned(), text: text.to_owned() }
    }

    #[test]
    fn a_word_that_must_not_stand_is_found() {
        for word in UNDONE.into_iter().chain(UNSPOKEN) {
            assert_eq!(words(&page("a", &format!("It has {word}: here"))).len(), 1, "{word}");
        }
        for start in MACHINES {
            assert_eq!(words(&page("a", &format!("\"{start}somebody\""))).len(), 1, "{start}");
            assert_eq!(words(&page("a", &format!("https://example.org{start}a"))).len(), 0);
        }
        assert_eq!(words(&page("a", concat!("a trans", "cription"))).len(), 0);
    }

    #[test]
    fn a_lost_page_and_a_dead_link_are_found() {
        let tree = [
            page("README.md", "[a](docs/a.md#b) [c](https://example.org) [f](docs/folder)"),
            page("docs/a.md", "[d](decisions/d.md) [e](../none.md)"),
            page("docs/decisions/d.md", ""),
            page("docs/folder/f.md", ""),
            page("docs/lost.md", ""),
        ];
        let found = unlinked(&tree);
        let dead = "docs/a.md: the link ../none.md leads nowhere";
        assert_eq!(found, [dead, "docs/lost.md: no page links to it"]);
    }

    #[test]
    fn a_path_that_does_not_exist_is_found() {
        let root = crate::source::root();
        let found = |text: &str| missing_paths(&page("a.md", text), &root).len();
        assert_eq!(found("`tests/tidy.rs` and `services/NAME/src/rpc.rs` and `/v1/places`"), 0);
        assert_eq!(found("`tests/none.rs` and `tests/tidy.rs --quick`"), 1);
    }
}
