//! Rider, bike and tyres: what the shared tables say, what a set-up says instead, and the defaults.

use super::quantity::{
    CRR, EFFICIENCY, Quantity, TOTAL_MASS, WHEEL_INERTIA, WHEEL_RADIUS, capitalised, plain,
};
use super::section::{Section, Typed};
use super::{Measured, PowerAt};

/// A value and where its two parts came from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Settled {
    pub measured: Measured,
    uncertainty_given: bool,
}

/// Everything a set-up is ridden with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bicycle {
    pub total_mass_kg: Settled,
    pub drivetrain_efficiency: Settled,
    pub wheel_radius_m: Settled,
    pub wheel_inertia_kg_m2: Settled,
    pub crr: Settled,
}

fn default(value: f64, standard_uncertainty: f64) -> Settled {
    let measured = Measured {
        value,
        standard_uncertainty,
        given: false,
    };
    Settled {
        measured,
        uncertainty_given: false,
    }
}

/// What is told of among the notes needs no sentence among the defaults.
fn noted(measured: Measured) -> Settled {
    Settled {
        measured,
        uncertainty_given: true,
    }
}

impl Bicycle {
    /// Mass, radius and inertia: a rider of 73 kg on a road bike with 28 mm tyres, wide enough to hold most
    /// (common practice, no published source). Efficiency at the crank: Martin et al. 1998, 0.97698 (M+).
    /// Inertia 0.14 kg m²: the same (M+). Crr: good road 0.004 to 0.006 (M).
    pub fn usual(power_at: PowerAt) -> Self {
        Bicycle {
            total_mass_kg: default(83.0, 5.0),
            drivetrain_efficiency: match power_at {
                PowerAt::Crank => default(0.976, 0.005),
                PowerAt::Hub => default(1.0, 0.002),
            },
            wheel_radius_m: default(0.336, 0.002),
            wheel_inertia_kg_m2: default(0.14, 0.02),
            crr: default(0.0045, 0.0010),
        }
    }

    /// What `[rider]`, `[bike]` and `[tyres]` say, over the usual.
    pub fn shared(
        rider: Option<&Section>,
        bike: Option<&Section>,
        tyres: Option<&Section>,
        power_at: PowerAt,
    ) -> Self {
        let mut bicycle = Bicycle::usual(power_at);
        if let Some(rider) = rider {
            override_with(&mut bicycle.total_mass_kg, rider, &TOTAL_MASS);
            check_mass_uncertainty(rider, &bicycle);
        }
        if let Some(bike) = bike {
            override_with(&mut bicycle.drivetrain_efficiency, bike, &EFFICIENCY);
            override_with(&mut bicycle.wheel_radius_m, bike, &WHEEL_RADIUS);
            override_with(&mut bicycle.wheel_inertia_kg_m2, bike, &WHEEL_INERTIA);
            check_hub(bike, power_at);
        }
        if let Some(tyres) = tyres {
            override_with(&mut bicycle.crr, tyres, &CRR);
        }
        bicycle
    }

    /// The mass that was weighed before the blocks stands instead of a default.
    pub fn weighed(&mut self, mass: Measured) {
        self.total_mass_kg = noted(mass);
    }

    /// The rolling radius by the rollouts before the blocks stands instead of a default.
    pub fn rolled_out(&mut self, radius: Measured) {
        self.wheel_radius_m = noted(radius);
    }

    /// This bicycle with what one `[[setup]]` says instead.
    pub fn with(mut self, setup: &Section, power_at: PowerAt) -> Self {
        override_with(&mut self.total_mass_kg, setup, &TOTAL_MASS);
        check_mass_uncertainty(setup, &self);
        override_with(&mut self.drivetrain_efficiency, setup, &EFFICIENCY);
        check_hub(setup, power_at);
        override_with(&mut self.wheel_radius_m, setup, &WHEEL_RADIUS);
        override_with(&mut self.wheel_inertia_kg_m2, setup, &WHEEL_INERTIA);
        override_with(&mut self.crr, setup, &CRR);
        self
    }
}

/// A value without an uncertainty takes that of the value it replaces, where the user wrote one: it was
/// measured on the same scale, with the same tape. An uncertainty alone widens or narrows the value that holds.
fn override_with(settled: &mut Settled, section: &Section, quantity: &Quantity) {
    let Typed { value, uncertainty } = section.quantity(quantity);
    if let Some(value) = value {
        if !settled.uncertainty_given {
            settled.measured.standard_uncertainty = quantity.uncertainty;
        }
        settled.measured.value = value;
        settled.measured.given = true;
    }
    if let Some(uncertainty) = uncertainty {
        settled.measured.standard_uncertainty = uncertainty;
        settled.uncertainty_given = true;
    }
}

/// Nobody knows a mass well that was not weighed: 0.3 kg beside a mass of ours is a forgotten line.
fn check_mass_uncertainty(section: &Section, bicycle: &Bicycle) {
    let no_mass = !bicycle.total_mass_kg.measured.given && !section.has(TOTAL_MASS.key);
    if section.has(TOTAL_MASS.uncertainty_key) && no_mass {
        section.fault(
            TOTAL_MASS.uncertainty_key,
            "an uncertainty of the total mass without the mass",
            "Write total_mass_kg beside it, or remove it.",
        );
    }
}

/// A hub meter sits behind the chain; an efficiency below 1 would take the chain's loss off twice.
fn check_hub(section: &Section, power_at: PowerAt) {
    let efficiency = section.number_quietly(EFFICIENCY.key);
    if power_at == PowerAt::Hub && efficiency.is_some_and(|value| value < 0.99) {
        section.fault(
            EFFICIENCY.key,
            "a drivetrain loss, although power_at says that power is measured at the hub, after the drivetrain",
            "Remove drivetrain_efficiency (1.0 is used at the hub), or write power_at = \"crank\".",
        );
    }
}

pub(super) fn mass_sentence(mass: Measured) -> String {
    sentence(&TOTAL_MASS, mass)
}

/// One sentence for each default that any of the bicycles is ridden with.
pub(super) fn assumptions(bicycles: &[Bicycle]) -> Vec<String> {
    type Part = fn(&Bicycle) -> Settled;
    let quantities: [(&Quantity, Part); 5] = [
        (&TOTAL_MASS, |b| b.total_mass_kg),
        (&EFFICIENCY, |b| b.drivetrain_efficiency),
        (&WHEEL_RADIUS, |b| b.wheel_radius_m),
        (&WHEEL_INERTIA, |b| b.wheel_inertia_kg_m2),
        (&CRR, |b| b.crr),
    ];
    let mut sentences = Vec::new();
    for (quantity, part) in quantities {
        for settled in bicycles.iter().map(part) {
            let sentence = if !settled.measured.given {
                sentence(quantity, settled.measured)
            } else if !settled.uncertainty_given {
                format!(
                    "{} as in test.toml, ± {}{} by default.",
                    capitalised(quantity.name),
                    plain(settled.measured.standard_uncertainty),
                    quantity.unit
                )
            } else {
                continue;
            };
            if !sentences.contains(&sentence) {
                sentences.push(sentence);
            }
        }
    }
    sentences
}

fn sentence(quantity: &Quantity, measured: Measured) -> String {
    format!(
        "{} {} ± {}{}, a default ({}).",
        capitalised(quantity.name),
        plain(measured.value),
        plain(measured.standard_uncertainty),
        quantity.unit,
        quantity.key
    )
}
