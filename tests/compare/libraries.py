"""The solver against general libraries, on one audit bundle, in one run.

    python -m venv ../compare-venv && ../compare-venv/bin/pip install -r tests/compare/requirements.txt
    target/release/bicolumn export --point 5 --out BUNDLE jobs/first-look.toml
    ../compare-venv/bin/python tests/compare/libraries.py BUNDLE [--tolerance 1e-8] [--threads 2] [--skip NAME]

The libraries live outside the repository, in a virtual environment. Each prints seconds, iterations, the
true residual and the largest difference of its displacement from ours; then the ratios to ours. Seconds on
a shared machine mean little, the ratios of one run a little more. Ours runs twice, before and after the
others: how far the two lie apart says how far to trust the ratios.

What is compared: scikit-fem for assembly, MKL PARDISO, CHOLMOD (if scikit-sparse is installed) and PyAMG
smoothed aggregation with the six rigid-body modes for the solution. All solve the same matrix of the same
ten-node tetrahedra, with each element's own constants; straight-sided isotropic elements stand for them in
scikit-fem's timing only. Ends with an error where our displacement does not solve that matrix.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import meshio
import numpy as np
import scipy.sparse as sp

sys.path.insert(0, str(Path(__file__).parents[1] / "bundle"))
from reads import points_of, quadrature, stiffnesses

# Largest residual of our displacement in the matrix assembled here: beyond it the two are of different models.
SAME_MODEL = 1e-6


def read(folder):
    mesh = meshio.read(folder / "mesh.vtu")
    model = json.loads((folder / "model.json").read_text())
    if model["interfaces"]:
        sys.exit("bundles with interfaces are not linear: take one without")
    tets = mesh.cells_dict["tetra10"]
    elastic = stiffnesses(mesh, model, mesh.cell_data["material"][0].astype(int).ravel())
    fixed = np.unique(np.concatenate([(3 * np.array(f["nodes"])[:, None] + f["dofs"]).ravel() for f in model["fixed"]]))
    loads = []
    for load in model["loads"]:
        f = np.zeros((len(mesh.points), 3))
        for n, *force in load["forces"]:
            f[n] += force
        loads.append(f.ravel())
    return mesh.points, tets, points_of(mesh), elastic, fixed, np.array(loads).T


# The ten-node tetrahedron of VTK: corners, then edges 01 12 20 03 13 23.
EDGES = [(0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3)]


def gradients(x, l):
    """Gradients of the shape functions at one barycentric point of many elements, and det J."""
    d = np.zeros((10, 4))
    for i in range(4):
        d[i, i] = 4 * l[i] - 1
    for k, (i, j) in enumerate(EDGES):
        d[4 + k, i], d[4 + k, j] = 4 * l[j], 4 * l[i]
    local = d[:, 1:] - d[:, :1]
    jacobian = np.einsum("eai,aj->eij", x, local)
    det = np.linalg.det(jacobian)
    return np.einsum("aj,eji->eai", local, np.linalg.inv(jacobian)), det


def stiffness(points, tets, counts, elastic):
    """Written from the formula alone, in numpy: K_ab,ij = C_ikjl H_ab,kl with H the integral of grad N_a (x) grad N_b; each
    element by as many quadrature points as `counts` says."""
    n = 3 * len(points)
    total = sp.csr_matrix((n, n))
    parts = []
    for count in np.unique(counts):
        own = np.flatnonzero(counts == count)
        parts += [(count, own[k : k + 40_000]) for k in range(0, len(own), 40_000)]
    for count, part in parts:
        x = points[tets[part]]
        h = np.zeros((len(x), 10, 10, 3, 3))
        for l, w in zip(*quadrature(count)):
            g, det = gradients(x, l)
            h += np.einsum("e,eak,ebl->eabkl", w * det / 6, g, g, optimize=True)
        # As one product of matrices an element: rows (a, b), columns (i, j).
        c = elastic[part].transpose(0, 2, 4, 1, 3).reshape(len(x), 9, 9)
        k = (h.reshape(len(x), 100, 9) @ c).reshape(len(x), 10, 10, 3, 3).transpose(0, 1, 3, 2, 4)
        dofs = (3 * tets[part][:, :, None] + np.arange(3)).reshape(len(x), 30)
        rows = np.repeat(dofs, 30, axis=1).ravel()
        columns = np.tile(dofs, (1, 30)).ravel()
        total = total + sp.csr_matrix((k.ravel(), (rows, columns)), shape=(n, n))
    return total


def ours(arguments):
    """Seconds of assembly, set-up and iteration, and the iterations, from the project's own benchmark."""
    command = ["cargo", "bench", "-q", "-p", "bicolumn-solve", "--bench", "construct", "--"]
    if arguments.binary:
        command = [arguments.binary]
    command += [str(arguments.bundle.resolve()), str(arguments.threads), str(arguments.tolerance)]
    text = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    found = re.search(
        r"(\d+) unknowns, (\d+) right sides.*assembly ([\d.]+) s, set-up ([\d.]+) s, (\d+) iterations ([\d.]+) s", text
    )
    print(text.strip().split("\nresidual by")[0])
    sides, iterations = int(found[2]), int(found[5])
    return {"sides": sides, "assembly": float(found[3]), "setup": float(found[4]), "solve": float(found[6]), "iterations": iterations}


