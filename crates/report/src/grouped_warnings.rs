//! Warnings of all points, each text once with the points it holds for.

use crate::study_view::StudyView;

/// A line a warning: "ID, ID: text". In order of first appearance.
pub(crate) fn grouped_warnings(view: &StudyView) -> Vec<String> {
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for point in &view.points {
        for warning in &point.warnings {
            match groups.iter_mut().find(|(text, _)| text == warning) {
                Some((_, ids)) => ids.push(&point.id),
                None => groups.push((warning, vec![&point.id])),
            }
        }
    }
    groups
        .into_iter()
        .map(|(text, ids)| format!("{}: {text}", ids.join(", ")))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;

    #[test]
    fn a_text_appears_once_with_all_its_points() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        for (i, point) in view.points.iter_mut().enumerate() {
            point.warnings = match i {
                0 => vec!["first".into()],
                1 => vec!["second".into(), "first".into()],
                _ => Vec::new(),
            };
        }
        let ids: Vec<String> = view.points.iter().map(|p| p.id.clone()).collect();
        assert_eq!(
            grouped_warnings(&view),
            [
                format!("{}, {}: first", ids[0], ids[1]),
                format!("{}: second", ids[1])
            ]
        );
    }
}
