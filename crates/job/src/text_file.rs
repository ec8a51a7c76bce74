//! Text of a file that a job names.

use std::fs::File;
use std::io::{Error, Read};
use std::path::Path;

/// Text of a file of at most so many bytes.
///
/// # Errors
/// The system's reason; a file that is longer, or no file: a device has no end.
pub(crate) fn text_of(file: &Path, most: u64) -> Result<String, Error> {
    let mut text = String::new();
    File::open(file)?.take(most + 1).read_to_string(&mut text)?;
    match text.len() as u64 > most {
        true => Err(Error::other(format!("it is longer than {} MB", most >> 20))),
        false => Ok(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_file_is_refused_and_a_short_one_read() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a");
        std::fs::write(&file, "abc").unwrap();
        assert_eq!(text_of(&file, 3).unwrap(), "abc");
        assert!(text_of(&file, 2).is_err());
        assert!(text_of(&folder.path().join("b"), 2).is_err());
    }
}
