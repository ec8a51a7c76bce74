//! The tables of the page, as plain text cells.

use crate::chart::escape;
use crate::comparison::Compared;
use crate::credit::Withheld;
use crate::distinct_cases::DistinctCase;
use crate::labels::{capital, case_words, factor_words, level_number, level_words, shown_unit};
use crate::number::{Decimals, plain, tiny};
use crate::study_view::{Cell, StudyView, response};
use crate::words::change_words;
use bicolumn_response::{
    LargestOfPlates, Load, Motion, PlateColumn, PlateStress, ResponseId, ResponseName, ScrewForce,
    Shaft,
};
use bicolumn_store::results::unit_of_key;
use bicolumn_store::{InputRecord, PointRecord, Status};
use serde::Serialize;
use std::f64::consts::PI;

/// A table: heads, and rows of cells.
#[derive(Debug, Default, Serialize)]
pub(crate) struct Table {
    /// Caption: contents of the table.
    pub(crate) caption: String,
    /// Column heads.
    pub(crate) heads: Vec<String>,
    /// Rows.
    pub(crate) rows: Vec<Row>,
    /// How many leading columns are words (set to the left).
    pub(crate) words: usize,
}

/// A row of a table.
#[derive(Debug, Default, Serialize)]
pub(crate) struct Row {
    /// A heading over the rows that follow; then there are no cells.
    pub(crate) section: String,
    /// Cells.
    pub(crate) cells: Vec<String>,
    /// Spread over the remaining columns: a reason.
    pub(crate) note: String,
}

pub(crate) fn cells(cells: Vec<String>) -> Row {
    Row {
        cells,
        ..Row::default()
    }
}

pub(crate) const NONE: &str = "–";

/// A cell as markup: a leading number in a form that a spreadsheet reads, what follows it left out of a copy.
pub(crate) fn cell_markup(cell: &str) -> String {
    let rest = cell.strip_prefix(['−', '+', '-']).unwrap_or(cell);
    let digits = rest.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.');
    let number = &rest[..rest.len() - digits.len()];
    let is_number = number.parse::<f64>().is_ok();
    let ends = digits.is_empty() || digits.starts_with([' ', '\u{a0}', ',', '%']);
    if !is_number || !ends {
        return escape(cell);
    }
    let sign = &cell[..cell.len() - rest.len()];
    let sign = if sign == "−" { "-" } else { sign };
    match digits {
        "" => format!("{sign}{number}"),
        more => format!("{sign}{number}<span class=\"x\">{}</span>", escape(more)),
    }
}

/// The headline by load case and level, with the change against the baseline: a table per construct.
pub(crate) fn headline_tables(view: &StudyView) -> Vec<Table> {
    let Some(headline) = view.headline() else {
        return Vec::new();
    };
    let levels = view.levels();
    let decimals = view.decimals(&headline.response);
    view.groups()
        .iter()
        .map(|group| {
            let mut heads = vec!["load case".to_string()];
            let over = factor_words(&headline.over);
            heads.extend(
                levels
                    .iter()
                    .map(|l| format!("{over} {}", level_words(&headline.over, l))),
            );
            let row = |case: &DistinctCase| {
                let mut row = vec![case.words()];
                row.extend(levels.iter().map(|level| {
                    view.compare(group, level, &case.name)
                        .map_or(NONE.to_string(), |found| {
                            let common =
                                view.has_common_partners(group, &case.name, &headline.response);
                            compared_words(&found, common, decimals)
                        })
                }));
                cells(row)
            };
            let distinct = view.distinct_cases(&[&headline.response]);
            let averaged = distinct
                .iter()
                .find_map(|case| view.averaged_words(group, &case.name))
                .map_or(String::new(), |words| format!("; {words}"));
            Table {
                caption: format!(
                    "{}: {}{averaged}",
                    capital(&group.label),
                    unit_after(
                        &headline.response.words(),
                        &shown_unit(view.unit(&headline.response))
                    )
                ),
                heads,
                rows: distinct.iter().map(row).collect(),
                words: 1,
            }
        })
        .collect()
}

