//! The job, validated: every key known, every value within its range, factors with their levels.

use crate::catalogue::{SECTIONS, keys};
use crate::given::{AllGiven, Given};
use crate::handle::{Key, KeyId, KeyType};
use crate::job_error::{Fault, JobError, JobErrors, Spot};
use crate::key::{KeyRow, Kind};
use crate::load_case::StatedCase;
use crate::named_table::WrongTable;
use crate::plan::MOST_POINTS;
use crate::raw::{RawEntry, RawJob, RawValue};
use crate::settings::Settings;
use crate::units::{Guess, guess, nearest, nearest_few};
use crate::value::Value;
use crate::words::PlateKind;
use crate::{
    composite, design, design_table, hypothesis, load_case, named_path, published, region, sampled,
    sensor, size_field_file,
};
use bicolumn_base::Part;
use bicolumn_mesh::{SizeField, SizeRegion};
use bicolumn_model::Sensor;
use bicolumn_response::ResponseId;
use bicolumn_store::{DistributionRecord, HypothesisRecord, PublishedRecord};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// A factor and its levels.
#[derive(Debug, Clone)]
pub struct Factor {
    /// The key it drives.
    pub key: KeyId,
    /// Levels, in the order of the file, no two alike.
    pub levels: Vec<Value>,
    /// Its place.
    pub(crate) spot: Spot,
}

impl Factor {
    /// Name of the key.
    pub fn path(&self) -> &'static str {
        keys().path(self.key)
    }
}

/// A valid job.
#[derive(Debug, Clone)]
pub struct Job {
    /// The file, as the user named it.
    pub file: PathBuf,
    /// Its text, verbatim; behind it, as comments, the lines of its `design.table`.
    pub text: String,
    /// Keys that the job gives.
    pub(crate) given: AllGiven,
    /// Factors, in the order of the file.
    pub factors: Vec<Factor>,
    /// Content of the file of `mesh.size_field`.
    pub(crate) size_field: Option<SizeField>,
    /// Points of a table, of a sampled or of a central composite design: index of the level of each factor.
    pub(crate) table_points: Vec<Vec<usize>>,
    /// Regions of `[mesh.regions.NAME]`, by name.
    pub(crate) regions: Vec<SizeRegion>,
    /// Load cases of `[loads.case.NAME]`, by name.
    pub(crate) load_cases: Vec<StatedCase>,
    /// Sensors of `[sensors.NAME]`, by name.
    pub(crate) sensors: Vec<Sensor>,
    /// Published values of `[published.NAME]`, by name.
    pub(crate) published: Vec<PublishedRecord>,
    /// Hypotheses, that of `[hypothesis]` first, then those of `[hypothesis.NAME]` by name.
    pub(crate) hypotheses: Vec<HypothesisRecord>,
    /// Factors of a sampled design as the job gives them: ends, and levels of words.
    drawn_from: Vec<Factor>,
    /// Draws of a sampled design, where they are not as many as `design.points`.
    pub(crate) draws: Option<usize>,
    /// Distributions of the numbers of a sampled design.
    pub(crate) distributions: Vec<DistributionRecord>,
}

const FACTORS: &str = "factors.";
/// Keys that a hint names where none is similar.
const MOST_NEAR: usize = 3;

impl Job {
    /// Reads and validates a job file.
    ///
    /// # Errors
    /// All that is wrong with it.
    pub fn read(file: &Path) -> Result<Job, JobErrors> {
        Job::validate(RawJob::read(file)?)
    }

    /// Validates a text as if it were the content of `file`.
    ///
    /// # Errors
    /// All that is wrong with it.
    pub fn parse(file: &Path, text: &str) -> Result<Job, JobErrors> {
        Job::validate(RawJob::parse(file, text.to_string())?)
    }

