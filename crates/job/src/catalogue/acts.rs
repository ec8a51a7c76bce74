//! Keys that act only with others: one table of conditions.

use super::Keys;
use crate::handle::{Key, KeyId};
use crate::key::{Acts, Fallback};
use crate::settings::Settings;
use crate::words::{
    DensityChoice, Filling, FracturePattern, IndependentHold, Layout, Meeting, PlateKind,
    ProximalSupport, Symmetry,
};
use bicolumn_base::Word;
use bicolumn_geometry::{ColumnContact, ScrewHold};
use bicolumn_model::NamedLoad;

/// Conditions of all keys, the general ones first. A key without a row acts always.
pub(super) fn conditions(keys: &Keys) -> Vec<(KeyId, Acts)> {
    let mut table = Table::default();
    general(keys, &mut table);
    of_bone(keys, &mut table);
    of_fracture(keys, &mut table);
    of_plates_and_screws(keys, &mut table);
    of_interfaces(keys, &mut table);
    of_loads(keys, &mut table);
    table.rows
}

#[derive(Default)]
struct Table {
    rows: Vec<(KeyId, Acts)>,
}

impl Table {
    /// A condition that some keys share; `told` follows "acts only".
    fn add(
        &mut self,
        some: impl IntoIterator<Item = KeyId>,
        told: &'static str,
        when: impl Fn(&Settings) -> bool + Copy + Send + Sync + 'static,
    ) {
        self.put(some, told, false, when);
    }

    fn put(
        &mut self,
        some: impl IntoIterator<Item = KeyId>,
        told: &'static str,
        is_general: bool,
        when: impl Fn(&Settings) -> bool + Copy + Send + Sync + 'static,
    ) {
        for key in some {
            let when = Box::new(when);
            self.rows.push((
                key,
                Acts {
                    told,
                    is_general,
                    when,
                },
            ));
        }
    }
}

/// Keys that a setting of a point is read by, each once.
#[derive(Clone, Copy)]
struct Look {
    keys: &'static Keys,
}

fn look() -> Look {
    Look {
        keys: super::keys(),
    }
}

