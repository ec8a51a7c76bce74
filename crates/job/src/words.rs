//! Words of a job that no other crate owns.

use bicolumn_base::words;
use bicolumn_geometry::ScrewHold;
use bicolumn_geometry::spec::PlateSiteName;
use bicolumn_model::DensityLaw;

/// Plan of design points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DesignKind {
    /// Every combination of the factors' levels.
    FullFactorial,
    /// Each factor alone moved from the first levels of all.
    OneAtATime,
    /// Regular fraction of the combinations of two levels.
    FractionalFactorial,
    /// Screening design of two levels.
    PlackettBurman,
    /// Screening design of three levels, categories of two among them.
    DefinitiveScreening,
    /// Edges of the cube of three levels, and its centre.
    BoxBehnken,
    /// Corners and faces of the cube of three levels, and its centre.
    FaceCentred,
    /// Corners of a cube, axial points and the centre.
    CentralComposite,
    /// Points from a file.
    Table,
    /// Independent draws between the ends of each factor.
    Random,
    /// Latin hypercube between the ends of each factor.
    LatinHypercube,
    /// Scrambled Halton sequence between the ends of each factor.
    Halton,
}

/// Corners of a central composite design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CompositeCore {
    /// Corners of a fraction of resolution V.
    Fraction,
    /// All corners.
    Full,
}

/// Place of the two levels that a factor of a central composite design states.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StatedEnds {
    /// At the corners: axial points lie beyond.
    Corners,
    /// At the axial points: corners lie within.
    Axial,
}

words! { CompositeCore {
    Fraction = "fraction": "corners of the smallest fraction of resolution V, from five factors on; all of them below",
    Full = "full": "all corners",
} }

words! { StatedEnds {
    Corners = "corners": "they are the corners of the cube, and the axial points lie beyond them (circumscribed)",
    Axial = "axial": "they are the axial points, the outermost of all, and the corners lie within (inscribed)",
} }

/// Distribution of the numbers of a sampled design between their ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spread {
    /// Uniform.
    Uniform,
    /// Normal, its ends two standard deviations from the middle.
    Normal,
    /// Lognormal, the logarithms of its ends two standard deviations from their middle.
    Lognormal,
}

words! { Spread {
    Uniform = "uniform": "every number between the two ends is as likely as any other",
    Normal = "normal": "normal about the middle of the two ends, which are two standard deviations from it, and cut off there",
    Lognormal = "lognormal": "its logarithm normal about the middle of those of the two ends, which are two standard deviations from it, and cut off there; both ends above 0",
} }

words! { DesignKind {
    FullFactorial = "full_factorial": "every combination of the factors' levels",
    OneAtATime = "one_at_a_time": "each factor alone moved from the first levels of all",
    FractionalFactorial = "fractional_factorial": "the smallest regular fraction of the combinations of two levels that has the resolution of design.resolution",
    PlackettBurman = "plackett_burman": "main effects of up to 23 factors of two levels in 12, 20 or 24 points",
    DefinitiveScreening = "definitive_screening": "main effects of 3 to 24 factors, numbers of three levels and anything of two, clear of interactions and curvatures",
    BoxBehnken = "box_behnken": "three to seven factors of three levels: pairs or triples at their ends, the others in the middle",
    FaceCentred = "face_centred": "two to ten factors of three levels: corners (from five factors on a fraction of resolution V), middles of the faces, centre",
    CentralComposite = "central_composite": "two to ten factors of two numbers: corners (design.core), axial points at design.axial_distance, centre",
    Table = "table": "the rows of design.table",
    Random = "random": "design.points draws of every factor, independent of each other (Monte Carlo); more points keep the first, and the next draw takes the place of one that cannot be built",
    LatinHypercube = "latin_hypercube": "design.points points, each factor once in each of as many equal intervals of its probability; a point that cannot be built is not replaced",
    Halton = "halton": "design.points points of a scrambled Halton sequence of up to 16 factors, which fills the space evenly; more points keep the first, and the next of the sequence takes the place of one that cannot be built",
} }

