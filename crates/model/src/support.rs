//! Dirichlet conditions: displacement components prescribed at nodes.
//!
//! A support constrains components of the displacement, u_c(n) = ū_c(n) for c in its components and n among
//! its nodes. Zero values on all three components clamp a node; on one component they make a roller or a plane of
//! symmetry; other values impose a displacement.

use crate::ProblemError;
use bicolumn_base::Vec3;
use std::collections::BTreeMap;

/// Displacement components X, Y, Z of a node.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Components([bool; 3]);

impl Components {
    /// No component.
    pub const NONE: Components = Components([false; 3]);
    /// All three components.
    pub const ALL: Components = Components([true; 3]);
    /// The X component alone.
    pub const X: Components = Components([true, false, false]);
    /// The Y component alone.
    pub const Y: Components = Components([false, true, false]);
    /// The Z component alone.
    pub const Z: Components = Components([false, false, true]);

    /// Components by flags for X, Y, Z.
    pub const fn of(flags: [bool; 3]) -> Self {
        Components(flags)
    }

    /// Components by their indices, 0 for X to 2 for Z; none for an index beyond.
    pub fn from_indices(indices: impl IntoIterator<Item = usize>) -> Option<Self> {
        let mut out = Components::NONE;
        for i in indices {
            *out.0.get_mut(i)? = true;
        }
        Some(out)
    }

    /// Union of two sets of components.
    #[must_use]
    pub fn and(self, other: Components) -> Self {
        Components([0, 1, 2].map(|c| self.0[c] || other.0[c]))
    }

    /// Flags for X, Y, Z.
    pub fn flags(self) -> [bool; 3] {
        self.0
    }

    /// Indices of the components, ascending.
    pub fn indices(self) -> impl Iterator<Item = usize> {
        (0..3).filter(move |c| self.0[*c])
    }

    /// Is the component of this index among them?
    pub fn contains(self, component: usize) -> bool {
        self.0.get(component).copied().unwrap_or(false)
    }

    /// Are all three among them?
    pub fn is_all(self) -> bool {
        self == Components::ALL
    }

    /// Is none among them?
    pub fn is_empty(self) -> bool {
        self == Components::NONE
    }

    /// A vector with these components set to zero.
    pub fn clear(self, v: Vec3) -> Vec3 {
        Vec3::from_fn(|c, _| if self.0[c] { 0.0 } else { v[c] })
    }

    /// A vector with the other components set to zero.
    pub fn project(self, v: Vec3) -> Vec3 {
        Vec3::from_fn(|c, _| if self.0[c] { v[c] } else { 0.0 })
    }
}

impl std::fmt::Display for Components {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.is_empty() {
            return f.write_str("no component");
        }
        let names = self.indices().map(|c| ["X", "Y", "Z"][c]);
        f.write_str(&names.collect::<Vec<_>>().join(" "))
    }
}

/// A Dirichlet condition on some components of some nodes.
///
/// ```
/// use bicolumn_base::Vec3;
/// use bicolumn_model::{Components, Support};
/// let potted = Support::clamp("potted end", [0, 1, 2]);
/// let symmetry = Support::roller("plane of symmetry", Components::X, [3, 4]);
/// let pulled = Support::prescribed("grip", Components::Z, [(5, Vec3::z() * 0.1)]);
/// assert_eq!(potted.components(), Components::ALL);
/// assert_eq!(symmetry.nodes().collect::<Vec<_>>(), [3, 4]);
/// assert_eq!(pulled.name(), "grip");
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Support {
    name: String,
    components: Components,
    at: Vec<(u32, Vec3)>,
}

impl Support {
    /// Nodes held in all three directions.
    pub fn clamp(name: &str, nodes: impl IntoIterator<Item = u32>) -> Self {
        Self::roller(name, Components::ALL, nodes)
    }

    /// Nodes held in some directions and free in the others: a roller, a plane of symmetry.
    pub fn roller(
        name: &str,
        components: Components,
        nodes: impl IntoIterator<Item = u32>,
    ) -> Self {
        Self::prescribed(
            name,
            components,
            nodes.into_iter().map(|n| (n, Vec3::zeros())),
        )
    }

    /// Nodes with the prescribed displacement of some components, mm; the other components of the value are
    /// left out of account.
    pub fn prescribed(
        name: &str,
        components: Components,
        at: impl IntoIterator<Item = (u32, Vec3)>,
    ) -> Self {
        Support {
            name: name.to_owned(),
            components,
            at: at.into_iter().collect(),
        }
    }