impl Look {
    fn plates(self, s: &Settings) -> &'static [PlateKind] {
        s.get(self.keys.construct.layout).plates()
    }

    fn has_hardware(self, s: &Settings) -> bool {
        s.get(self.keys.construct.layout) != Layout::BareBone
    }

    fn is_broken(self, s: &Settings) -> bool {
        self.has_hardware(s) && s.get(self.keys.fracture.pattern) != FracturePattern::None
    }

    fn is_split(self, s: &Settings) -> bool {
        self.has_hardware(s) && s.get(self.keys.fracture.pattern) == FracturePattern::Intercondylar
    }

    /// Do any faces of the fracture touch before loading?
    fn has_touching_faces(self, s: &Settings) -> bool {
        let k = &self.keys.fracture;
        let supracondylar = s.get(k.gap) == 0.0 || s.get(k.column_contact) != ColumnContact::None;
        self.is_broken(s) && supracondylar || self.is_split(s) && s.get(k.split_gap) == 0.0
    }

    /// How a plate of the layout meets the bone, and whether it has a coefficient of friction of its own.
    fn plate_meets(self, s: &Settings, which: PlateKind) -> (Meeting, bool) {
        let site = s.get(self.keys.construct.layout).site(which);
        let named = self.keys.interfaces.of_plate(site.into());
        let common = s.get(self.keys.interfaces.plate_bone.meeting);
        let own = s.get(named.friction).is_some();
        (s.get(named.meeting).unwrap_or(common), own)
    }

    fn has_plate_that(self, s: &Settings, meets: impl Fn(Meeting) -> bool) -> bool {
        let mut plates = self.plates(s).iter();
        plates.any(|which| meets(self.plate_meets(s, *which).0))
    }

    /// Is there a head that is not locked to its plate?
    fn has_loose_head(self, s: &Settings) -> bool {
        let screws = &self.keys.screws;
        let of_plate = |which: &PlateKind| {
            let rows = [&screws.shaft_hold, &screws.distal_hold];
            let mut holds = rows.into_iter().map(|row| s.get(row.of(*which)));
            holds.any(|hold| hold == ScrewHold::NonLocking)
        };
        let independent = |k: &super::screws::IndependentKeys| {
            self.has_hardware(s) && s.get(k.hold) != IndependentHold::None
        };
        self.plates(s).iter().any(of_plate) || screws.independent.iter().any(independent)
    }

    /// Does a part that a job names meet as asked on a side, without a coefficient of friction of its own?
    fn named_meets(self, s: &Settings, side: super::Side, meets: impl Fn(Meeting) -> bool) -> bool {
        let mut named = self.keys.interfaces.named();
        named.any(|n| {
            n.side == side
                && matches!(n.part, bicolumn_base::Part::Screw(_))
                && s.get(n.meeting).is_some_and(&meets)
                && s.get(n.friction).is_none()
        })
    }

    fn plates_rub(self, s: &Settings) -> bool {
        let mut plates = self.plates(s).iter();
        plates.any(|w| self.plate_meets(s, *w) == (Meeting::Frictional, false))
    }

    fn heads_rub(self, s: &Settings) -> bool {
        let rubs = |m| m == Meeting::Frictional;
        let common = s.get(self.keys.interfaces.head_seat.meeting);
        self.has_loose_head(s) && (rubs(common) || self.named_meets(s, super::Side::Seat, rubs))
    }

    fn shanks_rub(self, s: &Settings) -> bool {
        let rubs = |m| matches!(m, Meeting::Frictional | Meeting::Threaded);
        let common = s.get(self.keys.interfaces.screw_bone.meeting);
        self.has_hardware(s) && (rubs(common) || self.named_meets(s, super::Side::Bone, rubs))
    }

    fn faces_rub(self, s: &Settings) -> bool {
        let meeting = s.get(self.keys.interfaces.fracture_faces.meeting);
        self.has_touching_faces(s) && meeting == Meeting::Frictional
    }

    /// Does any interface press, slide or lift?
    fn has_contact(self, s: &Settings) -> bool {
        let k = &self.keys.interfaces;
        let is_free = |m: Meeting| !m.is_fixed();
        let named = |side| {
            let mut named = k.named();
            named.any(|n| n.side == side && s.get(n.meeting).is_some_and(is_free))
        };
        self.has_plate_that(s, is_free)
            || self.has_loose_head(s)
                && (is_free(s.get(k.head_seat.meeting)) || named(super::Side::Seat))
            || self.has_hardware(s)
                && (is_free(s.get(k.screw_bone.meeting)) || named(super::Side::Bone))
            || self.has_touching_faces(s) && is_free(s.get(k.fracture_faces.meeting))
    }
}

fn is_default(s: &Settings, key: KeyId) -> bool {
    s.setting(key).is_none_or(|setting| setting.is_default)
}

