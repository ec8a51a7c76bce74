//! Definitive screening designs: three levels of every factor of numbers, two of every category.
//!
//! A conference matrix C of order m has zeros on its diagonal, ±1 elsewhere, and C'C = (m − 1) I. The points C, −C and the
//! centre estimate main effects free of interactions of two factors and of squares, as each point has its mirror image
//! (Jones and Nachtsheim 2011, J Qual Technol 43:1; Xiao, Lin and Bai 2012, J Qual Technol 44:2). In the column of a factor
//! of two levels each pair of zeros becomes a low and a high level, and two centres that mirror each other stand for one
//! (Jones and Nachtsheim 2013, J Qual Technol 45:121, augmented designs; papers from memory, held by tests of the
//! properties).

/// Factors of a definitive screening design at most.
pub const MOST_DEFINITIVE: usize = 24;

/// Orders of conference matrices that are made here; of order 22 there is none.
const ORDERS: [usize; 10] = [4, 6, 8, 10, 12, 14, 16, 18, 20, 24];

/// A definitive screening design.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DefinitiveScreening {
    /// Level of each factor, by point: 0 low, 1 middle, 2 high; of factors of two levels 0 and 1. Centres last.
    pub points: Vec<Vec<usize>>,
    /// Points whose factors of three levels are all in the middle.
    pub centres: usize,
}

/// The design of factors of two and three levels, in this order; `None` for less than three factors or more than
/// [`MOST_DEFINITIVE`], and where none has three levels.
pub fn definitive_screening(has_three: &[bool]) -> Option<DefinitiveScreening> {
    let factors = has_three.len();
    if factors < 3 || !has_three.contains(&true) {
        return None;
    }
    let order = ORDERS.into_iter().find(|order| *order >= factors)?;
    let matrix = conference(order)?;
    let two: Vec<usize> = (0..factors).filter(|f| !has_three[*f]).collect();
    let signs = Signs::least_correlated(&matrix, &two);
    let mut half: Vec<Vec<i32>> = Vec::with_capacity(order + 1);
    for (run, row) in matrix.iter().enumerate() {
        let mut row = row[..factors].to_vec();
        if let Some(n) = two.iter().position(|f| *f == run) {
            row[run] = signs.filled[n];
        }
        half.push(row);
    }
    let mut centre = vec![0; factors];
    for (f, sign) in two.iter().zip(&signs.centre) {
        centre[*f] = *sign;
    }
    let level = |(f, x): (usize, &i32), mirror: i32| {
        let x = (x * mirror + 1) as usize;
        if has_three[f] { x } else { x / 2 }
    };
    let point = |row: &Vec<i32>, mirror| row.iter().enumerate().map(|x| level(x, mirror)).collect();
    let mut points: Vec<Vec<usize>> = half
        .iter()
        .flat_map(|row| [point(row, 1), point(row, -1)])
        .collect();
    points.push(point(&centre, 1));
    if !two.is_empty() {
        points.push(point(&centre, -1));
    }
    Some(DefinitiveScreening {
        points,
        centres: if two.is_empty() { 1 } else { 2 },
    })
}

/// Signs that factors of two levels take in place of their zeros: in their own row, and at the centre.
struct Signs {
    filled: Vec<i32>,
    centre: Vec<i32>,
}

impl Signs {
    /// Signs with the least sum of squared products of two such columns, found by single changes from all high (a choice of
    /// this program).
    fn least_correlated(matrix: &[Vec<i32>], two: &[usize]) -> Signs {
        let mut signs = Signs {
            filled: vec![1; two.len()],
            centre: vec![1; two.len()],
        };
        let mut least = signs.squares(matrix, two);
        loop {
            let mut is_better = false;
            for n in 0..2 * two.len() {
                signs.turn(n);
                let squares = signs.squares(matrix, two);
                match squares < least {
                    true => (least, is_better) = (squares, true),
                    false => signs.turn(n),
                }
            }
            if !is_better {
                return signs;
            }
        }
    }

    fn turn(&mut self, n: usize) {
        let count = self.filled.len();
        match n.checked_sub(count) {
            None => self.filled[n] *= -1,
            Some(n) => self.centre[n] *= -1,
        }
    }

    fn squares(&self, matrix: &[Vec<i32>], two: &[usize]) -> i32 {
        let mut sum = 0;
        for (a, row) in two.iter().enumerate() {
            for (b, column) in two.iter().enumerate().take(a) {
                let product = self.filled[a] * matrix[*row][*column]
                    + self.filled[b] * matrix[*column][*row]
                    + self.centre[a] * self.centre[b];
                sum += product * product;
            }
        }
        sum
    }
}

/// Conference matrix of an even order: Paley's of a prime power less one (Paley 1933, J Math Phys 12:311), of order 16 the
/// doubling of a skew one.
fn conference(order: usize) -> Option<Vec<Vec<i32>>> {
    match order {
        16 => conference(8).map(|skew| doubled(&skew)),
        _ => Field::of(order.checked_sub(1)?).map(|field| paley(&field)),
    }
}

fn paley(field: &Field) -> Vec<Vec<i32>> {
    let border = if field.size % 4 == 1 { 1 } else { -1 };
    let mut rows = vec![vec![1; field.size + 1]];
    rows[0][0] = 0;
    for a in 0..field.size {
        let own = (0..field.size).map(|b| field.character(field.less(a, b)));
        rows.push(std::iter::once(border).chain(own).collect());
    }
    rows
}

