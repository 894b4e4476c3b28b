//! The measured quantities of `test.toml`: their names, units and plausible ranges, and what a value
//! outside the range was probably meant to be.

/// One measured quantity. Ranges are generous: they catch wrong units, not unusual bicycles.
pub(super) struct Quantity {
    pub key: &'static str,
    pub uncertainty_key: &'static str,
    pub name: &'static str,
    /// As printed after a number, with its space; empty for ratios.
    pub unit: &'static str,
    pub low: f64,
    pub high: f64,
    pub uncertainty_high: f64,
    /// Standard uncertainty of a value that was written without one.
    pub uncertainty: f64,
    pub advice: &'static str,
    pub guesses: &'static [Guess],
}

/// A wrong unit that would explain a value between `low` and `high`.
pub(super) struct Guess {
    low: f64,
    high: f64,
    looks_like: &'static str,
    convert: fn(f64) -> f64,
}

const fn guess(low: f64, high: f64, looks_like: &'static str, convert: fn(f64) -> f64) -> Guess {
    Guess {
        low,
        high,
        looks_like,
        convert,
    }
}

pub(super) static TOTAL_MASS: Quantity = Quantity {
    key: "total_mass_kg",
    uncertainty_key: "total_mass_standard_uncertainty_kg",
    name: "total mass",
    unit: " kg",
    low: 30.0,
    high: 300.0,
    uncertainty_high: 50.0,
    uncertainty: 0.5,
    advice: "Write the mass of rider, bike, kit and bottles as ridden, in kg.",
    guesses: &[
        guess(300.0, 2500.0, "a number without its decimal point", |v| v / 10.0),
        guess(30_000.0, 300_000.0, "grams", |v| v / 1000.0),
    ],
};

pub(super) static EFFICIENCY: Quantity = Quantity {
    key: "drivetrain_efficiency",
    uncertainty_key: "drivetrain_efficiency_standard_uncertainty",
    name: "drivetrain efficiency",
    unit: "",
    low: 0.8,
    high: 1.0,
    uncertainty_high: 0.1,
    uncertainty: 0.005,
    advice: "Write the part of the measured power that reaches the wheel, such as 0.976.",
    guesses: &[
        guess(80.0, 100.0, "a percentage", |v| v / 100.0),
        guess(0.005, 0.2, "the loss", |v| 1.0 - v),
    ],
};

pub(super) static WHEEL_RADIUS: Quantity = Quantity {
    key: "wheel_radius_m",
    uncertainty_key: "wheel_radius_standard_uncertainty_m",
    name: "rolling radius",
    unit: " m",
    low: 0.2,
    high: 0.4,
    uncertainty_high: 0.05,
    uncertainty: 0.002,
    advice: "Write the rolling radius in metres: the rollout of one turn divided by 2π.",
    guesses: &[
        guess(200.0, 400.0, "millimetres", |v| v / 1000.0),
        guess(20.0, 40.0, "centimetres", |v| v / 100.0),
        guess(0.4, 0.75, "a diameter", |v| v / 2.0),
        guess(1.2, 2.5, "the rollout of one turn", |v| v / std::f64::consts::TAU),
        guess(1200.0, 2500.0, "the rollout of one turn in millimetres", |v| {
            v / 1000.0 / std::f64::consts::TAU
        }),
    ],
};

pub(super) static WHEEL_INERTIA: Quantity = Quantity {
    key: "wheel_inertia_kg_m2",
    uncertainty_key: "wheel_inertia_standard_uncertainty_kg_m2",
    name: "inertia of both wheels",
    unit: " kg m²",
    low: 0.0,
    high: 1.0,
    uncertainty_high: 0.5,
    uncertainty: 0.02,
    advice: "Write the moment of inertia of both wheels together, in kg m², such as 0.14.",
    guesses: &[],
};