/// Conditions by the kind of key: hardware at all, the plate of that side, a plate without a value of its own.
fn general(keys: &Keys, table: &mut Table) {
    let all = || keys.rows.iter().enumerate().map(|(n, row)| (KeyId(n), row));
    let of_hardware = |path: &str| {
        let sections = ["plates.", "screws.", "interfaces.", "fracture."];
        sections.iter().any(|section| path.starts_with(section))
    };
    let more = [
        keys.construct.clearance.id(),
        keys.construct.fit.id(),
        keys.materials.plate.young.id(),
        keys.materials.plate.poisson.id(),
        keys.materials.screw.young.id(),
        keys.materials.screw.poisson.id(),
        keys.mesh.plate_ratio.id(),
        keys.mesh.screw_ratio.id(),
        keys.mesh.riser_ratio.id(),
        keys.materials.implant.id(),
    ];
    let hardware = all().filter(|(id, row)| of_hardware(&row.path) || more.contains(id));
    table.put(
        hardware.map(|(id, _)| id),
        "with another construct.layout than bare_bone",
        true,
        |s| look().has_hardware(s),
    );
    for which in PlateKind::ALL {
        let part = format!(".{}.", which.word());
        let of_plate = all().filter(|(_, row)| {
            let path = &row.path;
            path.contains(&part) && ["plates.", "screws."].iter().any(|s| path.starts_with(s))
        });
        let told = match which {
            PlateKind::Medial => "with a construct.layout that has a medial plate",
            PlateKind::Other => "with a construct.layout that has a plate beside the medial one",
        };
        let ids: Vec<KeyId> = of_plate.map(|(id, _)| id).collect();
        table.put(ids, told, true, move |s| look().plates(s).contains(&which));
    }
    // A key for both plates, by those that fall back to it.
    for (common, _) in all() {
        let falls_back = |row: &crate::key::KeyRow| matches!(&row.default, Fallback::Of(c) | Fallback::OfPlate(c, _) if *c == common);
        let own: Vec<KeyId> = all()
            .filter(|(_, r)| falls_back(r))
            .map(|(id, _)| id)
            .collect();
        if let [medial, other] = own[..] {
            table.put(
                [common],
                "where a plate of the layout has no value of its own",
                true,
                move |s| {
                    let own = |which: &PlateKind| match which {
                        PlateKind::Medial => medial,
                        PlateKind::Other => other,
                    };
                    let mut plates = look().plates(s).iter();
                    plates.any(|which| is_default(s, own(which)))
                },
            );
        }
    }
    // Presets.
    for (preset, _) in all() {
        let is_of = |row: &crate::key::KeyRow| matches!(&row.default, Fallback::Preset(p) if p.by == preset);
        let of_it: &'static [KeyId] = all()
            .filter(|(_, row)| is_of(row))
            .map(|(id, _)| id)
            .collect::<Vec<_>>()
            .leak();
        if !of_it.is_empty() {
            table.put(
                [preset],
                "where a value that it gives is not given by itself",
                true,
                move |s| of_it.iter().any(|id| is_default(s, *id)),
            );
        }
    }
}

fn of_bone(keys: &Keys, table: &mut Table) {
    let k = &keys.bone;
    table.add(
        [k.surface_unit.id()]
            .into_iter()
            .chain(k.landmarks.map(Key::id)),
        "with bone.surface_file",
        |s| s.get(look().keys.bone.surface_file).is_some(),
    );
    let m = &keys.materials;
    table.add(
        [m.cortical.poisson.id()],
        "with materials.cortical.symmetry = isotropic",
        |s| s.get(look().keys.materials.symmetry) == Symmetry::Isotropic,
    );
    table.add(
        [m.cancellous.young.id()],
        "with materials.cancellous.density_law = none",
        |s| s.get(look().keys.materials.density.law) == DensityChoice::None,
    );
    let d = &m.density;
    table.add(
        [d.core, d.rim_ratio, d.rim_depth, d.proximal_ratio].map(Key::id),
        "with a materials.cancellous.density_law",
        |s| s.get(look().keys.materials.density.law) != DensityChoice::None,
    );
    table.add(
        [d.rim_depth.id()],
        "where materials.cancellous.rim_density_ratio is not 1",
        |s| s.get(look().keys.materials.density.rim_ratio) != 1.0,
    );
}

fn of_fracture(keys: &Keys, table: &mut Table) {
    let k = &keys.fracture;
    table.add(
        [
            k.gap.id(),
            k.inclination.id(),
            k.column_contact.id(),
            k.filling.id(),
            keys.mesh.fracture_ratio.id(),
        ],
        "with a fracture (fracture.pattern)",
        |s| look().is_broken(s),
    );
    table.add(
        [k.level.id(), k.above_fossa.id()],
        "with a fracture (fracture.pattern), or where plates.end_above_fracture_mm counts from it",
        |s| {
            let counts = s.get(look().keys.plates.end_above_fracture).is_some();
            look().is_broken(s) || look().has_hardware(s) && counts
        },
    );
    table.add(
        [k.split_gap, k.split_offset, k.split_inclination].map(Key::id),
        "with fracture.pattern = intercondylar",
        |s| look().is_split(s),
    );
    let tissue = &keys.materials.gap_tissue;
    table.add(
        [tissue.young.id(), tissue.poisson.id()],
        "with fracture.filling = healing_tissue in a fracture",
        |s| {
            let filling = s.get(look().keys.fracture.filling);
            look().is_broken(s) && filling == Filling::HealingTissue
        },
    );
}

