//! Plates and screws, as the record keeps them.

use bicolumn_geometry::{Construct, Plate, Screw, ScrewRow};
use bicolumn_measure::ScrewForce;
use bicolumn_store::{PlateMark, ScrewForceRecord, ScrewMark};

pub(super) fn plates(construct: &Construct) -> Vec<PlateMark> {
    let plate = |p: &Plate| PlateMark {
        site: p.site.to_string(),
        end_level_mm: p.end_level_mm,
        distal_level_mm: p.centre_line(0.0).0.y,
        length_mm: p.length_mm,
        thickness_mm: p.thickness_mm,
    };
    construct.plates.iter().map(plate).collect()
}

pub(super) fn screws(construct: &Construct) -> Vec<ScrewMark> {
    let screw = |s: &Screw| ScrewMark {
        name: s.number.to_string(),
        plate: s.plate.map_or_else(String::new, |p| p.to_string()),
        row: row_word(s.row).into(),
        entry_mm: Some(s.entry.into()),
        entry_level_mm: s.entry.y,
        tip_level_mm: s.tip().y,
        length_mm: s.length_mm,
        diameter_mm: s.diameter_mm,
        cortices: Some(s.cortices(&construct.bone)),
    };
    construct.screws.iter().map(screw).collect()
}

fn row_word(row: ScrewRow) -> &'static str {
    match row {
        ScrewRow::Shaft => "shaft",
        ScrewRow::Distal => "distal",
        ScrewRow::Independent => "independent",
    }
}

pub(super) fn screw_force(s: &ScrewForce) -> ScrewForceRecord {
    ScrewForceRecord {
        screw: s.screw.to_string(),
        cut: s.cut.name().to_string(),
        at_mm: s.at.into(),
        axial_n: s.axial_n(),
        shear_n: s.shear_n(),
        bending_nmm: s.bending_nmm(),
        torque_nmm: s.torque_nmm(),
    }
}
