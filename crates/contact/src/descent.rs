//! Contact by a preconditioned descent: one load case on its way.
//!
//! With the structure's stiffness K, the preconditioner M ≥ K and the interface's energy φ, each iteration
//! finds the step d that is least in ½ dᵀM d − rᵀd + φ(u + d): a contact problem whose structure is M, solved
//! exactly on the few interface points that touch ([`crate::reduced`]). Contact so opens and closes within
//! the iteration and M need never be made anew. The last iterates are mixed ([`crate::mixing`]).

use crate::compliance::{AXIAL, NORMAL, ROUND, Row, Spot};
use crate::interfaces::Point;
use crate::law::Law;
use crate::mixing::{self, DEPTH};
use crate::preload::Slab;
use crate::reduced::{self, Block, Conditions, Face, Pressing, Rows};
use crate::report::{CaseReport, Status};
use crate::system::{State, System};
use bicolumn_base::Vec3;
use nalgebra::DMatrix;
use std::collections::{BTreeMap, BTreeSet};

/// Points taken into the reduced problem at once, unless they are held.
const MOST_NEW: usize = 40;
/// How often in an iteration, and in the first ones, which do not yet know well where things press.
const WAVES: usize = 6;
const FIRST_WAVES: usize = 2;
const FIRST_ITERATIONS: usize = 3;
/// The reduced problem's relative accuracy, as a share of the residual; its bounds.
const REDUCED_SHARE: f64 = 1e-3;
const REDUCED_COARSEST: f64 = 1e-5;
const REDUCED_FINEST: f64 = 1e-12;
/// A residual so many times the least one starts the mixing anew.
const WORSE: f64 = 4.0;

/// Waves of each iteration in which points beside one another are not taken in at once.
const SPARSELY: usize = 3;
/// Iterations after the last new point in which no part counts as lost.
const EARLY: usize = 10;

/// A way from one state to the next.
#[derive(Debug, Clone)]
pub(crate) struct Path<'a> {
    pub(crate) name: &'a str,
    /// Nodal forces at the start, N.
    pub(crate) before: Vec<Vec3>,
    /// Nodal forces at the end, N.
    pub(crate) forces: Vec<Vec3>,
    /// Section force of each slab at the end, N; `None`: its length is kept.
    pub(crate) pull: Vec<Option<f64>>,
    /// Law of each set.
    pub(crate) laws: &'a [Law],
    pub(crate) increments: usize,
    /// Relative residual of equilibrium to reach.
    pub(crate) tolerance: f64,
    /// Most iterations of an increment.
    pub(crate) max_iterations: usize,
}

/// One iterate after its step.
struct Iterate {
    u: Vec<Vec3>,
    /// The step and M times it.
    step: Vec<Vec3>,
    pressed: Vec<Vec3>,
    /// Residual of equilibrium, N.
    residual: Vec<Vec3>,
    /// Force of each row.
    forces: Vec<f64>,
}

/// A path being followed.
pub(crate) struct Descent<'a> {
    state: State,
    path: Path<'a>,
    report: CaseReport,
    /// Displacement at the start of the path.
    first: Vec<Vec3>,
    /// Nodal forces at the end of the increment, N.
    loads: Vec<Vec3>,
    pull: Vec<Option<f64>>,
    /// Force of each row.
    forces: Vec<f64>,
    /// Force and motion of each row in the iteration under way.
    trial: (Vec<f64>, Vec<f64>),
    /// How far the rows are from their laws, relative.
    off: f64,
    residual: Vec<Vec3>,
    history: Vec<Iterate>,
    products: DMatrix<f64>,
    face: Face,
    least: f64,
    iterations: usize,
    /// Iteration at which the reduced problem last grew.
    last_new: usize,
    is_done: bool,
}

