//! Percentiles of weighted samples.

/// The smallest sampled value v such that the samples with value ≤ v carry at least `share` of all
/// weight. Samples are (value, weight); `None` for no weight. Sorts its argument.
pub(crate) fn weighted_percentile(samples: &mut [(f64, f64)], share: f64) -> Option<f64> {
    samples.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = samples.iter().map(|s| s.1).sum();
    if total <= 0.0 {
        return None;
    }
    let mut below = 0.0;
    for (value, weight) in samples.iter() {
        below += weight;
        if below >= share * total {
            return Some(*value);
        }
    }
    samples.last().map(|s| s.0)
}

/// Weighted mean; `None` for no weight.
pub(crate) fn weighted_mean(samples: impl Iterator<Item = (f64, f64)>) -> Option<f64> {
    let (sum, total) = samples.fold((0.0, 0.0), |(s, t), (v, w)| (s + v * w, t + w));
    (total > 0.0).then(|| sum / total)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weight_decides_not_count() {
        let mut s = vec![(5.0, 98.0), (9.0, 1.0), (7.0, 1.0)];
        assert_eq!(weighted_percentile(&mut s, 0.99), Some(7.0));
        assert_eq!(weighted_percentile(&mut s, 0.98), Some(5.0));
        assert_eq!(weighted_percentile(&mut s, 1.0), Some(9.0));
        assert_eq!(weighted_percentile(&mut [], 0.5), None);
        assert_eq!(weighted_mean(s.into_iter()), Some((490.0 + 16.0) / 100.0));
    }

    #[test]
    fn uniform_samples_give_their_quantile() {
        let mut s: Vec<_> = (0..1000).rev().map(|i| (i as f64, 0.25)).collect();
        assert_eq!(weighted_percentile(&mut s, 0.99), Some(989.0));
    }
}
