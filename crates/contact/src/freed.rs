//! The reduced problem with the shrink of pulled slabs eliminated: f·u − k q = F at each, for the force q on
//! its row.

use nalgebra::{DMatrix, DVector};

/// What elimination makes of the compliance.
pub(crate) struct Freed {
    slabs: Vec<usize>,
    /// Inverse of k − S at the slabs.
    inverse: DMatrix<f64>,
    /// The compliance with the slabs free, row by row.
    pub(crate) values: Vec<Vec<f64>>,
}

/// Slabs under a given force: (the force, their stiffness).
type Pulls = [Option<(f64, f64)>];

impl Freed {
    /// As before, with the rows that have come since; nothing where no slab is pulled.
    pub(crate) fn updated(old: Option<Self>, s: &[Vec<f64>], pulls: &Pulls) -> Option<Self> {
        let mut freed = match old {
            Some(freed) => freed,
            None => Self::without_rows(s, pulls)?,
        };
        let first = freed.values.len();
        for (i, row) in s.iter().enumerate() {
            let n = freed.slabs.len();
            let seen = DVector::from_fn(n, |a, _| row[freed.slabs[a]]);
            let through = &freed.inverse * seen;
            let from = if i < first { first } else { 0 };
            let mut new = row[from..].to_vec();
            for (slab, t) in freed.slabs.iter().zip(through.iter()) {
                for (v, c) in new.iter_mut().zip(&s[*slab][from..]) {
                    *v += t * c;
                }
            }
            match freed.values.get_mut(i) {
                Some(old) => old.extend(new),
                None => freed.values.push(new),
            }
        }
        Some(freed)
    }

    fn without_rows(s: &[Vec<f64>], pulls: &Pulls) -> Option<Self> {
        let pulled = pulls.iter().enumerate();
        let pulled: Vec<(usize, f64)> = pulled
            .filter_map(|(k, p)| p.map(|(_, stiffness)| (k, stiffness)))
            .collect();
        if pulled.is_empty() {
            return None;
        }
        let n = pulled.len();
        let slack = DMatrix::from_fn(n, n, |i, j| {
            let own = if i == j { pulled[i].1 } else { 0.0 };
            own - s[pulled[i].0][pulled[j].0]
        });
        Some(Freed {
            slabs: pulled.iter().map(|p| p.0).collect(),
            inverse: slack.try_inverse()?,
            values: vec![],
        })
    }

    /// Lets the slabs shrink as far as they will with all other forces as they are; gives what they lacked.
    pub(crate) fn ahead(
        &self,
        s: &[Vec<f64>],
        pulls: &Pulls,
        forces: &[f64],
        motions: &mut [f64],
    ) -> DVector<f64> {
        let lack = DVector::from_fn(self.slabs.len(), |i, _| {
            let k = self.slabs[i];
            let (wanted, stiffness) = pulls[k].unwrap_or_default();
            motions[k] - wanted - stiffness * forces[k]
        });
        for (slab, d) in self.slabs.iter().zip((&self.inverse * &lack).iter()) {
            for (m, c) in motions.iter_mut().zip(&s[*slab]) {
                *m += c * d;
            }
        }
        lack
    }

    /// Sets the forces of the slabs after those of the points.
    pub(crate) fn finish(
        &self,
        s: &[Vec<f64>],
        lack: &DVector<f64>,
        before: &[f64],
        forces: &mut [f64],
    ) {
        let lack = DVector::from_fn(self.slabs.len(), |a, _| {
            let rows = s[self.slabs[a]].iter().zip(before.iter().zip(&*forces));
            lack[a] + rows.map(|(c, (b, f))| c * (f - b)).sum::<f64>()
        });
        for (k, d) in self.slabs.iter().zip((&self.inverse * lack).iter()) {
            forces[*k] += d;
        }
    }
}
