//! Files on disk: all or nothing, and nobody's file is lost.

use crate::error::Fault;
use atomic_write_file::AtomicWriteFile;
use std::io::{ErrorKind, Write};
use std::path::Path;

/// Whether something of this name is there, a link that leads nowhere included.
pub fn is_there(file: &Path) -> bool {
    file.symlink_metadata().is_ok()
}

/// What is said of a file that is in the way.
pub fn in_the_way(file: &Path) -> Fault {
    Fault::new(
        "there is one already, and it is not written over",
        "Edit it, or move it away first.",
    )
    .in_file(file)
}

/// Never over a file that is there: the bytes are written beside it under another name, and take their own by a link,
/// which fails where somebody was faster.
pub fn write_new(file: &Path, bytes: &[u8]) -> Result<(), Fault> {
    if is_there(file) {
        return Err(in_the_way(file));
    }
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    let beside = file.with_file_name(format!(".{name}.{}", std::process::id()));
    let written = std::fs::File::create_new(&beside)
        .and_then(|mut out| out.write_all(bytes).and_then(|()| out.sync_all()))
        .and_then(|()| match std::fs::hard_link(&beside, file) {
            // File systems without links: nothing is there, as was seen above.
            Err(error) if error.kind() != ErrorKind::AlreadyExists && !is_there(file) => {
                std::fs::rename(&beside, file)
            }
            other => other,
        });
    let _ = std::fs::remove_file(&beside);
    match written {
        Err(error) if error.kind() == ErrorKind::AlreadyExists => Err(in_the_way(file)),
        other => other.map_err(|error| not_written(file, &error)),
    }
}

/// In the place of a file that is there: it is as before or as after, never in between. Through a link to what it
/// leads to, whose rights stay.
pub fn write_over(file: &Path, bytes: &[u8]) -> Result<(), Fault> {
    std::fs::canonicalize(file)
        .and_then(|real| {
            let mut out = AtomicWriteFile::open(real)?;
            out.write_all(bytes)?;
            out.commit()
        })
        .map_err(|error| not_written(file, &error))
}

fn not_written(file: &Path, error: &std::io::Error) -> Fault {
    Fault::new(
        format!("it cannot be written ({error})"),
        "Check that the folder can be written to, and the space left there.",
    )
    .in_file(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap();
        let mut names: Vec<String> = entries
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_new_file_is_never_written_over_another() {
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join("test.toml");
        write_new(&file, b"one").unwrap();
        assert!(
            write_new(&file, b"two")
                .unwrap_err()
                .to_string()
                .contains("already")
        );
        assert_eq!(std::fs::read(&file).unwrap(), b"one");
        assert!(write_new(&home.path().join("none/test.toml"), b"x").is_err());
        assert_eq!(names(home.path()), ["test.toml"]);
    }

    #[cfg(unix)]
    #[test]
    fn what_is_written_over_keeps_its_rights_and_its_link() {
        use std::os::unix::fs::PermissionsExt;
        let home = tempfile::tempdir().unwrap();
        let (file, link) = (home.path().join("real.toml"), home.path().join("test.toml"));
        std::fs::write(&file, "one").unwrap();
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o640)).unwrap();
        std::os::unix::fs::symlink(&file, &link).unwrap();
        write_over(&link, b"two").unwrap();
        assert_eq!(std::fs::read(&file).unwrap(), b"two");
        assert!(link.symlink_metadata().unwrap().is_symlink());
        assert_eq!(file.metadata().unwrap().permissions().mode() & 0o777, 0o640);
        assert_eq!(names(home.path()), ["real.toml", "test.toml"]);
        // A dangling link is something that is there, and nothing to write over.
        std::fs::remove_file(&file).unwrap();
        assert!(write_over(&link, b"x").is_err() && write_new(&link, b"x").is_err());
    }
}
