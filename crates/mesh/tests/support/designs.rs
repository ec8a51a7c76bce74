//! Random designs of the whole construct on real bones, by seed.

use crate::random::Random;
use bicolumn_base::Vec3;
use bicolumn_geometry::{
    Bone, BoneSpec, Construct, ConstructSpec, FractureSpec, HeadSide, IndependentScrewSpec,
    ScrewHold, SplitSpec,
};
use bicolumn_mesh::LatticePose;
use std::sync::{Arc, OnceLock};

/// So many seeds in a row share a bone: building one takes seconds.
const SEEDS_PER_BONE: u64 = 10;
/// Bones of different size and septum.
const BONES: usize = 9;
/// Septum thicknesses of the bones, mm.
const SEPTA_MM: [f64; 3] = [1.0, 1.5, 2.5];
/// Draws from one seed before it is given up as infeasible.
const DRAWS: usize = 60;

/// A design and where the lattice lies for it.
pub(crate) struct Design {
    pub(crate) construct: Construct,
    pub(crate) spec: ConstructSpec,
    pub(crate) pose: LatticePose,
    pub(crate) text: String,
    /// Draws that the geometry refused before this one.
    pub(crate) refused: usize,
}

/// The design of a seed: two plates with locking screws across an open gap. `None` when no draw
/// was feasible.
pub(crate) fn of_seed(seed: u64) -> Option<Design> {
    draw(seed, |_, _| Vec::new())
}

/// The same with some of: a split articular block, a reduced fracture, slots, non-locking heads, a
/// screw without a plate.
pub(crate) fn with_features(seed: u64) -> Option<Design> {
    draw(seed, add_features)
}

fn draw(
    seed: u64,
    features: impl Fn(&mut Random, &mut ConstructSpec) -> Vec<&'static str>,
) -> Option<Design> {
    let which = ((seed / SEEDS_PER_BONE) % BONES as u64) as usize;
    let bone = bone(which);
    let mut r = Random::new(seed);
    let mut extra = Random::new(seed ^ 0xfea7);
    for refused in 0..DRAWS {
        let mut spec = random_spec(&mut r, bone.spec().clone());
        let with = features(&mut extra, &mut spec);
        let pose = random_pose(&mut r);
        if let Ok(construct) = Construct::on_bone(bone.clone(), &spec) {
            let mut text = describe(which, &spec, &construct);
            for feature in with {
                text += &format!(", {feature}");
            }
            return Some(Design {
                construct,
                spec,
                pose,
                text,
                refused,
            });
        }
    }
    None
}

/// Bone of an index, built once.
fn bone(which: usize) -> &'static Arc<Bone> {
    static ALL: [OnceLock<Arc<Bone>>; BONES] = [const { OnceLock::new() }; BONES];
    ALL[which].get_or_init(|| {
        let preset = [
            BoneSpec::mean_adult,
            BoneSpec::small_adult,
            BoneSpec::large_adult,
        ][which % 3];
        let spec = BoneSpec {
            septum_thickness_mm: SEPTA_MM[(which + which / 3) % 3],
            ..preset()
        };
        Arc::new(Bone::build(&spec).unwrap())
    })
}

impl Design {
    /// Designs next to this one: a screw in the middle 0.2 mm thinner; all plates and their screws
    /// 0.5 mm farther up the bone. `None` where that is refused.
    pub(crate) fn neighbours(&self) -> [Option<Construct>; 2] {
        let bone = self.construct.bone.clone();
        let thinner = Construct::on_bone(bone.clone(), &self.spec).ok();
        let thinner = thinner.map(|mut c| {
            let middle = c.screws.len() / 2;
            c.screws[middle].diameter_mm -= 0.2;
            c
        });
        let mut higher = self.spec.clone();
        for p in &mut higher.plates {
            p.end_level_mm += 0.5;
            p.distal_hole_level_mm += 0.5;
        }
        [thinner, Construct::on_bone(bone, &higher).ok()]
    }
}

