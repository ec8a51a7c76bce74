//! Measuring programs, in `examples/`; this library itself is empty.
//!
//! Each program's header states its command and the quantities it prints. Results stand in
//! `docs/performance.md` and `docs/verification.md`, with date and machine.
//!
//! | program | measures |
//! | --- | --- |
//! | `plan_constructs` | processor seconds to plan and check a construct |
//! | `layout_sweep` | designs that the geometry can build, and reasons for the others |
//! | `stage_table` | mesh quality and seconds by stage of the mesher |
//! | `sweep` | every quality figure of the mesher on random designs |
//! | `plate_on_bone` | cost of frictional plates against bonded ones |
//! | `screw_interface` | stiffness with bonded, threaded and smooth screws |
//! | `random_contact` | convergence of contact on random designs |
//! | `estimate_table` | forecast size of a mesh against the size that comes out |
//! | `effectivity` | estimated discretisation error against that of finer meshes |
//!
//! Benchmarks of the linear solver are in `crates/solve/benches`.
