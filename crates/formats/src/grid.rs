//! An unstructured grid in memory: points, cells, and named values on both.

use bicolumn_base::Vec3;

/// The cell types in use, with VTK's numbers and node orders.
///
/// ```text
/// triangle 5            quadratic triangle 22       tetra 10 / quadratic tetra 24
///  2                     2                           corners 0 1 2 3, then the midsides of
///  |\                    5  4                        01, 12, 20, 03, 13, 23
///  0-1                   0 3 1
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CellKind {
    /// Three nodes, VTK type 5.
    Triangle,
    /// Four nodes, VTK type 10.
    Tetra,
    /// Six nodes, VTK type 22.
    QuadraticTriangle,
    /// Ten nodes, VTK type 24.
    QuadraticTetra,
}

impl CellKind {
    /// Number of nodes of a cell.
    pub fn node_count(self) -> usize {
        match self {
            CellKind::Triangle => 3,
            CellKind::Tetra => 4,
            CellKind::QuadraticTriangle => 6,
            CellKind::QuadraticTetra => 10,
        }
    }

    /// VTK's number of the cell type.
    pub fn vtk_type(self) -> u8 {
        match self {
            CellKind::Triangle => 5,
            CellKind::Tetra => 10,
            CellKind::QuadraticTriangle => 22,
            CellKind::QuadraticTetra => 24,
        }
    }

    /// The kind with VTK's number, if it is one of ours.
    pub fn from_vtk_type(number: u8) -> Option<CellKind> {
        match number {
            5 => Some(CellKind::Triangle),
            10 => Some(CellKind::Tetra),
            22 => Some(CellKind::QuadraticTriangle),
            24 => Some(CellKind::QuadraticTetra),
            _ => None,
        }
    }
}

/// The numbers of a field, one tuple after the other.
#[derive(Debug, Clone, PartialEq)]
pub enum Values {
    /// Double precision.
    F64(Vec<f64>),
    /// Single precision: enough for pictures, half the size.
    F32(Vec<f32>),
    /// Integers.
    I32(Vec<i32>),
    /// Long integers.
    I64(Vec<i64>),
    /// Bytes.
    U8(Vec<u8>),
}

impl Values {
    /// How many numbers.
    pub fn len(&self) -> usize {
        match self {
            Values::F64(v) => v.len(),
            Values::F32(v) => v.len(),
            Values::I32(v) => v.len(),
            Values::I64(v) => v.len(),
            Values::U8(v) => v.len(),
        }
    }

    /// No numbers at all?
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// All numbers as doubles (integers beyond 2⁵³ lose digits).
    pub fn to_f64(&self) -> Vec<f64> {
        match self {
            Values::F64(v) => v.clone(),
            Values::F32(v) => v.iter().map(|&x| f64::from(x)).collect(),
            Values::I32(v) => v.iter().map(|&x| f64::from(x)).collect(),
            Values::I64(v) => v.iter().map(|&x| x as f64).collect(),
            Values::U8(v) => v.iter().map(|&x| f64::from(x)).collect(),
        }
    }

    /// All numbers as integers; `None` for floating-point values.
    pub fn to_i64(&self) -> Option<Vec<i64>> {
        match self {
            Values::F64(_) | Values::F32(_) => None,
            Values::I32(v) => Some(v.iter().map(|&x| i64::from(x)).collect()),
            Values::I64(v) => Some(v.clone()),
            Values::U8(v) => Some(v.iter().map(|&x| i64::from(x)).collect()),
        }
    }
}

/// Named values on points or cells.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Name, as shown by a viewer.
    pub name: String,
    /// Numbers per point or cell: 1 scalar, 3 vector, 6 symmetric tensor (xx yy zz xy yz xz).
    pub components: usize,
    /// The numbers, tuple after tuple.
    pub values: Values,
}

impl Field {
    /// A scalar field.
    pub fn scalar(name: impl Into<String>, values: Values) -> Field {
        Field {
            name: name.into(),
            components: 1,
            values,
        }
    }

    /// A vector field, mm or N.
    pub fn vectors(name: impl Into<String>, vectors: &[Vec3]) -> Field {
        Field {
            name: name.into(),
            components: 3,
            values: Values::F64(vectors.iter().flat_map(|v| [v.x, v.y, v.z]).collect()),
        }
    }
}

/// An unstructured grid. Node numbers are zero-based rows of `points`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Grid {
    /// Node positions, mm.
    pub points: Vec<Vec3>,
    /// Kind of each cell.
    pub kinds: Vec<CellKind>,
    /// Nodes of all cells, cell after cell; each kind has a fixed number of them.
    pub connectivity: Vec<u32>,
    /// Values on points.
    pub point_data: Vec<Field>,
    /// Values on cells.
    pub cell_data: Vec<Field>,
}

impl Grid {
    /// A grid whose cells are all of one kind.
    pub fn uniform<const N: usize>(points: Vec<Vec3>, kind: CellKind, cells: &[[u32; N]]) -> Grid {
        debug_assert_eq!(N, kind.node_count());
        Grid {
            points,
            kinds: vec![kind; cells.len()],
            connectivity: cells.iter().flatten().copied().collect(),
            point_data: Vec::new(),
            cell_data: Vec::new(),
        }
    }

    /// The cells in order, each with its nodes.
    pub fn cells(&self) -> impl Iterator<Item = (CellKind, &[u32])> {
        let mut start = 0;
        self.kinds.iter().map(move |&kind| {
            let nodes = &self.connectivity[start..start + kind.node_count()];
            start += kind.node_count();
            (kind, nodes)
        })
    }

    /// The point field of that name.
    pub fn point_field(&self, name: &str) -> Option<&Field> {
        self.point_data.iter().find(|f| f.name == name)
    }

    /// The cell field of that name.
    pub fn cell_field(&self, name: &str) -> Option<&Field> {
        self.cell_data.iter().find(|f| f.name == name)
    }

    /// First inconsistency, in words; `None` when every length and node number fits.
    pub fn inconsistency(&self) -> Option<String> {
        let wanted: usize = self.kinds.iter().map(|k| k.node_count()).sum();
        if self.connectivity.len() != wanted {
            return Some(format!(
                "the cell types ask for {wanted} node numbers, there are {}",
                self.connectivity.len()
            ));
        }
        if let Some(node) = self
            .connectivity
            .iter()
            .find(|&&n| n as usize >= self.points.len())
        {
            return Some(format!(
                "a cell names node {node}, but there are only {} points",
                self.points.len()
            ));
        }
        let check = |fields: &[Field], count: usize, on: &str| {
            fields
                .iter()
                .find(|f| f.components == 0 || f.values.len() != count * f.components)
                .map(|f| {
                    format!(
                        "field \"{}\" holds {} numbers, {count} {on} of {} components need {}",
                        f.name,
                        f.values.len(),
                        f.components,
                        count * f.components
                    )
                })
        };
        check(&self.point_data, self.points.len(), "points")
            .or_else(|| check(&self.cell_data, self.kinds.len(), "cells"))
    }
}
