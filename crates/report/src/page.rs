//! The page: all parts gathered and set into the template.

use crate::as_built_table::{as_built_table, construct_table};
use crate::caution::{CAUTION, NOT_MODELLED};
use crate::chart::escape;
use crate::checklist::checklist;
use crate::colour::hex;
use crate::drawn::regression_table;
use crate::effects::effect_table;
use crate::error::ReportError;
use crate::grouped_warnings::grouped_warnings;
use crate::hypothesis::{Hypothesis, hypotheses};
use crate::hypothesis_chart::{hypothesis_charts, hypothesis_legend};
use crate::interaction_chart::{construct_legend, interaction_charts};
use crate::labels::{STAGGER, capital, case_words, factor_words, level_words};
use crate::line_styles::{drawn_levels, level_colour, lines, some_points_left_out};
use crate::load_table::load_table;
use crate::marks::{frame_marks, peak_legend, peak_marks};
use crate::model_table::model_table;
use crate::motion_chart::{MOST_POINTS, band_legend, motion_charts};
use crate::moved_to_fit::moved_table;
use crate::pareto::pareto_table;
use crate::picture::Picture;
use crate::profile_chart::profile_charts;
use crate::published::published_table;
use crate::scenes::{
    BACK_MEDIAL, FRONT, LATERAL, MEDIAL, PLATES, construct_picture, data_uri, whole_picture,
};
use crate::sensitivity::sensitivity_tables;
use crate::sources::sources_sentence;
use crate::stress_pictures::StressPictures;
use crate::study_view::{StudyView, value_of};
use crate::surface::Surface;
use crate::tables::{
    cell_markup, definition_table, evidence_table, given_table, headline_tables, input_table,
    landmark_table, reasons_in_full, response_tables, screw_table,
};
use crate::three_stresses::three_stress_tables;
use crate::wall_chart::wall_charts;
use crate::words::{answer, numbers};
use bicolumn_response::{PlateColumn, ResponseId, ResponseName};
use bicolumn_store::{ModelsRecord, PointRecord};
use minijinja::value::Serde;
use minijinja::{Environment, Value, context};
use serde::Serialize;

const TEMPLATE: &str = include_str!("template.html");
const STYLE: &str = include_str!("style.css");
/// Most points of which pictures are shown.
const MOST_PICTURED: usize = 8;
const PIXELS_CONSTRUCT: usize = 840;

/// A picture with its words.
#[derive(Serialize)]
pub(crate) struct Image {
    pub(crate) source: String,
    pub(crate) alt: String,
    pub(crate) caption: String,
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Marks over it, as SVG.
    pub(crate) marks: String,
}

/// Pictures that belong together.
#[derive(Serialize)]
pub(crate) struct ImageRow {
    pub(crate) label: String,
    pub(crate) images: Vec<Image>,
}

/// Page of a study, and what was stored for it and cannot be used.
pub(crate) struct Page {
    pub(crate) html: String,
    /// Files at fault with the reason, their paths told from the study's folder.
    pub(crate) faults: Vec<String>,
}