/// Articular surfaces that a load of a job acts on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadedSurface {
    /// Both.
    Joint,
    /// Capitellum alone.
    Capitellum,
    /// Trochlea alone.
    Trochlea,
}

words! { LoadedSurface {
    Joint = "joint": "both surfaces, a force in their shares",
    Capitellum = "capitellum": "the capitellum alone",
    Trochlea = "trochlea": "the trochlea alone",
} }

/// Support of the shaft's end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProximalSupport {
    /// Clamped.
    Potted,
    /// Free to bend about both transverse axes.
    UniversalJoint,
    /// Free to turn about every axis.
    BallJoint,
    /// Free to turn about the shaft's axis.
    Swivel,
}

words! { ProximalSupport {
    Potted = "potted": "the cut face at bone.potting_level_mm is held in all directions, as in a fixed block of potting; with supports.potted_length_mm the bone inside the block",
    UniversalJoint = "universal_joint": "the block turns freely about both transverse axes, not about the shaft",
    BallJoint = "ball_joint": "the block turns freely about every axis",
    Swivel = "swivel": "the block turns freely about the shaft's axis alone",
} }

/// Support of the joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DistalSupport {
    /// None.
    Free,
    /// Held across the shaft.
    Guided,
    /// Held in all directions.
    BallJoint,
}

words! { DistalSupport {
    Free = "free": "loads alone act on the joint",
    Guided = "guided": "the middle of the joint moves along the shaft's direction alone, and turns freely",
    BallJoint = "ball_joint": "the middle of the joint does not move, and turns freely",
} }

/// Where a published value was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HowRead {
    /// From a table.
    Table,
    /// From the text or the abstract.
    Text,
    /// From a figure.
    Figure,
    /// Recalled.
    Memory,
}

words! { HowRead {
    Table = "table": "a table of the source",
    Text = "text": "its text or abstract",
    Figure = "figure": "measured off a figure",
    Memory = "memory": "recalled, not looked up",
} }

/// Published order of two values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// The first is the greater.
    Greater,
    /// The first is the smaller.
    Smaller,
}

words! { Order {
    Greater = "greater": "the first is the greater",
    Smaller = "smaller": "the first is the smaller",
} }

/// Direction of a claimed difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Higher.
    Higher,
    /// Lower.
    Lower,
}

words! { Direction {
    Higher = "higher": "the headline is higher at the baseline than at the levels that count",
    Lower = "lower": "the headline is lower there",
} }

/// Fracture pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FracturePattern {
    /// The bone is whole.
    None,
    /// A fracture across both columns.
    Supracondylar,
    /// A sagittal split of the articular block as well.
    Intercondylar,
}

words! { FracturePattern {
    None = "none": "the bone is whole",
    Supracondylar = "supracondylar": "a fracture across both columns",
    Intercondylar = "intercondylar": "a sagittal split of the articular block as well",
} }

/// Filling of a fracture gap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Filling {
    /// Nothing.
    Empty,
    /// Healing tissue.
    HealingTissue,
}

words! { Filling {
    Empty = "empty": "nothing in the gap",
    HealingTissue = "healing_tissue": "soft tissue fills the gap",
} }

/// Construct layout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// Medial and lateral plate.
    Parallel,
    /// Medial and posterolateral plate.
    Orthogonal,
    /// The medial plate alone.
    MedialOnly,
    /// The lateral plate alone.
    LateralOnly,
    /// The posterolateral plate alone.
    PosterolateralOnly,
    /// The intact bone, without fracture, plates and screws.
    BareBone,
}

