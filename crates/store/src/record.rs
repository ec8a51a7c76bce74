//! Records of a study and of its design points.

use crate::contact_record::ContactRecord;
use crate::evidence::{MeshRecord, SolverRecord};
use crate::maker_record::{MakerRecord, StopRecord};
use crate::moved_record::MovedRecord;
use crate::published_record::PublishedRecord;
use crate::screw_record::ScrewAsBuiltRecord;
use bicolumn_response::{Carrier, Choice, Place, ResponseId, ResponseName};
use serde::{Deserialize, Deserializer, Serialize};
use std::collections::BTreeMap;
use std::fmt;

/// Version of the record files' layout.
pub const SCHEMA: u32 = 1;

/// Key that tells the replicates of a design point apart: the pose of the mesh. It is no factor of an analysis; its scatter is
/// the mesh noise.
pub const REPLICATE: &str = "mesh.pose";

/// A factor's value at a point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
#[allow(missing_docs)]
pub enum FactorValue {
    Number(f64),
    Word(String),
    Flag(bool),
}

impl FactorValue {
    /// The number, if it is one.
    pub fn as_number(&self) -> Option<f64> {
        match self {
            FactorValue::Number(n) => Some(*n),
            _ => None,
        }
    }
}

impl fmt::Display for FactorValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FactorValue::Number(n) => n.fmt(f),
            FactorValue::Word(w) => f.write_str(w),
            FactorValue::Flag(b) => b.fmt(f),
        }
    }
}

/// How a point ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum Status {
    /// All stages done.
    Done,
    /// Stopped at a stage, with the reason.
    Failed {
        /// Stage name.
        stage: String,
        /// Reason as shown to the user.
        reason: String,
    },
    /// Left out, for its construct cannot be built.
    Skipped {
        /// Reason as shown to the user.
        reason: String,
    },
}

/// `study.json`: what holds for all points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct StudyRecord {
    pub schema: u32,
    pub engine_version: String,
    pub title: String,
    /// The question in a sentence, from the job file.
    pub question: String,
    /// The job file's text, verbatim.
    pub job_text: String,
    /// Factor names in order, each with its levels in order.
    pub factors: Vec<(String, Vec<FactorValue>)>,
    /// Point ids in order.
    pub points: Vec<String>,
    /// Digest of each point, in the same order: whose record is read as that point's.
    #[serde(default)]
    pub digests: Vec<String>,
    /// Every job key with value, unit, whether it is a default, and source.
    pub inputs: Vec<InputRecord>,
    /// Response definitions: (name, unit, definition).
    pub columns: Vec<(ResponseName, String, String)>,
    /// Response that the report's headline compares, and the factor it is compared over.
    pub headline: Option<HeadlineRecord>,
    /// Response that the answer is about, also where no factor is compared.
    #[serde(default)]
    pub lead_response: Option<ResponseName>,
    /// Bone dimensions measured back: (name, asked, built, unit).
    pub landmarks: Vec<(String, f64, f64, String)>,
    /// Mesh noise by response, where it was measured: coefficient of variation (1 = 100 %) of one
    /// design over shifted meshes. An effect below it is reported as not resolved.
    #[serde(default)]
    pub mesh_noise: BTreeMap<ResponseName, f64>,
    /// Sampled design in words, where the points were drawn: then no levels are compared.
    #[serde(default)]
    pub drawn: Option<String>,
    /// Distributions of the numbers of a sampled design; empty in records that do not tell.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub distributions: Vec<DistributionRecord>,
    /// Hypotheses of the job.
    #[serde(default, alias = "hypothesis", deserialize_with = "hypotheses")]
    pub hypotheses: Vec<HypothesisRecord>,
    /// Effects that the design's points cannot tell apart, in words: "a = b × c".
    #[serde(default)]
    pub aliases: Vec<String>,
    /// Poses that the mesh noise was measured over; 0: not on record.
    #[serde(default)]
    pub mesh_noise_poses: usize,
    /// Published values that the job sets beside its own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub published: Vec<PublishedRecord>,
}

