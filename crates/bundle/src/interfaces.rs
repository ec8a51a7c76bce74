//! Interfaces of `model.json`: facet pairs with their laws.

use crate::BundleError;
use crate::cursor::At;
use crate::mesh_file::MeshFile;
use bicolumn_base::{UnitVec3, Vec3};
use bicolumn_contact::{Interfaces, Law};
use bicolumn_mesh::{FacetPair, PairKind, PairSet, SplitMesh};

const LAWS: &str = "bonded, frictional, frictionless, apart or threaded";
const PAIR: &str = "twelve node numbers: six nodes of a free facet of side a (corners, then the middles of 01, 12, 20; \
                    turning about its outward normal), then the node of side b over each of them";

/// Reads interfaces; `None` where there are none.
///
/// # Errors
/// [`BundleError`]: a law, a pair or a facet at fault.
pub(crate) fn read(list: &At<'_>, file: &MeshFile) -> Result<Option<Interfaces>, BundleError> {
    let items = list.items("an array of interfaces")?;
    if items.is_empty() {
        return Ok(None);
    }
    let (mut sets, mut pairs, mut laws) = (vec![], vec![], vec![]);
    let (mut gaps, mut patches) = (vec![], vec![]);
    for (k, one) in (0u16..).zip(&items) {
        one.only(&[
            "name",
            "law",
            "friction",
            "pairs",
            "axis",
            "gap_mm",
            "patch_mm2",
        ])?;
        sets.push(PairSet {
            kind: PairKind::FractureFaces,
            name: one.key("name", "a text")?.text()?.to_owned(),
        });
        laws.push(law(one)?);
        let number = |key: &str| one.optional(key).map_or(Ok(0.0), |at| at.number());
        gaps.push(number("gap_mm")?);
        patches.push(number("patch_mm2")?);
        let of_set = one.key("pairs", "an array of facet pairs")?;
        for pair in of_set.items("an array of facet pairs")? {
            pairs.push(facet_pair(&pair, file, k)?);
        }
    }
    let split = SplitMesh {
        origin: (0..file.mesh.nodes.len() as u32).collect(),
        mesh: file.mesh.clone(),
        sets: sets.clone(),
        pairs,
    };
    let index = |set: &PairSet| sets.iter().position(|s| s == set).unwrap_or(0);
    let mut found = Interfaces::with_laws(&split, |set| laws[index(set)]);
    if patches.iter().any(|area| *area > 0.0) {
        found = found.coarsened(|set, _| patches[index(set)]);
    }
    for (set, gap) in sets.iter().zip(gaps).filter(|(_, gap)| *gap != 0.0) {
        found.add_gap(|s| s == set, |_| gap);
    }
    Ok(Some(found))
}

fn law(one: &At<'_>) -> Result<Law, BundleError> {
    let name = one.key("law", LAWS)?;
    let mu = || {
        let friction = one.key("friction", "a coefficient of friction, 0 or more")?;
        match friction.number()? {
            mu if mu >= 0.0 => Ok(mu),
            _ => Err(friction.refuse("a coefficient of friction, 0 or more")),
        }
    };
    match name.text()? {
        "bonded" => Ok(Law::Bonded),
        "frictionless" => Ok(Law::Frictionless),
        "apart" => Ok(Law::Apart),
        "frictional" => Ok(Law::Frictional { mu: mu()? }),
        "threaded" => {
            let at = one.key("axis", "three numbers [x, y, z]")?;
            let axis = UnitVec3::try_new(at.vector()?, 1e-12);
            let axis = axis.ok_or_else(|| at.refuse("a vector that is not zero"))?;
            Ok(Law::Threaded { mu: mu()?, axis })
        }
        _ => Err(name.refuse(LAWS)),
    }
}

fn facet_pair(pair: &At<'_>, file: &MeshFile, set: u16) -> Result<FacetPair, BundleError> {
    let nodes = &file.mesh.nodes;
    let row = pair.row(12, PAIR)?;
    let numbers: Result<Vec<u32>, BundleError> = row.iter().map(|n| n.index(nodes.len())).collect();
    let numbers = numbers?;
    let a: [u32; 6] = std::array::from_fn(|k| numbers[k]);
    let b: [u32; 6] = std::array::from_fn(|k| numbers[6 + k]);
    let facet = |side: &[u32; 6]| {
        let mut key = [side[0], side[1], side[2]];
        key.sort_unstable();
        file.facet_of
            .get(&key)
            .copied()
            .ok_or_else(|| pair.refuse(PAIR))
    };
    let facets = [facet(&a)?, facet(&b)?];
    let at = |n: u32| nodes[n as usize];
    let across = (at(a[1]) - at(a[0])).cross(&(at(a[2]) - at(a[0])));
    let outward = file.mesh.facets[facets[0] as usize].nodes;
    let outward = (at(outward[1]) - at(outward[0])).cross(&(at(outward[2]) - at(outward[0])));
    if across.dot(&outward) <= 0.0 {
        return Err(pair.refuse(PAIR));
    }
    let normal: Vec3 = across.normalize();
    Ok(FacetPair {
        a,
        b,
        facets,
        normal,
        gap_mm: std::array::from_fn(|k| (at(b[k]) - at(a[k])).dot(&normal)),
        area_mm2: 0.5 * across.norm(),
        set,
    })
}
