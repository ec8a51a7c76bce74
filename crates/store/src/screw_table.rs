//! `screws.csv`: forces at every cut of every screw, and the screw as built.

use crate::error::StoreError;
use crate::record::ScrewMark;
use crate::results::Gathered;
use bicolumn_response::SCREW_COLUMNS;
use std::path::Path;

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
    writer.write_record(lead.chain(SCREW_COLUMNS.map(|c| c.name)))?;
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
                row.extend(built(mark));
                writer.write_record(row)?;
            }
        }
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}

/// Cells of a screw as built, in the order of the columns; empty where the record does not tell.
fn built(mark: Option<&ScrewMark>) -> [String; 14] {
    let number = |n: Option<f64>| n.map_or(String::new(), |n| n.to_string());
    let count = |n: Option<usize>| n.map_or(String::new(), |n| n.to_string());
    let built = mark.and_then(|m| m.as_built.as_ref());
    let screw = built.and_then(|b| b.nearest_screw.as_ref());
    let plate = built.and_then(|b| b.nearest_plate.as_ref());
    [
        count(built.and_then(|b| b.hole)),
        number(built.and_then(|b| b.from_end_mm)),
        number(built.and_then(|b| b.tilt_deg)),
        number(built.and_then(|b| b.longest_asked_mm)),
        number(mark.map(|m| m.length_mm)),
        count(built.and_then(|b| b.cortices_asked).map(usize::from)),
        count(mark.and_then(|m| m.cortices).map(usize::from)),
        number(mark.map(|m| m.diameter_mm)),
        built.map_or(String::new(), |b| b.hold.clone()),
        screw.map_or(String::new(), |n| n.part.clone()),
        number(screw.map(|n| n.distance_mm)),
        plate.map_or(String::new(), |n| n.part.clone()),
        number(plate.map(|n| n.distance_mm)),
        built.map_or(String::new(), |b| b.given_up_words()),
    ]
}
