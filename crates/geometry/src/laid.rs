//! Lines and outlines of plates on a bone, each laid once and shared by the constructs that have them.

use crate::centre_line::CentreLine;
use crate::error::within;
use crate::fault::Fault;
use crate::footprint::{Footprint, Widths, widest};
use crate::{Bone, GeometryError, Member, PlateQuantity, PlateSpec, Range};
use bicolumn_base::PlateSite;
use std::sync::{Arc, Mutex, OnceLock};

/// Lines kept at a time on a bone: half a megabyte each once their outline is asked for.
const MOST_KEPT: usize = 48;
/// Step between levels that the first hole is tried at, mm.
const STEP: f64 = 0.25;
/// How far the first hole may be raised so that the bone carries the plate's width, mm (judgement).
const MOST_RAISED: f64 = 10.0;

/// Line of a plate on a bone, with the outline round it.
pub(crate) struct Laid {
    pub(crate) line: CentreLine,
    widths: Widths,
    top: f64,
    footprint: OnceLock<Footprint>,
}

/// Quantities that line and outline follow from, by their bits.
type Place = (PlateSite, [u64; 7]);

/// Plates laid on one bone, those asked for last.
#[derive(Default)]
pub(crate) struct LaidPlates(Mutex<Vec<(Place, Arc<Laid>)>>);

impl Laid {
    /// Lays a plate's line, or takes the one laid before.
    ///
    /// # Errors
    /// Where the distal end or an edge overhangs the bone.
    pub(crate) fn on(bone: &Bone, spec: &PlateSpec) -> Result<Arc<Laid>, Fault> {
        let place = (
            PlateSite::from(spec.site),
            [
                spec.width_mm,
                spec.distal_width(),
                // The widths go over into each other above the last distal hole.
                spec.distal_hole_pitch_mm,
                spec.distal_screws as f64,
                spec.stand_off_mm + spec.thickness_mm,
                spec.distal_hole_level_mm,
                spec.end_level_mm,
            ]
            .map(f64::to_bits),
        );
        let kept = || bone.laid.0.lock().unwrap_or_else(|p| p.into_inner());
        {
            let mut kept = kept();
            if let Some(n) = kept.iter().position(|(p, _)| *p == place) {
                let last = kept.remove(n);
                kept.push(last);
                return Ok(kept[kept.len() - 1].1.clone());
            }
        }
        let line = line(bone, spec)?;
        let laid = Arc::new(Laid {
            widths: widths(spec, line.length()),
            line,
            top: spec.stand_off_mm + spec.thickness_mm,
            footprint: OnceLock::new(),
        });
        let mut kept = kept();
        if kept.len() >= MOST_KEPT {
            kept.remove(0);
        }
        kept.push((place, laid.clone()));
        Ok(laid)
    }

    /// The outline as a wall on the bone.
    pub(crate) fn footprint(&self, bone: &Bone) -> &Footprint {
        self.footprint
            .get_or_init(|| Footprint::new(bone, &self.line, &self.widths, self.top))
    }
}

