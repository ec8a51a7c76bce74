//! Interfaces of a construct that press, slide and lift: the split mesh, their laws, tightened screws.

use crate::clamp;
use crate::role::Role;
use crate::slab::slab;
use bicolumn_base::{Part, PlateSite, ScrewNumber, UnitVec3, Vec3};
use bicolumn_contact::{Interfaces, Law, Preload, Step};
use bicolumn_geometry::{Construct, Head, Screw, ScrewRow};
use bicolumn_job::{InterfaceInputs, InterfaceKind, Meeting, NamedInterface, Refusal, Side, keys};
use bicolumn_mesh::{FacetPair, Interface, PairKind, PairSet, SplitMesh, TetMesh, split_into};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Interfaces, laws and steps of a contact solution, beside the problem.
#[derive(Debug)]
pub struct ContactModel {
    /// The interfaces, with laws and gaps.
    pub interfaces: Interfaces,
    /// Role of each of their sets.
    pub roles: Vec<Role>,
    /// Their facet pairs.
    pub pairs: Vec<FacetPair>,
    /// Least area of a patch that their corners are gathered into, mm².
    pub patch_mm2: f64,
    /// Gap added by set to that of the mesh, mm.
    pub added_gap_mm: Vec<f64>,
    /// Screws that are tightened, then plates that slide while the fracture is clamped.
    pub preloads: Vec<Preload>,
    /// How many of them are screws.
    pub tightened: usize,
    /// Steps of preparation, before any load.
    pub steps: Vec<Step>,
    /// Increments of each load case.
    pub increments: usize,
}

/// Why the interfaces asked for cannot be had from a construct; `None` where they can.
pub(crate) fn refusal(construct: &Construct, inputs: &InterfaceInputs) -> Option<Refusal> {
    let clamp = clamp::refusal(construct, inputs);
    let named = || {
        let mut named = inputs.named.iter();
        named.find_map(|n| no_such_interface(construct, n))
    };
    clamp.or_else(named).or_else(|| {
        let mut screws = construct.screws.iter();
        screws.find_map(|s| impossible_preload(construct, s, inputs))
    })
}

/// An interface of a part that the construct does not have.
fn no_such_interface(construct: &Construct, named: &NamedInterface) -> Option<Refusal> {
    let list = |parts: Vec<Part>| match parts.is_empty() {
        true => "none".to_string(),
        false => parts
            .iter()
            .map(Part::to_string)
            .collect::<Vec<_>>()
            .join(", "),
    };
    let screws = |has: &dyn Fn(&Screw) -> bool| -> Vec<Part> {
        let screws = construct.screws.iter().filter(|s| has(s));
        screws.map(|s| Part::Screw(s.number)).collect()
    };
    let (accepted, why) = match (named.part, named.side) {
        (Part::Screw(_), Side::Bone) => (screws(&|_| true), "this construct has no such screw"),
        (Part::Screw(_), Side::Seat) => (
            screws(&|s| s.head != Head::Locked),
            "this construct has no such screw with a head that is not locked",
        ),
        _ => {
            let plates = construct.plates.iter().map(|p| Part::Plate(p.site));
            (plates.collect(), "this construct has no such plate")
        }
    };
    (!accepted.contains(&named.part)).then(|| {
        let path = keys().path(named.key);
        Refusal {
            reason: format!("{path}: {why}; accepted: {}", list(accepted)),
            keys: vec![named.key],
        }
    })
}

fn impossible_preload(
    construct: &Construct,
    screw: &Screw,
    inputs: &InterfaceInputs,
) -> Option<Refusal> {
    let force = preload_n(construct, screw, inputs);
    if force == 0.0 {
        return None;
    }
    let stands_off = construct
        .plates
        .iter()
        .any(|p| Some(p.site) == screw.plate && p.stand_off_mm > 0.0);
    let seat = keys().interfaces.head_seat.meeting.id();
    let plate = keys().interfaces.plate_bone.meeting.id();
    let path = |key| keys().path(key);
    let (reason, causes) = match screw.head {
        Head::OnBone { .. } if screw.glides_in.is_none() => (
            "it does not glide; its hold must be lag".to_string(),
            vec![],
        ),
        _ if inputs.head_in_seat(screw.number).meeting.is_fixed() => {
            let path = path(seat);
            let why = format!("its head is bonded; {path} must be frictional or frictionless");
            (why, vec![seat])
        }
        Head::Seated { .. } if stands_off => {
            let path = path(plate);
            let why = format!(
                "its plate stands off the bone, which nothing would stop it from crossing; {path} must not be apart"
            );
            (why, vec![plate])
        }
        _ => return None,
    };
    let name = screw.number;
    Some(Refusal {
        reason: format!("{name} cannot take a preload of {force} N: {reason}"),
        keys: causes,
    })
}

