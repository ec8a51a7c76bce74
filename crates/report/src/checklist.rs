//! Checklist of reporting guides for finite-element studies, with this study's answers.
//!
//! The items merge ASME V&V 40-2018, Erdemir et al. 2012 (J Biomech 45:625), Henninger et al. 2010,
//! Burkhart et al. 2013 (J Biomech 46:1477) and RIFEM 2022. An item is answered from the record or
//! says plainly that it is missing.

use crate::labels::{case_words, factor_words};
use crate::number::tiny;
use crate::study_view::StudyView;
use serde::Serialize;

/// One item of the list.
#[derive(Debug, Serialize, PartialEq)]
pub struct Item {
    /// Item asked for.
    pub asked: &'static str,
    /// Answer of this study.
    pub given: String,
    /// Given, partly given, or missing.
    pub state: &'static str,
}

const GIVEN: &str = "given";
const PARTLY: &str = "partly";
const MISSING: &str = "missing";

/// The list for a study.
pub fn checklist(view: &StudyView) -> Vec<Item> {
    let record = &view.record;
    let item = |asked, state, given: String| Item {
        asked,
        given,
        state,
    };
    let input = |key: &str| {
        let found = record.inputs.iter().find(|i| i.key == key);
        found.map(|i| format!("{} {}", i.value, i.unit).trim().to_string())
    };
    let section = |prefix: &str| {
        record
            .inputs
            .iter()
            .filter(|i| i.key.starts_with(prefix))
            .count()
    };
    let counted = |prefix: &str, words: &str| match section(prefix) {
        0 => (
            MISSING,
            format!("No input of this section is on record ({prefix}…)."),
        ),
        n => (GIVEN, format!("{n} inputs ({prefix}…) {words}")),
    };

    let mut list = vec![match record.question.is_empty() {
        true => item(
            "Question, context of use, risk",
            MISSING,
            "The job states no question.".into(),
        ),
        false => item(
            "Question, context of use, risk",
            PARTLY,
            "The question heads this page. Context of use: comparison of constructs; no risk \
             analysis is made."
                .into(),
        ),
    }];
    let (state, text) = counted(
        "bone.",
        "with their sources, landmarks measured back. Idealised bone, no scan of a person.",
    );
    list.push(item("Geometry source, cohort", state, text));
    list.push(item(
        "Parameter ranges with their spread",
        MISSING,
        "Factors have chosen levels; no distribution is sampled.".into(),
    ));
    let (_, text) = counted("materials.", "with their sources.");
    list.push(item(
        "Material law, density law, anisotropy",
        PARTLY,
        format!(
            "{text} Linear. Cortical bone: {}. Cancellous bone: {}.",
            match input("materials.cortical.symmetry").as_deref() {
                Some("transverse") => "alike across the shaft's axis only, uniform".into(),
                Some("isotropic") => "isotropic, uniform".into(),
                Some(levels) => format!("by point, {levels}"),
                None => "not on record".to_string(),
            },
            match input("materials.cancellous.density_law").as_deref() {
                Some("none") | None => "isotropic, uniform, no density law".into(),
                Some(law) => format!("isotropic, modulus by density law, {law}"),
            }
        ),
    ));
    let (state, text) = counted(
        "plates.",
        "in the inputs table; screws are smooth cylinders of the stated diameter, without thread.",
    );
    list.push(item("Plate and screw dimensions, threads", state, text));
    let kinds = [
        ("plate_bone", "plate and bone"),
        ("head_seat", "non-locking heads and seats"),
        ("screw_bone", "shanks and bone"),
        ("fracture_faces", "fracture faces that touch"),
    ];
    let mut words: Vec<String> = kinds
        .iter()
        .filter_map(|(key, what)| {
            let word = input(&format!("interfaces.{key}"))?;
            let friction = input(&format!("interfaces.{key}_friction"));
            Some(match friction {
                Some(mu) if word == "frictional" || word == "threaded" => {
                    format!("{what}: {word}, coefficient {mu}")
                }
                _ => format!("{what}: {word}"),
            })
        })
        .collect();
    // Parts that meet otherwise than their kind: interfaces.screw.03.seat.
    let named = record.inputs.iter().filter_map(|i| {
        let part = i.key.strip_prefix("interfaces.")?;
        let is_named = part.starts_with("plate.") || part.starts_with("screw.");
        is_named.then(|| format!("{part}: {}", i.value))
    });
    words.extend(named);
    list.push(item(
        "Each interface",
        if words.is_empty() { MISSING } else { GIVEN },
        match words.is_empty() {
            true => "No input of interfaces is on record.".into(),
            false => format!(
                "{}. Locking heads are one with the plate. Factors and screw preloads: see the inputs.",
                words.join("; ")
            ),
        },
    ));
    let cases: Vec<String> = view.cases().iter().map(|c| case_words(c)).collect();
    list.push(item(
        "Loads: direction, place, split, rate",
        if cases.is_empty() { MISSING } else { GIVEN },
        format!(
            "Load cases: {}. Resultants in each record; static, rate ignored.",
            cases.join(", ")
        ),
    ));
    list.push(item(
        "Supports and potting",
        if input("bone.potting_level_mm").is_some() {
            GIVEN
        } else {
            PARTLY
        },
        match input("bone.potting_level_mm") {
            Some(level) => format!("Held at a plane at level {level}."),
            None => "Held at the proximal end.".into(),
        },
    ));
    let meshes = view.done().filter_map(|p| p.mesh.as_ref());
    let tets: Vec<usize> = meshes.map(|m| m.tets).collect();
    list.push(match (tets.iter().min(), tets.iter().max()) {
        (Some(least), Some(most)) => item(
            "Element type, size, count, quality",
            GIVEN,
            format!(
                "Ten-node tetrahedra, {least} to {most} a point; quality in the evidence table."
            ),
        ),
        _ => item(
            "Element type, size, count, quality",
            MISSING,
            "No mesh is on record.".into(),
        ),
    });
    let noise = !record.mesh_noise.is_empty();
    list.push(item(
        "Convergence of plate-end stress and motion",
        if view.has_estimates() || noise {
            PARTLY
        } else {
            MISSING
        },
        match (view.has_estimates(), noise) {
            (false, false) => "Not shown by this study: one mesh a point.".into(),
            _ => "Error estimates or mesh noise stand beside the values they were made for.".into(),
        },
    ));
    let largest = |of: fn(&bicolumn_store::CaseRecord) -> f64| {
        view.done()
            .flat_map(|p| &p.cases)
            .map(of)
            .fold(0.0, f64::max)
    };
    let solved = view.done().next().is_some();
    list.push(item(
        "Solver tolerance, residual",
        if solved { GIVEN } else { MISSING },
        match solved {
            true => format!(
                "Largest relative residual {}.",
                tiny(largest(|c| c.residual))
            ),
            false => "Nothing was solved.".into(),
        },
    ));
    list.push(item(
        "Reactions balance loads",
        if solved { GIVEN } else { MISSING },
        match solved {
            true => format!(
                "Largest relative imbalance {}.",
                tiny(largest(|c| c.equilibrium))
            ),
            false => "Nothing was solved.".into(),
        },
    ));
    list.push(item(
        "Rule for reading stress",
        if record.columns.is_empty() {
            MISSING
        } else {
            GIVEN
        },
        "Definitions of every column are at the end of the page; single nodes are never read."
            .into(),
    ));
    list.push(item(
        "Validation against tests",
        MISSING,
        "This study compares with no physical test.".into(),
    ));
    list.push(item(
        "Sensitivity to materials, friction, preload, mesh",
        MISSING,
        "Only the factors of the design were varied.".into(),
    ));
    let factors: Vec<String> = record
        .factors
        .iter()
        .map(|(key, levels)| format!("{} ({} levels)", factor_words(key), levels.len()))
        .collect();
    list.push(item(
        "Design: factors, levels, runs, fit",
        PARTLY,
        format!(
            "Factors: {}; {} points. No model is fitted.",
            if factors.is_empty() {
                "none".into()
            } else {
                factors.join(", ")
            },
            record.points.len()
        ),
    ));
    list.push(item(
        "Limits",
        GIVEN,
        "See \"What was not modelled\".".into(),
    ));
    list.push(item(
        "Files and code available",
        GIVEN,
        format!(
            "Records, tables and the job's text are in the result folder; engine version {}.",
            record.engine_version
        ),
    ));
    list
}
