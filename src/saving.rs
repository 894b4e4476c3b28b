//! Files on disk: all or nothing, and nobody's file is lost.

use crate::error::{Error, Fault};
use std::fs::{File, Metadata};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

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
    let beside = beside(file);
    let written = write_beside(&beside, bytes).and_then(|_| match std::fs::hard_link(&beside, file) {
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

/// Several files that belong together, into a folder that is made where it is missing: all, or none where one of them
/// is there already or cannot be written.
///
/// # Errors
/// Every file that is in the way; the first that cannot be written.
pub fn write_all_new(folder: &Path, files: &[(PathBuf, Vec<u8>)]) -> Result<(), Error> {
    let there = files.iter().filter(|(file, _)| is_there(file));
    let faults: Vec<Fault> = there.map(|(file, _)| in_the_way(file)).collect();
    if !faults.is_empty() {
        return Err(Error { faults });
    }
    make_folder(folder)?;
    for (place, (file, bytes)) in files.iter().enumerate() {
        if let Err(fault) = write_new(file, bytes) {
            for (written, _) in &files[..place] {
                let _ = std::fs::remove_file(written);
            }
            return Err(fault.into());
        }
    }
    Ok(())
}

/// With the folders that it lies in.
pub fn make_folder(folder: &Path) -> Result<(), Fault> {
    std::fs::create_dir_all(folder).map_err(|cause| {
        Fault::new(
            format!("the folder cannot be made ({cause})"),
            "Name a folder that you may write to.",
        )
        .in_file(folder)
    })
}

/// Stands in the name of a file that is being written, before the number of the process that writes it.
const BESIDE: &str = ".stillair-";

/// Takes away what processes that were killed while they wrote left beside a file. Where the system does not tell
/// whether a process is alive, nothing is touched.
fn sweep(file: &Path) {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty());
    let entries = std::fs::read_dir(folder.unwrap_or(Path::new(".")));
    for entry in entries.into_iter().flatten().flatten() {
        let name = entry.file_name();
        let writer = name.to_str().and_then(|name| {
            let (before, process) = name.strip_prefix('.')?.rsplit_once(BESIDE)?;
            let (process, count) = process.split_once('-')?;
            count.parse::<usize>().ok().filter(|_| !before.is_empty())?;
            process.parse::<u32>().ok()
        });
        if writer.is_some_and(has_ended) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

fn has_ended(process: u32) -> bool {
    let told = Path::new("/proc");
    told.join("self").exists() && !told.join(process.to_string()).exists()
}

/// In the place of a file that is there: it is as before or as after, never in between. Through a link to what it
/// leads to, whose rights stay.
pub fn write_over(file: &Path, bytes: &[u8]) -> Result<(), Fault> {
    std::fs::canonicalize(file)
        .and_then(|real| {
            let beside = beside(&real);
            let replaced = write_beside(&beside, bytes)
                .and_then(|out| keep_rights(&out, &real.metadata()?))
                .and_then(|()| std::fs::rename(&beside, &real));
            if replaced.is_err() {
                let _ = std::fs::remove_file(&beside);
            }
            replaced
        })
        .map_err(|error| not_written(file, &error))
}

/// Anew, or in the place of what is there: for files whose owner is the program itself, or who asked for it.
pub fn write(file: &Path, bytes: &[u8]) -> Result<(), Fault> {
    if is_there(file) {
        write_over(file, bytes)
    } else {
        write_new(file, bytes)
    }
}

/// Where a file is written before it takes its name; in the same folder, so that taking it is one step.
fn beside(file: &Path) -> PathBuf {
    sweep(file);
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    static COUNT: AtomicUsize = AtomicUsize::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    file.with_file_name(format!(".{name}{BESIDE}{}-{count}", std::process::id()))
}

fn write_beside(beside: &Path, bytes: &[u8]) -> std::io::Result<File> {
    let mut out = File::create_new(beside)?;
    out.write_all(bytes)?;
    out.sync_all()?;
    Ok(out)
}

/// Rights, and the owner where that may be given away.
fn keep_rights(out: &File, of: &Metadata) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::{MetadataExt, fchown};
        let _ = fchown(out, Some(of.uid()), Some(of.gid()));
    }
    out.set_permissions(of.permissions())
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

    #[test]
    fn files_that_belong_together_are_written_together_or_not_at_all() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("new/day");
        let files = |names: [&str; 3]| names.map(|name| (folder.join(name), name.as_bytes().to_vec()));
        write_all_new(&folder, &files(["a", "b", "c"])).unwrap();
        assert_eq!(names(&folder), ["a", "b", "c"]);
        let error = write_all_new(&folder, &files(["d", "b", "c"])).unwrap_err();
        assert_eq!(error.faults.len(), 2, "{error}");
        assert!(write_all_new(&folder, &files(["d", "e", "none/f"])).is_err());
        assert_eq!(names(&folder), ["a", "b", "c"]);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn what_a_killed_process_left_is_taken_away_and_nothing_else() {
        let home = tempfile::tempdir().unwrap();
        // Process numbers end at 2^22.
        let left = ".test.toml.stillair-4294967295-0";
        let mine = std::process::id();
        let others = [
            format!(".other.toml.stillair-{mine}-3"),
            ".test.toml.stillair-4294967295".to_string(),
            ".notes.stillair-".to_string(),
            ".stillair-4294967295-0".to_string(),
            "notes.stillair-4294967295-0".to_string(),
        ];
        for name in others.iter().map(String::as_str).chain([left]) {
            std::fs::write(home.path().join(name), "x").unwrap();
        }
        write_new(&home.path().join("test.toml"), b"one").unwrap();
        let mut expected = others.to_vec();
        expected.push("test.toml".to_string());
        expected.sort();
        assert_eq!(names(home.path()), expected);
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
