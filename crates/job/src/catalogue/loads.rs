//! Keys of `[loads]`.

use crate::declare::{Declaration, Default, TRADE, is, load_cases, mm, number, word};
use crate::handle::{Key, Names, OneOf};
use crate::named_path::CASES;
use crate::words::LoadedSurface;
use bicolumn_geometry::Range;
use bicolumn_model::{LoadSizes, NamedLoad};
use bicolumn_response::Aspect;

/// The load cases of a job that names none.
const USUAL_CASES: [NamedLoad; 6] = [
    NamedLoad::Axial,
    NamedLoad::PosteriorBending,
    NamedLoad::AnteriorBending,
    NamedLoad::Varus,
    NamedLoad::Valgus,
    NamedLoad::InternalTorsion,
];

/// Keys of `[loads]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct LoadKeys {
    pub cases: Key<Names>,
    pub axial: Key<f64>,
    pub bending: Key<f64>,
    pub varus_valgus: Key<f64>,
    pub torsion: Key<f64>,
    pub column: Key<f64>,
    pub capitellum_share: Key<f64>,
    pub case: CaseKeys,
}

/// Keys of a load case that the job defines, `[loads.case.NAME]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct CaseKeys {
    pub force: Key<Option<f64>>,
    pub flexion: Key<Option<f64>>,
    pub coronal: Key<Option<f64>>,
    pub proximal: Key<Option<f64>>,
    pub anterior: Key<Option<f64>>,
    pub lateral: Key<Option<f64>>,
    pub varus: Key<Option<f64>>,
    pub anterior_bending: Key<Option<f64>>,
    pub internal_torsion: Key<Option<f64>>,
    pub on: Key<Option<OneOf<LoadedSurface>>>,
    pub share: Key<Option<f64>>,
    pub line_anterior: Key<Option<f64>>,
    pub line_lateral: Key<Option<f64>>,
    pub line_level: Key<Option<f64>>,
    pub noses_on: Key<Option<OneOf<Aspect>>>,
    pub nose_distal: Key<Option<f64>>,
    pub nose_proximal: Key<Option<f64>>,
    pub support_distal: Key<Option<f64>>,
    pub support_proximal: Key<Option<f64>>,
    pub roller_contact: Key<Option<f64>>,
}

impl LoadKeys {
    pub(crate) fn declare(d: &mut Declaration) -> LoadKeys {
        let sizes = LoadSizes::default();
        let two_dois = "finite-element study in J Orthop Surg Res 2021, doi 10.1186/s13018-021-02836-1 (abstract)";
        LoadKeys {
            cases: d.key(
                "loads.cases",
                load_cases::<NamedLoad>(),
                Default::rule(
                    "the cases of [loads.case.NAME] where the job has any, else axial, posterior_bending, anterior_bending, varus, valgus, internal_torsion",
                    vec![],
                    |s| match s.named_under(CASES) {
                        own if own.is_empty() => USUAL_CASES.map(|c| c.key().into()).to_vec(),
                        own => own,
                    },
                ),
                "Load cases to solve",
                "published bench tests load axially, in bending both ways, in varus, valgus and torsion",
            ),
            axial: d.key(
                "loads.axial_n",
                number("n", Range::new(0.1, 5_000.0)),
                is(sizes.axial_n),
                "Axial compression: force along the shaft, proximally",
                two_dois,
            ),
            bending: d.key(
                "loads.bending_n",
                number("n", Range::new(0.1, 2_000.0)),
                is(sizes.bending_n),
                "Posterior and anterior bending: force across the shaft in the sagittal plane",
                two_dois,
            ),
            varus_valgus: d.key(
                "loads.varus_valgus_n",
                number("n", Range::new(0.1, 2_000.0)),
                is(LoadSizes::FRONTAL_FORCE_N),
                "Varus and valgus: force across the shaft in the coronal plane",
                "as loads.bending_n, so that the directions compare",
            ),
            torsion: d.key(
                "loads.torsion_nmm",
                number("nmm", Range::new(1.0, 100_000.0)),
                is(sizes.torque_nmm),
                "Torsion: moment about the shaft axis",
                two_dois,
            ),
            column: d.key(
                "loads.column_n",
                number("n", Range::new(0.1, 5_000.0)),
                is(sizes.column_n),
                "Column-only axial compression: the force on one joint surface alone",
                TRADE,
            ),
            capitellum_share: d.key(
                "loads.capitellum_share",
                number("", Range::new(0.0, 1.0)),
                is(sizes.capitellum_share),
                "Share of every force that acts on the capitellum; the trochlea takes the rest",
                "57.8 % (SD 4.6) at 100 N axial, 8 cadaver limbs: Smithson et al., load share of the elbow (abstract)",
            ),
            case: CaseKeys::declare(d),
        }
    }
}

