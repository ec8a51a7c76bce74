//! A small writer of charts as inline SVG: one panel with axes, lines, markers, bands.
//!
//! Positions are in CSS pixels of the panel's own view box; the page scales it. Each chart carries a
//! title for screen readers, and its data as a table in comma-separated values (`metadata`). Colours come from the caller ([`crate::colour`]).

use crate::number::plain;
use std::fmt::Write;

/// How data become positions along an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Axis {
    /// Data value at the left or lower end.
    pub(crate) low: f64,
    /// Data value at the right or upper end.
    pub(crate) high: f64,
    /// Powers of ten at equal distances?
    pub(crate) is_log: bool,
}

impl Axis {
    /// From zero to just above the largest value, at a round number.
    pub(crate) fn from_zero(largest: f64) -> Axis {
        let largest = if largest > 0.0 && largest.is_finite() {
            largest
        } else {
            1.0
        };
        let step = round_step(largest * 1.04, 5.0);
        Axis {
            low: 0.0,
            high: (largest * 1.04 / step).ceil() * step,
            is_log: false,
        }
    }

    /// Whole decades round the values.
    pub(crate) fn decades(least: f64, largest: f64) -> Axis {
        let low = least.max(1e-12).log10().floor();
        let high = largest.max(1e-12).log10().ceil().max(low + 1.0);
        Axis {
            low: 10f64.powf(low),
            high: 10f64.powf(high),
            is_log: true,
        }
    }

    /// A linear axis between two values.
    pub(crate) fn between(low: f64, high: f64) -> Axis {
        let high = if high > low { high } else { low + 1.0 };
        Axis {
            low,
            high,
            is_log: false,
        }
    }

    /// 0 at `low`, 1 at `high`; clamped to the panel.
    pub(crate) fn share(&self, value: f64) -> f64 {
        let share = if self.is_log {
            let decades = (self.high / self.low).log10();
            (value.max(self.low) / self.low).log10() / decades
        } else {
            (value - self.low) / (self.high - self.low)
        };
        share.clamp(0.0, 1.0)
    }

    /// The value at a share of the axis: the inverse of [`Axis::share`] inside the panel.
    fn value(&self, share: f64) -> f64 {
        match self.is_log {
            true => self.low * (self.high / self.low).powf(share),
            // Rounded as far below the range as its digits can be told.
            false => {
                let value = self.low + share * (self.high - self.low);
                let size = (self.high - self.low).abs();
                (value / size * 1e9).round() / 1e9 * size
            }
        }
    }

    /// Round values to be labelled.
    pub(crate) fn ticks(&self) -> Vec<f64> {
        if self.is_log {
            let first = self.low.log10().round() as i32;
            let last = self.high.log10().round() as i32;
            return (first..=last).map(|e| 10f64.powi(e)).collect();
        }
        let step = round_step(self.high - self.low, 5.0);
        let first = (self.low / step - 1e-9).ceil() as i64;
        let last = (self.high / step + 1e-9).floor() as i64;
        (first..=last).map(|i| i as f64 * step).collect()
    }
}

/// 1, 2 or 5 times a power of ten that divides the range into about so many steps.
fn round_step(range: f64, steps: f64) -> f64 {
    let rough = range / steps;
    let power = 10f64.powf(rough.log10().floor());
    let lead = rough / power;
    let round = match lead {
        l if l <= 1.0 => 1.0,
        l if l <= 2.0 => 2.0,
        l if l <= 5.0 => 5.0,
        _ => 10.0,
    };
    round * power
}

/// Marker shapes, told apart without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub(crate) enum Marker {
    Disc,
    Ring,
    Square,
    Diamond,
    Triangle,
}

impl Marker {
    /// The shape of the n-th line.
    pub(crate) fn nth(n: usize) -> Marker {
        [
            Marker::Disc,
            Marker::Square,
            Marker::Diamond,
            Marker::Triangle,
            Marker::Ring,
        ][n % 5]
    }
}

