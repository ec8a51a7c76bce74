//! Regions of the mesh, from the job file to the inputs of a point.

#![allow(clippy::unwrap_used)]

use bicolumn_base::PlateSite;
use bicolumn_job::{Job, Plan, resolve};
use bicolumn_mesh::{RegionFeature, RegionPlace, SizeRegion};
use bicolumn_store::FactorValue;
use std::path::Path;

fn regions(text: &str) -> Result<Vec<SizeRegion>, String> {
    let job = Job::parse(Path::new("x.toml"), text).map_err(|e| e.to_string())?;
    let plan = Plan::of(&job).map_err(|e| e.to_string())?;
    Ok(resolve(&job, &plan.points[0]).sizing.regions)
}

#[test]
fn each_shape_reaches_the_mesher_and_the_record() {
    let text = "[mesh.regions.rim]\nlevel_mm = 25\nanterior_mm = -13\nlateral_mm = -15.5\nradius_mm = 4\nedge_mm = 0.6\n\
                [mesh.regions.shaft]\nfrom_mm = 70\nto_mm = 100\nedge_mm = 3\n\
                [mesh]\nregions.end.around = \"plate.medial.end\"\nregions.end.edge_mm = 0.8\n";
    let job = Job::parse(Path::new("x.toml"), text).unwrap();
    let point = resolve(&job, &Plan::of(&job).unwrap().points[0]);
    let places: Vec<_> = point
        .sizing
        .regions
        .iter()
        .map(|r| r.place.clone())
        .collect();
    assert_eq!(
        places,
        [
            RegionPlace::Around {
                feature: RegionFeature::PlateEnd(PlateSite::Medial),
                within_mm: 0.0
            },
            RegionPlace::Ball {
                centre_mm: [-13.0, 25.0, -15.5],
                radius_mm: 4.0
            },
            RegionPlace::Levels {
                from_mm: 70.0,
                to_mm: 100.0
            },
        ]
    );
    let recorded = &point.inputs["mesh.regions.rim.lateral_mm"];
    assert_eq!(*recorded, FactorValue::Number(-15.5));
    let other = text.replace("radius_mm = 4", "radius_mm = 5");
    let job = Job::parse(Path::new("x.toml"), &other).unwrap();
    let other = resolve(&job, &Plan::of(&job).unwrap().points[0]);
    assert_ne!(point.digest, other.digest);
}

#[test]
fn what_is_no_region_is_told_with_its_line() {
    let told = |text: &str| regions(text).unwrap_err();
    for (text, want) in [
        (
            "[mesh.regions.a]\n",
            "x.toml:1: mesh.regions.a: the region needs edge_mm",
        ),
        (
            "[mesh.regions.a]\nedge_mm = 1\n",
            "x.toml:1: mesh.regions.a: nothing says where the region is",
        ),
        (
            "[mesh.regions.a]\nedge_mm = 1\nlevel_mm = 3\n",
            "x.toml:1: mesh.regions.a: the region needs anterior_mm",
        ),
        (
            "[mesh.regions.a]\nedge_mm = 1\nfrom_mm = 3\nto_mm = 2\n",
            "x.toml:4: mesh.regions.a.to_mm = 2: must lie above from_mm",
        ),
        (
            "[mesh.regions.a]\nedge_mm = 1\nfrom_mm = 3\nto_mm = 5\nradius_mm = 2\n",
            "mesh.regions.a.from_mm = 3: belongs to another shape",
        ),
        (
            "[mesh.regions.a]\nedge_mm = 1\naround = \"screw.3\"\n",
            "x.toml:3: mesh.regions.a.around = screw.3: must name a feature: plate.SITE,",
        ),
        (
            "[mesh.regions.a]\nedge_mm = 0.01\naround = \"fracture\"\n",
            "x.toml:2: mesh.regions.a.edge_mm = 0.01: must lie between 0.1 and",
        ),
        (
            "[mesh.regions.a]\negde_mm = 1\n",
            "did you mean mesh.regions.a.edge_mm?",
        ),
        (
            "[factors]\n\"mesh.regions.a.edge_mm\" = [1, 2]\n",
            "cannot be a factor",
        ),
    ] {
        let told = told(text);
        assert!(told.contains(want), "{told}");
    }
}