words! { Layout {
    Parallel = "parallel": "medial and lateral plate",
    Orthogonal = "orthogonal": "medial and posterolateral plate",
    MedialOnly = "medial_only": "the medial plate alone",
    LateralOnly = "lateral_only": "the lateral plate alone",
    PosterolateralOnly = "posterolateral_only": "the posterolateral plate alone",
    BareBone = "bare_bone": "the intact bone, without fracture, plates and screws",
} }

impl Layout {
    /// Site of the medial or of the other plate. A plate that the layout does not have gets the site it
    /// would have in a parallel one.
    pub fn site(self, which: PlateKind) -> PlateSiteName {
        match (which, self) {
            (PlateKind::Medial, _) => PlateSiteName::Medial,
            (PlateKind::Other, Layout::Orthogonal | Layout::PosterolateralOnly) => {
                PlateSiteName::Posterolateral
            }
            (
                PlateKind::Other,
                Layout::Parallel | Layout::MedialOnly | Layout::LateralOnly | Layout::BareBone,
            ) => PlateSiteName::Lateral,
        }
    }

    /// Plates of the layout, medial first.
    pub fn plates(self) -> &'static [PlateKind] {
        match self {
            Layout::Parallel | Layout::Orthogonal => &PlateKind::ALL,
            Layout::MedialOnly => &[PlateKind::Medial],
            Layout::LateralOnly | Layout::PosterolateralOnly => &[PlateKind::Other],
            Layout::BareBone => &[],
        }
    }
}

/// End that a stagger leaves where it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StaggerFrom {
    /// The mean of both: each end moves by half the stagger.
    Mean,
    /// The upper end: the other plate ends lower by the stagger.
    Upper,
    /// The lower end: the other plate ends higher by the stagger.
    Lower,
}

words! { StaggerFrom {
    Mean = "mean": "both ends move, by half the stagger each",
    Upper = "upper": "the upper end stays, the other plate ends lower",
    Lower = "lower": "the lower end stays, the other plate ends higher",
} }

impl StaggerFrom {
    /// Level of a plate's end above `end_level_mm` for a stagger (medial minus other), mm.
    pub fn shift_mm(self, which: PlateKind, stagger_mm: f64) -> f64 {
        // By how much this plate's end lies above the other's.
        let above = match which {
            PlateKind::Medial => stagger_mm,
            PlateKind::Other => -stagger_mm,
        };
        match self {
            StaggerFrom::Mean => 0.5 * above,
            StaggerFrom::Upper => above.min(0.0),
            StaggerFrom::Lower => above.max(0.0),
        }
    }
}

/// The one or the other plate, as the keys of a job tell them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlateKind {
    /// The medial plate.
    Medial = 0,
    /// The plate that is not medial.
    Other = 1,
}

impl PlateKind {
    /// Both, medial first.
    pub const ALL: [PlateKind; 2] = [PlateKind::Medial, PlateKind::Other];

    /// Name in keys.
    pub fn word(self) -> &'static str {
        match self {
            PlateKind::Medial => "medial",
            PlateKind::Other => "other",
        }
    }

    /// The plate in words.
    pub(crate) fn plate(self) -> &'static str {
        match self {
            PlateKind::Medial => "the medial plate",
            PlateKind::Other => "the plate that is not medial",
        }
    }
}

/// Hold of a screw independent of plates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IndependentHold {
    /// There is no such screw.
    None,
    /// Presses the fragments together.
    Lag,
    /// Holds both fragments where they are.
    Positional,
}

words! { IndependentHold {
    None = "none": "there is no such screw",
    Lag = "lag": "glides in the fragment under its head and presses the fragments together",
    Positional = "positional": "holds both fragments where they are",
} }

impl IndependentHold {
    /// The hold of the screw, if there is one.
    pub fn hold(self) -> Option<ScrewHold> {
        match self {
            IndependentHold::None => None,
            IndependentHold::Lag => Some(ScrewHold::Lag),
            IndependentHold::Positional => Some(ScrewHold::Positional),
        }
    }
}

