//! The list of all job keys: name, accepted values, default, meaning, source.

mod density;
mod fracture;
mod holds;
mod interfaces;
mod regions;

use crate::keys::{Fallback, Key, Kind};
use crate::presets;
use crate::value::Value;
use bicolumn_geometry::spec::PlateSiteName;
use bicolumn_geometry::{BoneSpec, ConstructSpec, PlateSpec};
use std::sync::OnceLock;

/// Load cases, in the order they are solved and shown: the keys of `bicolumn_model::NamedLoad`.
pub const LOAD_CASES: [&str; 9] = [
    "axial",
    "posterior_bending",
    "anterior_bending",
    "varus",
    "valgus",
    "internal_torsion",
    "external_torsion",
    "lateral_column",
    "medial_column",
];

/// The load cases of a job that names none.
const USUAL_CASES: [&str; 6] = [
    "axial",
    "posterior_bending",
    "anterior_bending",
    "varus",
    "valgus",
    "internal_torsion",
];

pub(crate) use density::law as density_law;
pub(crate) use holds::INDEPENDENT;
pub(crate) use interfaces::named_parts;

/// Construct layouts.
pub const LAYOUTS: [&str; 5] = [
    "parallel",
    "orthogonal",
    "medial_only",
    "lateral_only",
    "posterolateral_only",
];

/// The sections of a job file, in the order of its documentation.
pub const SECTIONS: [&str; 13] = [
    "run",
    "design",
    "factors",
    "bone",
    "fracture",
    "construct",
    "plates",
    "screws",
    "materials",
    "interfaces",
    "loads",
    "mesh",
    "solve",
];

const TRADE: &str = "common practice, no source";
const OURS: &str = "choice of this program";

/// All keys, in the order of the documentation.
pub fn keys() -> &'static [Key] {
    static KEYS: OnceLock<Vec<Key>> = OnceLock::new();
    KEYS.get_or_init(|| {
        let mut keys = Vec::new();
        run(&mut keys);
        bone(&mut keys);
        fracture::fracture(&mut keys);
        layout(&mut keys);
        plates(&mut keys);
        screws(&mut keys);
        holds::holds(&mut keys);
        materials(&mut keys);
        interfaces::interfaces(&mut keys);
        loads(&mut keys);
        numerics(&mut keys);
        keys
    })
}

/// The key of that name; one of a region is found under any name of the region.
pub fn key(path: &str) -> Option<&'static Key> {
    let listed = |path: &str| keys().iter().find(|k| k.path == path);
    listed(path).or_else(|| listed(&crate::regions::listed_as(path)?))
}

fn add(keys: &mut Vec<Key>, path: &str, kind: Kind, default: Fallback, doc: &str, source: &str) {
    keys.push(Key {
        path: path.into(),
        kind,
        default,
        doc: doc.into(),
        source: source.into(),
    });
}

fn mm(least: f64, most: f64) -> Kind {
    number("mm", least, most)
}

fn number(unit: &'static str, least: f64, most: f64) -> Kind {
    Kind::Number {
        unit,
        least,
        most,
        or_zero: None,
    }
}

fn is(x: f64) -> Fallback {
    Fallback::Value(Value::Number(x))
}

fn count(n: i64) -> Fallback {
    Fallback::Value(Value::Integer(n))
}

fn word(w: &str) -> Fallback {
    Fallback::Value(Value::Word(w.into()))
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}

fn run(keys: &mut Vec<Key>) {
    let text = |s: &str| Fallback::Value(Value::Text(s.into()));
    add(
        keys,
        "run.title",
        Kind::Text,
        text("Untitled study"),
        "Title of the report",
        OURS,
    );
    add(
        keys,
        "run.question",
        Kind::Text,
        text(""),
        "The question in a sentence; stands at the head of the report",
        OURS,
    );
    add(
        keys,
        "run.headline",
        Kind::Text,
        text("plate_end_hotspot_max_mpa"),
        "The response that the report compares first; a column of results.csv",
        OURS,
    );
    add(
        keys,
        "run.over",
        Kind::Text,
        Fallback::Absent,
        "The factor that the headline is drawn over; without it, the first factor with numbers",
        OURS,
    );
    add(
        keys,
        "run.by",
        Kind::Text,
        Fallback::Absent,
        "The factor that splits the headline into lines; without it, the first factor with words",
        OURS,
    );
    add(
        keys,
        "run.threads",
        Kind::Integer {
            least: 1,
            most: 1024,
        },
        Fallback::Absent,
        "Threads for all points together; without it, one for each core. Results do not depend on it",
        OURS,
    );
    add(
        keys,
        "design.kind",
        Kind::Word(&["full_factorial", "one_at_a_time"]),
        word("full_factorial"),
        "Every combination of the factors' levels, or each factor alone moved from the first levels of all",
        OURS,
    );
}

