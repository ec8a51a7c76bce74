//! Designs by all combinations of levels, and by one factor at a time.

/// Index of the level of each factor, by point, of every combination; the last factor varies fastest.
pub fn full_factorial(counts: &[usize]) -> Vec<Vec<usize>> {
    (0..counts.iter().product())
        .map(|n| {
            let mut rest = n;
            let mut choice: Vec<usize> = counts
                .iter()
                .rev()
                .map(|c| {
                    let level = rest % c;
                    rest /= c;
                    level
                })
                .collect();
            choice.reverse();
            choice
        })
        .collect()
}

/// Index of the level of each factor, by point: the first levels of all, then each other level of each factor alone.
pub fn one_at_a_time(counts: &[usize]) -> Vec<Vec<usize>> {
    let baseline = vec![0; counts.len()];
    let mut choices = vec![baseline.clone()];
    for (f, count) in counts.iter().enumerate() {
        for level in 1..*count {
            let mut choice = baseline.clone();
            choice[f] = level;
            choices.push(choice);
        }
    }
    choices
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn combinations_stand_once_and_single_changes_start_from_the_first_levels() {
        let all = full_factorial(&[2, 3]);
        assert_eq!(all, [[0, 0], [0, 1], [0, 2], [1, 0], [1, 1], [1, 2]]);
        assert_eq!(one_at_a_time(&[2, 3]), [[0, 0], [1, 0], [0, 1], [0, 2]]);
        assert_eq!(full_factorial(&[]), [[0; 0]]);
    }
}
