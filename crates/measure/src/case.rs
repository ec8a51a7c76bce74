//! All responses of a solved construct, put together.

use crate::ball::Found;
use crate::energy::energy_by_part;
use crate::gap_motion::{FractureFrame, GapFaces, GapMotion};
use crate::implant::{hotspot_of_part, larger};
use crate::load_response::{load_response, loaded_block, moment_centre};
use crate::load_sharing::{ByLevel, Carrier, LoadSharing, SharedLevels, levels};
use crate::locator::Locator;
use crate::nodal_forces::NodalForces;
use crate::plate_end::PlateEnd;
use crate::plate_sections::PlateSections;
use crate::recovered::{Recovered, RecoveredStress};
use crate::screw_forces::{CutScrew, ScrewForce, cuts};
use crate::shaft::OuterCortex;
use crate::touching::Touching;
use crate::{CaseMeasures, Response, ShaftProfile, Solved, definitions};
use bicolumn_base::{Part, PlateSite, Vec3};
use bicolumn_geometry::Construct;

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
    let plate_ends: Vec<(&str, Option<PlateEnd>)> = construct
        .plates
        .iter()
        .map(|plate| {
            let other_bone = intact.as_ref().zip(intact_locator.as_mut());
            let end = PlateEnd::of(plate, &cortex, &model, &mut locator, other_bone);
            (column_name(plate.site), end)
        })
        .collect();
    let plate_hotspots: Vec<(&str, Vec<Option<Found>>)> = construct
        .plates
        .iter()
        .map(|p| {
            (
                column_name(p.site),
                hotspot_of_part(&model, Part::Plate(p.site)),
            )
        })
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
            let u = &solved.solution.displacement[case];
            let mut sheet = Sheet::default();

            let block = loaded_block(mesh, solved.patches, &cases[case], u);
            let r = load_response(&cases[case], &mesh.nodes, u, block, moments_about);
            sheet.put("stiffness_n_per_mm", r.stiffness_n_per_mm);
            sheet.put("load_displacement_mm", r.displacement_mm);
            sheet.put(
                "rotation_stiffness_nmm_per_deg",
                r.rotation_stiffness_nmm_per_deg,
            );
            sheet.put("load_rotation_deg", r.rotation_deg);

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
                let name = format!("implant_hotspot_plate_{plate}_mpa");
                sheet.put_at(&name, hot[case]);
            }
            sheet.put_at("implant_hotspot_screws_mpa", screw_hotspots[case]);
            put_trust(&mut sheet, &model, &energy[case], case);
            let (screws, sharing) = match &carried {
                Some(c) => c.put(&mut sheet, construct, case),
                None => (Vec::new(), None),
            };
            CaseMeasures {
                case: cases[case].name.clone(),
                responses: sheet.in_registry_order(),
                profile,
                screws,
                sharing,
            }
        })
        .collect()
}

/// What plates and screws carry, of all load cases.
struct CarriedLoads {
    forces: NodalForces,
    cuts: Vec<CutScrew>,
    plates: Vec<(&'static str, PlateSections)>,
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
                .map(|p| (column_name(p.site), PlateSections::of(model, p, &touching)))
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
        sheet.put_largest("screw_axial_max_n", &screws, ScrewForce::axial_n);
        sheet.put_largest("screw_shear_max_n", &screws, ScrewForce::shear_n);
        sheet.put_largest("screw_bending_max_nmm", &screws, ScrewForce::bending_nmm);
        sheet.put_largest("screw_torque_max_nmm", &screws, ScrewForce::torque_nmm);
        for (plate, sections) in &self.plates {
            let most = sections.extremes(&self.forces, case);
            sheet.put_at(&format!("plate_axial_max_{plate}_n"), most.axial);
            sheet.put_at(&format!("plate_bending_max_{plate}_nmm"), most.bending);
            sheet.put_at(&format!("plate_torque_max_{plate}_nmm"), most.torque);
        }
        let sharing = self
            .by_level
            .sharing(construct, &self.forces, case, &self.levels);
        for (place, level) in [("gap", self.shared.gap_mm), ("shaft", self.shared.shaft_mm)] {
            let Some(row) = level.and_then(|l| sharing.level_mm.iter().position(|x| *x == l))
            else {
                continue;
            };
            for (what, shares) in ["axial", "moment"].iter().zip(sharing.shares(row)) {
                for (c, carrier) in Carrier::ALL.iter().enumerate() {
                    // A plate that is not there has no share, not one of zero.
                    let is_there = match carrier {
                        Carrier::PlateMedial => self.plates.iter().any(|p| p.0 == "medial"),
                        Carrier::PlateOther => self.plates.iter().any(|p| p.0 == "other"),
                        _ => true,
                    };
                    let name = format!("share_{what}_{place}_{}", carrier.name());
                    sheet.put(&name, shares.filter(|_| is_there).map(|s| s[c]));
                }
            }
        }
        (screws, Some(sharing))
    }
}

/// Responses as they are found.
#[derive(Default)]
struct Sheet(Vec<Response>);

impl Sheet {
    fn put(&mut self, name: &str, value: Option<f64>) {
        self.0.push(Response {
            name: name.to_string(),
            value,
            at: None,
            part: None,
        });
    }

    /// The value of largest size over all screws and cuts, with its sign.
    fn put_largest(&mut self, name: &str, screws: &[ScrewForce], of: fn(&ScrewForce) -> f64) {
        let mut most: Option<&ScrewForce> = None;
        for s in screws {
            if most.is_none_or(|m| of(s).abs() > of(m).abs()) {
                most = Some(s);
            }
        }
        self.0.push(Response {
            name: name.to_string(),
            value: most.map(of),
            at: most.map(|s| s.at.into()),
            part: most.map(|s| s.screw.to_string()),
        });
    }

