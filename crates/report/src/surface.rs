//! The surface of one point as it was stored: triangles, parts, and stress by load case.

use crate::error::ReportError;
use crate::study_view::value_of;
use bicolumn_base::{BodySide, Vec3};
use bicolumn_formats::CellKind;
use bicolumn_formats::vtu_read::parse_vtu;
use bicolumn_store::{FactorValue, PointRecord, StudyFolder};
use serde::Deserialize;
use std::path::Path;

/// Normals of neighbouring facets that differ by more than this are not blended, degrees.
const CREASE_DEG: f64 = 35.0;

/// Largest coordinate that a picture is made of, mm.
const FARTHEST_MM: f64 = 1e4;
/// Longest files of a surface, bytes.
const MOST_GRID_BYTES: u64 = 1 << 30;
const MOST_NAMES_BYTES: u64 = 16 << 20;

/// Class of part that a triangle belongs to, as far as pictures care.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub(crate) enum PartClass {
    Bone,
    Plate,
    Screw,
    Other,
}

impl PartClass {
    /// Plate or screw?
    pub(crate) fn is_hardware(self) -> bool {
        matches!(self, PartClass::Plate | PartClass::Screw)
    }
}

/// The stored surface of a point.
#[derive(Debug)]
pub(crate) struct Surface {
    /// Points, mm; kept apart by part.
    pub(crate) points: Vec<Vec3>,
    /// Corners of each triangle.
    pub(crate) triangles: Vec<[u32; 3]>,
    /// Part of each triangle, as an index in `parts`.
    pub(crate) part: Vec<usize>,
    /// Part names.
    pub(crate) parts: Vec<String>,
    /// Unit normals at each triangle's corners.
    pub(crate) normals: Vec<[Vec3; 3]>,
    /// von Mises stress at the points, MPa, by load case.
    mises: Vec<(String, Vec<f64>)>,
    /// Side of the body: pictures of a left bone are taken from the mirrored place.
    pub(crate) side: BodySide,
}

/// `surface.json`.
#[derive(Debug, Deserialize)]
struct Names {
    parts: Vec<String>,
    cases: Vec<String>,
}

impl Names {
    /// Why these cannot be the names of a point's surface: its load cases, plates and screws are others.
    fn is_of_another(&self, point: &PointRecord) -> Option<String> {
        let other = |what: &str| Some(format!("its {what} are not those of {}", point.id));
        if self
            .cases
            .iter()
            .any(|c| point.cases.iter().all(|p| p.name != *c))
        {
            return other("load cases");
        }
        let of_kind = |kind: &'static str| self.parts.iter().filter(move |p| p.starts_with(kind));
        if of_kind("plate.").count() != point.plates.len() {
            return other("plates");
        }
        if !of_kind("screw.").eq(point.screws.iter().map(|s| &s.name)) {
            return other("screws");
        }
        None
    }
}

/// Bytes of a file; only of a plain one: a pipe would be waited for, a device has no end.
fn plain_file(path: &Path, most: u64) -> Result<Vec<u8>, String> {
    let found = std::fs::metadata(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => "no such file".into(),
        _ => e.to_string(),
    })?;
    if !found.is_file() {
        return Err("not a file".into());
    }
    if found.len() > most {
        return Err(format!("longer than {} MB", most >> 20));
    }
    std::fs::read(path).map_err(|e| e.to_string())
}

impl Surface {
    /// Reads a point's surface.
    ///
    /// # Errors
    /// [`ReportError::Surface`] when the files are missing, damaged, do not fit each other or are another construct's.
    pub(crate) fn read(folder: &StudyFolder, point: &PointRecord) -> Result<Surface, ReportError> {
        let id = &point.id;
        let (grid_path, names_path) = (folder.surface_vtu(id), folder.surface_json(id));
        let bad = |path: &std::path::Path, reason: String| ReportError::Surface {
            path: path.to_path_buf(),
            reason,
        };
        let names = plain_file(&names_path, MOST_NAMES_BYTES).map_err(|e| bad(&names_path, e))?;
        let names: Names =
            serde_json::from_slice(&names).map_err(|e| bad(&names_path, e.to_string()))?;
        let bytes = plain_file(&grid_path, MOST_GRID_BYTES).map_err(|e| bad(&grid_path, e))?;
        let grid = parse_vtu(&bytes).map_err(|e| ReportError::surface(grid_path.clone(), e))?;
        let is_placed = |p: &Vec3| p.iter().all(|x| x.abs() <= FARTHEST_MM);
        if !grid.points.iter().all(is_placed) {
            return Err(bad(
                &grid_path,
                "a coordinate is no number or far off".into(),
            ));
        }
        if let Some(why) = names.is_of_another(point) {
            return Err(bad(&names_path, why));
        }
        if grid.kinds.iter().any(|&k| k != CellKind::Triangle) {
            return Err(bad(
                &grid_path,
                "it holds cells other than triangles".into(),
            ));
        }
        let part = grid
            .cell_field("part")
            .and_then(|f| f.values.to_i64())
            .ok_or_else(|| bad(&grid_path, "it lacks the cell data \"part\"".into()))?
            .into_iter()
            .map(|p| usize::try_from(p).ok().filter(|&p| p < names.parts.len()))
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| bad(&grid_path, "a part number has no name".into()))?;
        let mut mises = Vec::new();
        for case in names.cases {
            let field = format!("mises_{case}_mpa");
            let values = grid
                .point_field(&field)
                .filter(|f| f.components == 1)
                .ok_or_else(|| bad(&grid_path, format!("it lacks the point data \"{field}\"")))?;
            let values = values.values.to_f64();
            if !values.iter().all(|v| v.is_finite()) {
                return Err(bad(
                    &grid_path,
                    format!("a value of \"{field}\" is no number"),
                ));
            }
            mises.push((case, values));
        }
        let triangles = grid.connectivity.as_chunks::<3>().0.to_vec();
        let normals = corner_normals(&grid.points, &triangles);
        Ok(Surface {
            points: grid.points,
            triangles,
            part,
            parts: names.parts,
            normals,
            mises,
            side: BodySide::of_left(value_of(point, "bone.left") == Some(&FactorValue::Flag(true))),
        })
    }

    /// von Mises stress of a load case at the points, MPa.
    pub(crate) fn mises(&self, case: &str) -> Option<&[f64]> {
        self.mises
            .iter()
            .find(|(name, _)| name == case)
            .map(|(_, values)| values.as_slice())
    }

    /// Class of part that a triangle belongs to.
    pub(crate) fn class(&self, triangle: usize) -> PartClass {
        let name = &self.parts[self.part[triangle]];
        match name.split('.').next() {
            Some("bone") => PartClass::Bone,
            Some("plate") => PartClass::Plate,
            Some("screw") => PartClass::Screw,
            _ => PartClass::Other,
        }
    }

    /// Corners of a triangle, mm.
    pub(crate) fn corners(&self, triangle: usize) -> [Vec3; 3] {
        self.triangles[triangle].map(|n| self.points[n as usize])
    }

    /// Area of a triangle, mm².
    pub(crate) fn area(&self, triangle: usize) -> f64 {
        let [a, b, c] = self.corners(triangle);
        (b - a).cross(&(c - a)).norm() / 2.0
    }
}

