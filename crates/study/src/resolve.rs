//! From a job and a design point to everything that decides its result.

use crate::inputs::{
    InterfaceInputs, InterfaceKind, LoadInputs, Materials, Meeting, NamedInterface, PointInputs,
};
use crate::job::Job;
use crate::key_table::{INDEPENDENT, LOAD_CASES, density_law, named_parts};
use crate::plan::DesignPoint;
use crate::settings::{Settings, site};
use bicolumn_base::Part;
use bicolumn_geometry::spec::PlateSiteName;
use bicolumn_geometry::{
    BoneSpec, ColumnContact, ConstructSpec, FractureSpec, HeadSide, IndependentScrewSpec,
    PlateSpec, ScrewHold, SplitSpec,
};
use bicolumn_mesh::{SizeField, Sizing};
use bicolumn_model::{DensityLaw, GradedDensity, Material, TransverseIsotropy};
use bicolumn_solve::{Method, SolveOptions};
use bicolumn_store::FactorValue;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Version of this engine; part of every point's digest.
pub const ENGINE_VERSION: &str = env!("CARGO_PKG_VERSION");

/// Resolves a design point of a job.
pub fn resolve(job: &Job, point: &DesignPoint) -> PointInputs {
    let settings = Settings::at(job, point);
    let folder = job.file.parent().unwrap_or(Path::new(""));
    let inputs: BTreeMap<String, FactorValue> = settings
        .iter()
        .filter(|(path, _)| decides_result(path))
        .map(|(path, s)| (path.to_string(), s.value.to_record()))
        .collect();
    let sizing = sizing(&settings, job);
    let digest = digest(
        &inputs,
        surface_file(&settings, folder).as_deref(),
        sizing.size_field.as_ref(),
    );
    PointInputs {
        id: point.id.clone(),
        factors: point
            .levels
            .iter()
            .map(|(k, v)| (k.clone(), v.to_record()))
            .collect(),
        construct: construct(&settings, folder),
        sizing,
        materials: materials(&settings),
        loads: loads(&settings),
        interfaces: interfaces(&settings),
        solve: solve(&settings),
        error_estimate: settings.flag("solve.error_estimate"),
        digest,
        inputs,
    }
}

/// Does a point's result depend on this key? Titles, threads and the design do not enter.
fn decides_result(path: &str) -> bool {
    !path.starts_with("run.") && !path.starts_with("design.")
}

/// Digest of inputs and engine version: of lines `key<TAB>value`, sorted by key, numbers by their bits;
/// then of what an imported surface holds (one that cannot be read is told when the bone is built) and of a
/// size field.
fn digest(
    inputs: &BTreeMap<String, FactorValue>,
    surface: Option<&Path>,
    size_field: Option<&SizeField>,
) -> String {
    let mut text = ENGINE_VERSION.to_string();
    for (key, value) in inputs {
        let value = match value {
            FactorValue::Number(x) => format!("n{:016x}", x.to_bits()),
            FactorValue::Word(w) => format!("w{w}"),
            FactorValue::Flag(b) => format!("f{b}"),
        };
        text.push_str(&format!("\n{key}\t{value}"));
    }
    if let Some(bytes) = surface.and_then(|file| std::fs::read(file).ok()) {
        text.push_str(&format!(
            "\nsurface\t{}",
            bicolumn_store::digest_text(bytes)
        ));
    }
    if let Some(json) = size_field.and_then(|f| serde_json::to_string(f).ok()) {
        text.push_str(&format!(
            "\nsize_field\t{}",
            bicolumn_store::digest_text(json)
        ));
    }
    bicolumn_store::digest_text(text)
}

fn surface_file(s: &Settings, folder: &Path) -> Option<PathBuf> {
    let name = s.text("bone.surface_file");
    (!name.is_empty()).then(|| folder.join(name))
}

/// `folder`: that of the job file, from which a surface's path counts.
fn construct(s: &Settings, folder: &Path) -> ConstructSpec {
    let layout = s.text("construct.layout");
    let medial = plate(s, PlateSiteName::Medial, "medial");
    let other = plate(s, site(layout, false), "other");
    let plates = match layout {
        "parallel" | "orthogonal" => vec![medial, other],
        "medial_only" => vec![medial],
        _ => vec![other],
    };
    ConstructSpec {
        bone: bone(s, folder),
        fracture: fracture(s),
        plates,
        independent: (1..=INDEPENDENT)
            .filter_map(|n| independent(s, n))
            .collect(),
        clearance_mm: s.number("construct.clearance_mm"),
    }
}