impl System<'_> {
    fn nodal(&self, rows: &[f64]) -> Vec<Vec3> {
        let mut out = vec![Vec3::zeros(); self.held.len()];
        let points = self.interfaces.points();
        for (row, f) in self.compliance.rows.iter().zip(rows) {
            if *f != 0.0 {
                row.push(points, &self.slabs, *f, &mut out);
            }
        }
        for (f, held) in out.iter_mut().zip(&self.held) {
            if *held {
                *f = Vec3::zeros();
            }
        }
        out
    }

    fn motions(&self, u: &[Vec3]) -> Vec<f64> {
        self.motions_from(0, u)
    }

    /// Motion of the rows from the `first` on.
    fn motions_from(&self, first: usize, u: &[Vec3]) -> Vec<f64> {
        let points = self.interfaces.points();
        let slabs: &[Slab] = &self.slabs;
        let rows = self.compliance.rows[first..].iter();
        rows.map(|r| r.motion(points, slabs, u)).collect()
    }
}

impl<'a> Descent<'a> {
    pub(crate) fn new(system: &System<'_>, state: State, path: Path<'a>) -> Self {
        let mut out = Descent {
            first: state.u.clone(),
            report: CaseReport::new(path.name),
            loads: vec![],
            pull: vec![],
            forces: vec![],
            trial: (vec![], vec![]),
            off: 0.0,
            residual: vec![],
            history: vec![],
            products: DMatrix::zeros(0, 0),
            face: Face::default(),
            least: f64::INFINITY,
            iterations: 0,
            last_new: 0,
            is_done: false,
            state,
            path,
        };
        out.begin(system);
        out
    }

    /// Starts the next increment. Its slip counts from where it begins.
    fn begin(&mut self, system: &System<'_>) {
        self.report.increments += 1;
        self.report.history.clear();
        let t = self.report.increments as f64 / self.path.increments as f64;
        let forces = self.path.before.iter().zip(&self.path.forces);
        self.loads = forces.map(|(b, f)| b + (f - b) * t).collect();
        self.pull = self.path.pull.iter().map(|p| p.map(|f| f * t)).collect();
        let points = system.interfaces.points();
        for (p, start) in points.iter().zip(&mut self.state.start) {
            match self.path.laws[p.set].at(p.normal) {
                Law::Frictional { .. } => *start = p.jump(&self.state.u),
                law @ Law::Threaded { .. } => {
                    let [along, _] = law.across(p.normal);
                    let jump = p.jump(&self.state.u);
                    *start = jump + along * along.dot(&(*start - jump));
                }
                Law::Bonded | Law::Frictionless | Law::Apart => {}
            }
        }
        self.forces = system
            .compliance
            .rows
            .iter()
            .map(|row| match *row {
                Row::Slab(k) => -self.state.shrink[k],
                Row::Point(k, along) => self.state.force[k].dot(&along),
            })
            .collect();
        self.anew(system);
        (self.iterations, self.last_new) = (0, 0);
    }

    /// Computes the residual from the displacement and forgets the iterates.
    fn anew(&mut self, system: &System<'_>) {
        let inner = system.nodal(&self.forces);
        let held = &system.held;
        self.residual = (0..inner.len())
            .map(|n| match held[n] {
                true => Vec3::zeros(),
                false => self.loads[n] + inner[n] - self.state.ku[n],
            })
            .collect();
        self.history.clear();
        self.products = DMatrix::zeros(0, 0);
        self.least = f64::INFINITY;
    }

    /// Size of the forces that the residual is measured against, N: the loads', or those of the interfaces
    /// where there is no load.
    fn size(&self, system: &System<'_>) -> f64 {
        let held = &system.held;
        let sum = |v: &[Vec3]| -> f64 {
            let free = v.iter().zip(held).filter(|(_, h)| !**h);
            free.map(|(f, _)| f.norm_squared()).sum::<f64>()
        };
        let loads = sum(&self.loads);
        if loads > 0.0 {
            return loads.sqrt();
        }
        // What acts inside a cut screw is much larger than its tension and says nothing.
        let pulled = self.pull.iter().flatten().map(|f| f * f).sum::<f64>();
        let rows = system.compliance.rows.iter().zip(&self.forces);
        let of_points: Vec<f64> = rows
            .map(|(row, f)| if matches!(row, Row::Slab(_)) { 0.0 } else { *f })
            .collect();
        sum(&system.nodal(&of_points)).max(pulled).sqrt()
    }

    fn law_at(&self, point: &Point) -> Law {
        self.path.laws[point.set].at(point.normal)
    }