/// How a line is drawn.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stroke {
    /// CSS colour.
    pub(crate) colour: String,
    /// Width in pixels.
    pub(crate) width: f64,
    /// SVG dash pattern; empty for a full line.
    pub(crate) dash: &'static str,
}

/// One panel being drawn.
pub(crate) struct Chart {
    width: f64,
    height: f64,
    /// Edges of the plotting area.
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    /// Horizontal axis.
    pub(crate) x: Axis,
    /// Vertical axis.
    pub(crate) y: Axis,
    title: String,
    body: String,
    /// Rows of the table of its data: series, horizontal and vertical value.
    data: Vec<(String, f64, f64)>,
}

impl Chart {
    /// An empty panel. `foot` is the room below the plotting area for tick labels and whatever
    /// the caller draws there; `margin_left` the room for vertical labels.
    pub(crate) fn new(
        title: &str,
        size: [f64; 2],
        margin_left: f64,
        foot: f64,
        x: Axis,
        y: Axis,
    ) -> Chart {
        Chart {
            width: size[0],
            height: size[1],
            left: margin_left,
            right: size[0] - 12.0,
            top: 24.0,
            bottom: size[1] - foot,
            x,
            y,
            title: title.to_string(),
            body: String::new(),
            data: Vec::new(),
        }
    }

    /// Horizontal position of a data value.
    pub(crate) fn at_x(&self, value: f64) -> f64 {
        self.left + self.x.share(value) * (self.right - self.left)
    }

    /// Vertical position of a data value.
    pub(crate) fn at_y(&self, value: f64) -> f64 {
        self.bottom - self.y.share(value) * (self.bottom - self.top)
    }

