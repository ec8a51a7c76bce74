//! All responses of a solved construct, put together.

use crate::ball::Found;
use crate::energy::energy_by_part;
use crate::gap_motion::{FractureFrame, GapFaces, GapMotion};
use crate::implant::{hotspot_of_part, larger};
use crate::load_response::{load_response, loaded_block, moment_centre};
use crate::load_sharing::{ByLevel, LoadSharing, SharedLevels, levels};
use crate::locator::Locator;
use crate::nodal_forces::NodalForces;
use crate::plate_end::PlateEnd;
use crate::plate_sections::PlateSections;
use crate::recovered::{Recovered, RecoveredStress};
use crate::screw_forces::{CutScrew, ScrewForce, cuts};
use crate::shaft::OuterCortex;
use crate::sheet::Sheet;
use crate::touching::Touching;
use crate::{CaseContact, CaseMeasures, ShaftProfile, Solved};
use bicolumn_base::{Part, PlateSite, Vec3};
use bicolumn_geometry::Construct;
use bicolumn_response::{
    Carrier, Check, FaceRegion, Hardware, Load, Motion, MotionAxis, PlateColumn,
    PlateEnd as Response, PlateEndMax, PlateForce, PlateStress, ScrewForce as ForceInScrew, Shaft,
    Share,
};

/// Measures every load case of a solved construct.
///
/// `intact` is the plate-free, unbroken bone under the same load cases (same order), for the
/// stress-riser ratio; without it that ratio is `None`.
pub fn measure(solved: &Solved<'_>, intact: Option<&Solved<'_>>) -> Vec<CaseMeasures> {
    let recovered = |s: &Solved<'_>| RecoveredStress::of(s.problem, s.total);
    let stress = recovered(solved);
    let intact = intact.map(|s| (s, recovered(s)));
    measure_recovered(
        (solved, &stress),
        intact.as_ref().map(|(s, stress)| (*s, stress)),
    )
}