    fn put_at(&mut self, name: &str, found: Option<Found>) {
        self.0.push(Response {
            name: name.to_string(),
            value: found.map(|f| f.0),
            at: found.map(|f| f.1.into()),
            part: None,
        });
    }

    /// One response for each definition; `None` where nothing was put.
    fn in_registry_order(self) -> Vec<Response> {
        definitions()
            .into_iter()
            .map(|d| {
                let found = self.0.iter().find(|r| r.name == d.name).cloned();
                found.unwrap_or(Response {
                    name: d.name,
                    value: None,
                    at: None,
                    part: None,
                })
            })
            .collect()
    }
}

fn column_name(site: PlateSite) -> &'static str {
    match site {
        PlateSite::Medial => "medial",
        PlateSite::Lateral | PlateSite::Posterolateral => "other",
    }
}

fn put_motion(sheet: &mut Sheet, m: &GapMotion, gap_mm: f64) {
    let names = ["medial", "lateral", "anterior", "posterior", "mean"];
    for (name, region) in names.iter().zip(m.regions) {
        sheet.put(
            &format!("motion_axial_{name}_mm"),
            region.map(|r| r.axial_mm),
        );
        sheet.put(
            &format!("motion_shear_{name}_mm"),
            region.map(|r| r.shear_mm),
        );
    }
    sheet.put_at("motion_axial_max_mm", Some(m.axial_peak));
    sheet.put_at("motion_shear_max_mm", Some(m.shear_peak));
    for (i, name) in ["axial", "sagittal", "coronal"].iter().enumerate() {
        sheet.put(
            &format!("motion_rotation_{name}_deg"),
            m.rotation_deg.map(|r| r[i]),
        );
    }
    if gap_mm > 0.0 {
        for (i, name) in [(0, "medial"), (1, "lateral"), (4, "mean")] {
            let strain = m.regions[i].map(|r| 100.0 * r.axial_mm / gap_mm);
            sheet.put(&format!("strain_axial_{name}_percent"), strain);
        }
    }
}

fn put_plate_ends(
    sheet: &mut Sheet,
    plate_ends: &[(&str, Option<PlateEnd>)],
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
        let name = |what: &str| format!("plate_end_{what}_{plate}_mpa");
        sheet.put_at(&name("hotspot"), s.hotspot);
        sheet.put_at(&name("hotspot_collar"), s.hotspot_collar);
        sheet.put(&name("p99_mises"), s.p99_mises);
        sheet.put(&name("p99_principal"), s.p99_principal);
        sheet.put(&name("p99_mises_collar"), s.p99_mises_collar);
        sheet.put_at(&name("intact"), s.intact.zip(s.hotspot.map(|h| h.1)));
        sheet.put_at(&name("band_intact"), s.intact_band);
        sheet.put(&name("beam"), s.beam);
        let riser_ratio = ratio(s.hotspot, s.intact);
        let band_ratio = ratio(s.hotspot, s.intact_band.map(|b| b.0));
        sheet.put_at(&format!("plate_end_riser_ratio_{plate}"), riser_ratio);
        sheet.put_at(&format!("plate_end_band_ratio_{plate}"), band_ratio);
        sheet.put_at(
            &format!("plate_end_beam_ratio_{plate}"),
            ratio(s.hotspot, s.beam),
        );
        hotspot = larger(hotspot, s.hotspot);
        riser = larger(riser, riser_ratio);
        band = larger(band, band_ratio);
        p99 = match (p99, s.p99_mises) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
    }
    sheet.put_at("plate_end_hotspot_max_mpa", hotspot);
    sheet.put("plate_end_p99_mises_max_mpa", p99);
    sheet.put_at("plate_end_riser_ratio_max", riser);
    sheet.put_at("plate_end_band_ratio_max", band);
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
        "shaft_peak_mpa",
        peak.map(|(high, level)| (high, bone.shaft_axis(level))),
    );
}

fn put_trust(sheet: &mut Sheet, model: &Recovered<'_>, energy: &[f64], case: usize) {
    let solution = model.solved.solution;
    let u = &solution.displacement[case];
    let reactions = solution.reactions.get(case);
    sheet.put(
        "reaction_force_n",
        reactions.map(|r| r.iter().sum::<Vec3>().norm()),
    );
    let report = &solution.report;
    sheet.put(
        "equilibrium_relative",
        report.equilibrium.get(case).copied(),
    );
    sheet.put("residual_relative", report.residuals.get(case).copied());
    let load = &model.solved.problem.cases()[case];
    let work: f64 = load
        .forces
        .iter()
        .map(|(n, f)| f.dot(&u[*n as usize]))
        .sum();
    sheet.put("energy_total_nmm", Some(0.5 * work));
    let of = |wanted: &dyn Fn(Part) -> bool| {
        let mut sum = None;
        for (part, e) in model.mesh.parts.iter().zip(energy) {
            if wanted(*part) {
                sum = Some(sum.unwrap_or(0.0) + e);
            }
        }
        sum
    };
    sheet.put("energy_bone_nmm", of(&Part::is_bone));
    let medial = Part::Plate(PlateSite::Medial);
    sheet.put("energy_plate_medial_nmm", of(&|p| p == medial));
    sheet.put(
        "energy_plate_other_nmm",
        of(&|p| matches!(p, Part::Plate(_)) && p != medial),
    );
    sheet.put("energy_screws_nmm", of(&|p| matches!(p, Part::Screw(_))));
}
