//! Tables with a row a load case and level of the headline's factor; a row a load case and point without one.

use crate::distinct_cases::DistinctCase;
use crate::labels::{capital, factor_words, level_words};
use crate::study_view::{Group, StudyView, value_of};
use crate::tables::{Row, Table, cells};
use bicolumn_response::ResponseName;
use bicolumn_store::{FactorValue, PointRecord};

/// Points of a construct that stand in one row.
pub(crate) enum Member<'a> {
    /// Points at a level of the headline's factor.
    Level(FactorValue),
    /// Point of a study without such a factor.
    Point(&'a PointRecord),
}

impl<'a> Member<'a> {
    /// Members of a group, in order.
    pub(crate) fn all(view: &StudyView, group: &Group<'a>) -> Vec<Member<'a>> {
        let Some(over) = view.over() else {
            return group.points.iter().map(|p| Member::Point(p)).collect();
        };
        let occurs = |level: &FactorValue| {
            let mut points = group.points.iter();
            points.any(|p| value_of(p, over) == Some(level))
        };
        let levels = view.levels().into_iter().filter(occurs);
        levels.map(Member::Level).collect()
    }

    /// In words.
    pub(crate) fn words(&self, view: &StudyView) -> String {
        match self {
            Member::Point(point) => point.id.clone(),
            Member::Level(level) => {
                let over = view.over().unwrap_or_default();
                format!("{} {}", factor_words(over), level_words(over, level))
            }
        }
    }

    /// Points whose mean stands for it: of a level those that the headline's comparison takes, so that levels stand
    /// beside each other at equal other factors.
    pub(crate) fn points<'v: 'a>(
        &self,
        view: &'v StudyView,
        group: &Group<'a>,
        case: &DistinctCase,
        name: &ResponseName,
    ) -> Vec<&'a PointRecord> {
        match self {
            Member::Point(point) => vec![*point],
            Member::Level(level) => {
                let [points, _] = view.partners(group, level, &case.name, name);
                points
            }
        }
    }
}

/// A table of a group: a section a load case, a row a member that `row` has cells for, its words first.
pub(crate) fn table_by_level<'a>(
    view: &'a StudyView,
    group: &Group<'a>,
    cases: &[DistinctCase],
    caption: String,
    heads: Vec<String>,
    row: impl Fn(&DistinctCase, &Member<'a>) -> Option<Vec<String>>,
) -> Table {
    let members = Member::all(view, group);
    let mut rows: Vec<Row> = Vec::new();
    for case in cases {
        rows.push(Row {
            section: capital(&case.words()),
            ..Row::default()
        });
        for member in &members {
            if let Some(own) = row(case, member) {
                let words = std::iter::once(member.words(view));
                rows.push(cells(words.chain(own).collect()));
            }
        }
    }
    Table {
        caption,
        heads: std::iter::once(String::new()).chain(heads).collect(),
        rows,
        words: 1,
    }
}
