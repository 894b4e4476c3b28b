//! A test day tried out: the same rides under another `test.toml`, without reading them again.

use super::Surveyed;
use crate::test_day::TestDay;

impl Surveyed {
    /// The same rides with another test day; `None` where it says something that decides how recordings are read or
    /// where the course lies, so that the folder has to be read anew.
    pub fn under(&self, test_day: TestDay) -> Option<Surveyed> {
        let test_day = match self.streams.iter().find_map(|s| s.rider_mass_kg) {
            Some(kg) => test_day.with_rider_mass(kg),
            None => test_day,
        };
        let now = &self.test_day;
        let same_reading = now.course == test_day.course
            && now.air_speed == test_day.air_speed
            && now.as_recorded == test_day.as_recorded
            && now.clocks == test_day.clocks
            && now.altitude_lag_s == test_day.altitude_lag_s;
        same_reading.then(|| Surveyed {
            test_day,
            ..self.clone()
        })
    }
}