pub(super) static CRR: Quantity = Quantity {
    key: "crr",
    uncertainty_key: "crr_standard_uncertainty",
    name: "coefficient of rolling resistance",
    unit: "",
    low: 0.0005,
    high: 0.05,
    uncertainty_high: 0.02,
    uncertainty: 0.0007,
    advice: "Write a ratio such as 0.0045.",
    guesses: &[
        guess(0.5, 50.0, "thousandths", |v| v / 1000.0),
        guess(0.05, 0.5, "a slipped decimal point", |v| v / 100.0),
    ],
};

pub(super) static LAP_LENGTH: Quantity = Quantity {
    key: "lap_length_m",
    uncertainty_key: "lap_length_standard_uncertainty_m",
    name: "length of the lap",
    unit: " m",
    low: 100.0,
    high: 20_000.0,
    uncertainty_high: 50.0,
    // A rider keeps to within some 0.15 m of the line that was measured (a judgement), and 2π times as much is added
    // to the lap.
    uncertainty: 1.0,
    advice: "Write the length that the lap was measured at, in metres, such as 250.0.",
    guesses: &[guess(0.1, 20.0, "kilometres", |v| v * 1000.0)],
};

pub(super) static BEND_RADIUS: Quantity = Quantity {
    key: "bend_radius_m",
    uncertainty_key: "bend_radius_standard_uncertainty_m",
    name: "radius of the bends",
    unit: " m",
    low: 8.0,
    high: 100.0,
    uncertainty_high: 30.0,
    uncertainty: 1.0,
    advice: "Write the radius of the bends along the measuring line where they are tightest, in metres, such as 23.0.",
    guesses: &[],
};

pub(super) static CENTRE_OF_MASS_HEIGHT: Quantity = Quantity {
    key: "centre_of_mass_height_m",
    uncertainty_key: "centre_of_mass_height_standard_uncertainty_m",
    name: "height of the centre of mass",
    unit: " m",
    low: 0.5,
    high: 1.5,
    uncertainty_high: 0.5,
    uncertainty: 0.05,
    advice: "Write how high the centre of mass of rider and bicycle is above the road, upright, in metres, such as 1.0.",
    guesses: &[guess(50.0, 150.0, "centimetres", |v| v / 100.0)],
};

/// Its default uncertainty is a judgement: 0.0007 on a Crr of 0.0045, as for a Crr that is written.
pub(super) static CRR_FACTOR: Quantity = Quantity {
    key: "crr_factor",
    uncertainty_key: "crr_factor_standard_uncertainty",
    name: "factor of rolling resistance",
    unit: "",
    low: 0.2,
    high: 10.0,
    uncertainty_high: 5.0,
    uncertainty: 0.15,
    advice: "Write how many times the Crr of [tyres] holds there, such as 1.5.",
    guesses: &[guess(
        0.0005,
        0.05,
        "the Crr itself, which is written as crr",
        |v| v,
    )],
};

pub(super) static SPEED_SCALE: Quantity = Quantity {
    key: "speed_scale",
    uncertainty_key: "speed_scale_standard_uncertainty",
    name: "speed scale",
    unit: "",
    low: 0.8,
    high: 1.25,
    uncertainty_high: 0.1,
    uncertainty: 0.002,
    advice: "Write true over recorded speed, such as 0.993: rollout of one turn over the circumference set in the unit.",
    guesses: &[guess(80.0, 125.0, "a percentage", |v| v / 100.0)],
};

pub(super) static POWER_ZERO: Quantity = Quantity {
    key: "power_zero_nm",
    uncertainty_key: "",
    name: "torque of an unloaded power meter",
    unit: " N m",
    low: -10.0,
    high: 10.0,
    uncertainty_high: 0.0,
    uncertainty: 0.0,
    advice: "Write the torque in N m that the meter shows with nothing on the pedals, before it is zeroed, such as 0.3.",
    guesses: &[],
};

pub(super) static POWER_DELAY: Quantity = Quantity {
    key: "power_delay_s",
    uncertainty_key: "power_delay_standard_uncertainty_s",
    name: "delay of the power",
    unit: " s",
    low: -5.0,
    high: 10.0,
    uncertainty_high: 5.0,
    uncertainty: 0.3,
    advice: "Write by how many seconds the power comes later than the speed that it makes, such as 1.2.",
    guesses: &[guess(50.0, 10_000.0, "milliseconds", |v| v / 1000.0)],
};

