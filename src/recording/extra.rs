//! Channels with no name of ours: found by the name that a person writes, and the unit of a speed among them.

use super::ExtraChannel;
use super::fields::{self, Quantity};

/// The unit of a channel that holds a speed.
#[derive(Debug, Clone, PartialEq)]
pub enum SpeedUnit {
    /// In m/s for one unit.
    Written(f64),
    NotWritten,
    /// A unit that is written and not understood.
    Strange(String),
}

impl ExtraChannel {
    /// The channel that a person means by `name`: the one of exactly this name, else the only one whose name
    /// differs in letter case, blanks, punctuation and a unit alone. The name of an own channel ("speed") never
    /// means another that is written alike.
    pub fn find<'a>(channels: &'a [ExtraChannel], name: &str) -> Option<&'a ExtraChannel> {
        let exact = channels.iter().find(|channel| channel.name == name);
        if exact.is_some() || own_quantity(name).is_some() {
            return exact;
        }
        let wanted = fields::plain(name);
        let mut alike = channels.iter().filter(|channel| {
            let (bare, _) = split(&channel.name);
            fields::plain(&channel.name) == wanted || fields::plain(bare) == wanted
        });
        alike.next().filter(|_| alike.next().is_none())
    }

    /// The unit beside the channel, else the one in its name ("air speed (km/h)", "air_speed_m_s").
    pub fn speed_unit(&self) -> SpeedUnit {
        let written = match self.units.trim() {
            "" => split(&self.name).1,
            units => units,
        };
        if written.is_empty() {
            return SpeedUnit::NotWritten;
        }
        match fields::conversion(Quantity::Speed, written) {
            Some(conversion) => SpeedUnit::Written(conversion.factor),
            None => SpeedUnit::Strange(written.to_string()),
        }
    }
}

/// What a name stands for where it is one of the unit's own channels, in words.
pub fn own_quantity(name: &str) -> Option<&'static str> {
    fields::lookup(name).map(|known| match known.quantity {
        Quantity::Time | Quantity::Elapsed => "time",
        Quantity::Latitude | Quantity::Longitude => "position",
        Quantity::Altitude => "altitude",
        Quantity::Distance => "distance",
        Quantity::Speed => "speed over the ground",
        Quantity::Power => "power",
        Quantity::Cadence => "cadence",
        Quantity::HeartRate => "heart rate",
        Quantity::Temperature => "temperature",
        Quantity::Pressure => "pressure",
    })
}

/// A name without the unit of a speed that it carries, and that unit (empty where there is none).
fn split(name: &str) -> (&str, &str) {
    if let Some((bare, unit)) = fields::bracketed(name) {
        return (bare, unit);
    }
    let ends = name
        .char_indices()
        .filter(|(_, c)| c.is_whitespace() || "_-./:".contains(*c));
    for (at, mark) in ends {
        let unit = name.get(at + mark.len_utf8()..).unwrap_or("");
        let bare = name.get(..at).unwrap_or("").trim();
        let is_unit = !fields::plain(unit).is_empty() && fields::conversion(Quantity::Speed, unit).is_some();
        if is_unit && !bare.is_empty() {
            return (bare, unit);
        }
    }
    (name, "")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channel(name: &str, units: &str) -> ExtraChannel {
        ExtraChannel {
            name: name.to_string(),
            units: units.to_string(),
            values: vec![Some(1.0)],
        }
    }

    #[test]
    fn a_channel_is_found_by_any_way_of_writing_its_name() {
        for name in [
            "air speed (m/s)",
            "Air_Speed",
            "air_speed_kmh",
            "AIRSPEED [kt]",
            "air-speed",
        ] {
            let channels = [channel("yaw", "deg"), channel(name, "")];
            for wanted in [name, "air speed", "airspeed"] {
                let found = ExtraChannel::find(&channels, wanted);
                assert_eq!(found, Some(&channels[1]), "{wanted} among {name}");
            }
        }
        assert_eq!(ExtraChannel::find(&[channel("yaw", "deg")], "air speed"), None);
    }

    #[test]
    fn two_that_are_alike_are_told_apart_by_their_whole_name_only() {
        let channels = [
            channel("air speed (m/s)", "m/s"),
            channel("air speed (km/h)", "km/h"),
        ];
        assert_eq!(ExtraChannel::find(&channels, "air speed"), None);
        assert_eq!(
            ExtraChannel::find(&channels, "air speed (km/h)"),
            Some(&channels[1])
        );
    }

    #[test]
    fn the_name_of_the_ground_speed_means_no_other_channel() {
        let channels = [
            channel("Speed (km/h)", ""),
            channel("speed (developer field 0/7)", "m/s"),
        ];
        for name in ["speed", "velocity", "enhanced_speed", "Speed"] {
            assert_eq!(ExtraChannel::find(&channels, name), None, "{name}");
            assert_eq!(own_quantity(name), Some("speed over the ground"));
        }
        let whole = "speed (developer field 0/7)";
        assert_eq!(ExtraChannel::find(&channels, whole), Some(&channels[1]));
        assert_eq!(own_quantity("air speed"), None);
    }

    #[test]
    fn the_unit_stands_beside_the_channel_or_in_its_name() {
        let unit = |name: &str, units: &str| channel(name, units).speed_unit();
        let kmh = SpeedUnit::Written(1.0 / 3.6);
        for (name, units) in [
            ("air speed", "km/h"),
            ("air speed (km/h)", ""),
            ("air_speed_kmh", ""),
            ("air speed km/h", ""),
            ("v air kph", ""),
        ] {
            assert_eq!(unit(name, units), kmh, "{name} {units}");
        }
        assert_eq!(unit("air_speed_m_s", ""), SpeedUnit::Written(1.0));
        assert_eq!(unit("air speed", "m/s"), SpeedUnit::Written(1.0));
        assert_eq!(unit("air speed", ""), SpeedUnit::NotWritten);
        assert_eq!(unit("air_speed", "Pa"), SpeedUnit::Strange("Pa".to_string()));
        assert_eq!(unit("air speed (bft)", ""), SpeedUnit::Strange("bft".to_string()));
    }
}
