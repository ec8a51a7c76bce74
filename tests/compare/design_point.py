"""A whole design point against general libraries on the same meshes, in one run.

    target/release/bicolumn export --point 1 --out BUNDLE JOB
    ../compare-venv/bin/python tests/compare/design_point.py BUNDLE JOB --point 1 [--threads 2] [--bicolumn PATH]

Ours: the stages "solve" and "measure" of `bicolumn run`, without error estimates, intact bone included, before and after
the others. Theirs: scikit-fem's shape functions and assembly, MKL PARDISO for all load cases, numpy for stress recovery
and for the definitions of tests/bundle/measures.py, on construct and intact bone. Not counted on either side: meshing
(the meshes are ours), reading and writing files, elasticity tensors. Theirs computes fewer responses than ours: screw
forces, motion of the fracture, stress beyond the plates' ends and at their last screws, both on the intact bone too.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import scipy.sparse as sp

sys.path.insert(0, str(Path(__file__).parents[1] / "bundle"))
import measures
from skfem import Basis, ElementTetP2, MeshTet2
from solves import stiffness_of

# Elements assembled at once: a bound of memory.
CHUNK = 40_000
# Largest difference from our displacement, over the largest: beyond it something else was solved.
SAME = 1e-5


def ours(arguments):
    """Seconds of the stages of one design point."""
    with tempfile.TemporaryDirectory() as folder:
        command = [arguments.bicolumn, "run", arguments.job, "--points", str(arguments.point), "--out", folder + "/out"]
        command += ["--threads", str(arguments.threads), "--set", "solve.error_estimate=false", "--quiet"]
        # Points that were not asked for are left, and the exit status says so.
        subprocess.run(command, check=False, stdout=subprocess.DEVNULL)
        record = json.loads(next(Path(folder).glob("out/points/*/record.json")).read_text())
    assert record["status"]["state"] == "done", record["status"]
    stages = {stage["name"]: stage["seconds"] for stage in record["stages"]}
    print("ours: " + ", ".join(f"{name} {seconds:.2f} s" for name, seconds in stages.items()), flush=True)
    return stages["solve"] + stages["measure"]


class Theirs:
    """Seconds by stage, and the displacements found, of one model of the bundle."""

    def __init__(self, model):
        self.model, self.seconds = model, {}
        mesh = MeshTet2(model.x.T, model.tets.T)
        self.timed("assembly", lambda: self.assemble(mesh))
        self.timed("solution", self.solve)

    def timed(self, name, do):
        start = time.perf_counter()
        out = do()
        self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start
        return out

    def assemble(self, mesh):
        model = self.model
        count = len(model.tets)
        chunks = [np.arange(k, min(k + CHUNK, count)) for k in range(0, count, CHUNK)]
        parts = [stiffness_of(mesh, model.stiffness, model.points, own) for own in chunks]
        basis = Basis(mesh, ElementTetP2())
        at = basis.doflocs.T[basis.element_dofs.T]
        nearest = np.linalg.norm(at[:, :, None] - model.x[model.tets][:, None], axis=3).argmin(axis=2)
        node = np.take_along_axis(model.tets, nearest, axis=1)
        self.unknown = np.full((len(model.x), 3), -1)
        self.unknown[node.ravel()] = 3 * basis.element_dofs.T.ravel()[:, None] + np.arange(3)
        self.k = sum(parts[1:], parts[0])
        held = [self.unknown[np.ix_(f["nodes"], f["dofs"])].ravel() for f in model.posed["fixed"]]
        self.free = np.setdiff1d(np.arange(3 * basis.N), np.concatenate(held))

    def solve(self):
        from pypardiso import PyPardisoSolver

        model = self.model
        names = [load["name"] for load in model.posed["loads"]]
        b = np.zeros((self.k.shape[0], len(names)))
        for c, load in enumerate(model.posed["loads"]):
            for n, *force in load["forces"]:
                b[self.unknown[int(n)], c] += force
        solver = PyPardisoSolver(mtype=2)
        upper = sp.triu(self.k[self.free][:, self.free], format="csr")
        solver.factorize(upper)
        found = np.zeros_like(b)
        found[self.free] = solver.solve(upper, np.asfortranarray(b[self.free]))
        solver.free_memory(everything=True)
        self.displacement = {name: found[self.unknown, c] for c, name in enumerate(names)}

    def check(self):
        """The largest difference from the engine's displacement, over the largest of its load case."""
        off = 0.0
        for name, u in self.displacement.items():
            engine = self.model.total(name)
            off = max(off, np.abs(u - engine).max() / np.abs(engine).max())
            self.model.solution.point_data["displacement_" + name] = u
        return off


