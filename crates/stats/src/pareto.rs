//! The Pareto front: points that no other betters in every response.

/// Marks of the points that no other point betters: none is as small in every response and smaller in one. Rows are points, smaller is better in
/// each column; a point without a number in some column is not on the front and betters none.
pub fn pareto_front(points: &[Vec<f64>]) -> Vec<bool> {
    let is_number = |p: &Vec<f64>| p.iter().all(|x| !x.is_nan());
    let betters = |a: &Vec<f64>, b: &Vec<f64>| {
        let pairs = || a.iter().zip(b);
        is_number(a) && pairs().all(|(x, y)| x <= y) && pairs().any(|(x, y)| x < y)
    };
    let is_on_front = |p: &Vec<f64>| is_number(p) && !points.iter().any(|other| betters(other, p));
    points.iter().map(is_on_front).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_points_that_none_betters_are_on_the_front() {
        let points = [
            vec![1.0, 4.0],
            vec![2.0, 2.0],
            vec![4.0, 1.0],
            vec![2.0, 3.0],
            vec![2.0, 2.0],
            vec![f64::NAN, 0.0],
        ];
        assert_eq!(
            pareto_front(&points),
            [true, true, true, false, true, false]
        );
    }
}
