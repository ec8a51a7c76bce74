//! Contact laws of the reduced problem, by rows.

/// Up to three rows of a point.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Rows {
    all: [usize; 3],
    count: usize,
}

impl Rows {
    /// The rows given, in order.
    pub(crate) fn present<const N: usize>(rows: [Option<usize>; N]) -> Self {
        let mut out = Rows::default();
        for (row, to) in rows.into_iter().flatten().zip(&mut out.all) {
            *to = row;
            out.count += 1;
        }
        out
    }

    pub(super) fn list(&self) -> &[usize] {
        &self.all[..self.count]
    }

    /// A value for each of the first two rows; zero for a row that is not there.
    pub(super) fn pair(&self, value: impl Fn(usize) -> f64) -> [f64; 2] {
        let mut out = [0.0; 2];
        for (to, row) in out.iter_mut().zip(self.list()) {
            *to = value(*row);
        }
        out
    }
}

/// Law of a group of rows that are set together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Constraint {
    /// Traction-free: λ = 0.
    Free(Rows),
    /// Bilateral: the jump stays at its reference, as of a bond or along a thread.
    Tied(Rows),
    /// Unilateral: Signorini's and Coulomb's laws.
    Unilateral(Unilateral),
}

/// Rows and numbers of a point under Signorini's and Coulomb's laws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Unilateral {
    /// Normal row n.
    pub(crate) normal: usize,
    /// Up to two tangential rows t.
    pub(crate) tangential: Rows,
    /// Coefficient of friction μ.
    pub(crate) friction: f64,
    /// Initial gap g₀, mm.
    pub(crate) gap: f64,
}

/// Laws at the rows of the reduced problem.
pub(crate) struct Conditions<'a> {
    /// Constraints in the order in which Gauss-Seidel visits them.
    pub(crate) constraints: &'a [Constraint],
    /// Reference jump of each row, from which slip and ties count, mm.
    pub(crate) references: &'a [f64],
    /// Given tension and stiffness of each preload section; `None` where its length is kept.
    pub(crate) tensions: &'a [Option<(f64, f64)>],
}
