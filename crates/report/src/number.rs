//! Numbers as they are printed: the same digits in a sentence and in the table.

/// The minus sign of typeset text.
const MINUS: char = '\u{2212}';

/// How many decimals the numbers of one column get.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Decimals(usize);

impl Decimals {
    /// So that the largest number of the column shows three significant digits, but no more than
    /// four decimals: columns of like size look alike.
    pub(crate) fn of(values: impl Iterator<Item = f64>) -> Decimals {
        let largest = values
            .filter(|v| v.is_finite())
            .fold(0.0, |m: f64, v| m.max(v.abs()));
        if largest == 0.0 {
            return Decimals(1);
        }
        let order = largest.log10().floor();
        Decimals((2.0 - order).clamp(0.0, 4.0) as usize)
    }

    /// One unit of the last decimal.
    pub(crate) fn last_place(self) -> f64 {
        10f64.powi(-(self.0 as i32))
    }

    /// A number with these decimals.
    pub(crate) fn show(self, value: f64) -> String {
        signed(format!("{value:.*}", self.0))
    }

    /// A number with the size of its error, the latter never rounded to nothing.
    pub(crate) fn show_with(self, value: f64, error: f64) -> String {
        let least = 0.5 * 10f64.powi(-(self.0 as i32));
        match error.abs() < least {
            true => format!("{} ± <{}", self.show(value), self.show(2.0 * least)),
            false => format!("{} ± {}", self.show(value), self.show(error.abs())),
        }
    }
}

/// A change as a whole per cent with its sign; `±0 %` when it rounds to nothing.
pub(crate) fn percent(change: f64) -> String {
    let rounded = (change * 100.0).round();
    if rounded == 0.0 {
        "±0\u{a0}%".into()
    } else if rounded > 0.0 {
        format!("+{rounded}\u{a0}%")
    } else {
        format!("{MINUS}{}\u{a0}%", -rounded)
    }
}

/// A number with as many digits as it needs, up to six significant ones: for levels and inputs.
pub(crate) fn plain(value: f64) -> String {
    if value != 0.0 && (value.abs() < 1e-4 || value.abs() >= 1e7) {
        return tiny(value);
    }
    let order = if value == 0.0 {
        0.0
    } else {
        value.abs().log10().floor()
    };
    let text = format!("{value:.*}", (5.0 - order).clamp(0.0, 9.0) as usize);
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_string(),
        false => text,
    };
    signed(text)
}

/// A small number in powers of ten: residuals.
pub(crate) fn tiny(value: f64) -> String {
    if value == 0.0 {
        "0".into()
    } else {
        signed(format!("{value:.1e}"))
    }
}

fn signed(text: String) -> String {
    let negative_zero = text.starts_with('-') && text[1..].chars().all(|c| matches!(c, '0' | '.'));
    if negative_zero {
        text[1..].to_string()
    } else {
        text.replace('-', &MINUS.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_follow_the_largest() {
        assert_eq!(Decimals::of([1523.7].into_iter()).show(1523.7), "1524");
        assert_eq!(Decimals::of([15.237].into_iter()).show(3.2), "3.2");
        assert_eq!(Decimals::of([0.03456].into_iter()).show(0.03456), "0.0346");
        assert_eq!(Decimals::of([0.0].into_iter()).show(0.0), "0.0");
        let both = Decimals::of([0.4, -38.26].into_iter());
        assert_eq!([both.show(-38.26), both.show(0.4)], ["−38.3", "0.4"]);
        assert_eq!(
            Decimals::of([f64::NAN, 3.0].into_iter()).show(-0.001),
            "0.00"
        );
    }

    #[test]
    fn an_error_is_shown_by_its_size_and_never_as_nothing() {
        let d = Decimals::of([38.26].into_iter());
        assert_eq!(d.show_with(38.26, -0.44), "38.3 ± 0.4");
        assert_eq!(d.show_with(-38.26, 0.01), "−38.3 ± <0.1");
    }

    #[test]
    fn changes_and_plain_numbers() {
        assert_eq!(percent(-0.164), "−16\u{a0}%");
        assert_eq!(percent(0.004), "±0\u{a0}%");
        assert_eq!(percent(0.21), "+21\u{a0}%");
        assert_eq!(plain(-20.0), "−20");
        assert_eq!(plain(0.58), "0.58");
        assert_eq!(plain(17000.0), "17000");
        assert_eq!(plain(1.0 / 3.0), "0.333333");
        assert_eq!(tiny(1.26e-10), "1.3e−10");
    }
}
