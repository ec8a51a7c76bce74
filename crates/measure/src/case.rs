//! All responses of a solved construct, put together.

use crate::ball::Found;
use crate::beyond_end::BeyondEnd;
use crate::energy::energy_by_part;
use crate::gap_motion::{FractureFrame, GapFaces, GapMotion};
use crate::hot_stress::{HotStress, hotter};
use crate::implant::{hotspot_of_part, larger};
use crate::last_screw::{LastScrew, PROFILE_MM};
use crate::load_response::{load_response, loaded_block, moment_centre};
use crate::load_sharing::{ByLevel, LoadSharing, SharedLevels, levels};
use crate::locator::Locator;
use crate::nodal_forces::NodalForces;
use crate::place::place;
use crate::plate_sections::PlateSections;
use crate::recovered::{Recovered, RecoveredStress};
use crate::screw_forces::{CutScrew, ScrewForce, cuts};
use crate::shaft::{OuterCortex, ShaftPeaks};
use crate::sheet::Sheet;
use crate::touching::Touching;
use crate::{CaseContact, CaseMeasures, ShaftProfile, Solved, WallProfile};
use bicolumn_base::{Part, PlateSite, Vec3};
use bicolumn_geometry::{Construct, Plate};
use bicolumn_response::{
    BeyondEnd as Beyond, Carrier, Check, Edge, FaceRegion, Hardware, LargestOfPlates,
    LastScrew as AtScrew, Load, Motion, MotionAxis, Place, PlateColumn, PlateForce, PlateStress,
    ScrewForce as ForceInScrew, Shaft, Share,
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
    let bone_stress: Vec<BoneStress<'_>> = construct
        .plates
        .iter()
        .map(|plate| {
            let other_bone = intact.as_ref().zip(intact_locator.as_mut());
            BoneStress {
                plate,
                screw: LastScrew::of(plate, &cortex, &model, &mut locator),
                beyond: BeyondEnd::of(plate, &cortex, &model, &mut locator, other_bone),
            }
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
            let series = solved.problem.series();
            let r = load_response(&cases[case], &mesh.nodes, u, block, moments_about, series);
            sheet.put(Load::Stiffness, r.stiffness_n_per_mm);
            sheet.put(Load::Displacement, r.displacement_mm);
            sheet.put(Load::RotationStiffness, r.rotation_stiffness_nmm_per_deg);
            sheet.put(Load::Rotation, r.rotation_deg);
            sheet.put(Load::BendingRigidity, r.bending_rigidity_nmm2);

            if let (Some(gap), Some(fracture)) = (&gap, &construct.fracture)
                && let Some(m) = gap.motion(mesh, u)
            {
                put_motion(&mut sheet, &m, fracture.spec.gap_mm);
            }

            let stress = cortex.stress(&model, case);
            put_bone_stress(&mut sheet, &bone_stress, &cortex, construct, &stress, case);
            let profile = bands.profile(&cortex, &model, &sections, &stress, case);
            put_shaft_peaks(&mut sheet, &profile, &cortex, &model);

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
                wall_profiles: bone_stress
                    .iter()
                    .filter_map(|b| b.wall_profile(case))
                    .collect(),
                screws,
                sharing,
            }
        })
        .collect()
}

/// Bone stress at one plate: round its last screw and beyond its end.
struct BoneStress<'a> {
    plate: &'a Plate,
    screw: Option<LastScrew>,
    beyond: Option<BeyondEnd>,
}

impl BoneStress<'_> {
    fn at_screw(&self, case: usize) -> Option<&HotStress> {
        self.screw.as_ref()?.hot[case].as_ref()
    }

    fn beyond_end(&self, case: usize) -> Option<&HotStress> {
        self.beyond.as_ref()?.hot[case].as_ref()
    }

    fn wall_profile(&self, case: usize) -> Option<WallProfile> {
        let screw = self.screw.as_ref()?;
        Some(WallProfile {
            plate: self.plate.site.to_string(),
            screw: screw.screw.number.to_string(),
            distance_mm: PROFILE_MM.into(),
            stress_mpa: screw.profile[case].clone(),
        })
    }
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

