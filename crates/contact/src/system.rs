//! Elastic bodies with their interfaces and preload sections, shared by all load paths.

use crate::compliance::Compliance;
use crate::interfaces::Interfaces;
use crate::preload::Section;
use bicolumn_base::Vec3;
use bicolumn_model::Components;
use bicolumn_solve::Prepared;

/// Structure, interfaces and the compliance of the active rows.
pub(crate) struct System<'a> {
    pub(crate) interfaces: &'a Interfaces,
    /// Stiffness K and preconditioner M.
    pub(crate) prepared: Prepared<'a>,
    pub(crate) sections: Vec<Section>,
    /// Components of each node that supports constrain (Dirichlet).
    pub(crate) supported: Vec<Components>,
    /// Displacement beyond which a part counts as lost, mm.
    pub(crate) largest_displacement_mm: f64,
    /// Do interfaces alone hold some part?
    pub(crate) has_floating_parts: bool,
    pub(crate) compliance: Compliance,
}

impl System<'_> {
    /// Bᵀ λ: nodal forces of the rows, zero in supported components, N.
    pub(crate) fn nodal_forces(&self, lambda: &[f64]) -> Vec<Vec3> {
        let mut out = vec![Vec3::zeros(); self.supported.len()];
        let points = self.interfaces.points();
        for (row, f) in self.compliance.rows.iter().zip(lambda) {
            if *f != 0.0 {
                row.add_force(points, &self.sections, *f, &mut out);
            }
        }
        for (f, held) in out.iter_mut().zip(&self.supported) {
            *f = held.clear(*f);
        }
        out
    }

    /// B u for the rows from `first` on.
    pub(crate) fn jumps(&self, first: usize, u: &[Vec3]) -> Vec<f64> {
        let points = self.interfaces.points();
        let rows = self.compliance.rows[first..].iter();
        rows.map(|r| r.jump(points, &self.sections, u)).collect()
    }
}
