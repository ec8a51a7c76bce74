//! Published values that a job sets beside its own.

#![allow(clippy::unwrap_used)]

use bicolumn_job::{Job, Plan, resolve};
use std::path::Path;

const GOOD: &str = "[factors]\n\"construct.layout\" = [\"parallel\", \"lateral_only\"]\n[published.a]\nresponse = \"stiffness_n_per_mm\"\n\
                    case = \"axial\"\nat = \"construct.layout = parallel\"\nvalue = 5\nsd = 1\nsource = \"invented\"\nread_from = \"table\"\n";

fn job(text: &str) -> Result<Job, String> {
    Job::parse(Path::new("x.toml"), text).map_err(|e| e.to_string())
}

#[test]
fn a_published_value_is_read_and_changes_no_result() {
    let with = job(GOOD).unwrap();
    let row = &with.published()[0];
    assert_eq!((row.value, row.sd), (Some(5.0), Some(1.0)));
    let level = ("construct.layout".to_string(), "parallel".to_string());
    assert_eq!(row.at, [level]);
    let without = job(GOOD.split("[published.a]").next().unwrap()).unwrap();
    let digest = |job: &Job| resolve(job, &Plan::of(job).unwrap().points[0]).digest;
    assert_eq!(digest(&with), digest(&without));
}

#[test]
fn what_cannot_be_compared_is_told_with_its_line() {
    for (from, to, want) in [
        (
            "sd = 1\n",
            "",
            "x.toml:3: published.a: nothing says how near the computed value must come",
        ),
        (
            "source = \"invented\"\n",
            "",
            "x.toml:3: published.a: needs source",
        ),
        (
            "= \"axial\"",
            "= \"axail\"",
            "x.toml:5: published.a.case = axail: no such load case",
        ),
        (
            "\"stiffness_n_per_mm\"",
            "\"stiffness\"",
            "x.toml:4: published.a.response = stiffness: no such response",
        ),
        (
            "layout = parallel",
            "layout = orthogonal",
            "x.toml:6: published.a.at = construct.layout = orthogonal: orthogonal is no level of construct.layout",
        ),
        (
            "\"construct.layout = parallel\"",
            "\"plates.width_mm = 9\"",
            "plates.width_mm is no factor of this job",
        ),
        ("\"table\"", "\"hearsay\"", "must be one of"),
        (
            "value = 5\nsd = 1\n",
            "order = \"greater\"\n",
            "x.toml:7: published.a.order = greater: an order is one of two values",
        ),
        (
            "value = 5\n",
            "over_case = \"varus\"\norder = \"greater\"\n",
            "x.toml:9: published.a.sd = 1: has no effect beside order",
        ),
        (
            "sd = 1\n",
            "sd = 1\nuntold = \"plates.width_mm\"\n",
            "plates.width_mm is no factor of this job",
        ),
    ] {
        assert!(GOOD.contains(from), "{from}");
        let told = job(&GOOD.replacen(from, to, 1)).unwrap_err();
        assert!(told.contains(want), "{told}\n{want}");
    }
}