def measured(construct, intact, told):
    """Recovery and responses of all load cases; the largest difference of a stress from the engine's."""
    model, bare = construct.model, intact.model
    places = {}
    for kind in ("bone", "plate"):
        own = np.char.startswith(model.part, kind + ".")
        places[kind] = set(measures.keys(model.x[np.unique(model.tets[own])]))
    faces = measures.FractureFaces(model, measures.FACE_MM)
    cortex, bare_cortex = measures.Cortex(model), measures.Cortex(bare)
    ends = []
    for plate in model.construct["plates"]:
        centres = measures.centres_beyond(model, bare, plate)
        searches = [measures.Balls(c, centres, measures.SEARCH_MM) for c in (cortex, bare_cortex)]
        name = "medial" if plate["name"] == "plate.medial" else "other"
        ends.append((name, centres, *searches, measures.Ring(model, bare, cortex, plate)))
    worst = 0.0
    for case in told:
        value = {r["name"]: r["value"] for r in case["responses"]}
        measures.check_screws(model, case, [], places)
        faces.motion(model, model.total(case["name"]))
        stress, bare_stress = cortex.stress(model.total(case["name"])), bare_cortex.stress(bare.total(case["name"]))
        for name, centres, search, bare_search, ring in ends:
            found, _ = measures.hottest(cortex, centres, search, stress)
            measures.hottest(bare_cortex, centres, bare_search, bare_stress)
            at_screw = ring.largest(stress)
            pairs = ((found, f"beyond_end_{name}_mpa"), (at_screw, f"last_screw_{name}_mpa"))
            worst = max([worst] + [abs(v / value[response] - 1) for v, response in pairs])
    return worst


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("bundle", type=Path)
    parser.add_argument("job")
    parser.add_argument("--point", type=int, default=1)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--bicolumn", default="target/release/bicolumn")
    arguments = parser.parse_args()
    for name in ("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = str(arguments.threads)

    before = ours(arguments)
    told = json.loads((arguments.bundle / "responses.json").read_text())["cases"]
    both = []
    for folder in (arguments.bundle, arguments.bundle / "intact"):
        theirs = Theirs(measures.Model(folder))
        off = theirs.check()
        print(
            f"theirs, {folder.name}: {len(theirs.free)} unknowns, "
            + ", ".join(f"{name} {seconds:.2f} s" for name, seconds in theirs.seconds.items())
            + f", displacement differs from ours by {off:.1e}",
            flush=True,
        )
        assert off < SAME, f"another model was solved: accepted {SAME:.0e}"
        both.append(theirs)
    start = time.perf_counter()
    worst = measured(*both, told)
    seconds = time.perf_counter() - start
    print(f"theirs, recovery and responses: {seconds:.2f} s, stresses within {100 * worst:.2f} % of ours")
    after = ours(arguments)
    total = sum(sum(t.seconds.values()) for t in both) + seconds
    print(f"\nours {before:.2f} and {after:.2f} s, theirs {total:.2f} s: theirs / ours {2 * total / (before + after):.1f}")


if __name__ == "__main__":
    main()
