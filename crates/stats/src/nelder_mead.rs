//! Minimum of a function of few variables without derivatives.

/// Most evaluations a variable.
const MOST_A_VARIABLE: usize = 200;

/// Place and value of a minimum of `f` near a start, by the simplex of Nelder and Mead (1965, Comput J 7:308) with its usual
/// coefficients 1, 2, 1/2, 1/2; `step` is the size of the first simplex. It ends when the values of the simplex agree to `1e-8`
/// of their size, or after 200 evaluations a variable.
pub(crate) fn nelder_mead(f: impl Fn(&[f64]) -> f64, start: &[f64], step: f64) -> (Vec<f64>, f64) {
    let n = start.len();
    let valued = |x: Vec<f64>| {
        let y = f(&x);
        // Where the function has no value nothing is better there.
        (x, if y.is_nan() { f64::INFINITY } else { y })
    };
    let mut simplex = vec![valued(start.to_vec())];
    for i in 0..n {
        let mut corner = start.to_vec();
        corner[i] += step;
        simplex.push(valued(corner));
    }
    for _ in 0..MOST_A_VARIABLE * n {
        simplex.sort_by(|a, b| a.1.total_cmp(&b.1));
        let (best, worst) = (simplex[0].1, simplex[n].1);
        if worst - best <= 1e-8 * (1.0 + best.abs()) {
            break;
        }
        let middle: Vec<f64> = (0..n)
            .map(|i| simplex[..n].iter().map(|s| s.0[i]).sum::<f64>() / n as f64)
            .collect();
        let along = |t: f64, from: &[f64]| -> Vec<f64> {
            let pairs = middle.iter().zip(from);
            pairs.map(|(m, w)| m + t * (w - m)).collect()
        };
        let last = simplex[n].0.clone();
        let reflected = valued(along(-1.0, &last));
        let found = if reflected.1 < best {
            let expanded = valued(along(-2.0, &last));
            Some(if expanded.1 < reflected.1 {
                expanded
            } else {
                reflected
            })
        } else if reflected.1 < simplex[n - 1].1 {
            Some(reflected)
        } else {
            let toward = if reflected.1 < worst { -0.5 } else { 0.5 };
            let contracted = valued(along(toward, &last));
            (contracted.1 < worst.min(reflected.1)).then_some(contracted)
        };
        match found {
            Some(corner) => simplex[n] = corner,
            None => {
                let first = simplex[0].0.clone();
                for corner in &mut simplex[1..] {
                    let halved = first.iter().zip(&corner.0).map(|(a, b)| 0.5 * (a + b));
                    *corner = valued(halved.collect());
                }
            }
        }
    }
    simplex.sort_by(|a, b| a.1.total_cmp(&b.1));
    simplex.swap_remove(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rosenbrock's valley (1960, Comput J 3:175), least at (1, 1).
    #[test]
    fn the_bottom_of_a_curved_valley_is_found() {
        let valley = |x: &[f64]| 100.0 * (x[1] - x[0] * x[0]).powi(2) + (1.0 - x[0]).powi(2);
        let (x, y) = nelder_mead(valley, &[-1.2, 1.0], 0.5);
        assert!(y < 1e-7, "{x:?} {y}");
        assert!((x[0] - 1.0).abs() < 1e-3 && (x[1] - 1.0).abs() < 1e-3);
    }

    #[test]
    fn places_without_a_value_are_left() {
        let (x, _) = nelder_mead(|x| (x[0].ln() - 1.0).powi(2), &[0.5], 1.0);
        assert!((x[0] - std::f64::consts::E).abs() < 1e-3, "{x:?}");
    }
}