/// `mesh_noise.json`: how much the responses of one design point vary over posed meshes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeshNoise {
    /// The design point it was measured on.
    pub point: String,
    /// How many meshes.
    pub poses: usize,
    /// Largest coefficient of variation over the load cases (1 = 100 %), by response.
    pub by_response: BTreeMap<ResponseName, f64>,
}

/// One key of the job after defaults.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct InputRecord {
    pub key: String,
    pub value: String,
    pub unit: String,
    pub is_default: bool,
    /// Origin in a word: given, factor, default, derived, moved; empty in records that do not tell.
    #[serde(default)]
    pub origin: String,
    pub source: String,
}

/// Distribution of a factor of a sampled design.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DistributionRecord {
    /// Factor.
    pub factor: String,
    /// `uniform`, `normal` or `lognormal`.
    pub form: String,
    /// Mean of the number before it is cut off, in its unit.
    pub mean: f64,
    /// Standard deviation of the number before it is cut off, in its unit.
    pub sd: f64,
    /// Ends at which it is cut off.
    pub ends: [f64; 2],
}

/// A hypothesis of a job: a response at the baseline of a factor against levels at a distance from it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct HypothesisRecord {
    /// Name; empty: the one of `[hypothesis]`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// Response; `None`: the headline's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub response: Option<ResponseName>,
    /// Factor that is compared; `None`: the headline's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over: Option<String>,
    /// Factor at each of whose levels it is judged apart; `None`: the headline's, where it is another than the one compared.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Factors and their levels at the points that it is about; empty: all points.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub at: Vec<(String, String)>,
    /// Load case that it is about; `None`: each.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub case: Option<String>,
    /// Claimed direction: `higher` or `lower` at the baseline.
    pub baseline_is: String,
    /// Levels nearer to the baseline do not count; in the factor's unit.
    pub least_distance: f64,
    /// The smallest difference that matters, per cent of the value at the baseline.
    pub least_difference_percent: f64,
}

/// Hypotheses of a study; earlier records hold one, or null.
fn hypotheses<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<HypothesisRecord>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Stored {
        Several(Vec<HypothesisRecord>),
        One(HypothesisRecord),
    }
    Ok(match Option::<Stored>::deserialize(from)? {
        Some(Stored::Several(claims)) => claims,
        Some(Stored::One(claim)) => vec![claim],
        None => Vec::new(),
    })
}

/// The report's headline comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct HeadlineRecord {
    /// Response.
    pub response: ResponseName,
    /// Factor it is compared over, for example `plates.stagger_mm`.
    pub over: String,
    /// Factor that splits the comparison, for example `construct.layout`.
    pub by: Option<String>,
}

/// `points/ID/record.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct PointRecord {
    pub schema: u32,
    pub engine_version: String,
    pub id: String,
    /// Digest of the resolved inputs and the engine version.
    pub digest: String,
    pub factors: BTreeMap<String, FactorValue>,
    pub status: Status,
    /// Every job key of this point after defaults and factors.
    pub inputs: BTreeMap<String, FactorValue>,
    /// Keys whose values were moved so that the construct could be built.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moved: Vec<MovedRecord>,
    pub plates: Vec<PlateMark>,
    pub screws: Vec<ScrewMark>,
    /// Levels of the fracture's faces on the shaft axis, distal then proximal, mm.
    pub fracture_levels_mm: Option<[f64; 2]>,
    /// Point of the shaft's axis at the level of the flexion axis, mm; `None` in records that do not tell.
    #[serde(default)]
    pub shaft_axis_mm: Option<[f64; 3]>,
    /// Largest distance by which the canal's floor was bent out of the way of screws, mm.
    #[serde(default)]
    pub canal_floor_bent_mm: Option<f64>,
    pub stages: Vec<StageRecord>,
    /// Quality table of the mesh; `None` where the point stopped.
    pub mesh: Option<MeshRecord>,
    /// Report of the solver; `None` where the point stopped.
    pub solver: Option<SolverRecord>,
    /// Steps before the load cases, such as tightening screws.
    #[serde(default)]
    pub preparation: Vec<ContactRecord>,
    pub warnings: Vec<String>,
    /// Cancellous bone whose modulus follows its density.
    #[serde(default)]
    pub density: Option<DensityRecord>,
    pub cases: Vec<CaseRecord>,
    /// Limit that a failed point was stopped by; `None` for any other end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stopped_by: Option<StopRecord>,
    /// Maker of the record; `None` in records that do not tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_by: Option<MakerRecord>,
}