/// The centre line from the distal tip to the proximal end, where the bone carries the plate along it.
fn line(bone: &Bone, spec: &PlateSpec) -> Result<CentreLine, Fault> {
    let site = PlateSite::from(spec.site);
    let level = spec.distal_hole_level_mm;
    let subject = spec.subject(PlateQuantity::DistalHoleLevel);
    let rim = PlateSpec::usual_end_distance_mm(spec.distal_width());
    let lowest = (0..200)
        .map(|i| f64::from(i) * STEP)
        .find(|hole| reaches(bone, site, hole - rim))
        .unwrap_or(50.0);
    let carried = || {
        let steps = (MOST_RAISED / STEP) as i32;
        (0..=steps)
            .map(|i| (level.max(lowest) / STEP).ceil() * STEP + f64::from(i) * STEP)
            .find(|level| is_carried(bone, spec, *level))
    };
    let no_room = |why: String, hint: String| {
        Fault::from(GeometryError::NoRoom {
            member: Member::Plate(site),
            why,
            hint,
            remedies: vec![subject],
        })
    };
    if level < lowest {
        let fault = no_room(
            format!(
                "its distal end would overhang the bone with the first hole at level {level:.1} mm"
            ),
            format!("set distal_hole_level_mm to {lowest:.2} or more"),
        );
        let enough = carried().unwrap_or(lowest);
        return Err(fault.or_by([(subject, enough)]));
    }
    let Some(line) = unchecked(bone, spec, level) else {
        let lowest = (1..60)
            .map(|i| (level / STEP).ceil() * STEP + f64::from(i) * STEP)
            .find(|level| unchecked(bone, spec, *level).is_some());
        let hint = match lowest {
            Some(lowest) => format!("set distal_hole_level_mm to {lowest:.2} or more"),
            None => {
                "no first hole up to 15 mm higher mends that: the bone's column is too thin there"
                    .into()
            }
        };
        let fault = no_room("the bone's column ends before the plate does".into(), hint);
        return Err(fault.or_by(lowest.map(|lowest| (subject, lowest))));
    };
    let widest = widest(bone, &line, &widths(spec, line.length()));
    let width = spec.subject(PlateQuantity::Width);
    let range = PlateQuantity::Width.range().up_to(widest);
    let Err(mut error) = within(width, spec.width_mm, range) else {
        return Ok(line);
    };
    let enough = carried();
    if let GeometryError::Dimension { accepted, .. } = &mut error {
        let told = Range::new(0.0, widest).inwards();
        let widest = told.map_or(widest, |r| r.most);
        *accepted = match enough {
            Some(level) => format!(
                "up to {widest}, or {} with the first hole at level {level}: a wider plate.{site} overhangs the bone",
                spec.width_mm
            ),
            None => format!("up to {widest}: a wider plate.{site} overhangs the bone"),
        };
    }
    Err(Fault::from(error).or_by(enough.map(|level| (subject, level))))
}

/// Does the bone carry the plate with its first hole at a level?
fn is_carried(bone: &Bone, spec: &PlateSpec, level: f64) -> bool {
    unchecked(bone, spec, level).is_some_and(|line| {
        let widths = widths(spec, line.length());
        widest(bone, &line, &widths) >= spec.width_mm
    })
}

/// The line with its first hole at a level, whether or not the bone carries the plate along it.
fn unchecked(bone: &Bone, spec: &PlateSpec, level: f64) -> Option<CentreLine> {
    let rim = PlateSpec::usual_end_distance_mm(spec.distal_width());
    let levels = [level - rim, spec.end_level_mm];
    let widest = spec.width_mm.max(spec.distal_width());
    let mut line = CentreLine::lay(bone, spec.site.into(), widest, levels)?;
    line.restart(line.at_level(level) - rim);
    Some(line)
}

/// Is there bone under the plate's distal tip at a level?
fn reaches(bone: &Bone, site: PlateSite, level: f64) -> bool {
    let (centre, radius) = bone.column(site == PlateSite::Medial, level);
    // The column's end is round: deeper than this share of its radius the surface turns under.
    bone.outer().value(centre) < -0.6 * radius && bone.outer().value(centre) < -2.0
}

/// Widths of a plate so long: that of the distal end up to the last distal screw, then over one width into the other.
fn widths(spec: &PlateSpec, length: f64) -> Widths {
    let rim = PlateSpec::usual_end_distance_mm(spec.distal_width());
    let last = rim + spec.distal_hole_pitch_mm * spec.distal_screws.saturating_sub(1) as f64;
    let widest = spec.width_mm.max(spec.distal_width());
    let to = (last + 1.5 * widest).min(length - 0.5 * spec.width_mm);
    Widths {
        shaft_mm: spec.width_mm,
        distal_mm: spec.distal_width(),
        change_mm: [(last + 0.5 * widest).min(to - 0.5 * widest), to],
    }
}
