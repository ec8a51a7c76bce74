//! Contact by a preconditioned descent: one load case on its way.
//!
//! With the structure's stiffness K, the preconditioner M ≥ K and the interface's energy φ, each iteration
//! finds the step d that is least in ½ dᵀM d − rᵀd + φ(u + d): a contact problem whose structure is M, solved
//! exactly on the few interface points that touch ([`crate::reduced`]). Contact so opens and closes within
//! the iteration and M need never be made anew. The last iterates are mixed ([`crate::mixing`]).

use crate::compliance::{Compliance, Row};
use crate::law::{Law, Memory};
use crate::mixing::{self, DEPTH};
use crate::preload::Slab;
use crate::reduced::{self, Conditions, Face};
use crate::report::{CaseReport, Status};
use crate::system::{Load, State, System};
use crate::walk::Path;
use bicolumn_base::Vec3;
use nalgebra::DMatrix;
use std::collections::BTreeSet;

/// Points taken into the reduced problem at once, unless they are bonds.
const MOST_NEW: usize = 64;
/// The reduced problem's relative accuracy, as a share of the residual; its bounds.
const REDUCED_SHARE: f64 = 1e-3;
const REDUCED_COARSEST: f64 = 1e-5;
const REDUCED_FINEST: f64 = 1e-12;
/// A residual so many times the least one starts the mixing anew.
const WORSE: f64 = 4.0;

/// Iterations in which no part counts as lost.
const EARLY: usize = 10;

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
    /// Jump of each point from which slip and bonds count.
    starts: Vec<Vec3>,
    /// Force of each row.
    forces: Vec<f64>,
    residual: Vec<Vec3>,
    history: Vec<Iterate>,
    products: DMatrix<f64>,
    face: Face,
    least: f64,
    iterations: usize,
    is_done: bool,
}

/// What all descents of a system share.
pub(crate) struct Shared<'s, 'p> {
    pub(crate) system: &'s System<'p>,
    pub(crate) compliance: Compliance,
    /// Displacement beyond which a part counts as lost, mm.
    pub(crate) farthest_mm: f64,
    /// May shear act at the sets?
    pub(crate) has_shear: Vec<bool>,
}

impl Shared<'_, '_> {
    fn nodal(&self, rows: &[f64]) -> Vec<Vec3> {
        let mut out = vec![Vec3::zeros(); self.system.held.len()];
        let points = self.system.interfaces.points();
        for (row, f) in self.compliance.rows.iter().zip(rows) {
            if *f != 0.0 {
                row.push(points, &self.system.slabs, *f, &mut out);
            }
        }
        for (f, held) in out.iter_mut().zip(&self.system.held) {
            if *held {
                *f = Vec3::zeros();
            }
        }
        out
    }

    fn motions(&self, u: &[Vec3]) -> Vec<f64> {
        let points = self.system.interfaces.points();
        let slabs: &[Slab] = &self.system.slabs;
        let rows = self.compliance.rows.iter();
        rows.map(|r| r.motion(points, slabs, u)).collect()
    }
}

impl<'a> Descent<'a> {
    pub(crate) fn new(shared: &Shared<'_, '_>, state: State, path: Path<'a>) -> Self {
        let mut out = Descent {
            first: state.u.clone(),
            starts: vec![],
            report: CaseReport::new(path.name),
            loads: vec![],
            pull: vec![],
            forces: vec![],
            residual: vec![],
            history: vec![],
            products: DMatrix::zeros(0, 0),
            face: Face::default(),
            least: f64::INFINITY,
            iterations: 0,
            is_done: false,
            state,
            path,
        };
        out.begin(shared);
        out
    }