fn fracture(s: &Settings) -> Option<FractureSpec> {
    (s.text("fracture.pattern") != "none").then(|| FractureSpec {
        level_mm: s.number("fracture.level_mm"),
        gap_mm: s.number("fracture.gap_mm"),
        inclination_deg: s.number("fracture.inclination_deg"),
        column_contact: match s.text("fracture.column_contact") {
            "medial" => ColumnContact::Medial,
            "lateral" => ColumnContact::Lateral,
            _ => ColumnContact::None,
        },
        filled: s.text("fracture.filling") == "healing_tissue",
        split: (s.text("fracture.pattern") == "intercondylar").then(|| SplitSpec {
            gap_mm: s.number("fracture.split_gap_mm"),
            offset_mm: s.number("fracture.split_offset_mm"),
            inclination_deg: s.number("fracture.split_inclination_deg"),
        }),
    })
}

fn bone(s: &Settings, folder: &Path) -> BoneSpec {
    let mm = |name: &str| s.number(&format!("bone.{name}"));
    BoneSpec {
        shaft_diameter_mm: mm("shaft_diameter_mm"),
        canal_diameter_mm: mm("canal_diameter_mm"),
        epicondylar_width_mm: mm("epicondylar_width_mm"),
        medial_column_angle_deg: mm("medial_column_angle_deg"),
        lateral_column_angle_deg: mm("lateral_column_angle_deg"),
        articular_valgus_deg: mm("articular_valgus_deg"),
        anterior_tilt_deg: mm("anterior_tilt_deg"),
        capitellum_radius_mm: mm("capitellum_radius_mm"),
        capitellum_width_mm: mm("capitellum_width_mm"),
        trochlea_groove_diameter_mm: mm("trochlea_groove_diameter_mm"),
        trochlea_medial_diameter_mm: mm("trochlea_medial_diameter_mm"),
        trochlea_lateral_diameter_mm: mm("trochlea_lateral_diameter_mm"),
        trochlea_width_mm: mm("trochlea_width_mm"),
        fossa_length_mm: mm("fossa_length_mm"),
        fossa_width_mm: mm("fossa_width_mm"),
        septum_thickness_mm: mm("septum_thickness_mm"),
        column_depth_mm: mm("column_depth_mm"),
        column_cortex_mm: mm("column_cortex_mm"),
        articular_cortex_mm: mm("articular_cortex_mm"),
        canal_floor_mm: mm("canal_floor_mm"),
        potting_level_mm: mm("potting_level_mm"),
        left: s.flag("bone.left"),
        surface_file: surface_file(s, folder),
    }
}

/// `which`: `medial` or `other`, the names in the keys.
fn plate(s: &Settings, site: PlateSiteName, which: &str) -> PlateSpec {
    let of_plate = |name: &str| s.number(&format!("plates.{which}.{name}"));
    let of_screws = |name: &str| format!("screws.{which}.{name}");
    let by_name = s.text(&format!("interfaces.{}.bone", Part::Plate(site.into())));
    let meets = match by_name {
        "" => s.text("interfaces.plate_bone"),
        named => named,
    };
    let apart = meets == "apart";
    PlateSpec {
        site,
        width_mm: of_plate("width_mm"),
        thickness_mm: of_plate("thickness_mm"),
        hole_pitch_mm: of_plate("hole_pitch_mm"),
        distal_hole_pitch_mm: of_plate("distal_hole_pitch_mm"),
        hole_diameter_mm: of_plate("hole_diameter_mm"),
        stand_off_mm: if apart {
            s.number("interfaces.stand_off_mm")
        } else {
            0.0
        },
        end_level_mm: of_plate("end_level_mm"),
        distal_hole_level_mm: of_plate("distal_hole_level_mm"),
        shaft_screws: s.count(&of_screws("shaft_count")),
        distal_screws: s.count(&of_screws("distal_count")),
        shaft_screw_diameter_mm: s.number(&of_screws("shaft_diameter_mm")),
        distal_screw_diameter_mm: s.number(&of_screws("distal_diameter_mm")),
        bicortical: s.flag(&of_screws("bicortical")),
        distal_screw_length_mm: s.number(&of_screws("distal_length_mm")),
        slot_mm: of_plate("slot_mm"),
        shaft_screw_tilt_deg: s.number(&of_screws("shaft_tilt_deg")),
        shaft_hold: hold(s.text(&of_screws("shaft_hold"))),
        distal_hold: hold(s.text(&of_screws("distal_hold"))),
    }
}