def distinct(loads):
    """Load cases that are not multiples of an earlier one, as ours solves them."""
    kept = []
    for k in range(loads.shape[1]):
        b = loads[:, k]
        if not any(np.linalg.norm(b - (a @ b) / (a @ a) * a) <= 1e-13 * np.linalg.norm(b) for a in (loads[:, j] for j in kept)):
            kept.append(k)
    return kept


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("bundle", type=Path)
    parser.add_argument("--tolerance", type=float, default=1e-8)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--skip", action="append", default=[], help="fem, pardiso, cholmod, pyamg")
    parser.add_argument("--binary", help="the built benchmark, to leave cargo out")
    arguments = parser.parse_args()
    for name in ("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = str(arguments.threads)

    first = ours(arguments)
    points, tets, counts, elastic, fixed, loads = read(arguments.bundle)
    k = stiffness(points, tets, counts, elastic)
    free = np.setdiff1d(np.arange(3 * len(points)), fixed)
    k = k[free][:, free].tocsr()
    k = ((k + k.T) * 0.5).tocsr()
    columns = distinct(loads[free])
    b = np.ascontiguousarray(loads[free][:, columns])
    solution = meshio.read(arguments.bundle / "solution.vtu")
    names = [l["name"] for l in json.loads((arguments.bundle / "model.json").read_text())["loads"]]
    reference = np.stack([solution.point_data[f"displacement_{names[c]}"].ravel()[free] for c in columns], axis=1)
    rest = np.max(np.linalg.norm(b - k @ reference, axis=0) / np.linalg.norm(b, axis=0))
    print(f"{len(free)} unknowns, {k.nnz} entries, {b.shape[1]} distinct right sides")
    print(f"our displacement in the matrix assembled here: residual {rest:.1e}", flush=True)
    if rest > SAME_MODEL:
        sys.exit(f"the matrix assembled here is of another model: residual {rest:.1e}, accepted {SAME_MODEL:.0e}")

    rows = []

    def note(name, setup, solve, iterations, u):
        residual = np.max(np.linalg.norm(b - k @ u, axis=0) / np.linalg.norm(b, axis=0))
        difference = np.max(np.abs(u - reference)) / np.max(np.abs(reference))
        rows.append((name, setup, solve))
        print(f"{name}: set-up {setup:.2f} s, solution {solve:.2f} s, {iterations} iterations, residual {residual:.1e}, difference from ours {difference:.1e}", flush=True)

    assembly = None
    if "fem" not in arguments.skip:
        import skfem
        from skfem.helpers import ddot, sym_grad, trace

        corners = points[: tets[:, :4].max() + 1]
        mesh = skfem.MeshTet(corners.T, tets[:, :4].T)
        start = time.perf_counter()
        basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementTetP2()), intorder=2)

        @skfem.BilinearForm
        def elasticity(u, v, w):
            e, f = sym_grad(u), sym_grad(v)
            return w["lam"] * trace(e) * trace(f) + 2 * w["mu"] * ddot(e, f)

        # Of isotropic elements, whatever the model's are: the time of an assembly does not depend on the constants.
        ones = np.ones((len(tets), basis.dx.shape[1]))
        elasticity.assemble(basis, lam=ones, mu=ones)
        assembly = time.perf_counter() - start
        print(f"scikit-fem assembly: {assembly:.2f} s", flush=True)

    if "pardiso" not in arguments.skip:
        from pypardiso import PyPardisoSolver

        solver = PyPardisoSolver(mtype=2)
        upper = sp.triu(k, format="csr")
        start = time.perf_counter()
        solver.factorize(upper)
        setup = time.perf_counter() - start
        start = time.perf_counter()
        u = solver.solve(upper, np.asfortranarray(b))
        note("PARDISO", setup, time.perf_counter() - start, 0, u)
        solver.free_memory(everything=True)

    if "cholmod" not in arguments.skip:
        try:
            from sksparse.cholmod import cholesky
        except ImportError:
            print("CHOLMOD: scikit-sparse is not installed, not measured")
        else:
            start = time.perf_counter()
            factor = cholesky(k.tocsc(), ordering_method="metis", mode="supernodal")
            setup = time.perf_counter() - start
            start = time.perf_counter()
            u = factor(b)
            note("CHOLMOD", setup, time.perf_counter() - start, 0, u)

    if "pyamg" not in arguments.skip:
        import pyamg

        nodes = free // 3
        x = points[nodes] - points.mean(axis=0)
        modes = np.zeros((len(free), 6))
        axis = free % 3
        for c in range(3):
            modes[axis == c, c] = 1
        for c, (i, j) in enumerate([(1, 2), (2, 0), (0, 1)]):
            modes[axis == i, 3 + c] = -x[axis == i, j]
            modes[axis == j, 3 + c] = x[axis == j, i]
        start = time.perf_counter()
        hierarchy = pyamg.smoothed_aggregation_solver(k.tobsr((3, 3)), B=modes, strength="symmetric", smooth="energy", max_coarse=500)
        setup = time.perf_counter() - start
        u, iterations = np.zeros_like(b), 0
        start = time.perf_counter()
        for c in range(b.shape[1]):
            history = []
            u[:, c] = hierarchy.solve(b[:, c], tol=arguments.tolerance, accel="cg", maxiter=300, residuals=history)
            iterations = max(iterations, len(history) - 1)
        note("PyAMG", setup, time.perf_counter() - start, iterations, u)

    second = ours(arguments)
    total = [run["setup"] + run["solve"] for run in (first, second)]
    mean = sum(total) / 2
    if not rows and assembly is None:
        return 0
    print(f"\nours, set-up and solution of {first['sides']} right sides: {total[0]:.2f} and {total[1]:.2f} s")
    if assembly:
        own = (first["assembly"] + second["assembly"]) / 2
        print(f"assembly, scikit-fem / ours: {assembly / own:.1f}")
    for name, setup, solve in rows:
        print(f"set-up and solution, {name} / ours: {(setup + solve) / mean:.1f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