fn put_bone_stress(
    sheet: &mut Sheet,
    plates: &[BoneStress<'_>],
    cortex: &OuterCortex,
    construct: &Construct,
    stress: &[bicolumn_base::SymTensor],
    case: usize,
) {
    let mut p99_max: Option<f64> = None;
    for b in plates {
        let column = PlateColumn::from(b.plate.site);
        let place_of = |hot: &HotStress| place(hot.at, construct, Some(b.plate), hot.edge);
        let factor = |hot: Option<&HotStress>| {
            let hot = hot?;
            Some((hot.factor()?, hot.at, place_of(hot)))
        };

        let hot = b.at_screw(case);
        let id = |response: AtScrew| response.of(column);
        sheet.put_hot(id(AtScrew::Structural), hot, place_of);
        sheet.put_placed(id(AtScrew::Factor), factor(hot));
        sheet.put(id(AtScrew::Beam), hot.and_then(|h| h.beam_mpa));
        let ids = [
            AtScrew::Tension,
            AtScrew::Compression,
            AtScrew::TensionStrain,
            AtScrew::CompressionStrain,
            AtScrew::OfYield,
        ];
        sheet.put_severity(ids.map(|r| id(r).into()), hot);

        let hot = b.beyond_end(case);
        let id = |response: Beyond| response.of(column);
        sheet.put_hot(id(Beyond::Hotspot), hot, place_of);
        sheet.put_placed(id(Beyond::Factor), factor(hot));
        sheet.put(id(Beyond::Beam), hot.and_then(|h| h.beam_mpa));
        let p99 = b.beyond.as_ref().and_then(|e| e.p99(cortex, stress));
        sheet.put(id(Beyond::P99Mises), p99);
        let intact = b.beyond.as_ref().and_then(|e| e.intact[case]);
        sheet.put_at(id(Beyond::Intact), intact);
        let ratio = hot.zip(intact.filter(|i| i.0 > 0.0));
        sheet.put(
            id(Beyond::IntactRatio),
            ratio.map(|(h, i)| h.value_mpa / i.0),
        );
        let ids = [
            Beyond::Tension,
            Beyond::Compression,
            Beyond::TensionStrain,
            Beyond::CompressionStrain,
            Beyond::OfYield,
        ];
        sheet.put_severity(ids.map(|r| id(r).into()), hot);
        p99_max = match (p99_max, p99) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
    }
    sheet.put(LargestOfPlates::BeyondEndP99, p99_max);
    put_largest_of_plates(
        sheet,
        plates,
        construct,
        |b| b.at_screw(case),
        [LargestOfPlates::LastScrew, LargestOfPlates::LastScrewFactor],
    );
    put_largest_of_plates(
        sheet,
        plates,
        construct,
        |b| b.beyond_end(case),
        [LargestOfPlates::BeyondEnd, LargestOfPlates::BeyondEndFactor],
    );
}

/// The largest stress over the plates, and the largest concentration factor, each at its own place. The stress under
/// other choices is the largest over the plates under that choice.
fn put_largest_of_plates<'a>(
    sheet: &mut Sheet,
    plates: &'a [BoneStress<'a>],
    construct: &Construct,
    of: impl Fn(&'a BoneStress<'a>) -> Option<&'a HotStress>,
    [stress, factor]: [LargestOfPlates; 2],
) {
    let all: Vec<(&Plate, &HotStress)> = plates
        .iter()
        .filter_map(|b| Some((b.plate, of(b)?)))
        .collect();
    let largest = all.iter().map(|(_, hot)| Some(*hot)).fold(None, hotter);
    let plate_of = |hot: &HotStress| all.iter().find(|(_, h)| *h == hot).map(|(p, _)| *p);
    let placed = |hot: &HotStress| place(hot.at, construct, plate_of(hot), hot.edge);
    let merged = largest.map(|hot| {
        let mut hot = hot.clone();
        for (choice, value) in &mut hot.under {
            let others = all.iter().flat_map(|(_, h)| &h.under);
            let same = others.filter(|u| u.0 == *choice).filter_map(|u| u.1);
            *value = same.reduce(f64::max);
        }
        hot
    });
    let place_of_largest = largest.map(placed);
    sheet.put_hot(stress, merged.as_ref(), |hot| {
        place_of_largest.unwrap_or_else(|| place(hot.at, construct, None, hot.edge))
    });
    let factors = all
        .iter()
        .filter_map(|(_, hot)| Some((hot.factor()?, hot.at, placed(hot))));
    sheet.put_placed(factor, factors.reduce(|a, b| if b.0 > a.0 { b } else { a }));
}

fn put_shaft_peaks(
    sheet: &mut Sheet,
    profile: &ShaftProfile,
    cortex: &OuterCortex,
    model: &Recovered<'_>,
) {
    let peaks = ShaftPeaks::of(profile, cortex, model);
    let construct = model.solved.construct;
    let found = |band: usize, value: f64| -> (f64, Vec3, Place) {
        let at = construct.bone.shaft_axis(profile.level_mm[band]);
        let edge = match peaks.ends {
            Some((_, last)) if band == last => Some(Edge::Proximal),
            Some((first, _)) if band == first => Some(Edge::Distal),
            _ => None,
        };
        (value, at, place(at, construct, None, edge))
    };
    let stress = peaks.stress.map(|b| found(b, profile.high_mpa[b]));
    sheet.put_placed(Shaft::Peak, stress);
    let factor = peaks.factor.map(|(b, value)| found(b, value));
    sheet.put_placed(Shaft::Factor, factor);
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
    let work = model.solved.problem.cases()[case].work(u);
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