fn random_spec(r: &mut Random, bone: BoneSpec) -> ConstructSpec {
    let mut spec = if r.unit() < 0.5 {
        ConstructSpec::parallel()
    } else {
        ConstructSpec::orthogonal()
    };
    // Just above the fossa on every preset; a lower level is refused on the large bone.
    spec.fracture = Some(FractureSpec {
        level_mm: r.between(33.0, 40.0),
        gap_mm: r.between(2.0, 8.0),
        inclination_deg: r.between(-12.0, 12.0),
        ..FractureSpec::default()
    });
    spec.bone = bone;
    let pick = |r: &mut Random, from: &[f64]| from[(r.unit() * from.len() as f64) as usize];
    let (shaft, distal) = (r.between(1.8, 3.2), r.between(1.8, 2.7));
    let bicortical = r.unit() < 0.8;
    for p in &mut spec.plates {
        p.end_level_mm = r.between(75.0, 118.0);
        p.width_mm = r.between(8.0, 11.0);
        p.thickness_mm = r.between(1.5, 3.5);
        p.stand_off_mm = pick(r, &[0.0, 0.3, 0.5, 1.0, 2.0]);
        p.shaft_screws = 2 + (r.unit() * 3.0) as usize;
        p.distal_screws = 2 + (r.unit() * 3.0) as usize;
        p.shaft_screw_diameter_mm = shaft;
        p.distal_screw_diameter_mm = distal;
        p.hole_diameter_mm = r.between(3.5, 5.0);
        p.hole_pitch_mm = r.between(10.0, 14.0);
        p.bicortical = bicortical;
    }
    spec
}

/// Adds features to a design, each with some probability; returns their names.
fn add_features(r: &mut Random, spec: &mut ConstructSpec) -> Vec<&'static str> {
    let mut names = Vec::new();
    let mut with = |r: &mut Random, share: f64, name: &'static str| {
        let has = r.unit() < share;
        if has {
            names.push(name);
        }
        has
    };
    let mut in_contact = false;
    if let Some(fracture) = &mut spec.fracture {
        if with(r, 0.3, "reduced") {
            fracture.gap_mm = 0.0;
            in_contact = true;
        }
        if with(r, 0.4, "split") {
            let gap_mm = if with(r, 0.3, "split open") {
                r.between(0.5, 2.5)
            } else {
                in_contact = true;
                0.0
            };
            fracture.split = Some(SplitSpec {
                gap_mm,
                offset_mm: r.between(-2.0, 2.0),
                inclination_deg: r.between(5.0, 20.0),
            });
        }
    }
    let slotted = with(r, 0.4, "slots");
    let shaft_presses = with(r, 0.4, "shaft screws non-locking");
    let distal_presses = with(r, 0.25, "distal screws non-locking");
    let (slot_mm, tilt) = (r.between(1.5, 4.0), r.between(-12.0, 12.0));
    for p in &mut spec.plates {
        if slotted {
            p.slot_mm = slot_mm;
        }
        if shaft_presses {
            p.shaft_hold = ScrewHold::NonLocking;
            p.shaft_screw_tilt_deg = tilt;
        }
        if distal_presses {
            p.distal_hold = ScrewHold::NonLocking;
        }
    }
    if with(r, 0.35, "a screw without a plate") {
        let lag = in_contact && r.unit() < 0.6;
        let from_lateral = r.unit() < 0.5;
        spec.independent.push(IndependentScrewSpec {
            hold: if lag {
                ScrewHold::Lag
            } else {
                ScrewHold::Positional
            },
            from: if from_lateral {
                HeadSide::Lateral
            } else {
                HeadSide::Medial
            },
            level_mm: r.between(-3.0, 3.0),
            anterior_mm: r.between(-1.0, 4.0),
            inclination_deg: r.between(-5.0, 5.0),
            turn_deg: r.between(-5.0, 5.0),
            diameter_mm: r.between(1.8, 2.7),
            length_mm: r.between(25.0, 50.0),
        });
    }
    names
}

fn random_pose(r: &mut Random) -> LatticePose {
    LatticePose {
        shift_mm: std::array::from_fn(|_| r.between(-1.0, 1.0)),
        rotation_rad: std::array::from_fn(|_| r.between(-0.8, 0.8)),
    }
}

fn describe(which: usize, spec: &ConstructSpec, c: &Construct) -> String {
    let per_plate = |f: &dyn Fn(usize) -> String| (0..2).map(f).collect::<Vec<_>>().join("/");
    format!(
        "bone {which} septum {}, {}, {} screws of {:.1} and {:.1} mm, plates {} mm thick, {} mm off",
        spec.bone.septum_thickness_mm,
        per_plate(&|i| c.plates[i].site.to_string()),
        c.screws.len(),
        spec.plates[0].shaft_screw_diameter_mm,
        spec.plates[0].distal_screw_diameter_mm,
        per_plate(&|i| format!("{:.1}", spec.plates[i].thickness_mm)),
        per_plate(&|i| format!("{:.1}", spec.plates[i].stand_off_mm)),
    )
}

/// Turns and stretches screws at random, past every check of the geometry: they may meet each other,
/// graze surfaces, miss the bone.
pub(crate) fn spoil(construct: &mut Construct, seed: u64) {
    let mut r = Random::new(seed ^ 0x5eed);
    for s in &mut construct.screws {
        let turn = Vec3::from_fn(|_, _| r.between(-0.3, 0.3));
        s.direction = (s.direction + turn).normalize();
        s.length_mm *= r.between(0.4, 1.6);
    }
}