    /// Data values at a position in pixels, to six digits.
    fn values_at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let across = (x - self.left) / (self.right - self.left);
        let up = (self.bottom - y) / (self.bottom - self.top);
        [self.x.value(across), self.y.value(up)]
            .map(|v| format!("{v:.5e}").parse().unwrap_or(v) + 0.0)
    }

    /// Lower edge of the plotting area.
    pub(crate) fn floor(&self) -> f64 {
        self.bottom
    }

    /// Left edge of the plotting area.
    pub(crate) fn left(&self) -> f64 {
        self.left
    }

    /// The panel's heading, drawn above the plotting area.
    pub(crate) fn heading(&mut self, text: &str) {
        let (x, y) = (self.left, self.top - 9.0);
        self.text(x, y, "start", "h", text);
    }

    /// Grid lines and labels of the vertical axis, with its name along it.
    pub(crate) fn y_axis(&mut self, name: &str) {
        for tick in self.y.ticks() {
            let y = self.at_y(tick);
            let (l, r) = (self.left, self.right);
            let _ = write!(
                self.body,
                "<line class=\"grid\" x1=\"{l:.1}\" y1=\"{y:.1}\" x2=\"{r:.1}\" y2=\"{y:.1}\"/>"
            );
            self.text(l - 6.0, y + 3.5, "end", "t", &plain(tick));
        }
        let middle = (self.top + self.bottom) / 2.0;
        let _ = write!(
            self.body,
            "<text class=\"t\" transform=\"translate(11 {middle:.1}) rotate(-90)\" text-anchor=\"middle\">{}</text>",
            escape(name)
        );
    }

    /// The horizontal axis: ticks with labels `below` pixels under the plotting area, name below them.
    pub(crate) fn x_axis(&mut self, name: &str, below: f64) {
        self.baseline();
        for tick in self.x.ticks() {
            self.x_tick(tick, &plain(tick), below);
        }
        let middle = (self.left + self.right) / 2.0;
        let y = self.bottom + below + 28.0;
        self.text(middle, y, "middle", "t", name);
    }

    /// The line under the plotting area.
    pub(crate) fn baseline(&mut self) {
        let (l, r, b) = (self.left, self.right, self.bottom);
        let _ = write!(
            self.body,
            "<line class=\"axis\" x1=\"{l:.1}\" y1=\"{b:.1}\" x2=\"{r:.1}\" y2=\"{b:.1}\"/>"
        );
    }

    /// One labelled tick of the horizontal axis.
    pub(crate) fn x_tick(&mut self, value: f64, label: &str, below: f64) {
        let (x, b) = (self.at_x(value), self.bottom);
        let _ = write!(
            self.body,
            "<line class=\"axis\" x1=\"{x:.1}\" y1=\"{b:.1}\" x2=\"{x:.1}\" y2=\"{:.1}\"/>",
            b + 4.0
        );
        self.text(x, b + below + 14.0, "middle", "t", label);
    }

    /// A vertical grid line.
    pub(crate) fn x_grid(&mut self, value: f64) {
        let (x, t, b) = (self.at_x(value), self.top, self.bottom);
        let _ = write!(
            self.body,
            "<line class=\"grid\" x1=\"{x:.1}\" y1=\"{t:.1}\" x2=\"{x:.1}\" y2=\"{b:.1}\"/>"
        );
    }

    /// A shaded range of the horizontal axis over the panel's height.
    pub(crate) fn x_band(&mut self, low: f64, high: f64, fill: &str) {
        let (a, b) = (self.at_x(low), self.at_x(high));
        let (t, h) = (self.top, self.bottom - self.top);
        let _ = write!(
            self.body,
            "<rect x=\"{a:.1}\" y=\"{t:.1}\" width=\"{:.1}\" height=\"{h:.1}\" fill=\"{fill}\"/>",
            b - a
        );
    }

    /// A vertical line over the panel's height.
    pub(crate) fn x_line(&mut self, value: f64, stroke: &Stroke) {
        let (x, t, b) = (self.at_x(value), self.top, self.bottom);
        self.segment([x, t], [x, b], stroke);
    }

    /// A line through points, broken where a value is missing or outside the horizontal range.
    pub(crate) fn line(&mut self, points: &[(f64, Option<f64>)], stroke: &Stroke) {
        let series = format!("line {} {}", stroke.colour, stroke.dash);
        let drawn = points.iter().filter_map(|(x, y)| Some((*x, (*y)?)));
        let rows = drawn.map(|(x, y)| (series.trim_end().to_string(), x, y));
        self.data.extend(rows);
        let mut path = String::new();
        let mut pen_down = false;
        for &(x, y) in points {
            let inside = x >= self.x.low && x <= self.x.high;
            match y.filter(|y| y.is_finite() && inside) {
                Some(y) => {
                    let command = if pen_down { 'L' } else { 'M' };
                    let _ = write!(path, "{command}{:.1} {:.1}", self.at_x(x), self.at_y(y));
                    pen_down = true;
                }
                None => pen_down = false,
            }
        }
        let _ = write!(
            self.body,
            "<path d=\"{path}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\" stroke-dasharray=\"{}\" stroke-linejoin=\"round\"/>",
            stroke.colour, stroke.width, stroke.dash
        );
    }

    /// A straight line between two positions in pixels.
    pub(crate) fn segment(&mut self, from: [f64; 2], to: [f64; 2], stroke: &Stroke) {
        let _ = write!(
            self.body,
            "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"{}\" stroke-width=\"{}\" stroke-dasharray=\"{}\"/>",
            from[0], from[1], to[0], to[1], stroke.colour, stroke.width, stroke.dash
        );
    }

    /// A rectangle in pixels.
    pub(crate) fn bar(&mut self, corner: [f64; 2], size: [f64; 2], fill: &str, stroke: &str) {
        let _ = write!(
            self.body,
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{fill}\" stroke=\"{stroke}\" stroke-width=\"1\"/>",
            corner[0], corner[1], size[0], size[1]
        );
    }

    /// A marker at a position in pixels, with a text shown on pointing at it.
    pub(crate) fn marker(
        &mut self,
        at: [f64; 2],
        shape: Marker,
        colour: &str,
        size: f64,
        tip: &str,
    ) {
        let [x, y] = at;
        let [of_x, of_y] = self.values_at(at);
        self.data.push((tip.to_string(), of_x, of_y));
        let s = size;
        let tip = escape(tip);
        let _ = match shape {
            Marker::Disc => write!(
                self.body,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{s}\" fill=\"{colour}\"><title>{tip}</title></circle>"
            ),
            Marker::Ring => write!(
                self.body,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{s}\" fill=\"#fff\" stroke=\"{colour}\" stroke-width=\"1.6\"><title>{tip}</title></circle>"
            ),
            Marker::Square => write!(
                self.body,
                "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{colour}\"><title>{tip}</title></rect>",
                x - s,
                y - s,
                2.0 * s,
                2.0 * s
            ),
            Marker::Diamond => write!(
                self.body,
                "<path d=\"M{x:.1} {:.1}l{s} {s}l-{s} {s}l-{s} -{s}z\" fill=\"{colour}\"><title>{tip}</title></path>",
                y - s
            ),
            Marker::Triangle => write!(
                self.body,
                "<path d=\"M{x:.1} {:.1}l{s} {:.1}h-{:.1}z\" fill=\"{colour}\"><title>{tip}</title></path>",
                y - s,
                1.8 * s,
                2.0 * s
            ),
        };
    }

    /// A text at a position in pixels; `class`: `t` small, `h` heading, `m` muted.
    pub(crate) fn text(&mut self, x: f64, y: f64, anchor: &str, class: &str, text: &str) {
        let _ = write!(
            self.body,
            "<text class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{}</text>",
            escape(text)
        );
    }

    /// The finished panel.
    pub(crate) fn finish(self) -> String {
        let title = escape(&self.title);
        let mut data = String::from("series,x,y\n");
        for (series, x, y) in &self.data {
            let series = series.replace('"', "\"\"");
            let _ = writeln!(data, "\"{series}\",{x},{y}");
        }
        format!(
            "<svg class=\"chart\" role=\"img\" aria-label=\"{title}\" viewBox=\"0 0 {} {}\" width=\"{}\" height=\"{}\"><title>{title}</title>\
             <metadata>{}</metadata>{}</svg>",
            self.width,
            self.height,
            self.width,
            self.height,
            escape(&data),
            self.body
        )
    }
}

