//! Screws as built: hole, direction, length, hold, neighbours, and concessions.

use crate::study_view::StudyView;
use crate::tables::{NONE, Row, Table, cells, lead_cells, lead_heads};
use bicolumn_store::{PointRecord, ScrewMark, one_cortex_screws};

/// Most different sets of screws that are shown.
const MOST: usize = 8;

/// A row a point: its plates' ends, and its shaft screws as built; `None` where no point has a plate.
pub(crate) fn construct_table(view: &StudyView) -> Option<Table> {
    let one = |x: f64| format!("{x:.1}");
    let points: Vec<&PointRecord> = view.done().filter(|p| !p.plates.is_empty()).collect();
    let rows = points.iter().map(|point| {
        let ends: Vec<String> = point
            .plates
            .iter()
            .map(|p| format!("{} {}", p.site, one(p.end_level_mm)))
            .collect();
        let shaft: Vec<&ScrewMark> = point.screws.iter().filter(|s| s.row == "shaft").collect();
        let lengths = || shaft.iter().map(|s| s.length_mm);
        let least = lengths().reduce(f64::min);
        let most = lengths().reduce(f64::max);
        let nearest = point.screws.iter().filter_map(|s| {
            let neighbour = s.as_built.as_ref()?.nearest_screw.as_ref()?;
            Some(neighbour.distance_mm)
        });
        let told = |x: Option<f64>| x.map_or(NONE.into(), one);
        let mut row = lead_cells(view, point);
        row.extend([
            ends.join(", "),
            shaft.len().to_string(),
            (point.screws.len() - shaft.len()).to_string(),
            told(least),
            told(most),
            one_cortex_screws(point).map_or(NONE.into(), |n| n.to_string()),
            told(nearest.reduce(f64::min)),
        ]);
        cells(row)
    });
    let rows: Vec<Row> = rows.collect();
    let mut heads = lead_heads(view);
    heads.push("plates end at, mm".into());
    let words = heads.len();
    heads.extend(
        [
            "shaft screws",
            "others",
            "shortest, mm",
            "longest, mm",
            "in one cortex",
            "least clearance, mm",
        ]
        .map(String::from),
    );
    (!rows.is_empty()).then(|| Table {
        caption: "Constructs as built. Lengths of shaft screws; clearance between the surfaces of two screws.".into(),
        heads,
        rows,
        words,
    })
}

/// A section for each set of screws that differs from those before it, with the points that have it; `None` where no
/// record tells.
pub(crate) fn as_built_table(view: &StudyView) -> Option<Table> {
    let mut sets: Vec<(&[ScrewMark], Vec<&PointRecord>)> = Vec::new();
    for point in view.done() {
        if !point.screws.iter().any(|s| s.as_built.is_some()) {
            continue;
        }
        match sets.iter_mut().find(|(set, _)| *set == point.screws) {
            Some((_, points)) => points.push(point),
            None => sets.push((&point.screws, vec![point])),
        }
    }
    if sets.is_empty() {
        return None;
    }
    let mut rows = Vec::new();
    for (set, points) in sets.iter().take(MOST) {
        let ids: Vec<&str> = points.iter().map(|p| p.id.as_str()).collect();
        rows.push(Row {
            section: ids.join(", "),
            ..Row::default()
        });
        rows.extend(set.iter().map(row));
    }
    let left_out = match sets.len() > MOST {
        true => format!(" Shown: the first {MOST} of {} different sets.", sets.len()),
        false => String::new(),
    };
    Some(Table {
        caption: format!(
            "Screws as built. Hole: counted from the plate's proximal end; tilt: angle to the hole's axis; length: from \
             the bone's surface to the tip, in brackets the longest asked for; cortices: built, of those asked for; \
             clearance: distance between the surfaces. The file screws.csv holds them of all points.{left_out}"
        ),
        heads: [
            "screw",
            "plate",
            "row",
            "hold",
            "given up",
            "hole",
            "from end, mm",
            "tilt, °",
            "length, mm",
            "cortices",
            "core, mm",
            "to screw, mm",
            "to other plate, mm",
        ]
        .map(String::from)
        .to_vec(),
        rows,
        words: 5,
    })
}

