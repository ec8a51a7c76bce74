//! Checklist of reporting guides for finite-element studies, with this study's answers.
//!
//! The items merge ASME V&V 40-2018, Erdemir et al. 2012 (J Biomech 45:625), Henninger et al. 2010,
//! Burkhart et al. 2013 (J Biomech 46:1477) and RIFEM 2022. An item is answered from the record or
//! says plainly that it is missing.

use crate::effects::{ModelTerms, model_terms};
use crate::labels::{case_words, factor_words};
use crate::number::tiny;
use crate::study_view::StudyView;
use bicolumn_store::CaseRecord;
use serde::Serialize;

/// One item of the list.
#[derive(Debug, Serialize, PartialEq)]
pub(crate) struct Item {
    /// Item asked for.
    pub(crate) asked: &'static str,
    /// Answer of this study.
    pub(crate) given: String,
    /// Given, partly given, or missing.
    pub(crate) state: State,
}

/// Extent to which an item is answered.
#[derive(Debug, Clone, Copy, Serialize, PartialEq, Eq)]
#[serde(rename_all = "snake_case")]
pub(crate) enum State {
    /// Answered.
    Given,
    /// Answered in part.
    Partly,
    /// Not answered.
    Missing,
}

/// Extent and words of an answer.
type Answer = (State, String);

