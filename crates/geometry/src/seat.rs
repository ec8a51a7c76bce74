//! Where a screw sits before it has a direction.

use crate::rod::{Rod, across};
use crate::{
    Concession, Field, Fracture, Head, Hole, Member, Plate, PlateQuantity, ScrewRow, Subject,
};
use bicolumn_base::{PlateSite, ScrewNumber, Vec3};

/// A screw to be placed: its hole and size.
#[derive(Debug, Clone)]
pub(crate) struct Seat {
    pub(crate) number: ScrewNumber,
    pub(crate) plate: PlateSite,
    pub(crate) hole: usize,
    pub(crate) row: ScrewRow,
    pub(crate) entry: Vec3,
    pub(crate) axis: Vec3,
    pub(crate) radius: f64,
    /// Outer face of the plate above the bone, mm.
    pub(crate) top: f64,
    /// Direction wanted where nothing is in the way.
    pub(crate) wanted: Vec3,
}

impl Seat {
    /// A screw in a hole of a plate, the `hole`-th from the distal end.
    pub(crate) fn new(
        plate: &Plate,
        (hole, at): (usize, &Hole),
        row: ScrewRow,
        diameter: f64,
        tilt_deg: f64,
        number: u8,
    ) -> Seat {
        let tilt = tilt_deg.to_radians();
        let along = (at.along - at.axis * at.along.dot(&at.axis)).normalize();
        Seat {
            number: ScrewNumber(number),
            plate: plate.site,
            hole,
            row,
            entry: at.centre,
            axis: at.axis,
            radius: 0.5 * diameter,
            top: plate.stand_off_mm + plate.thickness_mm,
            wanted: at.axis * tilt.cos() + along * tilt.sin(),
        }
    }

    /// The screw as errors name it.
    pub(crate) fn member(&self) -> Member {
        Member::PlateScrew {
            number: self.number,
            row: self.row,
            plate: self.plate,
        }
    }

    /// A quantity of the screw's plate, as errors name it.
    pub(crate) fn subject(&self, quantity: PlateQuantity) -> Subject {
        Subject::Plate(self.plate, quantity)
    }

    /// The screw's body from the plate's outer face to a tip.
    pub(crate) fn rod(&self, direction: Vec3, length: f64) -> Rod {
        let back = self.top / direction.dot(&self.axis).max(0.5);
        Rod {
            from: self.entry - direction * back,
            to: self.entry + direction * length,
            radius: self.radius,
        }
    }

    /// The head of a non-locking screw in this seat.
    pub(crate) fn seated_head(&self, direction: Vec3, plate: &Plate, outer: &dyn Field) -> Head {
        // Where the axis comes out of the plate: Newton's steps along it.
        let mut pierced = self.entry;
        for _ in 0..20 {
            let low = self.top - outer.value(pierced);
            if low.abs() < 1e-9 {
                break;
            }
            let climb = -outer.gradient(pierced).dot(&direction);
            pierced -= direction * (low / climb.max(0.3));
        }
        let out = outer.gradient(pierced).normalize();
        let core = 2.0 * self.radius;
        let head = plate.head_over_core(self.row, core);
        Head::seated((pierced, out), core, head, plate.thickness_mm)
    }

    /// Directions within a cone about the hole's axis with their angle to the wanted one, smallest
    /// first: a grid of `step` degrees.
    pub(crate) fn directions(&self, cone: f64, step: f64) -> Vec<(Vec3, f64)> {
        let (a, b) = across(self.wanted);
        let off_axis = self
            .wanted
            .dot(&self.axis)
            .clamp(-1.0, 1.0)
            .acos()
            .to_degrees();
        let reach = cone + off_axis;
        let n = (reach / step).floor() as i32;
        let mut directions: Vec<(Vec3, f64)> = Vec::new();
        for i in -n..=n {
            for j in -n..=n {
                let (i, j) = (f64::from(i) * step, f64::from(j) * step);
                let angle = i.hypot(j);
                if angle > reach + 1e-9 {
                    continue;
                }
                let side = a * i.to_radians().tan() + b * j.to_radians().tan();
                let direction = (self.wanted + side).normalize();
                // Round the hole's own axis the grid is the cone.
                if off_axis < 1e-4 || direction.dot(&self.axis) >= cone.to_radians().cos() - 1e-9 {
                    directions.push((direction, angle));
                }
            }
        }
        directions.sort_by(|p, q| p.1.total_cmp(&q.1));
        directions
    }

    /// Distance of a point of this screw's fragment from the fracture; infinite without one.
    pub(crate) fn off_fracture(&self, fracture: Option<&Fracture>, x: Vec3) -> f64 {
        fracture.map_or(f64::INFINITY, |f| match self.row {
            ScrewRow::Shaft => f.above(x),
            ScrewRow::Distal => f.below(x),
            ScrewRow::Independent => f64::INFINITY,
        })
    }
}

/// A seat with direction and length.
#[derive(Debug, Clone)]
pub(crate) struct Placed {
    pub(crate) seat: Seat,
    pub(crate) direction: Vec3,
    pub(crate) length: f64,
    pub(crate) given_up: Vec<Concession>,
}

impl Placed {
    pub(crate) fn rod(&self) -> Rod {
        self.seat.rod(self.direction, self.length)
    }
}