/// [`measure`] for models whose stress is at hand already.
pub fn measure_recovered(
    model: (&Solved<'_>, &RecoveredStress),
    intact: Option<(&Solved<'_>, &RecoveredStress)>,
) -> Vec<CaseMeasures> {
    let (solved, stress) = model;
    let model = Recovered::new(*solved, stress);
    let intact = intact.map(|(s, stress)| Recovered::new(*s, stress));
    let construct = solved.construct;
    let mesh = model.mesh;
    let cases = solved.problem.cases();

    let cortex = OuterCortex::of(&model);
    let bands = cortex.bands();
    let sections = bands.sections(&cortex, &model);
    let mut locator = Locator::new(mesh, |t| model.is_shaft_cortex(t));
    let mut intact_locator = intact
        .as_ref()
        .map(|m| Locator::new(m.mesh, |t| m.is_shaft_cortex(t)));
    let plate_ends: Vec<(PlateColumn, Option<PlateEnd>)> = construct
        .plates
        .iter()
        .map(|plate| {
            let other_bone = intact.as_ref().zip(intact_locator.as_mut());
            let end = PlateEnd::of(plate, &cortex, &model, &mut locator, other_bone);
            (plate.site.into(), end)
        })
        .collect();
    let plate_hotspots: Vec<(PlateColumn, Vec<Option<Found>>)> = construct
        .plates
        .iter()
        .map(|p| (p.site.into(), hotspot_of_part(&model, Part::Plate(p.site))))
        .collect();
    let mut screw_hotspots = vec![None; cases.len()];
    for screw in &construct.screws {
        let hot = hotspot_of_part(&model, Part::Screw(screw.number));
        for (best, new) in screw_hotspots.iter_mut().zip(hot) {
            *best = larger(*best, new);
        }
    }
    let gap = construct
        .fracture
        .as_ref()
        .and_then(|f| GapFaces::find(mesh, FractureFrame::new(f.normal, construct.bone.side())));
    let moments_about = moment_centre(&model);
    let energy = energy_by_part(solved.problem, &solved.solution.displacement);
    let carried = (!construct.plates.is_empty() || !construct.screws.is_empty())
        .then(|| CarriedLoads::of(&model));

    (0..cases.len())
        .map(|case| {
            let contact = solved.contact.and_then(|c| c.get(case));
            if contact == Some(&CaseContact::NotConverged) {
                return CaseMeasures::none(&cases[case].name);
            }
            let u = &solved.solution.displacement[case];
            let mut sheet = Sheet::default();

            let block = loaded_block(mesh, solved.patches, &cases[case], u);
            let r = load_response(&cases[case], &mesh.nodes, u, block, moments_about);
            sheet.put(Load::Stiffness, r.stiffness_n_per_mm);
            sheet.put(Load::Displacement, r.displacement_mm);
            sheet.put(Load::RotationStiffness, r.rotation_stiffness_nmm_per_deg);
            sheet.put(Load::Rotation, r.rotation_deg);

            if let (Some(gap), Some(fracture)) = (&gap, &construct.fracture)
                && let Some(m) = gap.motion(mesh, u)
            {
                put_motion(&mut sheet, &m, fracture.spec.gap_mm);
            }

            let stress = cortex.stress(&model, case);
            put_plate_ends(&mut sheet, &plate_ends, &cortex, &model, &stress, case);
            let profile = bands.profile(&cortex, &model, &sections, &stress, case);
            put_shaft_peak(&mut sheet, &profile, &model);

            for (plate, hot) in &plate_hotspots {
                sheet.put_at(PlateStress::Hotspot.of(*plate), hot[case]);
            }
            sheet.put_at(Hardware::ScrewHotspot, screw_hotspots[case]);
            put_checks(&mut sheet, &model, &energy[case], case);
            let (screws, sharing) = match &carried {
                Some(c) => c.put(&mut sheet, construct, case),
                None => (Vec::new(), None),
            };
            if let Some(CaseContact::Converged(state)) = contact {
                state.put(&mut sheet);
            }
            CaseMeasures {
                case: cases[case].name.clone(),
                responses: sheet.in_column_order(),
                profile,
                screws,
                sharing,
            }
        })
        .collect()
}

/// Section forces of plates and screws in all load cases.
struct CarriedLoads {
    forces: NodalForces,
    cuts: Vec<CutScrew>,
    plates: Vec<(PlateColumn, PlateSections)>,
    by_level: ByLevel,
    levels: Vec<f64>,
    shared: SharedLevels,
}

impl CarriedLoads {
    fn of(model: &Recovered<'_>) -> Self {
        let solved = &model.solved;
        let touching = Touching::of(model.mesh);
        let nodes = &model.stress.part_nodes;
        let plates = solved.construct.plates.iter();
        let shared = SharedLevels::of(solved.construct);
        CarriedLoads {
            forces: NodalForces::of(solved.problem, nodes, solved.total, solved.tightened),
            cuts: cuts(model, &touching),
            plates: plates
                .map(|p| (p.site.into(), PlateSections::of(model, p, &touching)))
                .collect(),
            by_level: ByLevel::of(model),
            levels: levels(solved.construct, &shared),
            shared,
        }
    }

    fn put(
        &self,
        sheet: &mut Sheet,
        construct: &Construct,
        case: usize,
    ) -> (Vec<ScrewForce>, Option<LoadSharing>) {
        let screws: Vec<ScrewForce> = self
            .cuts
            .iter()
            .map(|c| c.force(&self.forces, case))
            .collect();
        sheet.put_largest(ForceInScrew::Axial, &screws, ScrewForce::axial_n);
        sheet.put_largest(ForceInScrew::Shear, &screws, ScrewForce::shear_n);
        sheet.put_largest(ForceInScrew::Bending, &screws, ScrewForce::bending_nmm);
        sheet.put_largest(ForceInScrew::Torque, &screws, ScrewForce::torque_nmm);
        for (plate, sections) in &self.plates {
            let most = sections.extremes(&self.forces, case);
            sheet.put_at(PlateForce::Axial.of(*plate), most.axial);
            sheet.put_at(PlateForce::Bending.of(*plate), most.bending);
            sheet.put_at(PlateForce::Torque.of(*plate), most.torque);
        }
        let sharing = self
            .by_level
            .sharing(construct, &self.forces, case, &self.levels);
        let at_gap = [Share::AxialGap, Share::MomentGap];
        let at_shaft = [Share::AxialShaft, Share::MomentShaft];
        for (responses, level) in [
            (at_gap, self.shared.gap_mm),
            (at_shaft, self.shared.shaft_mm),
        ] {
            let Some(row) = level.and_then(|l| sharing.level_mm.iter().position(|x| *x == l))
            else {
                continue;
            };
            for (response, shares) in responses.into_iter().zip(sharing.shares(row)) {
                for (c, carrier) in Carrier::ALL.into_iter().enumerate() {
                    // A plate that is not there has no share, not one of zero.
                    let has = |plate| self.plates.iter().any(|p| p.0 == plate);
                    let is_there = match carrier {
                        Carrier::PlateMedial => has(PlateColumn::Medial),
                        Carrier::PlateOther => has(PlateColumn::Other),
                        Carrier::Bone | Carrier::Screws => true,
                    };
                    let share = shares.filter(|_| is_there).map(|s| s[c]);
                    sheet.put(response.of(carrier), share);
                }
            }
        }
        (screws, Some(sharing))
    }
}

fn put_motion(sheet: &mut Sheet, m: &GapMotion, gap_mm: f64) {
    for (region, motion) in FaceRegion::ALL.into_iter().zip(m.regions) {
        sheet.put(Motion::axial(region), motion.map(|r| r.axial_mm));
        sheet.put(Motion::shear(region), motion.map(|r| r.shear_mm));
        if let Some(strain) = Motion::strain(region).filter(|_| gap_mm > 0.0) {
            sheet.put(strain, motion.map(|r| 100.0 * r.axial_mm / gap_mm));
        }
    }
    sheet.put_at(Motion::AxialMax, Some(m.axial_peak));
    sheet.put_at(Motion::ShearMax, Some(m.shear_peak));
    for (i, axis) in MotionAxis::ALL.into_iter().enumerate() {
        sheet.put(Motion::rotation(axis), m.rotation_deg.map(|r| r[i]));
    }
}

fn put_plate_ends(
    sheet: &mut Sheet,
    plate_ends: &[(PlateColumn, Option<PlateEnd>)],
    cortex: &OuterCortex,
    model: &Recovered<'_>,
    stress: &[bicolumn_base::SymTensor],
    case: usize,
) {
    let (mut hotspot, mut riser, mut band): (Option<Found>, _, _) = (None, None, None);
    let mut p99: Option<f64> = None;
    let ratio = |a: Option<Found>, b: Option<f64>| {
        let (a, b) = (a?, b?);
        (b > 0.0).then(|| (a.0 / b, a.1))
    };
    for (plate, end) in plate_ends {
        let Some(end) = end else { continue };
        let s = end.measure(cortex, model, stress, case);
        let riser_ratio = ratio(s.hotspot, s.intact);
        let band_ratio = ratio(s.hotspot, s.intact_band.map(|b| b.0));
        let intact = s.intact.zip(s.hotspot.map(|h| h.1));
        let beam_ratio = ratio(s.hotspot, s.beam);
        let id = |response: Response| response.of(*plate);
        sheet.put_at(id(Response::Hotspot), s.hotspot);
        sheet.put_at(id(Response::HotspotCollar), s.hotspot_collar);
        sheet.put(id(Response::P99Mises), s.p99_mises);
        sheet.put(id(Response::P99Principal), s.p99_principal);
        sheet.put(id(Response::P99MisesCollar), s.p99_mises_collar);
        sheet.put_at(id(Response::Intact), intact);
        sheet.put_at(id(Response::RiserRatio), riser_ratio);
        sheet.put_at(id(Response::BandIntact), s.intact_band);
        sheet.put_at(id(Response::BandRatio), band_ratio);
        sheet.put(id(Response::Beam), s.beam);
        sheet.put_at(id(Response::BeamRatio), beam_ratio);
        hotspot = larger(hotspot, s.hotspot);
        riser = larger(riser, riser_ratio);
        band = larger(band, band_ratio);
        p99 = match (p99, s.p99_mises) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
    }
    sheet.put_at(PlateEndMax::Hotspot, hotspot);
    sheet.put(PlateEndMax::P99Mises, p99);
    sheet.put_at(PlateEndMax::RiserRatio, riser);
    sheet.put_at(PlateEndMax::BandRatio, band);
}

fn put_shaft_peak(sheet: &mut Sheet, profile: &ShaftProfile, model: &Recovered<'_>) {
    let mut peak: Option<(f64, f64)> = None;
    for (level, high) in profile.level_mm.iter().zip(&profile.high_mpa) {
        if peak.is_none_or(|p| *high > p.0) {
            peak = Some((*high, *level));
        }
    }
    let bone = &model.solved.construct.bone;
    sheet.put_at(
        Shaft::Peak,
        peak.map(|(high, level)| (high, bone.shaft_axis(level))),
    );
}

fn put_checks(sheet: &mut Sheet, model: &Recovered<'_>, energy: &[f64], case: usize) {
    let solution = model.solved.solution;
    let u = &solution.displacement[case];
    let reactions = solution.reactions.get(case);
    sheet.put(
        Check::ReactionForce,
        reactions.map(|r| r.iter().sum::<Vec3>().norm()),
    );
    let report = &solution.report;
    sheet.put(Check::Equilibrium, report.equilibrium.get(case).copied());
    sheet.put(Check::Residual, report.residuals.get(case).copied());
    let load = &model.solved.problem.cases()[case];
    let work: f64 = load
        .forces
        .iter()
        .map(|(n, f)| f.dot(&u[*n as usize]))
        .sum();
    sheet.put(Check::EnergyTotal, Some(0.5 * work));
    let of = |wanted: &dyn Fn(Part) -> bool| {
        let mut sum = None;
        for (part, e) in model.mesh.parts.iter().zip(energy) {
            if wanted(*part) {
                sum = Some(sum.unwrap_or(0.0) + e);
            }
        }
        sum
    };
    sheet.put(Check::EnergyBone, of(&Part::is_bone));
    let medial = Part::Plate(PlateSite::Medial);
    sheet.put(Check::EnergyPlateMedial, of(&|p| p == medial));
    sheet.put(
        Check::EnergyPlateOther,
        of(&|p| matches!(p, Part::Plate(_)) && p != medial),
    );
    sheet.put(Check::EnergyScrews, of(&|p| matches!(p, Part::Screw(_))));
}
