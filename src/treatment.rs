//! What the program sets right of its own accord, each by name, and which of it the user wants left alone.

/// In the order of the data's way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Treatment {
    /// Power that stood at one value while the cranks stand still counts as unknown.
    StuckPower,
    /// Positions that stood still or leapt aside while the bicycle rode on count as unknown, and gates keep away.
    PositionJumps,
    /// What is between the clocks of two units on one ride is found and allowed for.
    UnitClocks,
    /// Where power and speed contradict the altitudes of every pass at one place, the climb is taken from them.
    CoveredHeights,
    /// Positions that ran on in equal steps of a straight line, as a unit draws them in a tunnel, are taken out.
    LostPositions,
    /// A speed worked out from positions counts as less sure than a wheel's.
    NoiseOfSpeed,
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
    /// Cells in which the brakes took energy hardly count.
    Brakes,
    /// `[[surface]]`: tyres roll otherwise on a part of the course.
    Surfaces,
    /// A speed whose scale is clearly off that of the positions is rescaled.
    SpeedScale,
    /// Set-ups whose tyres or wheels differ have a scale of the speed each.
    SpeedScaleOfSetups,
    /// Of a unit that samples by need, a power stands for the whole interval that it ends.
    SampledByNeed,
    /// Power that was stamped later, or earlier, than the speed that it made is moved to where it was made.
    PowerDelay,
    /// Heights that a barometer shows late are moved back.
    AltitudeLag,
    /// Where the altitude was set anew on the way, the heights before and after have an offset each.
    AltitudeStep,
    /// Altitudes that wander as those from positions do are believed less.
    AltitudeFromPositions,
}

impl Treatment {
    pub const ALL: [Treatment; 20] = [
        Treatment::StuckPower,
        Treatment::PositionJumps,
        Treatment::UnitClocks,
        Treatment::CoveredHeights,
        Treatment::DisturbedStretches,
        Treatment::WarmingAir,
        Treatment::PowerWithTemperature,
        Treatment::OneLegPower,
        Treatment::Brakes,
        Treatment::Surfaces,
        Treatment::SpeedScale,
        Treatment::SpeedScaleOfSetups,
        Treatment::SampledByNeed,
        Treatment::PowerDelay,
        Treatment::AltitudeLag,
        Treatment::AltitudeStep,
        Treatment::AltitudeFromPositions,
        Treatment::LostPositions,
        Treatment::NoiseOfSpeed,
        Treatment::LeanInBends,
    ];

    /// As it is written in `as_recorded` of `test.toml`.
    pub fn name(self) -> &'static str {
        match self {
            Treatment::StuckPower => "stuck power",
            Treatment::PositionJumps => "position jumps",
            Treatment::UnitClocks => "unit clocks",
            Treatment::CoveredHeights => "covered heights",
            Treatment::LostPositions => "lost positions",
            Treatment::NoiseOfSpeed => "noise of speed",
            Treatment::LeanInBends => "lean in bends",
            Treatment::DisturbedStretches => "disturbed stretches",
            Treatment::WarmingAir => "warming air",
            Treatment::PowerWithTemperature => "power with temperature",
            Treatment::OneLegPower => "one-leg power",
            Treatment::Brakes => "brakes",
            Treatment::Surfaces => "surfaces",
            Treatment::SpeedScale => "speed scale",
            Treatment::SpeedScaleOfSetups => "speed scale of set-ups",
            Treatment::SampledByNeed => "sampled by need",
            Treatment::PowerDelay => "power delay",
            Treatment::AltitudeLag => "altitude lag",
            Treatment::AltitudeStep => "altitude step",
            Treatment::AltitudeFromPositions => "altitude from positions",
        }
    }
}

/// The treatments that are not to be applied; `default()` applies them all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct AsRecorded(Vec<Treatment>);

impl AsRecorded {
    /// Everything is set right.
    pub const NONE: AsRecorded = AsRecorded(Vec::new());

    pub fn new(left: &[Treatment]) -> Self {
        AsRecorded(left.to_vec())
    }

    /// Whether this is to be left as it was recorded.
    pub fn leaves(&self, treatment: Treatment) -> bool {
        self.0.contains(&treatment)
    }
}
