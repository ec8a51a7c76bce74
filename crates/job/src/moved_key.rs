//! Job keys behind the quantities of a construct, and the factors that set them.

use crate::blame::own_key;
use crate::catalogue::keys;
use crate::handle::KeyId;
use crate::job::Job;
use crate::key::Fallback;
use bicolumn_base::PlateSite;
use bicolumn_geometry::{
    BoneDimension, ConstructSpec, FractureQuantity, IndependentQuantity, PlateQuantity, Subject,
};
use std::collections::BTreeMap;

/// Job key of a quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuantityKey {
    /// Full name of the key.
    pub path: String,
    /// Factors of the design that the key's value is taken from.
    pub factors: Vec<String>,
}

/// Keys of all quantities of a construct.
pub(crate) fn quantity_keys(job: &Job, spec: &ConstructSpec) -> BTreeMap<Subject, QuantityKey> {
    let bone = BoneDimension::ALL.iter().map(|q| Subject::Bone(*q));
    let fracture = FractureQuantity::ALL.iter().map(|q| Subject::Fracture(*q));
    let sites: Vec<PlateSite> = spec.plates.iter().map(|p| p.site.into()).collect();
    let of_plate = |site: &PlateSite| {
        let site = *site;
        let all = PlateQuantity::ALL.iter();
        all.map(move |q| Subject::Plate(site, *q))
    };
    let own = (1..=spec.independent.len()).flat_map(|n| {
        let all = IndependentQuantity::ALL.iter();
        all.map(move |q| Subject::Independent(n, *q))
    });
    let subjects = bone.chain(fracture).chain(sites.iter().flat_map(of_plate));
    let key = |subject| {
        let key = own_key(subject)?;
        let mut factors = Vec::new();
        put_factors(key, job, &mut factors);
        let path = keys().path(key).to_string();
        Some((subject, QuantityKey { path, factors }))
    };
    subjects.chain(own).filter_map(key).collect()
}

/// Adds the factors that a key's value is taken from.
fn put_factors(key: KeyId, job: &Job, factors: &mut Vec<String>) {
    let path = keys().path(key);
    if job.factors.iter().any(|f| f.key == key) {
        if factors.iter().all(|f| f != path) {
            factors.push(path.to_string());
        }
        return;
    }
    if job.spot_of(key).is_some() {
        return;
    }
    match &keys().row(key).default {
        Fallback::Of(other) | Fallback::OfOr(other, _) | Fallback::OfPlate(other, _) => {
            put_factors(*other, job, factors);
        }
        Fallback::Preset(preset) => put_factors(preset.by, job, factors),
        Fallback::Rule(derived) => {
            for cause in &derived.causes {
                put_factors(*cause, job, factors);
            }
        }
        Fallback::Value(_) | Fallback::Absent => {}
    }
}

#[cfg(test)]
mod tests {
    use crate::Job;
    use crate::plan::Plan;
    use crate::resolve::resolve;
    use bicolumn_base::PlateSite;
    use bicolumn_geometry::{FractureQuantity, PlateQuantity, Subject};
    use std::path::Path;

    #[test]
    fn a_quantity_is_traced_to_the_factors_that_set_it_and_not_past_a_given_key() {
        let text = "plates.medial.width_mm = 9\n[factors]\nplates.stagger_mm = [0, 10]\nplates.width_mm = [9, 10]\n";
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let inputs = resolve(&job, &Plan::of(&job).unwrap().points[0]);
        let key = |subject| inputs.quantity_keys[&subject].clone();
        let end = key(Subject::Plate(PlateSite::Medial, PlateQuantity::EndLevel));
        assert_eq!(end.path, "plates.medial.end_level_mm");
        assert_eq!(end.factors, ["plates.stagger_mm"]);
        let width = |site| key(Subject::Plate(site, PlateQuantity::Width)).factors;
        assert!(width(PlateSite::Medial).is_empty(), "given by itself");
        assert_eq!(width(PlateSite::Lateral), ["plates.width_mm"]);
        assert!(
            key(Subject::Fracture(FractureQuantity::Gap))
                .factors
                .is_empty()
        );
        let at = Subject::Plate(PlateSite::Posterolateral, PlateQuantity::Width);
        assert!(!inputs.quantity_keys.contains_key(&at), "no such plate");
    }
}
