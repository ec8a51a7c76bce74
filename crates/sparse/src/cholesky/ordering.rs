//! Fill-reducing order by nested dissection (George 1973, SIAM J Numer Anal 10:345; multilevel bisection
//! after Karypis and Kumar 1998, SIAM J Sci Comput 20:359).

use crate::Pattern;
use feral_metis::{CscPattern, metis_order};

/// Elimination order of the block rows: entry k is the row eliminated k-th.
///
/// Works on the graph of block rows. Falls back to the given order if the graph
/// is too large for 32-bit indices.
pub fn nested_dissection(pattern: &Pattern) -> Vec<u32> {
    let rows = pattern.rows();
    let natural = || (0..rows as u32).collect();
    let (Ok(_), Ok(_)) = (i32::try_from(rows), i32::try_from(pattern.len())) else {
        return natural();
    };
    let starts: Vec<i32> = pattern.starts().iter().map(|&s| s as i32).collect();
    let columns: Vec<i32> = (0..rows)
        .flat_map(|i| pattern.row(i).iter().map(|&j| j as i32))
        .collect();
    let Some(graph) = CscPattern::new(rows, &starts, &columns) else {
        return natural();
    };
    match metis_order(&graph) {
        Ok(order) => order.into_iter().map(|i| i as u32).collect(),
        Err(_) => natural(),
    }
}