    /// Points that the law would press at a displacement and whose normal the reduced problem lacks, with how
    /// far they are on the wrong side, mm.
    fn missing(&self, system: &System<'_>, u: &[Vec3]) -> Vec<(usize, f64)> {
        let points = system.interfaces.points().iter().enumerate();
        let mut largest: f64 = 0.0;
        let mut out = vec![];
        for (k, p) in points {
            let jump = p.jump(u);
            largest = largest.max(jump.norm());
            if system.compliance.has(k, NORMAL) || p.stencil.is_empty() {
                continue;
            }
            match self.law_at(p) {
                Law::Apart | Law::Bonded => {}
                _ => out.push((k, -(p.gap + p.normal.dot(&jump)))),
            }
        }
        out.retain(|(_, depth)| *depth > 0.01 * self.path.tolerance * largest);
        out
    }

    /// Rows of points that the reduced problem lacks and whose motion is held whatever presses: bonds, threads.
    fn unheld(&self, system: &System<'_>) -> Vec<(usize, usize)> {
        let points = system.interfaces.points().iter().enumerate();
        let points = points.filter(|(_, p)| !p.stencil.is_empty());
        let held = points.flat_map(|(k, p)| {
            let rows: &[usize] = match self.law_at(p) {
                Law::Bonded => &[NORMAL, AXIAL, ROUND],
                Law::Threaded { .. } => &[AXIAL],
                Law::Frictional { .. } | Law::Frictionless | Law::Apart => &[],
            };
            rows.iter().map(move |which| (k, *which))
        });
        held.filter(|(k, which)| !system.compliance.has(*k, *which))
            .collect()
    }

    /// Rows across that the reduced problem lacks and that the law calls for where forces are as given.
    fn without_shear(&self, system: &System<'_>, forces: &[f64]) -> Vec<(usize, usize)> {
        let points = system.interfaces.points();
        let spots = system.compliance.spots.iter();
        let pressed = spots.filter(|s| s.rows[NORMAL].is_some_and(|n| forces[n] > 0.0));
        let called = pressed.flat_map(|s| {
            let rows = rubbing(self.law_at(&points[s.point]));
            rows.iter().map(|which| (s.point, *which))
        });
        called
            .filter(|(k, which)| !system.compliance.has(*k, *which))
            .collect()
    }

    /// Does the reduced problem lack nothing at this displacement and these forces?
    fn is_whole(&self, system: &System<'_>, u: &[Vec3], forces: &[f64]) -> bool {
        self.missing(system, u).is_empty()
            && self.unheld(system).is_empty()
            && self.without_shear(system, forces).is_empty()
    }

    fn fail(&mut self, system: &System<'_>, reason: &str) {
        self.report.status = Status::NotConverged {
            reason: format!(
                "increment {} of {}: {reason}",
                self.report.increments, self.path.increments
            ),
        };
        self.end(system);
    }

    fn end(&mut self, system: &System<'_>) {
        self.is_done = true;
        self.report.sets = system.look(&self.state, &self.first, self.path.laws);
        self.report.section_forces_n = system
            .slabs
            .iter()
            .zip(&self.state.shrink)
            .map(|(slab, s)| slab.section_force(&self.state.u, *s))
            .collect();
    }

    /// The state and the report of a path that is done.
    pub(crate) fn into_parts(self) -> (State, CaseReport) {
        (self.state, self.report)
    }

    /// Begins an iteration: `works` is how far each row would move on if the forces stayed as they are.
    fn try_on(&mut self, system: &System<'_>, works: &[f64]) {
        let mut motions = system.motions(&self.state.u);
        for (m, w) in motions.iter_mut().zip(works) {
            *m += w;
        }
        self.trial = (self.forces.clone(), motions);
    }

    /// New rows have come. `works`: how far each of them moves on in this iteration so far.
    fn grow(&mut self, system: &System<'_>, works: &[f64]) {
        let more = works.len();
        self.last_new = self.iterations;
        let old = self.trial.1.len();
        let motions = system.motions_from(old, &self.state.u);
        let moved = motions.iter().zip(works).map(|(m, w)| m + w);
        self.trial.1.extend(moved);
        let histories = self.history.iter_mut().map(|it| &mut it.forces);
        for forces in histories.chain([&mut self.forces, &mut self.trial.0]) {
            forces.extend(std::iter::repeat_n(0.0, more));
        }
    }

