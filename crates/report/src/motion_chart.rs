//! Interfragmentary motion per column, with published tolerance bands drawn behind it.
//!
//! The bands are those of the literature; the chart draws them and does not judge.

use crate::chart::{Axis, Chart, Marker, Stroke};
use crate::distinct_cases::DistinctCase;
use crate::labels::{capital, level_words};
use crate::line_styles::level_colour;
use crate::number::plain;
use crate::study_view::{StudyView, response, value_of};
use bicolumn_response::{FaceRegion, Motion, ResponseName};
use bicolumn_store::PointRecord;

/// A range of motion and what a source says of it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Band {
    /// From, mm.
    pub(crate) low_mm: f64,
    /// To, mm; infinite where open.
    pub(crate) high_mm: f64,
    /// Its class, the source's grades from best to worst as A to D.
    pub(crate) word: &'static str,
    /// CSS colour of the band.
    pub(crate) fill: &'static str,
}

/// Normal component, four classes for double plates of the distal humerus: "Weak points of
/// double-plate stabilization used in the treatment of distal humerus fracture through finite element
/// analysis", J Clin Med 2024, 13(4):1034, abstract.
pub(crate) const NORMAL: [Band; 5] = [
    Band {
        low_mm: 0.0,
        high_mm: 0.06,
        word: "published class B",
        fill: "#dbe7f1",
    },
    Band {
        low_mm: 0.06,
        high_mm: 0.15,
        word: "published class A",
        fill: "#cfe3f1",
    },
    Band {
        low_mm: 0.15,
        high_mm: 0.375,
        word: "published class B",
        fill: "#dbe7f1",
    },
    Band {
        low_mm: 0.375,
        high_mm: 0.5,
        word: "published class C",
        fill: "#fbeedd",
    },
    Band {
        low_mm: 0.5,
        high_mm: f64::INFINITY,
        word: "published class D",
        fill: "#f6ddc6",
    },
];

/// Tangential component, same source; the limits of the last two classes as worded in its abstract.
pub(crate) const TANGENTIAL: [Band; 3] = [
    Band {
        low_mm: 0.0,
        high_mm: 0.375,
        word: "published class B or A",
        fill: "#dbe7f1",
    },
    Band {
        low_mm: 0.375,
        high_mm: 0.5,
        word: "published class C",
        fill: "#fbeedd",
    },
    Band {
        low_mm: 0.5,
        high_mm: f64::INFINITY,
        word: "published class D",
        fill: "#f6ddc6",
    },
];

/// Axial motion that healed well in gaps up to about 2 to 3 mm: Claes et al. 1998, Clin Orthop Relat Res
/// 355S:132 (from memory).
pub(crate) const CLAES_1998_MM: [f64; 2] = [0.2, 1.0];

/// Words of the normal component's bands with their colours, each word once.
pub(crate) fn band_legend() -> Vec<(&'static str, &'static str)> {
    let mut legend: Vec<(&str, &str)> = Vec::new();
    for band in &NORMAL {
        if !legend.iter().any(|(word, _)| *word == band.word) {
            legend.push((band.word, band.fill));
        }
    }
    legend
}

/// Most points drawn.
pub(crate) const MOST_POINTS: usize = 12;
const ROW: f64 = 15.0;

/// Component of the motion that a panel shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Axial,
    Shear,
}

impl Kind {
    const BOTH: [Kind; 2] = [Kind::Axial, Kind::Shear];

    fn word(self) -> &'static str {
        match self {
            Kind::Axial => "axial",
            Kind::Shear => "shear",
        }
    }

    /// Published bands drawn behind it.
    fn bands(self) -> &'static [Band] {
        match self {
            Kind::Axial => &NORMAL,
            Kind::Shear => &TANGENTIAL,
        }
    }

    /// Motion at the medial and the lateral column.
    fn at_columns(self) -> [Motion; 2] {
        [FaceRegion::Medial, FaceRegion::Lateral].map(match self {
            Kind::Axial => Motion::axial,
            Kind::Shear => Motion::shear,
        })
    }
}

/// Per load case an axial and a shear panel, each a row per point. Empty when no motion was measured.
pub(crate) fn motion_charts(view: &StudyView) -> Vec<[String; 2]> {
    let points = view.chosen(MOST_POINTS);
    let sizes = |case: &str, kind: Kind| -> Vec<f64> {
        let names = kind.at_columns().map(ResponseName::from);
        let found = points
            .iter()
            .flat_map(|p| names.iter().filter_map(|n| value(p, case, n)));
        found.collect()
    };
    let shown = Kind::BOTH.map(Kind::at_columns);
    let shown = shown.as_flattened().iter();
    let shown: Vec<ResponseName> = shown.map(|m| (*m).into()).collect();
    let cases = view.distinct_cases(&shown.iter().collect::<Vec<_>>());
    let all = cases
        .iter()
        .flat_map(|c| Kind::BOTH.map(|kind| sizes(&c.name, kind)));
    let all: Vec<f64> = all.flatten().filter(|v| *v > 0.0).collect();
    if all.is_empty() {
        return Vec::new();
    }
    // The bands stay in view whatever was found; below a hundredth of a micrometre nothing matters.
    let least = all.iter().copied().fold(0.05, f64::min).max(1e-5);
    let x = Axis::decades(least, all.iter().copied().fold(1.0, f64::max));
    cases
        .iter()
        .filter(|c| {
            Kind::BOTH
                .into_iter()
                .any(|kind| !sizes(&c.name, kind).is_empty())
        })
        .map(|case| {
            [
                panel(view, &points, case, Kind::Axial, x),
                panel(view, &points, case, Kind::Shear, x),
            ]
        })
        .collect()
}

