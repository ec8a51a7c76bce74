//! Parts that a node touches, bonded or face to face across a split interface.

use bicolumn_base::{Part, Vec3};
use bicolumn_mesh::TetMesh;
use std::collections::BTreeMap;

/// Kinds of parts by place. Nodes of a split interface are copies at the very same place, so places tell
/// more than node numbers.
pub(crate) struct Touching(BTreeMap<[u64; 3], Kinds>);

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Kinds {
    bone: bool,
    plate: bool,
}

impl Touching {
    /// Looks at every facet: interfaces are facets, from either side.
    pub(crate) fn of(mesh: &TetMesh) -> Self {
        let mut places: BTreeMap<[u64; 3], Kinds> = BTreeMap::new();
        for f in &mesh.facets {
            let part = mesh.part_of(f.tet as usize);
            for n in f.nodes {
                let kinds = places.entry(key(mesh.nodes[n as usize])).or_default();
                kinds.bone |= part.is_bone();
                kinds.plate |= matches!(part, Part::Plate(_));
            }
        }
        Touching(places)
    }

    /// Is there bone at this node's place?
    pub(crate) fn is_on_bone(&self, x: Vec3) -> bool {
        self.0.get(&key(x)).is_some_and(|k| k.bone)
    }

    /// Is there a plate at this node's place?
    pub(crate) fn is_on_plate(&self, x: Vec3) -> bool {
        self.0.get(&key(x)).is_some_and(|k| k.plate)
    }
}

/// A place by its bits.
pub(crate) fn key(x: Vec3) -> [u64; 3] {
    [x.x.to_bits(), x.y.to_bits(), x.z.to_bits()]
}