/// Escapes text for HTML and SVG.
pub(crate) fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        for (low, high) in [(0.0, 7.3), (-20.0, 20.0), (35.0, 212.0), (0.0, 0.004)] {
            let axis = Axis::between(low, high);
            let ticks = axis.ticks();
            assert!((3..=11).contains(&ticks.len()), "{ticks:?}");
            for t in &ticks {
                assert!(*t >= low - 1e-9 && *t <= high + 1e-9, "{ticks:?}");
            }
        }
        assert_eq!(Axis::decades(0.03, 4.0).ticks(), [0.01, 0.1, 1.0, 10.0]);
    }

    #[test]
    fn an_axis_from_zero_holds_its_largest_value() {
        for largest in [0.0, 1e-6, 0.97, 1.0, 33.0, 9.99e5, f64::NAN] {
            let axis = Axis::from_zero(largest);
            assert!(
                axis.high > axis.low && (largest.is_nan() || axis.high >= largest),
                "{largest} {axis:?}"
            );
        }
    }

    #[test]
    fn logarithmic_shares() {
        let axis = Axis::decades(0.02, 0.9);
        assert!((axis.share(0.1) - 0.5).abs() < 1e-12);
        assert_eq!(axis.share(0.0), 0.0);
        assert_eq!(axis.share(1e9), 1.0);
    }

    #[test]
    fn a_missing_value_breaks_the_line_and_text_is_escaped() {
        let axis = Axis::between(0.0, 3.0);
        let mut chart = Chart::new("a < b", [200.0, 100.0], 40.0, 30.0, axis, axis);
        let stroke = Stroke {
            colour: "#000".into(),
            width: 1.0,
            dash: "",
        };
        let points = [
            (0.0, Some(1.0)),
            (1.0, None),
            (2.0, Some(1.0)),
            (3.0, Some(2.0)),
        ];
        chart.line(&points, &stroke);
        let svg = chart.finish();
        assert_eq!(svg.matches('M').count(), 2, "{svg}");
        assert!(svg.contains("a &lt; b"));
    }
}
