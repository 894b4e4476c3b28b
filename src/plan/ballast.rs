//! Water that makes set-ups weigh the same.

use crate::test_day::Setup;

/// Of water at 20 °C; a tenth of a percent less at 30 °C, which nobody weighs. [kg/l]
const WATER_KG_PER_L: f64 = 0.998;
/// A bottle is filled no better than this. [ml]
const STEP_ML: f64 = 10.0;

/// For each set-up, the water that brings it to the mass of the heaviest, to 10 ml. [ml]
pub fn ballast_ml(setups: &[Setup]) -> Vec<f64> {
    let heaviest_kg = setups
        .iter()
        .map(|setup| setup.total_mass_kg.value)
        .fold(f64::NEG_INFINITY, f64::max);
    setups
        .iter()
        .map(|setup| water_ml(heaviest_kg - setup.total_mass_kg.value))
        .collect()
}

/// The water that weighs so much, to 10 ml. [ml]
pub fn water_ml(missing_kg: f64) -> f64 {
    (1000.0 * missing_kg / WATER_KG_PER_L / STEP_ML).round() * STEP_ML
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_day::without_file;

    fn setups(masses_kg: &[f64]) -> Vec<Setup> {
        let usual = without_file().setups.remove(0);
        let setup = |kg: &f64| {
            let mut setup = usual.clone();
            setup.total_mass_kg.value = *kg;
            setup
        };
        masses_kg.iter().map(setup).collect()
    }

    #[test]
    fn the_lighter_ones_take_water_to_the_mass_of_the_heaviest() {
        // 0.2 kg / 0.998 kg/l = 200.4 ml; 0.5 kg: 501.0 ml.
        assert_eq!(ballast_ml(&setups(&[82.0, 82.2, 81.7])), [200.0, 0.0, 500.0]);
        assert_eq!(ballast_ml(&setups(&[82.0, 82.004])), [0.0, 0.0]);
        assert!(ballast_ml(&[]).is_empty());
    }
}
