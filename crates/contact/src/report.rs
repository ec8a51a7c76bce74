//! Reports of load cases: convergence, and the contact state of each interface.

use crate::law::Law;
use crate::state::{ContactStatus, State};
use crate::system::System;
use bicolumn_base::Vec3;
use serde::{Deserialize, Serialize};

/// Convergence of a load case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// Equilibrium and laws are met to tolerance.
    Converged,
    /// Not met; the displacement is that of the last iteration and must not be used as an answer.
    NotConverged {
        /// Where and how it stopped.
        reason: String,
    },
}

/// Report of a load case or a step of preparation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CaseReport {
    /// Name of the case or step.
    pub name: String,
    /// Convergence.
    pub status: Status,
    /// Increments done.
    pub increments: usize,
    /// Iterations, all increments.
    pub iterations: usize,
    /// Relative residual of equilibrium at the end. The laws of the interfaces hold to rounding.
    pub residual: f64,
    /// Relative change of the interface forces in the last iteration.
    pub traction_change: f64,
    /// Residual after each iteration of the last increment.
    pub history: Vec<f64>,
    /// Frictional dissipation, N·mm, summed over the increments of this case; never negative.
    pub dissipation_nmm: f64,
    /// Contact state of each interface at the end.
    pub sets: Vec<SetReport>,
    /// Axial force of each preload section at the end, N.
    pub section_forces_n: Vec<f64>,
}

impl CaseReport {
    pub(crate) fn new(name: &str) -> Self {
        CaseReport {
            name: name.to_owned(),
            status: Status::Converged,
            increments: 0,
            iterations: 0,
            residual: 0.0,
            traction_change: 0.0,
            history: vec![],
            dissipation_nmm: 0.0,
            sets: vec![],
            section_forces_n: vec![],
        }
    }

    /// Did it converge?
    pub fn is_converged(&self) -> bool {
        self.status == Status::Converged
    }
}

/// Traction at one corner of an interface at the end of a case.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Traction {
    /// Index of the set.
    pub set: usize,
    /// Patch number: corners of one patch share all that follows but place and area.
    pub patch: usize,
    /// Place on side a, mm.
    pub at: Vec3,
    /// Mean unit normal of the patch, from side a to side b.
    pub normal: Vec3,
    /// Area that belongs to it, mm².
    pub area_mm2: f64,
    /// Pressure, MPa.
    pub pressure_mpa: f64,
    /// Shear traction on side b, with what a thread holds, MPa.
    pub shear_mpa: Vec3,
    /// Mean gap, mm.
    pub gap_mm: f64,
}

/// Contact state of one interface at the end of a case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetReport {
    /// Name.
    pub name: String,
    /// Share of the area that is not pressed. A thread holds it along the screw's axis all the same.
    pub open_share: f64,
    /// Share that is pressed (or bonded) without slip; of a thread, without slip round the screw.
    pub stuck_share: f64,
    /// Share that is pressed and slips; of a thread, round the screw.
    pub slipping_share: f64,
    /// Area, mm².
    pub area_mm2: f64,
    /// Area under pressure, mm².
    pub contact_area_mm2: f64,
    /// Pressure averaged over the area under pressure, MPa.
    pub pressure_mean_mpa: f64,
    /// Largest pressure at a corner of the interface's facets, MPa.
    pub pressure_max_mpa: f64,
    /// Resultant of the pressure on side b, N.
    pub normal_force_n: [f64; 3],
    /// Resultant of the shear on side b, N, with what threads hold.
    pub shear_force_n: [f64; 3],
    /// Largest slip under pressure since the case began, mm.
    pub slip_max_mm: f64,
    /// Largest opening, mm.
    pub opening_max_mm: f64,
    /// Largest penetration under pressure, or jump of a bond or along a thread, mm: an error, zero in the exact
    /// solution.
    pub penetration_max_mm: f64,
}

impl System<'_> {
    /// Contact state of every interface. `before` is the displacement at the start of the case.
    pub(crate) fn set_reports(
        &self,
        state: &State,
        before: &[Vec3],
        laws: &[Law],
    ) -> Vec<SetReport> {
        let mut sets: Vec<SetReport> = self
            .interfaces
            .sets()
            .iter()
            .map(|s| SetReport {
                name: s.name.clone(),
                open_share: 0.0,
                stuck_share: 0.0,
                slipping_share: 0.0,
                area_mm2: 0.0,
                contact_area_mm2: 0.0,
                pressure_mean_mpa: 0.0,
                pressure_max_mpa: 0.0,
                normal_force_n: [0.0; 3],
                shear_force_n: [0.0; 3],
                slip_max_mm: 0.0,
                opening_max_mm: 0.0,
                penetration_max_mm: 0.0,
            })
            .collect();
        for (k, p) in self.interfaces.points().iter().enumerate() {
            let (set, law) = (&mut sets[p.set], laws[p.set]);
            let jump = p.jump(&state.u);
            let moved = jump - p.jump(before);
            let gap = p.gap + p.normal.dot(&jump);
            let status = state.status(k, p, law);
            let (normal, shear) = state.parts(k, p);
            set.area_mm2 += p.area;
            match status {
                ContactStatus::Open => set.open_share += p.area,
                ContactStatus::Stick => set.stuck_share += p.area,
                ContactStatus::Slip => set.slipping_share += p.area,
            }
            if status != ContactStatus::Open {
                set.contact_area_mm2 += p.area;
                set.pressure_mean_mpa += normal;
                set.pressure_max_mpa = set.pressure_max_mpa.max(normal / p.area);
                let slip = (moved - p.normal * p.normal.dot(&moved)).norm();
                set.slip_max_mm = set.slip_max_mm.max(slip);
            }
            let strayed = jump - state.reference[k];
            let error = match law.at(p.normal) {
                Law::Bonded => strayed.norm(),
                Law::Apart => 0.0,
                law @ Law::Threaded { .. } => {
                    let [along, _] = law.tangents(p.normal);
                    along.dot(&strayed).abs().max(-gap)
                }
                Law::Frictional { .. } | Law::Frictionless => (-gap).max(0.0),
            };
            set.penetration_max_mm = set.penetration_max_mm.max(error);
            set.opening_max_mm = set.opening_max_mm.max(gap);
            for c in 0..3 {
                set.normal_force_n[c] += p.normal[c] * normal;
                set.shear_force_n[c] += shear[c];
            }
        }
        for s in &mut sets {
            let area = s.area_mm2;
            if s.contact_area_mm2 > 0.0 {
                s.pressure_mean_mpa /= s.contact_area_mm2;
            }
            s.open_share /= area;
            s.stuck_share /= area;
            s.slipping_share /= area;
        }
        sets
    }

    /// Tractions at every corner of the interfaces.
    pub(crate) fn tractions(&self, state: &State) -> Vec<Traction> {
        let points = self.interfaces.points();
        let corners = self.interfaces.corners().iter();
        corners
            .map(|corner| {
                let k = corner.point as usize;
                let p = &points[k];
                let (normal, shear) = state.parts(k, p);
                Traction {
                    set: p.set,
                    patch: k,
                    at: corner.at,
                    normal: p.normal,
                    area_mm2: corner.area,
                    pressure_mpa: normal / p.area,
                    shear_mpa: shear / p.area,
                    gap_mm: p.gap + p.normal.dot(&p.jump(&state.u)),
                }
            })
            .collect()
    }
}
