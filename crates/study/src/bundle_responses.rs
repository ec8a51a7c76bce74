//! `responses.json`: every response of a solved point and the section forces of its screws, to be computed again from
//! the bundle's other files.

use bicolumn_base::Vec3;
use bicolumn_measure::{CaseMeasures, Response, ScrewForce};
use serde_json::{Value, json};

/// Responses by load case.
pub(crate) fn responses_json(measures: &[CaseMeasures]) -> Value {
    let cases = measures.iter().map(|m| {
        json!({
            "name": m.case,
            "responses": m.responses.iter().map(response).collect::<Vec<_>>(),
            "screws": m.screws.iter().map(screw).collect::<Vec<_>>(),
        })
    });
    json!({ "cases": cases.collect::<Vec<_>>() })
}

fn response(r: &Response) -> Value {
    json!({
        "name": r.id.name(),
        "unit": r.id.unit().to_string(),
        "value": r.value,
        "at": r.at,
        "part": r.part,
    })
}

fn screw(s: &ScrewForce) -> Value {
    let vector = |v: Vec3| json!([v.x, v.y, v.z]);
    json!({
        "name": s.screw.to_string(),
        "cut": s.cut.name(),
        "at": vector(s.at),
        "axis": vector(s.axis),
        "force_n": vector(s.force_n),
        "moment_nmm": vector(s.moment_nmm),
    })
}