    /// Solves the reduced problem from the trial on; gives the change of the forces.
    fn reduce(&mut self, system: &System<'_>) -> Vec<f64> {
        let points = system.interfaces.points();
        let spots = &system.compliance.spots;
        let of_spot = |s: &Spot| blocks(s, self.law_at(&points[s.point]), points[s.point].gap);
        let blocks: Vec<Block> = spots.iter().flat_map(of_spot).collect();
        let starts: Vec<f64> = system
            .compliance
            .rows
            .iter()
            .map(|row| match *row {
                Row::Slab(_) => 0.0,
                Row::Point(k, along) => self.state.start[k].dot(&along),
            })
            .collect();
        let slabs = system.slabs.iter().zip(&self.pull);
        let pulls: Vec<Option<(f64, f64)>> = slabs
            .map(|(slab, pull)| pull.map(|f| (f, slab.stiffness)))
            .collect();
        let on = Conditions {
            blocks: &blocks,
            starts: &starts,
            pulls: &pulls,
        };
        let accuracy = match self.iterations {
            0 => REDUCED_COARSEST,
            _ => (REDUCED_SHARE * self.report.residual).clamp(REDUCED_FINEST, REDUCED_COARSEST),
        };
        let (forces, motions) = &mut self.trial;
        let before = forces.clone();
        self.off = reduced::solve(
            &system.compliance.values,
            &on,
            accuracy,
            &mut self.face,
            forces,
            motions,
        );
        forces.iter().zip(&before).map(|(f, b)| f - b).collect()
    }

    /// Takes the step of this iteration; decides what comes next.
    fn take(&mut self, system: &System<'_>, pressed: Vec<Vec3>, step: Vec<Vec3>, product: &[Vec3]) {
        let forces = std::mem::take(&mut self.trial.0);
        let tolerance = self.path.tolerance;
        self.iterations += 1;
        self.report.iterations += 1;
        let u: Vec<Vec3> = self.state.u.iter().zip(&step).map(|(u, d)| u + d).collect();
        let ku: Vec<Vec3> = self
            .state
            .ku
            .iter()
            .zip(product)
            .map(|(k, d)| k + d)
            .collect();
        let residual: Vec<Vec3> = pressed.iter().zip(product).map(|(q, k)| q - k).collect();
        let change = relative_change(&forces, &self.forces);
        self.forces.clone_from(&forces);
        let size = self.size(system);
        let norm = residual.iter().map(Vec3::norm_squared).sum::<f64>().sqrt();
        self.report.residual = if size > 0.0 { norm / size } else { 0.0 };
        self.report.traction_change = change;
        self.report.history.push(self.report.residual);
        // While points come in, an iterate may be far off without harm.
        let ran_away = self.iterations > self.last_new + EARLY
            && !u.iter().all(|u| u.norm() <= system.farthest_mm);
        let settled = !ran_away
            && self.report.residual <= tolerance
            && self.off <= tolerance
            && self.is_whole(system, &u, &forces);
        if settled || ran_away || self.iterations == self.path.max_iterations {
            self.state.u = u;
            self.state.ku = ku;
            self.keep(system);
            if !settled {
                let reason = if ran_away {
                    "a part runs away: nothing holds it against its load".to_owned()
                } else {
                    format!(
                        "residual {:.1e}, laws of the interfaces to {:.1e}, after {} iterations",
                        self.report.residual, self.off, self.iterations
                    )
                };
                self.fail(system, &reason);
                return;
            }
            let points = system.interfaces.points();
            self.report.dissipation_nmm += self.state.dissipation(points, self.path.laws);
            if self.report.increments == self.path.increments {
                self.end(system);
            } else {
                self.begin(system);
            }
            return;
        }
        if self.report.residual > WORSE * self.least {
            self.history.clear();
            self.products = DMatrix::zeros(0, 0);
            self.least = f64::INFINITY;
        }
        self.least = self.least.min(self.report.residual);
        self.history.push(Iterate {
            u,
            step,
            pressed,
            residual,
            forces,
        });
        self.mix();
        // K u of the mixed displacement, by the residual that was mixed with it.
        let inner = system.nodal(&self.forces);
        for n in 0..inner.len() {
            if !system.held[n] {
                self.state.ku[n] = self.loads[n] + inner[n] - self.residual[n];
            }
        }
    }

