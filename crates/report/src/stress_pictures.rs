//! Stress pictures of the page: each construct under the load case of the largest headline value, and its bone under that of the
//! highest ratio to the intact bone.

use crate::colour::{hex, stress_colour};
use crate::error::ReportError;
use crate::labels::{case_words, shown_unit};
use crate::number::plain;
use crate::page::{ImageRow, image, point_words};
use crate::scenes::{Eye, StressScene};
use crate::study_view::{StudyView, response};
use crate::surface::Surface;
use bicolumn_response::{BeyondEnd, PlateColumn, ResponseName};
use bicolumn_store::PointRecord;

const PIXELS: usize = 600;

/// Pictures with the colour bars that they share.
#[derive(Default)]
pub(crate) struct StressPictures {
    /// Pictures of each point.
    pub(crate) rows: Vec<ImageRow>,
    /// Colour bars.
    pub(crate) scales: Vec<String>,
    /// Sentence of the load case of the highest ratio, where it has a picture.
    pub(crate) ratio: Option<String>,
}

impl StressPictures {
    /// Pictures of the points with a surface; none where they stored no stress under the load case.
    ///
    /// # Errors
    /// [`ReportError::Picture`].
    pub(crate) fn of(
        view: &StudyView,
        surfaces: &[(&PointRecord, Surface)],
        case: Option<&str>,
    ) -> Result<StressPictures, ReportError> {
        let pairs: Vec<(&PointRecord, &Surface)> = surfaces.iter().map(|(p, s)| (*p, s)).collect();
        let Some((case, scene)) = case.and_then(|c| Some((c, StressScene::new(&pairs, c)?))) else {
            return Ok(StressPictures::default());
        };
        let highest = Highest::of(view).filter(|h| h.case != case);
        let other = highest.and_then(|h| Some((StressScene::new(&pairs, &h.case)?, h)));
        let mut rows = Vec::new();
        for (point, surface) in pairs {
            let headline = view.headline();
            let hot_spot = headline.and_then(|h| response(point, case, &h.response)?.at_mm);
            let what = format!("von Mises stress, {}", point.id);
            let caption = |eye: Eye, part: &str| format!("{part}, {}", eye.words);
            let mut images = Vec::new();
            for (eye, picture) in scene.bone_pictures(surface, hot_spot, PIXELS) {
                images.push(image(&picture, &what, caption(eye, "bone"))?);
            }
            if let Some((eye, picture)) = scene.hardware_picture(surface, PIXELS) {
                images.push(image(&picture, &what, caption(eye, "hardware"))?);
            }
            if let Some((scene, highest)) = &other {
                let at = highest.place_at(point);
                if let Some((eye, picture)) = scene.facing_picture(surface, at, PIXELS) {
                    let part = format!("bone, {}", case_words(&highest.case));
                    images.push(image(&picture, &what, caption(eye, &part))?);
                }
            }
            rows.push(ImageRow {
                label: point_words(view, point),
                images,
            });
        }
        let mut scales = vec![
            colour_bar("bone", scene.bone_mpa),
            colour_bar("plates and screws", scene.hardware_mpa),
        ];
        if let Some((scene, highest)) = &other {
            let what = format!("bone, {}", case_words(&highest.case));
            scales.push(colour_bar(&what, scene.bone_mpa));
        }
        Ok(StressPictures {
            rows,
            scales,
            ratio: other.map(|(_, highest)| highest.sentence()),
        })
    }
}

/// Highest ratio of the stress beyond a plate's end to that of the intact bone.
struct Highest {
    value: f64,
    point: String,
    case: String,
    plate: PlateColumn,
}

impl Highest {
    /// `None` where no point has such a ratio of a peak of its own.
    fn of(view: &StudyView) -> Option<Highest> {
        let mut highest: Option<Highest> = None;
        for point in view.done() {
            for case in &point.cases {
                for plate in PlateColumn::ALL {
                    let name: ResponseName = BeyondEnd::IntactRatio.of(plate).into();
                    let value = response(point, &case.name, &name).and_then(|r| r.value);
                    // On an edge of its region it is no peak of its own.
                    let stress: ResponseName = BeyondEnd::Hotspot.of(plate).into();
                    let stress = response(point, &case.name, &stress);
                    let value = value.filter(|_| !stress.is_some_and(|r| r.is_on_edge()));
                    let Some(value) = value else { continue };
                    if highest.as_ref().is_none_or(|h| value > h.value) {
                        highest = Some(Highest {
                            value,
                            point: point.id.clone(),
                            case: case.name.clone(),
                            plate,
                        });
                    }
                }
            }
        }
        highest
    }