    /// Name, as in messages and files.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The components constrained.
    pub fn components(&self) -> Components {
        self.components
    }

    /// The nodes, as given.
    pub fn nodes(&self) -> impl Iterator<Item = u32> {
        self.at.iter().map(|(n, _)| *n)
    }

    /// The nodes with their prescribed displacements, mm.
    pub fn values(&self) -> &[(u32, Vec3)] {
        &self.at
    }
}

/// The constrained components of one node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constraint {
    /// The node.
    pub node: u32,
    /// Its constrained components.
    pub components: Components,
    /// Prescribed displacement, mm; zero in the free components.
    pub value_mm: Vec3,
}

/// Constraints of all supports, one a node, sorted by node.
///
/// # Errors
/// [`ProblemError`] for a support without nodes or components, a node beyond `node_count`, a value that is not finite,
/// two supports that prescribe different values of one component.
pub(crate) fn constraints(
    supports: &[Support],
    node_count: usize,
) -> Result<Vec<Constraint>, ProblemError> {
    let mut all: BTreeMap<u32, (Constraint, [usize; 3])> = BTreeMap::new();
    for (index, support) in supports.iter().enumerate() {
        let name = || support.name.clone();
        if support.components.is_empty() {
            return Err(ProblemError::NoComponent(name()));
        }
        if support.at.is_empty() {
            return Err(ProblemError::EmptySupport(name()));
        }
        for (node, value) in &support.at {
            if *node as usize >= node_count {
                return Err(ProblemError::NoSuchNode {
                    subject: format!("the support {}", support.name),
                    node: *node,
                    node_count,
                });
            }
            let value = support.components.project(*value);
            if !value.iter().all(|v| v.is_finite()) {
                return Err(ProblemError::NotFinite {
                    subject: format!("the support {}", support.name),
                    node: *node,
                });
            }
            let nothing = Constraint {
                node: *node,
                components: Components::NONE,
                value_mm: Vec3::zeros(),
            };
            let (to, by) = all.entry(*node).or_insert((nothing, [index; 3]));
            for c in support.components.indices() {
                if to.components.contains(c) && to.value_mm[c] != value[c] {
                    return Err(ProblemError::Contradiction {
                        node: *node,
                        component: ["X", "Y", "Z"][c],
                        first: supports[by[c]].name.clone(),
                        first_mm: to.value_mm[c],
                        second: name(),
                        second_mm: value[c],
                    });
                }
                to.value_mm[c] = value[c];
                by[c] = index;
            }
            to.components = to.components.and(support.components);
        }
    }
    Ok(all.into_values().map(|(c, _)| c).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn supports_that_meet_at_a_node_add_up() {
        let supports = [
            Support::roller("x", Components::X, [0, 2]),
            Support::prescribed("z", Components::Z, [(2, Vec3::new(9.0, 9.0, 0.5))]),
            Support::clamp("end", [1]),
            Support::roller("y", Components::Y, [2]),
        ];
        let found = constraints(&supports, 3).unwrap();
        let components: Vec<_> = found.iter().map(|c| c.components.to_string()).collect();
        assert_eq!(components, ["X", "X Y Z", "X Y Z"]);
        assert_eq!(found[2].value_mm, Vec3::new(0.0, 0.0, 0.5));
    }

    #[test]
    fn contradictions_and_nonsense_are_refused_by_name() {
        let refused = |supports: &[Support]| constraints(supports, 3).unwrap_err().to_string();
        let pulled = Support::prescribed("grip", Components::X, [(1, Vec3::x())]);
        let both = [Support::clamp("end", [1]), pulled];
        assert_eq!(
            refused(&both),
            "node 1 is prescribed twice along X: 0 mm by the support end, 1 mm by the support grip"
        );
        let beyond = refused(&[Support::clamp("end", [3])]);
        assert!(
            beyond.contains("node 3") && beyond.contains("3 nodes"),
            "{beyond}"
        );
        let empty = refused(&[Support::clamp("end", [])]);
        assert!(empty.contains("end has no node"), "{empty}");
        let free = refused(&[Support::roller("end", Components::NONE, [0])]);
        assert!(free.contains("constrains no component"), "{free}");
        let mad = Support::prescribed("end", Components::X, [(0, Vec3::x() * f64::NAN)]);
        assert!(refused(&[mad]).contains("not finite"));
        // A value in a free component is no value.
        let aside = Support::prescribed("end", Components::Y, [(0, Vec3::new(f64::NAN, 0.0, 0.0))]);
        assert!(constraints(&[aside], 3).is_ok());
    }
}
