//! `bicolumn refine`: one design point on meshes that follow the error of its responses.

use crate::args::RefineArgs;
use crate::console::Console;
use crate::point_of_job::{point_of_job, tell_written, told, writable_folder, write_file};
use crate::run::threads;
use crate::{CANNOT_RUN, SOME_FAILED};
use bicolumn_job::{Settings, keys, resolve};
use bicolumn_response::{LargestOfPlates, Load, ResponseId};
use bicolumn_store::create_folder;
use bicolumn_study::{End, Refinement, Step, Wanted, refine as refine_point};
use std::path::{Path, PathBuf};

pub(crate) fn refine(args: &RefineArgs, console: &mut Console<'_>) -> u8 {
    let Some((job, design_point)) = point_of_job(&args.job, &args.point, console) else {
        return CANNOT_RUN;
    };
    let inputs = resolve(&job, &design_point);
    let point = inputs.id.clone();
    let settings = Settings::at(&job, &design_point.levels);
    let wanted = match wanted(args, &settings.get(keys().run.headline)) {
        Ok(wanted) => wanted,
        Err(e) => {
            console.error(&format!("{}: {e}", args.job.display()));
            return CANNOT_RUN;
        }
    };
    let Some(dir) = writable_folder(args.out.as_ref(), &args.job, "refine", &point, console) else {
        return CANNOT_RUN;
    };
    console.data(&format!(
        "{:>5}{:>10}{:>11}{:>9}  largest estimated error by response (load case)",
        "mesh", "tets", "unknowns", "seconds"
    ));
    let mut count = 0;
    let result = refine_point(&inputs, &wanted, threads(&job, args.threads), &mut |step| {
        count += 1;
        console.data(&line(count, step));
    });
    let found = match result {
        Ok(found) => found,
        Err(e) => {
            console.error(&told(&e, &job, &design_point));
            return CANNOT_RUN;
        }
    };
    for line in verdict(&found, &wanted) {
        console.data(&line);
    }
    let code = tell_written(write(&found, &dir), console);
    if found.end == End::Met {
        code
    } else {
        code.max(SOME_FAILED)
    }
}

/// Responses and tolerance asked for, checked against those that can be estimated.
fn wanted(args: &RefineArgs, headline: &str) -> Result<Wanted, String> {
    let mut names: Vec<&str> = args.response.iter().map(String::as_str).collect();
    if names.is_empty() {
        names.push(headline);
    }
    let estimable = |name: &&str| {
        let known = ResponseId::from_name(name).filter(|id| id.estimated_by().is_some());
        known.ok_or_else(|| {
            let [stiffness, rotation] =
                [Load::Stiffness, Load::RotationStiffness].map(ResponseId::from);
            let hotspot = ResponseId::from(LargestOfPlates::LastScrew);
            format!(
                "no estimate of the error of {name}\n  hint: there is one for {stiffness}, \
                 {rotation}, motion_..., {hotspot}"
            )
        })
    };
    let responses = names.iter().map(estimable).collect::<Result<_, String>>()?;
    Ok(Wanted {
        responses,
        tolerance: 0.01 * args.tolerance,
        most_tets: args.elements as usize,
        most_steps: usize::from(args.steps),
    })
}

fn line(number: usize, step: &Step) -> String {
    let mut names: Vec<ResponseId> = vec![];
    for r in &step.responses {
        if !names.contains(&r.response) {
            names.push(r.response);
        }
    }
    let worst = names.iter().filter_map(|name| {
        let rows = step.responses.iter().filter(|r| r.response == *name);
        let sized = rows.map(|r| (100.0 * r.error / r.value.abs(), &r.case));
        let (percent, case) = sized.max_by(|a, b| a.0.total_cmp(&b.0))?;
        Some(format!("{name} {percent:.2} % ({case})"))
    });
    let worst: Vec<String> = worst.collect();
    format!(
        "{number:>5}{:>10}{:>11}{:>9.1}  {}",
        step.tets,
        step.unknowns,
        step.seconds,
        worst.join(", ")
    )
}

/// Responses that meet the tolerance at the end and those that do not, with the reason why refinement ended.
fn verdict(found: &Refinement, wanted: &Wanted) -> Vec<String> {
    let Some(last) = found.steps.last() else {
        return vec![];
    };
    let percent = 100.0 * wanted.tolerance;
    let mut lines = vec![match found.end {
        End::Met => format!("every response meets {percent} % under every load case"),
        End::Elements => format!(
            "ended by the elements allowed, {}: some responses do not meet {percent} %",
            wanted.most_tets
        ),
        End::Steps => format!(
            "ended by the meshes allowed, {}: some responses do not meet {percent} %",
            wanted.most_steps
        ),
    }];
    for r in &last.responses {
        lines.push(format!(
            "{:<18}{:<32}{:>12.5} ± {:<10.3} {}",
            r.case,
            r.response,
            r.value,
            r.error,
            if r.met { "met" } else { "not met" }
        ));
    }
    lines
}

fn write(found: &Refinement, dir: &Path) -> Result<Vec<PathBuf>, String> {
    create_folder(dir).map_err(|e| e.to_string())?;
    let mut paths = vec![];
    if let Some(field) = &found.field {
        let path = dir.join("size_field.json");
        let text = serde_json::to_vec(field).map_err(|e| e.to_string())?;
        write_file(&path, &text)?;
        paths.push(path);
    }
    let path = dir.join("refinement.json");
    let all = serde_json::json!({ "end": found.end, "meshes": found.steps });
    let text = serde_json::to_vec_pretty(&all).map_err(|e| e.to_string())?;
    write_file(&path, &text)?;
    paths.push(path);
    Ok(paths)
}
