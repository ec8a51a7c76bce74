//! `columns.json`: every column of every table of a study, with its kind, unit, definition, and when its cells are empty.

use bicolumn_response::SCREW_COLUMNS;
use serde_json::{Value, json};

/// Column of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TableColumn {
    /// Name.
    pub name: &'static str,
    /// Kind: `identity` of a row, `setting`, `result`, `error` of a result, `verdict`, `evidence`.
    pub kind: &'static str,
    /// Definition.
    pub definition: &'static str,
    /// When its cells are empty; empty: never.
    pub empty: &'static str,
}

const fn column(
    name: &'static str,
    kind: &'static str,
    definition: &'static str,
    empty: &'static str,
) -> TableColumn {
    TableColumn {
        name,
        kind,
        definition,
        empty,
    }
}

const CASE: TableColumn = column("case", "identity", "Load case.", "");
const RESPONSE: TableColumn = column(
    "response",
    "identity",
    "Response: a column of results.csv.",
    "",
);
const UNIT: TableColumn = column("unit", "identity", "Unit of the response.", "it has none");

/// Columns of `hypothesis.csv`.
pub const HYPOTHESIS: [TableColumn; 10] = [
    column(
        "hypothesis",
        "identity",
        "Name of the hypothesis.",
        "the one of [hypothesis]",
    ),
    RESPONSE,
    column("over", "identity", "Factor whose levels are compared.", ""),
    column(
        "construct",
        "identity",
        "Construct, or level of the factor that the verdicts are told apart by.",
        "",
    ),
    CASE,
    column(
        "level",
        "identity",
        "Level that is compared with the baseline.",
        "",
    ),
    column(
        "difference_percent",
        "result",
        "Value at the level less that at the baseline at equal other factors, per cent of the size of the latter; positive: higher at the level.",
        "",
    ),
    column(
        "error_percent",
        "error",
        "Size of its error: discretisation estimates of both values, or the mesh noise where it is larger.",
        "",
    ),
    column(
        "verdict_of_level",
        "verdict",
        "supported, refuted, smaller than matters, not resolved or not credited, of the level.",
        "",
    ),
    column(
        "verdict",
        "verdict",
        "The same, of all levels that count.",
        "",
    ),
];

/// Columns of `effects.csv`.
pub const EFFECTS: [TableColumn; 14] = [
    CASE,
    RESPONSE,
    UNIT,
    column(
        "term",
        "identity",
        "Factor, two factors joined by ×, rest or pure_error.",
        "",
    ),
    column("degrees_of_freedom", "result", "Degrees of freedom.", ""),
    column(
        "sum_of_squares",
        "result",
        "Sum of squares, in the square of the unit.",
        "",
    ),
    column(
        "share",
        "result",
        "Sum of squares over that of all points about their mean.",
        "",
    ),
    column(
        "swing",
        "result",
        "Largest effect less the smallest, in the unit.",
        "rest and pure_error",
    ),
    column(
        "least_at",
        "result",
        "Levels of the smallest effect.",
        "rest and pure_error",
    ),
    column(
        "most_at",
        "result",
        "Levels of the largest effect.",
        "rest and pure_error",
    ),
    column(
        "twice_mean_error",
        "error",
        "Twice the mean size of the estimated discretisation errors, in the unit.",
        "a point has no estimate; rest and pure_error",
    ),
    column(
        "f_against_replicates",
        "evidence",
        "Mean square over that of the replicates.",
        "no replicates; rest and pure_error",
    ),
    column(
        "p_against_replicates",
        "evidence",
        "Probability that the scatter of replicates alone makes it so large.",
        "no replicates; rest and pure_error",
    ),
    column(
        "reverse_case",
        "identity",
        "Load case that is the reverse of this one and has the same effects.",
        "there is none",
    ),
];

/// Columns of `regression.csv`.
pub const REGRESSION: [TableColumn; 16] = [
    CASE,
    RESPONSE,
    UNIT,
    column("points", "evidence", "Number of points.", ""),
    column("mean", "result", "Mean over the points, in the unit.", ""),
    column(
        "standard_deviation",
        "result",
        "Standard deviation over the points, in the unit.",
        "",
    ),
    column(
        "percentile_5",
        "result",
        "5th percentile over the points, in the unit.",
        "",
    ),
    column(
        "percentile_50",
        "result",
        "Median over the points, in the unit.",
        "",
    ),
    column(
        "percentile_95",
        "result",
        "95th percentile over the points, in the unit.",
        "",
    ),
    column(
        "term",
        "identity",
        "Factor, or a level of a word against its first.",
        "no model could be fitted",
    ),
    column(
        "coefficient",
        "result",
        "Least squares coefficient, unit of the response over that of the factor.",
        "no model could be fitted",
    ),
    column(
        "standard_error",
        "error",
        "Its standard error: a measure of what the model leaves out.",
        "no model could be fitted",
    ),
    column(
        "standardised",
        "result",
        "Coefficient in standard deviations of the response for one of the factor.",
        "no model could be fitted",
    ),
    column(
        "r2",
        "evidence",
        "Share of the variation that the model explains.",
        "no model could be fitted",
    ),
    column(
        "adjusted_r2",
        "evidence",
        "The same, adjusted for the number of coefficients.",
        "no model could be fitted",
    ),
    column(
        "q2",
        "evidence",
        "Share that it predicts at points left out; negative: worse than the mean.",
        "no model could be fitted",
    ),
];