fn row(screw: &ScrewMark) -> Row {
    let one = |x: f64| format!("{x:.1}");
    let none = || NONE.to_string();
    let built = screw.as_built.as_ref();
    let longest = built.and_then(|b| b.longest_asked_mm);
    let asked = built.and_then(|b| b.cortices_asked);
    let neighbour = |n: Option<&bicolumn_store::NeighbourRecord>| {
        n.map_or_else(none, |n| format!("{:.2} ({})", n.distance_mm, n.part))
    };
    cells(vec![
        screw.name.clone(),
        match screw.plate.is_empty() {
            true => "independent".into(),
            false => screw.plate.clone(),
        },
        screw.row.clone(),
        built.map_or_else(none, |b| b.hold.replace('_', "-")),
        built
            .map(|b| b.given_up_words())
            .filter(|words| !words.is_empty())
            .unwrap_or_else(none),
        built
            .and_then(|b| b.hole)
            .map_or_else(none, |h| h.to_string()),
        built.and_then(|b| b.from_end_mm).map_or_else(none, one),
        built.and_then(|b| b.tilt_deg).map_or_else(none, one),
        match longest {
            Some(longest) => format!("{} ({})", one(screw.length_mm), one(longest)),
            None => one(screw.length_mm),
        },
        match (screw.cortices, asked) {
            (Some(built), Some(asked)) => format!("{built} of {asked}"),
            (Some(built), None) => built.to_string(),
            (None, _) => none(),
        },
        format!("{:.2}", screw.diameter_mm),
        neighbour(built.and_then(|b| b.nearest_screw.as_ref())),
        neighbour(built.and_then(|b| b.nearest_plate.as_ref())),
    ])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;
    use bicolumn_store::{ConcessionRecord, NeighbourRecord, ScrewAsBuiltRecord};

    #[test]
    fn equal_sets_of_screws_share_a_section_and_a_row_tells_what_was_given_up() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        assert!(as_built_table(&view).is_none(), "old records do not tell");
        let built = ScrewAsBuiltRecord {
            hole: Some(2),
            from_end_mm: Some(18.0),
            tilt_deg: Some(5.0),
            longest_asked_mm: Some(40.0),
            cortices_asked: Some(2),
            hold: "non_locking".into(),
            nearest_screw: Some(NeighbourRecord {
                part: "screw.07".into(),
                distance_mm: 1.254,
            }),
            nearest_plate: None,
            given_up: vec![ConcessionRecord {
                kind: "before_screw".into(),
                words: "ends before the far cortex".into(),
            }],
        };
        for point in &mut view.points {
            point.screws.truncate(1);
            let same = match point.id.as_str() {
                "p002" => 80.0,
                _ => 70.0,
            };
            for s in &mut point.screws {
                s.entry_level_mm = same;
                s.tip_level_mm = same;
                s.plate = "medial".into();
                s.as_built = Some(built.clone());
            }
        }
        let table = as_built_table(&view).unwrap();
        let sections: Vec<&str> = table
            .rows
            .iter()
            .map(|r| r.section.as_str())
            .filter(|s| !s.is_empty())
            .collect();
        assert_eq!(sections.len(), 2);
        assert!(sections[0].starts_with("p001, p003"), "{sections:?}");
        assert_eq!(sections[1], "p002");
        let row = &table.rows[1].cells;
        assert_eq!(row.len(), table.heads.len());
        assert_eq!(row[3], "non-locking");
        assert_eq!(row[4], "ends before the far cortex");
        assert_eq!((&*row[8], &*row[9]), ("24.0 (40.0)", "2 of 2"));
        assert_eq!((&*row[11], &*row[12]), ("1.25 (screw.07)", NONE));
    }
}