fn bone(keys: &mut Vec<Key>) {
    add(
        keys,
        "bone.preset",
        Kind::Word(&presets::BONES),
        word("mean_adult"),
        "The card that gives every bone dimension not given here; small and large: about one standard deviation from the mean",
        "small and large: judgement; the mean: see each dimension",
    );
    for row in BoneSpec::card() {
        add(
            keys,
            &format!("bone.{}", row.key),
            number(row.unit, row.least, row.most),
            Fallback::Preset("bone.preset"),
            &capitalised(row.definition),
            row.source,
        );
    }
    add(
        keys,
        "bone.potting_level_mm",
        mm(80.0, 260.0),
        Fallback::Preset("bone.preset"),
        "Level of the proximal potting: the model ends there and that face is held",
        "",
    );
    add(
        keys,
        "bone.surface_file",
        Kind::Text,
        Fallback::Absent,
        "An STL file, its path counted from the job file: a closed surface in the bone frame (origin in the middle of the flexion axis, Y proximal, X anterior, Z lateral, mm) in place of the parametric outer surface; the dimensions of bone still say where joint, columns and fossae lie and how thick the cortex is",
        OURS,
    );
    add(
        keys,
        "bone.left",
        Kind::Flag,
        Fallback::Value(Value::Flag(false)),
        "Mirror to a left humerus",
        OURS,
    );
}

fn layout(keys: &mut Vec<Key>) {
    add(
        keys,
        "construct.layout",
        Kind::Word(&LAYOUTS),
        word("parallel"),
        "parallel: medial and lateral plate, facing each other; orthogonal: medial and posterolateral plate; or one plate alone",
        "layouts of the trade; one plate alone is a baseline",
    );
    add(
        keys,
        "construct.clearance_mm",
        mm(0.8, 3.0),
        is(ConstructSpec::intact().clearance_mm),
        "Least distance between two screws, and between a screw and what it should not graze",
        "least distance that the mesher takes well; choice of this program",
    );
}