fn of_plates_and_screws(keys: &Keys, table: &mut Table) {
    let p = &keys.plates;
    table.add(
        [
            p.end_level.id(),
            p.end_above_fossa.id(),
            p.end_above_fracture.id(),
            p.stagger.id(),
            p.stagger_from.id(),
        ],
        "where a plate of the layout has no end level of its own",
        |s| {
            let mut plates = look().plates(s).iter();
            plates.any(|which| is_default(s, look().keys.plates.end(*which).id()))
        },
    );
    table.add(
        [p.stagger_from.id()],
        "where plates.stagger_mm is not 0",
        |s| s.get(look().keys.plates.stagger) != 0.0,
    );
    let preloads = &keys.preloads;
    for is_shaft in [true, false] {
        let (row, told) = match is_shaft {
            true => (
                &preloads.shaft,
                "on shaft screws with screws.shaft_hold = non_locking",
            ),
            false => (
                &preloads.distal,
                "on distal screws with screws.distal_hold = non_locking",
            ),
        };
        let is_loose = move |s: &Settings, which: PlateKind| {
            let screws = &look().keys.screws;
            let hold = match is_shaft {
                true => &screws.shaft_hold,
                false => &screws.distal_hold,
            };
            s.get(hold.of(which)) == ScrewHold::NonLocking
        };
        table.add([row.common.id()], told, move |s| {
            let mut plates = look().plates(s).iter();
            plates.any(|which| is_loose(s, *which))
        });
        for which in PlateKind::ALL {
            table.add([row.of(which).id()], told, move |s| is_loose(s, which));
        }
    }
    for (n, k) in keys.screws.independent.iter().enumerate() {
        let preload = preloads.independent[n].id();
        let numbers = [
            k.level,
            k.anterior,
            k.inclination,
            k.turn,
            k.diameter,
            k.length,
        ];
        let own = numbers.map(Key::id).into_iter().chain([k.from.id()]);
        table.add(own, "where the screw's hold is not none", move |s| {
            s.get(look().keys.screws.independent[n].hold) != IndependentHold::None
        });
        table.add([preload], "on a screw whose hold is lag", move |s| {
            s.get(look().keys.screws.independent[n].hold) == IndependentHold::Lag
        });
    }
}

fn of_interfaces(keys: &Keys, table: &mut Table) {
    let k = &keys.interfaces;
    table.add(
        [k.plate_bone.meeting.id()],
        "where a plate of the layout has no interface of its own",
        |s| {
            let mut plates = look().plates(s).iter();
            plates.any(|which| {
                let site = s.get(look().keys.construct.layout).site(*which);
                let named = look().keys.interfaces.of_plate(site.into());
                s.get(named.meeting).is_none()
            })
        },
    );
    table.add(
        [k.stand_off.id()],
        "on a plate that is apart from the bone",
        |s| look().has_plate_that(s, |m| m == Meeting::Apart),
    );
    table.add(
        [k.contact_gap.id()],
        "under a frictional or frictionless plate",
        |s| {
            let slides = |m| matches!(m, Meeting::Frictional | Meeting::Frictionless);
            look().has_plate_that(s, slides)
        },
    );
    table.add(
        [k.head_seat.meeting.id()],
        "on heads that are not locked: screws.shaft_hold or screws.distal_hold = non_locking, or a screw independent of plates",
        |s| look().has_loose_head(s),
    );
    table.add(
        [k.fracture_faces.meeting.id()],
        "where faces touch before loading: fracture.gap_mm = 0, a fracture.column_contact, or a split with split_gap_mm = 0",
        |s| look().has_touching_faces(s),
    );
    table.add(
        [k.plate_bone.friction.id()],
        "under a frictional plate without a coefficient of its own",
        |s| look().plates_rub(s),
    );
    table.add(
        [k.head_seat.friction.id()],
        "on heads that are not locked and frictional, without a coefficient of their own",
        |s| look().heads_rub(s),
    );
    table.add(
        [k.screw_bone.friction.id()],
        "on frictional or threaded shanks without a coefficient of their own",
        |s| look().shanks_rub(s),
    );
    table.add(
        [k.fracture_faces.friction.id()],
        "on faces that touch and are frictional",
        |s| look().faces_rub(s),
    );
    table.add(
        [k.friction.id()],
        "on interfaces that are frictional or threaded and have no coefficient of their own",
        |s| {
            let k = &look().keys.interfaces;
            let falls_back = |key: Key<f64>| is_default(s, key.id());
            falls_back(k.plate_bone.friction) && look().plates_rub(s)
                || falls_back(k.head_seat.friction) && look().heads_rub(s)
                || falls_back(k.screw_bone.friction) && look().shanks_rub(s)
                || falls_back(k.fracture_faces.friction) && look().faces_rub(s)
        },
    );
    let kinds = [&k.plate_bone, &k.head_seat, &k.screw_bone].map(|kind| kind.meeting);
    for named in k.named() {
        let kind = match (named.part, named.side) {
            (bicolumn_base::Part::Plate(_), _) => kinds[0],
            (_, super::Side::Seat) => kinds[1],
            (_, super::Side::Bone) => kinds[2],
        };
        let own = named.meeting;
        table.add(
            [named.friction.id()],
            "where that interface is frictional or threaded",
            move |s| {
                let meeting = s.get(own).unwrap_or_else(|| s.get(kind));
                matches!(meeting, Meeting::Frictional | Meeting::Threaded)
            },
        );
    }
    table.add(
        [k.increments.id()],
        "where an interface presses, slides or lifts",
        |s| look().has_contact(s),
    );
    table.add(
        [keys.solve.error_estimate.id()],
        "where no interface presses, slides or lifts",
        |s| !look().has_contact(s),
    );
}

