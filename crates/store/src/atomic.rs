//! Files that are either whole or not there.

use crate::error::StoreError;
use std::ffi::OsStr;
use std::fs::File;
use std::io::Write;
use std::path::Path;
use tempfile::NamedTempFile;

/// Writes `bytes` under a temporary name in the same folder, flushes them to the disk, and renames.
///
/// A reader, or a run after a crash at any moment, sees the old file or the new one, never a part.
///
/// # Errors
/// [`StoreError::DiskFull`] or [`StoreError::Unwritable`], naming `path`; the old file is untouched.
pub fn write_atomic(path: &Path, bytes: &[u8]) -> Result<(), StoreError> {
    let failed = |source| StoreError::writing(path, source);
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut file = temporary_in(folder).map_err(failed)?;
    file.write_all(bytes).map_err(failed)?;
    file.as_file().sync_all().map_err(failed)?;
    file.persist(path).map_err(|e| failed(e.error))?;
    // The rename itself must reach the disk too. Some file systems cannot sync a folder; the file is
    // whole all the same.
    #[cfg(unix)]
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}

/// Beginning of the names of files that are not whole yet.
const TEMPORARY: &str = ".writing-";

/// Is it the name of a file that was being written? One that lies there without a run was left by a process that was
/// killed.
pub fn is_temporary(name: &OsStr) -> bool {
    name.to_string_lossy().starts_with(TEMPORARY)
}

/// Removes the files in a folder that were being written by a process that is no more. Not while another may be writing
/// there.
pub fn remove_temporary(folder: &Path) {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    for entry in entries.filter(|e| is_temporary(&e.file_name())) {
        // One that stays costs its room, no result.
        let _ = std::fs::remove_file(entry.path());
    }
}

/// File with a temporary name in a folder, to be renamed.
pub(crate) fn temporary_in(folder: &Path) -> std::io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(TEMPORARY);
    // A temporary file is private by default; a result is shared as the user's umask says.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

/// Makes a folder with its parents.
///
/// # Errors
/// [`StoreError::DiskFull`] or [`StoreError::Unwritable`], naming the folder.
pub fn create_folder(path: &Path) -> Result<(), StoreError> {
    std::fs::create_dir_all(path).map_err(|source| StoreError::writing(path, source))
}

/// Can files be made in a folder, or in the nearest of its parents that exists? Leaves nothing behind.
///
/// # Errors
/// [`StoreError::DiskFull`] or [`StoreError::Unwritable`], naming the folder.
pub fn can_write(folder: &Path) -> Result<(), StoreError> {
    let failed = |source| StoreError::writing(folder, source);
    let there = folder.ancestors().find(|a| a.exists());
    let there = there.unwrap_or_else(|| Path::new("."));
    tempfile::tempfile_in(there).map_err(failed)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_is_replaced_and_nothing_else_is_left() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        write_atomic(&path, b"one").unwrap();
        write_atomic(&path, b"two").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn an_error_names_the_path_and_keeps_the_old_file() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("plain");
        write_atomic(&file, b"kept").unwrap();
        let below = file.join("record.json");
        let error = write_atomic(&below, b"x").unwrap_err();
        assert!(matches!(error, StoreError::Unwritable { .. }));
        assert!(error.to_string().contains("record.json"), "{error}");
        assert!(create_folder(&below).is_err());
        assert_eq!(std::fs::read(&file).unwrap(), b"kept");
    }

    #[test]
    fn a_full_disk_is_named() {
        let source = std::io::Error::from(std::io::ErrorKind::StorageFull);
        let error = StoreError::writing(Path::new("results/results.csv"), source);
        assert_eq!(error.to_string(), "results/results.csv: the disk is full");
    }

    #[cfg(unix)]
    #[test]
    fn others_may_read_what_the_umask_lets_them() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        write_atomic(&path, b"one").unwrap();
        std::fs::write(folder.path().join("b.txt"), b"plain").unwrap();
        let mode = |name: &str| {
            let data = std::fs::metadata(folder.path().join(name)).unwrap();
            data.permissions().mode() & 0o777
        };
        assert_eq!(mode("a.txt"), mode("b.txt"));
    }
}
