//! A support at the joint, and rotations that the block at the shaft's end is free to make.
//!
//! The shaft's end stays a clamped face: displacements are those seen from its block. The joint is held by reactions R
//! along directions d_i at a point b, spread over the articular surfaces as a load there is: g_i their unit nodal
//! forces, so that g_i·u is the surfaces' mean displacement along d_i, in their shares (a distributing coupling, no rigid
//! one). The block turns freely about axes a_k through a point c if the moment about them vanishes. With u_f the
//! displacement of the clamped model under the load f, u_j under g_j, and rotations θ_k,
//!
//!   Σ_j G_ij R_j + Σ_k Φ_ik θ_k = −g_i·u_f,  G_ij = g_i·u_j,  Φ_ik = d_i·(a_k × (b − c)),
//!   Σ_j Φ_jk R_j = −M_k,  M_k the moment of f about a_k through c.
//!
//! As many reactions as rotations: the second row alone gives R, by statics.

use crate::joint_load::{Action, JointLoad, JointSurface, Wrench};
use bicolumn_base::{BodySide, Vec3};
use nalgebra::{DMatrix, DVector};

/// Share of a load below which its moment is rounding.
const ROUNDING: f64 = 1e-9;
/// Arm that compares moments with forces, mm.
const ARM_MM: f64 = 100.0;

/// A support at the joint together with the freedom of the block at the shaft's end.
#[derive(Debug, Clone, PartialEq)]
pub struct JointSupport {
    held: Vec<Vec3>,
    at_mm: Vec3,
    released: Vec<Vec3>,
    centre_mm: Vec3,
    /// Orthonormal combinations of the released rotations that the joint's support resists (columns).
    resisted: DMatrix<f64>,
    /// Axes about which nothing resists.
    loose: Vec<Vec3>,
}

/// Load that a pair of supports cannot bear, or bears without the bone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SupportFault {
    /// The load turns the bone about an axis that neither support holds: direction, and moment, N·mm.
    Mechanism {
        /// Direction of the axis, through the block's centre.
        axis: Vec3,
        /// Moment of the load about it.
        moment_nmm: f64,
    },
    /// The load runs straight into the support at the joint.
    BorneByJoint,
}

impl JointSupport {
    /// From directions held at a point of the joint, and axes that the block turns about freely through a centre; all of
    /// unit length and square to each other.
    pub fn new(held: &[Vec3], at_mm: Vec3, released: &[Vec3], centre_mm: Vec3) -> Self {
        let mut support = JointSupport {
            held: held.to_vec(),
            at_mm,
            released: released.to_vec(),
            centre_mm,
            resisted: DMatrix::zeros(released.len(), 0),
            loose: vec![],
        };
        if released.is_empty() {
            return support;
        }
        // Eigenvectors of ΦᵀΦ part what is resisted from what is loose.
        let levers = support.levers();
        let eigen = (levers.transpose() * &levers).symmetric_eigen();
        let largest = eigen.eigenvalues.iter().fold(0.0_f64, |m, x| m.max(*x));
        let is_resisted = |k: usize| {
            let least = (ROUNDING * ARM_MM).powi(2).max(ROUNDING * largest);
            eigen.eigenvalues[k] > least
        };
        let (resisted, loose): (Vec<usize>, Vec<usize>) =
            (0..released.len()).partition(|k| is_resisted(*k));
        support.resisted = eigen.eigenvectors.select_columns(&resisted);
        support.loose = loose
            .into_iter()
            .map(|k| {
                let of = released.iter().enumerate();
                of.map(|(row, axis)| axis * eigen.eigenvectors[(row, k)])
                    .sum()
            })
            .collect();
        support
    }

    /// Φ: displacement of the held point along each direction by a unit rotation about each released axis, mm.
    fn levers(&self) -> DMatrix<f64> {
        let arm = self.at_mm - self.centre_mm;
        DMatrix::from_fn(self.held.len(), self.released.len(), |i, k| {
            self.held[i].dot(&self.released[k].cross(&arm))
        })
    }

    /// Directions held at the joint.
    pub fn held(&self) -> &[Vec3] {
        &self.held
    }

