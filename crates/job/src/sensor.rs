//! `[sensors.NAME]` of a job: sensors under names that the job gives.

use crate::catalogue::keys;
use crate::given::{AllGiven, Given};
use crate::handle::{Key, KeyId, KeyType};
use crate::job_error::{Fault, Spot};
use crate::named_path::{SENSORS, is_name, split, under};
use crate::named_table::{WrongTable, names};
use bicolumn_model::{MarkerMotion, Reading, Sensor, Site, SitePlace};
use std::collections::BTreeMap;

/// The sensors of a job, by name, and their faults. `tables` are those of the file: an empty one is a sensor without
/// anything.
pub(crate) fn read(given: &AllGiven, tables: &[(String, Spot)]) -> (Vec<Sensor>, Vec<WrongTable>) {
    // `[sensors.gap.from]` is a part of the sensor `gap`.
    let mut spots: BTreeMap<&str, Spot> = BTreeMap::new();
    for (name, spot) in names(SENSORS, given, tables) {
        let sensor = name.split('.').next().unwrap_or(name);
        spots.entry(sensor).or_insert(spot);
    }
    let (mut sensors, mut wrong) = (Vec::new(), Vec::new());
    for (name, spot) in spots.into_iter().filter(|s| is_name(s.0)) {
        match (Reader { given, name }).sensor() {
            Ok(sensor) => sensors.push(sensor),
            Err(WrongSensor { path, fault }) => {
                let given = given.get(&path);
                wrong.push(WrongTable {
                    value: given.map(|g| g.value.to_string()).unwrap_or_default(),
                    spot: given.map_or(spot, |g| g.spot),
                    path,
                    fault,
                });
            }
        }
    }
    (sensors, wrong)
}

/// The path at fault, and its fault.
struct WrongSensor {
    path: String,
    fault: Fault,
}

const FORMS: &str = "a gauge has gauge_length_mm and a site: level_mm with side, or with anterior_mm and lateral_mm; a pair of \
                     markers has a site in [sensors.NAME.from] and one in [sensors.NAME.to]";

struct Reader<'a> {
    given: &'a AllGiven,
    name: &'a str,
}

impl Reader<'_> {
    fn wrong(&self, path: String, why: &str) -> WrongSensor {
        let (why, hint) = (why.to_string(), FORMS.to_string());
        WrongSensor {
            path,
            fault: Fault::Conflict { why, hint },
        }
    }

    fn path(&self, end: &str, key: impl Into<KeyId>) -> String {
        under(keys().path(key), &format!("{}{end}", self.name))
    }

    fn given(&self, end: &str, key: impl Into<KeyId>) -> Option<&Given> {
        self.given.get(&self.path(end, key))
    }

    fn value<T: KeyType>(&self, end: &str, key: Key<Option<T>>) -> Option<T::Out> {
        T::read(self.given(end, key).map(|g| &g.value))
    }

    fn sensor(&self) -> Result<Sensor, WrongSensor> {
        let k = &keys().sensors;
        let own = format!("{SENSORS}{}", self.name);
        let other = self.given.keys().find(|path| match split(path) {
            Some((SENSORS, name, _)) => match name.split_once('.') {
                Some((sensor, end)) => sensor == self.name && end != "from" && end != "to",
                None => false,
            },
            _ => false,
        });
        if let Some(path) = other {
            return Err(self.wrong(path.clone(), "a sensor has no such table"));
        }
        let of_gauge = [k.gauge_width.id(), k.gauge_angle.id()];
        let reads = match self.value("", k.gauge_length) {
            Some(length_mm) => {
                if self.given("", k.along).is_some() {
                    let path = self.path("", k.along);
                    return Err(
                        self.wrong(path, "belongs to a pair of markers, and this is a gauge")
                    );
                }
                for end in [".from", ".to"] {
                    if let Some(key) = k.all().into_iter().find(|k| self.given(end, *k).is_some()) {
                        let path = self.path(end, key);
                        return Err(
                            self.wrong(path, "belongs to a pair of markers, and this is a gauge")
                        );
                    }
                }
                Reading::Gauge {
                    site: self.site("")?,
                    length_mm,
                    width_mm: self.value("", k.gauge_width).unwrap_or(length_mm),
                    angle_deg: self.value("", k.gauge_angle).unwrap_or(0.0),
                }
            }
            None => {
                let of_site = k.of_site();
                let mut idle = of_gauge.into_iter().chain(of_site);
                if let Some(key) = idle.find(|k| self.given("", *k).is_some()) {
                    let path = self.path("", key);
                    return Err(self.wrong(path, "belongs to a gauge, which needs gauge_length_mm"));
                }
                let of_pair = |end: &str| k.all().into_iter().any(|k| self.given(end, k).is_some());
                if !of_pair(".from") && !of_pair(".to") {
                    return Err(self.wrong(own, "nothing says what the sensor reads"));
                }
                Reading::Markers {
                    from: self.site(".from")?,
                    to: self.site(".to")?,
                    along: self.value("", k.along).unwrap_or(MarkerMotion::Distance),
                }
            }
        };
        if let Reading::Markers { from, to, .. } = &reads
            && from == to
        {
            let path = format!("{own}.to");
            return Err(self.wrong(path, "the two markers are at one place"));
        }
        Ok(Sensor {
            name: self.name.to_string(),
            reads,
        })
    }

    fn site(&self, end: &str) -> Result<Site, WrongSensor> {
        let k = &keys().sensors;
        let own = format!("{SENSORS}{}{end}", self.name);
        let of_markers = [
            k.along.id(),
            k.gauge_length.id(),
            k.gauge_width.id(),
            k.gauge_angle.id(),
        ];
        if !end.is_empty()
            && let Some(key) = of_markers
                .into_iter()
                .find(|k| self.given(end, *k).is_some())
        {
            let path = self.path(end, key);
            return Err(self.wrong(path, "is no key of a site"));
        }
        let level_mm = self
            .value(end, k.level)
            .ok_or_else(|| self.wrong(own.clone(), "the site needs level_mm"))?;
        let beside = [self.value(end, k.anterior), self.value(end, k.lateral)];
        let place = match (self.value(end, k.side), beside) {
            (Some(side), [None, None]) => SitePlace::Outermost(side),
            (None, [Some(anterior_mm), Some(lateral_mm)]) => SitePlace::Beside {
                anterior_mm,
                lateral_mm,
            },
            (Some(_), _) => {
                let path = self.path(end, k.side);
                return Err(self.wrong(path, "the site is given by coordinates as well"));
            }
            (None, _) => {
                return Err(self.wrong(own, "the site needs side, or anterior_mm and lateral_mm"));
            }
        };
        Ok(Site { level_mm, place })
    }
}
