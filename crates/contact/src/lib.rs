//! Interfaces that press, slide and lift: unilateral contact with Coulomb friction, threads, screw preload.
//!
//! Door: [`solve`] takes a problem on a split mesh, the laws of its interfaces and the steps that
//! prepare it (preload, clamp), and gives the displacement of every load case from the prepared state.
//!
//! Method: laws act at the corners of facet pairs whose nodes match, weighted by the corner's linear hat function and
//! integrated at seven points a facet. Every iteration solves the contact exactly, friction included, with the
//! preconditioner in place of the structure's stiffness (module `iteration`; the reduced problem with its semismooth
//! Newton steps: module `reduced`). Opening, closing, sticking and slipping so cost no new preconditioner, and all load
//! cases share the sweeps over the matrix.
//!
//! # Example
//! Two cubes of 1 mm, one on the other, pressed by p = 3 MPa. Without lateral contraction the pressure between them is p
//! everywhere, and the top moves down by p h (1/E₁ + 1/E₂).
//! ```
//! use bicolumn_base::{Fragment, Part, PlateSite, Tissue, Vec3};
//! use bicolumn_contact::{ContactOptions, Interfaces, Law, solve};
//! use bicolumn_mesh::{PairKind, SurfaceName, TetMesh, split_kinds};
//! use bicolumn_model::{LoadCase, Material, Patch, Problem, Support, nodes_where};
//!
//! // Each cube in six tetrahedra along its diagonal (Kuhn).
//! let at = |x: u32, y: u32, z: u32| x + 2 * y + 4 * z;
//! let vertices = (0..12).map(|v| Vec3::new((v % 2) as f64, (v / 2 % 2) as f64, (v / 4) as f64));
//! let mut tets = vec![];
//! for z in [0, 1] {
//!     for path in [[1, 2, 4], [2, 1, 4], [1, 4, 2], [4, 1, 2], [2, 4, 1], [4, 2, 1]] {
//!         let [b, c] = [path[0], path[0] + path[1]].map(|k| at(k & 1, k >> 1 & 1, z + (k >> 2)));
//!         tets.push([at(0, 0, z), b, c, at(1, 1, z + 1)]);
//!     }
//! }
//! let bone = Part::Bone(Fragment::Proximal, Tissue::Cortical);
//! let plate = Part::Plate(PlateSite::Medial);
//! let top = SurfaceName::Other(1);
//! let mesh = TetMesh::from_straight_tets(
//!     vertices.collect(),
//!     &tets,
//!     |tet| if tet < 6 { bone } else { plate },
//!     |x, _| if x.z > 1.9 { top } else { SurfaceName::Other(0) },
//!     |middle, _| middle,
//! )?;
//! let split = split_kinds(&mesh, &[PairKind::PlateOnBone])?;
//!
//! let (p, young) = (3.0, [1_000.0, 2_000.0]);
//! let materials = young.map(|e| Material::new("test", e, 0.0, "invented")).to_vec();
//! let base = Support::clamp("base", nodes_where(&split.mesh, |x| x.z < 1e-9));
//! let load = LoadCase::new("press", []);
//! let load = load.with_pressure(&split.mesh, &Patch::on(&split.mesh, top)?, p);
//! let mesh = std::sync::Arc::new(split.mesh.clone());
//! let problem = Problem::new(mesh, materials, [base], vec![load])?;
//!
//! let interfaces = Interfaces::new(&split, Law::Frictional { mu: 0.3 });
//! let found = solve(&problem, &interfaces, &[], &[], &ContactOptions::default())?;
//! assert!(found.cases[0].is_converged());
//! for t in &found.tractions[0] {
//!     assert!((t.pressure_mpa - p).abs() < 1e-4 * p);
//! }
//! let exact = -p * (1.0 / young[0] + 1.0 / young[1]);
//! for n in nodes_where(problem.mesh(), |x| x.z > 1.999) {
//!     let u = found.total.displacement[0][n as usize];
//!     assert!((u.z - exact).abs() < 1e-4 * exact.abs());
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Known limits
//! Small sliding: facet pairs and normals stay those of the mesh. One coefficient of friction. Pressures at
//! single corners swing about their mean with the pattern of the facets; areas and resultants do not. The
//! compliances between the points that press, and all those of threads, fill a dense matrix: thousands of points
//! cost memory and time. A stiff part with friction that next to nothing else holds may not converge; the report
//! then says so.
#![cfg_attr(test, allow(clippy::unwrap_used))]

mod anderson;
mod candidates;
mod compliance;
mod condensed;
mod dense;
mod forecast;
mod history;
mod increment;
pub mod interfaces;
mod iteration;
pub mod law;
pub mod options;
mod patches;
mod path;
mod point;
pub mod preload;
mod reduced;
pub mod report;
pub mod solution;
mod stabilisation;
mod state;
mod system;

pub use interfaces::Interfaces;
pub use law::Law;
pub use options::{ContactOptions, Step};
pub use preload::Preload;
pub use report::{CaseReport, SetReport, Status, Traction};
pub use solution::{ContactError, ContactSolution, solve, solve_with_forecast};