    fn validate(raw: RawJob) -> Result<Job, JobErrors> {
        let mut job = Job {
            file: raw.file,
            text: raw.text,
            given: AllGiven::new(),
            factors: Vec::new(),
            size_field: None,
            table_points: Vec::new(),
            regions: Vec::new(),
            load_cases: Vec::new(),
            sensors: Vec::new(),
            published: Vec::new(),
            hypotheses: Vec::new(),
            drawn_from: Vec::new(),
            draws: None,
            distributions: Vec::new(),
        };
        let mut errors = Vec::new();
        for (table, spot) in &raw.tables {
            job.check_table(table, *spot, &mut errors);
        }
        for entry in &raw.entries {
            match entry.path.strip_prefix(FACTORS) {
                Some(path) => job.take_factor(path, entry, &mut errors),
                None => job.take_value(entry, &mut errors),
            }
        }
        job.take_table(&mut errors);
        match sampled::sample(&job) {
            Ok(Some(drawn)) => job.take_draws(drawn),
            Ok(None) => {}
            Err(wrong) => errors.extend(wrong),
        }
        match composite::expand(&job) {
            Ok(Some(laid)) => (job.factors, job.table_points) = (laid.factors, laid.points),
            Ok(None) => {}
            Err(wrong) => errors.extend(wrong),
        }
        let (sensors, wrong) = sensor::read(&job.given, &raw.tables);
        job.sensors = sensors;
        errors.extend(job.told(wrong));
        design::check(&job, &mut errors);
        job.check_together(&mut errors);
        let (regions, wrong) = region::read(&job.given, &raw.tables);
        errors.extend(job.told(wrong));
        let (load_cases, wrong) = load_case::read(&job.given, &raw.tables);
        errors.extend(job.told(wrong));
        let folder = job.file.parent().unwrap_or(Path::new(""));
        let size_field = match size_field_file::read(&job.given, folder) {
            Ok(field) => field,
            Err(w) => {
                errors.push(job.error(Some(w.spot), &w.path, w.value, w.fault));
                None
            }
        };
        (job.regions, job.size_field, job.load_cases) = (regions, size_field, load_cases);
        let (published, wrong) = published::read(&job, &raw.tables);
        errors.extend(job.told(wrong));
        job.published = published;
        let (hypotheses, wrong) = hypothesis::read(&job, &raw.tables);
        errors.extend(job.told(wrong));
        job.hypotheses = hypotheses;
        if errors.is_empty() {
            Ok(job)
        } else {
            errors.sort_by_key(|e| e.spot);
            errors.dedup();
            for e in errors.iter_mut().take(JobErrors::TOLD) {
                if e.fault == to_be_guessed() {
                    e.fault = job.unknown(e.key.strip_prefix(FACTORS).unwrap_or(&e.key));
                }
            }
            Err(JobErrors(errors))
        }
    }

    /// Faults of tables under names that the job gives, with the job's file.
    fn told(&self, wrong: Vec<WrongTable>) -> impl Iterator<Item = JobError> {
        let wrong = wrong.into_iter();
        wrong.map(|w| self.error(Some(w.spot), &w.path, w.value, w.fault))
    }

    fn take_draws(&mut self, drawn: sampled::Sampled) {
        self.drawn_from = std::mem::replace(&mut self.factors, drawn.factors);
        self.table_points = drawn.points;
        self.distributions = drawn.distributions;
    }

    /// Has its design a next draw, that may take the place of another?
    pub fn has_next_draw(&self) -> bool {
        let kind = Settings::at(self, &BTreeMap::new()).get(keys().run.design);
        sampled::is_sequence(kind)
    }

    /// Number of its draws, where they are not as many as `design.points`.
    pub fn draws(&self) -> Option<usize> {
        self.draws
    }

    /// The same job with so many draws, the first of which are its own; itself where its design has no next draw.
    pub fn with_draws(&self, draws: usize) -> Job {
        let mut job = self.clone();
        if self.has_next_draw() {
            job.factors.clone_from(&self.drawn_from);
            job.draws = Some(draws);
            match sampled::sample(&job) {
                Ok(Some(drawn)) => job.take_draws(drawn),
                _ => return self.clone(),
            }
        }
        job
    }

    /// Sampled design in words, where the points were drawn.
    pub fn drawn(&self) -> Option<String> {
        sampled::in_words(&Settings::at(self, &BTreeMap::new()))
    }

    /// Place where a key is given, as a value or as a factor.
    pub(crate) fn spot_of(&self, key: impl Into<KeyId>) -> Option<Spot> {
        let key = key.into();
        let factor = || self.factors.iter().find(|f| f.key == key);
        let given = self.given.get(keys().path(key)).map(|g| g.spot);
        given.or_else(|| factor().map(|f| f.spot))
    }