/// A density-based modulus as it came out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DensityRecord {
    /// The law, as a formula with its units.
    pub law: String,
    /// Where it comes from.
    pub source: String,
    /// Least, mean (by volume) and largest Young's modulus over the cancellous elements, MPa.
    pub young_mpa: [f64; 3],
}

/// A plate, as far as charts need it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct PlateMark {
    pub site: String,
    pub end_level_mm: f64,
    pub distal_level_mm: f64,
    pub length_mm: f64,
    pub thickness_mm: f64,
}

/// A screw, as far as charts need it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct ScrewMark {
    pub name: String,
    pub plate: String,
    pub row: String,
    /// Where the axis enters the bone.
    #[serde(default)]
    pub entry_mm: Option<[f64; 3]>,
    pub entry_level_mm: f64,
    pub tip_level_mm: f64,
    pub length_mm: f64,
    pub diameter_mm: f64,
    /// Walls of cortical bone that the axis passes, as built; `None` in records that do not tell.
    #[serde(default)]
    pub cortices: Option<u8>,
    /// Hole, direction, hold and neighbours; `None` in records that do not tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub as_built: Option<ScrewAsBuiltRecord>,
}

/// Time and memory of a stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct StageRecord {
    pub name: String,
    pub seconds: f64,
    /// Largest resident memory of the process up to the stage's end, MiB.
    pub peak_mib: Option<f64>,
}

/// One load case of a point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct CaseRecord {
    pub name: String,
    /// Resultant force (N) and moment about the origin (N·mm) of the load.
    pub force_n: [f64; 3],
    pub moment_nmm: [f64; 3],
    /// Force of the joint's support on the bone, N; `None`: the joint is free.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joint_reaction_n: Option<[f64; 3]>,
    /// Four-point bend, in words, where the case is one: its resultant is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub four_point: Option<String>,
    pub residual: f64,
    pub equilibrium: f64,
    /// Estimated energy norm of the discretisation error over that of the solution; `None`: not estimated.
    #[serde(default)]
    pub energy_error: Option<f64>,
    pub responses: Vec<ResponseRecord>,
    pub profile: ProfileRecord,
    /// The same profile on the intact bone.
    pub intact_profile: Option<ProfileRecord>,
    /// Stress by distance from the wall of each plate's last screw.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub wall_profiles: Vec<WallProfileRecord>,
    /// Section forces of the screws, screw by screw and cut by cut.
    #[serde(default)]
    pub screws: Vec<ScrewForceRecord>,
    /// Forces and moments of bone, plates and screws through horizontal sections; `None` without hardware.
    #[serde(default)]
    pub sharing: Option<SharingRecord>,
    /// Contact state of the interfaces, where any can open or slide.
    #[serde(default)]
    pub contact: Option<ContactRecord>,
}