    /// Loads of unit reactions along the held directions, on both surfaces.
    pub fn unit_loads(&self, on: JointSurface, side: BodySide) -> Vec<JointLoad> {
        let unit = |(i, d): (usize, &Vec3)| JointLoad {
            name: format!("reaction {i}"),
            actions: vec![Action {
                on,
                what: Wrench::Force {
                    force_n: side.vector(*d),
                    line: None,
                },
            }],
            bend: None,
        };
        self.held.iter().enumerate().map(unit).collect()
    }

    /// Do statics alone give the reactions?
    pub fn is_determinate(&self) -> bool {
        self.held.len() == self.resisted.ncols()
    }

    /// Centre that the block turns about, mm.
    pub fn centre_mm(&self) -> Vec3 {
        self.centre_mm
    }

    /// Fault of the supports under a load of a resultant force, N, and moment about the block's centre, N·mm.
    pub fn fault(&self, force_n: Vec3, moment_nmm: Vec3) -> Option<SupportFault> {
        let size = moment_nmm.norm().max(ARM_MM * force_n.norm());
        let turning = self.loose.iter().map(|axis| SupportFault::Mechanism {
            axis: *axis,
            moment_nmm: axis.dot(&moment_nmm),
        });
        let mut driven = turning.filter(|f| match f {
            SupportFault::Mechanism { moment_nmm, .. } => moment_nmm.abs() > ROUNDING * size,
            SupportFault::BorneByJoint => false,
        });
        driven.next().or_else(|| {
            let about_joint = moment_nmm - (self.at_mm - self.centre_mm).cross(&force_n);
            let borne: Vec3 = self.held.iter().map(|d| d * d.dot(&force_n)).sum();
            let left = about_joint.norm().max(ARM_MM * (force_n - borne).norm());
            (left <= ROUNDING * size).then_some(SupportFault::BorneByJoint)
        })
    }

