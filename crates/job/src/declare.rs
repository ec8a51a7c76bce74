//! Declarations of keys: each gives one row of the key list and its typed handle.

use crate::handle::{Key, KeyId, KeyType, Names, OneOf};
use crate::key::{ByPlate, Derived, Fallback, KeyRow, Kind, Preset, PresetRow, Rule};
use crate::named_path::ANY;
use crate::presets::Sourced;
use crate::settings::Settings;
use crate::words::PlateKind;
use bicolumn_base::Word;
use bicolumn_geometry::Range;
use std::marker::PhantomData;

/// Source of a default that is common practice.
pub(crate) const TRADE: &str = "common practice, no source";
/// Source of a default that this program chooses.
pub(crate) const OURS: &str = "choice of this program";

/// The key list while it is written.
#[derive(Default)]
pub(crate) struct Declaration {
    rows: Vec<KeyRow>,
    /// Rows in the order of the documentation.
    order: Vec<KeyId>,
    /// Keys of the one and of the other plate, documented after those of both.
    of_each_plate: [Vec<KeyId>; 2],
}

/// Accepted values of a key whose values are of type `T`.
pub(crate) struct Accepts<T> {
    kind: Kind,
    /// Accepted words with their meanings.
    words: Vec<(&'static str, &'static str)>,
    of: PhantomData<T>,
}

/// Value of a key of type `T` where the job does not give it.
pub(crate) struct Default<T> {
    fallback: Fallback,
    of: PhantomData<T>,
}

impl<T> Accepts<T> {
    fn new(kind: Kind) -> Accepts<T> {
        Accepts {
            kind,
            words: vec![],
            of: PhantomData,
        }
    }

    fn of_words<W: Word>(kind: fn(Vec<&'static str>) -> Kind, some: &[W]) -> Accepts<T> {
        let words = some.iter().map(|w| (w.word(), w.doc()));
        Accepts {
            words: words.collect(),
            ..Accepts::new(kind(some.iter().map(|w| w.word()).collect()))
        }
    }
}

impl<T> Clone for Accepts<T> {
    fn clone(&self) -> Self {
        Accepts {
            words: self.words.clone(),
            ..Accepts::new(self.kind.clone())
        }
    }
}

/// A number within a range.
pub(crate) fn number(unit: &'static str, range: Range) -> Accepts<f64> {
    let or_zero = None;
    Accepts::new(Kind::Number {
        unit,
        range,
        or_zero,
    })
}

/// A number within a range, or zero with a meaning of its own.
pub(crate) fn number_or_zero(unit: &'static str, range: Range, zero: &'static str) -> Accepts<f64> {
    let or_zero = Some(zero);
    Accepts::new(Kind::Number {
        unit,
        range,
        or_zero,
    })
}

/// A length within a range, mm.
pub(crate) fn mm(least: f64, most: f64) -> Accepts<f64> {
    number("mm", Range::new(least, most))
}

/// A whole number from `least` to `most`.
pub(crate) fn count(least: u32, most: u32) -> Accepts<usize> {
    let (least, most) = (i64::from(least), i64::from(most));
    Accepts::new(Kind::Integer { least, most })
}

/// One word of an enumeration.
pub(crate) fn word<W: Word>() -> Accepts<OneOf<W>> {
    word_of(W::ALL)
}

/// One of some words of an enumeration.
pub(crate) fn word_of<W: Word>(some: &[W]) -> Accepts<OneOf<W>> {
    Accepts::of_words(Kind::Word, some)
}

/// A list of load cases: words of an enumeration, or names of `[loads.case.NAME]`.
pub(crate) fn load_cases<W: Word>() -> Accepts<Names> {
    Accepts::of_words(Kind::Cases, W::ALL)
}

/// true or false.
pub(crate) fn flag() -> Accepts<bool> {
    Accepts::new(Kind::Flag)
}

/// Three coordinates of a file.
pub(crate) fn place() -> Accepts<[f64; 3]> {
    Accepts::new(Kind::Place)
}

/// Free text.
pub(crate) fn text() -> Accepts<String> {
    Accepts::new(Kind::Text)
}

impl<T: KeyType> Default<T> {
    fn new(fallback: Fallback) -> Default<T> {
        let of = PhantomData;
        Default { fallback, of }
    }