    /// Sensors of the job, by name.
    pub fn sensors(&self) -> &[Sensor] {
        &self.sensors
    }

    /// Published values of the job, by name.
    pub fn published(&self) -> &[PublishedRecord] {
        &self.published
    }

    /// Hypotheses of the job, the one without a name first, the others by name.
    pub fn hypotheses(&self) -> &[HypothesisRecord] {
        &self.hypotheses
    }

    /// Distributions of the numbers of a sampled design, by factor; empty for another design.
    pub fn distributions(&self) -> &[DistributionRecord] {
        &self.distributions
    }

    /// Line where the job gives a key, in full.
    pub fn line_of(&self, path: &str) -> Option<usize> {
        self.given.get(path).map(|g| g.spot.line)
    }

    /// Replicates of each design point: meshes of other poses.
    pub fn replicates(&self) -> usize {
        Settings::at(self, &BTreeMap::new()).get(keys().run.replicates)
    }

    /// Meshes of other poses that the centre of the design is solved on.
    pub fn centre_points(&self) -> usize {
        Settings::at(self, &BTreeMap::new()).get(keys().run.centre_points)
    }

    /// Most poses of a design point.
    pub fn poses(&self) -> usize {
        self.replicates().max(self.centre_points())
    }

    /// Threads that the job asks for, for all points together.
    pub fn threads(&self) -> Option<usize> {
        self.stated(keys().run.threads).flatten()
    }

    /// Value and place of a key that the job gives a value of.
    fn given(&self, key: impl Into<KeyId>) -> Option<&Given> {
        self.given.get(keys().path(key))
    }

    /// Value that the job states for a key.
    pub(crate) fn stated<T: KeyType>(&self, key: Key<T>) -> Option<T::Out> {
        T::read(self.given(key).map(|g| &g.value))
    }

    /// Factor that the headline is compared over: the one named, else the first with numbers, else the first.
    pub fn compared_factor(&self) -> Option<&Factor> {
        let named = self.stated(keys().run.over).flatten();
        let named = self
            .factors
            .iter()
            .find(|f| named.as_deref() == Some(f.path()));
        let with_numbers = || self.factors.iter().find(|f| f.levels[0].number().is_some());
        named.or_else(with_numbers).or(self.factors.first())
    }

    /// An error at a place of this job.
    pub(crate) fn error(
        &self,
        spot: Option<Spot>,
        key: &str,
        value: String,
        fault: Fault,
    ) -> JobError {
        JobError {
            file: self.file.clone(),
            spot,
            key: key.to_string(),
            value,
            fault,
        }
    }

    /// A table where a value belongs, and one that no key lies in: an empty one would otherwise go unnoticed.
    fn check_table(&self, table: &str, spot: Spot, errors: &mut Vec<JobError>) {
        let (bare, is_of_factors) = match table.strip_prefix(FACTORS) {
            Some(path) => (path, true),
            None => (table, false),
        };
        if let Some(key) = keys().find(bare) {
            let fault = match is_of_factors {
                true => needs_levels(),
                false => Fault::NotAccepted {
                    accepted: keys().row(key).accepted(),
                    nearest: None,
                },
            };
            errors.push(self.error(Some(spot), table, "(a table)".into(), fault));
            return;
        }
        let prefix = format!("{bare}.");
        let is_known = bare == "factors"
            || named_path::is_table(bare)
            || keys().rows().any(|(_, k)| k.path.starts_with(&prefix));
        // What lies in a table where a value belongs was told with it.
        if !is_known && !lies_in_key(bare) {
            errors.push(self.error(Some(spot), table, String::new(), to_be_guessed()));
        }
    }

