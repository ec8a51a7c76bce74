//! The reference of the columns in the documentation holds the definitions of the responses.
//!
//! `BICOLUMN_WRITE=1 cargo test --release -p bicolumn-response --test column_reference` writes the page.

#![allow(clippy::unwrap_used)]

use bicolumn_response::{ResponseId, SCREW_COLUMNS};
use std::path::Path;

const HEAD: &str = "# Columns of results.csv

Written from the list of responses that the program measures (the crate `response`; its test `column_reference` writes and checks this page): do not edit.

A row stands for a design point and load case. Before the responses stand `point`, a column for each factor (the job key), and `case`; after them the construct as built (`medial_end_level_mm`, `other_end_level_mm`, `medial_innermost_screw_level_mm`,
`other_innermost_screw_level_mm`, `medial_working_length_mm`, `other_working_length_mm`, `shortest_shaft_screw_mm`, `one_cortex_shaft_screws`, `canal_floor_bent_mm`, `medial_end_nominal_mpa`, `other_end_nominal_mpa`:
what a factor may move besides itself), for each job key whose value was moved at a point so that its construct could be built `stated_KEY` and `built_KEY`, then `moved_factors` (the factors at whose level the point is not), the line of an axial force against the shaft's axis (`load_anterior_of_shaft_mm`, `load_lateral_of_shaft_mm`; the definition of `case` in `columns.json` gives every resultant), then `tets`, `nodes`, `residual`, `equilibrium`,
`seconds`, `status` (`done`, `not_converged`, `failed`, `skipped`, `unread`), `reason` and `warnings`. Where a discretisation error was estimated, a column `NAME__error` follows its response: the estimated size, in the same unit.
`columns.json` of every study carries the same definitions for the columns it has, and those of its other tables. A response that does not apply is empty.

| column | unit | error estimated | definition |
| --- | --- | --- | --- |
";

const SCREW_HEAD: &str = "
# Columns of screws.csv

A row stands for a design point, load case, screw and cut. `point` and a column for each factor stand first. What follows `torque_nmm` is the screw as built: it is the same for all load cases and cuts.

| column | unit | definition |
| --- | --- | --- |
";

fn page() -> String {
    let mut page = HEAD.to_owned();
    for id in ResponseId::all() {
        let estimated = if id.estimated_by().is_some() {
            "yes"
        } else {
            ""
        };
        let definition = id.definition().replace('|', "\\|");
        page += &format!(
            "| `{}` | {} | {estimated} | {definition} |\n",
            id.name(),
            id.unit().symbol()
        );
    }
    page += SCREW_HEAD;
    for column in SCREW_COLUMNS {
        page += &format!(
            "| `{}` | {} | {} |\n",
            column.name, column.unit, column.definition
        );
    }
    page
}

#[test]
fn the_page_of_columns_is_current() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/reference/columns.md");
    if std::env::var_os("BICOLUMN_WRITE").is_some() {
        std::fs::write(&file, page()).unwrap();
    }
    let kept = std::fs::read_to_string(&file).unwrap();
    assert!(
        kept == page(),
        "docs/reference/columns.md is stale: the head of this test says how to write it"
    );
}