/// Columns of `pareto.csv`.
pub const PARETO: [TableColumn; 6] = [
    CASE,
    column("point", "identity", "Design point.", ""),
    RESPONSE,
    column(
        "better",
        "setting",
        "lower or higher: which is taken as better.",
        "",
    ),
    column("value", "result", "Value of the response, in its unit.", ""),
    column(
        "on_front",
        "verdict",
        "true: no other point is as good in all that is weighed and better in something.",
        "",
    ),
];

/// Columns of `sensitivity.csv` behind the point and the factors.
pub(crate) const SENSITIVITY: [TableColumn; 4] = [
    CASE,
    RESPONSE,
    column(
        "choice",
        "identity",
        "Choice of the response's definition that is changed; as_defined: none.",
        "",
    ),
    column(
        "value",
        "result",
        "Value so read, in the response's unit.",
        "it could not be read so",
    ),
];

/// Columns of `published.csv`.
pub(crate) const PUBLISHED: [TableColumn; 24] = [
    column(
        "name",
        "identity",
        "Name that the job gives the published value.",
        "",
    ),
    RESPONSE,
    CASE,
    column(
        "at",
        "identity",
        "Construct: levels of factors.",
        "the job's only point",
    ),
    column(
        "over",
        "identity",
        "Construct whose value divides.",
        "the same construct, or no ratio",
    ),
    column(
        "over_response",
        "identity",
        "Response that divides.",
        "the same response, or no ratio",
    ),
    column(
        "over_case",
        "identity",
        "Load case of the value that divides.",
        "the same case, or no ratio",
    ),
    UNIT,
    column(
        "published",
        "setting",
        "Published mean, in the unit; a pure number for a ratio.",
        "an order is published",
    ),
    column(
        "order",
        "setting",
        "Published order: is the first value the greater or the smaller one, by size.",
        "a value is published",
    ),
    column(
        "sd",
        "setting",
        "Published standard deviation.",
        "none was published",
    ),
    column("n", "setting", "Number of specimens.", "not told"),
    column(
        "band_low",
        "setting",
        "Lower end of the band that the computed value must lie in.",
        "the job states no band, or one open below",
    ),
    column(
        "band_high",
        "setting",
        "Upper end of that band.",
        "the job states no band, or one open above",
    ),
    column(
        "computed",
        "result",
        "Computed value, at the first levels of what the source does not tell.",
        "no computed point stands there",
    ),
    column("error", "error", "Its estimated error.", "not estimated"),
    column(
        "interval_low",
        "result",
        "Least computed value over the factors that the source does not tell.",
        "the job names none",
    ),
    column(
        "interval_low_at",
        "identity",
        "Levels that it stands at.",
        "the job names none",
    ),
    column(
        "interval_high",
        "result",
        "Greatest computed value over them.",
        "the job names none",
    ),
    column(
        "interval_high_at",
        "identity",
        "Levels that it stands at.",
        "the job names none",
    ),
    column(
        "difference_percent",
        "result",
        "Computed less published, per cent of the latter.",
        "no computed point stands there",
    ),
    column(
        "verdict",
        "verdict",
        "holds, misses, undecided, depends on factors that the source does not tell, or no verdict with the reason.",
        "",
    ),
    column(
        "read_from",
        "evidence",
        "Where the published value was read.",
        "",
    ),
    column("source", "evidence", "Source of the published value.", ""),
];

/// Rows of `columns.json` of the tables beside `results.csv`; `factors`: the job's, whose columns lead some of them.
pub(crate) fn other_tables(factors: &[String]) -> Vec<Value> {
    let row = |file: &str, c: &TableColumn| {
        json!({
            "file": file,
            "name": c.name,
            "kind": c.kind,
            "unit": bicolumn_base::Unit::of_name(c.name).map_or("", bicolumn_base::Unit::symbol),
            "definition": c.definition,
            "empty": c.empty,
        })
    };
    let lead = |file: &str| {
        let point = row(file, &column("point", "identity", "Design point.", ""));
        let factors = factors.iter().map(|f| factor_row(file, f));
        std::iter::once(point)
            .chain(factors)
            .collect::<Vec<Value>>()
    };
    let screws = SCREW_COLUMNS.iter().map(|c| {
        json!({
            "file": "screws.csv",
            "name": c.name,
            "kind": if c.unit.is_empty() { "identity" } else { "result" },
            "unit": c.unit,
            "definition": c.definition,
            "empty": "the screw has none, or the record does not tell",
        })
    });
    let mut rows = lead("screws.csv");
    rows.extend(screws);
    rows.extend(lead("sensitivity.csv"));
    let others: [(&str, &[TableColumn]); 6] = [
        ("sensitivity.csv", &SENSITIVITY),
        ("published.csv", &PUBLISHED),
        ("effects.csv", &EFFECTS),
        ("regression.csv", &REGRESSION),
        ("pareto.csv", &PARETO),
        ("hypothesis.csv", &HYPOTHESIS),
    ];
    for (file, columns) in others {
        rows.extend(columns.iter().map(|c| row(file, c)));
    }
    rows
}

/// Row of a factor's column.
pub(crate) fn factor_row(file: &str, factor: &str) -> Value {
    json!({
        "file": file,
        "name": factor,
        "kind": "factor",
        "unit": crate::results::unit_of_key(factor),
        "definition": format!("Factor of the design: job key {factor}."),
        "empty": "",
    })
}