    fn take_value(&mut self, entry: &RawEntry, errors: &mut Vec<JobError>) {
        let Some(key) = keys().find(&entry.path) else {
            // A wrong table was told once already.
            let lies_in = |e: &JobError| match entry.path.strip_prefix(&e.key) {
                Some(rest) => !e.key.is_empty() && rest.starts_with('.'),
                None => false,
            };
            let section = entry.path.split('.').next().unwrap_or_default();
            let is_told = !SECTIONS.contains(&section) && errors.iter().any(lies_in);
            if !is_told && !lies_in_key(&entry.path) {
                errors.push(self.unknown_key(entry));
            }
            return;
        };
        match convert(&entry.value, keys().row(key)) {
            Ok(value) => {
                self.given.insert(
                    entry.path.clone(),
                    Given {
                        value,
                        spot: entry.key_spot,
                    },
                );
            }
            Err(fault) => errors.push(self.error(
                Some(entry.value_spot),
                &entry.path,
                entry.value.shown(),
                fault,
            )),
        }
    }

    fn take_factor(&mut self, path: &str, entry: &RawEntry, errors: &mut Vec<JobError>) {
        let Some(key) = keys().find(path) else {
            if !lies_in_key(path) {
                errors.push(self.unknown_key(entry));
            }
            return;
        };
        let row = keys().row(key);
        let file = self.file.clone();
        let fail = |spot, value: String, fault: Fault| JobError {
            file: file.clone(),
            spot: Some(spot),
            key: format!("{FACTORS}{path}"),
            value,
            fault,
        };
        if !row.may_be_factor() {
            errors.push(fail(
                entry.key_spot,
                String::new(),
                Fault::Conflict {
                    why: "this key cannot be a factor".into(),
                    hint: "a factor drives a number, a word or a flag of the construct, its loads or its mesh".into(),
                },
            ));
            return;
        }
        let items = match &entry.value {
            RawValue::List(items) if !items.is_empty() => items,
            other => {
                errors.push(fail(entry.value_spot, other.shown(), needs_levels()));
                return;
            }
        };
        if items.len() > MOST_POINTS {
            errors.push(fail(
                entry.value_spot,
                String::new(),
                Fault::Conflict {
                    why: format!("{} levels; at most {MOST_POINTS} are accepted", items.len()),
                    hint: String::new(),
                },
            ));
            return;
        }
        let mut levels: Vec<Value> = Vec::new();
        for (item, spot) in items {
            match convert(item, row) {
                Ok(v) if levels.contains(&v) => errors.push(fail(
                    *spot,
                    item.shown(),
                    Fault::Conflict {
                        why: "this level is there twice".into(),
                        hint: String::new(),
                    },
                )),
                Ok(v) => levels.push(v),
                Err(fault) => errors.push(fail(*spot, item.shown(), fault)),
            }
        }
        if !levels.is_empty() {
            self.factors.push(Factor {
                key,
                levels,
                spot: entry.key_spot,
            });
        }
    }

    /// Factors and points of `design.table`. Its lines are added to the job's text as comments, so that the text tells
    /// the points.
    fn take_table(&mut self, errors: &mut Vec<JobError>) {
        let Some(given) = self.given(keys().run.table) else {
            return;
        };
        let (name, spot) = (given.value.to_string(), given.spot);
        if let Some(factor) = self.factors.first() {
            let fault = Fault::Conflict {
                why: "the table holds the factors, and this is another".into(),
                hint: "leave out [factors] or design.table".into(),
            };
            let key = format!("{FACTORS}{}", factor.path());
            errors.push(self.error(Some(factor.spot), &key, String::new(), fault));
            return;
        }
        match design_table::read(self, &name, spot) {
            Ok(table) => {
                self.text.push_str(&format!("\n# {name}: the points\n"));
                for line in table.text.lines() {
                    self.text.push_str(&format!("# {line}\n"));
                }
                (self.factors, self.table_points) = (table.factors, table.points);
            }
            Err(wrong) => errors.extend(wrong),
        }
    }

    fn unknown_key(&self, entry: &RawEntry) -> JobError {
        let (spot, value) = (Some(entry.key_spot), entry.value.shown());
        self.error(spot, &entry.path, value, to_be_guessed())
    }