/// One response.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct ResponseRecord {
    pub name: ResponseName,
    pub value: Option<f64>,
    pub at_mm: Option<[f64; 3]>,
    /// The part it was found in, for a largest value over parts.
    #[serde(default)]
    pub part: Option<String>,
    /// Estimated size of the discretisation error, same unit, the elements' shares added without their signs;
    /// `None`: not estimated.
    pub error_estimate: Option<f64>,
    /// Place in the terms of the construct, and the edge of its region that it lies on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// Value with one choice of its definition changed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub under: Vec<UnderChoice>,
}

/// Value of a response with one choice of its definition changed, from the same solution.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnderChoice {
    /// The choice.
    pub choice: Choice,
    /// The value; `None` where it leaves nothing to read.
    pub value: Option<f64>,
}

/// Bone stress at the last screw of a plate by distance from the screw's wall.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WallProfileRecord {
    /// Site of the plate.
    pub plate: String,
    /// `screw.03`.
    pub screw: String,
    /// Distance from the wall of the screw's cylinder, mm.
    pub distance_mm: Vec<f64>,
    /// Largest stress over the directions round the screw.
    pub stress_mpa: Vec<Option<f64>>,
}

/// Section force and moment of a screw at a cut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScrewForceRecord {
    /// `screw.03`.
    pub screw: String,
    /// `plate_underside`, `bone_surface`, `fracture`, `split`.
    pub cut: String,
    /// Point of the axis at the cut, which moments are about.
    pub at_mm: [f64; 3],
    /// Axial force, tension positive.
    pub axial_n: f64,
    /// Size of the shear force.
    pub shear_n: f64,
    /// Size of the bending moment.
    pub bending_nmm: f64,
    /// Torque on the part beyond, right-hand rule towards the tip.
    pub torque_nmm: f64,
}

/// Forces and moments through horizontal sections, by carrier. At every level the carriers' sum is the load that
/// acts below.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SharingRecord {
    /// Level of each section above the articular axis, mm.
    pub level_mm: Vec<f64>,
    /// One entry for each carrier.
    pub carried: Vec<CarriedRecord>,
}

/// Load of one carrier, level by level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CarriedRecord {
    /// Carrier.
    pub carrier: Carrier,
    /// Force on its part below the section, N, in the bone frame.
    pub force_n: Vec<[f64; 3]>,
    /// Moment of that about the shaft's axis at the level, N·mm, in the bone frame.
    pub moment_nmm: Vec<[f64; 3]>,
}

/// Cortical stress by level.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct ProfileRecord {
    pub level_mm: Vec<f64>,
    pub high_mpa: Vec<f64>,
    pub mean_mpa: Vec<f64>,
    pub beam_mpa: Vec<Option<f64>>,
}

impl PointRecord {
    /// Factors whose levels are not what was built, each once.
    pub fn moved_factors(&self) -> Vec<&str> {
        let mut factors: Vec<&str> = Vec::new();
        let stated = self.moved.iter().filter(|m| !m.is_derived);
        for factor in stated.flat_map(|m| &m.factors) {
            if !factors.contains(&factor.as_str()) {
                factors.push(factor);
            }
        }
        factors
    }

    /// Value of a numeric key as built; `None` where the point has no such quantity.
    pub fn built_value(&self, key: &str) -> Option<f64> {
        match self.moved.iter().find(|m| m.key == key) {
            Some(moved) => Some(moved.built),
            None => self.stated_value(key),
        }
    }

    /// Value of a numeric key as stated, or taken by default; `None` where the point has no such quantity.
    pub fn stated_value(&self, key: &str) -> Option<f64> {
        let is_of_plate = |which: &str| key.contains(&format!(".{which}."));
        let has_plate = |medial: bool| self.plates.iter().any(|p| (p.site == "medial") == medial);
        if is_of_plate("medial") && !has_plate(true) || is_of_plate("other") && !has_plate(false) {
            return None;
        }
        match self.moved.iter().find(|m| m.key == key) {
            Some(moved) => Some(moved.stated),
            None => self.inputs.get(key)?.as_number(),
        }
    }
}