impl CaseKeys {
    fn declare(d: &mut Declaration) -> CaseKeys {
        let mut key = |name, accepts, doc| d.named(CASES, name, accepts, doc);
        let newton = || number("n", Range::new(-10_000.0, 10_000.0));
        let couple = || number("nmm", Range::new(-200_000.0, 200_000.0));
        let across = || mm(-200.0, 200.0);
        CaseKeys {
            force: key(
                "force_n",
                number("n", Range::new(0.001, 10_000.0)),
                "Load case that the job defines: size of a force along a forearm, on the joint; NAME is the case's name in every table. A further action of the same case stands in `[loads.case.NAME.ACTION]`, with the same keys",
            ),
            flexion: key(
                "flexion_deg",
                number("deg", Range::new(-90.0, 180.0)),
                "Direction of force_n in the sagittal plane, as of a forearm in so much flexion that presses along its axis on the humerus: 0 proximally, 90 backwards, -90 forwards; without it, 0",
            ),
            coronal: key(
                "coronal_deg",
                number("deg", Range::new(-90.0, 90.0)),
                "Inclination of force_n out of the sagittal plane: 90 laterally, -90 medially; without it, 0",
            ),
            proximal: key("proximal_n", newton(), "Force on the joint by components, in place of force_n: proximally, along the shaft; negative distally"),
            anterior: key("anterior_n", newton(), "Force by components: forwards; negative backwards"),
            lateral: key("lateral_n", newton(), "Force by components: laterally; negative medially"),
            varus: key("varus_nmm", couple(), "Couple on the joint by components: varus, about the sagittal axis; negative valgus"),
            anterior_bending: key("anterior_bending_nmm", couple(), "Couple by components: as a force forwards on the joint bends, about the frontal axis; negative backwards"),
            internal_torsion: key("internal_torsion_nmm", couple(), "Couple by components: internal torsion, about the shaft; negative external"),
            on: d.named(CASES, "on", word(), "Surfaces that bear the action; without it, joint"),
            share: d.named(CASES, "capitellum_share", number("", Range::new(0.0, 1.0)), "Share of the force that acts on the capitellum, of an action on both surfaces; without it, loads.capitellum_share"),
            line_anterior: d.named(CASES, "line_anterior_mm", across(), "Load line: the line of action of the force passes so far in front of the shaft's axis (negative: behind) at line_level_mm. The force at the fixed bearing points and a couple on the same surfaces have this resultant on any mesh. Without any key of the line, through the bearing points"),
            line_lateral: d.named(CASES, "line_lateral_mm", across(), "Load line: so far lateral of the shaft's axis (negative: medial)"),
            line_level: d.named(CASES, "line_level_mm", mm(-200.0, 300.0), "Load line: level of the point that it passes; of no account for a force along the shaft. Without it, 0, the flexion axis"),
            noses_on: d.named(CASES, "noses_on", word(), "Four-point bending of the shaft, in place of a load on the joint: side of the bone that two noses press on with half of force_n each; the two supports lie on the other side, and statics give their forces. Response: bending_structural_stiffness_nmm2"),
            nose_distal: d.named(CASES, "nose_distal_mm", mm(-20.0, 260.0), "Level of the distal nose"),
            nose_proximal: d.named(CASES, "nose_proximal_mm", mm(-20.0, 260.0), "Level of the proximal nose"),
            support_distal: d.named(CASES, "support_distal_mm", mm(-20.0, 260.0), "Level of the distal support, below the noses"),
            support_proximal: d.named(CASES, "support_proximal_mm", mm(-20.0, 260.0), "Level of the proximal support, above the noses"),
            roller_contact: d.named(CASES, "roller_contact_mm", mm(1.0, 20.0), "Length along the shaft of a roller's contact with the bone; without it, 4"),
        }
    }
}