/// Renders the whole page of a study with the models of its headline response. A stored surface that cannot be used costs
/// its pictures.
///
/// # Errors
/// [`ReportError`], when the template fails.
pub(crate) fn render(view: &StudyView, models: Option<&ModelsRecord>) -> Result<Page, ReportError> {
    let pictured = view.chosen(MOST_PICTURED);
    let mut faults = view.faults.clone();
    let mut surfaces: Vec<(&PointRecord, Surface)> = Vec::new();
    for point in &pictured {
        if let Some(surface) = surface_of(view, point, &mut faults) {
            surfaces.push((point, surface));
        }
    }
    let constructs = construct_images(view, &mut faults)?;
    let frame = frame_image(view, &mut faults)?;
    let unusable = faults.iter().map(|f| format!("stored and not used: {f}"));
    let warnings: Vec<String> = unusable.chain(grouped_warnings(view)).collect();
    let worst_case = view.worst_case();
    let stress = StressPictures::of(view, &surfaces, worst_case.as_deref())?;
    let profiles: Vec<_> = profile_charts(view)
        .into_iter()
        .map(|(case, panels)| context! { case, panels => safe(panels) })
        .collect();
    let walls: Vec<_> = wall_charts(view).into_iter().map(safe).collect();
    let motion: Vec<_> = motion_charts(view)
        .into_iter()
        .map(|pair| safe(pair.to_vec()))
        .collect();

    let mut environment = Environment::new();
    environment.add_filter("cell", |cell: String| {
        Value::from_safe_string(cell_markup(&cell))
    });
    environment.add_template("report.html", TEMPLATE)?;
    let html = environment.get_template("report.html")?.render(context! {
        style => Value::from_safe_string(STYLE.to_string()),
        title => view.record.title.clone(),
        question => view.record.question.clone(),
        engine => view.record.engine_version.clone(),
        caution => CAUTION,
        answer => answer(view),
        numbers => numbers(view),
        sources => sources_sentence(view),
        done => view.done().count(),
        planned => view.record.points.len(),
        files => files_of(view),
        peak_legend => peak_legend(view),
        lead_words => view.lead().map(ResponseName::words),
        frame => frame.map(data),
        built => construct_table(view).map(data),
        given => data(given_table(view)),
        reasons => reasons_in_full(view),
        hypotheses => hypotheses(view).iter().map(of_hypothesis).collect::<Vec<_>>(),
        stagger_sign => view.record.factors.iter().any(|(key, _)| key == STAGGER),
        headline_words => view.headline().map(|h| capital(&h.response.words())),
        headline_definition => headline_definition(view),
        headline_tables => data(headline_tables(view)),
        interaction => safe(interaction_charts(view)),
        three_stresses => data(three_stress_tables(view)),
        sensitivity => data(sensitivity_tables(view)),
        wall_charts => walls,
        effects => effect_table(view).map(data),
        replicates => view.has_replicates(),
        regression => regression_table(view).map(data),
        models => models.and_then(|m| model_table(view, m)).map(data),
        pareto => pareto_table(view).map(data),
        construct_legend => safe(construct_legend(view).iter().map(|(n, c)| swatch(n, c)).collect()),
        responses => data(response_tables(view)),
        published => published_table(view).map(data),
        screws => screw_table(view).map(data),
        as_built => as_built_table(view).map(data),
        profiles => profiles,
        level_legend => safe(level_legend(view)),
        lines_left_out => some_points_left_out(view),
        constructs => data(constructs),
        plate_legend => safe(plate_legend(view)),
        stress_rows => stress.rows.len().div_ceil(2),
        scales => safe(stress.scales),
        ratio => stress.ratio,
        stress => data(stress.rows),
        worst_case => worst_case.map(|c| case_words(&c)),
        pictures_chosen => pictured.len() < view.done().count(),
        motion => motion,
        band_legend => safe(band_legend().iter().map(|(w, c)| swatch(w, c)).collect()),
        motion_chosen => view.done().count() > MOST_POINTS,
        evidence => data(evidence_table(view)),
        warnings => warnings,
        landmarks => data(landmark_table(view)),
        moved => moved_table(view).map(data),
        inputs => data(input_table(view)),
        loads => load_table(view).map(data),
        not_modelled => NOT_MODELLED,
        checklist => data(checklist(view)),
        definitions => data(definition_table(view)),
        job_text => view.record.job_text.clone(),
    })?;
    Ok(Page { html, faults })
}

/// Claim, verdict, figure and table of a hypothesis.
fn of_hypothesis(hypothesis: &Hypothesis) -> Value {
    let legend = hypothesis_legend(hypothesis);
    context! {
        claim => hypothesis.claim_sentence(),
        verdict => hypothesis.verdict_sentence(),
        constructs => hypothesis.construct_sentences(),
        charts => safe(hypothesis_charts(hypothesis)),
        legend => safe(legend.iter().map(|(n, c)| swatch(n, c)).collect()),
        table => data(hypothesis.table()),
    }
}

/// The stored surface of a point; `None` where it cannot be used, which is added to the faults.
fn surface_of(view: &StudyView, point: &PointRecord, faults: &mut Vec<String>) -> Option<Surface> {
    match Surface::read(&view.folder, point) {
        Ok(surface) => Some(surface),
        Err(e) => {
            let told = format!(
                "{} (without pictures of {})",
                e.within(view.folder.root()),
                point.id
            );
            if !faults.contains(&told) {
                faults.push(told);
            }
            None
        }
    }
}

/// A serialisable value for the template.
fn data<T: Serialize>(value: T) -> Value {
    Value::from(Serde(value))
}

/// Markup that was escaped where it was made.
fn safe(parts: Vec<String>) -> Vec<Value> {
    parts.into_iter().map(Value::from_safe_string).collect()
}

/// Definition of the headline response; that of one plate's value too where it is the larger of two.
fn headline_definition(view: &StudyView) -> Option<String> {
    let headline = &view.headline()?.response;
    let definition = |wanted: &ResponseName| {
        let mut columns = view.record.columns.iter();
        columns
            .find(|(name, ..)| name == wanted)
            .map(|c| c.2.clone())
    };
    let own = definition(headline)?;
    let of_medial = match headline.id() {
        Some(ResponseId::LargestOfPlates(largest)) => {
            definition(&largest.of_one_plate(PlateColumn::Medial).into())
        }
        _ => None,
    };
    match of_medial {
        Some(more) => Some(format!("{own} {more}")),
        None => Some(own),
    }
}

fn swatch(label: &str, colour: &str) -> String {
    format!(
        "<span class=\"key\"><i style=\"background:{colour}\"></i>{}</span>",
        escape(label)
    )
}

