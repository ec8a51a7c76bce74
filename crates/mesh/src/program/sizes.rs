//! How wide a cell may be at a point: what the user asks for, and what a valid mesh needs.

use crate::SizeField;
use crate::program::distance::{
    face_distance, head_distance, plate_distance, screw_distance, split_distance, top_of_plate,
};
use crate::program::sizing::Sizing;
use crate::region::{self, RegionFeature};
use bicolumn_base::Vec3;
use bicolumn_geometry::{Construct, Field, Fracture, Head, Plate, Screw, Split};

/// Largest cell at the wall of the medullary canal, as a share of its radius.
const CANAL_SHARE: f64 = 0.6;

/// The rule of cell sizes over one construct.
pub(crate) struct CellSizes<'a> {
    construct: &'a Construct,
    sizing: &'a Sizing,
    risers: Vec<RiserPlace>,
    /// In place of the sizes by feature, its growth limited.
    field: Option<SizeField>,
    /// Finest lattice cell, mm.
    finest_mm: f64,
}

/// How wide cells would be if nothing but validity mattered: no feature asks for any size.
const NO_WISH: f64 = f64::INFINITY;

impl<'a> CellSizes<'a> {
    pub(crate) fn of(construct: &'a Construct, sizing: &'a Sizing) -> Self {
        let halvings = halvings(construct, sizing);
        CellSizes {
            construct,
            sizing,
            risers: riser_places(construct),
            field: sizing.size_field.as_ref().map(|f| f.limited(sizing.growth)),
            finest_mm: sizing.finest_mm * 0.5f64.powi(halvings),
        }
    }

    /// Finest lattice cell, mm.
    pub(crate) fn finest_mm(&self) -> f64 {
        self.finest_mm
    }

    /// How often a lattice cell may double.
    pub(crate) fn levels(&self) -> u32 {
        let widest = self.widest_mm() / self.sizing.finest_mm;
        let halvings = (self.sizing.finest_mm / self.finest_mm).log2().round() as u32;
        widest.max(1.0).log2().floor() as u32 + halvings
    }

    /// Widest cell that is asked for anywhere, mm.
    fn widest_mm(&self) -> f64 {
        let far = match &self.field {
            Some(field) => field.range_mm()[1],
            None => self.sizing.finest_mm * self.sizing.far_ratio,
        };
        self.edges().fold(far, f64::max)
    }

    fn edges(&self) -> impl Iterator<Item = f64> {
        self.sizing.regions.iter().map(|r| r.edge_mm)
    }

    /// Widest cell at the hardware, mm.
    pub(crate) fn at_hardware_mm(&self) -> f64 {
        let plate = self.sizing.finest_mm * self.sizing.plate_ratio;
        if self.field.is_none() && self.sizing.regions.is_empty() {
            return plate;
        }
        hardware_needs(self.construct, self.sizing).fold(plate, f64::max)
    }

    /// Wanted cell at a point, mm.
    pub(crate) fn at(&self, x: Vec3) -> f64 {
        let finest = self.sizing.finest_mm;
        let wanted = match &self.field {
            Some(field) => self.least(x, field.at(x), NO_WISH),
            None => self.least(x, finest * self.sizing.far_ratio, finest),
        };
        self.in_regions(x, wanted).max(self.finest_mm)
    }

    /// The size where regions speak, too; without them the features and the field want `wanted`.
    fn in_regions(&self, x: Vec3, wanted: f64) -> f64 {
        let regions = &self.sizing.regions;
        if regions.is_empty() {
            return wanted;
        }
        let grow = self.sizing.growth;
        let mut inside: Option<f64> = None;
        let mut from_outside = f64::INFINITY;
        for r in regions {
            let off = region::distance(&r.place, x, |f| self.feature_distance(f, x));
            if off <= 0.0 {
                let there = r.edge_mm.min(wanted - grow * off);
                inside = Some(inside.map_or(there, |h| h.min(there)));
            } else {
                from_outside = from_outside.min(r.edge_mm + grow * off);
            }
        }
        let h = inside.unwrap_or(wanted).min(from_outside);
        if h <= wanted {
            return h;
        }
        self.least(x, h, NO_WISH)
    }

    /// Distance to a feature, mm, 0 or less in it; endless where there is none.
    fn feature_distance(&self, feature: RegionFeature, x: Vec3) -> f64 {
        let construct = self.construct;
        let plate = |site| construct.plates.iter().find(move |p| p.site == site);
        let found = match feature {
            RegionFeature::Plate(site) => plate(site).map(|p| plate_distance(construct, p, x)),
            RegionFeature::PlateEnd(site) => {
                let outer = construct.bone.outer().value(x);
                plate(site).map(|p| plate_end_distance(p, outer, x))
            }
            RegionFeature::Screw(number) => {
                let mut screws = construct.screws.iter();
                screws.find(|s| s.number == number).map(|s| {
                    let head = head_distance(construct, s, x);
                    screw_distance(construct, s, x).min(head)
                })
            }
            RegionFeature::Fracture => {
                let fracture = construct.fracture.as_ref();
                fracture.map(|f| face_distance(f, x))
            }
            RegionFeature::Split => {
                let fracture = construct.fracture.as_ref();
                fracture.and_then(|f| {
                    let split = f.split.as_ref()?;
                    Some(split_distance(f, split, x))
                })
            }
        };
        found.unwrap_or(f64::INFINITY)
    }

