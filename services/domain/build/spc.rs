//! Turns the table of control chart constants into constant data.
//! It never computes a constant: the table is the published one, checked for its shape only.

use std::path::Path;

/// The Rust text of the table; faults of the file are added to `faults`.
pub fn constants(path: &Path, faults: &mut Vec<String>) -> String {
    let name = path.display();
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| {
        faults.push(format!("{name}: {error}"));
        String::new()
    });
    let mut lines = text.lines();
    let columns: Vec<&str> = lines.next().unwrap_or_default().split(',').collect();
    let mut out = String::from("static CONSTANTS: &[Constants] = &[\n");
    for (at, line) in lines.enumerate() {
        let cells: Vec<&str> = line.split(',').collect();
        let cell = |column: &str| {
            columns.iter().position(|c| *c == column).and_then(|place| cells.get(place)).copied()
        };
        let size = cell("n").and_then(|text| text.parse::<usize>().ok());
        if cells.len() != columns.len() || size != Some(at + 2) {
            faults.push(format!("{name}: row {at}: sizes run from 2 without a gap"));
        }
        out.push_str("Constants {");
        for column in ["d2", "A2", "D3", "D4", "E2"] {
            let value = cell(column).filter(|text| text.parse::<f64>().is_ok_and(f64::is_finite));
            if value.is_none() {
                faults.push(format!("{name}: row {at}: {column} is no number"));
            }
            let field = match column {
                "D3" => "range_lower",
                "D4" => "range_upper",
                "A2" => "mean_limit",
                "E2" => "individual_limit",
                other => other,
            };
            out.push_str(&format!(" {field}: {:?},", value.unwrap_or_default()));
        }
        out.push_str(" },\n");
    }
    out.push_str("];\n");
    out
}
