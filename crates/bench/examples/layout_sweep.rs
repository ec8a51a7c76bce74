//! Lays out common designs on three bones and both sides, counts which can be built and says why the
//! others cannot.
//!
//! `cargo run --release -p bicolumn-bench --example layout_sweep` (or with the names of some
//! variants, to lay out only those).
#![allow(clippy::print_stdout)]

use bicolumn_geometry::{Bone, BoneSpec, Construct, ConstructSpec, FractureSpec};
use std::collections::BTreeMap;
use std::error::Error;
use std::sync::Arc;

type Change = fn(&mut ConstructSpec);

/// Changes from the default construct, one thing at a time.
const VARIANTS: [(&str, Change); 25] = [
    ("default", |_| {}),
    ("gap 2", |s| gap(s, 2.0)),
    ("gap 10", |s| gap(s, 10.0)),
    ("gap tilted +10", |s| tilt(s, 10.0)),
    ("gap tilted -10", |s| tilt(s, -10.0)),
    ("no fracture", |s| s.fracture = None),
    ("ends 10 lower", |s| {
        s.plates.iter_mut().for_each(|p| p.end_level_mm -= 10.0)
    }),
    ("ends 10 higher", |s| {
        s.plates.iter_mut().for_each(|p| p.end_level_mm += 10.0)
    }),
    ("ends 20 higher", |s| {
        s.plates.iter_mut().for_each(|p| p.end_level_mm += 20.0)
    }),
    ("2 shaft screws", |s| {
        s.plates.iter_mut().for_each(|p| p.shaft_screws = 2)
    }),
    ("4 shaft screws", |s| {
        s.plates.iter_mut().for_each(|p| p.shaft_screws = 4)
    }),
    ("2 distal screws", |s| {
        s.plates.iter_mut().for_each(|p| p.distal_screws = 2)
    }),
    ("4 distal screws", |s| {
        s.plates.iter_mut().for_each(|p| p.distal_screws = 4)
    }),
    ("width 8", |s| {
        s.plates.iter_mut().for_each(|p| p.width_mm = 8.0)
    }),
    ("width 11", |s| {
        s.plates.iter_mut().for_each(|p| p.width_mm = 11.0)
    }),
    ("thickness 2", |s| {
        s.plates.iter_mut().for_each(|p| p.thickness_mm = 2.0)
    }),
    ("thickness 3.5", |s| {
        s.plates.iter_mut().for_each(|p| p.thickness_mm = 3.5)
    }),
    ("touching", |s| {
        s.plates.iter_mut().for_each(|p| p.stand_off_mm = 0.0)
    }),
    ("stand-off 2", |s| {
        s.plates.iter_mut().for_each(|p| p.stand_off_mm = 2.0)
    }),
    ("pitch 10", |s| {
        s.plates.iter_mut().for_each(|p| p.hole_pitch_mm = 10.0)
    }),
    ("pitch 14", |s| {
        s.plates.iter_mut().for_each(|p| p.hole_pitch_mm = 14.0)
    }),
    ("shaft screws 2.9", |s| {
        s.plates
            .iter_mut()
            .for_each(|p| p.shaft_screw_diameter_mm = 2.9)
    }),
    ("distal screws 2.7", |s| {
        s.plates
            .iter_mut()
            .for_each(|p| p.distal_screw_diameter_mm = 2.7)
    }),
    ("short distal screws", |s| {
        s.plates
            .iter_mut()
            .for_each(|p| p.distal_screw_length_mm = 20.0)
    }),
    ("one cortex", |s| {
        s.plates.iter_mut().for_each(|p| p.bicortical = false)
    }),
];

fn gap(spec: &mut ConstructSpec, gap_mm: f64) {
    if let Some(f) = &mut spec.fracture {
        f.gap_mm = gap_mm;
        f.level_mm += 0.5 * (gap_mm - 5.0).max(0.0);
    }
}

fn tilt(spec: &mut ConstructSpec, deg: f64) {
    if let Some(f) = &mut spec.fracture {
        f.inclination_deg = deg;
        f.level_mm += 3.0;
    }
}

