//! The plan: from factors and levels to design points.

use crate::design::{layout, too_many};
use crate::idle::check_factors;
use crate::job::Job;
use crate::job_error::JobErrors;
use crate::value::Value;
use bicolumn_store::REPLICATE;
use std::collections::BTreeMap;

/// More points than this in one job are taken for a slip.
pub(crate) const MOST_POINTS: usize = 10_000;

/// One design point: a level of every factor.
#[derive(Debug, Clone, PartialEq)]
pub struct DesignPoint {
    /// `p001`, `p002`, ... in plan order.
    pub id: String,
    /// Level of each factor, by key.
    pub levels: BTreeMap<String, Value>,
}

/// All design points of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// In order; in a full factorial the last factor of the file varies fastest, and replicates of a point follow each other.
    pub points: Vec<DesignPoint>,
    /// Effects that these points cannot tell apart, in words: "a = b × c".
    pub aliases: Vec<String>,
}

impl Plan {
    /// Lays out the points of a job: one without factors has a single point.
    ///
    /// # Errors
    /// More than 10 000 points, replicates counted; a design that does not exist for these factors; a factor that acts at no point.
    pub fn of(job: &Job) -> Result<Plan, JobErrors> {
        let (replicates, at_centre) = (job.replicates(), job.poses());
        let layout = layout(job, MOST_POINTS / replicates)?;
        let choices = &layout.choices;
        let first_centre = choices.len() - layout.centres.min(choices.len());
        let poses_of = |n: usize| {
            if n < first_centre {
                replicates
            } else {
                at_centre
            }
        };
        let total: usize = (0..choices.len()).map(poses_of).sum();
        too_many(job, total, MOST_POINTS)?;
        let width = total.to_string().len().max(3);
        let levels = |choice: &[usize], pose: usize| {
            let chosen = job.factors.iter().zip(choice);
            let mut levels: BTreeMap<String, Value> = chosen
                .map(|(f, c)| (f.path().to_string(), f.levels[*c].clone()))
                .collect();
            if at_centre > 1 {
                levels.insert(REPLICATE.to_owned(), Value::Integer(pose as i64));
            }
            levels
        };
        let all = choices
            .iter()
            .enumerate()
            .flat_map(|(n, c)| (0..poses_of(n)).map(move |pose| (c, pose)));
        let points: Vec<DesignPoint> = all
            .enumerate()
            .map(|(n, (choice, pose))| DesignPoint {
                id: format!("p{:0width$}", n + 1),
                levels: levels(choice, pose),
            })
            .collect();
        check_factors(job, &points)?;
        Ok(Plan {
            points,
            aliases: layout.aliases,
        })
    }

    /// The point of that id; a bare number counts from 1.
    pub fn point(&self, id: &str) -> Option<&DesignPoint> {
        match id.parse::<usize>() {
            Ok(n) => self.points.get(n.checked_sub(1)?),
            Err(_) => self.points.iter().find(|p| p.id == id),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::keys;
    use std::path::Path;

    fn plan(extra: &str) -> Plan {
        let text = format!(
            "{extra}\n[factors]\n\"construct.layout\" = [\"parallel\", \"orthogonal\"]\n\"plates.stagger_mm\" = [-20, 0, 20]\n"
        );
        Plan::of(&Job::parse(Path::new("x.toml"), &text).unwrap()).unwrap()
    }

    #[test]
    fn replicates_are_the_same_point_on_other_poses() {
        let plan = plan("design.replicates = 3");
        assert_eq!(plan.points.len(), 18);
        assert_eq!(keys().path(keys().mesh.pose), REPLICATE);
        let pose = |n: usize| plan.points[n].levels["mesh.pose"].number();
        assert_eq!([0, 1, 2, 3].map(pose), [0.0, 1.0, 2.0, 0.0].map(Some));
        let without = |n: usize| {
            let mut levels = plan.points[n].levels.clone();
            levels.remove("mesh.pose");
            levels
        };
        assert_eq!(without(0), without(2));
        assert_ne!(without(2), without(3));
        let text = "design.replicates = 2\nmesh.pose = 1\n";
        let told = Job::parse(Path::new("x.toml"), text)
            .unwrap_err()
            .to_string();
        assert!(told.contains("mesh.pose"), "{told}");
    }

    #[test]
    fn a_full_factorial_holds_every_combination_once() {
        let plan = plan("");
        assert_eq!(plan.points.len(), 6);
        assert_eq!(plan.points[0].id, "p001");
        for (n, a) in plan.points.iter().enumerate() {
            assert!(plan.points[..n].iter().all(|b| b.levels != a.levels));
        }
        assert_eq!(
            plan.points[1].levels["plates.stagger_mm"],
            Value::Number(0.0)
        );
        assert_eq!(
            plan.points[1].levels["construct.layout"],
            Value::Word("parallel".into())
        );
        assert_eq!(plan.point("4"), Some(&plan.points[3]));
        assert_eq!(plan.point("p006"), Some(&plan.points[5]));
        assert_eq!(plan.point("0"), None);
        assert_eq!(plan.point("p007"), None);
    }

    #[test]
    fn one_at_a_time_moves_one_factor_from_the_first_levels() {
        let plan = plan("design.kind = \"one_at_a_time\"");
        assert_eq!(plan.points.len(), 4);
        let base = &plan.points[0].levels;
        for p in &plan.points[1..] {
            let moved = p.levels.iter().filter(|(k, v)| base[*k] != **v).count();
            assert_eq!(moved, 1);
        }
    }

    #[test]
    fn no_factor_gives_one_point_and_too_many_points_are_refused() {
        let job = Job::parse(Path::new("x.toml"), "").unwrap();
        assert_eq!(Plan::of(&job).unwrap().points.len(), 1);
        let levels: Vec<String> = (0..120)
            .map(|i| format!("{}", 50.0 + f64::from(i)))
            .collect();
        let levels = levels.join(", ");
        let text = format!(
            "[factors]\n\"plates.end_level_mm\" = [{levels}]\n\"loads.axial_n\" = [{levels}]\n"
        );
        let job = Job::parse(Path::new("x.toml"), &text).unwrap();
        let e = Plan::of(&job).unwrap_err().to_string();
        assert!(e.contains("14400 design points"), "{e}");
    }
}
