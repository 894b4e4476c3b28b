//! What the program sets right of its own accord, each by name, and which of it the user wants left alone.

/// In the order of the data's way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Treatment {
    /// Power that stood at one value while the cranks stand still counts as unknown.
    StuckPower,
    /// A speed whose scale is clearly off that of the positions is rescaled.
    SpeedScale,
    /// Positions that stood still or ran straight while the rider rode on are taken out.
    LostPositions,
    /// A speed worked out from positions counts as less sure than a wheel's.
    NoiseOfSpeed,
    /// Set-ups whose tyres or wheels differ have a scale of the speed each.
    SpeedScaleOfSetups,
    /// In the bends of a measured lap the rider leans: slower through the air, heavier on the tyres.
    LeanInBends,
    /// Stretches in which something pushed or held are taken out of the balance.
    DisturbedStretches,
    /// The air's density follows the unit's thermometer where the readings do not tell how it warmed.
    WarmingAir,
    /// A power meter may change with temperature by an unknown amount.
    PowerWithTemperature,
    /// What one leg does of the whole may change from one mounting to the next.
    OneLegPower,
}

impl Treatment {
    pub const ALL: [Treatment; 10] = [
        Treatment::StuckPower,
        Treatment::SpeedScale,
        Treatment::SpeedScaleOfSetups,
        Treatment::LostPositions,
        Treatment::NoiseOfSpeed,
        Treatment::LeanInBends,
        Treatment::DisturbedStretches,
        Treatment::WarmingAir,
        Treatment::PowerWithTemperature,
        Treatment::OneLegPower,
    ];

    /// As it is written in `as_recorded` of `test.toml`.
    pub fn name(self) -> &'static str {
        match self {
            Treatment::StuckPower => "stuck power",
            Treatment::SpeedScale => "speed scale",
            Treatment::SpeedScaleOfSetups => "speed scale of set-ups",
            Treatment::LostPositions => "lost positions",
            Treatment::NoiseOfSpeed => "noise of speed",
            Treatment::LeanInBends => "lean in bends",
            Treatment::DisturbedStretches => "disturbed stretches",
            Treatment::WarmingAir => "warming air",
            Treatment::PowerWithTemperature => "power with temperature",
            Treatment::OneLegPower => "one-leg power",
        }
    }
}

/// The treatments that are not to be applied; `default()` applies them all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct AsRecorded(Vec<Treatment>);

impl AsRecorded {
    pub fn new(left: &[Treatment]) -> Self {
        AsRecorded(left.to_vec())
    }

    /// Whether this is to be left as it was recorded.
    pub fn leaves(&self, treatment: Treatment) -> bool {
        self.0.contains(&treatment)
    }
}