/// S, S + I over S − I, −S of a skew matrix S: rows stay orthogonal, as S + S' = 0.
fn doubled(skew: &[Vec<i32>]) -> Vec<Vec<i32>> {
    let order = skew.len();
    let one = |i: usize, j: usize| i32::from(i == j);
    let mut rows = vec![];
    for i in 0..order {
        let right = (0..order).map(|j| skew[i][j] + one(i, j));
        rows.push(skew[i].iter().copied().chain(right).collect());
    }
    for i in 0..order {
        let left = (0..order).map(|j| skew[i][j] - one(i, j));
        rows.push(left.chain(skew[i].iter().map(|x| -x)).collect());
    }
    rows
}

/// Finite field of a prime number of elements, or of nine: a + b i over three with i² = −1, numbered a + 3 b.
struct Field {
    size: usize,
    /// Squares of elements other than zero.
    squares: Vec<usize>,
}

impl Field {
    fn of(size: usize) -> Option<Field> {
        let is_prime = size > 2 && (2..size).all(|d| !size.is_multiple_of(d));
        if !is_prime && size != 9 {
            return None;
        }
        let square = |x: usize| match size {
            9 => {
                let (a, b) = (x % 3, x / 3);
                (a * a + 2 * b * b) % 3 + 3 * (2 * a * b % 3)
            }
            _ => x * x % size,
        };
        let squares = (1..size).map(square).collect();
        Some(Field { size, squares })
    }

    fn less(&self, x: usize, y: usize) -> usize {
        match self.size {
            9 => (x % 3 + 3 - y % 3) % 3 + 3 * ((x / 3 + 3 - y / 3) % 3),
            size => (x + size - y) % size,
        }
    }

    /// Quadratic character: 0 of zero, 1 of squares, −1 of the others.
    fn character(&self, x: usize) -> i32 {
        match x {
            0 => 0,
            x if self.squares.contains(&x) => 1,
            _ => -1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conference_matrices_have_zeros_on_the_diagonal_and_orthogonal_columns() {
        for order in ORDERS {
            let matrix = conference(order).unwrap();
            for a in 0..order {
                for b in 0..order {
                    assert_eq!(matrix[a][b].abs(), i32::from(a != b), "{order}");
                    let product: i32 = matrix.iter().map(|row| row[a] * row[b]).sum();
                    let wanted = if a == b { order as i32 - 1 } else { 0 };
                    assert_eq!(product, wanted, "{order}: {a} {b}");
                }
            }
        }
        assert!(conference(22).is_none());
    }

    /// Signs of a design: −1, 0, 1.
    fn coded(has_three: &[bool]) -> (Vec<Vec<i32>>, usize) {
        let design = definitive_screening(has_three).unwrap();
        let code = |(f, level): (usize, &usize)| match has_three[f] {
            true => *level as i32 - 1,
            false => 2 * *level as i32 - 1,
        };
        let rows = design.points.iter();
        let rows = rows.map(|p| p.iter().enumerate().map(code).collect());
        (rows.collect(), design.centres)
    }

    fn sum(rows: &[Vec<i32>], of: impl Fn(&[i32]) -> i32) -> i32 {
        rows.iter().map(|row| of(row)).sum()
    }

    #[test]
    fn main_effects_are_orthogonal_to_each_other_to_interactions_and_to_squares() {
        for factors in 3..=MOST_DEFINITIVE {
            let (rows, centres) = coded(&vec![true; factors]);
            // Jones and Nachtsheim 2011: 2m + 1 runs, of odd m those of one factor more; no matrix of order 22.
            let order = match factors {
                3 => 4,
                21 | 22 => 24,
                m => m + m % 2,
            };
            assert_eq!((rows.len(), centres), (2 * order + 1, 1));
            for a in 0..factors {
                assert_eq!(sum(&rows, |x| x[a]), 0);
                for b in 0..factors {
                    assert!(a == b || sum(&rows, |x| x[a] * x[b]) == 0);
                    for c in 0..=b {
                        assert_eq!(sum(&rows, |x| x[a] * x[b] * x[c]), 0, "{a} {b} {c}");
                    }
                }
            }
        }
        for none in [vec![true; 2], vec![true; 25], vec![false; 6]] {
            assert!(definitive_screening(&none).is_none());
        }
    }

    #[test]
    fn categories_have_two_levels_and_leave_main_effects_clear_of_second_order() {
        for (factors, two) in [(6, 1), (6, 2), (7, 3), (8, 4), (10, 2), (12, 6), (24, 8)] {
            let has_three: Vec<bool> = (0..factors).map(|f| f % (factors / two) != 0).collect();
            let (rows, centres) = coded(&has_three);
            let count = factors + factors % 2;
            assert_eq!((rows.len(), centres), (2 * count + 2, 2));
            for a in 0..factors {
                assert_eq!(sum(&rows, |x| x[a]), 0, "each level as often");
                assert!(has_three[a] || rows.iter().all(|x| x[a] != 0));
                for b in 0..factors {
                    for c in 0..=b {
                        assert_eq!(sum(&rows, |x| x[a] * x[b] * x[c]), 0, "{a} {b} {c}");
                    }
                    // The filled zeros are the one thing that correlates: two pairs of runs, three with the centres.
                    let most = match (has_three[a], has_three[b]) {
                        (true, true) => 0,
                        (false, false) => 6,
                        _ => 2,
                    };
                    assert!(a == b || sum(&rows, |x| x[a] * x[b]).abs() <= most);
                }
            }
        }
    }
}
