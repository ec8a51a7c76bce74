//! Errors in a job file: the place, the fault, the accepted values.

use crate::units::{split_unit, spoken_unit};
use bicolumn_base::shown::{MOST_SHOWN, one_line};
use std::fmt;
use std::path::PathBuf;
use thiserror::Error;

/// Longest reason or hint of a message, in characters.
const MOST_TOLD: usize = 1_000;

/// A place in the job file, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Spot {
    /// Line.
    pub line: usize,
    /// Column, in characters.
    pub column: usize,
}

/// One thing wrong with a job file.
#[derive(Debug, Clone, PartialEq, Error)]
pub struct JobError {
    /// The file, as the user named it.
    pub file: PathBuf,
    /// Where in it; `None` when the file could not be read.
    pub spot: Option<Spot>,
    /// The key at fault, in full; empty when no key is.
    pub key: String,
    /// The value as written; empty when no value is at fault.
    pub value: String,
    /// Fault.
    pub fault: Fault,
}

/// Fault.
#[derive(Debug, Clone, PartialEq)]
pub enum Fault {
    /// The file cannot be read: the reason, and a remedy.
    Unreadable {
        /// Reason.
        why: String,
        /// Hint: a remedy.
        hint: &'static str,
    },
    /// The file is no TOML.
    Syntax(String),
    /// No such key; perhaps a similar one was meant, else the nearest of the section are told.
    UnknownKey {
        /// A similar key.
        nearest: Option<String>,
        /// Hint where none is similar: the nearest keys, or the sections.
        others: String,
    },
    /// A known quantity whose name ends in another unit.
    WrongUnit {
        /// The key with its right unit.
        meant: String,
    },
    /// The value's type or range; the text follows "must".
    NotAccepted {
        /// Accepted values.
        accepted: String,
        /// A similar accepted word.
        nearest: Option<String>,
    },
    /// Anything about keys together.
    Conflict {
        /// Contradiction.
        why: String,
        /// Hint: a remedy.
        hint: String,
    },
}

impl JobError {
    /// Hint for the user, if the remedy is not plain from the message.
    pub fn hint(&self) -> Option<String> {
        match &self.fault {
            Fault::Unreadable { hint, .. } => (!hint.is_empty()).then(|| (*hint).into()),
            Fault::Syntax(_) => None,
            Fault::UnknownKey { nearest, others } => match nearest {
                Some(k) => Some(format!("did you mean {k}?")),
                None => (!others.is_empty()).then(|| others.clone()),
            },
            Fault::WrongUnit { meant } => {
                let (_, unit) = split_unit(meant);
                Some(format!("did you mean {meant} ({})?", spoken_unit(unit)))
            }
            Fault::NotAccepted { nearest, .. } => {
                nearest.as_ref().map(|w| format!("did you mean \"{w}\"?"))
            }
            Fault::Conflict { hint, .. } => (!hint.is_empty()).then(|| hint.clone()),
        }
    }
}

impl fmt::Display for JobError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let shown = |text: &str| one_line(text, MOST_SHOWN);
        f.write_str(&shown(&self.file.display().to_string()))?;
        if let Some(spot) = self.spot {
            write!(f, ":{}", spot.line)?;
        }
        f.write_str(": ")?;
        if !self.key.is_empty() {
            f.write_str(&shown(&self.key))?;
            if !self.value.is_empty() {
                write!(f, " = {}", shown(&self.value))?;
            }
            f.write_str(": ")?;
        }
        let told = |text: &str| one_line(text, MOST_TOLD);
        match &self.fault {
            Fault::Unreadable { why, .. } => write!(f, "cannot be read: {}", told(why))?,
            Fault::Syntax(message) => write!(f, "not valid TOML: {}", told(message))?,
            Fault::UnknownKey { .. } => f.write_str("no such key")?,
            Fault::WrongUnit { .. } => f.write_str("no such key; the unit at its end is wrong")?,
            Fault::NotAccepted { accepted, .. } => write!(f, "must {}", told(accepted))?,
            Fault::Conflict { why, .. } => f.write_str(&told(why))?,
        }
        if let Some(hint) = self.hint() {
            write!(f, "\n  hint: {}", told(&hint))?;
        }
        Ok(())
    }
}

/// Everything wrong with a job file, in the order of the file.
/// The first [`JobErrors::TOLD`] are told in full.
#[derive(Debug, Clone, PartialEq, Error)]
pub struct JobErrors(pub Vec<JobError>);

impl JobErrors {
    /// Faults that are told; of the others only the number is.
    pub const TOLD: usize = 40;
}

impl fmt::Display for JobErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, e) in self.0.iter().take(JobErrors::TOLD).enumerate() {
            if i > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{e}")?;
        }
        match self.0.len().saturating_sub(JobErrors::TOLD) {
            0 => Ok(()),
            more => write!(f, "\nand {more} more"),
        }
    }
}
