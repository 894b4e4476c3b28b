//! Wind at 10 m brought down to the rider.

/// Height of a rider's middle above the road, and of an anemometer. [m]
pub const RIDER_HEIGHT_M: f64 = 1.2;
pub const ANEMOMETER_HEIGHT_M: f64 = 10.0;
/// Open country with low crops (Davenport–Wieringa class "open", WMO-No. 8). [m]
pub const ROUGHNESS_M: f64 = 0.03;
/// One class of roughness is 15 % of the wind at 1.2 m; hedges, houses and the road's own cutting are
/// not in any class. A choice, stated wherever it is used.
pub const RELATIVE_STANDARD_UNCERTAINTY: f64 = 0.30;

/// U(z)/U(10 m) over neutral air, ln(z/z0)/ln(10/z0). Zero at and below the roughness height.
pub fn ratio_to_10_m(height_m: f64, roughness_m: f64) -> f64 {
    ((height_m / roughness_m).ln() / (ANEMOMETER_HEIGHT_M / roughness_m).ln()).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Algebra (D) on the classes of WMO-No. 8 (S).
    #[test]
    fn the_wind_at_the_rider_is_two_thirds_of_that_at_the_mast() {
        for (roughness, height, ratio) in [
            (0.0002, 1.2, 0.8040),
            (0.005, 1.2, 0.7211),
            (0.03, 1.0, 0.6036),
            (0.03, 1.2, 0.6350),
            (0.03, 2.0, 0.7229),
            (0.10, 1.2, 0.5396),
            (0.25, 1.2, 0.4252),
        ] {
            assert!((ratio_to_10_m(height, roughness) - ratio).abs() < 1e-4);
        }
        assert_eq!(ratio_to_10_m(0.01, 0.03), 0.0);
    }
}
