//! What holds for every recording and every error, whatever was read.

use std::path::Path;
use stillair::recording::read_bytes;

pub fn recording(name: &str, bytes: &[u8]) {
    match read_bytes(Path::new(name), bytes) {
        Ok(read) => {
            assert!(!read.samples.is_empty());
            for sample in &read.samples {
                assert!(sample.time_s.is_finite());
                let values = [
                    sample.latitude_deg,
                    sample.longitude_deg,
                    sample.altitude_m,
                    sample.distance_m,
                    sample.speed_m_s,
                    sample.power_w,
                    sample.pressure_pa,
                ];
                assert!(values.into_iter().flatten().all(f64::is_finite));
            }
            assert!(
                read.extra
                    .iter()
                    .all(|channel| channel.values.len() == read.samples.len())
            );
        }
        Err(error) => {
            assert!(!error.faults.is_empty());
            assert!(error.faults.iter().all(|fault| fault.file.is_some()));
        }
    }
}