    pub(crate) fn unknown(&self, path: &str) -> Fault {
        if let Some(listed) = named_path::listed_as(path).filter(|l| l != path) {
            return match self.unknown(&listed) {
                Fault::UnknownKey {
                    nearest: Some(k), ..
                } => Fault::UnknownKey {
                    nearest: Some(named_path::named_as(&k, path)),
                    others: String::new(),
                },
                Fault::WrongUnit { meant } => Fault::WrongUnit {
                    meant: named_path::named_as(&meant, path),
                },
                other => other,
            };
        }
        match guess(path, keys().rows().map(|(_, k)| k.path.as_str())) {
            Guess::OtherUnit(meant) => Fault::WrongUnit { meant },
            // Another part's key is no guess at what was meant: the accepted names are told instead.
            Guess::Similar(k)
                if keys().find(&k).is_some_and(is_of_named_part) && !same_part(&k, path) =>
            {
                Fault::UnknownKey {
                    nearest: None,
                    others: format!("known here: {}", of_named_parts()),
                }
            }
            Guess::Similar(k) => Fault::UnknownKey {
                nearest: Some(k),
                others: String::new(),
            },
            Guess::None => {
                let section = path.split('.').next().unwrap_or_default();
                if let Some(s) = nearest(section, SECTIONS.into_iter()).filter(|s| *s != section) {
                    return Fault::UnknownKey {
                        nearest: Some(format!("[{s}]")),
                        others: String::new(),
                    };
                }
                Fault::UnknownKey {
                    nearest: None,
                    others: near_in_section(section, path),
                }
            }
        }
    }

    /// Checks that concern several keys together.
    fn check_together(&self, errors: &mut Vec<JobError>) {
        for factor in &self.factors {
            if let Some(given) = self.given(factor.key) {
                errors.push(self.error(
                    Some(given.spot),
                    factor.path(),
                    given.value.to_string(),
                    Fault::Conflict {
                        why: format!(
                            "given as a value here and as a factor in line {}",
                            factor.spot.line
                        ),
                        hint: "leave one of them out; the levels of a factor hold every value it takes"
                            .into(),
                    },
                ));
            }
        }
        // Both ends given directly leave nothing for the stagger to do.
        let plates = &keys().plates;
        let ends = PlateKind::ALL.map(|which| plates.end(which));
        if ends.iter().all(|e| self.spot_of(*e).is_some()) {
            let ends = ends.map(|e| keys().path(e));
            let idle = [plates.stagger, plates.end_level].map(|k| k.id());
            let relative = [plates.end_above_fossa, plates.end_above_fracture].map(|k| k.id());
            for idle in idle.into_iter().chain(relative) {
                if let Some(spot) = self.spot_of(idle) {
                    let idle = keys().path(idle);
                    errors.push(self.error(
                        Some(spot),
                        idle,
                        String::new(),
                        Fault::Conflict {
                            why: "has no effect: both ends are given directly".into(),
                            hint: format!("leave out {idle}, or {} and {}", ends[0], ends[1]),
                        },
                    ));
                }
            }
        }
        // One of the keys that state the same level.
        let fracture = &keys().fracture;
        for [level, fossa, other] in [
            [
                fracture.level.id(),
                fracture.above_fossa.id(),
                fracture.above_fossa.id(),
            ],
            [
                plates.end_level.id(),
                plates.end_above_fossa.id(),
                plates.end_above_fracture.id(),
            ],
        ] {
            let mut stated = vec![level, fossa, other];
            stated.dedup();
            stated.retain(|k| self.spot_of(*k).is_some());
            if let [first, second, ..] = stated[..] {
                errors.push(self.error(
                    self.spot_of(second),
                    keys().path(second),
                    String::new(),
                    Fault::Conflict {
                        why: format!("{} states the same level", keys().path(first)),
                        hint: "leave one of them out".into(),
                    },
                ));
            }
        }
        // A frame has all four landmarks.
        let landmarks = keys().bone.landmarks.map(Key::id);
        let given = landmarks.iter().find_map(|k| self.spot_of(*k));
        let missing = landmarks.iter().find(|k| self.spot_of(**k).is_none());
        if let (Some(spot), Some(missing)) = (given, missing) {
            let fault = Fault::Conflict {
                why: "needed as well: the frame of a surface has four landmarks".into(),
                hint: format!("give {}", landmarks.map(|k| keys().path(k)).join(", ")),
            };
            errors.push(self.error(Some(spot), keys().path(*missing), String::new(), fault));
        }
        let factor_names: Vec<&str> = self.factors.iter().map(Factor::path).collect();
        for key in [keys().run.over, keys().run.by] {
            let path = keys().path(key);
            if let Some(given) = self.given(key) {
                let name = given.value.to_string();
                if !factor_names.contains(&name.as_str()) {
                    errors.push(self.error(
                        Some(given.spot),
                        path,
                        format!("{name:?}"),
                        Fault::NotAccepted {
                            accepted: match factor_names.len() {
                                0 => "name a factor, and this job has none".into(),
                                _ => format!(
                                    "name a factor of this job: {}",
                                    factor_names.join(", ")
                                ),
                            },
                            nearest:
                                nearest(&name, factor_names.iter().copied()).map(str::to_string),
                        },
                    ));
                }
            }
        }
        let sensors = self.sensors.iter().map(Sensor::column);
        let responses = ResponseId::all().iter().map(|id| id.name());
        let responses: Vec<String> = responses.chain(sensors).collect();
        let headline = keys().run.headline;
        if let Some(given) = self.given(headline) {
            let name = given.value.to_string();
            if !responses.contains(&name) {
                errors.push(
                    self.error(
                        Some(given.spot),
                        keys().path(headline),
                        format!("{name:?}"),
                        Fault::NotAccepted {
                            accepted: "name a response; the names stand in columns.json".into(),
                            nearest: nearest(&name, responses.iter().map(String::as_str))
                                .map(str::to_string),
                        },
                    ),
                );
            }
        }
    }
}

