//! Every table of `test.toml` and the keys it may hold.

/// Tables written once, `[name]`; the empty name is the top of the file.
pub(super) const TOP: &[&str] = &[
    "title",
    "smallest_difference_percent",
    "rider",
    "bike",
    "tyres",
    "air",
    "air_speed",
    "sensors",
    "course",
    "setup",
    "block",
    "exclude",
    "window",
    "cut",
    "surface",
    "plan",
];
pub(super) const RIDER: &[&str] = &[
    "total_mass_kg",
    "total_mass_standard_uncertainty_kg",
    "mass_loss_kg_per_h",
    "mass_loss_standard_uncertainty_kg_per_h",
];
pub(super) const BIKE: &[&str] = &[
    "drivetrain_efficiency",
    "drivetrain_efficiency_standard_uncertainty",
    "power_at",
    "power_meter_scale_standard_uncertainty",
    "wheel_radius_m",
    "wheel_radius_standard_uncertainty_m",
    "wheel_inertia_kg_m2",
    "wheel_inertia_standard_uncertainty_kg_m2",
];
pub(super) const TYRES: &[&str] = &["crr", "crr_standard_uncertainty"];
pub(super) const AIR_SPEED: &[&str] = &["channel", "factor", "factor_standard_uncertainty"];
pub(super) const SENSORS: &[&str] = &[
    "as_recorded",
    "speed_scale",
    "speed_scale_standard_uncertainty",
    "clock_offset_s",
    "clock_offset_standard_uncertainty_s",
    "power_delay_s",
    "power_delay_standard_uncertainty_s",
    "altitude_lag_s",
    "altitude_lag_standard_uncertainty_s",
    "power_scale_per_k",
    "power_scale_per_k_standard_uncertainty",
    "power_side",
    "speed_scale",
    "speed_scale_standard_uncertainty",
];
pub(super) const COURSE: &[&str] = &[
    "shape",
    "start",
    "finish",
    "lap_length_m",
    "lap_length_standard_uncertainty_m",
    "bend_radius_m",
    "bend_radius_standard_uncertainty_m",
    "centre_of_mass_height_m",
    "centre_of_mass_height_standard_uncertainty_m",
];
/// Tables that may be written many times, `[[name]]`.
pub(super) const AIR: &[&str] = &[
    "time",
    "temperature_c",
    "temperature_standard_uncertainty_c",
    "pressure_hpa",
    "pressure_standard_uncertainty_hpa",
    "sea_level_pressure_hpa",
    "sea_level_pressure_standard_uncertainty_hpa",
    "relative_humidity_percent",
    "relative_humidity_standard_uncertainty_percent",
    "metar",
    "wind_speed_m_s",
    "wind_from_deg",
    "wind_standard_uncertainty_m_s",
];
pub(super) const SETUP: &[&str] = &[
    "name",
    "total_mass_kg",
    "total_mass_standard_uncertainty_kg",
    "drivetrain_efficiency",
    "drivetrain_efficiency_standard_uncertainty",
    "wheel_radius_m",
    "wheel_radius_standard_uncertainty_m",
    "wheel_inertia_kg_m2",
    "wheel_inertia_standard_uncertainty_kg_m2",
    "crr",
    "crr_standard_uncertainty",
    "speed_scale",
    "speed_scale_standard_uncertainty",
    "differs",
    "same_as",
];
pub(super) const BLOCK: &[&str] = &[
    "setup",
    "passes",
    "from",
    "to",
    "wind_speed_m_s",
    "wind_from_deg",
    "wind_standard_uncertainty_m_s",
    "total_mass_kg",
    "total_mass_standard_uncertainty_kg",
    "power_zero_nm",
    "rollout_m",
    "tyre_pressure_bar",
    "planned_power_w",
];
pub(super) const EXCLUDE: &[&str] = &["start_time", "number", "pass", "reason"];
pub(super) const WINDOW: &[&str] = &["start_time", "number", "pass", "from_m", "to_m"];
pub(super) const CUT: &[&str] = &["start_time", "number", "pass", "from_m", "to_m", "reason"];
pub(super) const SURFACE: &[&str] = &[
    "from_m",
    "to_m",
    "crr",
    "crr_standard_uncertainty",
    "crr_factor",
    "crr_factor_standard_uncertainty",
];
pub(super) const PLAN: &[&str] = &[
    "look_after_every_block",
    "difference_percent",
    "hold",
    "power_w",
    "entry_speed_m_s",
    "cda_m2",
    "turn_round_s",
    "change_s",
    "wind_m_s",
    "wind_from_deg",
    "road",
    "length_m",
    "gradient_percent",
    "bearing_deg",
    "seed",
];

const ALL: &[(&str, &[&str])] = &[
    ("[rider]", RIDER),
    ("[bike]", BIKE),
    ("[tyres]", TYRES),
    ("[air_speed]", AIR_SPEED),
    ("[sensors]", SENSORS),
    ("[course]", COURSE),
    ("[[air]]", AIR),
    ("[[setup]]", SETUP),
    ("[[block]]", BLOCK),
    ("[[exclude]]", EXCLUDE),
    ("[[window]]", WINDOW),
    ("[[cut]]", CUT),
    ("[[surface]]", SURFACE),
    ("[plan]", PLAN),
];

/// What to do about a key that its table does not know.
pub(super) fn way_out(typed: &str, known: &[&str]) -> String {
    if let Some(name) = super::suggest::nearest(typed, known) {
        return format!("Did you mean {name}?");
    }
    if let Some((table, _)) = ALL.iter().find(|(_, keys)| keys.contains(&typed)) {
        return format!("It belongs into {table}.");
    }
    for (table, keys) in ALL {
        if let Some(name) = super::suggest::nearest(typed, keys) {
            return format!("Did you mean {name}? That belongs into {table}.");
        }
    }
    format!("Remove it; known here are {}.", known.join(", "))
}
