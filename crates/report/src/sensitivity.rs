//! The headline under other choices of its own definition, computed from the same solutions.

use crate::by_level::table_by_level;
use crate::credit::mean_under;
use crate::labels::{capital, shown_unit};
use crate::study_view::{Group, StudyView, response};
use crate::tables::{NONE, Table};
use bicolumn_response::{Choice, ResponseName};

/// A table a construct: a row a load case and level, a column a choice. Empty where the headline has no choices on
/// record.
pub(crate) fn sensitivity_tables(view: &StudyView) -> Vec<Table> {
    let Some(name) = view.lead() else {
        return Vec::new();
    };
    let choices = choices(view, name);
    if choices.is_empty() {
        return Vec::new();
    }
    let decimals = view.decimals(name);
    let distinct = view.distinct_cases(&[name]);
    let unit = shown_unit(view.unit(name));
    let groups = view.groups();
    let heads = choices.iter().map(|c| c.head().to_string());
    let heads: Vec<String> = std::iter::once("as defined".to_string())
        .chain(heads)
        .collect();
    let table = |group: &Group<'_>| {
        let caption = format!("{}: {}, {unit}", capital(&group.label), name.words());
        table_by_level(
            view,
            group,
            &distinct,
            caption,
            heads.clone(),
            |case, member| {
                let points = member.points(view, group, case, name);
                let own = view.mean_of(&points, &case.name)?;
                let under = choices.iter().map(|choice| {
                    let under = mean_under(&points, &case.name, name, *choice);
                    under.map_or(NONE.into(), |v| decimals.show(v))
                });
                Some(
                    std::iter::once(decimals.show(own.mean))
                        .chain(under)
                        .collect(),
                )
            },
        )
    };
    groups.iter().map(table).collect()
}

/// Choices on record for a response, in their order.
fn choices(view: &StudyView, name: &ResponseName) -> Vec<Choice> {
    let cases = view
        .done()
        .flat_map(|p| p.cases.iter().map(move |c| (p, c)));
    let all = cases.filter_map(|(p, c)| response(p, &c.name, name));
    let mut choices: Vec<Choice> = all.flat_map(|r| &r.under).map(|u| u.choice).collect();
    choices.sort();
    choices.dedup();
    choices
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::comparison::Compared;
    use crate::credit::Withheld;
    use crate::synthetic::{hot_spot, synthetic_study};
    use crate::words::told;
    use bicolumn_store::{FactorValue, UnderChoice};

    /// The invented study, its headline read 0.5 mm off the wall at `scale` times its size by stagger.
    fn view(scale: impl Fn(f64) -> f64) -> StudyView {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        let lead = view.lead().unwrap().clone();
        for point in &mut view.points {
            let stagger = point.factors["plates.stagger_mm"].as_number().unwrap();
            for r in point.cases.iter_mut().flat_map(|c| &mut c.responses) {
                if r.name == lead {
                    r.under = vec![UnderChoice {
                        choice: Choice::AtHalfMm,
                        value: r.value.map(|v| v * scale(stagger)),
                    }];
                }
            }
        }
        view
    }

    fn axial(view: &StudyView) -> Compared {
        let groups = view.groups();
        let level = FactorValue::Number(20.0);
        view.compare(&groups[0], &level, "axial").unwrap()
    }

    #[test]
    fn a_difference_that_keeps_its_sign_is_decided() {
        let view = view(|_| 1.5);
        assert_eq!(axial(&view).withheld, None);
        assert!(!told(&view).join(" ").contains("Not decided"));
        let table = &sensitivity_tables(&view)[0];
        assert_eq!(table.heads[1..], ["as defined", "0.5 mm off"]);
        let value = hot_spot("parallel", -20.0, "axial");
        let row = &table.rows[1].cells;
        assert_eq!(
            row[1..],
            [format!("{value:.1}"), format!("{:.1}", 1.5 * value)]
        );
    }

    #[test]
    fn a_difference_that_turns_with_a_choice_is_not_decided_and_the_answer_says_so() {
        let rising = hot_spot("parallel", 20.0, "axial") > hot_spot("parallel", 0.0, "axial");
        let view = view(|stagger| match (stagger > 0.0, rising) {
            (true, true) => 0.2,
            (true, false) => 5.0,
            (false, _) => 1.0,
        });
        let found = axial(&view);
        assert_eq!(found.withheld, Some(Withheld::NotDecided(Choice::AtHalfMm)));
        let text = &told(&view)[0];
        let wanted = "Not decided under axial";
        assert!(text.contains(wanted), "{text}");
        assert!(
            text.contains("with the stress read 0.5 mm off the screw's wall the difference"),
            "{text}"
        );
    }
}
