//! How far responses are from those of an infinitely fine mesh: what has to be solved for, and what comes out.
//!
//! Each response that is estimated is linearised at the solution: its change is the work of nodal forces on
//! the change of displacement. Under those forces the adjoint field is solved; its product with the load
//! case's own defect is the error ([`bicolumn_estimate`]). Stiffness and the rotation under a couple need
//! none: their forces are the load itself.
//!
//! | response | forces |
//! | --- | --- |
//! | displacement and stiffness of the load, energy | the load |
//! | rotation and its stiffness | a couple on the loaded facets, about the axis of the moment |
//! | motion of the fracture | the six components of the rigid motion of the faces against each other, for all load cases: the *error* of that motion is taken as rigid |
//! | stress at a last screw, beyond a plate's end | the slope of the balls' means by their weights, the balls staying where they are |
//!
//! A hot-spot is read from the recovered stress, which errs by itself: what recovery would make of the
//! smoothed stress is taken from the smoothed stress, and the difference added.

use crate::ball::BallFiller;
use crate::gap_motion::{FractureFrame, GapFaces, RelativeMotion, RigidShare};
use crate::load_response::{loaded_points, moment_of};
use crate::locator::Locator;
use crate::recovered::{Recovered, RecoveredStress};
use crate::rigid::Spread;
use crate::shape::push_at;
use crate::{CaseMeasures, Solved};
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_estimate::{Defects, Distinct, Pair, Product, Smoothing, multiple_of};
use bicolumn_response::{
    Check, FaceRegion, LargestOfPlates, Load, Motion, MotionAxis, PlateColumn, ResponseId,
};
use bicolumn_solve::StressField;
use bicolumn_sparse::Team;
use std::collections::BTreeMap;

/// Goal functionals: right-hand sides of the adjoint problems, and the responses whose estimates they become.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Goals {
    /// Nodal forces of each adjoint field, N for a response in its unit; none a multiple of another.
    pub loads: Vec<Vec<Vec3>>,
    terms: Vec<Term>,
}

/// One response of one load case.
#[derive(Debug, Clone, PartialEq)]
struct Term {
    case: usize,
    response: ResponseId,
    /// Weight of the case's product with itself.
    own: f64,
    /// Weights of its products with adjoint fields.
    adjoint: Vec<(usize, f64)>,
    /// Slope of the response by the recovered stress at part-nodes, where it is read from that.
    reading: Vec<(u32, SymTensor)>,
}

/// The error of one response as estimated. The one with its sign may cancel where the error does not, for
/// hot-spots above all; the size without cancellation is what a value should be given with
/// (docs/verification.md).
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorEstimate {
    /// Index of the load case.
    pub case: usize,
    /// Response.
    pub response: ResponseId,
    /// The value on an infinitely fine mesh less the value here, in the unit of the response.
    pub error: f64,
    /// The same without cancellation: the elements' shares and what recovery errs by added by their sizes.
    pub bound: f64,
    /// Share of each element, absolute, same unit; empty unless asked for.
    pub by_element: Vec<f64>,
}

/// All estimates of a solved model.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Estimates {
    /// By load case and response.
    pub responses: Vec<ErrorEstimate>,
    /// Estimated energy norm of the error over that of the solution, by load case.
    pub energy: Vec<f64>,
}

impl Goals {
    /// Goals of a linear model without contact, from the responses measured on it.
    pub fn of(solved: &Solved<'_>, stress: &RecoveredStress, measures: &[CaseMeasures]) -> Self {
        let model = Recovered::new(*solved, stress);
        let mut goals = Goals::default();
        goals.add_load_responses(&model, measures);
        goals.add_motion(&model);
        goals.add_hotspots(&model, measures);
        goals
    }

    /// Takes a load in, or finds it a multiple of one that is there: its index and factor.
    fn load(&mut self, forces: Vec<Vec3>) -> (usize, f64) {
        let before = self.loads.iter().enumerate();
        let found = before
            .filter_map(|(k, load)| Some((k, multiple_of(load, &forces)?)))
            .next();
        found.unwrap_or_else(|| {
            self.loads.push(forces);
            (self.loads.len() - 1, 1.0)
        })
    }

    fn add(
        &mut self,
        case: usize,
        response: impl Into<ResponseId>,
        own: f64,
        adjoint: Vec<(usize, f64)>,
    ) {
        self.terms.push(Term {
            case,
            response: response.into(),
            own,
            adjoint,
            reading: vec![],
        });
    }