fn hold(word: &str) -> ScrewHold {
    match word {
        "non_locking" => ScrewHold::NonLocking,
        "lag" => ScrewHold::Lag,
        "positional" => ScrewHold::Positional,
        _ => ScrewHold::Locking,
    }
}

fn independent(s: &Settings, n: usize) -> Option<IndependentScrewSpec> {
    let path = |name: &str| format!("screws.independent_{n}.{name}");
    let number = |name: &str| s.number(&path(name));
    let word = s.text(&path("hold"));
    (word != "none").then(|| IndependentScrewSpec {
        hold: hold(word),
        from: match s.text(&path("from")) {
            "medial" => HeadSide::Medial,
            _ => HeadSide::Lateral,
        },
        level_mm: number("level_mm"),
        anterior_mm: number("anterior_mm"),
        inclination_deg: number("inclination_deg"),
        turn_deg: number("turn_deg"),
        diameter_mm: number("diameter_mm"),
        length_mm: number("length_mm"),
    })
}

fn sizing(s: &Settings, job: &Job) -> Sizing {
    Sizing {
        finest_mm: s.number("mesh.finest_mm"),
        plate_ratio: s.number("mesh.plate_ratio"),
        fracture_ratio: s.number("mesh.fracture_ratio"),
        far_ratio: s.number("mesh.far_ratio"),
        wall_ratio: s.number("mesh.wall_ratio"),
        screw_ratio: s.number("mesh.screw_ratio"),
        riser_ratio: s.number("mesh.riser_ratio"),
        growth: s.number("mesh.growth"),
        size_field: job.size_field.clone(),
        regions: job.regions.clone(),
        ..Sizing::default()
    }
}

fn materials(s: &Settings) -> Materials {
    let material = |part: &str, name: &str| {
        let young = format!("materials.{part}.young_mpa");
        Material {
            name: name.to_string(),
            young_mpa: s.number(&young),
            poisson: s.number(&format!("materials.{part}.poisson")),
            source: s.get(&young).map(|x| x.source.clone()).unwrap_or_default(),
        }
    };
    let cortical = material("cortical", "cortical bone");
    let transverse = (s.text("materials.cortical.symmetry") == "transverse").then(|| {
        let published = TransverseIsotropy::cortical();
        published.scaled(cortical.young_mpa / published.axial_mpa)
    });
    let cancellous = material("cancellous", "cancellous bone");
    let of_density = |name: &str| s.number(&format!("materials.cancellous.{name}"));
    let density = density_law(s.text("materials.cancellous.density_law")).map(|law| {
        let law = DensityLaw {
            poisson: cancellous.poisson,
            ..law
        };
        let graded = GradedDensity {
            core_g_per_cm3: of_density("density_g_per_cm3"),
            rim_ratio: of_density("rim_density_ratio"),
            rim_depth_mm: of_density("rim_depth_mm"),
            proximal_ratio: of_density("proximal_density_ratio"),
        };
        (law, graded)
    });
    Materials {
        cortical,
        transverse,
        cancellous,
        density,
        plate: material("plate", "plate"),
        screw: material("screw", "screw"),
        gap_tissue: material("gap_tissue", "gap tissue"),
    }
}

/// Cases in the order of [`LOAD_CASES`], however the job lists them.
fn loads(s: &Settings) -> LoadInputs {
    let wanted = s.list("loads.cases");
    LoadInputs {
        cases: LOAD_CASES
            .iter()
            .filter(|c| wanted.iter().any(|w| w == *c))
            .map(|c| (*c).to_string())
            .collect(),
        axial_n: s.number("loads.axial_n"),
        bending_n: s.number("loads.bending_n"),
        varus_valgus_n: s.number("loads.varus_valgus_n"),
        torsion_nmm: s.number("loads.torsion_nmm"),
        column_n: s.number("loads.column_n"),
        capitellum_share: s.number("loads.capitellum_share"),
    }
}

