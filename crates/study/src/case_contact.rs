//! Contact of a load case, from the solver's report to the form that the measures read.

use crate::contact_model::ContactModel;
use crate::role::Role;
use bicolumn_contact::{CaseReport, SetReport};
use bicolumn_measure::{CaseContact, ContactState, InterfaceState};
use bicolumn_response::InterfaceKind;

/// State of the interfaces in each load case. `compression_n`: across the two columns of a clamped fracture.
pub(crate) fn case_contacts(
    contact: &ContactModel,
    cases: &[CaseReport],
    compression_n: Option<[f64; 2]>,
) -> Vec<CaseContact> {
    let screws = contact.preloads[..contact.tightened].iter();
    let preload_n: Vec<f64> = screws.map(|p| p.force_n).collect();
    let of_case = |report| case_contact(report, &contact.roles, &preload_n, compression_n);
    cases.iter().map(of_case).collect()
}

/// `roles`: of the report's interfaces; `preload_n`: tension that each screw was tightened to.
fn case_contact(
    report: &CaseReport,
    roles: &[Role],
    preload_n: &[f64],
    compression_n: Option<[f64; 2]>,
) -> CaseContact {
    if !report.is_converged() {
        return CaseContact::NotConverged;
    }
    let sets = report.sets.iter().zip(roles);
    let tensions = report.section_forces_n.iter().zip(preload_n);
    CaseContact::Converged(ContactState {
        interfaces: sets.filter_map(|(s, r)| interface(s, *r)).collect(),
        tension_left: tensions.map(|(now, asked)| now / asked).collect(),
        compression_n,
    })
}

fn interface(set: &SetReport, role: Role) -> Option<InterfaceState> {
    Some(InterfaceState {
        kind: kind(role)?,
        pressure_max_mpa: set.pressure_max_mpa,
        pressure_mean_mpa: set.pressure_mean_mpa,
        area_mm2: set.contact_area_mm2,
        slip_max_mm: set.slip_max_mm,
        opening_max_mm: set.opening_max_mm,
    })
}

/// Kind of interface; `None` for a hole that a screw glides in, which touches nothing.
fn kind(role: Role) -> Option<InterfaceKind> {
    match role {
        Role::Plate => Some(InterfaceKind::Plate),
        Role::Seat | Role::UnderHead => Some(InterfaceKind::Head),
        Role::Shank => Some(InterfaceKind::Screw),
        Role::Fracture | Role::Split => Some(InterfaceKind::Fracture),
        Role::Glide => None,
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use bicolumn_contact::Status;

    /// An invented report with three interfaces and two tightened screws.
    pub(crate) fn report(status: Status) -> CaseReport {
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
                set("screw.03-glide", 0.0),
                set("screw.03-seat", 9.0),
            ],
            section_forces_n: vec![90.0, 140.0],
        }
    }

    #[test]
    fn interfaces_keep_their_kind_and_a_gliding_hole_is_none() {
        let roles = [Role::Plate, Role::Glide, Role::Seat];
        let found = case_contact(
            &report(Status::Converged),
            &roles,
            &[100.0, 200.0],
            Some([1.0, 2.0]),
        );
        let CaseContact::Converged(state) = found else {
            panic!("{found:?}")
        };
        let kinds: Vec<InterfaceKind> = state.interfaces.iter().map(|i| i.kind).collect();
        assert_eq!(kinds, [InterfaceKind::Plate, InterfaceKind::Head]);
        assert_eq!(state.interfaces[1].pressure_max_mpa, 9.0);
        assert_eq!(state.tension_left, [0.9, 0.7]);
        assert_eq!(state.compression_n, Some([1.0, 2.0]));
    }

    #[test]
    fn a_case_that_did_not_converge_has_no_state() {
        let reason = "residual 1e-2 after 200 iterations".to_string();
        let found = case_contact(&report(Status::NotConverged { reason }), &[], &[], None);
        assert_eq!(found, CaseContact::NotConverged);
    }
}