impl ResponseRecord {
    /// Does its value lie on an edge of the region in which it was sought?
    pub fn is_on_edge(&self) -> bool {
        self.place.is_some_and(|place| place.edge.is_some())
    }
}

impl CaseRecord {
    /// Record of a response; `None` where another version of the program did not have it.
    pub fn response(&self, name: &ResponseName) -> Option<&ResponseRecord> {
        self.responses.iter().find(|r| r.name == *name)
    }

    /// Puts an estimate of the discretisation error beside the value of a response, if it has one.
    pub fn put_estimate(&mut self, id: ResponseId, size: f64) {
        let mut rows = self.responses.iter_mut();
        if let Some(row) = rows.find(|r| r.name == id && r.value.is_some()) {
            row.error_estimate = Some(size);
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use bicolumn_response::{LargestOfPlates, Load};

    /// An invented point with one factor and two load cases.
    pub(crate) fn sample_point(id: &str, stagger: f64) -> PointRecord {
        let case = |name: &str, value: f64| CaseRecord {
            name: name.into(),
            force_n: [0.0, -200.0, 0.0],
            moment_nmm: [0.0; 3],
            joint_reaction_n: None,
            four_point: None,
            residual: 1e-10,
            equilibrium: 1e-12,
            energy_error: None,
            responses: vec![
                ResponseRecord {
                    name: Load::Stiffness.into(),
                    value: Some(value),
                    at_mm: None,
                    part: None,
                    error_estimate: None,
                    place: None,
                    under: Vec::new(),
                },
                ResponseRecord {
                    name: LargestOfPlates::LastScrew.into(),
                    value: None,
                    at_mm: Some([0.0, 80.0, 8.0]),
                    part: None,
                    error_estimate: None,
                    place: None,
                    under: Vec::new(),
                },
            ],
            profile: ProfileRecord::default(),
            intact_profile: None,
            wall_profiles: Vec::new(),
            screws: vec![ScrewForceRecord {
                screw: "screw.02".into(),
                cut: "bone_surface".into(),
                at_mm: [1.0, 60.0, 8.0],
                axial_n: -12.5,
                shear_n: 30.0,
                bending_nmm: 75.0,
                torque_nmm: 4.0,
            }],
            sharing: None,
            contact: None,
        };
        PointRecord {
            schema: SCHEMA,
            engine_version: "0".into(),
            id: id.into(),
            digest: "0".into(),
            factors: BTreeMap::from([("plates.stagger_mm".into(), FactorValue::Number(stagger))]),
            status: Status::Done,
            inputs: BTreeMap::new(),
            moved: Vec::new(),
            plates: Vec::new(),
            screws: Vec::new(),
            fracture_levels_mm: None,
            shaft_axis_mm: None,
            canal_floor_bent_mm: None,
            stages: vec![
                StageRecord {
                    name: "mesh".into(),
                    seconds: 1.5,
                    peak_mib: None,
                },
                StageRecord {
                    name: "solve".into(),
                    seconds: 2.0,
                    peak_mib: Some(300.0),
                },
            ],
            mesh: Some(MeshRecord {
                tets: 1000,
                nodes: 1800,
                ..MeshRecord::default()
            }),
            solver: Some(SolverRecord::default()),
            preparation: Vec::new(),
            warnings: Vec::new(),
            density: None,
            cases: vec![case("axial", 500.0), case("torsion", 20.0)],
            stopped_by: None,
            made_by: None,
        }
    }

    #[test]
    fn factor_values_read_as_they_were_written() {
        let text = r#"[-20.0,"parallel",true]"#;
        let values: Vec<FactorValue> = serde_json::from_str(text).unwrap();
        assert_eq!(values[0].to_string(), "-20");
        assert_eq!(values[1].to_string(), "parallel");
        assert_eq!(values[2].to_string(), "true");
        assert_eq!(serde_json::to_string(&values).unwrap(), text);
    }
}
