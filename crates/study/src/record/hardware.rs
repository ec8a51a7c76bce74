//! Plates and screws, as the record keeps them.

use bicolumn_base::Word;
use bicolumn_geometry::{Concession, Construct, Plate, Screw, ScrewAsBuilt, ScrewRow};
use bicolumn_measure::ScrewForce;
use bicolumn_store::{
    ConcessionRecord, NeighbourRecord, PlateMark, ScrewAsBuiltRecord, ScrewForceRecord, ScrewMark,
};

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
    let screw = |(s, built): (&Screw, ScrewAsBuilt)| ScrewMark {
        name: s.number.to_string(),
        plate: s.plate.map_or_else(String::new, |p| p.to_string()),
        row: row_word(s.row).into(),
        entry_mm: Some(s.entry.into()),
        entry_level_mm: s.entry.y,
        tip_level_mm: s.tip().y,
        length_mm: s.length_mm,
        diameter_mm: s.diameter_mm,
        cortices: Some(built.cortices),
        as_built: Some(as_built(s, built)),
    };
    let screws = construct.screws.iter();
    screws.zip(construct.screws_as_built()).map(screw).collect()
}

fn as_built(s: &Screw, built: ScrewAsBuilt) -> ScrewAsBuiltRecord {
    let neighbour = |part: String, distance_mm| NeighbourRecord { part, distance_mm };
    let concession = |c: &Concession| ConcessionRecord {
        kind: c.kind().into(),
        words: c.to_string(),
    };
    ScrewAsBuiltRecord {
        hole: built.hole,
        from_end_mm: built.from_end_mm,
        tilt_deg: built.tilt_deg,
        longest_asked_mm: built.asked_length_mm,
        cortices_asked: built.asked_cortices,
        hold: s.hold.word().into(),
        nearest_screw: built
            .nearest_screw
            .map(|(n, d)| neighbour(n.to_string(), d)),
        nearest_plate: (built.nearest_plate).map(|(p, d)| neighbour(format!("plate.{p}"), d)),
        given_up: built.given_up.iter().map(concession).collect(),
    }
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
