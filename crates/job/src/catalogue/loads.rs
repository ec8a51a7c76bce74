//! Keys of `[loads]`.

use crate::declare::{Declaration, TRADE, is, number, words};
use crate::handle::{Key, SomeOf};
use bicolumn_geometry::Range;
use bicolumn_model::{LoadSizes, NamedLoad};

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
    pub cases: Key<SomeOf<NamedLoad>>,
    pub axial: Key<f64>,
    pub bending: Key<f64>,
    pub varus_valgus: Key<f64>,
    pub torsion: Key<f64>,
    pub column: Key<f64>,
    pub capitellum_share: Key<f64>,
}

impl LoadKeys {
    pub(crate) fn declare(d: &mut Declaration) -> LoadKeys {
        let sizes = LoadSizes::default();
        let two_dois = "finite-element study in J Orthop Surg Res 2021, doi 10.1186/s13018-021-02836-1 (abstract)";
        LoadKeys {
            cases: d.key(
                "loads.cases",
                words(),
                is(USUAL_CASES.to_vec()),
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
        }
    }
}
