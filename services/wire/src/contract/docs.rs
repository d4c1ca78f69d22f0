//! The comments of the contract, so that documents say what proto/ says.
//! It never changes the wording.

use std::collections::HashMap;
use std::sync::LazyLock;

use prost_reflect::FileDescriptor;

/// Comments by file name and place in the file.
type Comments = HashMap<(String, Vec<i32>), String>;

static COMMENTS: LazyLock<Comments> = LazyLock::new(|| {
    let mut comments = Comments::new();
    for file in super::pool().files() {
        let Some(info) = &file.file_descriptor_proto().source_code_info else { continue };
        for location in &info.location {
            let text = location.leading_comments.as_ref().or(location.trailing_comments.as_ref());
            if let Some(text) = text {
                let place = (file.name().to_owned(), location.path.clone());
                comments.insert(place, tidy(text));
            }
        }
    }
    comments
});

/// The comment of what stands at `path` in `file` (a descriptor's `parent_file()` and `path()`);
/// empty where there is none.
pub fn comment(file: &FileDescriptor, path: &[i32]) -> String {
    let place = (file.name().to_owned(), path.to_vec());
    COMMENTS.get(&place).cloned().unwrap_or_default()
}

/// Without the blank that follows the comment sign on each line.
fn tidy(text: &str) -> String {
    let lines: Vec<_> = text.lines().map(|line| line.strip_prefix(' ').unwrap_or(line)).collect();
    lines.join("\n").trim().to_owned()
}
