//! `[loads.case.NAME]` of a job: load cases under names that the job gives.

use crate::catalogue::keys;
use crate::given::{AllGiven, Given};
use crate::handle::{Key, KeyId};
use crate::job_error::{Fault, Spot};
use crate::key::Kind;
use crate::named_path::{CASES, is_name, split};
use crate::named_table::{NamedTable, WrongTable, names};
use crate::units::nearest;
use crate::value::Value;
use crate::words::LoadedSurface;
use bicolumn_base::{Vec3, Word};
use bicolumn_model::{Action, FourPointBend, JointLoad, JointSurface, LoadLine, NamedLoad, Wrench};
use std::collections::BTreeMap;

/// A load case as the job states it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StatedCase {
    name: String,
    what: Stated,
}

#[derive(Debug, Clone, PartialEq)]
enum Stated {
    Actions(Vec<StatedAction>),
    Bend(FourPointBend),
}

/// One action; `share`: of the capitellum, where the job states it.
#[derive(Debug, Clone, PartialEq)]
struct StatedAction {
    on: LoadedSurface,
    share: Option<f64>,
    what: Vec<Wrench>,
}

impl StatedCase {
    /// Its name.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// The case; actions that do not state the capitellum's share take the one given.
    pub(crate) fn at_share(&self, capitellum_share: f64) -> JointLoad {
        let (actions, bend) = match &self.what {
            Stated::Actions(actions) => (actions.as_slice(), None),
            Stated::Bend(bend) => (&[][..], Some(*bend)),
        };
        let actions = actions.iter().flat_map(|a| {
            let on = match a.on {
                LoadedSurface::Capitellum => JointSurface::Capitellum,
                LoadedSurface::Trochlea => JointSurface::Trochlea,
                LoadedSurface::Joint => JointSurface::Both {
                    capitellum_share: a.share.unwrap_or(capitellum_share),
                },
            };
            a.what.iter().map(move |what| Action { on, what: *what })
        });
        JointLoad {
            name: self.name.clone(),
            actions: actions.collect(),
            bend,
        }
    }
}

/// The load cases of a job, by name, and their faults; names of `loads.cases` that no case has are among these.
/// `tables` are those of the file: an empty one is a case without anything.
pub(crate) fn read(
    given: &AllGiven,
    tables: &[(String, Spot)],
) -> (Vec<StatedCase>, Vec<WrongTable>) {
    let spots = names(CASES, given, tables);
    // `[loads.case.lift.muscle]` implies the table `loads.case.lift`, which need not hold an action of its own.
    let has_own = |name: &str| {
        let mut paths = given.keys();
        paths.any(|p| matches!(split(p), Some((CASES, n, _)) if n == name))
    };
    let has_further = |name: &str| {
        let mut names = spots.keys();
        names.any(|n| n.split_once('.').is_some_and(|(case, _)| case == name))
    };
    let mut cases: BTreeMap<&str, Stated> = BTreeMap::new();
    let mut wrong = Vec::new();
    for (name, spot) in &spots {
        let case = name.split('.').next().unwrap_or(name);
        if !name.split('.').all(is_name) {
            continue;
        }
        if NamedLoad::from_word(case).is_some() {
            let fault = Fault::Conflict {
                why: "the program has a load case of this name".into(),
                hint: "give the case another name".into(),
            };
            let table = NamedTable {
                kind: CASES,
                name: case,
                given,
            };
            wrong.push(table.wrong(None, *spot, fault));
            continue;
        }
        if !has_own(name) && has_further(name) {
            continue;
        }
        let table = NamedTable {
            kind: CASES,
            name,
            given,
        };
        let reader = Reader(table);
        let fault = match (reader.bend(), reader.action()) {
            (Err(fault), _) => Some(fault),
            (Ok(Some(bend)), _) => {
                let taken = cases.insert(case, Stated::Bend(bend));
                taken.and_then(|_| reader.not_beside_a_bend())
            }
            (Ok(None), Err(fault)) => Some(fault),
            (Ok(None), Ok(action)) => {
                let none = || Stated::Actions(vec![]);
                match cases.entry(case).or_insert_with(none) {
                    Stated::Actions(actions) => {
                        actions.push(action);
                        None
                    }
                    Stated::Bend(_) => reader.not_beside_a_bend(),
                }
            }
        };
        wrong.extend(fault.map(|(key, fault)| table.wrong(key, *spot, fault)));
    }
    let names: Vec<&str> = spots.keys().filter_map(|n| n.split('.').next()).collect();
    wrong.extend(unknown_names(given, &names));
    let cases = cases.into_iter().map(|(name, what)| StatedCase {
        name: name.to_string(),
        what,
    });
    (cases.collect(), wrong)
}

