//! Static condensation of the shortenings of preload sections whose tension is given.
//!
//! A section k under a given tension F_k has f_k·u − K_k q_k = F_k, where q_k is the force of its row (minus its
//! shortening), K_k its stiffness and f_k·u = j_k the jump of its row ([`crate::preload`]). With S = (S_pp S_pk; S_kp
//! S_kk) the compliance of point rows p and section rows k, elimination of q gives the Schur complement
//!
//! ```text
//! Ŝ = S + S_·k (K − S_kk)⁻¹ S_k·
//! ```
//!
//! which the contact laws of the points see; q follows afterwards.

use crate::dense::Symmetric;
use nalgebra::{DMatrix, DVector};

/// Compliance with the sections of given tension eliminated.
pub(crate) struct Condensed {
    /// Rows of the eliminated sections.
    sections: Vec<usize>,
    /// (K − S_kk)⁻¹.
    inverse: DMatrix<f64>,
    /// Ŝ.
    pub(crate) compliance: Symmetric,
}

/// Tension and stiffness of each section of given tension; `None` where the length is kept.
type Tensions = [Option<(f64, f64)>];

impl Condensed {
    /// Condensed compliance as before, with the rows that have come since; `None` where no tension is given.
    pub(crate) fn updated(old: Option<Self>, s: &Symmetric, tensions: &Tensions) -> Option<Self> {
        let mut out = match old {
            Some(old) => old,
            None => Self::without_rows(s, tensions)?,
        };
        let first = out.compliance.len();
        for i in 0..s.len() {
            let row = s.row(i);
            let n = out.sections.len();
            let seen = DVector::from_fn(n, |a, _| row[out.sections[a]]);
            let through = &out.inverse * seen;
            let from = if i < first { first } else { 0 };
            let mut new = row[from..].to_vec();
            for (section, t) in out.sections.iter().zip(through.iter()) {
                for (v, c) in new.iter_mut().zip(&s.row(*section)[from..]) {
                    *v += t * c;
                }
            }
            out.compliance.append(i, new);
        }
        Some(out)
    }

    fn without_rows(s: &Symmetric, tensions: &Tensions) -> Option<Self> {
        let given = tensions.iter().enumerate();
        let given: Vec<(usize, f64)> = given
            .filter_map(|(k, t)| t.map(|(_, stiffness)| (k, stiffness)))
            .collect();
        if given.is_empty() {
            return None;
        }
        let n = given.len();
        let difference = DMatrix::from_fn(n, n, |i, j| {
            let own = if i == j { given[i].1 } else { 0.0 };
            own - s.row(given[i].0)[given[j].0]
        });
        Some(Condensed {
            sections: given.iter().map(|p| p.0).collect(),
            inverse: difference.try_inverse()?,
            compliance: Symmetric::default(),
        })
    }

    /// Lets the sections shorten as far as they will with the point forces as they are; gives the residual of
    /// their tension conditions before.
    pub(crate) fn eliminate(
        &self,
        s: &Symmetric,
        tensions: &Tensions,
        forces: &[f64],
        jumps: &mut [f64],
    ) -> DVector<f64> {
        let residual = DVector::from_fn(self.sections.len(), |i, _| {
            let k = self.sections[i];
            let (wanted, stiffness) = tensions[k].unwrap_or_default();
            jumps[k] - wanted - stiffness * forces[k]
        });
        for (section, d) in self.sections.iter().zip((&self.inverse * &residual).iter()) {
            for (j, c) in jumps.iter_mut().zip(s.row(*section)) {
                *j += c * d;
            }
        }
        residual
    }

    /// Back-substitution: forces of the section rows after the changes of the point forces since `before`.
    pub(crate) fn back_substitute(
        &self,
        s: &Symmetric,
        residual: &DVector<f64>,
        before: &[f64],
        forces: &mut [f64],
    ) {
        let residual = DVector::from_fn(self.sections.len(), |a, _| {
            let rows = s.row(self.sections[a]).iter();
            let rows = rows.zip(before.iter().zip(&*forces));
            residual[a] + rows.map(|(c, (b, f))| c * (f - b)).sum::<f64>()
        });
        for (k, d) in self.sections.iter().zip((&self.inverse * residual).iter()) {
            forces[*k] += d;
        }
    }
}
