//! Sensors that a job defines.

#![allow(clippy::unwrap_used)]

use bicolumn_job::{Job, Plan, resolve};
use bicolumn_model::{MarkerMotion, Reading, Sensor, Site, SitePlace};
use bicolumn_response::Aspect;
use std::path::Path;

fn sensors(text: &str) -> Result<Vec<Sensor>, String> {
    let job = Job::parse(Path::new("x.toml"), text).map_err(|e| e.to_string())?;
    let plan = Plan::of(&job).map_err(|e| e.to_string())?;
    Ok(resolve(&job, &plan.points[0]).sensors)
}

#[test]
fn gauges_and_markers_reach_the_inputs_and_may_lead_the_report() {
    let text = "run.headline = \"sensor_gap_mm\"\n[sensors.gap]\nalong = \"proximal\"\n[sensors.gap.from]\nlevel_mm = 40\nside = \"lateral\"\n\
                [sensors.gap.to]\nlevel_mm = 60\nanterior_mm = -2\nlateral_mm = 9\n\
                [sensors.back]\nlevel_mm = 110\nside = \"posterior\"\ngauge_length_mm = 3\n";
    let site = |level_mm, place| Site { level_mm, place };
    let found = sensors(text).unwrap();
    let beside = SitePlace::Beside {
        anterior_mm: -2.0,
        lateral_mm: 9.0,
    };
    assert_eq!(
        found,
        [
            Sensor {
                name: "back".into(),
                reads: Reading::Gauge {
                    site: site(110.0, SitePlace::Outermost(Aspect::Posterior)),
                    length_mm: 3.0,
                    width_mm: 3.0,
                    angle_deg: 0.0,
                },
            },
            Sensor {
                name: "gap".into(),
                reads: Reading::Markers {
                    from: site(40.0, SitePlace::Outermost(Aspect::Lateral)),
                    to: site(60.0, beside),
                    along: MarkerMotion::Proximal,
                },
            },
        ]
    );
    assert_eq!(found[0].column(), "sensor_back_microstrain");
    assert!(
        found
            .iter()
            .all(|s| s.definition().ends_with("Error not estimated."))
    );
}

#[test]
fn what_is_no_sensor_is_told_with_its_line() {
    let site = "level_mm = 40\nside = \"lateral\"\n";
    for (text, want) in [
        (
            "[sensors.a]\n".to_string(),
            "x.toml:1: sensors.a: nothing says what the sensor reads",
        ),
        (
            format!("[sensors.a]\n{site}"),
            "x.toml:2: sensors.a.level_mm = 40: belongs to a gauge, which needs gauge_length_mm",
        ),
        (
            "[sensors.a]\ngauge_length_mm = 2\nlevel_mm = 40\n".to_string(),
            "x.toml:1: sensors.a: the site needs side, or anterior_mm and lateral_mm",
        ),
        (
            format!("[sensors.a]\n{site}gauge_length_mm = 2\nlateral_mm = 3\n"),
            "x.toml:3: sensors.a.side = lateral: the site is given by coordinates as well",
        ),
        (
            format!("[sensors.a]\n{site}gauge_length_mm = 2\nalong = \"distance\"\n"),
            "x.toml:5: sensors.a.along = distance: belongs to a pair of markers",
        ),
        (
            format!("[sensors.a.from]\n{site}"),
            "x.toml:1: sensors.a.to: the site needs level_mm",
        ),
        (
            format!("[sensors.a.from]\n{site}[sensors.a.to]\n{site}"),
            "sensors.a.to: the two markers are at one place",
        ),
        (
            format!("[sensors.a.form]\n{site}"),
            "sensors.a.form.level_mm = 40: a sensor has no such table",
        ),
        (
            "run.headline = \"sensor_gap_mm\"\n".to_string(),
            "x.toml:1: run.headline = \"sensor_gap_mm\": must name a response",
        ),
    ] {
        let told = sensors(&text).unwrap_err();
        assert!(told.contains(want), "{told}\n{want}");
    }
}
