//! The bicolumn command line.

fn main() {}