pub(super) static ALTITUDE_LAG: Quantity = Quantity {
    key: "altitude_lag_s",
    uncertainty_key: "altitude_lag_standard_uncertainty_s",
    name: "lag of the altitude",
    unit: " s",
    low: 0.0,
    high: 20.0,
    uncertainty_high: 10.0,
    uncertainty: 0.5,
    advice: "Write by how many seconds the altitude comes after the road, such as 2.0.",
    guesses: &[guess(50.0, 20_000.0, "milliseconds", |v| v / 1000.0)],
};

pub(super) static ROLLOUT: Quantity = Quantity {
    key: "rollout_m",
    uncertainty_key: "",
    name: "rollout",
    unit: " m",
    low: 1.2,
    high: 2.5,
    uncertainty_high: 0.0,
    uncertainty: 0.0,
    advice: "Write the way of one turn of the wheel in metres, with the rider on the bike, such as 2.105.",
    guesses: &[
        guess(1200.0, 2500.0, "millimetres", |v| v / 1000.0),
        guess(120.0, 250.0, "centimetres", |v| v / 100.0),
        guess(0.2, 0.4, "the rolling radius", |v| v * std::f64::consts::TAU),
    ],
};

pub(super) static TYRE_PRESSURE: Quantity = Quantity {
    key: "tyre_pressure_bar",
    uncertainty_key: "",
    name: "tyre pressure",
    unit: " bar",
    low: 1.0,
    high: 16.0,
    uncertainty_high: 0.0,
    uncertainty: 0.0,
    advice: "Write the pressure of the tyres in bar, such as 5.5.",
    guesses: &[
        guess(16.0, 99.0, "psi", |v| {
            v * crate::units::PA_PER_PSI / crate::units::PA_PER_BAR
        }),
        guess(100.0, 1600.0, "kPa", |v| v * 1000.0 / crate::units::PA_PER_BAR),
    ],
};

pub(super) static AIR_SPEED_FACTOR: Quantity = Quantity {
    key: "factor",
    uncertainty_key: "factor_standard_uncertainty",
    name: "factor of the air speed",
    unit: "",
    low: 0.5,
    high: 2.0,
    uncertainty_high: 0.5,
    uncertainty: 0.05,
    advice: "Write true over recorded air speed, a ratio near 1.",
    guesses: &[
        guess(50.0, 200.0, "a percentage", |v| v / 100.0),
        guess(
            0.25,
            0.3,
            "a change from km/h to m/s, which the unit of the channel does",
            |_| 1.0,
        ),
    ],
};

pub(super) static POWER_PER_KELVIN: Quantity = Quantity {
    key: "power_scale_per_k",
    uncertainty_key: "power_scale_per_k_standard_uncertainty",
    name: "change of the power meter's scale with temperature",
    unit: " per K",
    low: -0.02,
    high: 0.02,
    uncertainty_high: 0.02,
    uncertainty: 0.0005,
    advice: "Write by which share of itself the recorded power is too high for each kelvin of warming, such as 0.001 for 0.1 %.",
    guesses: &[],
};

pub(super) static MASS_LOSS: Quantity = Quantity {
    key: "mass_loss_kg_per_h",
    uncertainty_key: "mass_loss_standard_uncertainty_kg_per_h",
    name: "loss of mass",
    unit: " kg/h",
    low: 0.0,
    high: 3.0,
    uncertainty_high: 3.0,
    uncertainty: 0.2,
    advice: "Write what rider, bike and bottles together lose in an hour, in kg: sweat and breath, such as 0.7; what is drunk stays aboard.",
    guesses: &[],
};