    /// The least of `far` and what the features want, each growing with distance; `finest` is the unit
    /// of those wants that validity does not dictate.
    fn least(&self, x: Vec3, far: f64, finest: f64) -> f64 {
        let CellSizes {
            construct, sizing, ..
        } = self;
        let grow = sizing.growth;
        let bone = &construct.bone;
        let mut h = far;

        let outer = bone.outer().value(x);
        let inner = bone.inner().value(x);
        // A wall's thickness where it is near: endosteal minus periosteal distance.
        let wall = (inner - outer).max(0.5 * sizing.finest_mm);
        let into_wall = outer.max(-outer - wall).max(0.0);
        h = h.min(sizing.wall_ratio * wall + grow * into_wall);

        if x.y > bone.spec().canal_floor_mm {
            let canal_radius = 0.5 * bone.spec().canal_diameter_mm;
            h = h.min(CANAL_SHARE * canal_radius + grow * inner.abs());
        }
        h = h.min(plate_of_bone_size(bone.outer(), outer, h, grow, x));
        // Where the inside runs out into a sheet, the finest cell asked for has to do.
        let of_sheet = plate_of_bone_size(bone.inner(), inner, h, grow, x);
        h = h.min(of_sheet.max(sizing.finest_mm));

        for p in &construct.plates {
            if p.outline().bounds().distance(x) * grow > h {
                continue;
            }
            let body = (finest * sizing.plate_ratio).min(THROUGH_SHARE * p.thickness_mm);
            h = h.min(body + grow * plate_distance(construct, p, x).max(0.0));
            h = h.min(finest + grow * plate_end_distance(p, outer, x));
        }
        for s in &construct.screws {
            let at_screw = finest.min(0.5 * sizing.screw_ratio * s.diameter_mm);
            let off = screw_distance(construct, s, x).abs();
            // Cells finer than the rest reach no farther than they must.
            h = h.min((at_screw + STEEP_GROWTH * off).min(finest + grow * off));
            let off = head_distance(construct, s, x).max(0.0);
            let at_head = seat_width(construct, s).map_or(finest, |w| finest.min(SEAT_SHARE * w));
            h = h.min((at_head + STEEP_GROWTH * off).min(finest + grow * off));
        }
        for place in &self.risers {
            let off = ((x - place.centre).norm() - place.reach_mm).max(0.0);
            let there = finest * sizing.riser_ratio;
            h = h.min((there + STEEP_GROWTH * off).min(there.max(finest) + grow * off));
        }
        if let Some(f) = &construct.fracture {
            h = h.min(size_at_fracture(f, sizing, finest, x));
        }
        h
    }
}

/// Where the bone's stress near a plate's end peaks.
struct RiserPlace {
    centre: Vec3,
    reach_mm: f64,
}

/// Bone round a screw's hole that is meshed finely where the stress peaks, mm: a ball of the hot-spot measure
/// at the hole's rim and its neighbours.
const RIM_MM: f64 = 1.0;

/// Where the uppermost screw of each plate passes the bone's outer surface, in and out.
fn riser_places(construct: &Construct) -> Vec<RiserPlace> {
    let outer = construct.bone.outer();
    let mut places = vec![];
    for plate in &construct.plates {
        let own = construct.screws.iter();
        let own = own.filter(|s| s.plate == Some(plate.site));
        let Some(screw) = own.max_by(|a, b| a.entry.y.total_cmp(&b.entry.y)) else {
            continue;
        };
        let reach_mm = 0.5 * screw.diameter_mm + RIM_MM;
        let at = |t: f64| screw.entry + screw.direction * t;
        places.push(RiserPlace {
            centre: screw.entry,
            reach_mm,
        });
        // From the tip back to where the axis is inside again.
        let steps = (screw.length_mm / 0.2).ceil() as usize;
        let out = (0..steps)
            .map(|k| screw.length_mm - 0.2 * k as f64)
            .find(|&t| outer.value(at(t)) <= 0.0);
        if let Some(t) = out.filter(|&t| t > 2.0 * reach_mm) {
            places.push(RiserPlace {
                centre: at(t),
                reach_mm,
            });
        }
    }
    places
}

/// Growth of the cell, mm a mm, round a screw that needs cells below the finest asked for.
const STEEP_GROWTH: f64 = 1.0;

/// Largest cell through a plate, or through bone between two free faces, as a share of its thickness:
/// two layers of elements or more (a lattice of cell h has layers h / 2 apart).
const THROUGH_SHARE: f64 = 0.8;

