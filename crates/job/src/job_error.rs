//! Errors in a job file: the place, the fault, the accepted values.

use crate::units::{split_unit, spoken_unit};
use std::fmt;
use std::path::PathBuf;
use thiserror::Error;

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
    /// The file cannot be read.
    Unreadable(String),
    /// The file is no TOML.
    Syntax(String),
    /// No such key; perhaps a similar one was meant, else these exist in the section.
    UnknownKey {
        /// A similar key.
        nearest: Option<String>,
        /// Keys of the section, or the sections.
        choices: Vec<String>,
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
            Fault::Unreadable(_) => {
                Some("give the path of a job file, for example jobs/first-look.toml".into())
            }
            Fault::Syntax(_) => None,
            Fault::UnknownKey { nearest, choices } => match nearest {
                Some(k) => Some(format!("did you mean {k}?")),
                None if choices.is_empty() => None,
                None => Some(format!("known here: {}", choices.join(", "))),
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
        write!(f, "{}", self.file.display())?;
        if let Some(spot) = self.spot {
            write!(f, ":{}", spot.line)?;
        }
        f.write_str(": ")?;
        if !self.key.is_empty() {
            f.write_str(&self.key)?;
            if !self.value.is_empty() {
                write!(f, " = {}", self.value)?;
            }
            f.write_str(": ")?;
        }
        match &self.fault {
            Fault::Unreadable(why) => write!(f, "cannot be read: {why}")?,
            Fault::Syntax(message) => write!(f, "not valid TOML: {message}")?,
            Fault::UnknownKey { .. } => f.write_str("no such key")?,
            Fault::WrongUnit { .. } => f.write_str("no such key; the unit at its end is wrong")?,
            Fault::NotAccepted { accepted, .. } => write!(f, "must {accepted}")?,
            Fault::Conflict { why, .. } => f.write_str(why)?,
        }
        if let Some(hint) = self.hint() {
            write!(f, "\n  hint: {hint}")?;
        }
        Ok(())
    }
}

/// Everything wrong with a job file, in the order of the file.
#[derive(Debug, Clone, PartialEq, Error)]
pub struct JobErrors(pub Vec<JobError>);

impl fmt::Display for JobErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, e) in self.0.iter().enumerate() {
            if i > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{e}")?;
        }
        Ok(())
    }
}