/// Names of `loads.cases` that are neither the program's nor the job's.
fn unknown_names(given: &AllGiven, own: &[&str]) -> Option<WrongTable> {
    let key = keys().loads.cases;
    let row = keys().row(key);
    let Some(Given {
        value: Value::List(items),
        spot,
    }) = given.get(&row.path)
    else {
        return None;
    };
    let Kind::Cases(words) = &row.kind else {
        return None;
    };
    let known = || words.iter().chain(own).copied();
    let unknown = items.iter().find(|i| known().all(|k| k != *i))?;
    Some(WrongTable {
        path: row.path.clone(),
        value: format!("{unknown:?}"),
        spot: *spot,
        fault: Fault::NotAccepted {
            accepted: row.kind.accepted(),
            nearest: nearest(unknown, known()).map(str::to_string),
        },
    })
}

/// Length of a roller's contact where none is given, mm: common practice, no source.
const ROLLER_CONTACT_MM: f64 = 4.0;

struct Reader<'a>(NamedTable<'a>);

/// The key at fault, or none for the action as a whole, and its fault.
type WrongAction = (Option<KeyId>, Fault);

const FORMS: &str = "a force is force_n with flexion_deg and coronal_deg, or proximal_n, anterior_n, lateral_n; a couple is \
                     varus_nmm, anterior_bending_nmm, internal_torsion_nmm";

fn wrong(key: Option<KeyId>, why: impl Into<String>, hint: &str) -> WrongAction {
    let (why, hint) = (why.into(), hint.to_string());
    (key, Fault::Conflict { why, hint })
}