/// A value with its change: "12.1 (+8 %)"; where levels have no partners in common, with its partners' mean.
fn compared_words(found: &Compared, common: bool, decimals: Decimals) -> String {
    let show = |cell: &Cell| match cell.error {
        Some(e) => decimals.show_with(cell.mean, e),
        None => decimals.show(cell.mean),
    };
    let value = show(&found.cell);
    let Some(base) = &found.base else {
        return value;
    };
    let against = match common {
        true => String::new(),
        false => format!(" against {}", show(base)),
    };
    let change = found.change.as_ref().map(change_words);
    match (found.withheld, change) {
        (Some(Withheld::NoRiser), _) => format!("{value}{against} (no riser)"),
        (Some(Withheld::OneCortex { .. }), Some(change)) => {
            format!("{value}{against} ({change}, other cortices)")
        }
        (Some(Withheld::OnEdge(_)), Some(change)) => {
            format!("{value}{against} ({change}, on an edge)")
        }
        (Some(Withheld::NotDecided(_)), Some(change)) => {
            format!("{value}{against} ({change}, not decided)")
        }
        (_, Some(change)) => format!("{value}{against} ({change})"),
        (_, None) => format!("{value}{against}"),
    }
}

/// Words, and a unit after a comma where there is one.
fn unit_after(words: &str, unit: &str) -> String {
    match unit.is_empty() {
        true => words.to_string(),
        false => format!("{words}, {unit}"),
    }
}

/// The responses that the summary table shows, as far as any point has them.
fn key_responses(view: &StudyView) -> Vec<ResponseName> {
    use PlateColumn::{Medial, Other};
    const WANTED: [ResponseId; 11] = [
        ResponseId::LargestOfPlates(LargestOfPlates::LastScrew),
        ResponseId::LargestOfPlates(LargestOfPlates::BeyondEnd),
        ResponseId::Shaft(Shaft::Peak),
        ResponseId::Load(Load::Stiffness),
        ResponseId::Load(Load::RotationStiffness),
        ResponseId::Motion(Motion::AxialMedial),
        ResponseId::Motion(Motion::AxialLateral),
        ResponseId::Motion(Motion::ShearMedial),
        ResponseId::Motion(Motion::ShearLateral),
        ResponseId::PlateStress(PlateStress::Hotspot.of(Medial)),
        ResponseId::PlateStress(PlateStress::Hotspot.of(Other)),
    ];
    let present = |name: &ResponseName| {
        let mut cases = view.done().flat_map(|p| &p.cases);
        cases.any(|c| c.response(name).is_some_and(|r| r.value.is_some()))
    };
    let lead = view.lead().cloned();
    let mut names: Vec<ResponseName> = lead.into_iter().filter(|n| present(n)).collect();
    for name in WANTED.map(ResponseName::Known) {
        if present(&name) && !names.contains(&name) {
            names.push(name);
        }
    }
    // A study with responses of other names still gets a table.
    if names.is_empty() {
        let all = view.record.columns.iter().map(|(name, ..)| name.clone());
        names = all.filter(|n| present(n)).take(WANTED.len()).collect();
    }
    names
}

/// Points by load case with the key responses: stress and stiffness in one table, motion of the fracture in another,
/// since both side by side are wider than a page. The first names points without a result, with their reason.
pub(crate) fn response_tables(view: &StudyView) -> Vec<Table> {
    let (motion, others): (Vec<ResponseName>, Vec<ResponseName>) = key_responses(view)
        .into_iter()
        .partition(|name| matches!(name.id(), Some(ResponseId::Motion(_))));
    let mut tables = vec![];
    if !others.is_empty() || motion.is_empty() {
        let mut table = response_table(
            view,
            &others,
            "Key responses: bone stress at the last screw, beyond the plate's end and along the shaft, stiffness, \
             hot-spots of the plates; behind ± the size of the estimated discretisation error, where there is one. \
             The file results.csv holds all responses with full digits.",
        );
        table.rows.extend(without_result(view));
        tables.push(table);
    }
    if !motion.is_empty() {
        let mut table = response_table(
            view,
            &motion,
            "Motion of the fracture faces (axial: closing negative).",
        );
        if tables.is_empty() {
            table.rows.extend(without_result(view));
        }
        tables.push(table);
    }
    let sensors = sensor_columns(view);
    if !sensors.is_empty() {
        let caption = "Readings of the job's sensors, as its table [sensors] places them; their definitions stand with the \
                       columns. The error of a reading is not estimated.";
        tables.push(response_table(view, &sensors, caption));
    }
    tables
}

