//! Two tetrahedra to three: the shared face goes, an edge between the far corners comes.

use crate::improve::improver::Improver;
use crate::quality::shape;
use crate::tet::{face, six_volumes};

impl Improver<'_, '_> {
    /// Replaces a face of `t` between equal labels by an edge, if that raises the worst shape.
    pub(super) fn flip_face(&mut self, t: u32, i: usize) -> bool {
        let tet = self.mesh.tets[t as usize];
        let f = face(&tet, i);
        let near = tet[i];
        let Some(other) = self.mesh.across(f, t) else {
            return false;
        };
        let label = self.mesh.label[t as usize];
        if self.mesh.label[other as usize] != label {
            return false;
        }
        let Some(far) = self.mesh.tets[other as usize]
            .into_iter()
            .find(|v| !f.contains(v))
        else {
            return false;
        };
        let floor = self.mesh.shape[t as usize].min(self.mesh.shape[other as usize]) + 1e-3;
        let mut born = [[0; 4]; 3];
        let mut volume = 0.0;
        for (k, new) in born.iter_mut().enumerate() {
            // Face (a, b, c) turns away from `near`, so (near, a, b, far) is positive.
            *new = [near, f[k], f[(k + 1) % 3], far];
            let p = self.mesh.points(new);
            if shape(&p) <= floor {
                return false;
            }
            volume += six_volumes(&p);
        }
        let before: f64 = [t, other]
            .iter()
            .map(|o| six_volumes(&self.mesh.points(&self.mesh.tets[*o as usize])))
            .sum();
        if (volume - before).abs() > 1e-9 * before || !self.mesh.ring(near, far).is_empty() {
            return false;
        }
        self.mesh.remove(t);
        self.mesh.remove(other);
        for new in born {
            self.mesh.add(new, label);
        }
        true
    }
}