pub(super) static TEMPERATURE: Quantity = Quantity {
    key: "temperature_c",
    uncertainty_key: "temperature_standard_uncertainty_c",
    name: "air temperature",
    unit: " °C",
    low: -40.0,
    high: 55.0,
    uncertainty_high: 30.0,
    uncertainty: 1.0,
    advice: "Write the temperature of the air in the shade, in °C.",
    guesses: &[
        guess(233.15, 328.15, "kelvin", |v| v - crate::units::KELVIN_AT_0_C),
        guess(55.0, 131.0, "degrees Fahrenheit", |v| (v - 32.0) / 1.8),
    ],
};

const PRESSURE_GUESSES: &[Guess] = &[
    guess(50_000.0, 110_000.0, "Pa", |v| v / crate::units::PA_PER_HPA),
    guess(50.0, 110.0, "kPa", |v| v * 10.0),
    guess(15.0, 32.5, "inches of mercury", |v| {
        v * crate::units::PA_PER_INHG / crate::units::PA_PER_HPA
    }),
    guess(0.5, 1.1, "bar", |v| v * 1000.0),
];

pub(super) static PRESSURE: Quantity = Quantity {
    key: "pressure_hpa",
    uncertainty_key: "pressure_standard_uncertainty_hpa",
    name: "air pressure at the road",
    unit: " hPa",
    low: 500.0,
    high: 1100.0,
    uncertainty_high: 100.0,
    uncertainty: 1.0,
    advice: "Write what a barometer reads at the road, in hPa.",
    guesses: PRESSURE_GUESSES,
};

/// The lowest and highest on record are 870 and 1084 hPa (common knowledge, from memory).
pub(super) static SEA_LEVEL_PRESSURE: Quantity = Quantity {
    key: "sea_level_pressure_hpa",
    uncertainty_key: "sea_level_pressure_standard_uncertainty_hpa",
    name: "sea-level pressure",
    unit: " hPa",
    low: 850.0,
    high: 1100.0,
    uncertainty_high: 100.0,
    uncertainty: 1.0,
    advice: "Write the pressure reduced to sea level as a weather report gives it, in hPa; what a barometer reads at the road is pressure_hpa.",
    guesses: PRESSURE_GUESSES,
};

pub(super) static HUMIDITY: Quantity = Quantity {
    key: "relative_humidity_percent",
    uncertainty_key: "relative_humidity_standard_uncertainty_percent",
    name: "relative humidity",
    unit: " %",
    low: 0.0,
    high: 100.0,
    uncertainty_high: 100.0,
    uncertainty: 10.0,
    advice: "Write a percentage from 0 to 100.",
    guesses: &[],
};

impl Quantity {
    /// What is wrong with a value and what to do, or `None` where it is plausible.
    pub fn fault_of_value(&self, value: f64) -> Option<(String, String)> {
        // A relative humidity below 1 % does not occur outdoors; 0 itself stands for dry air in a check.
        let fraction = self.key == HUMIDITY.key && value > 0.0 && value < 1.0;
        if fraction {
            let next_step = format!("It looks like a fraction: write {}.", plain(value * 100.0));
            return Some((self.implausible(value), next_step));
        }
        if (self.low..=self.high).contains(&value) {
            return None;
        }
        let guess = self
            .guesses
            .iter()
            .find(|guess| (guess.low..=guess.high).contains(&value));
        let next_step = match guess {
            Some(guess) => {
                format!(
                    "It looks like {}: write {}.",
                    guess.looks_like,
                    plain((guess.convert)(value))
                )
            }
            None => self.advice.to_string(),
        };
        Some((self.implausible(value), next_step))
    }

    fn implausible(&self, value: f64) -> String {
        let Quantity {
            name,
            unit,
            low,
            high,
            ..
        } = self;
        format!(
            "{}{unit} is not a plausible {name} ({low} to {high}{unit})",
            plain(value)
        )
    }

    pub fn fault_of_uncertainty(&self, value: f64) -> Option<(String, String)> {
        let Quantity { name, unit, .. } = self;
        if value < 0.0 {
            let next_step = "A standard uncertainty is zero or positive: write it without the minus sign.";
            return Some((format!("{}{unit} is negative", plain(value)), next_step.into()));
        }
        if value > self.uncertainty_high {
            return Some((
                format!(
                    "{}{unit} is too large for a standard uncertainty of the {name}",
                    plain(value)
                ),
                format!(
                    "Write one standard deviation in the unit of {}, at most {}{unit}.",
                    self.key, self.uncertainty_high
                ),
            ));
        }
        None
    }
}