/// Columns of sensors that have a reading.
fn sensor_columns(view: &StudyView) -> Vec<ResponseName> {
    let columns = view.record.columns.iter().map(|(name, ..)| name);
    let sensors = columns.filter(|n| n.id().is_none() && n.to_string().starts_with("sensor_"));
    let is_read = |name: &&ResponseName| {
        let mut cases = view.done().flat_map(|p| &p.cases);
        cases.any(|c| c.response(name).is_some_and(|r| r.value.is_some()))
    };
    sensors.filter(is_read).cloned().collect()
}

fn response_table(view: &StudyView, names: &[ResponseName], caption: &str) -> Table {
    let mut heads = lead_heads(view);
    heads.extend(names.iter().map(|name| {
        let unit = shown_unit(view.unit(name));
        unit_after(&name.head(), &unit)
    }));
    let decimals: Vec<_> = names.iter().map(|n| view.decimals(n)).collect();
    let rows = by_case(view, names, |point, case| {
        let cells = names.iter().zip(&decimals).map(|(name, decimals)| {
            let found = response(point, case, name);
            let Some((r, value)) = found.and_then(|r| Some((r, r.value?))) else {
                return NONE.to_string();
            };
            match r.error_estimate {
                Some(e) => decimals.show_with(value, e),
                None => decimals.show(value),
            }
        });
        cells.collect()
    });
    Table {
        caption: caption.into(),
        words: heads.len() - names.len(),
        heads,
        rows,
    }
}

/// Longest reason in a table, in letters.
const LONGEST_REASON: usize = 110;

/// The first clause of a reason; a list of reasons in full stands elsewhere.
fn in_short(reason: &str) -> String {
    let clause = reason.split("; ").next().unwrap_or(reason);
    match clause.char_indices().nth(LONGEST_REASON) {
        None => clause.to_string(),
        Some((end, _)) => format!("{} …", clause[..end].trim_end()),
    }
}

/// Reasons in full of points without a result that a table tells in short.
pub(crate) fn reasons_in_full(view: &StudyView) -> Vec<String> {
    let reason = |p: &PointRecord| match &p.status {
        Status::Done => None,
        Status::Failed { reason, .. } | Status::Skipped { reason } => {
            (in_short(reason) != *reason).then(|| format!("{}: {reason}", p.id))
        }
    };
    view.points.iter().filter_map(reason).collect()
}

/// Points without a result, with their reason.
fn without_result(view: &StudyView) -> Vec<Row> {
    let mut missing: Vec<Row> = Vec::new();
    for point in &view.points {
        let note = match &point.status {
            Status::Done => continue,
            Status::Failed { stage, reason } if stage == "geometry" => {
                format!("cannot be built: {}", in_short(reason))
            }
            Status::Failed { stage, reason } => format!("failed at {stage}: {}", in_short(reason)),
            Status::Skipped { reason } => {
                format!("left out, cannot be built: {}", in_short(reason))
            }
        };
        missing.push(Row {
            cells: lead_cells(view, point),
            note,
            ..Row::default()
        });
    }
    for (id, reason) in &view.unread {
        let mut lead = vec![id.clone()];
        lead.extend(view.record.factors.iter().map(|_| NONE.to_string()));
        missing.push(Row {
            cells: lead,
            note: format!("no valid record: {reason}"),
            ..Row::default()
        });
    }
    if !missing.is_empty() {
        let section = Row {
            section: "Without a result".into(),
            ..Row::default()
        };
        missing.insert(0, section);
    }
    missing
}

