//! Digests of the files that an answer rests on, so that anybody can see whether theirs are the same.

use super::gather::recordings_in;
use crate::error::{Fault, Result};
use sha2::{Digest, Sha256};
use std::path::Path;

/// A file of a test day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileDigest {
    pub name: String,
    /// SHA-256 (FIPS 180-4), in hexadecimal.
    pub sha256: String,
}

/// Of the recordings in a folder in order of name, then of its `test.toml` where there is one.
///
/// # Errors
/// The folder or one of the files cannot be read.
pub fn digests(folder: &Path) -> Result<Vec<FileDigest>> {
    let mut files = recordings_in(folder)?;
    // A recording that cannot be read has been told of; it is no part of the answer.
    files.retain(|file| file.is_file());
    files.extend(Some(folder.join("test.toml")).filter(|file| file.is_file()));
    let digest = |file: &std::path::PathBuf| {
        // A file may be larger than memory: it lies in the folder, and need not have been read.
        let mut sum = Sha256::new();
        std::fs::File::open(file)
            .and_then(|mut open| std::io::copy(&mut open, &mut sum))
            .map_err(|error| {
                Fault::new(
                    format!("it cannot be read ({error})"),
                    "Check that the file can be opened.",
                )
                .in_file(file)
            })?;
        let name = file.file_name().unwrap_or(file.as_os_str());
        Ok(FileDigest {
            name: name.to_string_lossy().into_owned(),
            sha256: sum.finalize().iter().map(|byte| format!("{byte:02x}")).collect(),
        })
    };
    files.iter().map(digest).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of "abc": FIPS 180-2, appendix B.1 (M).
    #[test]
    fn a_file_is_known_by_its_published_digest() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("b.csv"), b"abc").unwrap();
        std::fs::write(folder.path().join("test.toml"), b"").unwrap();
        std::fs::write(folder.path().join("notes.txt"), b"no part of it").unwrap();
        let found = digests(folder.path()).unwrap();
        let names: Vec<&str> = found.iter().map(|file| file.name.as_str()).collect();
        assert_eq!(names, ["b.csv", "test.toml"]);
        assert_eq!(
            found[0].sha256,
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