    /// Mixes the kept iterates into the next one.
    fn mix(&mut self) {
        if self.history.len() > DEPTH {
            self.history.remove(0);
            self.products = self.products.clone().remove_row(0).remove_column(0);
        }
        let n = self.history.len();
        let last = &self.history[n - 1];
        let dot = |a: &[Vec3], b: &[Vec3]| a.iter().zip(b).map(|(a, b)| a.dot(b)).sum::<f64>();
        let old = std::mem::replace(&mut self.products, DMatrix::zeros(0, 0));
        let mut products = old.resize(n, n, 0.0);
        for (k, it) in self.history.iter().enumerate() {
            let value = 0.5 * (dot(&it.step, &last.pressed) + dot(&last.step, &it.pressed));
            products[(k, n - 1)] = value;
            products[(n - 1, k)] = value;
        }
        let weights = mixing::weights(&products).unwrap_or_else(|| {
            let mut plain = vec![0.0; n];
            plain[n - 1] = 1.0;
            plain
        });
        self.products = products;
        let blend = |of: &dyn Fn(&Iterate) -> &[Vec3]| -> Vec<Vec3> {
            let mut out = vec![Vec3::zeros(); of(last).len()];
            for (it, w) in self.history.iter().zip(&weights) {
                for (o, v) in out.iter_mut().zip(of(it)) {
                    *o += v * *w;
                }
            }
            out
        };
        let u = blend(&|it| &it.u);
        let residual = blend(&|it| &it.residual);
        let mut forces = vec![0.0; self.forces.len()];
        for (it, w) in self.history.iter().zip(&weights) {
            for (o, v) in forces.iter_mut().zip(&it.forces) {
                *o += v * w;
            }
        }
        self.state.u = u;
        self.residual = residual;
        self.forces = forces;
    }

    /// Puts the forces of the rows into the state.
    fn keep(&mut self, system: &System<'_>) {
        self.state.force.fill(Vec3::zeros());
        for (row, f) in system.compliance.rows.iter().zip(&self.forces) {
            match *row {
                Row::Slab(k) => self.state.shrink[k] = -f,
                Row::Point(k, along) => self.state.force[k] += along * *f,
            }
        }
    }
}

/// Rows of a law that resist slip, as far as what presses lets them.
fn rubbing(law: Law) -> &'static [usize] {
    match law {
        Law::Frictional { mu } if mu > 0.0 => &[AXIAL, ROUND],
        Law::Threaded { mu, .. } if mu > 0.0 => &[ROUND],
        _ => &[],
    }
}

/// What holds at the rows of a spot.
fn blocks(spot: &Spot, law: Law, gap: f64) -> impl Iterator<Item = Block> + use<> {
    let [normal, first, second] = spot.rows;
    let pressing = |across: Rows| match normal {
        Some(normal) => Block::Pressing(Pressing {
            normal,
            across,
            friction: law.friction(),
            gap,
        }),
        None => Block::Slack(across),
    };
    let (one, other) = match law {
        Law::Apart => (Block::Slack(Rows::of(spot.rows)), None),
        Law::Bonded => (Block::Held(Rows::of(spot.rows)), None),
        Law::Frictional { .. } | Law::Frictionless => (pressing(Rows::of([first, second])), None),
        Law::Threaded { .. } => {
            let thread = Block::Held(Rows::of([first]));
            (thread, Some(pressing(Rows::of([second]))))
        }
    };
    std::iter::once(one).chain(other)
}

fn relative_change(new: &[f64], old: &[f64]) -> f64 {
    let (mut changed, mut size) = (0.0, 0.0);
    for (k, n) in new.iter().enumerate() {
        let o = old.get(k).copied().unwrap_or(0.0);
        changed += (n - o).powi(2);
        size += n.powi(2);
    }
    if size > 0.0 {
        (changed / size).sqrt()
    } else {
        0.0
    }
}

