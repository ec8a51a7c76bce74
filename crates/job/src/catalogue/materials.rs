//! Keys of `[materials]`.

use crate::declare::{Declaration, OURS, is, mm, number, preset, word};
use crate::handle::{Key, OneOf};
use crate::presets::{self, Sourced};
use crate::words::{BoneQuality, DensityChoice, Metal, Symmetry};
use bicolumn_base::Word;
use bicolumn_geometry::Range;
use bicolumn_model::DensityLaw;

/// Keys of `[materials]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct MaterialKeys {
    pub bone: Key<OneOf<BoneQuality>>,
    pub implant: Key<OneOf<Metal>>,
    pub symmetry: Key<OneOf<Symmetry>>,
    pub cortical: MaterialPairKeys,
    pub cancellous: MaterialPairKeys,
    pub plate: MaterialPairKeys,
    pub screw: MaterialPairKeys,
    pub density: CancellousKeys,
    pub gap_tissue: MaterialPairKeys,
}

/// The elastic constants of a material.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct MaterialPairKeys {
    pub young: Key<f64>,
    pub poisson: Key<f64>,
}

/// Keys of cancellous bone whose modulus follows its density.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct CancellousKeys {
    pub law: Key<OneOf<DensityChoice>>,
    pub core: Key<f64>,
    pub rim_ratio: Key<f64>,
    pub rim_depth: Key<f64>,
    pub proximal_ratio: Key<f64>,
}

/// Accepted Poisson's ratios.
const POISSON: Range = Range::new(0.0, 0.45);

impl MaterialKeys {
    pub(crate) fn declare(d: &mut Declaration) -> MaterialKeys {
        let bone = d.key(
            "materials.bone",
            word(),
            is(BoneQuality::Normal),
            "Bone quality: gives the moduli of cortical and cancellous bone not given here",
            "see each modulus",
        );
        let implant = d.key(
            "materials.implant",
            word(),
            is(Metal::Steel316l),
            "Metal of plates and screws: gives the moduli not given here",
            "see each modulus",
        );
        let symmetry = d.key(
            "materials.cortical.symmetry",
            word(),
            is(Symmetry::Transverse),
            "Elastic symmetry of cortical bone. transverse: alike across the shaft's axis only, young_mpa is its modulus along the axis, the other constants keep their published ratio to it, and poisson is not used; isotropic: alike in all directions (a bone surrogate, or a model to be compared with isotropic ones)",
            "transverse: Reilly and Burstein 1975, J Biomech 8:393, human femur (from memory)",
        );
        MaterialKeys {
            bone,
            implant,
            symmetry,
            cortical: pair(
                d,
                ("cortical", "cortical bone"),
                bone,
                Range::new(500.0, 40_000.0),
                (presets::cortical_young, presets::bone_poisson),
            ),
            cancellous: pair(
                d,
                ("cancellous", "cancellous bone"),
                bone,
                Range::new(5.0, 5_000.0),
                (presets::cancellous_young, presets::bone_poisson),
            ),
            plate: pair(
                d,
                ("plate", "the plates"),
                implant,
                Range::new(1_000.0, 400_000.0),
                (presets::metal_young, presets::metal_poisson),
            ),
            screw: pair(
                d,
                ("screw", "the screws"),
                implant,
                Range::new(1_000.0, 400_000.0),
                (presets::metal_young, presets::metal_poisson),
            ),
            density: CancellousKeys::declare(d, bone),
            gap_tissue: MaterialPairKeys {
                young: d.key(
                    "materials.gap_tissue.young_mpa",
                    number("mpa", Range::new(0.1, 20_000.0)),
                    is(10.0),
                    "Young's modulus of the tissue in a filled gap, isotropic",
                    "cartilage-like tissue of healing models, 10; granulation tissue 1, immature bone 1000; from memory",
                ),
                poisson: d.key(
                    "materials.gap_tissue.poisson",
                    number("", POISSON),
                    is(0.3),
                    "Poisson's ratio of the tissue in a filled gap",
                    "healing models use 0.17 to 0.4; from memory",
                ),
            },
        }
    }
}

/// Entry of the preset of a word.
type Entry<W> = fn(W) -> Sourced;

fn pair<W: Word + Send + Sync>(
    d: &mut Declaration,
    (name, of): (&str, &str),
    by: Key<OneOf<W>>,
    young_mpa: Range,
    (young, poisson): (Entry<W>, Entry<W>),
) -> MaterialPairKeys {
    MaterialPairKeys {
        young: d.key(
            format!("materials.{name}.young_mpa"),
            number("mpa", young_mpa),
            preset(by, young),
            format!("Young's modulus of {of}"),
            "",
        ),
        poisson: d.key(
            format!("materials.{name}.poisson"),
            number("", POISSON),
            preset(by, poisson),
            format!("Poisson's ratio of {of}"),
            "",
        ),
    }
}

impl CancellousKeys {
    fn declare(d: &mut Declaration, bone: Key<OneOf<BoneQuality>>) -> CancellousKeys {
        let of_laws = |told: &dyn Fn(&DensityLaw) -> String| -> String {
            let laws = DensityChoice::ALL.iter().filter_map(|w| {
                let law = w.law()?;
                Some(format!("{}: {}", w.word(), told(&law)))
            });
            laws.collect::<Vec<_>>().join("; ")
        };
        let ratio = || number("", Range::new(0.2, 5.0));
        let assumed = "1: uniform; no measured value for this site used";
        CancellousKeys {
            law: d.key(
                "materials.cancellous.density_law",
                word(),
                is(DensityChoice::None),
                format!(
                    "Modulus of cancellous bone from its apparent density, element by element; then young_mpa is not used. none: young_mpa everywhere; {}",
                    of_laws(&DensityLaw::formula)
                ),
                of_laws(&|law| law.source.to_string()),
            ),
            core: d.key(
                "materials.cancellous.density_g_per_cm3",
                number("g_per_cm3", Range::new(0.02, 1.2)),
                preset(bone, presets::cancellous_density),
                "Apparent density of cancellous bone at the joint, deep inside; without effect without a density law, as the next three",
                "",
            ),
            rim_ratio: d.key(
                "materials.cancellous.rim_density_ratio",
                ratio(),
                is(1.0),
                "Density at the inner face of the cortex over that deep inside",
                assumed,
            ),
            rim_depth: d.key(
                "materials.cancellous.rim_depth_mm",
                mm(0.5, 20.0),
                is(4.0),
                "Depth below the cortex over which the density at the rim becomes that deep inside, linearly",
                OURS,
            ),
            proximal_ratio: d.key(
                "materials.cancellous.proximal_density_ratio",
                ratio(),
                is(1.0),
                "Density at the floor of the canal over that at the joint axis, linear in the level between",
                assumed,
            ),
        }
    }
}
