//! Keys of `[sensors.NAME]`.

use crate::declare::{Declaration, mm, number, word};
use crate::handle::{Key, KeyId, OneOf};
use crate::named_path::SENSORS;
use bicolumn_geometry::Range;
use bicolumn_model::MarkerMotion;
use bicolumn_response::Aspect;

/// Keys of `[sensors.NAME]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct SensorKeys {
    pub level: Key<Option<f64>>,
    pub side: Key<Option<OneOf<Aspect>>>,
    pub anterior: Key<Option<f64>>,
    pub lateral: Key<Option<f64>>,
    pub along: Key<Option<OneOf<MarkerMotion>>>,
    pub gauge_length: Key<Option<f64>>,
    pub gauge_width: Key<Option<f64>>,
    pub gauge_angle: Key<Option<f64>>,
}

impl SensorKeys {
    pub(crate) fn declare(d: &mut Declaration) -> SensorKeys {
        SensorKeys {
            level: d.named(
                SENSORS,
                "level_mm",
                mm(-60.0, 300.0),
                "Sensor that the job names: level of its site on the bone's surface. A gauge has its site here, a pair of markers has one in `[sensors.NAME.from]` and one in `[sensors.NAME.to]`, with the same keys; its column is sensor_NAME_mm or sensor_NAME_microstrain",
            ),
            side: d.named(
                SENSORS,
                "side",
                word(),
                "Site: the outermost point of the surface at that level towards a side",
            ),
            anterior: d.named(
                SENSORS,
                "anterior_mm",
                mm(-100.0, 100.0),
                "Site by coordinates, in place of side: so far in front of the shaft's axis; the nearest point of the surface is taken, at most 3 mm away",
            ),
            lateral: d.named(
                SENSORS,
                "lateral_mm",
                mm(-100.0, 100.0),
                "Site by coordinates: so far lateral of the shaft's axis",
            ),
            along: d.named(
                SENSORS,
                "along",
                word(),
                "Pair of markers: measure of their relative motion; without it, distance",
            ),
            gauge_length: d.named(
                SENSORS,
                "gauge_length_mm",
                mm(0.2, 30.0),
                "Strain gauge: extent of its grid along the direction it reads",
            ),
            gauge_width: d.named(
                SENSORS,
                "gauge_width_mm",
                mm(0.2, 30.0),
                "Strain gauge: extent across; without it, as its length",
            ),
            gauge_angle: d.named(
                SENSORS,
                "gauge_angle_deg",
                number("deg", Range::new(-90.0, 90.0)),
                "Strain gauge: angle of its direction from the shaft's, anticlockwise seen from outside on a right bone; without it, 0",
            ),
        }
    }

    /// Keys of a site.
    pub(crate) fn of_site(&self) -> [KeyId; 4] {
        [
            self.level.id(),
            self.side.id(),
            self.anterior.id(),
            self.lateral.id(),
        ]
    }

    /// All keys.
    pub(crate) fn all(&self) -> [KeyId; 8] {
        let [a, b, c, d] = self.of_site();
        let own = [self.gauge_length, self.gauge_width, self.gauge_angle].map(Key::id);
        [a, b, c, d, self.along.id(), own[0], own[1], own[2]]
    }
}