    fn add_load_responses(&mut self, model: &Recovered<'_>, measures: &[CaseMeasures]) {
        let solved = &model.solved;
        let cases = solved.problem.cases().iter().zip(measures).enumerate();
        for (k, (case, measured)) in cases {
            let value = |response: Load| measured.value(response);
            let size = case.size_n();
            self.add(k, Check::EnergyTotal, 0.5, vec![]);
            if let Some(displacement) = value(Load::Displacement) {
                self.add(k, Load::Displacement, 1.0 / size, vec![]);
                if let Some(stiffness) = value(Load::Stiffness) {
                    let slope = -stiffness / (displacement * size);
                    self.add(k, Load::Stiffness, slope, vec![]);
                    if let Some(rigidity) = value(Load::BendingRigidity) {
                        let slope = slope * rigidity / stiffness;
                        self.add(k, Load::BendingRigidity, slope, vec![]);
                    }
                }
            }
            let Some(angle) = value(Load::Rotation) else {
                continue;
            };
            let moment = moment_of(model, case);
            let (own, adjoint) = if value(Load::Displacement).is_none() {
                // The work of a couple is its moment times the angle.
                ((1.0 / moment.norm()).to_degrees(), vec![])
            } else {
                let Some(load) = rotation_load(model, k, moment.normalize()) else {
                    continue;
                };
                let (load, factor) = self.load(load);
                (0.0, vec![(load, factor.to_degrees())])
            };
            self.add(k, Load::Rotation, own, adjoint.clone());
            if let Some(stiffness) = value(Load::RotationStiffness) {
                let slope = -stiffness / angle;
                let adjoint = adjoint.into_iter().map(|(load, w)| (load, w * slope));
                let stiffness = Load::RotationStiffness;
                self.add(k, stiffness, own * slope, adjoint.collect());
            }
        }
    }

    fn add_motion(&mut self, model: &Recovered<'_>) {
        let construct = model.solved.construct;
        let Some(fracture) = &construct.fracture else {
            return;
        };
        let frame = FractureFrame::new(fracture.normal, construct.bone.side());
        let Some(gap) = GapFaces::find(model.mesh, frame) else {
            return;
        };
        let axes = gap.axes();
        let shifts = axes.map(RelativeMotion::Shift);
        let turns = axes.map(RelativeMotion::Turn);
        let components = shifts.into_iter().chain(turns);
        let loads: Option<Vec<_>> = components.map(|c| gap.load_of(model.mesh, c)).collect();
        let Some(loads) = loads else { return };
        let loads: Vec<(usize, f64)> = loads.into_iter().map(|l| self.load(l)).collect();
        let weights = |share: &RigidShare, factor: f64| -> Vec<(usize, f64)> {
            let along = |v: &Vec3| axes.map(|a| v.dot(&a) * factor);
            let both = along(&share.shift).into_iter().chain(along(&share.turn));
            let weighted = loads.iter().zip(both);
            weighted.map(|((load, own), w)| (*load, own * w)).collect()
        };
        for (k, u) in model.solved.solution.displacement.iter().enumerate() {
            let Some(shares) = gap.rigid_shares(model.mesh, u) else {
                continue;
            };
            for (region, share) in FaceRegion::ALL.into_iter().zip(&shares.regions) {
                let Some([axial, shear]) = share else {
                    continue;
                };
                let (axial, shear) = (weights(axial, 1.0), weights(shear, 1.0));
                self.add(k, Motion::shear(region), 0.0, shear);
                let gap_mm = fracture.spec.gap_mm;
                if let Some(strain) = Motion::strain(region).filter(|_| gap_mm > 0.0) {
                    let percent = axial.iter().map(|(l, w)| (*l, w * 100.0 / gap_mm));
                    self.add(k, strain, 0.0, percent.collect());
                }
                self.add(k, Motion::axial(region), 0.0, axial);
            }
            let peak = |share| weights(share, 1.0);
            self.add(k, Motion::AxialMax, 0.0, peak(&shares.axial_peak));
            self.add(k, Motion::ShearMax, 0.0, peak(&shares.shear_peak));
            for (i, axis) in MotionAxis::ALL.into_iter().enumerate() {
                let (load, own) = loads[3 + i];
                let turn = vec![(load, own.to_degrees())];
                self.add(k, Motion::rotation(axis), 0.0, turn);
            }
        }
    }

    /// Stress at last screws and beyond plate ends, of the plate that has the larger one, by load case.
    fn add_hotspots(&mut self, model: &Recovered<'_>, measures: &[CaseMeasures]) {
        let mut locator = Locator::new(model.mesh, |t| model.is_shaft_cortex(t));
        let mut filler = BallFiller::new(&mut locator, model.stress);
        let problem = model.solved.problem;
        for (k, measured) in measures.iter().enumerate() {
            for largest in [LargestOfPlates::LastScrew, LargestOfPlates::BeyondEnd] {
                let Some(found) = measured.response(largest).filter(|r| r.value.is_some()) else {
                    continue;
                };
                let mut slope: BTreeMap<u32, SymTensor> = BTreeMap::new();
                for (weight, centre) in &found.balls {
                    for (node, g) in filler.slope(*centre, k) {
                        let at = slope.entry(node).or_insert_with(SymTensor::zeros);
                        *at = *at + g * *weight;
                    }
                }
                let reading: Vec<(u32, SymTensor)> = slope.into_iter().collect();
                let load = StressField::load_of(problem, &model.stress.part_nodes, &reading);
                let load = self.load(load);
                let is_same = |id: &ResponseId| {
                    let own = measured.response(*id);
                    own.is_some_and(|r| r.value == found.value && r.at == found.at)
                };
                let of_plates = PlateColumn::ALL.map(|p| largest.of_one_plate(p));
                let all = [largest.into()].into_iter().chain(of_plates);
                for response in all.filter(is_same) {
                    self.terms.push(Term {
                        case: k,
                        response,
                        own: 0.0,
                        adjoint: vec![load],
                        reading: reading.clone(),
                    });
                }
            }
        }
    }

