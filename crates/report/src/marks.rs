//! Marks over the pictures of constructs: where the headline value was found; frame, load lines and the held part.

use crate::chart::escape;
use crate::labels::case_words;
use crate::picture::Camera;
use crate::study_view::{Group, StudyView, response, value_of};
use bicolumn_base::Vec3;
use bicolumn_store::{FactorValue, PointRecord, load_line_mm};
use std::fmt::Write;

/// Length of an arrow, mm.
const ARROW_MM: f64 = 22.0;
const AXIS_MM: f64 = 14.0;
/// Most load cases that are drawn.
const MOST_CASES: usize = 6;
const INK: &str = "#0b3d91";
const LOAD: &str = "#a02020";

/// An overlay being drawn: its unit is a millimetre of the picture.
struct Overlay<'a> {
    camera: &'a Camera,
    body: String,
}

impl Overlay<'_> {
    fn of(camera: &Camera) -> Overlay<'_> {
        Overlay {
            camera,
            body: String::new(),
        }
    }

    /// Position of a point in the picture, mm from its upper left corner.
    fn place(&self, p: Vec3) -> [f64; 2] {
        let q = self.camera.project(p);
        [
            q.x + 0.5 * self.camera.width_mm,
            0.5 * self.camera.height_mm - q.y,
        ]
    }

    fn holds(&self, [x, y]: [f64; 2]) -> bool {
        (0.0..=self.camera.width_mm).contains(&x) && (0.0..=self.camera.height_mm).contains(&y)
    }

    fn ring(&mut self, at: [f64; 2], radius: f64, is_hidden: bool, tip: &str) {
        let dash = if is_hidden { "1 0.8" } else { "" };
        let _ = write!(
            self.body,
            "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"{radius}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"0.5\" stroke-dasharray=\"{dash}\"><title>{}</title></circle>",
            at[0],
            at[1],
            escape(tip)
        );
    }

    fn dot(&mut self, at: [f64; 2], tip: &str) {
        let _ = write!(
            self.body,
            "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"0.7\" fill=\"{INK}\" fill-opacity=\"0.6\"><title>{}</title></circle>",
            at[0],
            at[1],
            escape(tip)
        );
    }

    fn label(&mut self, at: [f64; 2], colour: &str, anchor: &str, text: &str) {
        let _ = write!(
            self.body,
            "<text x=\"{:.1}\" y=\"{:.1}\" fill=\"{colour}\" text-anchor=\"{anchor}\">{}</text>",
            at[0],
            at[1],
            escape(text)
        );
    }

    /// An arrow between two points of space; a couple's has two heads.
    fn arrow(&mut self, from: Vec3, to: Vec3, colour: &str, heads: usize) {
        let (a, b) = (self.place(from), self.place(to));
        let d = [b[0] - a[0], b[1] - a[1]];
        let length = (d[0] * d[0] + d[1] * d[1]).sqrt();
        let _ = write!(
            self.body,
            "<path d=\"M{:.1} {:.1}L{:.1} {:.1}\" stroke=\"{colour}\" stroke-width=\"0.6\" fill=\"none\"/>",
            a[0], a[1], b[0], b[1]
        );
        if length < 1.0 {
            return;
        }
        let u = [d[0] / length, d[1] / length];
        for head in 0..heads {
            let back = 2.0 * head as f64;
            let tip = [b[0] - back * u[0], b[1] - back * u[1]];
            let wing = |side: f64| {
                [
                    tip[0] - 2.6 * u[0] - side * u[1],
                    tip[1] - 2.6 * u[1] + side * u[0],
                ]
            };
            let (l, r) = (wing(1.1), wing(-1.1));
            let _ = write!(
                self.body,
                "<path d=\"M{:.1} {:.1}L{:.1} {:.1}L{:.1} {:.1}z\" fill=\"{colour}\"/>",
                tip[0], tip[1], l[0], l[1], r[0], r[1]
            );
        }
    }

    fn finish(self) -> String {
        format!(
            "<svg class=\"marks\" aria-hidden=\"true\" viewBox=\"0 0 {:.1} {:.1}\">{}</svg>",
            self.camera.width_mm, self.camera.height_mm, self.body
        )
    }
}

/// Places of the headline value over a picture of a construct: rings at the point shown, a ring a load case, with its letter;
/// dots for the construct's other points. Dashed: on the side away from the eye.
pub(crate) fn peak_marks(
    view: &StudyView,
    group: &Group<'_>,
    shown: &PointRecord,
    camera: &Camera,
) -> String {
    let Some(name) = view.lead() else {
        return String::new();
    };
    let mut overlay = Overlay::of(camera);
    let over = view.over();
    let axis = shown.shaft_axis_mm.map(Vec3::from);
    let mut labelled: Vec<([f64; 2], String)> = Vec::new();
    for (n, case) in view.distinct_cases(&[name]).iter().enumerate() {
        for point in &group.points {
            let Some(at) = response(point, &case.name, name).and_then(|r| r.at_mm) else {
                continue;
            };
            let at = Vec3::from(at);
            let place = overlay.place(at);
            if !overlay.holds(place) {
                continue;
            }
            let level = over.and_then(|key| value_of(point, key));
            let level = level.map_or(String::new(), |l| format!(", {l}"));
            let tip = format!("{}{level} ({})", case.words(), point.id);
            if point.id != shown.id {
                overlay.dot(place, &tip);
                continue;
            }
            let out = axis.map(|a| Vec3::new(at.x - a.x, 0.0, at.z - a.z));
            let is_hidden = out.is_some_and(|o| o.dot(&camera.towards_eye) < 0.0);
            overlay.ring(place, 2.0, is_hidden, &tip);
            let near = labelled
                .iter_mut()
                .find(|(p, _)| (p[0] - place[0]).abs() < 5.0 && (p[1] - place[1]).abs() < 4.0);
            match near {
                Some((_, letters)) => letters.push(letter(n)),
                None => labelled.push((place, letter(n).to_string())),
            }
        }
    }
    for (at, letters) in labelled {
        overlay.label([at[0] + 2.8, at[1] + 1.3], INK, "start", &letters);
    }
    overlay.finish()
}

