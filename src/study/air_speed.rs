//! The air-speed channel that `test.toml` names, taken from every recording that has it.

use crate::error::{Fault, Result};
use crate::streams::{NoAirSpeed, Streams, UnitKnown};
use crate::test_day::AirSpeedGiven;
use crate::warning::Warning;
use std::path::Path;

/// Fills the air speed of all recordings; one without it is a remark.
///
/// # Errors
/// No recording has it.
pub(super) fn take(
    streams: &mut [Streams],
    given: Option<&AirSpeedGiven>,
    test_toml: &Path,
) -> Result<Vec<Warning>> {
    let Some(given) = given else {
        return Ok(Vec::new());
    };
    let mut warnings: Vec<Warning> = Vec::new();
    let mut reasons: Vec<(String, String)> = Vec::new();
    let mut taken = 0;
    for s in streams.iter_mut() {
        match s.take_air_speed(&given.channel, given.factor.value) {
            Ok(known) => {
                taken += 1;
                warnings.extend(doubts(s, given, known));
            }
            Err(reason) => {
                let (what, next_step) = said(&reason, s, given);
                let message = format!("{}: {what}", s.name());
                // Pieces of one recording tell the same.
                if !warnings.iter().any(|w| w.message == message) {
                    warnings.push(Warning::new("no air speed", message, next_step.clone()));
                }
                if !reasons.iter().any(|(known, _)| *known == what) {
                    reasons.push((what, next_step));
                }
            }
        }
    }
    if taken > 0 {
        return Ok(warnings);
    }
    let whats: Vec<&str> = reasons.iter().map(|(what, _)| what.as_str()).collect();
    let next_step = reasons.first().map_or("", |(_, next_step)| next_step.as_str());
    Err(Fault::new(
        format!("no recording gives an air speed: {}", whats.join("; ")),
        next_step,
    )
    .in_file(test_toml)
    .at(format!("line {}, air_speed.channel", given.line))
    .into())
}

/// What is wrong and what to do.
fn said(reason: &NoAirSpeed, streams: &Streams, given: &AirSpeedGiven) -> (String, String) {
    let channel = &given.channel;
    let mut names: Vec<String> = streams.extra.iter().map(|c| format!("'{}'", c.name)).collect();
    names.sort();
    let there = match names.as_slice() {
        [] => "it has no channels beside the usual ones".to_string(),
        names => format!("its other channels are {}", names.join(", ")),
    };
    match reason {
        NoAirSpeed::NoSuchChannel if names.is_empty() => (
            format!("there is no channel '{channel}'; {there}"),
            "Check in `stillair inspect` that the sensor was recorded, or remove [air_speed] from test.toml."
                .to_string(),
        ),
        NoAirSpeed::NoSuchChannel => (
            format!("there is no channel '{channel}'; {there}"),
            "Write the whole name of one of them as channel in [air_speed], if one is the air speed."
                .to_string(),
        ),
        NoAirSpeed::OwnChannel(words) => (
            format!("'{channel}' is the {words}, not the speed of the air; {there}"),
            "Write the name of the sensor's channel, as `stillair inspect` lists it.".to_string(),
        ),
        NoAirSpeed::StrangeUnit(unit) => (
            format!("the unit '{unit}' of channel '{channel}' is not one of speed"),
            "Choose the channel of the air speed, in m/s, km/h, mph or knots.".to_string(),
        ),
        NoAirSpeed::NothingUsable => (
            format!("nothing in channel '{channel}' can be an air speed"),
            "Check that the sensor was awake and calibrated; see its values in the recording.".to_string(),
        ),
    }
}