fn meeting(word: &str) -> Meeting {
    match word {
        "frictional" => Meeting::Frictional,
        "frictionless" => Meeting::Frictionless,
        "threaded" => Meeting::Threaded,
        _ => Meeting::Fixed,
    }
}

fn interfaces(s: &Settings) -> InterfaceInputs {
    let kind = |name: &str| InterfaceKind {
        meeting: meeting(s.text(&format!("interfaces.{name}"))),
        friction: s.number(&format!("interfaces.{name}_friction")),
    };
    let named = named_parts().flat_map(|(part, sides)| sides.iter().map(move |side| (part, *side)));
    let named = named.filter_map(|(part, side)| {
        let path = format!("interfaces.{part}.{}", side.name());
        let word = s.text(&path);
        let friction = s.get(&format!("{path}_friction"));
        let named = NamedInterface {
            part,
            side,
            meeting: (!word.is_empty()).then(|| meeting(word)),
            friction: friction.and_then(|f| f.value.number()),
        };
        (named.meeting.is_some() || named.friction.is_some()).then_some(named)
    });
    let of_plate = |which: &str| {
        ["shaft", "distal"].map(|row| s.number(&format!("screws.{which}.{row}_preload_n")))
    };
    InterfaceInputs {
        plate_bone: kind("plate_bone"),
        head_seat: kind("head_seat"),
        screw_bone: kind("screw_bone"),
        fracture_faces: kind("fracture_faces"),
        named: named.collect(),
        contact_gap_mm: s.number("interfaces.contact_gap_mm"),
        increments: s.count("interfaces.increments"),
        plate_preload_n: [of_plate("medial"), of_plate("other")],
        clamp_n: ["medial", "lateral"].map(|c| s.number(&format!("interfaces.clamp_{c}_n"))),
        independent_preload_n: (1..=INDEPENDENT)
            .filter(|n| independent(s, *n).is_some())
            .map(|n| s.number(&format!("screws.independent_{n}.preload_n")))
            .collect(),
    }
}