struct Row {
    base: String,
    variant: &'static str,
    result: Result<(), String>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let only: Vec<String> = std::env::args().skip(1).collect();
    let mut tasks = Vec::new();
    for (name, card) in [
        ("mean", BoneSpec::mean_adult()),
        ("small", BoneSpec::small_adult()),
        ("large", BoneSpec::large_adult()),
    ] {
        for left in [false, true] {
            let bone = Arc::new(Bone::build(&BoneSpec {
                left,
                ..card.clone()
            })?);
            for (layout, spec) in [
                ("parallel", ConstructSpec::parallel()),
                ("orthogonal", ConstructSpec::orthogonal()),
            ] {
                for stagger in [-26.0, -13.0, 0.0, 13.0, 26.0] {
                    for (variant, change) in VARIANTS {
                        if !only.is_empty() && !only.iter().any(|o| o == variant) {
                            continue;
                        }
                        // A left bone is the mirror image: its default designs stand for all.
                        if left && variant != "default" {
                            continue;
                        }
                        let mut spec = spec.clone();
                        spec.bone = bone.spec().clone();
                        if let Some(f) = &mut spec.fracture {
                            f.level_mm = FractureSpec::usual_level(
                                card.trochlea_groove_diameter_mm,
                                card.fossa_length_mm,
                            );
                        }
                        spec.plates[0].end_level_mm += 0.5 * stagger;
                        spec.plates[1].end_level_mm -= 0.5 * stagger;
                        change(&mut spec);
                        let side = if left { "left" } else { "right" };
                        let base = format!("{name} {side} {layout} {stagger:+}");
                        tasks.push((base, variant, bone.clone(), spec));
                    }
                }
            }
        }
    }
    let rows = lay_out(&tasks);
    let built = rows.iter().filter(|r| r.result.is_ok()).count();
    println!("{built} of {} designs can be built", rows.len());
    print_by(&rows, "by variant", |r| r.variant.to_string());
    print_by(&rows, "by bone, side and layout", |r| {
        let end = r.base.rfind(' ').unwrap_or(r.base.len());
        r.base[..end].to_string()
    });
    print_by(&rows, "by stagger", |r| {
        r.base.rsplit(' ').next().unwrap_or_default().to_string()
    });
    let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
    for reason in rows.iter().filter_map(|r| r.result.as_ref().err()) {
        *reasons.entry(without_digits(reason)).or_default() += 1;
    }
    println!("reasons");
    for (reason, count) in reasons {
        println!("  {count:4}  {reason}");
    }
    Ok(())
}

type Task = (String, &'static str, Arc<Bone>, ConstructSpec);

/// Builds every task, in order, on two threads.
fn lay_out(tasks: &[Task]) -> Vec<Row> {
    let half = tasks.len().div_ceil(2).max(1);
    std::thread::scope(|scope| {
        let threads: Vec<_> = tasks
            .chunks(half)
            .map(|part| {
                scope.spawn(move || {
                    part.iter()
                        .map(|(base, variant, bone, spec)| Row {
                            base: base.clone(),
                            variant,
                            result: Construct::on_bone(bone.clone(), spec)
                                .map(|_| ())
                                .map_err(|e| e.to_string())
                                .inspect_err(|e| println!("{base}, {variant}: {e}")),
                        })
                        .collect::<Vec<Row>>()
                })
            })
            .collect();
        threads
            .into_iter()
            .flat_map(|t| t.join().unwrap_or_default())
            .collect()
    })
}

fn print_by(rows: &[Row], title: &str, of: impl Fn(&Row) -> String) {
    let mut counts: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    for r in rows {
        let count = counts.entry(of(r)).or_default();
        count.0 += usize::from(r.result.is_ok());
        count.1 += 1;
    }
    println!("{title}");
    for (name, (built, all)) in counts {
        println!("  {name:30} {built:4} of {all}");
    }
}

/// A message with every run of digits as #, to count like ones together.
fn without_digits(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match (c.is_ascii_digit() || c == '.', out.ends_with('#')) {
            (true, true) => {}
            (true, false) => out.push('#'),
            (false, _) => out.push(c),
        }
    }
    out
}