/// As the first word of a sentence.
pub(super) fn capitalised(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// A number as a person would type it: six significant digits, no trailing zeros, no exponent.
pub(super) fn plain(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let digits = 5 - value.abs().log10().floor() as i32;
    let step = 10f64.powi(digits.clamp(0, 12));
    format!("{}", (value * step).round() / step)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrong_units_are_recognised_and_the_right_number_is_offered() {
        let says = |quantity: &Quantity, value: f64| quantity.fault_of_value(value).map(|(_, next)| next);
        let expect = |next: &str| Some(next.to_string());
        assert_eq!(
            says(&PRESSURE, 100_230.0),
            expect("It looks like Pa: write 1002.3.")
        );
        assert_eq!(
            says(&PRESSURE, 100.23),
            expect("It looks like kPa: write 1002.3.")
        );
        assert_eq!(
            says(&PRESSURE, 29.92),
            expect("It looks like inches of mercury: write 1013.21.")
        );
        assert_eq!(
            says(&TEMPERATURE, 292.0),
            expect("It looks like kelvin: write 18.85.")
        );
        assert_eq!(
            says(&TEMPERATURE, 68.0),
            expect("It looks like degrees Fahrenheit: write 20.")
        );
        assert_eq!(
            says(&EFFICIENCY, 97.6),
            expect("It looks like a percentage: write 0.976.")
        );
        assert_eq!(
            says(&CRR, 4.5),
            expect("It looks like thousandths: write 0.0045.")
        );
        assert_eq!(
            says(&WHEEL_RADIUS, 336.0),
            expect("It looks like millimetres: write 0.336.")
        );
        assert_eq!(
            says(&WHEEL_RADIUS, 2.111),
            expect("It looks like the rollout of one turn: write 0.335976.")
        );
        assert_eq!(
            says(&TOTAL_MASS, 820.0),
            expect("It looks like a number without its decimal point: write 82.")
        );
        assert_eq!(says(&TOTAL_MASS, 0.0), expect(TOTAL_MASS.advice));
        assert_eq!(
            says(&HUMIDITY, 0.55),
            expect("It looks like a fraction: write 55.")
        );
    }

    #[test]
    fn ordinary_values_pass() {
        for (quantity, value) in [
            (&TOTAL_MASS, 82.0),
            (&EFFICIENCY, 0.976),
            (&EFFICIENCY, 1.0),
            (&WHEEL_RADIUS, 0.336),
            (&WHEEL_INERTIA, 0.14),
            (&CRR, 0.0045),
            (&TEMPERATURE, -5.0),
            (&PRESSURE, 780.0),
            (&SEA_LEVEL_PRESSURE, 1013.25),
            (&HUMIDITY, 0.0),
            (&HUMIDITY, 100.0),
        ] {
            assert_eq!(quantity.fault_of_value(value), None, "{}", quantity.key);
            assert_eq!(
                quantity.fault_of_uncertainty(quantity.uncertainty),
                None,
                "{}",
                quantity.key
            );
        }
    }

    #[test]
    fn uncertainties_are_neither_negative_nor_huge() {
        assert!(
            TOTAL_MASS
                .fault_of_uncertainty(-0.3)
                .unwrap()
                .0
                .contains("-0.3 kg is negative")
        );
        assert!(CRR.fault_of_uncertainty(0.7).unwrap().0.contains("too large"));
        assert_eq!(CRR.fault_of_uncertainty(0.0), None);
    }

    #[test]
    fn numbers_are_printed_as_typed() {
        assert_eq!(plain(18.850000000000023), "18.85");
        assert_eq!(plain(0.0045), "0.0045");
        assert_eq!(plain(100_230.0), "100230");
        assert_eq!(plain(-3.0), "-3");
    }
}