/// An unknown key of which the nearest are looked for when the faults to be told are known.
fn to_be_guessed() -> Fault {
    Fault::UnknownKey {
        nearest: None,
        others: String::new(),
    }
}

fn needs_levels() -> Fault {
    Fault::Conflict {
        why: "a factor needs a list of levels".into(),
        hint: "for example [-20, 0, 20]; of a sampled design the two ends, as [17, 21]".into(),
    }
}

/// Is a part of the path before its end a key, so that the path lies in a table where a value belongs?
fn lies_in_key(path: &str) -> bool {
    let mut ends = path.match_indices('.').map(|(at, _)| at);
    ends.any(|end| keys().find(&path[..end]).is_some())
}

/// The keys of a section nearest to a path; the sections where there is none of that name.
fn near_in_section(section: &str, path: &str) -> String {
    let prefix = format!("{section}.");
    let own = keys()
        .rows()
        .filter(|(id, k)| k.path.starts_with(&prefix) && !is_of_named_part(*id));
    let mut near = nearest_few(path, own.map(|(_, k)| k.path.as_str()), MOST_NEAR).join(", ");
    if near.is_empty() {
        let sections: Vec<String> = SECTIONS.iter().map(|s| format!("[{s}]")).collect();
        return format!("known here: {}", sections.join(", "));
    }
    if section == "interfaces" {
        near = format!("{near}, {}", of_named_parts());
    }
    format!("nearest here: {near}; bicolumn keys lists all")
}

/// Do two keys begin alike up to their last name?
fn same_part(a: &str, b: &str) -> bool {
    a.rsplit_once('.').map(|a| a.0) == b.rsplit_once('.').map(|b| b.0)
}

/// Keys of interfaces by part name are many and alike: a list of keys sums them up.
fn is_of_named_part(key: KeyId) -> bool {
    keys().interfaces.is_named(key)
}

fn of_named_parts() -> String {
    let parts: BTreeSet<Part> = keys().interfaces.named().map(|n| n.part).collect();
    let is_plate = |part: &&Part| matches!(part, Part::Plate(_));
    let plates: Vec<String> = parts.iter().filter(is_plate).map(Part::to_string).collect();
    let screws = parts.len() - plates.len();
    format!(
        "interfaces.PART.bone and interfaces.PART.bone_friction with PART one of {}, screw.01 to \
         screw.{screws:02}; of screws also interfaces.PART.seat and interfaces.PART.seat_friction",
        plates.join(", ")
    )
}

