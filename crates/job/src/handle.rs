//! Typed handles of keys.

use crate::value::Value;
use bicolumn_base::Word;
use std::fmt;
use std::marker::PhantomData;

/// A key without its type: its place in the key list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KeyId(pub(crate) usize);

/// A typed handle of a key; only the declaration of the key makes one.
pub struct Key<T> {
    id: KeyId,
    of: PhantomData<fn() -> T>,
}

impl<T> Key<T> {
    /// The handle of a row that holds values of `T`.
    pub(crate) fn new(id: KeyId) -> Key<T> {
        Key {
            id,
            of: PhantomData,
        }
    }

    /// The key without its type.
    pub fn id(self) -> KeyId {
        self.id
    }
}

impl<T> Clone for Key<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Key<T> {}

impl<T> fmt::Debug for Key<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Key({})", self.id.0)
    }
}

impl<T> From<Key<T>> for KeyId {
    fn from(key: Key<T>) -> KeyId {
        key.id
    }
}

/// Type of a key's values: numbers, counts, flags, texts, words, lists of names, and each of them optional.
pub trait KeyType: Sized {
    /// Type in the program.
    type Out: Clone;

    /// The value as the program takes it; `None` for one of another type.
    fn read(value: Option<&Value>) -> Option<Self::Out>;

    /// The value as a job holds it; `None` where an optional key has none.
    fn written(value: Self::Out) -> Option<Value>;
}

impl KeyType for f64 {
    type Out = f64;
    fn read(value: Option<&Value>) -> Option<f64> {
        match value {
            Some(Value::Number(x)) => Some(*x),
            _ => None,
        }
    }
    fn written(value: f64) -> Option<Value> {
        Some(Value::Number(value))
    }
}

impl KeyType for usize {
    type Out = usize;
    fn read(value: Option<&Value>) -> Option<usize> {
        match value {
            Some(Value::Integer(i)) => usize::try_from(*i).ok(),
            _ => None,
        }
    }
    fn written(value: usize) -> Option<Value> {
        i64::try_from(value).ok().map(Value::Integer)
    }
}

impl KeyType for bool {
    type Out = bool;
    fn read(value: Option<&Value>) -> Option<bool> {
        match value {
            Some(Value::Flag(b)) => Some(*b),
            _ => None,
        }
    }
    fn written(value: bool) -> Option<Value> {
        Some(Value::Flag(value))
    }
}

impl KeyType for String {
    type Out = String;
    fn read(value: Option<&Value>) -> Option<String> {
        match value {
            Some(Value::Text(s)) => Some(s.clone()),
            _ => None,
        }
    }
    fn written(value: String) -> Option<Value> {
        Some(Value::Text(value))
    }
}

impl KeyType for [f64; 3] {
    type Out = [f64; 3];
    fn read(value: Option<&Value>) -> Option<[f64; 3]> {
        match value {
            Some(Value::Place(place)) => Some(*place),
            _ => None,
        }
    }
    fn written(value: [f64; 3]) -> Option<Value> {
        Some(Value::Place(value))
    }
}

/// Type of a key that holds one word of an enumeration.
#[derive(Debug)]
pub struct OneOf<W>(PhantomData<W>);

impl<W: Word> KeyType for OneOf<W> {
    type Out = W;
    fn read(value: Option<&Value>) -> Option<W> {
        match value {
            Some(Value::Word(w)) => W::from_word(w),
            _ => None,
        }
    }
    fn written(value: W) -> Option<Value> {
        Some(Value::Word(value.word().to_string()))
    }
}

/// Type of a key that holds a list of names.
#[derive(Debug)]
pub struct Names;

impl KeyType for Names {
    type Out = Vec<String>;
    fn read(value: Option<&Value>) -> Option<Vec<String>> {
        match value {
            Some(Value::List(items)) => Some(items.clone()),
            _ => None,
        }
    }
    fn written(value: Vec<String>) -> Option<Value> {
        Some(Value::List(value))
    }
}

impl<T: KeyType> KeyType for Option<T> {
    type Out = Option<T::Out>;
    fn read(value: Option<&Value>) -> Option<Option<T::Out>> {
        match value {
            None => Some(None),
            given => T::read(given).map(Some),
        }
    }
    fn written(value: Option<T::Out>) -> Option<Value> {
        value.and_then(T::written)
    }
}
