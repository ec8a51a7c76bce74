//! `bicolumn cluster`: a script that runs a job on a cluster.

use crate::args::{ClusterArgs, Scheduler};
use crate::console::Console;
use crate::progress::{clock, plural};
use crate::run::{default_folder, quoted, read_with, set_in_words};
use crate::{ALL_WELL, CANNOT_RUN};
use bicolumn_study::{BoneCache, CheckedPoint, Shard, check_job};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

pub(crate) fn cluster(args: &ClusterArgs, console: &mut Console<'_>) -> u8 {
    let (job, plan) = match read_with(&args.job, &args.set) {
        Ok(read) => read,
        Err(e) => {
            console.error(&e);
            return CANNOT_RUN;
        }
    };
    let cores = std::thread::available_parallelism().map_or(1, |n| n.get());
    let count = plan.points.len();
    console.say(&format!("building {count} {}", plural(count, "construct")));
    let checked = check_job(&job, &plan, &BoneCache::default(), cores, &|_| {}).points;
    let Some(needs) = Needs::of(&checked, usize::from(args.threads), args.tasks) else {
        console.error(&"no construct of this job can be built, so there is nothing to solve");
        return CANNOT_RUN;
    };
    console.say(&format!(
        "{} {} of at most {} by forecast, asked for twice that and an hour; {} MiB each; forecasts may be off by \
         half, and contact takes four times as long and more",
        needs.tasks,
        plural(needs.tasks, "task"),
        clock(needs.seconds),
        needs.mib,
    ));
    let script = match args.scheduler {
        Scheduler::Slurm => slurm(&needs, args),
    };
    if !args.submit {
        console.data(script.trim_end());
        return ALL_WELL;
    }
    match submit(&script) {
        Ok(said) => {
            console.data(said.trim_end());
            ALL_WELL
        }
        Err(e) => {
            console.error(&e);
            CANNOT_RUN
        }
    }
}

/// Needs of a job on a cluster.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Needs {
    /// Tasks, each a shard.
    tasks: usize,
    /// Forecast time of the longest of them, s.
    seconds: f64,
    /// Memory of each, MiB.
    mib: usize,
    threads: usize,
}

impl Needs {
    /// By the forecast of the points; `None` where none can be built.
    fn of(checked: &[CheckedPoint], threads: usize, tasks: Option<u16>) -> Option<Needs> {
        let built: Vec<_> = checked
            .iter()
            .filter_map(|c| c.built.as_ref().ok())
            .collect();
        // What cannot be built takes its place among the shards all the same, as `run` shares out.
        let seconds = |c: &CheckedPoint| c.built.as_ref().map_or(0.0, |b| b.estimate.seconds);
        let costs: Vec<f64> = checked
            .iter()
            .map(|c| seconds(c) / threads as f64)
            .collect();
        let bytes = built.iter().map(|b| b.estimate.bytes).fold(0.0, f64::max);
        (!built.is_empty()).then(|| Needs::with(&costs, bytes, threads, tasks))
    }

    /// Request for tasks whose points have these times, s, the largest of them this memory, bytes.
    fn with(costs: &[f64], bytes: f64, threads: usize, tasks: Option<u16>) -> Needs {
        /// Time that a task is to last, s.
        const TASK: f64 = 3600.0;
        /// Most tasks: clusters take arrays of a thousand.
        const MOST: usize = 1000;
        /// Share of the memory asked for that a run fills, and what a point's neighbours take beside it.
        const FILLED: f64 = 0.8;
        const BESIDE: f64 = 1.2;
        /// Memory of the run itself, bytes.
        const RUN: f64 = 0.5e9;
        let by_time = (costs.iter().sum::<f64>() / TASK).ceil() as usize;
        let tasks = tasks.map_or(by_time, usize::from);
        let tasks = tasks.clamp(1, costs.len().clamp(1, MOST));
        let of_shard = |number| {
            let own = Shard::new(number, tasks).map(|s| s.of(costs));
            own.iter().flatten().map(|n| costs[*n]).sum::<f64>()
        };
        // A point for each thread, so that all threads have work.
        let points = threads.min(costs.len().div_ceil(tasks)) as f64;
        let all = points * BESIDE * bytes / FILLED + RUN;
        Needs {
            tasks,
            seconds: (1..=tasks).map(of_shard).fold(0.0, f64::max),
            mib: (all / 1024f64.powi(2)).ceil() as usize,
            threads,
        }
    }

    /// Time to ask for, minutes: twice the forecast, and an hour for constructs and for what was not foreseen.
    fn minutes(self) -> usize {
        (2.0 * self.seconds / 60.0).ceil() as usize + 60
    }
}

