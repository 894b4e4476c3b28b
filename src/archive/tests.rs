use super::*;
use std::fs;
use std::sync::Mutex;

/// A ride along a road of its own, or along the first one.
fn write_ride(file: &Path, start_s: u32, latitude_deg: f64) {
    let mut text = "time,lat,lon,speed (m/s)\n".to_string();
    for second in 0..200 {
        let east_deg = f64::from(second) * 1e-4;
        text += &format!("{},{latitude_deg:.6},{east_deg:.6},8.0\n", start_s + second);
    }
    fs::write(file, text).unwrap();
}

/// Twenty rides on one road, and one elsewhere in a folder below.
fn archive() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for number in 0..20 {
        let file = folder.path().join(format!("{number:02}.csv"));
        write_ride(&file, 1_700_000_000 + 10_000 * number, 10.0005);
    }
    fs::create_dir(folder.path().join("older")).unwrap();
    write_ride(&folder.path().join("older/away.csv"), 1_600_000_000, 20.0005);
    fs::create_dir(folder.path().join(".hidden")).unwrap();
    write_ride(&folder.path().join(".hidden/copy.csv"), 1_600_000_000, 30.0005);
    folder
}

/// What is chosen, and how many files were looked at for it.
fn chosen(folder: &Path) -> (Chosen, usize) {
    let looks = Mutex::new(0);
    let chosen = for_roads_beyond(0, folder, &|_, _| *looks.lock().unwrap() += 1).unwrap();
    let looks = *looks.lock().unwrap();
    (chosen, looks)
}

fn names(chosen: &Chosen) -> Vec<String> {
    let name = |file: &PathBuf| file.file_name().unwrap().to_string_lossy().into_owned();
    chosen.files.iter().map(name).collect()
}

#[test]
fn few_rides_are_all_read_and_leave_no_index() {
    let folder = archive();
    let all = for_roads(folder.path(), &|_, _| ()).unwrap();
    assert_eq!(all.files.len(), 21);
    assert!(!folder.path().join(index::NAME).exists());
}

#[test]
fn the_latest_rides_of_a_road_and_every_other_road() {
    let folder = archive();
    let (found, looks) = chosen(folder.path());
    assert_eq!(looks, 21);
    let latest: Vec<String> = (12..20).map(|number| format!("{number:02}.csv")).collect();
    assert_eq!(names(&found)[..8], latest);
    assert_eq!(names(&found)[8..], ["away.csv"]);
    assert!(
        found.warnings[0].message.contains("12 were only"),
        "{:?}",
        found.warnings
    );
}

#[test]
fn nothing_is_read_twice_and_the_answer_is_the_same() {
    let folder = archive();
    let (first, _) = chosen(folder.path());
    let (second, looks) = chosen(folder.path());
    assert_eq!(looks, 0);
    assert_eq!(first, second);
}

#[test]
fn what_is_changed_renamed_or_deleted_is_noticed() {
    let folder = archive();
    chosen(folder.path());
    let file = |name: &str| folder.path().join(name);
    write_ride(&file("19.csv"), 1_500_000_000, 40.0005);
    let mut longer = fs::read_to_string(file("19.csv")).unwrap();
    longer.push_str("1600000000,40.1,0.1,8.0\n");
    fs::write(file("19.csv"), longer).unwrap();
    fs::rename(file("18.csv"), file("renamed.csv")).unwrap();
    fs::remove_file(file("17.csv")).unwrap();
    fs::write(file("broken.fit"), b"nothing").unwrap();
    let (found, looks) = chosen(folder.path());
    assert_eq!(looks, 3);
    assert!(
        found
            .faults
            .iter()
            .any(|fault| fault.file == Some(file("broken.fit")))
    );
    fs::remove_file(file(index::NAME)).unwrap();
    assert_eq!(chosen(folder.path()), (found, 21));
}

#[test]
fn an_index_that_is_cut_changed_or_of_another_version_is_made_anew() {
    let folder = archive();
    let (first, _) = chosen(folder.path());
    let file = folder.path().join(index::NAME);
    let whole = fs::read(&file).unwrap();
    let mut other_version = whole.clone();
    other_version[15] ^= 1;
    let mut damaged = vec![Vec::new(), other_version];
    for at in (0..whole.len()).step_by(97) {
        damaged.push(whole[..at].to_vec());
        let mut flipped = whole.clone();
        flipped[at] ^= 4;
        damaged.push(flipped);
    }
    for bytes in damaged {
        fs::write(&file, &bytes).unwrap();
        assert_eq!(chosen(folder.path()), (first.clone(), 21));
        assert_eq!(fs::read(&file).unwrap(), whole);
    }
}

#[test]
fn runs_at_once_do_not_hinder_each_other() {
    let folder = archive();
    let found: Vec<Chosen> = std::thread::scope(|scope| {
        let runs: Vec<_> = (0..4).map(|_| scope.spawn(|| chosen(folder.path()).0)).collect();
        runs.into_iter().map(|run| run.join().unwrap()).collect()
    });
    assert!(found.iter().all(|one| *one == found[0]));
    assert_eq!(chosen(folder.path()), (found[0].clone(), 0));
}
