//! Quantities of a construct as built, which a factor may move besides itself, and the lines of its loads.

use crate::record::{CaseRecord, FactorValue, PlateMark, PointRecord, ScrewMark};

/// A quantity that a point's record gives besides its responses.
#[derive(Debug, Clone, Copy)]
pub struct AsBuilt {
    /// Name of its column.
    pub name: &'static str,
    /// Symbol of its unit; empty for a count.
    pub unit: &'static str,
    /// Its name in a sentence.
    pub words: &'static str,
    /// Definition, as in `columns.json`.
    pub definition: &'static str,
    value: Value,
}

#[derive(Debug, Clone, Copy)]
enum Value {
    OfPoint(fn(&PointRecord) -> Option<f64>),
    OfCase(fn(&PointRecord, &CaseRecord) -> Option<f64>),
}

impl AsBuilt {
    /// Its value at a point under a load case; `None` where the construct has no such thing or the record does not
    /// tell.
    pub fn value(&self, point: &PointRecord, case: &CaseRecord) -> Option<f64> {
        match self.value {
            Value::OfPoint(of) => of(point),
            Value::OfCase(of) => of(point, case),
        }
    }

    /// Its value at a point, where it is the same under all load cases.
    pub fn of_point(&self, point: &PointRecord) -> Option<f64> {
        match self.value {
            Value::OfPoint(of) => of(point),
            Value::OfCase(_) => None,
        }
    }
}

/// All quantities, in the order of their columns.
pub const AS_BUILT: [AsBuilt; 13] = [
    AsBuilt {
        name: "medial_end_level_mm",
        unit: "mm",
        words: "medial plate's end",
        definition: "Level of the medial plate's proximal end above the flexion axis, as built.",
        value: Value::OfPoint(|p| Some(plate(p, true)?.end_level_mm)),
    },
    AsBuilt {
        name: "other_end_level_mm",
        unit: "mm",
        words: "other plate's end",
        definition: "The same of the lateral or posterolateral plate.",
        value: Value::OfPoint(|p| Some(plate(p, false)?.end_level_mm)),
    },
    AsBuilt {
        name: "medial_innermost_screw_level_mm",
        unit: "mm",
        words: "medial innermost shaft screw",
        definition: "Level at which the medial plate's lowest shaft screw enters the bone, as built.",
        value: Value::OfPoint(|p| innermost_screw_mm(p, true)),
    },
    AsBuilt {
        name: "other_innermost_screw_level_mm",
        unit: "mm",
        words: "other innermost shaft screw",
        definition: "The same of the lateral or posterolateral plate.",
        value: Value::OfPoint(|p| innermost_screw_mm(p, false)),
    },
    AsBuilt {
        name: "medial_working_length_mm",
        unit: "mm",
        words: "medial working length",
        definition: "Working length of the medial plate: levels between its lowest shaft screw and its uppermost distal screw where they enter the bone, as built.",
        value: Value::OfPoint(|p| working_length_mm(p, true)),
    },
    AsBuilt {
        name: "other_working_length_mm",
        unit: "mm",
        words: "other working length",
        definition: "The same of the lateral or posterolateral plate.",
        value: Value::OfPoint(|p| working_length_mm(p, false)),
    },
    AsBuilt {
        name: "shortest_shaft_screw_mm",
        unit: "mm",
        words: "shortest shaft screw",
        definition: "Length in bone of the shortest shaft screw of a plate, from the surface to the tip, as built.",
        value: Value::OfPoint(|p| {
            let shaft = p.screws.iter().filter(|s| s.row == SHAFT);
            shaft.map(|s| s.length_mm).reduce(f64::min)
        }),
    },
    AsBuilt {
        name: "one_cortex_shaft_screws",
        unit: "",
        words: "shaft screws that hold in one cortex",
        definition: "Number of plates' shaft screws whose axis passes one wall of cortical bone alone, as built, whatever was asked for.",
        value: Value::OfPoint(|p| one_cortex_screws(p).map(|n| n as f64)),
    },
    AsBuilt {
        name: "canal_floor_bent_mm",
        unit: "mm",
        words: "canal's floor bent out of the way of screws by",
        definition: "Largest distance by which the floor of the medullary canal was bent out of the way of screws along it.",
        value: Value::OfPoint(|p| p.canal_floor_bent_mm),
    },
    AsBuilt {
        name: "medial_end_nominal_mpa",
        unit: "MPa",
        words: "nominal stress at the medial plate's end",
        definition: "Nominal beam stress of the intact section at the level of the medial plate's proximal end (see last_screw_beam), in the nearest 1 mm band of the stress profile.",
        value: Value::OfCase(|p, c| nominal_mpa(c, plate(p, true)?.end_level_mm)),
    },
    AsBuilt {
        name: "other_end_nominal_mpa",
        unit: "MPa",
        words: "nominal stress at the other plate's end",
        definition: "The same of the lateral or posterolateral plate.",
        value: Value::OfCase(|p, c| nominal_mpa(c, plate(p, false)?.end_level_mm)),
    },
    AsBuilt {
        name: "load_anterior_of_shaft_mm",
        unit: "mm",
        words: "load line in front of the shaft's axis",
        definition: "Distance of the line of the resultant force in front of the shaft's axis. Only for a force within 30 degrees of the shaft, at the level of the flexion axis.",
        value: Value::OfCase(|p, c| Some(off_shaft_mm(p, c)?[0])),
    },
    AsBuilt {
        name: "load_lateral_of_shaft_mm",
        unit: "mm",
        words: "load line lateral of the shaft's axis",
        definition: "Distance of that line to the lateral side of the shaft's axis.",
        value: Value::OfCase(|p, c| Some(off_shaft_mm(p, c)?[1])),
    },
];

