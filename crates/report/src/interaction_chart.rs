//! The headline response over its factor, a line per construct, a panel per load case.

use crate::chart::{Axis, Chart, Marker, Stroke};
use crate::labels::{capital, factor_words, level_number, level_words, shown_unit, with_unit};
use crate::study_view::StudyView;
use bicolumn_store::FactorValue;
use bicolumn_store::results::unit_of_key;

/// Colours of constructs; not those of levels, so that a colour means one thing on the page.
pub(crate) const CONSTRUCTS: [&str; 5] = ["#6a3d9a", "#b8860b", "#1b7c7c", "#a0446a", "#555555"];

/// One panel per load case. Empty without a headline or with a single level.
pub(crate) fn interaction_charts(view: &StudyView) -> Vec<String> {
    let (Some(headline), levels) = (view.headline(), view.levels()) else {
        return Vec::new();
    };
    if levels.len() < 2 {
        return Vec::new();
    }
    let numbers: Option<Vec<f64>> = levels.iter().map(FactorValue::as_number).collect();
    let place = |i: usize| numbers.as_ref().map_or(i as f64, |n| n[i]);
    let places = || (0..levels.len()).map(place);
    let low = places().fold(f64::INFINITY, f64::min);
    let high = places().fold(f64::NEG_INFINITY, f64::max);
    let margin = 0.08 * (high - low);
    let unit = view.unit(&headline.response);
    let decimals = view.decimals(&headline.response);
    let groups = view.groups();

    view.distinct_cases(&[&headline.response])
        .iter()
        .map(|case| {
            let cells: Vec<Vec<_>> = groups
                .iter()
                .map(|g| {
                    levels
                        .iter()
                        .map(|level| view.compare(g, level, &case.name).map(|c| c.cell))
                        .collect()
                })
                .collect();
            let values = cells
                .iter()
                .flatten()
                .flatten()
                .flat_map(|c| c.values.clone());
            let title = format!(
                "{} over {}, {}",
                headline.response.words(),
                factor_words(&headline.over),
                case.words()
            );
            let x = Axis::between(low - margin, high + margin);
            let y = Axis::from_zero(values.fold(0.0, f64::max));
            let mut chart = Chart::new(&title, [344.0, 230.0], 56.0, 46.0, x, y);
            chart.heading(&capital(&case.words()));
            let unit_words = shown_unit(unit);
            chart.y_axis(if unit_words.is_empty() {
                "ratio"
            } else {
                &unit_words
            });
            if unit == "1" {
                // A ratio of one: no change.
                let (left, y) = (chart.left(), chart.at_y(1.0));
                let right = chart.at_x(high + margin);
                let stroke = Stroke {
                    colour: "#777".into(),
                    width: 1.0,
                    dash: "2 3",
                };
                chart.segment([left, y], [right, y], &stroke);
            }
            for (g, row) in cells.iter().enumerate() {
                let colour = CONSTRUCTS[g % CONSTRUCTS.len()];
                let means: Vec<_> = row
                    .iter()
                    .enumerate()
                    .map(|(i, cell)| (place(i), cell.as_ref().map(|c| c.mean)))
                    .collect();
                let stroke = Stroke {
                    colour: colour.to_string(),
                    width: 1.6,
                    dash: if g % 2 == 0 { "" } else { "6 3" },
                };
                // Means over unequal partners are not joined.
                if view.has_common_partners(&groups[g], &case.name, &headline.response) {
                    chart.line(&means, &stroke);
                }
                for (i, cell) in row.iter().enumerate() {
                    let Some(cell) = cell else { continue };
                    let x = chart.at_x(place(i));
                    let at = level_words(&headline.over, &levels[i]);
                    let tip = |v: f64| {
                        let value = with_unit(&decimals.show(v), unit);
                        format!("{}, {at}: {value}", groups[g].label)
                    };
                    if cell.values.len() > 1 {
                        for &v in &cell.values {
                            let y = chart.at_y(v);
                            chart.marker([x, y], Marker::Disc, "#aaa", 1.8, &tip(v));
                        }
                    }
                    let y = chart.at_y(cell.mean);
                    if let Some(error) = cell.error {
                        let ends = [chart.at_y(cell.mean - error), chart.at_y(cell.mean + error)];
                        chart.segment([x, ends[0]], [x, ends[1]], &stroke);
                    }
                    chart.marker([x, y], Marker::nth(g), colour, 4.0, &tip(cell.mean));
                }
            }
            chart.baseline();
            for (i, level) in levels.iter().enumerate() {
                // Labels of crowded levels would overlap: every second one then.
                if levels.len() <= 7 || i % 2 == 0 {
                    let label = match level {
                        FactorValue::Number(n) => level_number(&headline.over, *n),
                        other => level_words(&headline.over, other),
                    };
                    chart.x_tick(place(i), &label, 2.0);
                }
            }
            let unit = shown_unit(unit_of_key(&headline.over));
            let name = factor_words(&headline.over);
            let name = if unit.is_empty() {
                name
            } else {
                format!("{name}, {unit}")
            };
            let middle = (chart.at_x(low) + chart.at_x(high)) / 2.0;
            chart.text(middle, chart.floor() + 36.0, "middle", "t", &name);
            chart.finish()
        })
        .collect()
}

/// Name, colour and marker of each construct, for the legend.
pub(crate) fn construct_legend(view: &StudyView) -> Vec<(String, &'static str)> {
    let groups = view.groups();
    let named = groups.iter().enumerate();
    named
        .map(|(i, g)| (capital(&g.label), CONSTRUCTS[i % CONSTRUCTS.len()]))
        .collect()
}