    /// Starts the next increment. Its slip counts from where it begins.
    fn begin(&mut self, shared: &Shared<'_, '_>) {
        self.report.increments += 1;
        self.report.history.clear();
        let t = self.report.increments as f64 / self.path.increments as f64;
        let forces = self.path.before.iter().zip(&self.path.forces);
        self.loads = forces.map(|(b, f)| b + (f - b) * t).collect();
        self.pull = self.path.pull.iter().map(|p| p.map(|f| f * t)).collect();
        let points = shared.system.interfaces.points();
        for (p, m) in points.iter().zip(&mut self.state.memory) {
            if matches!(self.path.laws[p.set], Law::Frictional { .. }) {
                m.start = p.jump(&self.state.u);
            }
        }
        self.starts = self.state.memory.iter().map(|m| m.start).collect();
        self.forces = shared
            .compliance
            .rows
            .iter()
            .map(|row| match *row {
                Row::Slab(k) => -self.state.shrink[k],
                Row::Point(k, along) => {
                    let (m, p) = (&self.state.memory[k], &points[k]);
                    (p.normal * m.pressure + m.shear).dot(&along) * p.area
                }
            })
            .collect();
        self.anew(shared);
        self.iterations = 0;
    }

    /// Computes the residual from the displacement and forgets the iterates.
    fn anew(&mut self, shared: &Shared<'_, '_>) {
        let inner = shared.nodal(&self.forces);
        let held = &shared.system.held;
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

    /// Size of the forces that the residual is measured against, N.
    fn size(&self, shared: &Shared<'_, '_>) -> f64 {
        let held = &shared.system.held;
        let sum = |v: &[Vec3]| -> f64 {
            let free = v.iter().zip(held).filter(|(_, h)| !**h);
            free.map(|(f, _)| f.norm_squared()).sum::<f64>()
        };
        sum(&self.loads).max(sum(&shared.nodal(&self.forces))).sqrt()
    }

    /// Points that the law would press or bond at a displacement and that the reduced problem lacks,
    /// with how far they are on the wrong side, mm.
    fn missing(&self, shared: &Shared<'_, '_>, u: &[Vec3]) -> Vec<(usize, f64)> {
        let points = shared.system.interfaces.points().iter().enumerate();
        let mut largest: f64 = 0.0;
        let mut out = vec![];
        for (k, p) in points {
            let jump = p.jump(u);
            largest = largest.max(jump.norm());
            if shared.compliance.of_point[k].is_some() || p.stencil.is_empty() {
                continue;
            }
            match self.path.laws[p.set] {
                Law::Apart => {}
                Law::Bonded => out.push((k, f64::INFINITY)),
                _ => out.push((k, -(p.gap + p.normal.dot(&jump)))),
            }
        }
        out.retain(|(_, depth)| *depth > 0.01 * self.path.tolerance * largest);
        out
    }

    fn fail(&mut self, shared: &Shared<'_, '_>, reason: &str) {
        self.report.status = Status::NotConverged {
            reason: format!(
                "increment {} of {}: {reason}",
                self.report.increments, self.path.increments
            ),
        };
        self.end(shared);
    }

    fn end(&mut self, shared: &Shared<'_, '_>) {
        let system = shared.system;
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

    /// Solves the reduced problem after `ahead`, the displacement if the forces stayed as they are.
    /// Gives the new forces.
    fn reduce(&mut self, shared: &Shared<'_, '_>, ahead: &[Vec3]) -> Vec<f64> {
        let points = shared.system.interfaces.points();
        let spots = &shared.compliance.spots;
        let laws: Vec<Law> = spots.iter().map(|s| self.path.laws[points[s.point].set]).collect();
        let gaps: Vec<f64> = spots.iter().map(|s| points[s.point].gap).collect();
        let starts: Vec<f64> = shared
            .compliance
            .rows
            .iter()
            .map(|row| match *row {
                Row::Slab(_) => 0.0,
                Row::Point(k, along) => self.starts[k].dot(&along),
            })
            .collect();
        let slabs = shared.system.slabs.iter().zip(&self.pull);
        let pulls: Vec<Option<(f64, f64)>> = slabs
            .map(|(slab, pull)| pull.map(|f| (f * slab.length, slab.stiffness)))
            .collect();
        let on = Conditions {
            laws: &laws,
            gaps: &gaps,
            starts: &starts,
            pulls: &pulls,
        };
        let mut forces = self.forces.clone();
        let mut motions = shared.motions(ahead);
        let accuracy = (REDUCED_SHARE * self.report.residual).clamp(REDUCED_FINEST, REDUCED_COARSEST);
        let sweeps = reduced::solve(
            &shared.compliance,
            &on,
            accuracy,
            &mut self.face,
            &mut forces,
            &mut motions,
        );
        if std::env::var("DBG").is_ok() {
            eprintln!("DBG rounds {sweeps} rows {}", forces.len());
        }
        forces
    }

    /// Takes the step of this iteration; decides what comes next.
    fn take(
        &mut self,
        shared: &Shared<'_, '_>,
        forces: Vec<f64>,
        pressed: Vec<Vec3>,
        step: Vec<Vec3>,
        product: &[Vec3],
    ) {
        let tolerance = self.path.tolerance;
        self.iterations += 1;
        self.report.outer_iterations += 1;
        let u: Vec<Vec3> = self.state.u.iter().zip(&step).map(|(u, d)| u + d).collect();
        let ku: Vec<Vec3> = self.state.ku.iter().zip(product).map(|(k, d)| k + d).collect();
        let residual: Vec<Vec3> = pressed.iter().zip(product).map(|(q, k)| q - k).collect();
        let change = relative_change(&forces, &self.forces);
        self.forces.clone_from(&forces);
        let size = self.size(shared);
        let norm = residual.iter().map(Vec3::norm_squared).sum::<f64>().sqrt();
        self.report.residual = if size > 0.0 { norm / size } else { 0.0 };
        self.report.traction_change = change;
        self.report.history.push(self.report.residual);
        if std::env::var("DBG").is_ok() {
            let n = shared.compliance.spots.iter().filter(|s| forces[s.first] > 0.0).count();
            eprintln!("DBG {} it {} residual {:.2e} change {change:.1e} spots {} pressed {n}", self.path.name, self.iterations, self.report.residual, shared.compliance.spots.len());
        }
        // An early iterate may be far off without harm.
        let ran_away = self.iterations > EARLY
            && u.iter().any(|u| !(u.norm() <= shared.farthest_mm));
        let settled = !ran_away && self.report.residual <= tolerance && self.missing(shared, &u).is_empty();
        if settled || ran_away || self.iterations == self.path.max_outer {
            self.state.u = u;
            self.state.ku = ku;
            self.keep(shared);
            if !settled {
                let reason = if ran_away {
                    "a part runs away: nothing holds it against its load".to_owned()
                } else {
                    format!(
                        "residual {:.1e} after {} iterations",
                        self.report.residual, self.iterations
                    )
                };
                self.fail(shared, &reason);
                return;
            }
            let load = Load {
                forces: vec![],
                pull: vec![],
                laws: self.path.laws,
            };
            self.report.dissipation_nmm += shared.system.dissipation(&self.state, &load);
            if self.report.increments == self.path.increments {
                self.end(shared);
            } else {
                self.begin(shared);
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
        let inner = shared.nodal(&self.forces);
        for n in 0..inner.len() {
            if !shared.system.held[n] {
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

    /// Puts the forces of the rows into the memory of the points.
    fn keep(&mut self, shared: &Shared<'_, '_>) {
        let points = shared.system.interfaces.points();
        for (p, m) in points.iter().zip(&mut self.state.memory) {
            *m = Memory {
                pressure: 0.0,
                shear: Vec3::zeros(),
                bound: 0.0,
                start: m.start,
            };
            if self.path.laws[p.set] == Law::Bonded {
                m.bound = f64::INFINITY;
            }
        }
        for (row, f) in shared.compliance.rows.iter().zip(&self.forces) {
            match *row {
                Row::Slab(k) => self.state.shrink[k] = -f,
                Row::Point(k, along) => {
                    let (p, m) = (&points[k], &mut self.state.memory[k]);
                    if along == p.normal {
                        m.pressure = f / p.area;
                        m.bound = self.path.laws[p.set].friction() * m.pressure;
                    } else {
                        m.shear += along * (f / p.area);
                    }
                }
            }
        }
    }
}

fn relative_change(new: &[f64], old: &[f64]) -> f64 {
    let (mut changed, mut size) = (0.0, 0.0);
    for (k, n) in new.iter().enumerate() {
        let o = old.get(k).copied().unwrap_or(0.0);
        changed += (n - o).powi(2);
        size += n.powi(2);
    }
    if size > 0.0 { (changed / size as f64).sqrt() } else { 0.0 }
}

/// Follows descents to their ends side by side.
pub(crate) fn follow(shared: &mut Shared<'_, '_>, descents: &mut [Descent<'_>]) {
    let system = shared.system;
    let ready = system.ready.borrow();
    loop {
        let mut going: Vec<&mut Descent<'_>> =
            descents.iter_mut().filter(|d| !d.is_done).collect();
        if going.is_empty() {
            return;
        }
        let residuals: Vec<Vec<Vec3>> = going.iter().map(|d| d.residual.clone()).collect();
        let freely = ready.precondition(&residuals);
        let ahead: Vec<Vec<Vec3>> = going
            .iter()
            .zip(&freely)
            .map(|(d, w)| d.state.u.iter().zip(w).map(|(u, w)| u + w).collect())
            .collect();
        let new = wanted(shared, &going, &ahead);
        let count = shared.compliance.rows.len();
        if !new.is_empty() {
            let points = system.interfaces.points();
            let t0 = std::time::Instant::now();
            shared
                .compliance
                .add(&ready, points, &system.slabs, &new);
            if std::env::var("DBG").is_ok() {
                eprintln!("DBG added {} points in {:.2} s", new.len(), t0.elapsed().as_secs_f64());
            }
        }
        let more = shared.compliance.rows.len() - count;
        let mut forces = vec![];
        let mut pushed = vec![];
        for (d, ahead) in going.iter_mut().zip(&ahead) {
            d.forces.extend(std::iter::repeat_n(0.0, more));
            for it in &mut d.history {
                it.forces.extend(std::iter::repeat_n(0.0, more));
            }
            let next = d.reduce(shared, ahead);
            let changes: Vec<f64> = next.iter().zip(&d.forces).map(|(n, o)| n - o).collect();
            pushed.push(shared.nodal(&changes));
            forces.push(next);
        }
        let under = ready.precondition(&pushed);
        let steps: Vec<Vec<Vec3>> = freely
            .iter()
            .zip(&under)
            .map(|(w, v)| w.iter().zip(v).map(|(w, v)| w + v).collect())
            .collect();
        let products = ready.apply(&steps, None);
        let all = going.iter_mut().zip(forces).zip(pushed);
        for (((d, forces), pushed), (step, product)) in all.zip(steps.into_iter().zip(&products)) {
            let pressed: Vec<Vec3> = d.residual.iter().zip(&pushed).map(|(r, p)| r + p).collect();
            d.report.linear_iterations += 2;
            d.take(shared, forces, pressed, step, product);
        }
    }
}

/// The points to take in next: all bonds, and the deepest of the others, no two of them side by side.
fn wanted(
    shared: &Shared<'_, '_>,
    going: &[&mut Descent<'_>],
    ahead: &[Vec<Vec3>],
) -> Vec<(usize, bool)> {
    let points = shared.system.interfaces.points();
    let mut depth: std::collections::BTreeMap<usize, f64> = std::collections::BTreeMap::new();
    for (d, u) in going.iter().zip(ahead) {
        for (k, deep) in d.missing(shared, u) {
            let at = depth.entry(k).or_insert(0.0);
            *at = at.max(deep);
        }
    }
    let mut order: Vec<(usize, f64)> = depth.into_iter().collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let mut taken = BTreeSet::new();
    let mut out = vec![];
    for (k, deep) in order {
        let nodes = || points[k].stencil.iter().map(|(a, _, _)| *a);
        let is_bond = deep == f64::INFINITY;
        if !is_bond && (out.len() >= MOST_NEW || nodes().any(|n| taken.contains(&n))) {
            continue;
        }
        taken.extend(nodes());
        out.push((k, shared.has_shear[points[k].set]));
    }
    out
}