const SHAFT: &str = "shaft";
const DISTAL: &str = "distal";
const MEDIAL: &str = "medial";

fn plate(point: &PointRecord, medial: bool) -> Option<&PlateMark> {
    let mut plates = point.plates.iter();
    plates.find(|p| (p.site == MEDIAL) == medial)
}

fn entries<'a>(
    point: &'a PointRecord,
    medial: bool,
    row: &'a str,
) -> Option<impl Iterator<Item = f64> + 'a> {
    let site = plate(point, medial)?.site.as_str();
    let of_row = move |s: &&ScrewMark| s.plate == site && s.row == row;
    Some(point.screws.iter().filter(of_row).map(|s| s.entry_level_mm))
}

fn innermost_screw_mm(point: &PointRecord, medial: bool) -> Option<f64> {
    entries(point, medial, SHAFT)?.reduce(f64::min)
}

fn working_length_mm(point: &PointRecord, medial: bool) -> Option<f64> {
    let distal = entries(point, medial, DISTAL)?.reduce(f64::max)?;
    Some(innermost_screw_mm(point, medial)? - distal)
}

/// Number of plates' shaft screws that hold in one cortex, as built; `None` where the record does not tell.
pub fn one_cortex_screws(point: &PointRecord) -> Option<usize> {
    let shaft = point.screws.iter().filter(|s| s.row == SHAFT);
    let cortices: Option<Vec<u8>> = shaft.map(|s| s.cortices).collect();
    Some(cortices?.into_iter().filter(|c| *c < 2).count())
}

/// Beam stress of the band nearest to a level.
fn nominal_mpa(case: &CaseRecord, level: f64) -> Option<f64> {
    let profile = &case.profile;
    let bands = profile.level_mm.iter().zip(&profile.beam_mpa);
    let nearest = bands.min_by(|a, b| (a.0 - level).abs().total_cmp(&(b.0 - level).abs()))?;
    nearest.1.filter(|_| (nearest.0 - level).abs() <= 1.0)
}

/// A force below this share of the moment over a millimetre is the rounding of a couple.
const COUPLE_PER_MM: f64 = 1e-6;

/// Point of a resultant force's line nearest to the frame's origin, mm; `None` for a couple.
pub fn load_line_mm(case: &CaseRecord) -> Option<[f64; 3]> {
    let ([fx, fy, fz], [mx, my, mz]) = (case.force_n, case.moment_nmm);
    let square = fx * fx + fy * fy + fz * fz;
    let moment = (mx * mx + my * my + mz * mz).sqrt();
    if square.sqrt() <= COUPLE_PER_MM * moment || square == 0.0 {
        return None;
    }
    // r = F × M / F².
    Some([
        (fy * mz - fz * my) / square,
        (fz * mx - fx * mz) / square,
        (fx * my - fy * mx) / square,
    ])
}

