//! The list of all job keys: each declared once, in the file of its section.

mod acts;
mod bone;
mod fracture;
mod hypothesis;
mod interfaces;
mod loads;
mod materials;
mod mesh;
mod plates;
mod published;
mod run;
mod screws;
mod sensors;
mod supports;

pub(crate) use bone::BoneKeys;
pub(crate) use fracture::FractureKeys;
pub(crate) use hypothesis::{HypothesisKeys, LEAST_DIFFERENCE_PERCENT};
pub use interfaces::Side;
pub(crate) use interfaces::{InterfaceKeys, KindKeys};
pub(crate) use loads::LoadKeys;
pub(crate) use materials::{MaterialKeys, MaterialPairKeys};
pub(crate) use mesh::{MeshKeys, RegionKeys, SolveKeys};
pub(crate) use plates::{ConstructKeys, PlateKeys};
pub(crate) use published::PublishedKeys;
pub(crate) use run::RunKeys;
pub(crate) use screws::{PreloadKeys, ScrewKeys};
pub(crate) use sensors::SensorKeys;
pub(crate) use supports::SupportKeys;

use crate::declare::Declaration;
use crate::handle::KeyId;
use crate::key::KeyRow;
use crate::named_path;
use std::sync::OnceLock;

/// The sections of a job file, in the order of its documentation.
pub(crate) const SECTIONS: [&str; 17] = [
    "run",
    "design",
    "hypothesis",
    "factors",
    "bone",
    "fracture",
    "construct",
    "plates",
    "screws",
    "materials",
    "interfaces",
    "loads",
    "supports",
    "sensors",
    "published",
    "mesh",
    "solve",
];

/// All keys: typed handles by section, and the rows that they stand for.
#[derive(Debug)]
pub struct Keys {
    rows: Vec<KeyRow>,
    order: Vec<KeyId>,
    /// Keys of `[run]` and `[design]`.
    pub run: RunKeys,
    /// Keys of `[hypothesis]` and `[hypothesis.NAME]`.
    pub hypothesis: HypothesisKeys,
    /// Keys of `[bone]`.
    pub bone: BoneKeys,
    /// Keys of `[fracture]`.
    pub fracture: FractureKeys,
    /// Keys of `[construct]`.
    pub construct: ConstructKeys,
    /// Keys of `[plates]`.
    pub plates: PlateKeys,
    /// Keys of `[screws]`, but for preloads.
    pub screws: ScrewKeys,
    /// Keys of `[materials]`.
    pub materials: MaterialKeys,
    /// Keys of `[interfaces]`.
    pub interfaces: InterfaceKeys,
    /// Keys of `[screws]`: preloads.
    pub preloads: PreloadKeys,
    /// Keys of `[loads]`.
    pub loads: LoadKeys,
    /// Keys of `[supports]`.
    pub supports: SupportKeys,
    /// Keys of `[sensors.NAME]`.
    pub sensors: SensorKeys,
    /// Keys of `[published.NAME]`.
    pub published: PublishedKeys,
    /// Keys of `[mesh]`.
    pub mesh: MeshKeys,
    /// Keys of `[solve]`.
    pub solve: SolveKeys,
}

/// All keys.
pub fn keys() -> &'static Keys {
    static KEYS: OnceLock<Keys> = OnceLock::new();
    KEYS.get_or_init(|| {
        let mut d = Declaration::default();
        let run = RunKeys::declare(&mut d);
        let hypothesis = HypothesisKeys::declare(&mut d);
        let bone = BoneKeys::declare(&mut d);
        let fracture = FractureKeys::declare(&mut d, &bone);
        let construct = ConstructKeys::declare(&mut d);
        let plates = PlateKeys::declare(&mut d, &construct, &bone, &fracture);
        let screws = ScrewKeys::declare(&mut d, &plates);
        let materials = MaterialKeys::declare(&mut d);
        let interfaces = InterfaceKeys::declare(&mut d);
        let preloads = PreloadKeys::declare(&mut d);
        let loads = LoadKeys::declare(&mut d);
        let supports = SupportKeys::declare(&mut d);
        let sensors = SensorKeys::declare(&mut d);
        let published = PublishedKeys::declare(&mut d);
        let mesh = MeshKeys::declare(&mut d);
        let solve = SolveKeys::declare(&mut d);
        let (rows, order) = d.finish();
        let mut all = Keys {
            rows,
            order,
            run,
            hypothesis,
            bone,
            fracture,
            construct,
            plates,
            screws,
            materials,
            interfaces,
            preloads,
            loads,
            supports,
            sensors,
            published,
            mesh,
            solve,
        };
        for (key, condition) in acts::conditions(&all) {
            all.rows[key.0].acts.push(condition);
        }
        all
    })
}

