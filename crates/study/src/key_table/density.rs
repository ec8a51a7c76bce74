//! The keys of cancellous bone whose modulus follows its density.

use super::{OURS, add, is, mm, number, word};
use crate::keys::{Fallback, Key, Kind};
use bicolumn_model::DensityLaw;

/// Words of `materials.cancellous.density_law`.
const LAWS: [&str; 3] = ["none", "pooled", "ulna"];

/// The law of a word; `None` for a uniform modulus.
pub(crate) fn law(word: &str) -> Option<DensityLaw> {
    match word {
        "pooled" => Some(DensityLaw::pooled()),
        "ulna" => Some(DensityLaw::ulna()),
        _ => None,
    }
}

pub(super) fn density(keys: &mut Vec<Key>) {
    let laws: Vec<String> = LAWS
        .iter()
        .filter_map(|w| law(w).map(|l| format!("{w}: {}", l.formula())))
        .collect();
    let sources: Vec<String> = LAWS
        .iter()
        .filter_map(|w| law(w).map(|l| format!("{w}: {}", l.source)))
        .collect();
    add(
        keys,
        "materials.cancellous.density_law",
        Kind::Word(&LAWS),
        word("none"),
        &format!(
            "Modulus of cancellous bone from its apparent density, element by element; then young_mpa is not used. none: young_mpa everywhere; {}",
            laws.join("; ")
        ),
        &sources.join("; "),
    );
    add(
        keys,
        "materials.cancellous.density_g_per_cm3",
        number("g_per_cm3", 0.02, 1.2),
        Fallback::Preset("materials.bone"),
        "Apparent density of cancellous bone at the joint, deep inside; without effect without a density law, as the next three",
        "",
    );
    let assumed = "1: uniform; no measured value for this site used";
    add(
        keys,
        "materials.cancellous.rim_density_ratio",
        number("", 0.2, 5.0),
        is(1.0),
        "Density at the inner face of the cortex over that deep inside",
        assumed,
    );
    add(
        keys,
        "materials.cancellous.rim_depth_mm",
        mm(0.5, 20.0),
        is(4.0),
        "Depth below the cortex over which the density at the rim becomes that deep inside, linearly",
        OURS,
    );
    add(
        keys,
        "materials.cancellous.proximal_density_ratio",
        number("", 0.2, 5.0),
        is(1.0),
        "Density at the floor of the canal over that at the joint axis, linear in the level between",
        assumed,
    );
}
