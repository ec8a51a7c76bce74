//! Staggers of `jobs/stagger-upper.toml` as built: what is kept beside the end that moves.

#![allow(clippy::unwrap_used)]

use bicolumn_geometry::{Bone, Construct, Plate, Screw, ScrewRow};
use bicolumn_job::{Job, Plan, resolve};
use std::path::Path;
use std::sync::Arc;

const FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../jobs/stagger-upper.toml");

/// Constructs of a job, each with its stagger; all on one bone.
fn built(text: &str) -> Vec<(String, f64, Construct)> {
    let job = Job::parse(Path::new(FILE), text).unwrap();
    let points = Plan::of(&job).unwrap().points;
    let inputs: Vec<_> = points.iter().map(|p| resolve(&job, p)).collect();
    let bone = Arc::new(Bone::build(&inputs[0].construct.bone).unwrap());
    let built = inputs.iter().map(|i| {
        let ends = i.construct.plates.iter().map(|p| p.end_level_mm);
        let ends: Vec<f64> = ends.collect();
        let construct = Construct::on_bone(bone.clone(), &i.construct).unwrap();
        let layout = i.construct.plates[1].site;
        (format!("{layout:?}"), ends[0] - ends[1], construct)
    });
    built.collect()
}

fn shaft_screws<'a>(construct: &'a Construct, plate: &Plate) -> impl Iterator<Item = &'a Screw> {
    let site = plate.site;
    let all = construct.screws.iter();
    all.filter(move |s| s.plate == Some(site) && s.row == ScrewRow::Shaft)
}

/// Levels at which the shaft screws of a plate enter the bone, uppermost first, mm.
fn shaft_levels(construct: &Construct, plate: &Plate) -> Vec<f64> {
    let mut levels: Vec<f64> = shaft_screws(construct, plate).map(|s| s.entry.y).collect();
    levels.sort_by(|a, b| b.total_cmp(a));
    levels
}

#[test]
fn with_the_working_length_kept_the_innermost_screw_stays_while_the_end_moves() {
    let text = std::fs::read_to_string(FILE).unwrap();
    let points = built(&text);
    assert_eq!(points.len(), 14);
    let level = |layout: &str| points.iter().find(|p| p.0 == layout && p.1 == 0.0).unwrap();
    for (layout, stagger, construct) in &points {
        let (_, _, at_level) = level(layout);
        for (plate, reference) in construct.plates.iter().zip(&at_level.plates) {
            let levels = shaft_levels(construct, plate);
            let kept = shaft_levels(at_level, reference);
            println!("{layout} {stagger} {}: {levels:.2?}", plate.site);
            let lengths = shaft_screws(construct, plate).map(|s| s.length_mm);
            println!("    long {:.1?}", lengths.collect::<Vec<_>>());
            assert_eq!(levels.len(), 3);
            let off = levels[2] - kept[2];
            assert!(off.abs() < 0.5, "{layout} {stagger}: innermost {off}");
            // From the fracture's upper face, on the bone below the hole.
            let fracture = construct.fracture.as_ref().unwrap();
            let entry = shaft_screws(construct, plate)
                .map(|s| fracture.above(s.entry))
                .fold(f64::MAX, f64::min);
            assert!((entry - 10.0).abs() < 1e-6, "{entry}");
            // From the uppermost screw to the end, along the plate.
            let uppermost = plate.holes.last().unwrap();
            assert!(uppermost.screw.is_some());
            let end = plate.length_mm - uppermost.along_mm;
            assert!((end - 6.0).abs() < 1e-9, "{end}");
            // Evenly in between.
            let gaps = [levels[0] - levels[1], levels[1] - levels[2]];
            assert!((gaps[0] - gaps[1]).abs() < 1.0, "{gaps:?}");
        }
        let ends: Vec<f64> = construct.plates.iter().map(|p| p.end_level_mm).collect();
        assert_eq!(ends[0].max(ends[1]), 110.0);
    }
}

#[test]
fn the_screws_beside_the_gap_follow_it_where_their_distance_is_kept() {
    let gaps = |keys: &str| -> Vec<f64> {
        let points = built(&format!(
            "{keys}\n[factors]\n\"fracture.gap_mm\" = [2.0, 5.0, 9.0]\n"
        ));
        let innermost = |c: &Construct| {
            let levels = c.plates.iter().map(|p| shaft_levels(c, p));
            levels.map(|l| l[l.len() - 1]).fold(f64::MAX, f64::min)
        };
        points.iter().map(|(.., c)| innermost(c)).collect()
    };
    let kept = gaps("plates.length_taken_up_by = \"hole_pitch\"\nplates.end_level_mm = 95");
    // The middle of the gap stays: its upper face rises by half of what the gap grows by.
    for (from, to, rise) in [(0, 1, 1.5), (1, 2, 2.0)] {
        assert!((kept[to] - kept[from] - rise).abs() < 0.1, "{kept:?}");
    }
    // Screws that hold in one cortex find a place in any hole: the row stays where it is.
    let by_pitch = gaps("plates.end_level_mm = 95\nscrews.bicortical = false");
    assert!((by_pitch[1] - by_pitch[0]).abs() < 1e-9, "{by_pitch:?}");
}