/// Width of the smallest patch that a law holds for, as a share of the finest cells: smaller facets, which the
/// shape of a seat or of the edge of a hole makes, resolve more than the displacements beside them.
const PATCH_SHARE: f64 = 0.3;

/// Splits a mesh, made with cells of `finest_mm` at the finest, at the interfaces that can open or slide; `None`
/// where there are none.
///
/// # Errors
/// What stands in the way: the split of the mesh, a clamp that finds no bone.
pub(crate) fn contact_model(
    construct: &Construct,
    mesh: &TetMesh,
    inputs: &InterfaceInputs,
    finest_mm: f64,
) -> Result<Option<(Arc<TetMesh>, ContactModel)>, String> {
    // The facets of a set all have the same role and law.
    let found = RefCell::new(BTreeMap::new());
    let split = split_into(mesh, |i| {
        let (set, role, law) = role(construct, i, inputs)?;
        found.borrow_mut().insert(set.clone(), (role, law));
        Some(set)
    })
    .map_err(|e| e.to_string())?;
    if split.pairs.is_empty() {
        return Ok(None);
    }
    let found = found.into_inner();
    let mut interfaces = Interfaces::with_laws(&split, |set| {
        found.get(set).map_or(Law::Bonded, |(_, law)| *law)
    });
    let roles = split.sets.iter().filter_map(|s| found.get(s).map(|f| f.0));
    let roles: Vec<Role> = roles.collect();
    let least_mm2 = (PATCH_SHARE * finest_mm).powi(2);
    interfaces = interfaces.coarsened(|_, _| least_mm2);
    let added_gap_mm = |set: &PairSet| match set.kind {
        PairKind::PlateOnBone => inputs.contact_gap_mm,
        _ => 0.0,
    };
    if inputs.contact_gap_mm > 0.0 {
        interfaces.add_gap(|set| added_gap_mm(set) > 0.0, |_| inputs.contact_gap_mm);
    }
    let added_gap_mm = interfaces.sets().iter().map(added_gap_mm).collect();
    let mut preloads: Vec<Preload> = construct
        .screws
        .iter()
        .filter_map(|s| preload(construct, s, &split, &roles, inputs))
        .collect();
    let tightened = preloads.len();
    preloads.extend(clamp::cuts(construct, &split.mesh, inputs));
    let mut steps = vec![];
    if tightened > 0 {
        steps.push(Step {
            name: "preload".to_owned(),
            tightened: (0..tightened).collect(),
            increments: 1,
            ..Step::default()
        });
    }
    let cuts = (tightened..preloads.len()).collect();
    let clamp = clamp::step(construct, &split.mesh, inputs, cuts);
    steps.extend(clamp.map_err(|e| e.to_string())?);
    let slips = interfaces.laws().iter().any(|l| l.friction() > 0.0);
    let model = ContactModel {
        interfaces,
        roles,
        pairs: split.pairs,
        patch_mm2: least_mm2,
        added_gap_mm,
        tightened,
        preloads,
        steps,
        increments: if slips { inputs.increments } else { 1 },
    };
    Ok(Some((Arc::new(split.mesh), model)))
}