impl Keys {
    /// The row of a key.
    pub fn row(&self, key: impl Into<KeyId>) -> &KeyRow {
        &self.rows[key.into().0]
    }

    /// Full name of a key.
    pub fn path(&self, key: impl Into<KeyId>) -> &str {
        &self.row(key).path
    }

    /// All keys with their rows, in the order of the documentation.
    pub fn rows(&self) -> impl Iterator<Item = (KeyId, &KeyRow)> {
        self.order.iter().map(|id| (*id, self.row(*id)))
    }

    /// All keys with their rows, in the order of declaration: none depends on one that follows.
    pub(crate) fn declared(&self) -> impl Iterator<Item = (KeyId, &KeyRow)> {
        self.rows.iter().enumerate().map(|(n, row)| (KeyId(n), row))
    }

    /// The key of that name; one of a table whose name the job gives is found under any name.
    pub fn find(&self, path: &str) -> Option<KeyId> {
        let listed = |path: &str| self.rows.iter().position(|k| k.path == path).map(KeyId);
        listed(path).or_else(|| listed(&named_path::listed_as(path)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::handle::KeyType;
    use crate::key::{Fallback, Kind};
    use crate::units::split_unit;
    use crate::value::Value;

    #[test]
    fn names_are_unique_end_in_their_unit_and_lie_in_a_known_section() {
        let rows: Vec<&KeyRow> = keys().rows().map(|(_, row)| row).collect();
        assert_eq!(rows.len(), keys().declared().count());
        for (n, k) in rows.iter().enumerate() {
            assert!(rows[..n].iter().all(|o| o.path != k.path), "{k} twice");
            if let Kind::Number { unit, .. } = k.kind {
                assert_eq!(split_unit(&k.path).1, unit, "{k}");
            }
            let section = k.path.split('.').next().unwrap();
            assert!(SECTIONS.contains(&section), "{k}");
            assert!(!k.doc.is_empty(), "{k}");
            assert!(!k.doc.ends_with('.'), "{k}");
            for (word, doc) in &k.words {
                assert!(!doc.is_empty() && !doc.ends_with('.'), "{word} of {k}");
            }
        }
    }

    #[test]
    fn every_default_is_accepted_by_its_own_key_and_follows_from_earlier_ones() {
        for (id, k) in keys().declared() {
            match &k.default {
                Fallback::Value(v) => assert!(k.kind.accepts(v), "{k} = {v}"),
                Fallback::Of(other) | Fallback::OfPlate(other, _) => {
                    assert!(*other < id, "{k}");
                    assert_eq!(keys().row(*other).kind, k.kind, "{k}");
                }
                Fallback::OfOr(other, own) => {
                    assert!(*other < id, "{k}");
                    assert!(k.kind.accepts(&f64::written(*own).unwrap()), "{k} = {own}");
                }
                Fallback::Preset(preset) => {
                    let by = keys().row(preset.by);
                    assert!(preset.by < id, "{k}");
                    let words: Vec<&str> = preset.rows.iter().map(|r| r.word).collect();
                    assert_eq!(by.kind, Kind::Word(words), "{k} of {by}");
                    for r in &preset.rows {
                        let value = Value::Number(r.value);
                        assert!(k.kind.accepts(&value), "{k} of {} = {value}", r.word);
                        assert!(!r.source.is_empty(), "{k} of {}", r.word);
                    }
                }
                Fallback::Rule(_) | Fallback::Absent => {}
            }
        }
    }
}