    /// Place of the stress of the ratio at a point: that of the same plate.
    fn place_at(&self, point: &PointRecord) -> Option<[f64; 3]> {
        let name: ResponseName = BeyondEnd::Hotspot.of(self.plate).into();
        response(point, &self.case, &name)?.at_mm
    }

    fn sentence(&self) -> String {
        let name: ResponseName = BeyondEnd::IntactRatio.of(self.plate).into();
        format!(
            "Last picture of each construct: bone under {}, the load case of the study's highest ratio of the stress beyond a plate's \
             end, where that is a peak of its own, to that of the intact bone ({}: {:.2} at {}), on a scale of its own; the ring marks where the stress beyond that \
             plate's end was found.",
            case_words(&self.case),
            name.words(),
            self.value,
            self.point,
        )
    }
}

/// A horizontal colour bar from zero to `top` MPa.
fn colour_bar(what: &str, top: f64) -> String {
    let steps = 64;
    let mut boxes = String::new();
    for i in 0..steps {
        let colour = hex(stress_colour((f64::from(i) + 0.5) / f64::from(steps)));
        let x = 4.0 + 240.0 * f64::from(i) / f64::from(steps);
        boxes +=
            &format!("<rect x=\"{x:.2}\" y=\"18\" width=\"4.2\" height=\"12\" fill=\"{colour}\"/>");
    }
    for i in 0..=4 {
        let x = 4.0 + 60.0 * f64::from(i);
        let value = plain(top * f64::from(i) / 4.0);
        let sign = if i == 4 { "≥ " } else { "" };
        boxes += &format!(
            "<text class=\"t\" x=\"{x}\" y=\"43\" text-anchor=\"middle\">{sign}{value}</text>"
        );
    }
    format!(
        "<svg class=\"bar\" role=\"img\" aria-label=\"colour scale, {what}, 0 to {top} MPa\" viewBox=\"-8 0 276 48\" width=\"276\" height=\"48\">\
         <text class=\"t\" x=\"4\" y=\"12\">von Mises stress, {what}, {}</text>{boxes}</svg>",
        shown_unit("MPa")
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;

    #[test]
    fn the_highest_ratio_is_told_with_its_point_and_case() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        for (n, point) in view.points.iter_mut().enumerate() {
            for (k, case) in point.cases.iter_mut().enumerate() {
                let name: ResponseName = BeyondEnd::IntactRatio.of(PlateColumn::Medial).into();
                let stress: ResponseName = BeyondEnd::Hotspot.of(PlateColumn::Medial).into();
                let mut ratio = case.responses[0].clone();
                case.responses
                    .retain(|r| r.name != name && r.name != stress);
                ratio.name = name;
                ratio.value = Some(1.0 + 0.1 * n as f64 + if k == 1 { 0.5 } else { 0.0 });
                case.responses.push(ratio);
            }
        }
        let highest = Highest::of(&view).unwrap();
        let last = view.done().last().unwrap();
        assert_eq!(
            (&highest.point, &highest.case),
            (&last.id, &last.cases[1].name)
        );
        let told = format!("{:.2} at {}", highest.value, last.id);
        assert!(highest.sentence().contains(&told), "{}", highest.sentence());
        // The bone of that load case is one picture more, on a scale of its own; not where it is the load case of all.
        let point = view.done().next().unwrap();
        let pictures = |case: &str| {
            let surface = Surface::read(&view.folder, point).unwrap();
            StressPictures::of(&view, &[(point, surface)], Some(case)).unwrap()
        };
        let (own, other) = (pictures(&highest.case), pictures("axial"));
        assert_eq!((own.rows[0].images.len(), own.scales.len()), (4, 2));
        assert!(own.ratio.is_none() && other.ratio.is_some());
        assert_eq!((other.rows[0].images.len(), other.scales.len()), (5, 3));
        let words = format!("bone, {}, ", case_words(&highest.case));
        let caption = &other.rows[0].images[4].caption;
        assert!(caption.starts_with(&words), "{caption}");
    }
}