/// The law of an interface in a contact problem; `None` where there is nothing to solve. `thread`: the axis of
/// a shank. A job file can thread nothing else; without an axis friction is all there is.
fn law(kind: InterfaceKind, thread: Option<UnitVec3>) -> Option<Law> {
    let mu = kind.friction;
    match kind.meeting {
        Meeting::Apart | Meeting::Bonded => None,
        Meeting::Frictional => Some(Law::Frictional { mu }),
        Meeting::Frictionless => Some(Law::Frictionless),
        Meeting::Threaded => Some(match thread {
            Some(axis) => Law::Threaded { mu, axis },
            None => Law::Frictional { mu },
        }),
    }
}

/// The set, the role and the law of a facet between two parts; `None` where they are one.
fn role(
    construct: &Construct,
    i: &Interface,
    inputs: &InterfaceInputs,
) -> Option<(PairSet, Role, Law)> {
    let named = |name: String| PairSet { kind: i.kind, name };
    match i.kind {
        PairKind::PlateOnBone => {
            let site = [i.a, i.b].into_iter().find_map(|p| match p {
                Part::Plate(site) => Some(site),
                _ => None,
            })?;
            let law = law(inputs.plate_on_bone(site), None)?;
            Some((PairSet::of(i), Role::Plate, law))
        }
        PairKind::FractureFaces => {
            let both_distal = [i.a, i.b]
                .iter()
                .all(|p| matches!(p, Part::Bone(f, _) if f.is_distal()));
            let (name, role) = match both_distal {
                true => ("split", Role::Split),
                false => ("fracture", Role::Fracture),
            };
            Some((
                named(name.to_owned()),
                role,
                law(inputs.fracture_faces, None)?,
            ))
        }
        PairKind::ScrewInPlate => {
            let screw = screw_of(construct, i)?;
            let is_seated = matches!(screw.head, Head::Seated { .. });
            let law = law(inputs.head_in_seat(screw.number), None).filter(|_| is_seated)?;
            Some((named(format!("{}-seat", screw.number)), Role::Seat, law))
        }
        PairKind::ScrewInBone => {
            let screw = screw_of(construct, i)?;
            let head = law(inputs.head_in_seat(screw.number), None);
            if is_under_head(screw, i) {
                let set = named(format!("{}-head", screw.number));
                return Some((set, Role::UnderHead, head?));
            }
            let glides = matches!(i.a, Part::Bone(f, _) if screw.glides_in == Some(f));
            if glides && head.is_some() {
                let set = named(format!("{}-glide", screw.number));
                return Some((set, Role::Glide, Law::Apart));
            }
            let axis = UnitVec3::new_normalize(screw.direction);
            let law = law(inputs.shank_in_bone(screw.number), Some(axis))?;
            Some((PairSet::of(i), Role::Shank, law))
        }
    }
}

fn screw_of<'a>(construct: &'a Construct, i: &Interface) -> Option<&'a Screw> {
    let number = |p| match p {
        Part::Screw(n) => Some(n),
        _ => None,
    };
    let n: ScrewNumber = number(i.a).or(number(i.b))?;
    construct.screws.iter().find(|s| s.number == n)
}

/// Does a facet lie under a head that rests on bone? There the normal follows the axis, and the shank is
/// not near.
fn is_under_head(screw: &Screw, i: &Interface) -> bool {
    let Head::OnBone { .. } = screw.head else {
        return false;
    };
    let at = i.centroid - screw.entry;
    let along = at.dot(&screw.direction);
    let off = (at - screw.direction * along).norm();
    off > 0.5 * screw.diameter_mm && i.normal.dot(&screw.direction).abs() > 0.5
}

/// Preload asked for, N; 0: none, as for every locked head.
fn preload_n(construct: &Construct, screw: &Screw, inputs: &InterfaceInputs) -> f64 {
    if screw.head == Head::Locked {
        return 0.0;
    }
    let of_plate = |row: usize| {
        let other = screw.plate.is_some_and(|p| p != PlateSite::Medial);
        inputs.plate_preload_n[usize::from(other)][row]
    };
    match screw.row {
        ScrewRow::Shaft => of_plate(0),
        ScrewRow::Distal => of_plate(1),
        ScrewRow::Independent => {
            let n = construct
                .screws
                .iter()
                .filter(|s| s.row == ScrewRow::Independent)
                .position(|s| s.number == screw.number);
            n.and_then(|n| inputs.independent_preload_n.get(n).copied())
                .unwrap_or(0.0)
        }
    }
}