fn doubts(streams: &Streams, given: &AirSpeedGiven, known: UnitKnown) -> Vec<Warning> {
    let mut doubts = Vec::new();
    let (name, channel) = (streams.name(), &given.channel);
    if known == UnitKnown::Assumed {
        doubts.push(Warning::new(
            "air speed unit",
            format!("{name}: channel '{channel}' gives no unit; it is read as m/s"),
            "If it is km/h, write factor = 0.2778 times the factor, or the unit into the header of the column.",
        ));
    }
    if streams.air_speed_repeats_ground_speed() {
        doubts.push(Warning::new(
            "air speed repeats ground speed",
            format!("{name}: channel '{channel}' is the same as the speed over the ground, as in no real air"),
            "Write the name of the sensor's own channel; a copy of the ground speed says that there is no wind.",
        ));
    }
    doubts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::ExtraChannel;
    use crate::simulate::{out_and_back_plan, ride_day};
    use crate::streams::align;
    use crate::test_day::Measured;

    fn ridden(file: &str, channel: Option<(&str, &str)>) -> Streams {
        let mut recording = ride_day(&out_and_back_plan(3, "A", 0.0)).recordings.remove(0);
        recording.file = file.into();
        if let Some((name, units)) = channel {
            recording.extra.push(ExtraChannel {
                name: name.to_string(),
                units: units.to_string(),
                values: recording
                    .samples
                    .iter()
                    .map(|s| s.speed_m_s.map(|v| v + 1.0))
                    .collect(),
            });
        }
        align(recording).unwrap()
    }

    fn asked(channel: &str) -> AirSpeedGiven {
        AirSpeedGiven {
            line: 12,
            channel: channel.to_string(),
            factor: Measured {
                value: 1.0,
                standard_uncertainty: 0.05,
                given: false,
            },
        }
    }

    fn taken(streams: &mut [Streams], channel: &str) -> Result<Vec<Warning>> {
        take(streams, Some(&asked(channel)), Path::new("day/test.toml"))
    }

    #[test]
    fn a_recording_without_the_channel_is_a_remark_that_names_what_is_there() {
        let mut day = [
            ridden("a.fit", Some(("air_speed", "m/s"))),
            ridden("b.fit", Some(("yaw", "deg"))),
            ridden("c.fit", None),
        ];
        let warnings = taken(&mut day, "air speed").unwrap();
        let said: Vec<_> = warnings
            .iter()
            .map(|w| (w.kind.as_str(), w.message.as_str()))
            .collect();
        assert_eq!(
            said,
            [
                (
                    "no air speed",
                    "b.fit: there is no channel 'air speed'; its other channels are 'yaw'"
                ),
                (
                    "no air speed",
                    "c.fit: there is no channel 'air speed'; it has no channels beside the usual ones"
                ),
            ]
        );
        assert!(warnings.iter().all(|w| !w.next_step.is_empty()));
        let filled: Vec<bool> = day.iter().map(|s| !s.air_speed_m_s.is_empty()).collect();
        assert_eq!(filled, [true, false, false]);
    }

    #[test]
    fn a_channel_that_no_recording_has_is_a_fault_at_its_line() {
        for (channel, words) in [
            (
                "air speed",
                "no channel 'air speed'; its other channels are 'yaw'",
            ),
            ("speed", "'speed' is the speed over the ground"),
            ("yaw", "the unit 'deg' of channel 'yaw'"),
        ] {
            let mut day = [
                ridden("a.fit", Some(("yaw", "deg"))),
                ridden("b.fit", Some(("yaw", "deg"))),
            ];
            let error = taken(&mut day, channel).unwrap_err();
            let [fault] = error.faults.as_slice() else {
                panic!("{error}")
            };
            assert_eq!(fault.place.as_deref(), Some("line 12, air_speed.channel"));
            assert!(fault.what.contains(words), "{fault}");
            assert_eq!(fault.what.matches(words).count(), 1, "{fault}");
        }
    }

    #[test]
    fn a_unit_that_was_guessed_and_a_copy_of_the_ground_speed_are_told() {
        let mut bare = [ridden("a.fit", Some(("v", "")))];
        assert_eq!(taken(&mut bare, "v").unwrap()[0].kind, "air speed unit");
        let mut copy = [ridden("a.fit", Some(("v", "m/s")))];
        for channel in &mut copy[0].extra {
            for value in channel.values.iter_mut().flatten() {
                *value -= 1.0;
            }
        }
        assert_eq!(
            taken(&mut copy, "v").unwrap()[0].kind,
            "air speed repeats ground speed"
        );
        assert_eq!(take(&mut copy, None, Path::new("test.toml")).unwrap(), []);
    }
}
