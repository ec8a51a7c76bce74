//! The report of a study: one page that opens offline, made from stored results only.
//!
//! Doors: [`write_report`], [`write_summary`] for several studies, [`predict_at`] by stored models. It reads `study.json`, `points/ID/record.json` and `points/ID/surface.vtu`
//! with `surface.json`, and computes nothing anew but means, differences, percentages, the effects of factors and models over them. Charts are
//! inline SVG, each also a file of its own with its data, pictures are PNG inside the page; no script, no font and no file is
//! fetched.
//!
//! # Known limits
//! Pictures show straight-sided facets. Charts draw at most seven lines a panel; beyond eight points
//! pictures are of the first, the lowest and the highest only, and the page says so.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod as_built_table;
mod by_level;
mod caution;
mod chart;
mod checklist;
mod colour;
mod comparison;
mod credit;
mod distinct_cases;
mod drawn;
mod effects;
mod error;
mod figures;
mod fitted;
mod grouped_warnings;
mod hypothesis;
mod hypothesis_chart;
mod interaction_chart;
mod labels;
mod line_styles;
mod load_table;
mod marks;
mod model_table;
mod motion_chart;
mod moved_to_fit;
mod moved_with;
mod number;
mod observed;
mod page;
mod pareto;
mod peak_places;
mod picture;
mod profile_chart;
mod published;
mod scenes;
mod sensitivity;
mod sources;
mod stress_pictures;
mod study_view;
mod summary;
mod surface;
#[cfg(test)]
mod synthetic;
mod tables;
mod three_stresses;
mod wall_chart;
mod words;

pub use caution::CAUTION;
pub use colour::Rgb;
pub use error::ReportError;
pub use fitted::{CasePrediction, predict_at};
pub use picture::{Camera, Picture, Ring, Triangle, draw};
pub use summary::write_summary;

use crate::study_view::StudyView;
use bicolumn_store::{StoreError, StudyFolder, create_folder, write_atomic, write_record};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// A report that was written.
#[derive(Debug)]
pub struct WrittenReport {
    /// Path of the page.
    pub page: PathBuf,
    /// Stored files that it does without, because they are missing or damaged, with the reason; their paths are told from
    /// the study's folder. Points without a valid record are not among them.
    pub faults: Vec<String>,
}

/// Writes `report.html` into a study's folder from what is stored there; beside it its charts in `figures/`, and
/// `effects.csv`, if two factors or more vary, `hypothesis.csv`, if the job has hypotheses,
/// `regression.csv`, if the points were drawn, `models.json`, if the points suffice for models of the headline response, and
/// `pareto.csv`, if there are several responses to weigh; one that there is no ground for now is removed.
///
/// # Errors
/// [`ReportError`]: no readable `study.json`, or a folder that does not take writing. Points without a valid record and
/// surfaces that cannot be used do not stop the report; it lists them with the reason.
pub fn write_report(study_dir: &Path) -> Result<WrittenReport, ReportError> {
    let view = StudyView::read(StudyFolder::new(study_dir))?;
    let models = fitted::fit_models(&view);
    let folder = &view.folder;
    keep(&folder.effects_csv(), effects::effects_csv(&view)?)?;
    keep(&folder.regression_csv(), drawn::regression_csv(&view)?)?;
    keep(&folder.pareto_csv(), pareto::pareto_csv(&view)?)?;
    keep(&folder.hypothesis_csv(), hypothesis::hypothesis_csv(&view)?)?;
    match &models {
        Some(models) => write_record(&folder.models_json(), models)?,
        None => keep(&folder.models_json(), None)?,
    }
    // The page links the files that are there.
    let page = page::render(&view, models.as_ref())?;
    let linked = figures::linked(&page.html);
    write_figures(&folder.figures_folder(), &linked.files)?;
    let path = view.folder.report_html();
    write_atomic(&path, linked.html.as_bytes())?;
    Ok(WrittenReport {
        page: path,
        faults: page.faults,
    })
}

/// Writes the charts into `figures/`, in place of those of an earlier page.
fn write_figures(folder: &Path, files: &[(String, String)]) -> Result<(), ReportError> {
    create_folder(folder)?;
    let earlier = std::fs::read_dir(folder).map_err(|e| StoreError::writing(folder, e))?;
    for file in earlier.filter_map(Result::ok).map(|f| f.path()) {
        let name = file
            .file_name()
            .and_then(|n| n.to_str())
            .unwrap_or_default();
        let is_chart = name.ends_with(".svg") && name.starts_with(|c: char| c.is_ascii_digit());
        if is_chart && !files.iter().any(|(kept, _)| kept == name) {
            keep(&file, None)?;
        }
    }
    for (name, svg) in files {
        write_atomic(&folder.join(name), svg.as_bytes())?;
    }
    Ok(())
}

/// Writes a table, or removes the one of an earlier state of the study where there is none now.
fn keep(path: &Path, table: Option<Vec<u8>>) -> Result<(), ReportError> {
    match table {
        Some(table) => write_atomic(path, &table)?,
        None => match std::fs::remove_file(path) {
            Err(e) if e.kind() != ErrorKind::NotFound => {
                return Err(StoreError::writing(path, e).into());
            }
            _ => {}
        },
    }
    Ok(())
}
