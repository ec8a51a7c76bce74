//! Grid convergence of a number over a series of meshes: order, extrapolated value, uncertainty.
//!
//! Grid convergence index after Roache (1994, J Fluids Eng 116:405), in the form for unequal ratios of
//! Celik et al. (2008, J Fluids Eng 130:078001); both from memory, the formulas are tested beside.

use serde::Serialize;

/// Safety factor for three meshes (Roache 1994).
const SAFETY: f64 = 1.25;
/// Orders outside are not believed: the index is then taken with the nearer bound.
const ORDERS: (f64, f64) = (0.5, 3.0);

/// One mesh of the series.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(crate) struct Level {
    /// Edge length that stands for the mesh, any unit.
    pub size: f64,
    /// Value found on it.
    pub value: f64,
}

/// How the values behave as the mesh gets finer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Behaviour {
    /// Differences shrink with one sign.
    Monotone,
    /// Differences change sign.
    Oscillating,
    /// Differences grow: no order, no extrapolation.
    Diverging,
    /// The values do not differ.
    Constant,
    /// The values differ by no more than twice the noise of one mesh: neither order nor extrapolation.
    WithinNoise,
}

impl Behaviour {
    /// Its word in tables and files.
    pub fn word(self) -> &'static str {
        match self {
            Behaviour::Monotone => "monotone",
            Behaviour::Oscillating => "oscillating",
            Behaviour::Diverging => "diverging",
            Behaviour::Constant => "constant",
            Behaviour::WithinNoise => "within noise",
        }
    }
}

/// Grid convergence over three meshes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GridConvergence {
    /// Behaviour.
    pub behaviour: Behaviour,
    /// Observed order; `None` unless monotone.
    pub order: Option<f64>,
    /// Value extrapolated to zero size; `None` unless monotone.
    pub extrapolated: Option<f64>,
    /// Uncertainty of the finest mesh's value, relative to it (1 = 100 %). Monotone: the grid convergence
    /// index; otherwise the safety factor times the spread of the three values.
    pub uncertainty: f64,
}

/// From three levels, coarse to fine, and the noise of one mesh (coefficient of variation over poses), where it is known.
/// `None` when sizes do not fall or a value is not a number.
pub(crate) fn grid_convergence(levels: [Level; 3], noise: Option<f64>) -> Option<GridConvergence> {
    let [coarse, middle, fine] = levels;
    let falling = coarse.size > middle.size && middle.size > fine.size && fine.size > 0.0;
    if !falling || levels.iter().any(|l| !l.value.is_finite()) {
        return None;
    }
    let r21 = middle.size / fine.size;
    let r32 = coarse.size / middle.size;
    let e21 = middle.value - fine.value;
    let e32 = coarse.value - middle.value;
    let scale = fine.value.abs().max(f64::MIN_POSITIVE);
    let spread = e21.abs().max(e32.abs()).max((e21 + e32).abs());
    if spread <= 1e-12 * scale {
        return Some(GridConvergence {
            behaviour: Behaviour::Constant,
            order: None,
            extrapolated: None,
            uncertainty: 0.0,
        });
    }
    let not_monotone = |behaviour| GridConvergence {
        behaviour,
        order: None,
        extrapolated: None,
        uncertainty: SAFETY * spread / scale,
    };
    let noise = noise.unwrap_or(0.0);
    if spread <= 2.0 * noise * scale {
        return Some(GridConvergence {
            uncertainty: SAFETY * (spread / scale).max(noise),
            ..not_monotone(Behaviour::WithinNoise)
        });
    }
    if e21 * e32 <= 0.0 {
        return Some(not_monotone(Behaviour::Oscillating));
    }
    let Some(order) = observed_order(r21, r32, e32 / e21) else {
        return Some(not_monotone(Behaviour::Diverging));
    };
    let believed = order.clamp(ORDERS.0, ORDERS.1);
    let step = e21 / (r21.powf(believed) - 1.0);
    Some(GridConvergence {
        behaviour: Behaviour::Monotone,
        order: Some(order),
        extrapolated: Some(fine.value - step),
        uncertainty: SAFETY * step.abs() / scale,
    })
}