/// Keys that hold for both plates and may be given for one of them: `plates.width_mm`,
/// `plates.medial.width_mm`, `plates.other.width_mm`.
fn for_both_and_each(
    keys: &mut Vec<Key>,
    section: &'static str,
    rows: &[(&'static str, Kind, Fallback, &str, &str)],
) {
    for (path, kind, default, doc, source) in rows {
        add(keys, path, kind.clone(), default.clone(), doc, source);
    }
    for (which, plate) in [
        ("medial", "the medial plate"),
        ("other", "the plate that is not medial"),
    ] {
        for (path, kind, default, doc, source) in rows {
            let name = path.trim_start_matches(section).trim_start_matches('.');
            add(
                keys,
                &format!("{section}.{which}.{name}"),
                kind.clone(),
                if *default == Fallback::Absent {
                    Fallback::OfSite(path)
                } else {
                    Fallback::Of(path)
                },
                &format!("{doc}; of {plate}"),
                &match default {
                    Fallback::Absent => (*source).to_string(),
                    _ => format!("as {path}"),
                },
            );
        }
    }
}

/// Dimensions that the sites share; what differs between sites has [`Fallback::OfSite`].
fn plate_default() -> PlateSpec {
    PlateSpec::new(PlateSiteName::Medial)
}

fn plates(keys: &mut Vec<Key>) {
    let plate = plate_default();
    add(
        keys,
        "plates.end_level_mm",
        mm(45.0, 250.0),
        is(plate_default().end_level_mm),
        "Mean level of the two proximal plate ends above the articular axis",
        TRADE,
    );
    add(
        keys,
        "plates.stagger_mm",
        mm(-80.0, 80.0),
        is(0.0),
        "Level of the medial plate's end minus that of the other: each end lies half of it from the mean level (also where one plate stands alone)",
        "sign as in Zarifian et al. 2022, J Hand Surg Am 47:690: the sign matters",
    );
    for (which, share) in [("medial", 0.5), ("other", -0.5)] {
        add(
            keys,
            &format!("plates.{which}.end_level_mm"),
            mm(45.0, 250.0),
            Fallback::Staggered(share),
            "Level of this plate's proximal end, given directly instead of by mean level and stagger",
            "from plates.end_level_mm and plates.stagger_mm",
        );
    }
    for_both_and_each(
        keys,
        "plates",
        &[
            (
                "plates.width_mm",
                mm(6.0, 13.0),
                is(plate.width_mm),
                "Width of the plate's shaft part",
                "reconstruction plates of the 3.5 mm class, 10 wide; from memory",
            ),
            (
                "plates.thickness_mm",
                mm(1.0, 5.0),
                is(plate.thickness_mm),
                "Thickness of the plate",
                "reconstruction plates of the 3.5 mm class, 2.7 to 2.8 thick; from memory",
            ),
            (
                "plates.hole_pitch_mm",
                mm(6.0, 30.0),
                is(plate.hole_pitch_mm),
                "Distance between hole centres over the shaft",
                "reconstruction plates of the 3.5 mm class, 12; from memory",
            ),
            (
                "plates.distal_hole_pitch_mm",
                mm(4.0, 20.0),
                is(plate.distal_hole_pitch_mm),
                "Distance between hole centres at the distal end",
                "distal ends of plates, 6 to 9; from memory",
            ),
            (
                "plates.hole_diameter_mm",
                mm(2.0, 8.0),
                is(plate.hole_diameter_mm),
                "Diameter of a hole where no screw sits",
                TRADE,
            ),
            (
                "plates.distal_hole_level_mm",
                mm(0.0, 40.0),
                Fallback::Absent,
                "Level of the most distal screw hole above the articular axis; without it, by site",
                "chosen so that the distal end stays on the bone",
            ),
        ],
    );
}

fn screws(keys: &mut Vec<Key>) {
    let plate = plate_default();
    for_both_and_each(
        keys,
        "screws",
        &[
            (
                "screws.shaft_count",
                Kind::Integer { least: 1, most: 8 },
                count(3),
                "Screws of each plate in the proximal fragment",
                "three or more a plate: Sanchez-Sotelo et al. 2007, J Bone Joint Surg Am 89:961; from memory",
            ),
            (
                "screws.distal_count",
                Kind::Integer { least: 1, most: 6 },
                count(3),
                "Screws of each plate in the distal fragment",
                TRADE,
            ),
            (
                "screws.shaft_diameter_mm",
                mm(1.5, 4.5),
                is(plate.shaft_screw_diameter_mm),
                "Core diameter of the shaft screws, modelled as smooth cylinders",
                "core 2.4 of a 3.5 mm cortical screw (textbook); a 3.5 mm locking screw has 2.9, from memory",
            ),
            (
                "screws.distal_diameter_mm",
                mm(1.5, 4.0),
                is(plate.distal_screw_diameter_mm),
                "Core diameter of the distal screws",
                "core of a 2.7 mm locking screw; from memory",
            ),
            (
                "screws.bicortical",
                Kind::Flag,
                Fallback::Value(Value::Flag(true)),
                "Do the shaft screws pass both cortices?",
                TRADE,
            ),
            (
                "screws.distal_length_mm",
                mm(10.0, 80.0),
                is(plate.distal_screw_length_mm),
                "Longest distal screw, from the underside of the plate",
                "as long as the block allows; common practice, no source",
            ),
        ],
    );
}

fn materials(keys: &mut Vec<Key>) {
    add(
        keys,
        "materials.bone",
        Kind::Word(&presets::BONE_QUALITIES),
        word("normal"),
        "Bone quality: gives the moduli of cortical and cancellous bone not given here",
        "see each modulus",
    );
    add(
        keys,
        "materials.implant",
        Kind::Word(&presets::METALS),
        word("steel_316l"),
        "Metal of plates and screws: gives the moduli not given here",
        "see each modulus",
    );
    add(
        keys,
        "materials.cortical.symmetry",
        Kind::Word(&["isotropic", "transverse"]),
        word("isotropic"),
        "Cortical bone alike in all directions, or alike across the shaft's axis only: then young_mpa is its modulus along the axis, the other constants keep their published ratio to it, and poisson is not used",
        "transverse: Reilly and Burstein 1975, J Biomech 8:393, human femur (from memory)",
    );
    for (part, of, preset, least, most) in [
        (
            "cortical",
            "cortical bone",
            "materials.bone",
            500.0,
            40_000.0,
        ),
        (
            "cancellous",
            "cancellous bone",
            "materials.bone",
            5.0,
            5_000.0,
        ),
        (
            "plate",
            "the plates",
            "materials.implant",
            1_000.0,
            400_000.0,
        ),
        (
            "screw",
            "the screws",
            "materials.implant",
            1_000.0,
            400_000.0,
        ),
    ] {
        add(
            keys,
            &format!("materials.{part}.young_mpa"),
            number("mpa", least, most),
            Fallback::Preset(preset),
            &format!("Young's modulus of {of}"),
            "",
        );
        add(
            keys,
            &format!("materials.{part}.poisson"),
            number("", 0.0, 0.45),
            Fallback::Preset(preset),
            &format!("Poisson's ratio of {of}"),
            "",
        );
    }
    density::density(keys);
    add(
        keys,
        "materials.gap_tissue.young_mpa",
        number("mpa", 0.1, 20_000.0),
        is(10.0),
        "Young's modulus of the tissue in a filled gap, isotropic",
        "cartilage-like tissue of healing models, 10; granulation tissue 1, immature bone 1000; from memory",
    );
    add(
        keys,
        "materials.gap_tissue.poisson",
        number("", 0.0, 0.45),
        is(0.3),
        "Poisson's ratio of the tissue in a filled gap",
        "healing models use 0.17 to 0.4; from memory",
    );
}

fn loads(keys: &mut Vec<Key>) {
    add(
        keys,
        "loads.cases",
        Kind::List(&LOAD_CASES),
        Fallback::Value(Value::List(
            USUAL_CASES.iter().map(|c| (*c).into()).collect(),
        )),
        "Load cases to solve",
        "published bench tests load axially, in bending both ways, in varus, valgus and torsion",
    );
    let two_dois =
        "finite-element study in J Orthop Surg Res 2021, doi 10.1186/s13018-021-02836-1 (abstract)";
    add(
        keys,
        "loads.axial_n",
        number("n", 0.1, 5_000.0),
        is(200.0),
        "Axial compression: force along the shaft, proximally",
        two_dois,
    );
    add(
        keys,
        "loads.bending_n",
        number("n", 0.1, 2_000.0),
        is(30.0),
        "Posterior and anterior bending: force across the shaft in the sagittal plane",
        two_dois,
    );
    add(
        keys,
        "loads.varus_valgus_n",
        number("n", 0.1, 2_000.0),
        is(30.0),
        "Varus and valgus: force across the shaft in the coronal plane",
        "as loads.bending_n, so that the directions compare",
    );
    add(
        keys,
        "loads.torsion_nmm",
        number("nmm", 1.0, 100_000.0),
        is(7_500.0),
        "Torsion: moment about the shaft axis",
        two_dois,
    );
    add(
        keys,
        "loads.column_n",
        number("n", 0.1, 5_000.0),
        is(100.0),
        "Column-only axial compression: the force on one joint surface alone",
        TRADE,
    );
    add(
        keys,
        "loads.capitellum_share",
        number("", 0.0, 1.0),
        is(0.58),
        "Share of every force that acts on the capitellum; the trochlea takes the rest",
        "57.8 % (SD 4.6) at 100 N axial, 8 cadaver limbs: Smithson et al., load share of the elbow (abstract)",
    );
}

fn numerics(keys: &mut Vec<Key>) {
    let sizing = bicolumn_mesh::Sizing::default();
    let solve = bicolumn_solve::SolveOptions::default();
    add(
        keys,
        "mesh.finest_mm",
        mm(0.3, 3.0),
        is(sizing.finest_mm),
        "Finest lattice cell: plate ends, screws at the bone surface, hole rims",
        OURS,
    );
    for (name, value, doc) in [
        (
            "plate_ratio",
            sizing.plate_ratio,
            "Cell in the plates' body, as a multiple of the finest",
        ),
        (
            "fracture_ratio",
            sizing.fracture_ratio,
            "Cell at the fracture faces, as a multiple of the finest",
        ),
        (
            "far_ratio",
            sizing.far_ratio,
            "Cell far from all hardware, as a multiple of the finest",
        ),
        (
            "wall_ratio",
            sizing.wall_ratio,
            "Largest cell in a cortical wall, as a multiple of the wall's thickness",
        ),
        (
            "screw_ratio",
            sizing.screw_ratio,
            "Largest cell at a screw, as a multiple of its radius",
        ),
        (
            "riser_ratio",
            sizing.riser_ratio,
            "Cell at the bone's surface round the uppermost screw of each plate, where the stress near the plate's end peaks, as a multiple of the finest",
        ),
    ] {
        add(
            keys,
            &format!("mesh.{name}"),
            number("", 0.25, 16.0),
            is(value),
            doc,
            OURS,
        );
    }
    add(
        keys,
        "mesh.growth",
        number("", 0.05, 2.0),
        is(sizing.growth),
        "Growth of the cell with distance, mm a mm",
        OURS,
    );
    add(
        keys,
        "mesh.size_field",
        Kind::Text,
        Fallback::Absent,
        "A JSON file, its path counted from the job file: wanted edge lengths on a regular grid, in place of mesh.finest_mm and its multiples; walls, screws, plates and filled gaps still get the cells that a valid mesh needs. The intact bone is meshed without it",
        OURS,
    );
    regions::regions(keys);
    add(
        keys,
        "solve.method",
        Kind::Word(&["auto", "multigrid", "aggregation", "direct"]),
        word("auto"),
        "How the linear system is solved; auto chooses by an estimate of memory and time",
        OURS,
    );
    add(
        keys,
        "solve.tolerance",
        number("", 1e-13, 1e-3),
        is(solve.tolerance),
        "Relative residual to reach",
        OURS,
    );
    add(
        keys,
        "solve.max_iterations",
        Kind::Integer {
            least: 1,
            most: 100_000,
        },
        count(solve.max_iterations as i64),
        "Iterations after which the solver gives up",
        OURS,
    );
    add(
        keys,
        "solve.error_estimate",
        Kind::Flag,
        Fallback::Value(Value::Flag(true)),
        "Estimate the discretisation error of stiffness, motion of the fracture and plate-end hot-spots, from adjoint solutions on the same mesh; not with contact",
        OURS,
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keys::split_unit;

    #[test]
    fn names_are_unique_end_in_their_unit_and_lie_in_a_known_section() {
        for (n, k) in keys().iter().enumerate() {
            assert!(keys()[..n].iter().all(|o| o.path != k.path), "{k} twice");
            if let Kind::Number { unit, .. } = k.kind {
                assert_eq!(split_unit(&k.path).1, unit, "{k}");
            }
            let section = k.path.split('.').next().unwrap();
            assert!(SECTIONS.contains(&section), "{k}");
            assert!(!k.doc.is_empty(), "{k}");
        }
    }

    #[test]
    fn every_default_is_accepted_by_its_own_key() {
        for k in keys() {
            match &k.default {
                Fallback::Value(v) => assert!(k.kind.accepts(v), "{k} = {v}"),
                Fallback::Of(other) => assert!(key(other).is_some(), "{k} -> {other}"),
                Fallback::OfOr(other, own) => {
                    assert!(key(other).is_some(), "{k} -> {other}");
                    assert!(k.kind.accepts(&Value::Number(*own)), "{k} = {own}");
                }
                Fallback::Preset(by) => {
                    let Some(Key {
                        kind: Kind::Word(words),
                        ..
                    }) = key(by)
                    else {
                        panic!("{by} is no list of presets")
                    };
                    for w in *words {
                        let (x, source) = presets::lookup(by, w, &k.path).unwrap();
                        assert!(k.kind.accepts(&Value::Number(x)), "{k} of {w} = {x}");
                        assert!(!source.is_empty(), "{k} of {w}");
                    }
                }
                Fallback::Staggered(_)
                | Fallback::OfSite(_)
                | Fallback::AboveFossa
                | Fallback::Absent => {}
            }
        }
    }
}