/// Largest section forces of screws, by load case and point, with the screw; `None` where no point has any.
pub(crate) fn screw_table(view: &StudyView) -> Option<Table> {
    let wanted = [
        (ScrewForce::Axial, "axial force"),
        (ScrewForce::Shear, "shear force"),
        (ScrewForce::Bending, "bending moment"),
        (ScrewForce::Torque, "torque"),
    ];
    let names = wanted.map(|(response, _)| ResponseName::from(response));
    let mut heads = lead_heads(view);
    let words = heads.len();
    heads.extend(wanted.map(|(response, head)| {
        let unit = ResponseId::from(response).unit();
        format!("{head}, {}", unit.typeset())
    }));
    let decimals: Vec<_> = names.iter().map(|name| view.decimals(name)).collect();
    let mut any = false;
    let rows = by_case(view, &names, |point, case| {
        let cells = names.iter().zip(&decimals).map(|(name, decimals)| {
            let found = response(point, case, name);
            match found.and_then(|r| Some((r.value?, r.part.as_ref()?))) {
                Some((value, part)) => {
                    any = true;
                    format!("{} ({part})", decimals.show(value))
                }
                None => NONE.to_string(),
            }
        });
        cells.collect()
    });
    any.then(|| Table {
        caption: "Largest force and moment in a screw's shank, at the plate's underside, the bone's \
                  surface or where it crosses the fracture, with the screw; axial: tension positive, \
                  tightening included. The file screws.csv holds every screw and cut."
            .into(),
        heads,
        rows,
        words,
    })
}

/// A section for each load case, those of opposite loads as one, with a row for each solved point: its lead, then the cells given.
fn by_case(
    view: &StudyView,
    names: &[ResponseName],
    mut given: impl FnMut(&PointRecord, &str) -> Vec<String>,
) -> Vec<Row> {
    let mut rows = Vec::new();
    let names: Vec<&ResponseName> = names.iter().collect();
    for case in view.distinct_cases(&names) {
        let reverse = case.reverse.as_ref().map_or(String::new(), |reverse| {
            let words = case_words(reverse);
            format!(" ({words} is its reverse: motion and forces of opposite sign)")
        });
        rows.push(Row {
            section: format!("{}{reverse}", capital(&case_words(&case.name))),
            ..Row::default()
        });
        for point in view.done() {
            let mut row = lead_cells(view, point);
            row.extend(given(point, &case.name));
            rows.push(cells(row));
        }
    }
    rows
}

/// Heads of the point's id and of the factors, with their units.
pub(crate) fn lead_heads(view: &StudyView) -> Vec<String> {
    let factor = |key: &str| {
        let unit = shown_unit(unit_of_key(key));
        unit_after(&factor_words(key), &unit)
    };
    let factors = view.record.factors.iter().map(|(key, _)| factor(key));
    std::iter::once("point".to_string())
        .chain(factors)
        .collect()
}

/// Point id and factor levels, without units (those are in the heads).
pub(crate) fn lead_cells(view: &StudyView, point: &PointRecord) -> Vec<String> {
    let mut row = vec![point.id.clone()];
    row.extend(view.record.factors.iter().map(|(key, _)| {
        let level = point.factors.get(key);
        level.map_or(NONE.into(), |l| match l.as_number() {
            Some(n) => level_number(key, n),
            None => level_words(key, l),
        })
    }));
    row
}

/// The least meshed volume of a screw over that of its cylinder. Far below 1: the mesh is too coarse
/// to hold the screw together.
fn least_screw_volume(point: &PointRecord) -> Option<f64> {
    let parts = &point.mesh.as_ref()?.parts;
    if parts.is_empty() {
        return None;
    }
    let meshed = |name: &str| {
        let part = parts.iter().find(|(part, ..)| part == name);
        part.map_or(0.0, |(.., volume)| *volume)
    };
    let shares = point.screws.iter().filter_map(|s| {
        let cylinder = PI / 4.0 * s.diameter_mm.powi(2) * s.length_mm;
        (cylinder > 0.0).then(|| meshed(&s.name) / cylinder)
    });
    shares.reduce(f64::min)
}

/// The largest relative energy error over the load cases; `None` unless all have one.
fn energy_error(point: &PointRecord) -> Option<f64> {
    let all: Option<Vec<f64>> = point.cases.iter().map(|c| c.energy_error).collect();
    all?.into_iter().reduce(f64::max)
}