/// Largest cell at the seat of a head, as a share of the seat's width: the wedge of plate between seat
/// and bore is hardly deeper.
const SEAT_SHARE: f64 = 1.0;

/// How often the finest cell is halved so that what is thinner than the job's sizes expect, or asked for
/// finer, can be met.
fn halvings(construct: &Construct, sizing: &Sizing) -> i32 {
    let septum = construct.bone.spec().septum_thickness_mm;
    let asked = match &sizing.size_field {
        Some(field) => Some(field.range_mm()[0]),
        None => (!construct.screws.is_empty()).then_some(sizing.finest_mm * sizing.riser_ratio),
    };
    let needs = hardware_needs(construct, sizing)
        .chain((septum > 0.0).then_some(SEPTUM_SHARE * septum))
        .chain(asked)
        .chain(sizing.regions.iter().map(|r| r.edge_mm));
    let least = needs.fold(sizing.finest_mm, f64::min);
    // A cell may exceed the wanted size by a hundredth.
    ((sizing.finest_mm / least).log2() - 0.014).ceil().max(0.0) as i32
}

/// Widest cells that each screw, plate and seat can be met with, mm.
fn hardware_needs(construct: &Construct, sizing: &Sizing) -> impl Iterator<Item = f64> {
    let screws = construct.screws.iter();
    let plates = construct.plates.iter();
    let seats = construct
        .screws
        .iter()
        .filter_map(|s| seat_width(construct, s))
        .map(|w| SEAT_SHARE * w);
    screws
        .map(|s| 0.5 * sizing.screw_ratio * s.diameter_mm)
        .chain(plates.map(|p| THROUGH_SHARE * p.thickness_mm))
        .chain(seats)
}

/// Largest cell in a plate of bone, as a share of its thickness.
const SEPTUM_SHARE: f64 = 0.7;

/// Wanted size where the whole bone is a thin plate, as between the fossae: with a cell wider than
/// the plate, its two faces would meet in the lattice. At most `h`.
///
/// Through a plate of thickness T the signed distance at depth t below one face is -min(t, T - t), so
/// one look at a depth t < T/2 shows that there is no plate, and elsewhere gives T.
fn plate_of_bone_size(field: &dyn Field, outer: f64, h: f64, grow: f64, x: Vec3) -> f64 {
    let depth = 0.5 * h / SEPTUM_SHARE;
    if outer < -depth || outer > h / grow {
        return h;
    }
    let Some(normal) = field.gradient(x).try_normalize(1e-12) else {
        return h;
    };
    let there = field.value(x - normal * (outer + depth));
    if there < -0.9 * depth {
        return h;
    }
    let thickness = (depth - there).max(0.0);
    h.min(SEPTUM_SHARE * thickness + grow * outer.max(0.0))
}

/// Distance from the rounded proximal end of a plate at the bone surface, mm.
fn plate_end_distance(plate: &Plate, outer: f64, x: Vec3) -> f64 {
    let side = plate.outline().value(x);
    let (along, _) = plate.locate(x);
    let behind = plate.length_mm - 0.5 * plate.width_mm - along;
    side.abs()
        .max(outer.abs() - plate.stand_off_mm - 0.5)
        .max(0.8 * behind)
        .max(0.0)
}

/// Width of the ring between a seated head's rim and its bore, mm.
fn seat_width(construct: &Construct, screw: &Screw) -> Option<f64> {
    let Head::Seated {
        centre,
        radius_mm,
        bore_mm,
    } = screw.head
    else {
        return None;
    };
    let normal = construct.bone.outer().gradient(screw.entry).normalize();
    let above = (centre - screw.entry).dot(&normal) - top_of_plate(construct, screw);
    let rim = (radius_mm * radius_mm - above * above).max(0.0).sqrt();
    // A ball that hardly reaches the bore would ask for endless cells.
    Some((rim - 0.5 * bore_mm).max(0.3 * screw.diameter_mm))
}

/// Wanted cell at a point: at the faces so many times `finest`, and no larger than a gap that is filled.
fn size_at_fracture(fracture: &Fracture, sizing: &Sizing, finest: f64, x: Vec3) -> f64 {
    let from_face = face_distance(fracture, x);
    let mut at_face = finest * sizing.fracture_ratio;
    if fracture.spec.filled {
        at_face = at_face.min(fracture.spec.gap_mm);
    }
    let size = at_face + sizing.growth * from_face;
    match &fracture.split {
        Some(split) => size.min(at_split(fracture, split, sizing, finest, x)),
        None => size,
    }
}

fn at_split(fracture: &Fracture, split: &Split, sizing: &Sizing, finest: f64, x: Vec3) -> f64 {
    let away = split_distance(fracture, split, x);
    let mut at_face = finest * sizing.fracture_ratio;
    if fracture.spec.filled && split.spec.gap_mm > 0.0 {
        at_face = at_face.min(split.spec.gap_mm);
    }
    at_face + sizing.growth * away
}