/// Place of a force's line in front and to the lateral side of the shaft's axis at the level of the flexion axis, mm;
/// only for a force within 30 degrees of the shaft.
pub fn off_shaft_mm(point: &PointRecord, case: &CaseRecord) -> Option<[f64; 2]> {
    let [fx, fy, fz] = case.force_n;
    let along = fy.abs() > 0.75_f64.sqrt() * (fx * fx + fy * fy + fz * fz).sqrt();
    let line = load_line_mm(case).filter(|_| along)?;
    let axis = point.shaft_axis_mm?;
    // Along the force to the level of the axis' point.
    let t = (axis[1] - line[1]) / fy;
    let is_left = point.inputs.get("bone.left") == Some(&FactorValue::Flag(true));
    let lateral = if is_left { -1.0 } else { 1.0 };
    Some([
        line[0] + t * fx - axis[0],
        lateral * (line[2] + t * fz - axis[2]),
    ])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::tests::sample_point;

    #[test]
    fn the_line_of_a_force_is_found_from_its_moment() {
        let mut point = sample_point("p001", 0.0);
        let case = &mut point.cases[0];
        // 200 N upwards through (6.8, ·, 1.8): moment r × F = (−z F, 0, x F).
        case.force_n = [0.0, 200.0, 0.0];
        case.moment_nmm = [-1.8 * 200.0, 0.0, 6.8 * 200.0];
        let line = load_line_mm(case).unwrap();
        assert!((line[0] - 6.8).abs() < 1e-12 && (line[2] - 1.8).abs() < 1e-12);
        point.shaft_axis_mm = Some([-9.2, 0.0, 0.0]);
        let case = point.cases[0].clone();
        let [ahead, lateral] = off_shaft_mm(&point, &case).unwrap();
        assert!((ahead - 16.0).abs() < 1e-12 && (lateral - 1.8).abs() < 1e-12);
        point
            .inputs
            .insert("bone.left".into(), FactorValue::Flag(true));
        assert!((off_shaft_mm(&point, &case).unwrap()[1] + 1.8).abs() < 1e-12);
        // A couple has no line, a transverse force none along the shaft.
        let couple = CaseRecord {
            force_n: [1e-12, 0.0, 0.0],
            moment_nmm: [0.0, 7500.0, 0.0],
            ..case.clone()
        };
        assert_eq!(load_line_mm(&couple), None);
        let transverse = CaseRecord {
            force_n: [0.0, 0.0, -30.0],
            ..case
        };
        assert!(load_line_mm(&transverse).is_some());
        assert_eq!(off_shaft_mm(&point, &transverse), None);
    }

    #[test]
    fn screws_give_working_length_and_cortices() {
        let mut point = sample_point("p001", 0.0);
        point.plates = vec![PlateMark {
            site: MEDIAL.into(),
            end_level_mm: 95.0,
            distal_level_mm: 6.0,
            length_mm: 90.0,
            thickness_mm: 3.0,
        }];
        let screw = |row: &str, level: f64, length_mm, cortices| ScrewMark {
            name: "screw.01".into(),
            plate: MEDIAL.into(),
            row: row.into(),
            entry_mm: None,
            entry_level_mm: level,
            tip_level_mm: level,
            length_mm,
            diameter_mm: 2.7,
            cortices,
            as_built: None,
        };
        point.screws = vec![
            screw(SHAFT, 88.0, 21.0, Some(2)),
            screw(SHAFT, 45.0, 7.5, Some(1)),
            screw(DISTAL, 18.0, 40.0, None),
        ];
        let case = point.cases[0].clone();
        let value = |name: &str| {
            let found = AS_BUILT.iter().find(|q| q.name == name).unwrap();
            found.value(&point, &case)
        };
        assert_eq!(value("medial_end_level_mm"), Some(95.0));
        assert_eq!(value("medial_innermost_screw_level_mm"), Some(45.0));
        assert_eq!(value("medial_working_length_mm"), Some(27.0));
        assert_eq!(value("shortest_shaft_screw_mm"), Some(7.5));
        assert_eq!(value("one_cortex_shaft_screws"), Some(1.0));
        assert_eq!(value("other_end_level_mm"), None);
    }
}
