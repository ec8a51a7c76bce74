//! What interfaces did, as responses and in the record.

use crate::clamp::Column;
use crate::contact_model::Role;
use crate::model_build::{BuiltModel, ModelSolution};
use bicolumn_contact::{CaseReport, SetReport, Status};
use bicolumn_measure::CaseMeasures;
use bicolumn_store::ContactRecord;

/// What a case's report becomes in the record.
pub(crate) fn contact_record(report: &CaseReport) -> ContactRecord {
    ContactRecord {
        converged: report.is_converged(),
        reason: match &report.status {
            Status::Converged => None,
            Status::NotConverged { reason } => Some(reason.clone()),
        },
        report: serde_json::to_value(report).unwrap_or(serde_json::Value::Null),
    }
}

/// Puts what the interfaces of a solved model did among the responses of its load cases; nothing to do where
/// none can open or slide.
pub(crate) fn put_interfaces(
    measures: &mut [CaseMeasures],
    model: &BuiltModel,
    solution: &ModelSolution,
) {
    let (Some(contact), Some(reports)) = (&model.contact, &solution.contact) else {
        return;
    };
    let screws = contact.preloads[..contact.tightened].iter();
    let preload_n: Vec<f64> = screws.map(|p| p.force_n).collect();
    for (measures, report) in measures.iter_mut().zip(&reports.cases) {
        put_contact(measures, report, &contact.roles, &preload_n);
        put_compression(measures, report, reports.compression_n);
    }
}

/// Puts the responses of the interfaces among those of a load case. A case that did not converge keeps no
/// value at all.
///
/// `roles`: of the report's interfaces.
fn put_contact(
    measures: &mut CaseMeasures,
    report: &CaseReport,
    roles: &[Role],
    preload_n: &[f64],
) {
    if !report.is_converged() {
        for r in &mut measures.responses {
            r.value = None;
            r.at = None;
            r.part = None;
        }
        measures.profile = Default::default();
        measures.screws.clear();
        measures.sharing = None;
        return;
    }
    for (prefix, of_kind) in KINDS {
        let sets: Vec<&SetReport> = report
            .sets
            .iter()
            .zip(roles)
            .filter(|(_, role)| of_kind.contains(role))
            .map(|(set, _)| set)
            .collect();
        if sets.is_empty() {
            continue;
        }
        let most = |of: fn(&SetReport) -> f64| sets.iter().map(|s| of(s)).fold(0.0, f64::max);
        let sum = |of: fn(&SetReport) -> f64| sets.iter().map(|s| of(s)).sum::<f64>();
        let values = [
            ("pressure_max_mpa", most(|s| s.pressure_max_mpa)),
            ("area_mm2", sum(|s| s.contact_area_mm2)),
            ("force_n", sum(|s| s.pressure_mean_mpa * s.contact_area_mm2)),
            ("slip_max_mm", most(|s| s.slip_max_mm)),
            ("opening_max_mm", most(|s| s.opening_max_mm)),
        ];
        for (name, value) in values {
            put(measures, &format!("contact_{prefix}_{name}"), value);
        }
    }
    let shares = report.section_forces_n.iter().zip(preload_n);
    let left: Vec<f64> = shares.map(|(now, asked)| now / asked).collect();
    if !left.is_empty() {
        let least = left.iter().copied().fold(f64::INFINITY, f64::min);
        put(measures, "preload_left_least", least);
        let mean = left.iter().sum::<f64>() / left.len() as f64;
        put(measures, "preload_left_mean", mean);
    }
}

/// Puts what a clamp left of compression among the responses of a load case that converged.
fn put_compression(
    measures: &mut CaseMeasures,
    report: &CaseReport,
    compression_n: Option<[f64; 2]>,
) {
    let values = compression_n.filter(|_| report.is_converged());
    for (column, value) in Column::BOTH.into_iter().zip(values.into_iter().flatten()) {
        put(
            measures,
            &format!("compression_left_{}_n", column.name()),
            value,
        );
    }
}

/// Prefixes of responses, with the roles that they gather. A hole that a screw glides in touches nothing.
const KINDS: [(&str, &[Role]); 4] = [
    ("plate", &[Role::Plate]),
    ("head", &[Role::Seat, Role::UnderHead]),
    ("screw", &[Role::Shank]),
    ("fracture", &[Role::Fracture, Role::Split]),
];

fn put(measures: &mut CaseMeasures, name: &str, value: f64) {
    if let Some(r) = measures.responses.iter_mut().find(|r| r.name == name) {
        r.value = Some(value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_measure::{Response, definitions};

    fn report(status: Status) -> CaseReport {
        let set = |name: &str, pressure: f64| SetReport {
            name: name.into(),
            open_share: 0.5,
            stuck_share: 0.5,
            slipping_share: 0.0,
            area_mm2: 20.0,
            contact_area_mm2: 10.0,
            pressure_mean_mpa: 0.5 * pressure,
            pressure_max_mpa: pressure,
            normal_force_n: [0.0; 3],
            shear_force_n: [0.0; 3],
            slip_max_mm: 0.01,
            opening_max_mm: 0.02,
            penetration_max_mm: 0.0,
        };
        CaseReport {
            name: "axial".into(),
            status,
            increments: 1,
            iterations: 30,
            residual: 1e-7,
            traction_change: 1e-8,
            history: vec![],
            dissipation_nmm: 0.1,
            sets: vec![
                set("plate.medial-bone", 4.0),
                set("plate.lateral-bone", 6.0),
                set("screw.03-seat", 9.0),
            ],
            section_forces_n: vec![90.0, 140.0],
        }
    }

    fn measures() -> CaseMeasures {
        let empty = |name: String| Response {
            name,
            value: Some(-1.0),
            at: None,
            part: None,
        };
        CaseMeasures {
            case: "axial".into(),
            responses: definitions().into_iter().map(|d| empty(d.name)).collect(),
            profile: Default::default(),
            screws: vec![],
            sharing: Some(Default::default()),
        }
    }

    #[test]
    fn responses_gather_the_sets_of_their_kind() {
        let mut m = measures();
        let roles = [Role::Plate, Role::Plate, Role::Seat];
        put_contact(&mut m, &report(Status::Converged), &roles, &[100.0, 200.0]);
        let value = |name: &str| {
            let found = m.responses.iter().find(|r| r.name == name);
            found.unwrap_or_else(|| panic!("{name}")).value
        };
        assert_eq!(value("contact_plate_pressure_max_mpa"), Some(6.0));
        assert_eq!(value("contact_plate_area_mm2"), Some(20.0));
        assert_eq!(value("contact_plate_force_n"), Some(50.0));
        assert_eq!(value("contact_head_pressure_max_mpa"), Some(9.0));
        assert_eq!(
            value("contact_fracture_area_mm2"),
            Some(-1.0),
            "no such set"
        );
        assert_eq!(value("preload_left_least"), Some(0.7));
        assert!((value("preload_left_mean").unwrap() - 0.8).abs() < 1e-12);
    }

    #[test]
    fn a_case_that_did_not_converge_has_no_value() {
        let mut m = measures();
        let reason = "residual 1e-2 after 200 iterations".to_string();
        let report = report(Status::NotConverged {
            reason: reason.clone(),
        });
        put_contact(&mut m, &report, &[], &[]);
        assert!(m.responses.iter().all(|r| r.value.is_none()));
        assert_eq!(m.sharing, None);
        let record = contact_record(&report);
        assert!(!record.converged && record.reason == Some(reason));
    }
}