/// Mesh and solver evidence, a row per point.
pub(crate) fn evidence_table(view: &StudyView) -> Table {
    let heads = [
        "point",
        "tets",
        "nodes",
        "least dihedral, °",
        "below 18°, %",
        "radius ratio",
        "screw volume, %",
        "method",
        "iterations",
        "residual",
        "imbalance",
        "energy error, %",
        "mesh, s",
        "solve, s",
        "all, s",
        "memory, MiB",
    ];
    let count = |n: Option<usize>| n.map_or(NONE.to_string(), |n| n.to_string());
    let number = |n: Option<f64>, factor: f64, digits: usize| {
        n.map_or(NONE.to_string(), |n| format!("{:.digits$}", n * factor))
    };
    let rows = view.done().map(|p| {
        let (mesh, solver) = (p.mesh.as_ref(), p.solver.as_ref());
        let largest = |of: fn(&bicolumn_store::CaseRecord) -> f64| {
            let found = p
                .cases
                .iter()
                .map(of)
                .fold(None, |m: Option<f64>, v| Some(m.map_or(v, |m| m.max(v))));
            found.map_or(NONE.to_string(), tiny)
        };
        let seconds = |name: &str| {
            let stage = p.stages.iter().find(|s| s.name == name);
            stage.map_or(NONE.to_string(), |s| format!("{:.1}", s.seconds))
        };
        let all: f64 = p.stages.iter().map(|s| s.seconds).sum();
        let memory = p
            .stages
            .iter()
            .filter_map(|s| s.peak_mib)
            .fold(None, |m: Option<f64>, v| Some(m.map_or(v, |m| m.max(v))));
        cells(vec![
            p.id.clone(),
            count(mesh.map(|m| m.tets)),
            count(mesh.map(|m| m.nodes)),
            number(mesh.map(|m| m.min_dihedral_deg), 1.0, 1),
            number(mesh.map(|m| m.share_below_18_deg), 100.0, 2),
            number(mesh.map(|m| m.min_radius_ratio), 1.0, 3),
            least_screw_volume(p).map_or(NONE.to_string(), |v| format!("{:.0}", 100.0 * v)),
            solver.map_or(NONE.to_string(), |s| s.method.clone()),
            count(solver.map(|s| s.iterations)),
            largest(|c| c.residual),
            largest(|c| c.equilibrium),
            energy_error(p).map_or(NONE.to_string(), |e| format!("{:.1}", 100.0 * e)),
            seconds("mesh"),
            seconds("solve"),
            format!("{all:.1}"),
            memory.map_or(NONE.to_string(), |m| format!("{m:.0}")),
        ])
    });
    Table {
        caption: "Mesh quality over straight-sided tetrahedra, the least value of each mesh; \
                  screw volume: the least meshed volume of a screw over that of its cylinder (far \
                  below 100 the mesh is too coarse to hold the screw together); residual \
                  |b − K u| / |b| and \
                  imbalance of reactions and loads, relative to the load, each the largest over the \
                  load cases, like the estimated energy norm of the discretisation error over that of the \
                  solution; largest resident memory of the whole process up to the end of the point."
            .into(),
        heads: heads.map(String::from).to_vec(),
        rows: rows.collect(),
        words: 1,
    }
}

/// Bone dimensions asked for and measured back from the built solid.
pub(crate) fn landmark_table(view: &StudyView) -> Table {
    let row = |(name, asked, built, unit): &(String, f64, f64, String)| {
        cells(vec![
            name.trim_end_matches(&format!("_{unit}")).replace('_', " "),
            plain(*asked),
            format!("{built:.2}").replace('-', "−"),
            format!("{:+.2}", built - asked).replace('-', "−"),
            shown_unit(unit),
        ])
    };
    Table {
        caption: "Dimensions asked for, and measured back from the built solid.".into(),
        heads: ["dimension", "asked", "built", "difference", "unit"]
            .map(String::from)
            .to_vec(),
        rows: view.record.landmarks.iter().map(row).collect(),
        words: 1,
    }
}

/// Inputs that the job gives or varies, and those that were moved.
pub(crate) fn given_table(view: &StudyView) -> Table {
    let is_varied = |key: &str| view.record.factors.iter().any(|(k, _)| k == key);
    let wanted = |i: &InputRecord| {
        !(i.key.starts_with("run.") || i.key.starts_with("hypothesis."))
            && (is_varied(&i.key)
                || match i.origin.as_str() {
                    "" => !i.is_default,
                    origin => matches!(origin, "given" | "factor" | "moved"),
                })
    };
    Table {
        caption: "Inputs that the job gives or varies.".into(),
        ..inputs(view, &wanted)
    }
}