/// Letter of a load case in the pictures.
fn letter(n: usize) -> char {
    char::from(b'A' + (n % 26) as u8)
}

/// Letters of the load cases whose places are on record: "A axial, B varus"; nothing where none is.
pub(crate) fn peak_legend(view: &StudyView) -> Option<String> {
    let name = view.lead()?;
    let has_place = |case: &str| {
        let mut points = view.at_levels();
        points.any(|p| response(p, case, name).is_some_and(|r| r.at_mm.is_some()))
    };
    let cases = view.distinct_cases(&[name]);
    let named = cases.iter().enumerate().filter(|(_, c)| has_place(&c.name));
    let named: Vec<String> = named
        .map(|(n, c)| format!("{} {}", letter(n), c.words()))
        .collect();
    (!named.is_empty()).then(|| named.join(", "))
}

/// Frame, load lines and the held part over a picture of the whole construct.
pub(crate) fn frame_marks(view: &StudyView, point: &PointRecord, camera: &Camera) -> String {
    let mut overlay = Overlay::of(camera);
    // The held part: from its level to the upper end of the picture.
    let held = value_of(point, "bone.potting_level_mm").and_then(|v| v.as_number());
    let axis = point.shaft_axis_mm.map_or(Vec3::zeros(), Vec3::from);
    if let Some(level) = held {
        let at = overlay.place(Vec3::new(axis.x, level, axis.z));
        let y = at[1].max(0.0);
        let half = 16.0;
        let _ = write!(
            overlay.body,
            "<rect x=\"{:.1}\" y=\"0\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#777\" fill-opacity=\"0.25\"/>\
             <path d=\"M{:.1} {y:.1}h{:.1}\" stroke=\"#333\" stroke-width=\"0.6\"/>",
            at[0] - half,
            2.0 * half,
            y.max(3.0),
            at[0] - half,
            2.0 * half
        );
        let words = format!("held from {level} mm up");
        overlay.label([at[0] + half + 1.5, y.max(3.0)], "#333", "start", &words);
    }
    // Load cases: a force's arrow ends on its line at the point nearest to the middle of the flexion axis.
    let cases = view.distinct_cases(&view.lead().into_iter().collect::<Vec<_>>());
    let cases = cases
        .iter()
        .filter_map(|c| point.cases.iter().find(|p| p.name == c.name));
    let mut taken: Vec<[f64; 2]> = Vec::new();
    for case in cases.take(MOST_CASES) {
        let line = load_line_mm(case).map(Vec3::from);
        let (at, along, heads) = match line {
            Some(at) => (at, Vec3::from(case.force_n), 1),
            None => (Vec3::zeros(), Vec3::from(case.moment_nmm), 2),
        };
        let Some(along) = along.try_normalize(1e-12) else {
            continue;
        };
        let tail = at - along * ARROW_MM;
        overlay.arrow(tail, at, LOAD, heads);
        let mut label = overlay.place(tail);
        let anchor = if label[0] < overlay.place(at)[0] - 1.0 {
            "end"
        } else {
            "start"
        };
        while taken
            .iter()
            .any(|t| (t[0] - label[0]).abs() < 24.0 && (t[1] - label[1]).abs() < 4.0)
        {
            label[1] += 4.2;
        }
        taken.push(label);
        let shift = if anchor == "end" { -1.2 } else { 1.2 };
        overlay.label(
            [label[0] + shift, label[1] + 1.2],
            LOAD,
            anchor,
            &case_words(&case.name),
        );
    }
    // The frame, from a corner.
    let corner = camera.middle - camera.right * (0.5 * camera.width_mm - 25.0)
        + camera.up * (0.5 * camera.height_mm - 34.0);
    let is_left = value_of(point, "bone.left") == Some(&FactorValue::Flag(true));
    let z = if is_left { "Z medial" } else { "Z lateral" };
    let frame = [
        (Vec3::x(), "X anterior"),
        (Vec3::y(), "Y proximal"),
        (Vec3::z(), z),
    ];
    for (direction, words) in frame {
        let end = corner + direction * AXIS_MM;
        overlay.arrow(corner, end, "#333", 1);
        let at = overlay.place(end + direction * 1.5);
        let anchor = if at[0] < overlay.place(corner)[0] - 1.0 {
            "end"
        } else {
            "start"
        };
        overlay.label(at, "#333", anchor, words);
    }
    overlay.finish()
}