fn solve(s: &Settings) -> SolveOptions {
    SolveOptions {
        method: match s.text("solve.method") {
            "multigrid" => Method::Multigrid,
            "aggregation" => Method::Aggregation,
            "direct" => Method::Direct,
            _ => Method::Auto,
        },
        tolerance: s.number("solve.tolerance"),
        max_iterations: s.count("solve.max_iterations"),
        threads: 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::key_table::{key, keys};
    use crate::keys::{Fallback, Key, Kind};
    use crate::plan::Plan;
    use crate::regions;
    use bicolumn_base::{PlateSite, ScrewNumber};

    fn first(text: &str) -> PointInputs {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        resolve(&job, &Plan::of(&job).unwrap().points[0])
    }

    /// What the stages after the job see of a point.
    fn seen(p: &PointInputs) -> String {
        format!(
            "{:?} {:?} {:?} {:?} {:?} {:?} {:?}",
            p.construct, p.sizing, p.materials, p.loads, p.interfaces, p.solve, p.error_estimate
        )
    }

    /// No dead key: changing any of them changes what is meshed, loaded or solved.
    #[test]
    fn every_key_of_the_model_has_an_effect() {
        let base = "plates.stagger_mm = 1\nfracture.pattern = \"intercondylar\"\nscrews.independent_1.hold = \"lag\"\nscrews.independent_2.hold = \"lag\"\nmaterials.cancellous.density_law = \"pooled\"\n";
        // `size_field_file` and `regions` test their own.
        let is_single = |k: &&Key| {
            let apart = ["mesh.size_field", regions::PREFIX];
            decides_result(&k.path) && !apart.iter().any(|a| k.path.starts_with(a))
        };
        for k in keys().iter().filter(is_single) {
            let current = first(base).inputs.get(&k.path).cloned();
            let unset = match k.kind {
                Kind::Word(_) => FactorValue::Word(String::new()),
                _ => FactorValue::Number(0.0),
            };
            let other = match (&k.kind, &current.unwrap_or(unset)) {
                (Kind::Number { least, most, .. }, FactorValue::Number(x)) => {
                    let y = if x - least > most - x {
                        0.5 * (least + x)
                    } else {
                        0.5 * (most + x)
                    };
                    format!("{y:?}")
                }
                (Kind::Integer { least, .. }, FactorValue::Number(x)) => {
                    format!(
                        "{}",
                        if *x > *least as f64 {
                            *least
                        } else {
                            *least + 1
                        }
                    )
                }
                (Kind::Word(words), FactorValue::Word(w)) => {
                    format!("{:?}", words.iter().find(|o| *o != w).unwrap())
                }
                (Kind::Flag, FactorValue::Flag(b)) => format!("{}", !b),
                (Kind::List(words), _) => format!("[{:?}]", words[0]),
                (Kind::Text, _) => "\"surface.stl\"".to_string(),
                other => panic!("{other:?}"),
            };
            let kept = base.lines().filter(|l| !l.starts_with(&k.path));
            let mut text: String = kept.map(|l| format!("{l}\n")).collect();
            text.push_str(&format!("{} = {other}\n", k.path));
            let changed = first(&text);
            assert_ne!(seen(&first(base)), seen(&changed), "{k} has no effect");
            assert_ne!(
                first(base).digest,
                changed.digest,
                "{k} is not in the digest"
            );
        }
    }

    #[test]
    fn the_digest_ignores_title_and_threads_but_not_a_factor() {
        let plain = first("");
        assert_eq!(
            plain.digest,
            first("run.title = \"a\"\nrun.threads = 2\n").digest
        );
        assert_eq!(
            plain.digest,
            first("[factors]\nplates.stagger_mm = [0, 5]\n").digest
        );
        assert_ne!(
            plain.digest,
            first("[factors]\nplates.stagger_mm = [5, 0]\n").digest
        );
    }

    #[test]
    fn stagger_is_medial_minus_other_about_the_mean() {
        let p = first("plates.stagger_mm = 20\nplates.end_level_mm = 100\n");
        assert_eq!(p.construct.plates[0].end_level_mm, 110.0);
        assert_eq!(p.construct.plates[1].end_level_mm, 90.0);
        assert_eq!(p.construct.plates[0].site, PlateSiteName::Medial);
    }

    #[test]
    fn an_override_beats_the_common_value_and_a_preset_its_own_modulus() {
        let p = first(
            "plates.thickness_mm = 3.0\nplates.medial.thickness_mm = 2.0\nmaterials.implant = \"titanium_cp\"\nmaterials.screw.young_mpa = 110000\n",
        );
        assert_eq!(p.construct.plates[0].thickness_mm, 2.0);
        assert_eq!(p.construct.plates[1].thickness_mm, 3.0);
        assert_eq!(p.materials.plate.young_mpa, 104_000.0);
        assert_eq!(p.materials.screw.young_mpa, 110_000.0);
        assert!(p.materials.plate.source.starts_with("titanium_cp: "));
    }

    #[test]
    fn the_gap_follows_the_bone_unless_its_level_is_given() {
        let level = |text: &str| first(text).construct.fracture.unwrap().level_mm;
        assert_eq!(level(""), FractureSpec::default().level_mm);
        assert_eq!(level("bone.preset = \"large_adult\"\n"), 36.8);
        assert_eq!(level("bone.fossa_length_mm = 20.4\n"), 35.0);
        assert_eq!(
            level("bone.fossa_length_mm = 20.4\nfracture.level_mm = 38\n"),
            38.0
        );
    }

    #[test]
    fn no_gap_is_a_reduced_fracture_and_bonded_plates_touch() {
        let p = first("fracture.gap_mm = 0\ninterfaces.plate_bone = \"bonded\"\n");
        assert_eq!(p.construct.fracture.unwrap().gap_mm, 0.0);
        let none = first("fracture.pattern = \"none\"\n");
        assert!(none.construct.fracture.is_none());
        assert!(p.construct.plates.iter().all(|pl| pl.stand_off_mm == 0.0));
    }

    #[test]
    fn an_interface_by_name_beats_its_kind_for_that_part_alone() {
        let p = first(
            "[interfaces]\nplate_bone = \"frictional\"\nplate.lateral.bone = \"apart\"\nhead_seat = \"frictional\"\n[interfaces.screw.03]\nbone = \"frictionless\"\nseat_friction = 0.05\n",
        );
        let stands = p.construct.plates.iter().map(|pl| pl.stand_off_mm > 0.0);
        assert_eq!(stands.collect::<Vec<_>>(), [false, true]);
        let i = &p.interfaces;
        let meets = |site| i.plate_on_bone(site).meeting;
        assert_eq!(meets(PlateSite::Medial), Meeting::Frictional);
        assert_eq!(meets(PlateSite::Lateral), Meeting::Fixed);
        let [third, fourth] = [3, 4].map(ScrewNumber);
        assert_eq!(i.shank_in_bone(third).meeting, Meeting::Frictionless);
        assert_eq!(i.shank_in_bone(fourth).meeting, Meeting::Fixed);
        assert_eq!(i.head_in_seat(third).friction, 0.05);
        assert_eq!(i.head_in_seat(third).meeting, Meeting::Frictional);
        assert_eq!(i.head_in_seat(fourth).friction, 0.2);
    }

    #[test]
    fn one_coefficient_of_friction_serves_all_that_have_none_of_their_own() {
        let all = |text: &str| {
            let i = first(text).interfaces;
            let kinds = [i.plate_bone, i.head_seat, i.screw_bone, i.fracture_faces];
            kinds.map(|k| k.friction)
        };
        assert_eq!(all(""), [0.3, 0.2, 0.3, 0.46]);
        let text = "[interfaces]\nfriction = 0.1\nhead_seat_friction = 0.15\n";
        assert_eq!(all(text), [0.1, 0.15, 0.1, 0.1]);
        let text = "[factors]\n\"interfaces.friction\" = [0.5, 0.6]\n";
        assert_eq!(all(text), [0.5; 4]);
    }

    #[test]
    fn shanks_alone_can_be_threaded() {
        let text = "[interfaces]\nscrew_bone = \"threaded\"\nscrew.03.bone = \"bonded\"\n";
        let i = first(text).interfaces;
        let [third, fourth] = [3, 4].map(|n| i.shank_in_bone(ScrewNumber(n)));
        assert_eq!(
            (third.meeting, fourth.meeting),
            (Meeting::Fixed, Meeting::Threaded)
        );
        assert_eq!(i.head_in_seat(ScrewNumber(4)).meeting, Meeting::Fixed);
        for key in [
            "plate_bone",
            "head_seat",
            "fracture_faces",
            "plate.medial.bone",
            "screw.02.seat",
        ] {
            let text = format!("interfaces.{key} = \"threaded\"\n");
            let refused = Job::parse(Path::new("x.toml"), &text)
                .unwrap_err()
                .to_string();
            let told = [key, "threaded", "\"frictional\", \"frictionless\""];
            assert!(told.iter().all(|t| refused.contains(t)), "{refused}");
        }
    }

    #[test]
    fn osteoporotic_moduli_follow_the_named_reduction() {
        let m = |q: &str| first(&format!("materials.bone = \"{q}\"\n")).materials;
        let (normal, weak) = (m("normal"), m("osteoporotic"));
        assert!((weak.cortical.young_mpa / normal.cortical.young_mpa - 0.67).abs() < 1e-12);
        assert!((weak.cancellous.young_mpa / normal.cancellous.young_mpa - 0.34).abs() < 1e-12);
        assert!(matches!(
            key("materials.cortical.young_mpa").unwrap().default,
            Fallback::Preset(_)
        ));
    }

    #[test]
    fn density_gives_about_the_modulus_of_the_same_quality() {
        assert_eq!(first("").materials.density, None);
        for quality in ["normal", "osteoporotic"] {
            let m = first(&format!(
                "materials.bone = \"{quality}\"\nmaterials.cancellous.density_law = \"pooled\"\nmaterials.cancellous.poisson = 0.2\n"
            ))
            .materials;
            let (law, graded) = m.density.unwrap();
            assert_eq!(law.poisson, 0.2);
            let young = law.young_mpa(graded.at(0.0, 0.0)).unwrap();
            let off = (young / m.cancellous.young_mpa - 1.0).abs();
            assert!(off < 0.02, "{quality}: {young}");
        }
    }

    #[test]
    fn a_transverse_cortex_keeps_its_published_ratios() {
        assert_eq!(first("").materials.transverse, None);
        let text = "[materials]\ncortical.symmetry = \"transverse\"\ncortical.young_mpa = 8500.0\n";
        let bone = first(text).materials.transverse.unwrap();
        assert_eq!((bone.axial_mpa, bone.transverse_mpa), (8_500.0, 5_750.0));
        assert_eq!(bone.axial_shear_mpa, 1_650.0);
    }
}