/// Gives a raw value the type of its key and checks its range.
pub(crate) fn convert(raw: &RawValue, key: &KeyRow) -> Result<Value, Fault> {
    let refuse = |nearest| {
        Err(Fault::NotAccepted {
            accepted: key.accepted(),
            nearest,
        })
    };
    let value = match (&key.kind, raw) {
        (Kind::Number { .. }, RawValue::Float(x)) => Value::Number(*x),
        (Kind::Number { .. }, RawValue::Integer(i)) => Value::Number(*i as f64),
        (Kind::Integer { .. }, RawValue::Integer(i)) => Value::Integer(*i),
        (Kind::Word(_), RawValue::Text(s)) => Value::Word(s.clone()),
        (Kind::Flag, RawValue::Flag(b)) => Value::Flag(*b),
        (Kind::Text, RawValue::Text(s)) => Value::Text(s.clone()),
        (Kind::Place, RawValue::List(items)) => {
            let number = |(item, _): &(RawValue, Spot)| match item {
                RawValue::Float(x) => Some(*x),
                RawValue::Integer(i) => Some(*i as f64),
                _ => None,
            };
            let numbers: Option<Vec<f64>> = items.iter().map(number).collect();
            let place: Option<[f64; 3]> = numbers.and_then(|n| n.try_into().ok());
            match place {
                Some(place) => Value::Place(place),
                None => return refuse(None),
            }
        }
        (Kind::Cases(_), RawValue::List(items)) => {
            let mut words = Vec::new();
            for (item, _) in items {
                match item {
                    RawValue::Text(s) => words.push(s.clone()),
                    _ => return refuse(None),
                }
            }
            Value::List(words)
        }
        _ => return refuse(None),
    };
    if key.accepts(&value) {
        return Ok(value);
    }
    let near = match (&key.kind, &value) {
        (Kind::Word(words), Value::Word(w)) => nearest(w, words.iter().copied()),
        _ => None,
    };
    refuse(near.map(str::to_string))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn complaints(text: &str) -> String {
        Job::parse(Path::new("jobs/x.toml"), text)
            .unwrap_err()
            .to_string()
    }

    #[test]
    fn a_value_out_of_range_is_told_as_a_reader_would_want() {
        assert_eq!(
            complaints("[fracture]\n# invented\ngap_mm = -3\n"),
            "jobs/x.toml:3: fracture.gap_mm = -3: must be 0 (reduced: the faces touch) or lie between 1 and 15 mm"
        );
    }

    #[test]
    fn a_wrong_unit_names_the_right_one() {
        assert_eq!(
            complaints("[fracture]\ngap_cm = 0.5\n"),
            "jobs/x.toml:2: fracture.gap_cm = 0.5: no such key; the unit at its end is wrong\n  \
             hint: did you mean fracture.gap_mm (mm)?"
        );
    }

    #[test]
    fn a_part_that_cannot_be_is_told_with_the_names_that_can() {
        for text in [
            "interfaces.screw.3.seat = \"frictional\"\n",
            "[interfaces.screw.31]\nbone_friction = 0.2\n",
            "[interfaces]\nplate.dorsal.bone = \"bonded\"\n",
        ] {
            let told = complaints(text);
            assert!(told.contains("no such key"), "{told}");
            assert!(
                told.contains(
                    "plate.medial, plate.lateral, plate.posterolateral, screw.01 to screw.30"
                ),
                "{told}"
            );
        }
        let told = complaints("[interfaces.screw.03]\nseet = \"bonded\"\n");
        assert!(
            told.contains("did you mean interfaces.screw.03.seat?"),
            "{told}"
        );
        let told = complaints("interfaces.screw.03.seat = \"apart\"\n");
        assert!(
            told.contains("x.toml:1: interfaces.screw.03.seat = \"apart\": must be one of"),
            "{told}"
        );
    }

    #[test]
    fn everything_wrong_is_told_at_once_in_file_order() {
        let text = "[plates]\nthickness_mm = -2.7\nwidht_mm = 10\n[construct]\nlayout = \"paralel\"\n[factors]\n\"plates.stagger_mm\" = [0, 0, 900]\n";
        let all = complaints(text);
        let lines: Vec<&str> = all.lines().filter(|l| !l.starts_with("  hint")).collect();
        assert_eq!(lines.len(), 5, "{all}");
        for (line, start) in lines.iter().zip([
            "jobs/x.toml:2: plates.thickness_mm = -2.7: must lie between",
            "jobs/x.toml:3: plates.widht_mm = 10: no such key",
            "jobs/x.toml:5: construct.layout = \"paralel\": must be one of",
            "jobs/x.toml:7: factors.plates.stagger_mm = 0: this level is there twice",
            "jobs/x.toml:7: factors.plates.stagger_mm = 900: must lie between",
        ]) {
            assert!(line.starts_with(start), "{line}");
        }
        assert!(all.contains("did you mean plates.width_mm?"), "{all}");
        assert!(all.contains("did you mean \"parallel\"?"), "{all}");
    }

    #[test]
    fn unknown_tables_are_seen_even_when_empty() {
        let all = complaints("[fractur]\n[plate]\nwidth_mm = 3\n");
        assert!(all.contains("jobs/x.toml:1: fractur: no such key"), "{all}");
        assert!(all.contains("jobs/x.toml:2: plate"), "{all}");
        assert!(all.contains("[fracture]"), "{all}");
    }

    #[test]
    fn a_table_that_no_key_lies_in_is_seen_in_a_known_section_too() {
        for text in [
            "[bone.shaft]\n",
            "[factors.plates.sizes]\n",
            "[mesh.regions.\"a b\"]\n",
        ] {
            let told = complaints(text);
            assert!(
                told.contains("x.toml:1: ") && told.contains("no such key"),
                "{told}"
            );
        }
        let told = complaints("[factors]\nfracture.gap_mm = {min = 2, max = 5}\n");
        assert!(
            told.starts_with("jobs/x.toml:2: factors.fracture.gap_mm = (a table): a factor needs a list of levels"),
            "{told}"
        );
        assert_eq!(told.lines().count(), 2, "{told}");
    }

    #[test]
    fn hints_name_three_keys_and_messages_are_bounded_and_on_their_line() {
        let told = complaints("screws.colour = 3\n");
        assert!(told.contains("hint: nearest here: screws."), "{told}");
        assert_eq!(told.matches("screws.").count(), 4, "{told}");
        let forged = complaints("\"a\\n\\u001b[2Jjobs/x.toml:9: \\u202e\" = 3\n");
        assert!(
            forged.starts_with(
                "jobs/x.toml:1: a\\n\\u{1b}[2Jjobs/x.toml:9: \\u{202e} = 3: no such key"
            ),
            "{forged}"
        );
        let long = "p".repeat(10_000_000);
        for text in [
            format!("{long} = 1\n"),
            format!("bone.{long} = 1\n"),
            format!("construct.layout = \"{long}\"\n"),
            format!("[factors]\nfracture.gap_mm = \"{long}\"\n"),
        ] {
            let told = complaints(&text);
            assert!(
                told.len() < 3_000 && told.contains("p ... p"),
                "{}",
                told.len()
            );
        }
        let many: String = (0..4_900).map(|n| format!("bone.key{n} = 1\n")).collect();
        let told = complaints(&many);
        assert!(
            told.ends_with("\nand 4860 more") && told.len() < 20_000,
            "{told}"
        );
        let levels = vec!["1"; 100_000].join(", ");
        let told = complaints(&format!("[factors]\nfracture.gap_mm = [{levels}]\n"));
        assert!(
            told.contains("100000 levels; at most 10000 are accepted"),
            "{told}"
        );
    }

    #[test]
    fn value_and_factor_of_one_key_clash() {
        let all = complaints("plates.stagger_mm = 3\n[factors]\nplates.stagger_mm = [0, 3]\n");
        assert!(all.contains("jobs/x.toml:1: plates.stagger_mm = 3: given as a value here and as a factor in line 3"), "{all}");
    }

    #[test]
    fn run_keys_and_lists_are_no_factors() {
        let all =
            complaints("[factors]\n\"run.threads\" = [1, 2]\n\"loads.cases\" = [[\"axial\"]]\n");
        assert_eq!(all.matches("cannot be a factor").count(), 2, "{all}");
    }

    #[test]
    fn a_good_job_keeps_file_order_of_factors() {
        let job = Job::parse(
            Path::new("x.toml"),
            "[factors]\n\"plates.stagger_mm\" = [-20, 0, 20]\n\"construct.layout\" = [\"parallel\", \"orthogonal\"]\n",
        )
        .unwrap();
        let names: Vec<&str> = job.factors.iter().map(Factor::path).collect();
        assert_eq!(names, ["plates.stagger_mm", "construct.layout"]);
    }
}