/// Script that submits the array, and the merge after it, to Slurm. The count of shards stands in it as a number: of tasks
/// submitted again some are left out.
fn slurm(needs: &Needs, args: &ClusterArgs) -> String {
    let word = |path: &Path| quoted(&path.display().to_string());
    let name = args.job.file_stem().unwrap_or(args.job.as_os_str());
    let name = quoted(&name.to_string_lossy().replace(char::is_whitespace, "_"));
    let out = args
        .out
        .clone()
        .unwrap_or_else(|| default_folder(&args.job));
    let out = word(&out);
    let cache = args
        .cache
        .as_deref()
        .map(|c| format!(" --cache {}", word(c)));
    let program = std::env::current_exe().map_or("bicolumn".to_owned(), |p| word(&p));
    let Needs {
        tasks,
        mib,
        threads,
        ..
    } = *needs;
    let (hours, minutes) = (needs.minutes() / 60, needs.minutes() % 60);
    let options = format!("{}{}", set_in_words(&args.set), cache.unwrap_or_default());
    format!(
        "#!/bin/bash\n\
         # Submits the points of {job} as an array of {tasks} and their merge after it: bash THIS_FILE\n\
         set -euo pipefail\n\
         array=$(sbatch --parsable <<'TASK'\n\
         #!/bin/bash\n\
         #SBATCH --job-name={name}\n\
         #SBATCH --array=1-{tasks}\n\
         #SBATCH --cpus-per-task={threads}\n\
         #SBATCH --mem={mib}M\n\
         #SBATCH --time={hours:02}:{minutes:02}:00\n\
         #SBATCH --requeue\n\
         #SBATCH --signal=B:USR1@120\n\
         #SBATCH --open-mode=append\n\
         #SBATCH --output={name}-%A_%a.log\n\
         exec {program} run {job} --out {out} --shard \"$SLURM_ARRAY_TASK_ID/{tasks}\" --threads {threads}{options}\n\
         TASK\n\
         )\n\
         echo \"array ${{array%%;*}}\"\n\
         merge=$(sbatch --parsable --dependency=\"afterany:${{array%%;*}}\" --job-name={name}-merge --mem=2000M --time=01:00:00 \
         --output={name}-merge-%j.log <<'TASK'\n\
         #!/bin/bash\n\
         exec {program} report {out}\n\
         TASK\n\
         )\n\
         echo \"merge ${{merge%%;*}}\"\n",
        job = word(&args.job),
    )
}

/// Hands a script to the shell, which calls the scheduler.
fn submit(script: &str) -> Result<String, String> {
    let mut shell = Command::new("bash")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|e| format!("bash: {e}"))?;
    if let Some(mut input) = shell.stdin.take() {
        let written = input.write_all(script.as_bytes());
        written.map_err(|e| format!("bash: {e}"))?;
    }
    let end = shell.wait_with_output().map_err(|e| format!("bash: {e}"))?;
    match end.status.success() {
        true => Ok(String::from_utf8_lossy(&end.stdout).into_owned()),
        false => Err(format!(
            "the script was not submitted ({}); its commands are sbatch of Slurm",
            end.status
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::args::{Args, Verb};
    use clap::Parser;

    #[test]
    fn tasks_last_about_an_hour_and_are_no_more_than_points() {
        // 40 points of half an hour on four threads: 20 h.
        let needs = Needs::with(&[1800.0; 40], 2e9, 4, None);
        assert_eq!((needs.tasks, needs.seconds), (20, 3600.0));
        assert_eq!(needs.minutes(), 180);
        // Two points at once, each with a fifth more, four fifths filled.
        assert_eq!(
            needs.mib,
            ((2.0 * 2.4e9 / 0.8 + 0.5e9) / 1048576.0_f64).ceil() as usize
        );
        assert_eq!(Needs::with(&[9000.0; 3], 2e9, 4, None).tasks, 3);
        assert_eq!(Needs::with(&[10.0; 3], 2e9, 4, None).tasks, 1);
        assert_eq!(Needs::with(&[10.0; 3], 2e9, 4, Some(2)).tasks, 2);
        assert_eq!(Needs::with(&[9000.0; 5000], 2e9, 4, None).tasks, 1000);
    }

    #[test]
    fn the_script_shares_out_by_a_fixed_count_and_merges_after_all_have_ended() {
        let line = "bicolumn cluster jobs/a.toml --for slurm --out /data/x --set mesh.finest_mm=2";
        let Verb::Cluster(args) = Args::try_parse_from(line.split(' ')).unwrap().verb else {
            panic!("another command")
        };
        let needs = Needs {
            tasks: 8,
            seconds: 3000.0,
            mib: 6000,
            threads: 4,
        };
        let script = slurm(&needs, &args);
        for part in [
            "#SBATCH --array=1-8\n",
            "#SBATCH --mem=6000M\n",
            "#SBATCH --time=02:40:00\n",
            "#SBATCH --requeue\n",
            "#SBATCH --open-mode=append\n",
            " run jobs/a.toml --out /data/x --shard \"$SLURM_ARRAY_TASK_ID/8\" --threads 4 --set mesh.finest_mm=2\n",
            "--dependency=\"afterany:${array%%;*}\"",
            " report /data/x\n",
        ] {
            assert!(script.contains(part), "{part}\n{script}");
        }
        assert!(script.lines().all(|l| !l.starts_with(' ')), "{script}");
        let checked = Command::new("bash")
            .args(["-n", "-c", &script])
            .status()
            .unwrap();
        assert!(checked.success(), "a shell cannot read it");
    }
}