    /// The estimates, from the adjoint fields of [`Goals::loads`]; of each element where `by_element` names
    /// the response of a case.
    pub fn estimates(
        &self,
        solved: &Solved<'_>,
        stress: &RecoveredStress,
        adjoint: &[Vec<Vec3>],
        threads: usize,
        by_element: &dyn Fn(usize, ResponseId) -> bool,
    ) -> Estimates {
        let team = Team::new(threads);
        let problem = solved.problem;
        let part_nodes = &stress.part_nodes;
        let own = &solved.solution.displacement;
        let fields: Vec<&[Vec3]> = own.iter().chain(adjoint).map(Vec::as_slice).collect();
        let distinct = Distinct::of(&fields);
        let different: Vec<&[Vec3]> = distinct.first.iter().map(|k| fields[*k]).collect();
        let smoothed = Smoothing::new(problem, part_nodes).smooth(&team, &different);
        let defects = Defects::new(problem, part_nodes, &different, &smoothed);

        let pair = |case: usize, field: usize| {
            let (a, b) = (distinct.of[case], distinct.of[field]);
            ((a.0, b.0), a.1 * b.1)
        };
        let mut pairs: Vec<Pair> = (0..own.len()).map(|c| pair(c, c).0).collect();
        for term in &self.terms {
            let fields = term.adjoint.iter().map(|(load, _)| own.len() + load);
            pairs.extend(fields.map(|f| pair(term.case, f).0));
        }
        pairs.sort_unstable();
        pairs.dedup();
        let wanted = |t: &&Term| by_element(t.case, t.response);
        let any_by_element = self.terms.iter().any(|t| wanted(&t));
        let products = defects.products(&team, &pairs, any_by_element);
        let product = |case: usize, field: usize| -> (&Product, f64) {
            let (pair, factor) = pair(case, field);
            // Every pair that is asked for is in the list.
            let place = pairs.binary_search(&pair).unwrap_or_default();
            (&products[place], factor)
        };

        let responses = self.terms.iter().map(|term| {
            let (case_field, case_factor) = distinct.of[term.case];
            let mut parts: Vec<(&Product, f64)> = vec![];
            if term.own != 0.0 {
                let (p, factor) = product(term.case, term.case);
                parts.push((p, factor * term.own));
            }
            for (load, weight) in &term.adjoint {
                let (p, factor) = product(term.case, own.len() + load);
                parts.push((p, factor * weight));
            }
            let nodes: Vec<u32> = term.reading.iter().map(|r| r.0).collect();
            let smooth = &smoothed[case_field];
            let again = smooth.recovered_again(problem, part_nodes, &nodes);
            let reading = term.reading.iter().zip(again).map(|((n, slope), again)| {
                let off = (smooth.values[*n as usize] - again) * case_factor;
                double_dot(slope, &off)
            });
            let reading: f64 = reading.sum();
            let sizes = parts.iter().map(|(p, factor)| p.absolute * factor.abs());
            let elements = if wanted(&term) {
                problem.mesh().tets.len()
            } else {
                0
            };
            let of_element = |t: usize| {
                let shares = parts.iter().map(|(p, factor)| p.by_element[t] * factor);
                shares.sum::<f64>().abs()
            };
            ErrorEstimate {
                case: term.case,
                response: term.response,
                error: parts.iter().map(|(p, factor)| p.sum * factor).sum::<f64>() + reading,
                bound: sizes.sum::<f64>() + reading.abs(),
                by_element: (0..elements).map(of_element).collect(),
            }
        });
        let energy = problem.cases().iter().enumerate().map(|(k, case)| {
            let work = case.work(&own[k]);
            let (p, factor) = product(k, k);
            let error = p.sum * factor;
            (error / (work + error)).sqrt()
        });
        Estimates {
            responses: responses.collect(),
            energy: energy.collect(),
        }
    }
}

/// Nodal forces whose work is the rotation of the loaded block about an axis, rad.
fn rotation_load(model: &Recovered<'_>, case: usize, axis: Vec3) -> Option<Vec<Vec3>> {
    let solved = &model.solved;
    let case = &solved.problem.cases()[case];
    let points = loaded_points(model.mesh, solved.patches, case)?;
    let spread = Spread::of(points.iter().map(|p| (p.area_mm2, p.at)))?;
    let lever = spread.lever(axis);
    let mut forces = vec![Vec3::zeros(); model.mesh.nodes.len()];
    for p in &points {
        let force = lever(p.at) * p.area_mm2;
        push_at(model.mesh, &mut forces, p.tet, p.barycentric, force);
    }
    Some(forces)
}

fn double_dot(a: &SymTensor, b: &SymTensor) -> f64 {
    let d = a.0.component_mul(&b.0);
    d[0] + d[1] + d[2] + 2.0 * (d[3] + d[4] + d[5])
}