fn level_legend(view: &StudyView) -> Vec<String> {
    let Some(headline) = view.headline() else {
        let groups = view.groups();
        let all = groups.iter().flat_map(|g| lines(view, g));
        return all.map(|line| swatch(&line.label, line.colour)).collect();
    };
    let over = factor_words(&headline.over);
    let levels = drawn_levels(view);
    levels
        .iter()
        .map(|level| {
            let words = format!("{over} {}", level_words(&headline.over, level));
            swatch(&words, level_colour(view, level))
        })
        .collect()
}

/// Description of a point, in words: construct and level, otherwise its id.
pub(crate) fn point_words(view: &StudyView, point: &PointRecord) -> String {
    let Some(headline) = view.headline() else {
        return point.id.clone();
    };
    let keys = headline.by.iter().chain([&headline.over]);
    let parts = keys.filter_map(|key| {
        let level = level_words(key, value_of(point, key)?);
        Some(match key == &headline.over {
            true => format!("{} {level}", factor_words(key)),
            false => level,
        })
    });
    let parts: Vec<String> = parts.collect();
    format!("{} ({})", capital(&parts.join(", ")), point.id)
}

/// Each construct at its baseline level, from the front, from behind and from both sides.
fn construct_images(
    view: &StudyView,
    faults: &mut Vec<String>,
) -> Result<Vec<ImageRow>, ReportError> {
    let baseline = view.baseline();
    let mut rows = Vec::new();
    for group in view.groups() {
        let at_baseline = |p: &&&PointRecord| {
            let over = view.headline().map(|h| h.over.as_str());
            over.and_then(|key| value_of(p, key)) == baseline.as_ref()
        };
        let shown = group
            .points
            .iter()
            .find(at_baseline)
            .or(group.points.first());
        let Some(point) = shown else { continue };
        let Some(surface) = surface_of(view, point, faults) else {
            continue;
        };
        let mut images = Vec::new();
        for eye in [FRONT, LATERAL, BACK_MEDIAL, MEDIAL] {
            let (picture, camera) = construct_picture(&surface, point, eye, PIXELS_CONSTRUCT);
            images.push(Image {
                marks: peak_marks(view, &group, point, &camera),
                ..image(&picture, &group.label, eye.words.into())?
            });
        }
        rows.push(ImageRow {
            label: point_words(view, point),
            images,
        });
    }
    Ok(rows)
}

/// The first finished point's whole construct with frame, load lines and the held part.
fn frame_image(view: &StudyView, faults: &mut Vec<String>) -> Result<Option<Image>, ReportError> {
    let Some(point) = view.done().find(|p| !p.cases.is_empty()) else {
        return Ok(None);
    };
    let Some(surface) = surface_of(view, point, faults) else {
        return Ok(None);
    };
    let (picture, camera) = whole_picture(&surface, point, PIXELS_CONSTRUCT);
    let caption = format!("{}, {}", point.id, FRONT.words);
    Ok(Some(Image {
        marks: frame_marks(view, point, &camera),
        ..image(&picture, "frame, load lines and the held part", caption)?
    }))
}

/// Tables beside the page, as far as they are there: name of the file.
fn files_of(view: &StudyView) -> Vec<String> {
    let written = [
        view.folder.results_csv(),
        view.folder.results_parquet(),
        view.folder.columns_json(),
        view.folder.screws_csv(),
        view.folder.sensitivity_csv(),
        view.folder.published_csv(),
        view.folder.effects_csv(),
        view.folder.regression_csv(),
        view.folder.pareto_csv(),
        view.folder.hypothesis_csv(),
        view.folder.models_json(),
        view.folder.study_file(),
    ];
    let there = written.iter().filter(|f| f.is_file());
    let names = there.filter_map(|f| Some(f.file_name()?.to_str()?.to_string()));
    names.collect()
}

/// A picture for the page, shown at half its pixels so that it stays sharp on dense screens.
pub(crate) fn image(picture: &Picture, what: &str, caption: String) -> Result<Image, ReportError> {
    Ok(Image {
        source: data_uri(picture)?,
        alt: format!("{what}, {caption}"),
        caption,
        width: picture.width / 2,
        height: picture.height / 2,
        marks: String::new(),
    })
}

/// Legend of the plates' colours in the construct pictures.
fn plate_legend(view: &StudyView) -> Vec<String> {
    let mut sites: Vec<(usize, &str)> = Vec::new();
    for point in view.done() {
        for (i, plate) in point.plates.iter().enumerate() {
            if !sites.iter().any(|(_, site)| *site == plate.site) {
                sites.push((i, &plate.site));
            }
        }
    }
    let swatch_of = |(i, site): (usize, &str)| {
        let words = format!("{site} plate and its screws");
        swatch(&words, &hex(PLATES[i % PLATES.len()]))
    };
    sites.into_iter().map(swatch_of).collect()
}
