//! From a job and a design point to everything that decides its result.

use crate::blame::own_key;
use crate::catalogue::{KindKeys, MaterialPairKeys, keys};
use crate::inputs::{
    InterfaceInputs, InterfaceKind, Materials, NamedInterface, PointInputs, SupportInputs,
};
use crate::job::Job;
use crate::moved_key::quantity_keys;
use crate::plan::DesignPoint;
use crate::settings::Settings;
use crate::words::{Filling, FracturePattern, Layout, Meeting, PlateKind, Symmetry};
use bicolumn_geometry::{
    BoneDimension, BoneSpec, ConstructSpec, FractureQuantity, FractureSpec, Freedom,
    IndependentScrewSpec, PlateQuantity, PlateSpec, SplitSpec, Subject, SurfaceFrame,
    surface_bytes,
};
use bicolumn_mesh::{SizeField, Sizing};
use bicolumn_model::{
    DensityLaw, GradedDensity, JointLoad, LoadSizes, Material, NamedLoad, SeriesCompliance,
    TransverseIsotropy,
};
use bicolumn_solve::SolveOptions;
use bicolumn_store::FactorValue;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Version of this engine; part of every point's digest.
pub const ENGINE_VERSION: &str = env!("CARGO_PKG_VERSION");

/// Resolves a design point of a job.
pub fn resolve(job: &Job, point: &DesignPoint) -> PointInputs {
    let settings = Settings::at(job, &point.levels);
    let folder = job.file.parent().unwrap_or(Path::new(""));
    let is_input = |path: &str| {
        keys()
            .find(path)
            .is_some_and(|k| keys().row(k).decides_result())
    };
    let inputs: BTreeMap<String, FactorValue> = settings
        .iter()
        .filter(|(path, _)| is_input(path))
        .map(|(path, s)| (path.to_string(), s.value.to_record()))
        .collect();
    let sizing = sizing(&settings, job);
    let digest = digest(
        &inputs,
        surface_file(&settings, folder).as_deref(),
        sizing.size_field.as_ref(),
    );
    let construct = construct(&settings, folder);
    PointInputs {
        quantity_keys: quantity_keys(job, &construct),
        id: point.id.clone(),
        factors: point
            .levels
            .iter()
            .map(|(k, v)| (k.clone(), v.to_record()))
            .collect(),
        construct,
        sizing,
        materials: materials(&settings),
        loads: loads(&settings, job),
        supports: supports(&settings),
        sensors: job.sensors.clone(),
        interfaces: match settings.get(keys().construct.layout) {
            Layout::BareBone => without_hardware(interfaces(&settings)),
            _ => interfaces(&settings),
        },
        solve: solve(&settings),
        error_estimate: settings.get(keys().solve.error_estimate),
        digest,
        inputs,
    }
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
    if let Some(bytes) = surface.and_then(|file| surface_bytes(file).ok()) {
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
    let name = s.get(keys().bone.surface_file).filter(|n| !n.is_empty());
    name.map(|name| folder.join(name))
}

fn surface_frame(s: &Settings) -> Option<SurfaceFrame> {
    let [distal, proximal, medial, lateral] = keys().bone.landmarks.map(|k| s.get(k));
    Some(SurfaceFrame {
        shaft_distal: distal?,
        shaft_proximal: proximal?,
        medial_epicondyle: medial?,
        lateral_epicondyle: lateral?,
    })
}

/// `folder`: that of the job file, from which a surface's path counts.
fn construct(s: &Settings, folder: &Path) -> ConstructSpec {
    let layout = s.get(keys().construct.layout);
    if layout == Layout::BareBone {
        return ConstructSpec {
            bone: bone(s, folder),
            clearance_mm: s.get(keys().construct.clearance),
            ..ConstructSpec::intact()
        };
    }
    let mut spec = ConstructSpec {
        bone: bone(s, folder),
        fracture: fracture(s),
        plates: layout
            .plates()
            .iter()
            .map(|which| plate(s, *which))
            .collect(),
        independent: independent(s).map(|(_, screw)| screw).collect(),
        clearance_mm: s.get(keys().construct.clearance),
        freedom: Freedom::default(),
    };
    spec.freedom = Freedom {
        fit: s.get(keys().construct.fit),
        derived: derived(s, &spec),
    };
    spec
}

/// Quantities that follow from the rest unless the job states them.
fn derived(s: &Settings, spec: &ConstructSpec) -> BTreeSet<Subject> {
    use FractureQuantity as F;
    use PlateQuantity as P;
    let fracture = [F::Level, F::SplitOffset, F::SplitInclination];
    let fracture = fracture.into_iter().map(Subject::Fracture);
    let of_plate = [
        P::DistalHoleLevel,
        P::HolePitch,
        P::DistalHolePitch,
        P::HoleDiameter,
        P::EndDistance,
        P::FractureDistance,
    ];
    let plates = spec.plates.iter().flat_map(|plate| {
        let of = move |q: P| Subject::Plate(plate.site.into(), q);
        of_plate.into_iter().map(of)
    });
    let potting = Subject::Bone(BoneDimension::PottingLevel);
    let all = fracture.chain(plates).chain([potting]);
    all.filter(|subject| own_key(*subject).is_some_and(|key| !s.is_stated(key)))
        .collect()
}

fn fracture(s: &Settings) -> Option<FractureSpec> {
    let k = &keys().fracture;
    let split = || SplitSpec {
        gap_mm: s.get(k.split_gap),
        offset_mm: s.get(k.split_offset),
        inclination_deg: s.get(k.split_inclination),
    };
    let split = match s.get(k.pattern) {
        FracturePattern::None => return None,
        FracturePattern::Supracondylar => None,
        FracturePattern::Intercondylar => Some(split()),
    };
    Some(FractureSpec {
        level_mm: s.get(k.level),
        gap_mm: s.get(k.gap),
        inclination_deg: s.get(k.inclination),
        column_contact: s.get(k.column_contact),
        filled: s.get(k.filling) == Filling::HealingTissue,
        split,
    })
}

fn bone(s: &Settings, folder: &Path) -> BoneSpec {
    let k = &keys().bone;
    BoneSpec {
        left: s.get(k.left),
        potted_length_mm: s.get(keys().supports.potted_length),
        surface_file: surface_file(s, folder),
        surface_unit: s.get(k.surface_unit).unwrap_or_default(),
        surface_frame: surface_frame(s),
        ..BoneSpec::of(|dimension| s.get(k.of(dimension)))
    }
}

fn plate(s: &Settings, which: PlateKind) -> PlateSpec {
    let (plates, screws, interfaces) = (&keys().plates, &keys().screws, &keys().interfaces);
    let site = s.get(keys().construct.layout).site(which);
    let by_name = s.get(interfaces.of_plate(site.into()).meeting);
    let meeting = by_name.unwrap_or_else(|| s.get(interfaces.plate_bone.meeting));
    PlateSpec {
        site,
        width_mm: s.get(plates.width.of(which)),
        thickness_mm: s.get(plates.thickness.of(which)),
        hole_pitch_mm: s.get(plates.hole_pitch.of(which)),
        distal_hole_pitch_mm: s.get(plates.distal_hole_pitch.of(which)),
        distal_width_mm: Some(plates.distal_width.of(which))
            .filter(|key| s.is_stated(*key))
            .map(|key| s.get(key)),
        hole_diameter_mm: s.get(plates.hole_diameter.of(which)),
        stand_off_mm: match meeting {
            Meeting::Apart => s.get(interfaces.stand_off),
            Meeting::Bonded | Meeting::Frictional | Meeting::Frictionless | Meeting::Threaded => {
                0.0
            }
        },
        end_level_mm: s.get(plates.end(which)),
        distal_hole_level_mm: s.get(plates.distal_hole_level.of(which)),
        shaft_screws: s.get(screws.shaft_count.of(which)),
        distal_screws: s.get(screws.distal_count.of(which)),
        shaft_screw_diameter_mm: s.get(screws.shaft_diameter.of(which)),
        distal_screw_diameter_mm: s.get(screws.distal_diameter.of(which)),
        bicortical: s.get(screws.bicortical.of(which)),
        distal_screw_length_mm: s.get(screws.distal_length.of(which)),
        slot_mm: s.get(plates.slot.of(which)),
        shaft_pattern: s.get(screws.shaft_pattern.of(which)),
        taken_up_by: s.get(plates.taken_up_by.of(which)),
        end_distance_mm: Some(s.get(plates.end_distance.of(which))),
        fracture_distance_mm: Some(s.get(screws.fracture_distance.of(which))),
        shaft_screw_tilt_deg: s.get(screws.shaft_tilt.of(which)),
        shaft_hold: s.get(screws.shaft_hold.of(which)),
        distal_hold: s.get(screws.distal_hold.of(which)),
    }
}

/// The screws independent of plates that the job asks for, each with its place among the keys.
fn independent(s: &Settings) -> impl Iterator<Item = (usize, IndependentScrewSpec)> {
    let all = keys().screws.independent.iter().enumerate();
    all.filter_map(|(n, k)| {
        let screw = IndependentScrewSpec {
            hold: s.get(k.hold).hold()?,
            from: s.get(k.from),
            level_mm: s.get(k.level),
            anterior_mm: s.get(k.anterior),
            inclination_deg: s.get(k.inclination),
            turn_deg: s.get(k.turn),
            diameter_mm: s.get(k.diameter),
            length_mm: s.get(k.length),
        };
        Some((n, screw))
    })
}

fn sizing(s: &Settings, job: &Job) -> Sizing {
    let k = &keys().mesh;
    let usual = Sizing {
        finest_mm: s.get(k.finest),
        plate_ratio: s.get(k.plate_ratio),
        fracture_ratio: s.get(k.fracture_ratio),
        far_ratio: s.get(k.far_ratio),
        wall_ratio: s.get(k.wall_ratio),
        screw_ratio: s.get(k.screw_ratio),
        riser_ratio: s.get(k.riser_ratio),
        growth: s.get(k.growth),
        size_field: job.size_field.clone(),
        regions: job.regions.clone(),
        ..Sizing::default()
    }
    .scaled(s.get(k.scale));
    match s.get(k.pose) {
        0 => usual,
        n => usual.posed(n),
    }
}

fn materials(s: &Settings) -> Materials {
    let k = &keys().materials;
    let material = |pair: &MaterialPairKeys, name: &str| Material {
        name: name.to_string(),
        young_mpa: s.get(pair.young),
        poisson: s.get(pair.poisson),
        source: s.source(pair.young),
    };
    let cortical = material(&k.cortical, "cortical bone");
    let transverse = match s.get(k.symmetry) {
        Symmetry::Isotropic => None,
        Symmetry::Transverse => {
            let published = TransverseIsotropy::cortical();
            Some(published.scaled(cortical.young_mpa / published.axial_mpa))
        }
    };
    let cancellous = material(&k.cancellous, "cancellous bone");
    let density = s.get(k.density.law).law().map(|law| {
        let law = DensityLaw {
            poisson: cancellous.poisson,
            ..law
        };
        let graded = GradedDensity {
            core_g_per_cm3: s.get(k.density.core),
            rim_ratio: s.get(k.density.rim_ratio),
            rim_depth_mm: s.get(k.density.rim_depth),
            proximal_ratio: s.get(k.density.proximal_ratio),
        };
        (law, graded)
    });
    Materials {
        cortical,
        transverse,
        cancellous,
        density,
        plate: material(&k.plate, "plate"),
        screw: material(&k.screw, "screw"),
        gap_tissue: material(&k.gap_tissue, "gap tissue"),
    }
}

/// Cases in the order of [`NamedLoad::ALL`], then those of the job by name, however the job lists them.
fn loads(s: &Settings, job: &Job) -> Vec<JointLoad> {
    let k = &keys().loads;
    let sizes = LoadSizes {
        axial_n: s.get(k.axial),
        bending_n: s.get(k.bending),
        frontal_n: s.get(k.varus_valgus),
        torque_nmm: s.get(k.torsion),
        column_n: s.get(k.column),
        capitellum_share: s.get(k.capitellum_share),
    };
    let wanted = s.get(k.cases);
    let presets = NamedLoad::ALL.into_iter().map(|c| c.of_sizes(&sizes));
    let own = job.load_cases.iter();
    let own = own.map(|c| c.at_share(sizes.capitellum_share));
    let all = presets.chain(own);
    all.filter(|c| wanted.contains(&c.name)).collect()
}

fn supports(s: &Settings) -> SupportInputs {
    let k = &keys().supports;
    let compliance = |stiffness: f64| {
        if stiffness > 0.0 {
            1.0 / stiffness
        } else {
            0.0
        }
    };
    SupportInputs {
        proximal: s.get(k.proximal),
        centre_level_mm: s.get(k.centre_level),
        distal: s.get(k.distal),
        capitellum_share: s.get(keys().loads.capitellum_share),
        rig: SeriesCompliance {
            mm_per_n: compliance(s.get(k.rig)),
            deg_per_nmm: compliance(s.get(k.rig_turn)),
        },
    }
}

/// Interfaces of a bone that has neither hardware nor fracture: nothing by name, no preload, no clamp.
fn without_hardware(common: InterfaceInputs) -> InterfaceInputs {
    InterfaceInputs {
        named: Vec::new(),
        plate_preload_n: [[0.0; 2]; 2],
        independent_preload_n: Vec::new(),
        clamp_n: [0.0; 2],
        ..common
    }
}

fn interfaces(s: &Settings) -> InterfaceInputs {
    let (k, preloads) = (&keys().interfaces, &keys().preloads);
    let kind = |kind: &KindKeys| InterfaceKind {
        meeting: s.get(kind.meeting),
        friction: s.get(kind.friction),
    };
    let named = k.named().filter_map(|n| {
        let (meeting, friction) = (s.get(n.meeting), s.get(n.friction));
        let key = match (meeting, friction) {
            (None, None) => return None,
            (Some(_), _) => n.meeting.id(),
            (None, Some(_)) => n.friction.id(),
        };
        Some(NamedInterface {
            part: n.part,
            side: n.side,
            meeting,
            friction,
            key,
        })
    });
    let of_plate = |which| [&preloads.shaft, &preloads.distal].map(|row| s.get(row.of(which)));
    InterfaceInputs {
        plate_bone: kind(&k.plate_bone),
        head_seat: kind(&k.head_seat),
        screw_bone: kind(&k.screw_bone),
        fracture_faces: kind(&k.fracture_faces),
        named: named.collect(),
        contact_gap_mm: s.get(k.contact_gap),
        increments: s.get(k.increments),
        plate_preload_n: PlateKind::ALL.map(of_plate),
        clamp_n: [k.clamp_medial, k.clamp_lateral].map(|column| s.get(column)),
        independent_preload_n: independent(s)
            .map(|(n, _)| s.get(preloads.independent[n]))
            .collect(),
    }
}

fn solve(s: &Settings) -> SolveOptions {
    let k = &keys().solve;
    SolveOptions {
        method: s.get(k.method),
        tolerance: s.get(k.tolerance),
        max_iterations: s.get(k.max_iterations),
        threads: 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::key::{Fallback, KeyRow, Kind};
    use crate::named_path::is_named;
    use crate::plan::Plan;
    use bicolumn_base::{PlateSite, ScrewNumber};
    use bicolumn_geometry::spec::PlateSiteName;

    #[test]
    fn levels_relative_to_the_bone_keep_their_distance_from_its_fossa() {
        let spec = |preset: &str, text: &str| {
            first(&format!("bone.preset = \"{preset}\"\n{text}")).construct
        };
        // Oracle: the fossa begins at the rim of the trochlear groove.
        let top =
            |c: &ConstructSpec| 0.5 * c.bone.trochlea_groove_diameter_mm + c.bone.fossa_length_mm;
        let text =
            "fracture.above_fossa_mm = 4\nplates.end_above_fossa_mm = 62\nplates.stagger_mm = 8\n";
        let [small, large] = ["small_adult", "large_adult"].map(|preset| spec(preset, text));
        assert!(top(&large) > top(&small) + 3.0);
        for c in [&small, &large] {
            assert!((c.fracture.as_ref().unwrap().level_mm - top(c) - 4.0).abs() < 1e-9);
            assert!((c.plates[0].end_level_mm - top(c) - 66.0).abs() < 1e-9);
            assert!((c.plates[1].end_level_mm - top(c) - 58.0).abs() < 1e-9);
            // What is stated this way is stated: it does not move by itself.
            let level = Subject::Fracture(FractureQuantity::Level);
            assert!(!c.freedom.derived.contains(&level));
        }
        let of_fracture = "plates.end_above_fracture_mm = 55\n";
        for c in ["small_adult", "large_adult"].map(|preset| spec(preset, of_fracture)) {
            let level = c.fracture.as_ref().unwrap().level_mm;
            assert!((c.plates[0].end_level_mm - level - 55.0).abs() < 1e-9);
        }
        let usual = spec("small_adult", "");
        assert_eq!(usual.plates[0].end_level_mm, 90.0);
    }

    #[test]
    fn two_keys_that_state_one_level_are_refused() {
        for text in [
            "fracture.level_mm = 36\nfracture.above_fossa_mm = 4\n",
            "plates.end_level_mm = 90\nplates.end_above_fossa_mm = 60\n",
            "plates.end_above_fracture_mm = 60\nplates.end_above_fossa_mm = 60\n",
            "plates.end_level_mm = 90\n[factors]\nplates.end_above_fossa_mm = [60, 65]\n",
        ] {
            let refused = Job::parse(Path::new("x.toml"), text)
                .unwrap_err()
                .to_string();
            assert!(refused.contains("states the same level"), "{refused}");
        }
    }

    fn first(text: &str) -> PointInputs {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        resolve(&job, &Plan::of(&job).unwrap().points[0])
    }

    /// Inputs of a point as the stages after the job see them.
    fn seen(p: &PointInputs) -> String {
        format!(
            "{:?} {:?} {:?} {:?} {:?} {:?} {:?} {:?}",
            p.construct,
            p.sizing,
            p.materials,
            p.loads,
            p.supports,
            p.interfaces,
            p.solve,
            p.error_estimate
        )
    }

    /// No dead key: changing any of them changes what is meshed, loaded or solved.
    #[test]
    fn every_key_of_the_model_has_an_effect() {
        let base = "plates.stagger_mm = 1\nfracture.pattern = \"intercondylar\"\nscrews.independent_1.hold = \"lag\"\nscrews.independent_2.hold = \"lag\"\nmaterials.cancellous.density_law = \"pooled\"\nloads.cases = [\"axial\", \"varus\", \"valgus\", \"anterior_bending\", \"internal_torsion\", \"medial_column\"]\n";
        // The size field, the landmarks of a surface and tables under names of the job have tests of their own.
        let is_single = |k: &&KeyRow| {
            k.decides_result()
                && k.path != "mesh.size_field"
                && k.kind != Kind::Place
                && !is_named(&k.path)
        };
        for k in keys().rows().map(|(_, k)| k).filter(is_single) {
            let current = first(base).inputs.get(&k.path).cloned();
            let unset = match k.kind {
                Kind::Word(_) => FactorValue::Word(String::new()),
                _ => FactorValue::Number(0.0),
            };
            let other = match (&k.kind, &current.unwrap_or(unset)) {
                (Kind::Number { range, .. }, FactorValue::Number(x)) => {
                    let (least, most) = (range.least, range.most);
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
                    // Of a word that is not given the first may be the default.
                    let mut others = words.iter().filter(|o| *o != w);
                    let other = match w.is_empty() {
                        true => others.next_back(),
                        false => others.next(),
                    };
                    format!("{:?}", other.unwrap())
                }
                (Kind::Flag, FactorValue::Flag(b)) => format!("{}", !b),
                (Kind::Cases(words), _) => format!("[{:?}]", words[0]),
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
    fn a_scale_of_the_mesh_also_widens_cells_at_walls_and_screws() {
        let (usual, wide) = (first(""), first("mesh.scale = 2"));
        assert_eq!(wide.sizing, usual.sizing.scaled(2.0));
        assert!(wide.sizing.screw_ratio > usual.sizing.screw_ratio);
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
    fn a_stagger_from_an_end_leaves_that_end_where_it_is() {
        let ends = |from: &str, stagger: f64| {
            let job = format!(
                "plates.stagger_mm = {stagger}\nplates.stagger_from = \"{from}\"\nplates.end_level_mm = 100\n"
            );
            let plates = first(&job).construct.plates;
            [plates[0].end_level_mm, plates[1].end_level_mm]
        };
        assert_eq!(ends("mean", 20.0), [110.0, 90.0]);
        assert_eq!(ends("upper", 20.0), [100.0, 80.0]);
        assert_eq!(ends("upper", -20.0), [80.0, 100.0]);
        assert_eq!(ends("lower", 20.0), [120.0, 100.0]);
        assert_eq!(ends("lower", -20.0), [100.0, 120.0]);
        for from in ["mean", "upper", "lower"] {
            assert_eq!(ends(from, 0.0), [100.0, 100.0]);
        }
    }

    #[test]
    fn bare_bone_has_neither_fracture_nor_hardware() {
        let p = first(
            "construct.layout = \"bare_bone\"\nscrews.independent_1.hold = \"lag\"\nbone.shaft_diameter_mm = 20\n",
        );
        assert!(p.construct.plates.is_empty() && p.construct.independent.is_empty());
        assert!(p.construct.fracture.is_none());
        assert_eq!(p.construct.bone.shaft_diameter_mm, 20.0);
        assert!(p.interfaces.clamp_n == [0.0; 2] && p.interfaces.named.is_empty());
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
        assert_eq!(meets(PlateSite::Lateral), Meeting::Apart);
        let [third, fourth] = [3, 4].map(ScrewNumber);
        assert_eq!(i.shank_in_bone(third).meeting, Meeting::Frictionless);
        assert_eq!(i.shank_in_bone(fourth).meeting, Meeting::Bonded);
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
        let text = "interfaces.plate_bone = \"frictional\"\n[factors]\n\"interfaces.friction\" = [0.5, 0.6]\n";
        assert_eq!(all(text), [0.5; 4]);
    }

    #[test]
    fn shanks_alone_can_be_threaded() {
        let text = "[interfaces]\nscrew_bone = \"threaded\"\nscrew.03.bone = \"bonded\"\n";
        let i = first(text).interfaces;
        let [third, fourth] = [3, 4].map(|n| i.shank_in_bone(ScrewNumber(n)));
        assert_eq!(
            (third.meeting, fourth.meeting),
            (Meeting::Bonded, Meeting::Threaded)
        );
        assert_eq!(i.head_in_seat(ScrewNumber(4)).meeting, Meeting::Bonded);
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
            keys().row(keys().materials.cortical.young).default,
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
        let alike = "materials.cortical.symmetry = \"isotropic\"";
        assert_eq!(first(alike).materials.transverse, None);
        let text = "[materials]\ncortical.young_mpa = 8500.0\n";
        let bone = first(text).materials.transverse.unwrap();
        assert_eq!((bone.axial_mpa, bone.transverse_mpa), (8_500.0, 5_750.0));
        assert_eq!(bone.axial_shear_mpa, 1_650.0);
    }
}
