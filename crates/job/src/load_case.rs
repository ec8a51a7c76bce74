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
use bicolumn_model::{Action, JointLoad, JointSurface, LoadLine, NamedLoad, Wrench};
use std::collections::BTreeMap;

/// A load case as the job states it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StatedCase {
    name: String,
    actions: Vec<StatedAction>,
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
        let actions = self.actions.iter().flat_map(|a| {
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
    let mut cases: BTreeMap<&str, Vec<StatedAction>> = BTreeMap::new();
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
        match Reader(table).action() {
            Ok(action) => cases.entry(case).or_default().push(action),
            Err((key, fault)) => wrong.push(table.wrong(key, *spot, fault)),
        }
    }
    let names: Vec<&str> = spots.keys().filter_map(|n| n.split('.').next()).collect();
    wrong.extend(unknown_names(given, &names));
    let cases = cases.into_iter().map(|(name, actions)| StatedCase {
        name: name.to_string(),
        actions,
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
