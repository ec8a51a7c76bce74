//! Lines of points and their colours: the same in every chart of a page.

use crate::colour::{BASELINE, LINES};
use crate::labels::level_words;
use crate::study_view::{Group, StudyView, value_of};
use bicolumn_store::{FactorValue, PointRecord};

/// Most lines in one panel.
const MOST_LINES: usize = 7;

/// One line of a panel: a point that stands for its level.
#[derive(Debug)]
pub(crate) struct Line<'a> {
    /// The level in words; the point's id where the study has no headline.
    pub(crate) label: String,
    /// CSS colour.
    pub(crate) colour: &'static str,
    /// The point.
    pub(crate) point: &'a PointRecord,
}

/// CSS colour of a level: near black for the baseline, the palette's colours in order for the others.
pub(crate) fn level_colour(view: &StudyView, level: &FactorValue) -> &'static str {
    let baseline = view.baseline();
    if baseline.as_ref() == Some(level) {
        return BASELINE;
    }
    let others = view
        .levels()
        .into_iter()
        .filter(|l| Some(l) != baseline.as_ref());
    let place = others.into_iter().position(|l| l == *level).unwrap_or(0);
    LINES[place % LINES.len()]
}

/// The lines of one construct: for each level its first point; without a headline its points in order.
///
/// Beyond seven levels the baseline and evenly spread levels are taken.
pub(crate) fn lines<'a>(view: &StudyView, group: &Group<'a>) -> Vec<Line<'a>> {
    let Some(headline) = view.headline() else {
        let points = group.points.iter().take(MOST_LINES).enumerate();
        return points
            .map(|(i, point)| Line {
                label: point.id.clone(),
                colour: if i == 0 {
                    BASELINE
                } else {
                    LINES[(i - 1) % LINES.len()]
                },
                point,
            })
            .collect();
    };
    drawn_levels(view)
        .into_iter()
        .filter_map(|level| {
            let at_level = |p: &&&PointRecord| value_of(p, &headline.over) == Some(&level);
            Some(Line {
                label: level_words(&headline.over, &level),
                colour: level_colour(view, &level),
                point: group.points.iter().find(at_level)?,
            })
        })
        .collect()
}

/// The levels that are drawn as lines.
pub(crate) fn drawn_levels(view: &StudyView) -> Vec<FactorValue> {
    let levels = view.levels();
    if levels.len() <= MOST_LINES {
        return levels;
    }
    let baseline = view.baseline();
    let last = levels.len() - 1;
    let spread: Vec<usize> = (0..MOST_LINES - 1)
        .map(|i| i * last / (MOST_LINES - 2))
        .collect();
    levels
        .into_iter()
        .enumerate()
        .filter(|(i, level)| spread.contains(i) || Some(level) == baseline.as_ref())
        .map(|(_, level)| level)
        .collect()
}

/// Do some constructs have several points at one level, of which lines show only the first?
pub(crate) fn some_points_left_out(view: &StudyView) -> bool {
    let groups = view.groups();
    let drawn: usize = groups.iter().map(|g| lines(view, g).len()).sum();
    drawn < groups.iter().map(|g| g.points.len()).sum()
}