/// Elastic symmetry of cortical bone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Symmetry {
    /// Alike in all directions.
    Isotropic,
    /// Alike across the shaft's axis.
    Transverse,
}

words! { Symmetry {
    Isotropic = "isotropic": "alike in all directions",
    Transverse = "transverse": "alike across the shaft's axis, stiffer along it",
} }

/// Law from the density of cancellous bone to its modulus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DensityChoice {
    /// One modulus everywhere.
    None,
    /// Cancellous bone of all sites pooled.
    Pooled,
    /// Bone of the ulna.
    Ulna,
}

words! { DensityChoice {
    None = "none": "one modulus everywhere",
    Pooled = "pooled": "law of cancellous bone of all sites pooled",
    Ulna = "ulna": "law of bone of the ulna",
} }

impl DensityChoice {
    /// The law; none for one modulus everywhere.
    pub fn law(self) -> Option<DensityLaw> {
        match self {
            DensityChoice::None => None,
            DensityChoice::Pooled => Some(DensityLaw::pooled()),
            DensityChoice::Ulna => Some(DensityLaw::ulna()),
        }
    }
}

/// Bone quality.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BoneQuality {
    /// Healthy.
    Normal,
    /// Osteoporotic.
    Osteoporotic,
    /// Composite surrogate: filled epoxy about foam.
    Composite,
}

words! { BoneQuality {
    Normal = "normal": "healthy",
    Osteoporotic = "osteoporotic": "lower moduli of cortical and cancellous bone",
    Composite = "composite": "a surrogate bone: a shell of short-fibre-filled epoxy about foam; its canal is empty, as that of the others",
} }

/// Metal of plates and screws.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Metal {
    /// Stainless steel 316L.
    Steel316l,
    /// Titanium alloy Ti-6Al-4V.
    TitaniumTi6al4v,
    /// Commercially pure titanium.
    TitaniumCp,
}

words! { Metal {
    Steel316l = "steel_316l": "stainless steel 316L",
    TitaniumTi6al4v = "titanium_ti6al4v": "titanium alloy Ti-6Al-4V",
    TitaniumCp = "titanium_cp": "commercially pure titanium",
} }

/// Condition of an interface between two parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meeting {
    /// A plate stands off the bone.
    Apart,
    /// The sides are one.
    Bonded,
    /// They press, slide against friction and lift.
    Frictional,
    /// They press, slide and lift.
    Frictionless,
    /// A shank with its thread: they press and lift, slide round the screw against friction and not along it.
    Threaded,
}

words! { Meeting {
    Apart = "apart": "a plate stands off the bone",
    Bonded = "bonded": "the sides are one",
    Frictional = "frictional": "they press, slide against friction and lift",
    Frictionless = "frictionless": "they press, slide freely and lift",
    Threaded = "threaded": "a shank with its thread: slides round the screw against friction, not along it",
} }

impl Meeting {
    /// Conditions of a plate and the bone.
    pub(crate) const OF_PLATE: &[Meeting] = &[
        Meeting::Apart,
        Meeting::Bonded,
        Meeting::Frictional,
        Meeting::Frictionless,
    ];
    /// Conditions of a shank and the bone.
    pub(crate) const OF_SHANK: &[Meeting] = &[
        Meeting::Bonded,
        Meeting::Threaded,
        Meeting::Frictional,
        Meeting::Frictionless,
    ];
    /// Conditions of smooth faces: heads and seats, fracture faces.
    pub(crate) const OF_FACES: &[Meeting] =
        &[Meeting::Bonded, Meeting::Frictional, Meeting::Frictionless];

    /// Is there nothing to solve: are the sides one, or apart in the mesh?
    pub fn is_fixed(self) -> bool {
        match self {
            Meeting::Apart | Meeting::Bonded => true,
            Meeting::Frictional | Meeting::Frictionless | Meeting::Threaded => false,
        }
    }
}
