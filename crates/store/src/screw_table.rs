//! `screws.csv`: what every screw carries.

use crate::error::StoreError;
use crate::results::Gathered;
use std::path::Path;

const OWN: [&str; 12] = [
    "case",
    "screw",
    "plate",
    "row",
    "cut",
    "x_mm",
    "y_mm",
    "z_mm",
    "axial_n",
    "shear_n",
    "bending_nmm",
    "torque_nmm",
];

/// The table as text: a row per point, load case, screw and cut; point and factors lead. `None` when no
/// point has screws.
///
/// # Errors
/// [`StoreError::NotStorable`] at `path`.
pub(crate) fn screw_table(gathered: &Gathered, path: &Path) -> Result<Option<Vec<u8>>, StoreError> {
    let has_screws = |p: &crate::PointRecord| p.cases.iter().any(|c| !c.screws.is_empty());
    if !gathered.points.iter().any(has_screws) {
        return Ok(None);
    }
    let written = rows(gathered).map_err(|e| StoreError::NotStorable {
        path: path.to_path_buf(),
        reason: e.to_string(),
    })?;
    Ok(Some(written))
}

fn rows(gathered: &Gathered) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let factors: Vec<&str> = gathered
        .study
        .factors
        .iter()
        .map(|f| f.0.as_str())
        .collect();
    let lead = std::iter::once("point").chain(factors.iter().copied());
    writer.write_record(lead.chain(OWN))?;
    for point in &gathered.points {
        let level = |f: &&str| {
            point
                .factors
                .get(*f)
                .map_or(String::new(), |v| v.to_string())
        };
        for case in &point.cases {
            for s in &case.screws {
                let mark = point.screws.iter().find(|m| m.name == s.screw);
                let mut row = vec![point.id.clone()];
                row.extend(factors.iter().map(level));
                row.extend([
                    case.name.clone(),
                    s.screw.clone(),
                    mark.map_or(String::new(), |m| m.plate.clone()),
                    mark.map_or(String::new(), |m| m.row.clone()),
                    s.cut.clone(),
                ]);
                let numbers = [s.axial_n, s.shear_n, s.bending_nmm, s.torque_nmm];
                row.extend(s.at_mm.iter().chain(&numbers).map(f64::to_string));
                writer.write_record(row)?;
            }
        }
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}