    /// A value derived from other keys; `causes`: the keys that a user would change instead.
    pub(crate) fn rule(
        told: &'static str,
        causes: Vec<KeyId>,
        rule: impl Fn(&Settings) -> T::Out + Send + Sync + 'static,
    ) -> Default<T> {
        Default::new(Fallback::Rule(Derived {
            told,
            causes,
            rule: written::<T>(rule),
        }))
    }
}

/// A fixed value.
pub(crate) fn is<T: KeyType>(value: T::Out) -> Default<T> {
    Default::new(match T::written(value) {
        Some(value) => Fallback::Value(value),
        None => Fallback::Absent,
    })
}

/// The value of another key where it has one, else a number.
pub(crate) fn of_or(common: Key<Option<f64>>, own: f64) -> Default<f64> {
    Default::new(Fallback::OfOr(common.id(), own))
}

/// The entry of the preset that another key names.
pub(crate) fn preset<W: Word + Send + Sync>(
    by: Key<OneOf<W>>,
    entry: impl Fn(W) -> Sourced + Send + Sync + 'static,
) -> Default<f64> {
    let row = move |w: W| {
        let Sourced { value, source } = entry(w);
        let (word, source) = (w.word(), source.to_string());
        PresetRow {
            word,
            value,
            source,
        }
    };
    Default::new(Fallback::Preset(Preset {
        by: by.id(),
        rows: W::ALL.iter().map(|w| row(*w)).collect(),
        chosen: Box::new(move |s| row(s.get(by))),
    }))
}

fn written<T: KeyType>(rule: impl Fn(&Settings) -> T::Out + Send + Sync + 'static) -> Rule {
    Box::new(move |s| T::written(rule(s)))
}

/// A quantity of plates or of their screws: a key for both plates and one for each.
#[derive(Debug)]
pub struct Each<T, C = T> {
    /// For both plates.
    pub common: Key<C>,
    medial: Key<T>,
    other: Key<T>,
}

impl<T, C> Each<T, C> {
    /// The key of one plate.
    pub fn of(&self, which: PlateKind) -> Key<T> {
        match which {
            PlateKind::Medial => self.medial,
            PlateKind::Other => self.other,
        }
    }
}

impl Declaration {
    fn add<T, U>(
        &mut self,
        path: String,
        accepts: Accepts<T>,
        default: Fallback,
        doc: String,
        source: String,
    ) -> Key<U> {
        let id = KeyId(self.rows.len());
        self.rows.push(KeyRow {
            path,
            kind: accepts.kind,
            words: accepts.words,
            default,
            doc,
            source,
            acts: vec![],
        });
        Key::new(id)
    }

    /// Declares a key that always has a value.
    pub(crate) fn key<T: KeyType>(
        &mut self,
        path: impl Into<String>,
        accepts: Accepts<T>,
        default: Default<T>,
        doc: impl Into<String>,
        source: impl Into<String>,
    ) -> Key<T> {
        let (doc, source) = (doc.into(), source.into());
        let key = self.add(path.into(), accepts, default.fallback, doc, source);
        self.order.push(key.id());
        key
    }

    /// Declares a key that may have no value.
    pub(crate) fn optional<T: KeyType>(
        &mut self,
        path: impl Into<String>,
        accepts: Accepts<T>,
        doc: impl Into<String>,
        source: impl Into<String>,
    ) -> Key<Option<T>> {
        let (doc, source) = (doc.into(), source.into());
        let key = self.add(path.into(), accepts, Fallback::Absent, doc, source);
        self.order.push(key.id());
        key
    }

    /// Declares a key of a table under a name that the job gives: `sensors.NAME.level_mm`.
    pub(crate) fn named<T: KeyType>(
        &mut self,
        kind: &str,
        name: &str,
        accepts: Accepts<T>,
        doc: &str,
    ) -> Key<Option<T>> {
        self.optional(format!("{kind}{ANY}.{name}"), accepts, doc, OURS)
    }

    /// Declares a key for both plates, and one for each that takes the value of the common one:
    /// `plates.width_mm`, `plates.medial.width_mm`, `plates.other.width_mm`.
    pub(crate) fn each<T: KeyType>(
        &mut self,
        section: &str,
        name: &str,
        accepts: Accepts<T>,
        default: Default<T>,
        doc: &str,
        source: &str,
    ) -> Each<T> {
        let path = format!("{section}.{name}");
        let common = self.key(&path, accepts.clone(), default, doc, source);
        let as_common = format!("as {path}");
        let [medial, other] = PlateKind::ALL.map(|which| {
            let fallback = Fallback::Of(common.id());
            self.one_of(which, section, name, &accepts, fallback, doc, &as_common)
        });
        Each {
            common,
            medial,
            other,
        }
    }

    /// [`Declaration::each`] where the common key may have no value, and each then takes one by a rule for its plate.
    pub(crate) fn each_by_plate(
        &mut self,
        section: &str,
        name: &str,
        accepts: Accepts<f64>,
        (told, rule): (
            &'static str,
            impl Fn(&Settings, PlateKind) -> f64 + Copy + Send + Sync + 'static,
        ),
        doc: &str,
        source: &str,
    ) -> Each<f64, Option<f64>> {
        let path = format!("{section}.{name}");
        let common = self.optional(&path, accepts.clone(), doc, source);
        let [medial, other] = PlateKind::ALL.map(|which| {
            let rule = written::<f64>(move |s| rule(s, which));
            let fallback = Fallback::OfPlate(common.id(), ByPlate { told, rule });
            self.one_of(which, section, name, &accepts, fallback, doc, source)
        });
        Each {
            common,
            medial,
            other,
        }
    }

    fn one_of<T: KeyType>(
        &mut self,
        which: PlateKind,
        section: &str,
        name: &str,
        accepts: &Accepts<T>,
        fallback: Fallback,
        doc: &str,
        source: &str,
    ) -> Key<T> {
        let path = format!("{section}.{}.{name}", which.word());
        let doc = format!("{doc}; of {}", which.plate());
        let key = self.add(path, accepts.clone(), fallback, doc, source.into());
        self.of_each_plate[which as usize].push(key.id());
        key
    }

    /// Ends a group of keys for both plates: those of each plate are documented here.
    pub(crate) fn end_of_group(&mut self) {
        for keys in &mut self.of_each_plate {
            self.order.append(keys);
        }
    }

    /// The rows, and their order in the documentation.
    pub(crate) fn finish(mut self) -> (Vec<KeyRow>, Vec<KeyId>) {
        self.end_of_group();
        (self.rows, self.order)
    }
}