/// Item asked for, with the function that answers it from a study.
type Row = (&'static str, fn(&StudyView) -> Answer);

const ROWS: [Row; 18] = [
    ("Question, context of use, risk", question),
    ("Geometry source, cohort", geometry),
    ("Parameter ranges with their spread", ranges),
    ("Material law, density law, anisotropy", materials),
    ("Plate and screw dimensions, threads", hardware),
    ("Each interface", interfaces),
    ("Loads: direction, place, split, rate", loads),
    ("Supports and potting", supports),
    ("Element type, size, count, quality", elements),
    ("Convergence of plate-end stress and motion", convergence),
    ("Solver tolerance, residual", residual),
    ("Reactions balance loads", balance),
    ("Rule for reading stress", stress_rule),
    ("Validation against tests", validation),
    (
        "Sensitivity to materials, friction, preload, mesh",
        sensitivity,
    ),
    ("Design: factors, levels, runs, fit", design),
    ("Limits", limits),
    ("Files and code available", files),
];

/// The list for a study.
pub(crate) fn checklist(view: &StudyView) -> Vec<Item> {
    let item = |(asked, answer): &Row| {
        let (state, given) = answer(view);
        Item {
            asked,
            given,
            state,
        }
    };
    ROWS.iter().map(item).collect()
}

/// Value of a job key with its unit, as on record.
fn input(view: &StudyView, key: &str) -> Option<String> {
    let found = view.record.inputs.iter().find(|i| i.key == key);
    found.map(|i| format!("{} {}", i.value, i.unit).trim().to_string())
}

/// Number of inputs of a section on record, in a sentence that ends as given.
fn counted(view: &StudyView, section: &str, words: &str) -> Answer {
    let inputs = view.record.inputs.iter();
    match inputs.filter(|i| i.key.starts_with(section)).count() {
        0 => (
            State::Missing,
            format!("No input of this section is on record ({section}…)."),
        ),
        n => (State::Given, format!("{n} inputs ({section}…) {words}")),
    }
}

fn question(view: &StudyView) -> Answer {
    match view.record.question.is_empty() {
        true => (State::Missing, "The job states no question.".into()),
        false => (
            State::Partly,
            "The question heads this page. Context of use: comparison of constructs; no risk \
             analysis is made."
                .into(),
        ),
    }
}

fn geometry(view: &StudyView) -> Answer {
    counted(
        view,
        "bone.",
        "with their sources, landmarks measured back. Idealised bone, no scan of a person.",
    )
}

fn ranges(_: &StudyView) -> Answer {
    (
        State::Missing,
        "Factors have chosen levels; no distribution is sampled.".into(),
    )
}

fn materials(view: &StudyView) -> Answer {
    let (_, text) = counted(view, "materials.", "with their sources.");
    let cortical = match input(view, "materials.cortical.symmetry").as_deref() {
        Some("transverse") => "alike across the shaft's axis only, uniform".into(),
        Some("isotropic") => "isotropic, uniform".into(),
        Some(levels) => format!("by point, {levels}"),
        None => "not on record".to_string(),
    };
    let cancellous = match input(view, "materials.cancellous.density_law").as_deref() {
        Some("none") | None => "isotropic, uniform, no density law".into(),
        Some(law) => format!("isotropic, modulus by density law, {law}"),
    };
    (
        State::Partly,
        format!("{text} Linear. Cortical bone: {cortical}. Cancellous bone: {cancellous}."),
    )
}

fn hardware(view: &StudyView) -> Answer {
    counted(
        view,
        "plates.",
        "in the inputs table; screws are smooth cylinders of the stated diameter, without thread.",
    )
}

fn interfaces(view: &StudyView) -> Answer {
    let kinds = [
        ("plate_bone", "plate and bone"),
        ("head_seat", "non-locking heads and seats"),
        ("screw_bone", "shanks and bone"),
        ("fracture_faces", "fracture faces that touch"),
    ];
    let of_kind = |(key, sides): &(&str, &str)| {
        let word = input(view, &format!("interfaces.{key}"))?;
        let friction = input(view, &format!("interfaces.{key}_friction"));
        Some(match friction {
            Some(mu) if word == "frictional" || word == "threaded" => {
                format!("{sides}: {word}, coefficient {mu}")
            }
            _ => format!("{sides}: {word}"),
        })
    };
    let mut words: Vec<String> = kinds.iter().filter_map(of_kind).collect();
    // Parts that meet otherwise than their kind: interfaces.screw.03.seat.
    let named = view.record.inputs.iter().filter_map(|i| {
        let part = i.key.strip_prefix("interfaces.")?;
        let is_named = part.starts_with("plate.") || part.starts_with("screw.");
        is_named.then(|| format!("{part}: {}", i.value))
    });
    words.extend(named);
    match words.is_empty() {
        true => (
            State::Missing,
            "No input of interfaces is on record.".into(),
        ),
        false => (
            State::Given,
            format!(
                "{}. Locking heads are one with the plate. Factors and screw preloads: see the inputs.",
                words.join("; ")
            ),
        ),
    }
}

fn loads(view: &StudyView) -> Answer {
    let cases: Vec<String> = view.cases().iter().map(|c| case_words(c)).collect();
    let state = match cases.is_empty() {
        true => State::Missing,
        false => State::Given,
    };
    let text = format!(
        "Load cases: {}. Resultants in each record; static, rate ignored.",
        cases.join(", ")
    );
    (state, text)
}

fn supports(view: &StudyView) -> Answer {
    match input(view, "bone.potting_level_mm") {
        Some(level) => {
            let length = input(view, "supports.potted_length_mm");
            let text = match length.filter(|l| l != "0 mm") {
                Some(length) => format!(
                    "Held from level {level} up: outer surface over {length} and the cut face."
                ),
                None => format!("Held at a plane at level {level}."),
            };
            (State::Given, text)
        }
        None => (State::Partly, "Held at the proximal end.".into()),
    }
}

fn elements(view: &StudyView) -> Answer {
    let meshes = view.done().filter_map(|p| p.mesh.as_ref());
    let tets: Vec<usize> = meshes.map(|m| m.tets).collect();
    match (tets.iter().min(), tets.iter().max()) {
        (Some(least), Some(most)) => (
            State::Given,
            format!(
                "Ten-node tetrahedra, {least} to {most} a point; quality in the evidence table."
            ),
        ),
        _ => (State::Missing, "No mesh is on record.".into()),
    }
}

fn convergence(view: &StudyView) -> Answer {
    match view.has_estimates() || !view.record.mesh_noise.is_empty() {
        false => (
            State::Missing,
            "Not shown by this study: one mesh a point.".into(),
        ),
        true => (
            State::Partly,
            "Error estimates or mesh noise stand beside the values they were made for.".into(),
        ),
    }
}

/// Largest value over points and load cases, in a sentence; missing where nothing was solved.
fn largest(view: &StudyView, words: &str, of: fn(&CaseRecord) -> f64) -> Answer {
    let values = view.done().flat_map(|p| &p.cases).map(of);
    match view.done().next() {
        Some(_) => (
            State::Given,
            format!(
                "Largest relative {words} {}.",
                tiny(values.fold(0.0, f64::max))
            ),
        ),
        None => (State::Missing, "Nothing was solved.".into()),
    }
}

fn residual(view: &StudyView) -> Answer {
    largest(view, "residual", |c| c.residual)
}

fn balance(view: &StudyView) -> Answer {
    largest(view, "imbalance", |c| c.equilibrium)
}

fn stress_rule(view: &StudyView) -> Answer {
    let state = match view.record.columns.is_empty() {
        true => State::Missing,
        false => State::Given,
    };
    let text =
        "Definitions of every column are at the end of the page; single nodes are never read.";
    (state, text.into())
}

fn validation(_: &StudyView) -> Answer {
    (
        State::Missing,
        "This study compares with no physical test.".into(),
    )
}

fn sensitivity(_: &StudyView) -> Answer {
    (
        State::Missing,
        "Only the factors of the design were varied.".into(),
    )
}

fn design(view: &StudyView) -> Answer {
    let factors = view.record.factors.iter();
    let factors: Vec<String> = factors
        .map(|(key, levels)| format!("{} ({} levels)", factor_words(key), levels.len()))
        .collect();
    let factors = match factors.is_empty() {
        true => "none".into(),
        false => factors.join(", "),
    };
    let points = view.record.points.len();
    let fit = match model_terms(view) {
        None => "No model is fitted.",
        Some(ModelTerms::Mains) => {
            "Fitted by least squares, without probabilities: main effects of the factors, by level."
        }
        Some(ModelTerms::Pairs) => {
            "Fitted by least squares, without probabilities: main effects of the factors and \
             interactions of two, by level."
        }
    };
    (
        State::Partly,
        format!("Factors: {factors}; {points} points. {fit}"),
    )
}

fn limits(_: &StudyView) -> Answer {
    (State::Given, "See \"What was not modelled\".".into())
}

fn files(view: &StudyView) -> Answer {
    (
        State::Given,
        format!(
            "Records, tables and the job's text are in the result folder; engine version {}.",
            view.record.engine_version
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::effects::{effect_table, effects_csv};
    use crate::synthetic::{HEADLINE, synthetic_study};
    use bicolumn_store::{InputRecord, Status};

    fn view() -> StudyView {
        let (_temp, folder) = synthetic_study();
        StudyView::read(folder).unwrap()
    }

    /// The invented study with every point failed and nothing on record but its frame.
    fn empty() -> StudyView {
        let mut view = view();
        for point in &mut view.points {
            point.cases.clear();
            point.status = Status::Failed {
                stage: "mesh".into(),
                reason: "invented".into(),
            };
        }
        view.record.inputs.clear();
        view.record.columns.clear();
        view.record.factors.clear();
        view.record.question.clear();
        view
    }

    fn add(view: &mut StudyView, key: &str, value: &str) {
        view.record.inputs.retain(|i| i.key != key);
        view.record.inputs.push(InputRecord {
            key: key.into(),
            value: value.into(),
            unit: String::new(),
            is_default: false,
            origin: String::new(),
            source: "invented".into(),
        });
    }

    #[test]
    fn every_item_is_asked_once_and_answered_in_a_sentence() {
        for view in [view(), empty()] {
            let list = checklist(&view);
            assert_eq!(list.len(), ROWS.len());
            for (i, item) in list.iter().enumerate() {
                assert!(item.given.ends_with('.'), "{item:?}");
                assert!(list[..i].iter().all(|other| other.asked != item.asked));
            }
        }
    }

    #[test]
    fn a_study_without_results_claims_none() {
        let view = empty();
        for answer in [
            question,
            geometry,
            hardware,
            interfaces,
            loads,
            elements,
            convergence,
            residual,
            balance,
            stress_rule,
        ] {
            let (state, text) = answer(&view);
            assert_eq!(state, State::Missing, "{text}");
        }
        assert_eq!(supports(&view).0, State::Partly);
        assert_eq!(
            design(&view).1,
            "Factors: none; 7 points. No model is fitted."
        );
    }

    #[test]
    fn a_question_is_given_in_part() {
        assert_eq!(question(&view()).0, State::Partly);
    }

    #[test]
    fn inputs_of_a_section_are_counted() {
        let view = view();
        let bone = view.record.inputs.iter();
        let bone = bone.filter(|i| i.key.starts_with("bone.")).count();
        let (state, text) = geometry(&view);
        assert_eq!(state, State::Given);
        assert!(
            text.starts_with(&format!("{bone} inputs (bone.…)")),
            "{text}"
        );
        assert!(hardware(&view).1.contains("(plates.…)"));
    }

    #[test]
    fn material_laws_are_named_as_the_job_does() {
        let mut view = view();
        assert!(materials(&view).1.contains("Cortical bone: not on record."));
        for (word, told) in [
            ("transverse", "alike across the shaft's axis only"),
            ("isotropic", "Cortical bone: isotropic"),
            ("isotropic, transverse", "by point, isotropic, transverse"),
        ] {
            add(&mut view, "materials.cortical.symmetry", word);
            assert!(materials(&view).1.contains(told), "{word}");
        }
        assert!(materials(&view).1.contains("no density law"));
        add(&mut view, "materials.cancellous.density_law", "power");
        assert!(materials(&view).1.contains("modulus by density law, power"));
    }

    #[test]
    fn friction_is_told_only_where_it_acts() {
        let mut view = empty();
        add(&mut view, "interfaces.plate_bone", "frictional");
        add(&mut view, "interfaces.plate_bone_friction", "0.3");
        add(&mut view, "interfaces.head_seat", "bonded");
        add(&mut view, "interfaces.head_seat_friction", "0.2");
        add(&mut view, "interfaces.screw.03.seat", "frictionless");
        let (state, text) = interfaces(&view);
        assert_eq!(state, State::Given);
        let told = "plate and bone: frictional, coefficient 0.3; non-locking heads and seats: bonded; \
                    screw.03.seat: frictionless. ";
        assert!(text.starts_with(told), "{text}");
    }

    #[test]
    fn loads_and_potting_come_from_the_record() {
        let view = view();
        assert!(
            loads(&view)
                .1
                .starts_with("Load cases: axial, posterior bending,")
        );
        assert_eq!(supports(&view).1, "Held at a plane at level 190 mm.");
        let mut view = view;
        add(&mut view, "supports.potted_length_mm", "0 mm");
        assert_eq!(supports(&view).1, "Held at a plane at level 190 mm.");
        add(&mut view, "supports.potted_length_mm", "12 mm");
        assert_eq!(
            supports(&view).1,
            "Held from level 190 mm up: outer surface over 12 mm and the cut face."
        );
    }

    #[test]
    fn element_counts_are_the_least_and_the_largest() {
        let mut view = view();
        if let Some(mesh) = &mut view.points[1].mesh {
            mesh.tets = 190_001;
        }
        assert!(elements(&view).1.contains("180000 to 190001 a point"));
    }

    #[test]
    fn convergence_needs_estimates_or_noise() {
        let mut view = view();
        assert_eq!(convergence(&view).0, State::Missing);
        view.record.mesh_noise.insert(HEADLINE, 0.01);
        assert_eq!(convergence(&view).0, State::Partly);
    }

    #[test]
    fn residual_and_imbalance_are_the_largest_of_all_cases() {
        let mut view = view();
        view.points[2].cases[3].residual = 3e-7;
        view.points[0].cases[1].equilibrium = 5e-8;
        assert!(residual(&view).1.contains(&tiny(3e-7)));
        assert!(balance(&view).1.contains(&tiny(5e-8)));
    }

    #[test]
    fn the_design_counts_levels_and_points() {
        let text = design(&view()).1;
        assert!(
            text.starts_with("Factors: layout (2 levels), stagger ("),
            "{text}"
        );
        assert!(text.contains("; 7 points."), "{text}");
    }

    #[test]
    fn a_fit_is_told_exactly_where_effects_are_given() {
        let mut view = view();
        for _ in 0..2 {
            let told = !design(&view).1.contains("No model is fitted.");
            assert_eq!(told, effect_table(&view).is_some());
            assert_eq!(told, effects_csv(&view).unwrap().is_some());
            view.record.factors.remove(0);
        }
        assert!(design(&view).1.contains("No model is fitted."));
    }

    #[test]
    fn plain_answers_do_not_depend_on_the_study() {
        for (answer, state) in [
            (ranges as fn(&StudyView) -> Answer, State::Missing),
            (validation, State::Missing),
            (sensitivity, State::Missing),
            (limits, State::Given),
        ] {
            assert_eq!(answer(&view()), answer(&empty()));
            assert_eq!(answer(&view()).0, state);
        }
        assert!(files(&view()).1.contains("engine version 0.1.0"));
    }
}