impl Reader<'_> {
    /// The first of some keys that the job gives.
    fn first<const N: usize>(&self, some: [Key<Option<f64>>; N]) -> Option<KeyId> {
        let mut given = some.into_iter().filter(|k| self.0.given(*k).is_some());
        given.next().map(Key::id)
    }

    /// A vector by components, X, Y, Z of a right humerus; `None` where none is given.
    fn vector(&self, xyz: [Key<Option<f64>>; 3]) -> Result<Option<Vec3>, WrongAction> {
        let Some(first) = self.first(xyz) else {
            return Ok(None);
        };
        let v = Vec3::from(xyz.map(|k| self.0.value(k).unwrap_or(0.0)));
        if v == Vec3::zeros() {
            let hint = "give a component that is not zero, or leave them out";
            return Err(wrong(Some(first), "every component given is zero", hint));
        }
        Ok(Some(v))
    }

    fn force(&self) -> Result<Option<Vec3>, WrongAction> {
        let k = &keys().loads.case;
        let by_components = self.vector([k.anterior, k.proximal, k.lateral])?;
        let Some(size) = self.0.value(k.force) else {
            if let Some(key) = self.first([k.flexion, k.coronal]) {
                let hint = "give force_n, or leave the angle out";
                return Err(wrong(Some(key), "has no effect without force_n", hint));
            }
            return Ok(by_components);
        };
        if by_components.is_some() {
            let key = self.first([k.proximal, k.anterior, k.lateral]);
            let why = "the force is given by its size as well";
            return Err(wrong(key, why, FORMS));
        }
        let angle = |key: Key<Option<f64>>| self.0.value(key).unwrap_or(0.0).to_radians();
        let (flexion, coronal) = (angle(k.flexion), angle(k.coronal));
        let sagittal = Vec3::y() * flexion.cos() - Vec3::x() * flexion.sin();
        Ok(Some(
            (sagittal * coronal.cos() + Vec3::z() * coronal.sin()) * size,
        ))
    }

    fn not_beside_a_bend(&self) -> Option<WrongAction> {
        let hint = "give the bend and the load on the joint a case each";
        Some(wrong(None, "four-point bending is a case of its own", hint))
    }

    /// The four-point bend of the table; `None` where it is none.
    fn bend(&self) -> Result<Option<FourPointBend>, WrongAction> {
        let k = &keys().loads.case;
        let levels = [
            k.support_distal,
            k.nose_distal,
            k.nose_proximal,
            k.support_proximal,
        ];
        let Some(noses_on) = self.0.value(k.noses_on) else {
            let rollers = levels
                .map(Key::id)
                .into_iter()
                .chain([k.roller_contact.id()]);
            let mut given = rollers.filter(|key| self.0.given(*key).is_some());
            let hint = "say by noses_on which side the noses press on, or leave it out";
            return match given.next() {
                Some(key) => Err(wrong(Some(key), "has no effect without noses_on", hint)),
                None => Ok(None),
            };
        };
        let of_joint = [
            k.flexion.id(),
            k.coronal.id(),
            k.proximal.id(),
            k.anterior.id(),
            k.lateral.id(),
            k.varus.id(),
            k.anterior_bending.id(),
            k.internal_torsion.id(),
            k.on.id(),
            k.share.id(),
            k.line_anterior.id(),
            k.line_lateral.id(),
            k.line_level.id(),
        ];
        let mut given = of_joint.into_iter();
        if let Some(key) = given.find(|key| self.0.given(*key).is_some()) {
            let hint = "leave it out: in four-point bending only force_n and the rollers act";
            return Err(wrong(Some(key), "has no effect beside noses_on", hint));
        }
        let needed = |key: Key<Option<f64>>| {
            let hint = "four-point bending has force_n, noses_on, nose_distal_mm, nose_proximal_mm, support_distal_mm, \
                        support_proximal_mm";
            let why = || format!("needs {}", self.0.leaf(key));
            self.0.value(key).ok_or_else(|| wrong(None, why(), hint))
        };
        let force_n = needed(k.force)?;
        let [lower, distal, proximal, upper] = levels;
        let (supports_mm, noses_mm) = (
            [needed(lower)?, needed(upper)?],
            [needed(distal)?, needed(proximal)?],
        );
        let contact_mm = self.0.value(k.roller_contact).unwrap_or(ROLLER_CONTACT_MM);
        let order = [supports_mm[0], noses_mm[0], noses_mm[1], supports_mm[1]];
        if let Some(i) = (1..4).find(|i| order[*i] - order[i - 1] < contact_mm) {
            let why = "the rollers must lie in the order distal support, distal nose, proximal nose, proximal support, each \
                       farther than a contact's length from the next";
            let hint = "move it, or give the other roller another level";
            return Err(wrong(Some(levels[i].id()), why, hint));
        }
        Ok(Some(FourPointBend {
            force_n,
            noses_on,
            noses_mm,
            supports_mm,
            contact_mm,
        }))
    }

    fn action(&self) -> Result<StatedAction, WrongAction> {
        let k = &keys().loads.case;
        let force = self.force()?;
        let couple = self.vector([k.varus, k.internal_torsion, k.anterior_bending])?;
        if force.is_none() && couple.is_none() {
            return Err(wrong(None, "neither a force nor a couple is given", FORMS));
        }
        let on = self.0.value(k.on).unwrap_or(LoadedSurface::Joint);
        if self.0.given(k.share).is_some() && (on != LoadedSurface::Joint || force.is_none()) {
            let why = "has no effect but on a force that acts on both surfaces";
            let hint = "leave it out, or let a force act on \"joint\"";
            return Err(wrong(Some(k.share.id()), why, hint));
        }
        let of_line = [k.line_anterior, k.line_lateral, k.line_level];
        let line = self.first(of_line).map(|key| {
            let [anterior_mm, lateral_mm, level_mm] =
                of_line.map(|k| self.0.value(k).unwrap_or(0.0));
            let line = LoadLine {
                anterior_mm,
                lateral_mm,
                level_mm,
            };
            (key, line)
        });
        if let (None, Some((key, _))) = (force, line) {
            let hint = "leave it out: a couple has no line of action";
            return Err(wrong(Some(key), "has no effect without a force", hint));
        }
        let line = line.map(|(_, line)| line);
        let force = force.map(|force_n| Wrench::Force { force_n, line });
        let couple = couple.map(Wrench::Couple);
        Ok(StatedAction {
            on,
            share: self.0.value(k.share),
            what: force.into_iter().chain(couple).collect(),
        })
    }
}