    /// Reactions along the held directions, N. `moment_nmm`: of the load about the block's centre. `elastic`: G and g·u_f
    /// of the clamped model, of no account where statics suffice; `None` where they are needed and missing, or the
    /// system is singular.
    pub fn reactions(
        &self,
        moment_nmm: Vec3,
        elastic: Option<(&DMatrix<f64>, &DVector<f64>)>,
    ) -> Option<Vec<f64>> {
        let (m, s) = (self.held.len(), self.resisted.ncols());
        let levers = self.levers() * &self.resisted;
        let about = DVector::from_iterator(
            self.released.len(),
            self.released.iter().map(|a| a.dot(&moment_nmm)),
        );
        let moment = self.resisted.transpose() * about;
        let found = if self.is_determinate() {
            levers.transpose().lu().solve(&-moment)?
        } else {
            let (flexibility, own) = elastic?;
            // Both rows made numbers of like size.
            let soft = flexibility.trace() / m as f64;
            let arm = levers.amax().max(1.0);
            let mut matrix = DMatrix::zeros(m + s, m + s);
            matrix
                .view_mut((0, 0), (m, m))
                .copy_from(&(flexibility / soft));
            matrix.view_mut((0, m), (m, s)).copy_from(&(&levers / arm));
            matrix
                .view_mut((m, 0), (s, m))
                .copy_from(&(levers.transpose() / arm));
            let mut right = DVector::zeros(m + s);
            right.rows_mut(0, m).copy_from(&(own / -soft));
            right.rows_mut(m, s).copy_from(&(moment / -arm));
            matrix.full_piv_lu().solve(&right)?
        };
        Some(found.iter().take(m).copied().collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const X: Vec3 = Vec3::new(1.0, 0.0, 0.0);
    const Y: Vec3 = Vec3::new(0.0, 1.0, 0.0);
    const Z: Vec3 = Vec3::new(0.0, 0.0, 1.0);

    /// A joint 16 mm in front of the axis, a block that turns about a point 150 mm above.
    fn support(held: &[Vec3], released: &[Vec3]) -> JointSupport {
        let (at, centre) = (Vec3::new(16.0, 0.0, 2.0), Vec3::new(0.0, 150.0, 0.0));
        JointSupport::new(held, at, released, centre)
    }

    fn moment(force: Vec3, at: Vec3) -> Vec3 {
        (at - Vec3::new(0.0, 150.0, 0.0)).cross(&force)
    }

    #[test]
    fn reactions_of_a_hinged_bone_are_those_of_statics() {
        let s = support(&[X, Z], &[X, Z]);
        assert!(s.is_determinate());
        // 200 N along the shaft at the joint: the guide's force over 150 mm balances its 16 and 2 mm of offset.
        let force = Y * 200.0;
        let own = moment(force, Vec3::new(16.0, 0.0, 2.0));
        assert_eq!(s.fault(force, own), None);
        let r = s.reactions(own, None).unwrap();
        assert!((r[0] + 200.0 * 16.0 / 150.0).abs() < 1e-9, "{r:?}");
        assert!((r[1] + 200.0 * 2.0 / 150.0).abs() < 1e-9, "{r:?}");
    }

    #[test]
    fn a_propped_cantilever_has_its_reaction() {
        // Point load P at the middle of a clamped beam, propped at its end: 5 P / 16.
        let (p, l, ei) = (10.0, 150.0, 1e7);
        let s = support(&[X], &[]);
        assert!(!s.is_determinate());
        let g = DMatrix::from_element(1, 1, l * l * l / (3.0 * ei));
        let own = DVector::from_element(1, -5.0 * p * l * l * l / (48.0 * ei));
        assert_eq!(s.reactions(Vec3::zeros(), None), None);
        let r = s.reactions(Vec3::zeros(), Some((&g, &own))).unwrap();
        assert!((r[0] - 5.0 * p / 16.0).abs() < 1e-12);
    }

    #[test]
    fn more_reactions_than_statics_give_keep_the_moment_at_the_hinge_zero() {
        let s = support(&[X, Y, Z], &[X, Z]);
        let g = DMatrix::from_diagonal(&DVector::from_vec(vec![4e-3, 1e-4, 5e-3]));
        let own = DVector::from_vec(vec![0.1, -0.02, 0.03]);
        let load = moment(Vec3::new(3.0, 100.0, -7.0), Vec3::new(30.0, 60.0, 4.0));
        let r = s.reactions(load, Some((&g, &own))).unwrap();
        let reaction = moment(X * r[0] + Y * r[1] + Z * r[2], Vec3::new(16.0, 0.0, 2.0));
        for axis in [X, Z] {
            assert!(axis.dot(&(load + reaction)).abs() < 1e-9);
        }
    }

    #[test]
    fn what_no_support_holds_is_a_mechanism_where_a_load_drives_it() {
        let joint = Vec3::new(16.0, 0.0, 2.0);
        // Two ball joints: free to turn about the line through both, which a force through the joint does not drive.
        let s = support(&[X, Z], &[X, Y, Z]);
        let axial = Y * 200.0;
        assert_eq!(s.fault(axial, moment(axial, joint)), None);
        let aside = moment(axial, joint + X * 3.0 + Z);
        let Some(SupportFault::Mechanism { axis, moment_nmm }) = s.fault(axial, aside) else {
            panic!("a mechanism")
        };
        let line = (joint - Vec3::new(0.0, 150.0, 0.0)).normalize();
        assert!((axis.dot(&line).abs() - 1.0).abs() < 1e-9);
        assert!((moment_nmm.abs() - line.dot(&aside).abs()).abs() < 1e-6);
        // A free joint below a hinge: everything that bends.
        let s = support(&[], &[X, Z]);
        assert!(matches!(
            s.fault(axial, moment(axial, joint)),
            Some(SupportFault::Mechanism { .. })
        ));
        // A force that the guide itself takes.
        let s = support(&[X, Z], &[]);
        let across = Z * 30.0;
        assert_eq!(
            s.fault(across, moment(across, joint)),
            Some(SupportFault::BorneByJoint)
        );
        assert_eq!(s.fault(Vec3::zeros(), Y * 7500.0), None);
    }
}
