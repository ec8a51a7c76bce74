//! Mesh, linear solution and contact, from the engine's reports to the record's types. Every field is named, so
//! that a field added to a report does not compile until it has its place here.

use bicolumn_contact::{CaseReport, SetReport, Status};
use bicolumn_mesh::Quality;
use bicolumn_solve::{Method, SolveReport};
use bicolumn_store::{
    ContactRecord, ContactReport, ContactStatus, InterfaceRecord, MeshRecord, SolverRecord,
};

/// Quality table of a mesh.
pub(super) fn mesh(quality: &Quality) -> MeshRecord {
    let Quality {
        tets,
        vertices,
        nodes,
        min_dihedral_deg,
        max_dihedral_deg,
        min_radius_ratio,
        share_below_10_deg,
        share_below_18_deg,
        share_below_20_deg,
        parts,
        curved_share,
        straightened_share,
        min_jacobian_share,
        unclassified_facets,
        components,
        non_manifold_edges,
        hinged_edges,
        surface_error_mm,
        worst_at,
        fallback,
    } = quality.clone();
    MeshRecord {
        tets,
        vertices,
        nodes,
        min_dihedral_deg,
        max_dihedral_deg,
        min_radius_ratio,
        share_below_10_deg,
        share_below_18_deg,
        share_below_20_deg,
        parts,
        curved_share,
        straightened_share,
        min_jacobian_share,
        unclassified_facets,
        components,
        pinched_edges: non_manifold_edges,
        hinged_edges,
        surface_error_mm,
        worst_at,
        fallback: fallback.into(),
    }
}

/// Report of the linear solver.
pub(super) fn solver(report: &SolveReport) -> SolverRecord {
    let SolveReport {
        method,
        unknowns,
        right_sides,
        iterations,
        residuals,
        rounding_floors,
        stopped_at_floor,
        history,
        assemble_s,
        setup_s,
        solve_s,
        estimated_bytes,
        used_bytes,
        equilibrium,
    } = report.clone();
    SolverRecord {
        method: method_word(method).into(),
        unknowns,
        right_sides,
        iterations,
        residuals,
        rounding_floors,
        stopped_at_floor,
        history,
        assemble_s,
        setup_s,
        solve_s,
        estimated_bytes,
        used_bytes,
        equilibrium,
    }
}

fn method_word(method: Method) -> &'static str {
    match method {
        Method::Auto => "auto",
        Method::FactoredCoarse => "multigrid",
        Method::AggregatedCoarse => "aggregation",
        Method::Direct => "direct",
    }
}

/// Contact of a load case, or of a step before it.
pub(super) fn contact(report: &CaseReport) -> ContactRecord {
    ContactRecord {
        converged: report.is_converged(),
        reason: match &report.status {
            Status::Converged => None,
            Status::NotConverged { reason } => Some(reason.clone()),
        },
        report: contact_report(report.clone()),
    }
}

fn contact_report(report: CaseReport) -> ContactReport {
    let CaseReport {
        name,
        status,
        increments,
        iterations,
        residual,
        traction_change,
        history,
        dissipation_nmm,
        sets,
        section_forces_n,
    } = report;
    ContactReport {
        name,
        status: match status {
            Status::Converged => ContactStatus::Converged,
            Status::NotConverged { reason } => ContactStatus::NotConverged { reason },
        },
        increments,
        iterations,
        residual,
        traction_change,
        history,
        dissipation_nmm,
        sets: sets.into_iter().map(interface).collect(),
        section_forces_n,
    }
}

fn interface(set: SetReport) -> InterfaceRecord {
    let SetReport {
        name,
        open_share,
        stuck_share,
        slipping_share,
        area_mm2,
        contact_area_mm2,
        pressure_mean_mpa,
        pressure_max_mpa,
        normal_force_n,
        shear_force_n,
        slip_max_mm,
        opening_max_mm,
        penetration_max_mm,
    } = set;
    InterfaceRecord {
        name,
        open_share,
        stuck_share,
        slipping_share,
        area_mm2,
        contact_area_mm2,
        pressure_mean_mpa,
        pressure_max_mpa,
        normal_force_n,
        shear_force_n,
        slip_max_mm,
        opening_max_mm,
        penetration_max_mm,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case_contact::tests::report;

    /// Equal in JSON: the same keys and values on disk as the engine's own report would give.
    fn same_json(record: impl serde::Serialize, report: impl serde::Serialize) {
        let json = |v: Result<serde_json::Value, _>| v.unwrap();
        let (a, b) = (serde_json::to_value(record), serde_json::to_value(report));
        assert_eq!(json(a), json(b));
    }

    #[test]
    fn records_hold_the_keys_and_values_of_the_reports() {
        let quality = Quality {
            tets: 7,
            min_dihedral_deg: 12.5,
            parts: vec![("screw.01".into(), 3, 1.5)],
            ..Quality::default()
        };
        same_json(mesh(&quality), &quality);
        for method in [
            Method::Auto,
            Method::FactoredCoarse,
            Method::AggregatedCoarse,
            Method::Direct,
        ] {
            let report = SolveReport {
                method,
                residuals: vec![1e-9, 2e-9],
                ..SolveReport::default()
            };
            same_json(solver(&report), &report);
        }
        let reason = "residual 1e-2 after 200 iterations".to_string();
        for status in [Status::Converged, Status::NotConverged { reason }] {
            let report = report(status);
            same_json(contact(&report).report, &report);
        }
    }

    #[test]
    fn a_case_that_did_not_converge_keeps_its_reason() {
        let reason = "residual 1e-2 after 200 iterations".to_string();
        let record = contact(&report(Status::NotConverged {
            reason: reason.clone(),
        }));
        assert!(!record.converged && record.reason == Some(reason));
    }
}
