//! Responses that check the solution: reactions, balance, residual, strain energy.

use crate::row::ErrorEstimation::Load as OwnLoad;
use crate::row::family;

family! {
    /// Balance, residual and strain energy of the solution.
    Check {
        ReactionForce: "reaction_force_n", N,
            "Size of the summed reactions at the potting.";
        Equilibrium: "equilibrium_relative", One,
            "Larger of |sum of reactions + loads| / |loads| for force and for moment about the origin (moment relative to the larger of load moment and force * 100 mm).";
        Residual: "residual_relative", One,
            "Relative residual of the linear system at the end, |b - K u| / |b|.";
        EnergyTotal: "energy_total_nmm", Nmm,
            "Strain energy from the work of the loads: half the sum of nodal force . displacement.",
            estimated_by(OwnLoad);
        EnergyBone: "energy_bone_nmm", Nmm,
            "Strain energy in both fragments, element by element with the stiffness of the solution; the parts sum to energy_total_nmm.";
        EnergyPlateMedial: "energy_plate_medial_nmm", Nmm,
            "The same in the medial plate.";
        EnergyPlateOther: "energy_plate_other_nmm", Nmm,
            "The same in the other plate.";
        EnergyScrews: "energy_screws_nmm", Nmm,
            "The same in all screws.";
    }
}
