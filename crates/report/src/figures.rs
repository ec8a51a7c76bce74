//! Charts of the page as files of their own: each an SVG that opens by itself and holds its data.

use std::fmt::Write;

const OPENS: &str = "<svg class=\"chart\"";
const CLOSES: &str = "</svg>";
/// Style of a chart outside the page; the page's own is in its style sheet.
const STYLE: &str = "text{font-family:system-ui,\"DejaVu Sans\",sans-serif;fill:#1d2228}.grid{stroke:#e3e6e8}.axis{stroke:#444}\
                     .t{font-size:10.5px;fill:#3d454d}.h{font-size:12px;font-weight:600}.v{font-size:10.5px;font-weight:600}";
/// Most letters of a file's name.
const LONGEST_NAME: usize = 60;

/// A page whose charts are linked to files, and these files: name and content.
pub(crate) struct Linked {
    pub(crate) html: String,
    pub(crate) files: Vec<(String, String)>,
}

/// Folder of the figures as the page links it: that of [`bicolumn_store::StudyFolder::figures_folder`].
const FOLDER: &str = "figures";

/// Takes the data out of every chart of a page into a file of its own, to which it is linked.
pub(crate) fn linked(page: &str) -> Linked {
    let (mut html, mut files) = (String::with_capacity(page.len()), Vec::new());
    let mut rest = page;
    while let Some(start) = rest.find(OPENS) {
        let (before, from) = rest.split_at(start);
        html.push_str(before);
        let Some(end) = from.find(CLOSES).map(|n| n + CLOSES.len()) else {
            rest = from;
            break;
        };
        let (chart, after) = from.split_at(end);
        let name = format!("{:02}-{}.svg", files.len() + 1, slug(title(chart)));
        let _ = write!(
            html,
            "<div class=\"fig\">{}<a class=\"save\" href=\"{FOLDER}/{name}\" download>SVG with data</a></div>",
            without_data(chart)
        );
        files.push((name, alone(chart)));
        rest = after;
    }
    html.push_str(rest);
    Linked { html, files }
}

fn title(chart: &str) -> &str {
    let named = chart.split_once("aria-label=\"");
    named.map_or("", |(_, rest)| rest.split('"').next().unwrap_or_default())
}

/// Letters, digits and hyphens of a title.
fn slug(title: &str) -> String {
    let mut slug = String::new();
    for c in title.chars().flat_map(char::to_lowercase) {
        match c.is_ascii_alphanumeric() {
            true => slug.push(c),
            false if !slug.ends_with('-') && !slug.is_empty() => slug.push('-'),
            false => {}
        }
    }
    slug.truncate(LONGEST_NAME);
    slug.trim_end_matches('-').to_string()
}

/// A chart without its data.
fn without_data(chart: &str) -> String {
    match (chart.find("<metadata>"), chart.find("</metadata>")) {
        (Some(a), Some(b)) if a < b => {
            format!("{}{}", &chart[..a], &chart[b + "</metadata>".len()..])
        }
        _ => chart.to_string(),
    }
}

/// A chart that needs no page.
fn alone(chart: &str) -> String {
    let chart = chart.replacen("<svg ", "<svg xmlns=\"http://www.w3.org/2000/svg\" ", 1);
    match chart.split_once('>') {
        Some((opens, rest)) => format!("{opens}><style>{STYLE}</style>{rest}\n"),
        None => chart,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::{Axis, Chart, Marker};

    #[test]
    fn every_chart_becomes_a_file_that_holds_the_numbers_that_are_drawn() {
        let drawn = [(1.25, 3.5), (2.0, 0.125)];
        let mut chart = Chart::new(
            "Stress over stagger, ±",
            [200.0, 100.0],
            40.0,
            30.0,
            Axis::between(0.0, 3.0),
            Axis::from_zero(4.0),
        );
        for (x, y) in drawn {
            let at = [chart.at_x(x), chart.at_y(y)];
            chart.marker(at, Marker::Disc, "#000", 4.0, "a, \"b\" < c");
        }
        let page = format!(
            "<p>one</p>{}<p>two</p>{}",
            chart.finish(),
            "<svg class=\"bar\"></svg>"
        );
        let linked = linked(&page);
        let [(name, svg)] = linked.files.as_slice() else {
            panic!("one chart");
        };
        assert_eq!(name, "01-stress-over-stagger.svg");
        assert!(
            linked
                .html
                .contains("href=\"figures/01-stress-over-stagger.svg\"")
        );
        assert!(!linked.html.contains("<metadata>") && linked.html.ends_with("</svg>"));
        assert!(svg.contains("xmlns=") && svg.contains("<style>"));
        let data = svg.split("<metadata>").nth(1).unwrap();
        let data = data.split("</metadata>").next().unwrap();
        let data = data.replace("&lt;", "<").replace("&quot;", "\"");
        let mut reader = csv::Reader::from_reader(data.trim().as_bytes());
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), drawn.len());
        for (row, (x, y)) in rows.iter().zip(drawn) {
            assert_eq!(&row[0], "a, \"b\" < c");
            assert_eq!((row[1].parse(), row[2].parse()), (Ok(x), Ok(y)));
        }
    }
}
