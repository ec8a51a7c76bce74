//! The summary of a run, read from its lines: those of a run just made, or of any file that holds some.

/// Figures of the designs seen so far.
#[derive(Default)]
pub(crate) struct Tally {
    designs: usize,
    infeasible: usize,
    /// Seeds that the mesher refused.
    failed: Vec<u64>,
    lattices: usize,
    tets: f64,
    seconds: f64,
    /// By name, with its seed: value of every design.
    figures: Vec<(Figure, Vec<(f64, u64)>)>,
    /// By name: the seeds that miss it.
    misses: Vec<(String, Vec<u64>)>,
}

/// A figure of a line: what stands before its number, and whether small values are the bad ones.
#[derive(Clone, Copy)]
struct Figure {
    name: &'static str,
    before: &'static str,
    is_least: bool,
}

const FIGURES: [Figure; 13] = [
    least("least dihedral angle, degrees", ", angles "),
    most("greatest dihedral angle, degrees", " to "),
    least("radius ratio", ", ratio "),
    most("facet corner off its surface, mm", ", off "),
    most("facet middle off near hardware, mm", " near "),
    most(
        "share of facets near hardware off more than 0.05 mm",
        " share ",
    ),
    most("facet middle off far from it, mm", " far "),
    most("length of a screw tip's circle", ", circle "),
    most("volume of a screw", "volumes: screw "),
    most("volume of the bone", " bone "),
    most("volume of a plate", " plate "),
    most("straightened elements", ", straightened "),
    least("least det J over the straight one's", ", det "),
];

const fn least(name: &'static str, before: &'static str) -> Figure {
    Figure {
        name,
        before,
        is_least: true,
    }
}

const fn most(name: &'static str, before: &'static str) -> Figure {
    Figure {
        name,
        before,
        is_least: false,
    }
}

/// The number that follows a piece of text.
fn number(text: &str, before: &str) -> Option<f64> {
    let from = text.find(before)? + before.len();
    let word = text[from..].split([' ', ',']).next()?;
    word.parse().ok()
}

impl Tally {
    /// Takes a line of a run; others are passed over.
    pub(crate) fn take(&mut self, line: &str) {
        let seed = line
            .strip_prefix("seed ")
            .and_then(|l| l.split(':').next())
            .and_then(|s| s.parse::<u64>().ok());
        let Some(seed) = seed else { return };
        if line.ends_with("no feasible draw") {
            self.infeasible += 1;
            return;
        }
        self.designs += 1;
        if line.contains("| FAILED") {
            self.failed.push(seed);
            return;
        }
        // The design, its figures, what it misses.
        let mut thirds = line.rsplitn(3, " | ");
        let (verdict, figures) = (thirds.next().unwrap_or(""), thirds.next().unwrap_or(""));
        let tets = figures
            .split(' ')
            .next()
            .and_then(|n| n.parse::<f64>().ok());
        self.tets += tets.unwrap_or(0.0);
        self.seconds += number(figures, " all ").unwrap_or(0.0);
        self.lattices += usize::from(number(figures, ", fallback ") != Some(0.0));
        for figure in FIGURES {
            let Some(value) = number(figures, figure.before) else {
                continue;
            };
            match self.figures.iter_mut().find(|f| f.0.name == figure.name) {
                Some(known) => known.1.push((value, seed)),
                None => self.figures.push((figure, vec![(value, seed)])),
            }
        }
        let missed = verdict.strip_prefix("MISS ").unwrap_or("");
        for miss in missed.split(", ").filter(|m| !m.is_empty()) {
            // "A3 least angle 9.1" counts as "A3 least angle".
            let words = miss.split(' ').filter(|w| w.parse::<f64>().is_err());
            let name = words.collect::<Vec<_>>().join(" ");
            match self.misses.iter_mut().find(|m| m.0 == name) {
                Some(known) => known.1.push(seed),
                None => self.misses.push((name, vec![seed])),
            }
        }
    }

    pub(crate) fn print(mut self) {
        println!(
            "designs {}, no feasible draw {}, refused by the mesher {} {:?}, another lattice or size used {}",
            self.designs,
            self.infeasible,
            self.failed.len(),
            self.failed,
            self.lattices
        );
        for (figure, values) in &mut self.figures {
            // The worst comes first.
            let bad = |v: f64| if figure.is_least { v } else { -v.abs() };
            values.sort_by(|a, b| bad(a.0).total_cmp(&bad(b.0)).then(a.1.cmp(&b.1)));
            let worst: Vec<String> = values
                .iter()
                .take(4)
                .map(|(v, seed)| format!("{v} (seed {seed})"))
                .collect();
            println!(
                "{}: median {}, worst {}",
                figure.name,
                values[values.len() / 2].0,
                worst.join(", ")
            );
        }
        let angles = self.figures.iter().find(|f| f.0.before == ", angles ");
        if let Some((_, angles)) = angles {
            let share = |limit: f64| {
                let good = angles.iter().filter(|a| a.0 >= limit).count();
                100.0 * good as f64 / angles.len() as f64
            };
            println!(
                "least dihedral angle at least 10 in {:.1} %, 18 in {:.1} %, 20 in {:.1} % of {} meshes; {:.0} tetrahedra on average, {:.0} a second",
                share(10.0),
                share(18.0),
                share(20.0),
                angles.len(),
                self.tets / angles.len() as f64,
                self.tets / self.seconds
            );
        }
        for (name, seeds) in &self.misses {
            println!("missed {name}: {} meshes, seeds {seeds:?}", seeds.len());
        }
        if self.misses.is_empty() {
            println!("nothing missed");
        }
    }
}