/// The cut of a screw that is tightened: across its free shank, the head's side pulled.
fn preload(
    construct: &Construct,
    screw: &Screw,
    split: &SplitMesh,
    roles: &[Role],
    inputs: &InterfaceInputs,
) -> Option<Preload> {
    let force_n = preload_n(construct, screw, inputs);
    if force_n == 0.0 {
        return None;
    }
    let mesh = &split.mesh;
    let along = |x: Vec3| (x - screw.entry).dot(&screw.direction);
    let middle = match screw.head {
        // Between the head's lowest point and the bone.
        Head::Seated {
            centre, radius_mm, ..
        } => 0.5 * (along(centre) + radius_mm),
        // Half-way down the hole that it glides in.
        _ => {
            let own = |p: &&FacetPair| {
                let tet = mesh.facets[p.facets[1] as usize].tet;
                roles[usize::from(p.set)] == Role::Glide
                    && mesh.part_of(tet as usize) == Part::Screw(screw.number)
            };
            let nodes = split.pairs.iter().filter(own).flat_map(|p| p.a);
            0.5 * nodes
                .map(|n| along(mesh.nodes[n as usize]))
                .fold(0.0, f64::max)
        }
    };
    let (tets, pulled) = slab(mesh, Part::Screw(screw.number), |x| along(x) < middle);
    Some(Preload {
        name: screw.number.to_string(),
        force_n,
        axis: (-screw.direction).into(),
        pulled,
        tets,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bones::BoneCache;
    use crate::model_build::build_model;
    use bicolumn_contact::CaseReport;
    use bicolumn_job::{Job, Plan, resolve};
    use bicolumn_measure::CaseContact;
    use bicolumn_mesh::mesh_construct;
    use std::path::Path;
    use std::sync::LazyLock;

    /// Coarse: thick parts, few screws.
    const COARSE: &str = "construct.layout = \"medial_only\"\nbone.septum_thickness_mm = 3.5\nplates.thickness_mm = 3\nscrews.shaft_count = 2\nscrews.distal_count = 1\nscrews.shaft_diameter_mm = 3.2\nscrews.distal_diameter_mm = 3.2\nbone.potting_level_mm = 100\nplates.end_level_mm = 70\nmesh.finest_mm = 3\nmesh.growth = 1.5\nmesh.wall_ratio = 3\n";

    /// Bones that the tests share.
    fn bones() -> &'static BoneCache {
        static ALL: LazyLock<BoneCache> = LazyLock::new(BoneCache::default);
        &ALL
    }

    fn built(text: &str) -> (Construct, TetMesh, InterfaceInputs) {
        let job = Job::parse(Path::new("x.toml"), &format!("{COARSE}{text}")).unwrap();
        let inputs = resolve(&job, &Plan::of(&job).unwrap().points[0]);
        let construct = bones().construct(&inputs.construct).unwrap();
        let mesh = mesh_construct(&construct, &inputs.sizing).unwrap();
        (construct, mesh, inputs.interfaces)
    }

    #[test]
    fn a_tightened_plate_has_its_sets_laws_and_cuts() {
        let (construct, mesh, inputs) = built(
            "interfaces.plate_bone = \"frictional\"\ninterfaces.head_seat = \"frictionless\"\nscrews.shaft_hold = \"non_locking\"\nscrews.shaft_preload_n = 250\n",
        );
        assert_eq!(refusal(&construct, &inputs), None);
        let (split, model) = contact_model(&construct, &mesh, &inputs, 2.4)
            .unwrap()
            .unwrap();
        let sets = model.interfaces.sets().iter().zip(model.interfaces.laws());
        let found: Vec<(String, Law)> = sets.map(|(s, l)| (s.name.clone(), *l)).collect();
        let expected = [
            ("plate.medial-bone", Law::Frictional { mu: 0.3 }),
            ("screw.01-seat", Law::Frictionless),
            ("screw.02-seat", Law::Frictionless),
        ];
        assert_eq!(found, expected.map(|(n, l)| (n.to_string(), l)));
        assert_eq!(model.roles, [Role::Plate, Role::Seat, Role::Seat]);
        assert_eq!(model.preloads.len(), 2);
        assert_eq!(model.steps[0].tightened, [0, 1]);
        for (p, screw) in model.preloads.iter().zip(&construct.screws) {
            assert_eq!(
                (p.name.clone(), p.force_n),
                (screw.number.to_string(), 250.0)
            );
            // What is pulled belongs to the screw alone: every element that touches it is the screw's.
            for (t, tet) in split.tets.iter().enumerate() {
                if tet.iter().any(|n| p.pulled.contains(n)) {
                    assert_eq!(split.part_of(t), Part::Screw(screw.number));
                }
            }
        }
    }

    #[test]
    fn a_threaded_shank_knows_its_axis() {
        let (construct, mesh, inputs) = built("interfaces.screw_bone = \"threaded\"\n");
        let (_, model) = contact_model(&construct, &mesh, &inputs, 2.4)
            .unwrap()
            .unwrap();
        let sets = model.interfaces.sets().iter().zip(model.interfaces.laws());
        assert_eq!(sets.len(), construct.screws.len());
        for ((set, law), screw) in sets.zip(&construct.screws) {
            assert_eq!(set.name, format!("{}-bone", screw.number));
            let axis = UnitVec3::new_normalize(screw.direction);
            assert_eq!(*law, Law::Threaded { mu: 0.3, axis });
        }
    }

    #[test]
    fn one_part_by_name_meets_otherwise_and_a_part_that_is_not_there_is_refused() {
        let loose = "screws.shaft_hold = \"non_locking\"\ninterfaces.plate_bone = \"bonded\"\n";
        let text = format!(
            "{loose}interfaces.screw.02.seat = \"frictional\"\ninterfaces.screw.02.seat_friction = 0.1\ninterfaces.screw.03.bone = \"frictionless\"\n"
        );
        let (construct, mesh, inputs) = built(&text);
        assert_eq!(refusal(&construct, &inputs), None);
        let (_, model) = contact_model(&construct, &mesh, &inputs, 2.4)
            .unwrap()
            .unwrap();
        let sets = model.interfaces.sets().iter().zip(model.interfaces.laws());
        let found: Vec<(&str, Law)> = sets.map(|(s, l)| (s.name.as_str(), *l)).collect();
        let expected = [
            ("screw.03-bone", Law::Frictionless),
            ("screw.02-seat", Law::Frictional { mu: 0.1 }),
        ];
        assert_eq!(found, expected);
        assert_eq!(model.roles, [Role::Shank, Role::Seat]);

        for (line, told) in [
            (
                "interfaces.screw.04.bone = \"frictional\"\n",
                "interfaces.screw.04.bone: this construct has no such screw; accepted: screw.01, screw.02, screw.03",
            ),
            (
                "interfaces.screw.03.seat = \"frictional\"\n",
                "interfaces.screw.03.seat: this construct has no such screw with a head that is not locked; accepted: screw.01, screw.02",
            ),
            (
                "interfaces.plate.lateral.bone = \"apart\"\n",
                "interfaces.plate.lateral.bone: this construct has no such plate; accepted: plate.medial",
            ),
        ] {
            let job = Job::parse(Path::new("x.toml"), &format!("{COARSE}{loose}{line}")).unwrap();
            let inputs = resolve(&job, &Plan::of(&job).unwrap().points[0]);
            assert_eq!(
                refusal(&construct, &inputs.interfaces)
                    .map(|r| r.reason)
                    .as_deref(),
                Some(told)
            );
        }
    }

    #[test]
    fn bonded_interfaces_need_no_contact_and_impossible_preloads_are_refused() {
        let locking = "screws.shaft_preload_n = 250\n";
        let (construct, mesh, inputs) = built(locking);
        assert_eq!(refusal(&construct, &inputs), None, "locked heads take none");
        assert!(
            contact_model(&construct, &mesh, &inputs, 2.4)
                .unwrap()
                .is_none()
        );
        let loose = "screws.shaft_hold = \"non_locking\"\n";
        for (text, word) in [
            ("interfaces.plate_bone = \"bonded\"\n", "its head is bonded"),
            ("interfaces.head_seat = \"frictional\"\n", "stands off"),
        ] {
            let job = format!("{COARSE}{locking}{loose}{text}");
            let job = Job::parse(Path::new("x.toml"), &job).unwrap();
            let inputs = resolve(&job, &Plan::of(&job).unwrap().points[0]);
            let construct = bones().construct(&inputs.construct).unwrap();
            let reason = refusal(&construct, &inputs.interfaces).unwrap().reason;
            assert!(
                reason.contains(word) && reason.contains("screw.01"),
                "{reason}"
            );
        }
    }

    const CLAMPED: &str =
        "interfaces.fracture_faces = \"frictional\"\ninterfaces.clamp_medial_n = 100\n";

    #[test]
    fn a_clamp_needs_a_closed_fracture_whose_faces_press_and_plates_that_slide() {
        for (text, word) in [
            (CLAMPED, "gap of 5 mm is open"),
            (
                "fracture.gap_mm = 0\ninterfaces.clamp_lateral_n = 100\n",
                "faces are bonded",
            ),
            (
                &format!("fracture.gap_mm = 0\ninterfaces.plate_bone = \"bonded\"\n{CLAMPED}"),
                "cannot slide",
            ),
        ] {
            let job = Job::parse(Path::new("x.toml"), &format!("{COARSE}{text}")).unwrap();
            let inputs = resolve(&job, &Plan::of(&job).unwrap().points[0]);
            let construct = bones().construct(&inputs.construct).unwrap();
            let reason = refusal(&construct, &inputs.interfaces).unwrap().reason;
            assert!(reason.contains(word), "{reason}");
        }
    }

    #[test]
    fn a_clamped_fracture_keeps_part_of_the_clamp() {
        // Without friction the faces have one unknown a point: quicker.
        let text = format!(
            "{COARSE}loads.cases = [\"axial\"]\nsolve.tolerance = 1e-5\nfracture.gap_mm = 0\n{CLAMPED}"
        );
        let text = text.replace("frictional", "frictionless");
        let job = Job::parse(Path::new("x.toml"), &text).unwrap();
        let inputs = resolve(&job, &Plan::of(&job).unwrap().points[0]);
        let model = build_model(&inputs, bones()).unwrap();
        let contact = model.contact.as_ref().unwrap();
        assert_eq!((contact.tightened, contact.preloads.len()), (0, 1));
        // The jaws balance.
        let forces = &contact.steps[0].forces;
        let nodes = &model.problem.mesh().nodes;
        let sum: Vec3 = forces.iter().map(|f| f.1).sum();
        let moment: Vec3 = forces
            .iter()
            .map(|(n, f)| nodes[*n as usize].cross(f))
            .sum();
        assert!(sum.norm() < 1e-9 && moment.norm() < 1e-7, "{sum} {moment}");
        let found = model.solve(&inputs, 2, &|_| {}).unwrap();
        let reports = found.contact.unwrap();
        let [clamp, release] = &reports.steps[..] else {
            panic!("{:?}", reports.steps)
        };
        let face = |r: &CaseReport| {
            let set = r.sets.iter().find(|s| s.name == "fracture").unwrap();
            set.pressure_mean_mpa * set.contact_area_mm2
        };
        // What the jaws squeeze passes the faces, for the most part along the clamp.
        assert!((90.0..120.0).contains(&face(clamp)), "{}", face(clamp));
        assert!(clamp.section_forces_n[0].abs() < 1e-3);
        let Some(CaseContact::Converged(state)) = reports.states.first() else {
            panic!("{:?}", reports.states)
        };
        let left = state.compression_n.unwrap();
        let kept: f64 = left.iter().sum();
        assert!((kept - face(release)).abs() < 1e-6);
        assert!(
            kept > 1.0 && kept < 0.9 * face(clamp),
            "{left:?} of {}",
            face(clamp)
        );
        // The plate on that side pulls.
        assert!(
            release.section_forces_n[0] > 1.0,
            "{:?}",
            release.section_forces_n
        );
    }
}