/// Corner normals: the area-weighted mean of the normals of all facets at the corner that do not bend
/// away from the facet by more than the crease angle.
fn corner_normals(points: &[Vec3], triangles: &[[u32; 3]]) -> Vec<[Vec3; 3]> {
    let face: Vec<Vec3> = triangles
        .iter()
        .map(|t| {
            let [a, b, c] = t.map(|n| points[n as usize]);
            (b - a).cross(&(c - a))
        })
        .collect();
    // Facets by point, packed: those of point p are `list[start[p]..start[p + 1]]`.
    let mut start = vec![0usize; points.len() + 1];
    for &n in triangles.iter().flatten() {
        start[n as usize + 1] += 1;
    }
    for p in 0..points.len() {
        start[p + 1] += start[p];
    }
    let mut next = start.clone();
    let mut list = vec![0usize; triangles.len() * 3];
    for (t, corners) in triangles.iter().enumerate() {
        for &n in corners {
            list[next[n as usize]] = t;
            next[n as usize] += 1;
        }
    }
    let least = CREASE_DEG.to_radians().cos();
    let unit = |v: Vec3| v.try_normalize(1e-300).unwrap_or_else(Vec3::zeros);
    triangles
        .iter()
        .enumerate()
        .map(|(t, corners)| {
            let own = unit(face[t]);
            corners.map(|n| {
                let around = &list[start[n as usize]..start[n as usize + 1]];
                let sum: Vec3 = around
                    .iter()
                    .map(|&other| face[other])
                    .filter(|&f| unit(f).dot(&own) >= least)
                    .sum();
                sum.try_normalize(1e-300).unwrap_or(own)
            })
        })
        .collect()
}

/// The value below which the given share of the area lies.
///
/// `weighted`: values with the area that each stands for. `None` without any area.
pub(crate) fn area_percentile(mut weighted: Vec<(f64, f64)>, share: f64) -> Option<f64> {
    weighted.retain(|(value, area)| value.is_finite() && *area > 0.0);
    weighted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = weighted.iter().map(|(_, area)| area).sum();
    let mut below = 0.0;
    for (value, area) in &weighted {
        below += area;
        if below >= share * total {
            return Some(*value);
        }
    }
    weighted.last().map(|(value, _)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_roof_is_smooth_or_creased_by_its_angle() {
        let ridge = |height: f64| {
            let points = [
                Vec3::new(0.0, 0.0, height),
                Vec3::new(1.0, 0.0, height),
                Vec3::new(0.0, -1.0, 0.0),
                Vec3::new(1.0, 1.0, 0.0),
            ];
            corner_normals(&points, &[[0, 2, 1], [0, 1, 3]])
        };
        let (flat, steep) = (ridge(0.1), ridge(2.0));
        assert!((flat[0][0] - flat[1][0]).norm() < 1e-12);
        assert!((steep[0][0] - steep[1][0]).norm() > 0.5);
    }

    #[test]
    fn percentiles_weigh_by_area() {
        let values = vec![(10.0, 1.0), (1.0, 98.0), (5.0, 1.0)];
        assert_eq!(area_percentile(values.clone(), 0.5), Some(1.0));
        assert_eq!(area_percentile(values.clone(), 0.985), Some(5.0));
        assert_eq!(area_percentile(values, 1.0), Some(10.0));
        assert_eq!(area_percentile(vec![], 0.5), None);
    }
}