fn of_loads(keys: &Keys, table: &mut Table) {
    use NamedLoad as L;
    let k = &keys.loads;
    let solves = |s: &Settings, some: &[L]| {
        let cases = s.get(look().keys.loads.cases);
        cases.iter().any(|c| some.iter().any(|l| l.word() == c))
    };
    let solves_own = |s: &Settings| {
        let cases = s.get(look().keys.loads.cases);
        cases.iter().any(|c| L::from_word(c).is_none())
    };
    const BENDING: [L; 2] = [L::PosteriorBending, L::AnteriorBending];
    const FRONTAL: [L; 2] = [L::Varus, L::Valgus];
    const TORSION: [L; 2] = [L::InternalTorsion, L::ExternalTorsion];
    const COLUMNS: [L; 2] = [L::LateralColumn, L::MedialColumn];
    table.add([k.axial.id()], "with axial among loads.cases", move |s| {
        solves(s, &[L::Axial])
    });
    table.add(
        [k.bending.id()],
        "with posterior_bending or anterior_bending among loads.cases",
        move |s| solves(s, &BENDING),
    );
    table.add(
        [k.varus_valgus.id()],
        "with varus or valgus among loads.cases",
        move |s| solves(s, &FRONTAL),
    );
    table.add(
        [k.torsion.id()],
        "with internal_torsion or external_torsion among loads.cases",
        move |s| solves(s, &TORSION),
    );
    table.add(
        [k.column.id()],
        "with lateral_column or medial_column among loads.cases",
        move |s| solves(s, &COLUMNS),
    );
    let p = &keys.supports;
    table.add(
        [p.centre_level.id()],
        "with supports.proximal = universal_joint or ball_joint",
        |s| {
            let proximal = s.get(look().keys.supports.proximal);
            matches!(
                proximal,
                ProximalSupport::UniversalJoint | ProximalSupport::BallJoint
            )
        },
    );
    table.add([p.rig.id()], "on load cases with a force", move |s| {
        let forces = [&[L::Axial][..], &BENDING, &FRONTAL, &COLUMNS].concat();
        solves(s, &forces) || solves_own(s)
    });
    table.add([p.rig_turn.id()], "on load cases with a moment", move |s| {
        solves(s, &TORSION) || solves_own(s)
    });
    table.add(
        [keys.run.by.id()],
        "where it names another factor than run.over",
        |s| {
            let k = &look().keys.run;
            let by = s.get(k.by);
            by.is_none() || by != s.get(k.over)
        },
    );
}
