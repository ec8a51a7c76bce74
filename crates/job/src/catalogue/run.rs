//! Keys of the study: `[run]` and `[design]`.

use crate::declare::{Declaration, OURS, count, is, number, text, word};
use crate::handle::{Key, OneOf};
use crate::words::{CompositeCore, DesignKind, Spread, StatedEnds};
use bicolumn_geometry::Range;

/// Keys of `[run]` and `[design]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct RunKeys {
    pub title: Key<String>,
    pub question: Key<String>,
    pub headline: Key<String>,
    pub over: Key<Option<String>>,
    pub by: Key<Option<String>>,
    pub threads: Key<Option<usize>>,
    pub design: Key<OneOf<DesignKind>>,
    pub resolution: Key<usize>,
    pub core: Key<OneOf<CompositeCore>>,
    pub axial_distance: Key<Option<f64>>,
    pub stated_ends: Key<OneOf<StatedEnds>>,
    pub centre_points: Key<usize>,
    pub table: Key<Option<String>>,
    pub points: Key<Option<usize>>,
    pub seed: Key<usize>,
    pub replicates: Key<usize>,
    pub distribution: Key<OneOf<Spread>>,
    pub normal: Key<Option<String>>,
    pub lognormal: Key<Option<String>>,
}

impl RunKeys {
    pub(crate) fn declare(d: &mut Declaration) -> RunKeys {
        RunKeys {
            title: d.key(
                "run.title",
                text(),
                is("Untitled study".into()),
                "Title of the report",
                OURS,
            ),
            question: d.key(
                "run.question",
                text(),
                is(String::new()),
                "The question in a sentence; stands at the head of the report",
                OURS,
            ),
            headline: d.key(
                "run.headline",
                text(),
                is("last_screw_max_mpa".into()),
                "The response that the report compares first; a column of results.csv",
                OURS,
            ),
            over: d.optional(
                "run.over",
                text(),
                "The factor that the headline is drawn over; without it, the first factor with numbers",
                OURS,
            ),
            by: d.optional(
                "run.by",
                text(),
                "The factor that splits the headline into lines; without it, the first factor with words",
                OURS,
            ),
            threads: d.optional(
                "run.threads",
                count(1, 1024),
                "Threads for all points together; without it, one for each core. Results do not depend on it",
                OURS,
            ),
            design: d.key(
                "design.kind",
                word(),
                is(DesignKind::FullFactorial),
                "Which combinations of the factors' levels are design points",
                OURS,
            ),
            resolution: d.key(
                "design.resolution",
                count(3, 5),
                is(4),
                "Least resolution of a fractional factorial: 3, main effects stand apart from each other; 4, from interactions of two factors as well; 5, those from each other",
                OURS,
            ),
            core: d.key(
                "design.core",
                word(),
                is(CompositeCore::Fraction),
                "Corners of a central composite design",
                OURS,
            ),
            axial_distance: d.optional(
                "design.axial_distance",
                number("", Range::new(1.0, 10.0)),
                "Distance of the axial points of a central composite design from the centre over that of the corners along one factor; without it the fourth root of the number of corners (rotatable); 1 sets them on the faces",
                OURS,
            ),
            stated_ends: d.key(
                "design.stated_ends",
                word(),
                is(StatedEnds::Corners),
                "Place of the two levels that each factor of a central composite design states",
                OURS,
            ),
            centre_points: d.key(
                "design.centre_points",
                count(1, 64),
                is(1),
                "Meshes of other poses (mesh.pose 0, 1, 2, ...) on which the centre of a design is solved; their scatter is the pure error that effects are held against",
                OURS,
            ),
            table: d.optional(
                "design.table",
                text(),
                "A CSV or Parquet file, its path counted from the job file: a line of keys (names of columns), then a line of their values for each design point; in place of [factors]",
                OURS,
            ),
            points: d.optional(
                "design.points",
                count(2, 10_000),
                "Points of a sampled design (random, latin_hypercube, halton)",
                OURS,
            ),
            replicates: d.key(
                "design.replicates",
                count(1, 64),
                is(1),
                "Replicates of each design point: the same model on meshes of other poses (mesh.pose 0, 1, 2, ...), whose scatter is the pure error that effects are held against",
                OURS,
            ),
            seed: d.key(
                "design.seed",
                count(0, 1_000_000_000),
                is(1),
                "Seed of a sampled design: the same seed gives the same points everywhere",
                OURS,
            ),
            distribution: d.key(
                "design.distribution",
                word(),
                is(Spread::Uniform),
                "Distribution of the numbers of a sampled design between the two ends that [factors] gives, where design.normal and design.lognormal say nothing of a factor",
                OURS,
            ),
            normal: d.optional(
                "design.normal",
                text(),
                "Factors of a sampled design that are normal, with mean and standard deviation before they are cut off at the ends that [factors] gives: \"bone.shaft_diameter_mm = 19.3 ± 1.2\", several joined by \";\"; the others as design.distribution says",
                OURS,
            ),
            lognormal: d.optional(
                "design.lognormal",
                text(),
                "Factors of a sampled design that are lognormal, with mean and standard deviation of the number itself before it is cut off at the ends that [factors] gives; in the words of design.normal",
                OURS,
            ),
        }
    }
}
