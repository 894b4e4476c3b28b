//! A simulated day on disk. Nothing that exists is ever overwritten.

use super::truth::TrueDay;
use super::{csv_writer, fit_writer, gpx_writer};
use crate::error::Result;
use crate::recording::{Format, Recording};
use crate::saving;
use std::path::{Path, PathBuf};

/// The bytes that one recording becomes on disk.
pub(super) fn file_bytes(recording: &Recording) -> Vec<u8> {
    match recording.format {
        Format::Fit => fit_writer::bytes(recording),
        Format::Csv => csv_writer::text(recording).into_bytes(),
        _ => gpx_writer::text(recording).into_bytes(),
    }
}

impl TrueDay {
    /// Writes the recordings into `folder`, which is made where it is missing. All or none: where one of the
    /// files exists already, nothing is written.
    pub fn write_files(&self, folder: &Path) -> Result<Vec<PathBuf>> {
        let files = self.recordings.iter();
        let files = files.map(|r| (folder.join(&r.file), file_bytes(r)));
        write_new(folder, files.collect())
    }

    /// The recordings and a `test.toml` beside them.
    pub fn write_folder(&self, folder: &Path, with_course: bool) -> Result<Vec<PathBuf>> {
        self.write_with(folder, &self.test_toml(with_course))
    }

    /// The recordings and this `test.toml` beside them.
    pub fn write_with(&self, folder: &Path, test_toml: &str) -> Result<Vec<PathBuf>> {
        let files = self.recordings.iter();
        let mut files: Vec<_> = files.map(|r| (folder.join(&r.file), file_bytes(r))).collect();
        files.push((folder.join("test.toml"), test_toml.as_bytes().to_vec()));
        write_new(folder, files)
    }
}

fn write_new(folder: &Path, files: Vec<(PathBuf, Vec<u8>)>) -> Result<Vec<PathBuf>> {
    saving::write_all_new(folder, &files)?;
    Ok(files.into_iter().map(|(path, _)| path).collect())
}

#[cfg(test)]
mod tests {
    use super::super::plans::loop_plan;
    use super::super::{Files, Format as PlanFormat, ride_day};

    #[test]
    fn writes_a_folder_and_refuses_to_write_it_twice() {
        let home = tempfile::tempdir().expect("a temporary folder");
        let folder = home.path().join("new folder");
        let mut plan = loop_plan(11, "AB", -3.0);
        plan.files = Files::PerBlock;
        plan.format = PlanFormat::Gpx;
        let day = ride_day(&plan);
        let written = day.write_folder(&folder, true).expect("a first time");
        let names: Vec<_> = written.iter().filter_map(|p| p.file_name()).collect();
        assert_eq!(names, ["ride-01.gpx", "ride-02.gpx", "test.toml"]);
        let toml = std::fs::read_to_string(folder.join("test.toml")).expect("test.toml");
        assert_eq!(toml, day.test_toml(true));

        std::fs::write(folder.join("ride-02.gpx"), "mine").expect("a file of the user");
        std::fs::remove_file(folder.join("ride-01.gpx")).expect("removed");
        let error = day.write_folder(&folder, true).expect_err("a second time");
        assert_eq!(error.faults.len(), 2, "{error}");
        assert!(!folder.join("ride-01.gpx").exists());
        let kept = std::fs::read_to_string(folder.join("ride-02.gpx")).expect("kept");
        assert_eq!(kept, "mine");
    }
}