fn value(point: &PointRecord, case: &str, name: &ResponseName) -> Option<f64> {
    response(point, case, name)?.value.map(f64::abs)
}

fn panel(
    view: &StudyView,
    points: &[&PointRecord],
    case: &DistinctCase,
    kind: Kind,
    x: Axis,
) -> String {
    let words = match kind {
        Kind::Axial => "axial motion (normal)",
        Kind::Shear => "shear motion (tangential)",
    };
    let heading = format!("{}, {words}", capital(&case.words()));
    let height = 24.0 + ROW * points.len() as f64 + 50.0;
    let y = Axis::between(0.0, points.len() as f64);
    let title = format!("Interfragmentary motion, {heading}");
    let mut chart = Chart::new(&title, [520.0, height], 128.0, 50.0, x, y);
    for band in kind.bands() {
        let from = band.low_mm.max(x.low);
        chart.x_band(from, band.high_mm.min(x.high), band.fill);
    }
    for tick in x.ticks() {
        chart.x_grid(tick);
    }
    if kind == Kind::Axial {
        let bracket = Stroke {
            colour: "#444".into(),
            width: 1.4,
            dash: "",
        };
        let [a, b] = CLAES_1998_MM.map(|mm| chart.at_x(mm));
        let y = chart.floor() + 5.0;
        chart.segment([a, y], [b, y], &bracket);
        for x in [a, b] {
            chart.segment([x, y - 3.0], [x, y + 3.0], &bracket);
        }
    }
    chart.heading(&heading);
    for (row, point) in points.iter().enumerate() {
        let y = 24.0 + ROW * (row as f64 + 0.5);
        let (label, colour) = row_label(view, point);
        chart.text(chart.left() - 6.0, y + 3.5, "end", "t", &label);
        let [medial, lateral] = kind
            .at_columns()
            .map(|motion| value(point, &case.name, &motion.into()));
        if let (Some(m), Some(l)) = (medial, lateral) {
            let link = Stroke {
                colour: colour.to_string(),
                width: 1.0,
                dash: "",
            };
            chart.segment([chart.at_x(m), y], [chart.at_x(l), y], &link);
        }
        let both = [
            (medial, "medial", Marker::Disc),
            (lateral, "lateral", Marker::Ring),
        ];
        for (found, column, shape) in both {
            if let Some(mm) = found {
                let tip = format!("{label}, {column}: {mm:.3} mm");
                chart.marker([chart.at_x(mm), y], shape, colour, 4.0, &tip);
            }
        }
    }
    chart.baseline();
    for tick in x.ticks() {
        chart.x_tick(tick, &plain(tick), 6.0);
    }
    let middle = (chart.left() + 508.0) / 2.0;
    let name = format!("{} motion, mm (logarithmic)", kind.word());
    chart.text(middle, chart.floor() + 40.0, "middle", "t", &name);
    chart.finish()
}

fn row_label<'a>(view: &StudyView, point: &'a PointRecord) -> (String, &'a str) {
    let Some(headline) = view.headline() else {
        return (point.id.clone(), crate::colour::BASELINE);
    };
    let part = |key: &str| Some(level_words(key, value_of(point, key)?));
    let by = headline.by.as_deref().and_then(part);
    let over = part(&headline.over);
    let label = match (by, over) {
        (Some(by), Some(over)) => format!("{by}, {over}"),
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => point.id.clone(),
    };
    let colour = value_of(point, &headline.over).map(|level| level_colour(view, level));
    (label, colour.unwrap_or(crate::colour::BASELINE))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_colour_means_one_thing_in_the_legend() {
        let legend = band_legend();
        assert_eq!(legend.len(), 4);
        for (i, (word, fill)) in legend.iter().enumerate() {
            let others = &legend[..i];
            assert!(others.iter().all(|(w, f)| w != word && f != fill), "{word}");
        }
        // The shear panel draws its bands in the same colours, or joins two of them under one.
        for band in &TANGENTIAL {
            let found = legend.iter().find(|(_, fill)| *fill == band.fill).unwrap();
            assert!(band.word.contains(found.0), "{}", band.word);
        }
    }

    #[test]
    fn bands_touch_and_cover_everything() {
        for bands in [&NORMAL[..], &TANGENTIAL[..]] {
            assert_eq!(bands[0].low_mm, 0.0);
            assert_eq!(bands[bands.len() - 1].high_mm, f64::INFINITY);
            for pair in bands.windows(2) {
                assert_eq!(pair[0].high_mm, pair[1].low_mm);
            }
        }
    }
}