/// Every input with unit, origin and source.
pub(crate) fn input_table(view: &StudyView) -> Table {
    inputs(view, &|_| true)
}

fn inputs(view: &StudyView, wanted: &dyn Fn(&InputRecord) -> bool) -> Table {
    let mut section = String::new();
    let mut rows = Vec::new();
    for input in view.record.inputs.iter().filter(|i| wanted(i)) {
        let (head, name) = input.key.split_once('.').unwrap_or(("", &input.key));
        if head != section {
            section = head.to_string();
            rows.push(Row {
                section: capital(head),
                ..Row::default()
            });
        }
        let varied = view.record.factors.iter().any(|(key, _)| *key == input.key);
        let origin = match (&*input.origin, varied, input.is_default) {
            ("", true, _) => "factor",
            ("", false, true) => "default",
            ("", false, false) => "given",
            (told, ..) => told,
        };
        rows.push(cells(vec![
            name.to_string(),
            typeset(&input.value),
            shown_unit(&input.unit),
            origin.into(),
            input.source.clone(),
        ]));
    }
    Table {
        caption: "Every input of the job: given, factor (with its levels), default, derived (follows from others), moved (the value stated; the source tells what was built in its place)."
            .into(),
        heads: ["key", "value", "unit", "origin", "source"]
            .map(String::from)
            .to_vec(),
        rows,
        words: 5,
    }
}

/// A value or a list of values with typeset minus signs; words keep their hyphens.
fn typeset(value: &str) -> String {
    match value.chars().any(char::is_alphabetic) {
        true => value.to_string(),
        false => value.replace('-', "−"),
    }
}

/// Definitions of every response.
pub(crate) fn definition_table(view: &StudyView) -> Table {
    let columns = view.record.columns.iter();
    Table {
        caption: "Columns of results.csv.".into(),
        heads: ["column", "unit", "definition"].map(String::from).to_vec(),
        rows: columns
            .map(|(name, unit, text)| cells(vec![name.to_string(), shown_unit(unit), text.clone()]))
            .collect(),
        words: 3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;
    use bicolumn_store::MeshRecord;

    #[test]
    fn a_copied_cell_is_its_number() {
        let copied = |cell: &str| {
            let markup = cell_markup(cell);
            markup.split("<span").next().unwrap().to_string()
        };
        for (cell, number) in [
            ("5.6 ± 0.1 (+22\u{a0}%)", 5.6),
            ("−39 (screw.04)", -39.0),
            ("+10\u{a0}% ± 3.1\u{a0}%, supported", 10.0),
            ("−0.123", -0.123),
            ("0.15 (0.12 to 0.18)", 0.15),
        ] {
            assert_eq!(copied(cell).parse(), Ok(number), "{cell}");
        }
        for words in ["–", "p001", "orthogonal", "1e-9", "2.1:3"] {
            assert_eq!(cell_markup(words), words);
        }
        assert!(cell_markup("5 <b>").ends_with("> &lt;b&gt;</span>"));
    }

    #[test]
    fn a_screw_that_the_mesh_lost_shows() {
        let (_temp, folder) = synthetic_study();
        let view = StudyView::read(folder).unwrap();
        let mut point = view.points[0].clone();
        assert_eq!(least_screw_volume(&point), None, "no part table, no number");
        let cylinder = PI / 4.0 * 2.7 * 2.7 * 24.0;
        let parts: Vec<_> = (1..=9)
            .map(|i| {
                (
                    format!("screw.{i:02}"),
                    100,
                    cylinder * if i == 4 { 0.5 } else { 0.9 },
                )
            })
            .collect();
        point.mesh = Some(MeshRecord {
            parts,
            ..MeshRecord::default()
        });
        // Screw 10 is not in the mesh at all.
        assert_eq!(least_screw_volume(&point), Some(0.0));
        point.screws.pop();
        assert!((least_screw_volume(&point).unwrap() - 0.5).abs() < 1e-12);
    }
}
