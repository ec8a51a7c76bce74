//! A value of a job key.

use bicolumn_store::FactorValue;
use std::fmt;

/// Value of a job key, after its type is checked.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number in the unit that the key's name ends in.
    Number(f64),
    /// A whole number.
    Integer(i64),
    /// One of a key's accepted words.
    Word(String),
    /// Yes or no.
    Flag(bool),
    /// Free text.
    Text(String),
    /// Words in order.
    List(Vec<String>),
    /// Three coordinates.
    Place([f64; 3]),
}

impl Value {
    /// The number, of a number or a whole number.
    pub fn number(&self) -> Option<f64> {
        match self {
            Value::Number(x) => Some(*x),
            Value::Integer(i) => Some(*i as f64),
            _ => None,
        }
    }

    /// The text of a word or of free text.
    pub fn text(&self) -> Option<&str> {
        match self {
            Value::Word(s) | Value::Text(s) => Some(s),
            _ => None,
        }
    }

    /// As records and tables keep it; a list becomes one text.
    pub fn to_record(&self) -> FactorValue {
        match self {
            Value::Number(x) => FactorValue::Number(*x),
            Value::Integer(i) => FactorValue::Number(*i as f64),
            Value::Word(s) | Value::Text(s) => FactorValue::Word(s.clone()),
            Value::Flag(b) => FactorValue::Flag(*b),
            Value::List(_) | Value::Place(_) => FactorValue::Word(self.to_string()),
        }
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Value::Number(x) => write!(f, "{x}"),
            Value::Integer(i) => write!(f, "{i}"),
            Value::Word(s) | Value::Text(s) => f.write_str(s),
            Value::Flag(b) => write!(f, "{b}"),
            Value::List(items) => f.write_str(&items.join(", ")),
            Value::Place([x, y, z]) => write!(f, "{x}, {y}, {z}"),
        }
    }
}