/// The p > 0 with (r32^p - 1) r21^p / (r21^p - 1) = ratio, by bisection; `None` where differences grow.
fn observed_order(r21: f64, r32: f64, ratio: f64) -> Option<f64> {
    let excess = |p: f64| (r32.powf(p) - 1.0) * r21.powf(p) / (r21.powf(p) - 1.0) - ratio;
    let (mut low, mut high) = (1e-3, 20.0);
    if excess(low) > 0.0 || excess(high) < 0.0 {
        return None;
    }
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if excess(middle) > 0.0 {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(0.5 * (low + high))
}

/// Coefficient of variation (1 = 100 %) of replicates; `None` with fewer than two or a mean of zero.
pub(crate) fn variation(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (mean != 0.0).then(|| (squares / (n - 1.0)).sqrt() / mean.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(sizes: [f64; 3], of: impl Fn(f64) -> f64) -> [Level; 3] {
        sizes.map(|size| Level {
            size,
            value: of(size),
        })
    }

    #[test]
    fn a_power_law_gives_its_order_and_limit_for_unequal_ratios() {
        for p in [0.7, 1.0, 2.0, 2.9] {
            let g = grid_convergence(
                series([2.0, 1.4, 1.1], |h: f64| 5.0 + 0.3 * h.powf(p)),
                None,
            )
            .unwrap();
            assert_eq!(g.behaviour, Behaviour::Monotone);
            assert!((g.order.unwrap() - p).abs() < 1e-9, "{p}: {g:?}");
            assert!((g.extrapolated.unwrap() - 5.0).abs() < 1e-9);
            // The index covers the true error of the finest value, with the safety factor.
            let fine = 5.0 + 0.3 * 1.1f64.powf(p);
            let wanted = SAFETY * (fine - 5.0) / fine;
            assert!((g.uncertainty - wanted).abs() < 1e-9 * wanted);
        }
    }

    #[test]
    fn what_is_not_monotone_is_called_so() {
        for (values, behaviour) in [
            ([1.0, 1.0, 1.0], Behaviour::Constant),
            ([1.0, 1.2, 1.1], Behaviour::Oscillating),
            ([1.0, 1.1, 1.4], Behaviour::Diverging),
        ] {
            let mut levels = series([4.0, 2.0, 1.0], |_| 0.0);
            for (level, value) in levels.iter_mut().zip(values) {
                level.value = value;
            }
            let g = grid_convergence(levels, Some(1e-6)).unwrap();
            assert_eq!((g.behaviour, g.order), (behaviour, None));
            assert_eq!(g.uncertainty > 0.0, behaviour != Behaviour::Constant);
        }
        assert_eq!(grid_convergence(series([0.5, 2.0, 1.0], |h| h), None), None);
    }

    #[test]
    fn scatter_about_a_flat_line_is_noise_and_no_divergence() {
        let mut levels = series([4.0, 2.0, 1.0], |_| 0.0);
        for (level, value) in levels.iter_mut().zip([10.0, 10.02, 10.05]) {
            level.value = value;
        }
        let g = grid_convergence(levels, Some(0.01)).unwrap();
        assert_eq!((g.behaviour, g.order), (Behaviour::WithinNoise, None));
        // Never told smaller than the noise itself.
        assert!((g.uncertainty - SAFETY * 0.01).abs() < 1e-12);
        let g = grid_convergence(levels, Some(0.001)).unwrap();
        assert_eq!(g.behaviour, Behaviour::Diverging);
    }

    #[test]
    fn variation_is_the_sample_deviation_over_the_mean() {
        // Sample variance of 9, 10, 11 is 1.
        assert!((variation(&[9.0, 10.0, 11.0]).unwrap() - 0.1).abs() < 1e-12);
        assert_eq!(variation(&[1.0]), None);
        assert_eq!(variation(&[-1.0, 1.0]), None);
    }
}