/// Follows descents to their ends side by side.
pub(crate) fn follow(system: &mut System<'_>, descents: &mut [Descent<'_>]) {
    loop {
        let mut going: Vec<&mut Descent<'_>> = descents.iter_mut().filter(|d| !d.is_done).collect();
        if going.is_empty() {
            return;
        }
        let steps = steps(system, &mut going);
        let products = system.ready.apply(&steps, None);
        for ((d, step), product) in going.iter_mut().zip(steps).zip(&products) {
            let change: Vec<f64> = d
                .trial
                .0
                .iter()
                .zip(&d.forces)
                .map(|(n, o)| n - o)
                .collect();
            let pushed = system.nodal(&change);
            let pressed: Vec<Vec3> = d.residual.iter().zip(&pushed).map(|(r, p)| r + p).collect();
            d.take(system, pressed, step, product);
        }
    }
}

/// The step of each descent. Points come into the reduced problem in waves, until with the forces that it
/// finds no other would press; the preconditioner is half applied meanwhile.
fn steps(system: &mut System<'_>, going: &mut [&mut Descent<'_>]) -> Vec<Vec<Vec3>> {
    let residuals: Vec<Vec<Vec3>> = going.iter().map(|d| d.residual.clone()).collect();
    let mut open = system.ready.open(&residuals);
    let works = system.ready.works(&open, &system.compliance.products, 0);
    for (d, works) in going.iter_mut().zip(works) {
        d.try_on(system, &works);
    }
    let first = going.iter().any(|d| d.iterations < FIRST_ITERATIONS);
    for wave in 0..if first { FIRST_WAVES } else { WAVES } {
        let lack = lack(system, going, &system.ready.rough(&open), wave);
        if lack.is_empty() && wave > 0 {
            break;
        }
        let count = system.compliance.rows.len();
        if !lack.is_empty() {
            let points = system.interfaces.points();
            system
                .compliance
                .add(&system.ready, points, &system.slabs, &lack);
            let works = system
                .ready
                .works(&open, &system.compliance.products, count);
            for (d, works) in going.iter_mut().zip(works) {
                d.grow(system, &works);
            }
        }
        let changes: Vec<Vec<f64>> = going.iter_mut().map(|d| d.reduce(system)).collect();
        system
            .ready
            .push(&mut open, &system.compliance.products, &changes);
    }
    system.ready.close(open)
}

/// What to take in next, as rows of points: all that is held, the deepest of the other points, and shear where
/// anything presses. At first no two points side by side, since one often spares its neighbours.
fn lack(
    system: &System<'_>,
    going: &[&mut Descent<'_>],
    rough: &[Vec<Vec3>],
    wave: usize,
) -> Vec<(usize, usize)> {
    let points = system.interfaces.points();
    let mut depth: BTreeMap<usize, f64> = BTreeMap::new();
    let mut held = BTreeSet::new();
    let mut across = BTreeSet::new();
    for (d, step) in going.iter().zip(rough) {
        let ahead: Vec<Vec3> = d.state.u.iter().zip(step).map(|(u, w)| u + w).collect();
        for (k, deep) in d.missing(system, &ahead) {
            let at = depth.entry(k).or_insert(0.0);
            *at = at.max(deep);
        }
        held.extend(d.unheld(system));
        across.extend(d.without_shear(system, &d.trial.0));
    }
    let mut order: Vec<(usize, f64)> = depth.into_iter().collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let early = wave < SPARSELY;
    let mut taken = BTreeSet::new();
    let mut out: Vec<(usize, usize)> = held.iter().copied().collect();
    let mut count = 0;
    for (k, _) in order {
        let nodes = || points[k].stencil.iter().map(|(a, _, _)| *a);
        let beside = early && nodes().any(|n| taken.contains(&n));
        if count >= MOST_NEW || beside {
            continue;
        }
        taken.extend(nodes());
        count += 1;
        out.push((k, NORMAL));
        // Where friction alone may hold a part, an iteration without it would throw the part off.
        if system.is_loose {
            let laws = going.iter().map(|d| d.law_at(&points[k]));
            across.extend(laws.flat_map(|law| rubbing(law).iter().map(move |which| (k, *which))));
        }
    }
    out.extend(
        across
            .difference(&held)
            .filter(|(k, which)| !system.compliance.has(*k, *which)),
    );
    out
}
