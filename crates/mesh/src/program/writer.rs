//! Cut program under construction: surfaces and steps in order.

use crate::program::level_sets::Offset;
use crate::{CutStep, Label, SurfaceId, SurfaceName};
use bicolumn_base::{Aabb, Vec3};
use bicolumn_geometry::Field;

type Within<'a> = Box<dyn Fn(Label, Vec3) -> bool + Sync + 'a>;
type Relabel<'a> = Box<dyn Fn(Label, bool, Vec3) -> Label + Sync + 'a>;

/// A blueprint under construction.
pub(crate) struct Writer<'a> {
    pub(crate) surfaces: Vec<(SurfaceName, Box<dyn Field + 'a>)>,
    pub(crate) steps: Vec<CutStep<'a>>,
    /// Shells at a distance from the bone that are there already.
    shells: Vec<(f64, SurfaceId)>,
}

impl<'a> Writer<'a> {
    pub(crate) fn new() -> Self {
        Writer {
            surfaces: Vec::new(),
            steps: Vec::new(),
            shells: Vec::new(),
        }
    }

    pub(crate) fn cut(
        &mut self,
        name: SurfaceName,
        field: Box<dyn Field + 'a>,
        bounds: Aabb,
        within: Within<'a>,
        relabel: Relabel<'a>,
    ) {
        let surface = self.surface(name, field);
        self.steps.push(CutStep {
            surface,
            bounds,
            within,
            relabel,
        });
    }

    pub(crate) fn surface(&mut self, name: SurfaceName, field: Box<dyn Field + 'a>) -> SurfaceId {
        self.surfaces.push((name, field));
        SurfaceId((self.surfaces.len() - 1).min(u8::MAX as usize) as u8)
    }

    /// The shell at a distance from the bone. Plates of equal stand-off or height share it: two
    /// surfaces in one place would be cut twice, a hair apart.
    pub(crate) fn shell(
        &mut self,
        name: SurfaceName,
        outer: &'a dyn Field,
        by_mm: f64,
    ) -> SurfaceId {
        if let Some((_, known)) = self.shells.iter().find(|s| s.0 == by_mm) {
            return *known;
        }
        let id = self.surface(name, Box::new(Offset { of: outer, by_mm }));
        self.shells.push((by_mm, id));
        id
    }
}
