//! The figure of a hypothesis: a panel a construct, differences by load case with their errors, the verdict under each.

use crate::chart::{Axis, Chart, Marker, Stroke};
use crate::hypothesis::{Hypothesis, Judgement, Verdict};
use crate::interaction_chart::CONSTRUCTS;
use crate::labels::{capital, case_words, factor_words, level_words};
use crate::study_view::Group;

/// Most load cases whose names stand in one row without overlapping.
const MOST_IN_A_ROW: usize = 4;

/// A panel a construct; the grey band holds the differences that do not matter.
pub(crate) fn hypothesis_charts(hypothesis: &Hypothesis) -> Vec<String> {
    let all = hypothesis.judgements();
    let matters = hypothesis.claim.least_difference_percent;
    let ends = all.iter().flat_map(|(_, j)| j).flat_map(|j| &j.levels);
    let most = ends
        .map(|l| 100.0 * (l.change.abs() + l.error))
        .fold(1.5 * matters, f64::max);
    let panels = all.iter().filter(|(_, judged)| !judged.is_empty());
    panels.map(|of| panel(hypothesis, of, most)).collect()
}

fn panel(
    hypothesis: &Hypothesis,
    (group, judged): &(Group<'_>, Vec<Judgement>),
    most: f64,
) -> String {
    let matters = hypothesis.claim.least_difference_percent;
    let levels = hypothesis.levels();
    let title = format!(
        "{}: differences from the baseline by load case, {}",
        hypothesis.title(),
        group.label
    );
    let is_crowded = judged.len() > MOST_IN_A_ROW;
    let [foot, below_names] = if is_crowded {
        [76.0, 44.0]
    } else {
        [64.0, 32.0]
    };
    let x = Axis::between(-0.5, judged.len() as f64 - 0.5);
    let y = Axis::between(-1.05 * most, 1.05 * most);
    let mut chart = Chart::new(&title, [520.0, 280.0], 56.0, foot, x, y);
    let (top, bottom) = (chart.at_y(matters), chart.at_y(-matters));
    let (left, right) = (chart.left(), chart.at_x(judged.len() as f64 - 0.5));
    chart.bar([left, top], [right - left, bottom - top], "#eee", "none");
    chart.heading(&capital(&group.label));
    chart.y_axis("difference, %");
    for (c, judgement) in judged.iter().enumerate() {
        for (k, judged) in judgement.levels.iter().enumerate() {
            let nth = levels.iter().position(|l| *l == judged.level).unwrap_or(k);
            let colour = CONSTRUCTS[nth % CONSTRUCTS.len()];
            let offset = (k as f64 + 0.5) / judgement.levels.len() as f64 - 0.5;
            let x = chart.at_x(c as f64 + 0.7 * offset);
            let stroke = Stroke {
                colour: colour.to_string(),
                width: 1.6,
                dash: "",
            };
            let whisker = [judged.change - judged.error, judged.change + judged.error]
                .map(|v| chart.at_y(100.0 * v));
            chart.segment([x, whisker[0]], [x, whisker[1]], &stroke);
            let tip = format!(
                "{}, {}: {}",
                judgement.case.words(),
                hypothesis.difference_words(judged),
                judged.verdict.words()
            );
            let y = chart.at_y(100.0 * judged.change);
            let shape = match judged.verdict {
                Verdict::NotCredited => Marker::Ring,
                _ => Marker::nth(nth % 4),
            };
            chart.marker([x, y], shape, colour, 4.0, &tip);
        }
        // Of cases that are each other's reverse the first; neighbours of many in two rows, so that none overlap.
        let below = match is_crowded && c % 2 == 1 {
            true => 14.0,
            false => 2.0,
        };
        chart.x_tick(c as f64, &case_words(&judgement.case.name), below);
        let x = chart.at_x(c as f64);
        let lines = match judgement.verdict.words().split_once(' ') {
            Some((first, rest)) => vec![first, rest],
            None => vec![judgement.verdict.words()],
        };
        for (line, words) in lines.into_iter().enumerate() {
            let y = chart.floor() + below_names + 12.0 * line as f64;
            chart.text(x, y, "middle", "v", words);
        }
    }
    chart.baseline();
    chart.finish()
}

/// Levels of the claim with the colours of their markers.
pub(crate) fn hypothesis_legend(hypothesis: &Hypothesis) -> Vec<(String, &'static str)> {
    let over = hypothesis.view.over().unwrap_or_default();
    let levels = hypothesis.levels();
    let named = levels.iter().enumerate();
    named
        .map(|(k, l)| {
            let words = format!("{} {}", factor_words(over), level_words(over, l));
            (words, CONSTRUCTS[k % CONSTRUCTS.len()])
        })
        .collect()
}
