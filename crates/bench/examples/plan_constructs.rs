//! Processor seconds to plan and check constructs: every point of job files, and plausible designs drawn at random.
//!
//! `cargo run --release -p bicolumn-bench --example plan_constructs -- [--told] [--designs 0..40] [JOB ...]`, one
//! thread; without job files, those of `jobs/`. A design is planned from its intent alone and with all details stated,
//! each exactly and as near as can be, on bones of its own. `--told` prints every construct with all digits, so that two
//! programs can be compared.
#![allow(clippy::print_stdout)]

#[path = "../../study/tests/support/plausible.rs"]
#[allow(dead_code)]
mod plausible;

use bicolumn_geometry::{Construct, GeometryError};
use bicolumn_job::{Job, Plan, resolve};
use bicolumn_study::BoneCache;
use plausible::Design;
use std::error::Error;
use std::path::{Path, PathBuf};

/// Seconds of the processor that this thread took so far, by the account of the kernel.
fn processor_seconds() -> Result<f64, Box<dyn Error>> {
    let account = std::fs::read_to_string("/proc/thread-self/schedstat")?;
    let taken = account.split_whitespace().next().ok_or("no account")?;
    Ok(taken.parse::<f64>()? * 1e-9)
}

/// Constructs planned, those refused, and processor seconds.
#[derive(Default)]
struct Sum {
    planned: usize,
    refused: usize,
    seconds: f64,
    /// Processor seconds of the bones as stated, among `seconds`.
    of_bones: f64,
    most: f64,
}

impl Sum {
    fn print(&self, of: &str) {
        println!(
            "{of}: {} constructs, {} refused, {:.3} s each with {:.3} s for its bone, {:.3} s at most",
            self.planned,
            self.refused,
            self.seconds / self.planned.max(1) as f64,
            self.of_bones / self.planned.max(1) as f64,
            self.most
        );
    }

    /// Plans every point of a job's text.
    fn plan(
        &mut self,
        (path, text): (&Path, &str),
        bones: &BoneCache,
        told: Option<&str>,
    ) -> Result<(), Box<dyn Error>> {
        let job = match Job::parse(path, text) {
            Ok(job) => job,
            Err(error) => {
                self.planned += 1;
                self.refused += 1;
                if let Some(of) = told {
                    println!("{of} {error}");
                }
                return Ok(());
            }
        };
        for (n, point) in Plan::of(&job)?.points.iter().enumerate() {
            let inputs = resolve(&job, point);
            let before = processor_seconds()?;
            let _ = bones.of(&inputs.construct.bone);
            let on_bone = processor_seconds()?;
            let built = bones.construct(&inputs.construct);
            let taken = processor_seconds()? - before;
            self.of_bones += on_bone - before;
            self.planned += 1;
            self.refused += usize::from(built.is_err());
            self.seconds += taken;
            self.most = self.most.max(taken);
            if let Some(of) = told {
                tell(&format!("{of}.{n}"), &built);
            }
        }
        Ok(())
    }
}

fn tell(of: &str, built: &Result<Construct, GeometryError>) {
    match built {
        Err(error) => println!("{of} {error}"),
        Ok(construct) => {
            for plate in &construct.plates {
                println!("{of} {} {:?}", plate.site, plate.length_mm);
                plate.holes.iter().for_each(|h| println!("{of} {h:?}"));
            }
            construct.screws.iter().for_each(|s| println!("{of} {s:?}"));
            construct
                .screws_as_built()
                .iter()
                .for_each(|s| println!("{of} {s:?}"));
            println!("{of} {:?}", construct.canal_floor);
            println!("{of} {:?} {:?}", construct.moved, construct.notes);
        }
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let (mut told, mut designs, mut jobs) = (false, 0..40, Vec::new());
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--told" => told = true,
            "--designs" => {
                let range = arguments.next().ok_or("--designs FROM..TO")?;
                let (from, to) = range.split_once("..").ok_or("--designs FROM..TO")?;
                designs = from.parse()?..to.parse()?;
            }
            path => jobs.push(PathBuf::from(path)),
        }
    }
    if jobs.is_empty() {
        for entry in std::fs::read_dir("jobs")? {
            jobs.push(entry?.path());
        }
        jobs.sort();
    }
    let mut of_jobs = Sum::default();
    for path in &jobs {
        let mut of_job = Sum::default();
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path)?;
        let of = told.then_some(name.as_str());
        of_job.plan((path, &text), &BoneCache::default(), of)?;
        of_job.print(&name);
        of_jobs.planned += of_job.planned;
        of_jobs.refused += of_job.refused;
        of_jobs.seconds += of_job.seconds;
        of_jobs.of_bones += of_job.of_bones;
        of_jobs.most = of_jobs.most.max(of_job.most);
    }
    of_jobs.print("jobs");
    const TEXTS: [&str; 4] = [
        "intent alone, exact",
        "all details stated, exact",
        "intent alone, nearest",
        "all details stated, nearest",
    ];
    let mut of_designs = TEXTS.map(|_| Sum::default());
    for n in designs {
        let design = Design::numbered(n);
        for (i, sum) in of_designs.iter_mut().enumerate() {
            let mut text = match i % 2 {
                0 => design.intent.clone(),
                _ => design.stated(),
            };
            if i >= 2 {
                text.push_str("construct.fit = \"nearest\"\n");
            }
            let of = format!("design {n} {i}");
            let told = told.then_some(of.as_str());
            sum.plan(
                (Path::new("design.toml"), &text),
                &BoneCache::default(),
                told,
            )?;
        }
    }
    for (sum, of) in of_designs.iter().zip(TEXTS) {
        sum.print(of);
    }
    Ok(())
}
