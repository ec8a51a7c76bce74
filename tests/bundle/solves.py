"""Solves an audit bundle again with other software and compares the displacements.

Usage: solves.py FOLDER. The folder was written by `bicolumn export`. Elements and assembly are
scikit-fem's, the linear solver is SciPy's conjugate gradients: nothing but the bundle's files comes from
the engine. They are preconditioned by the four-node tetrahedra of the same mesh (SciPy's sparse LU) and
Chebyshev smoothing, which decides how soon they stop, not where. Accepted: 1e-6 of the largest
displacement of each load case.

A model with interfaces is not solved again: its displacements are put into that stiffness matrix, and must
balance loads and interface forces in every free node. Accepted: 1e-6 of the load, as a norm.
"""

import json
import pathlib
import sys
import time

import meshio
import numpy as np
from scipy.sparse import csr_matrix, diags, kron, identity
from scipy.sparse.linalg import LinearOperator, cg, eigsh, splu
from reads import Interfaces, points_of, quadrature, seen, stiffnesses
from skfem import Basis, ElementTetP2, MeshTet2

ACCEPTED = 1e-6
EDGES = [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)]  # VTK's quadratic tetrahedron


def stiffness_of(mesh, stiffness, counts, elements):
    """K of some elements, each by as many points as `counts` says: on curved elements the integrand is no polynomial,
    and another rule than the one stated would move the answer."""
    parts = []
    for count in np.unique(counts[elements]):
        own = elements[counts[elements] == count]
        points, weights = quadrature(count)
        basis = Basis(mesh, ElementTetP2(), elements=own, quadrature=(points[:, 1:].T, weights / 6.0))
        parts.append(stiffness_matrix(basis, stiffness[own]))
    return sum(parts[1:], parts[0])


def stiffness_matrix(basis, stiffness):
    """K of unknowns 3 a + i, from scikit-fem's shape functions, geometry and quadrature.

    K_ab,ij = C_ikjl H_kl with H = integral of grad N_a (x) grad N_b and C the elements' stiffness.
    """
    gradient = [basis.basis[a][0].grad for a in range(10)]
    dofs = basis.element_dofs
    rows, columns, values = [], [], []
    for a in range(10):
        for b in range(10):
            h = np.einsum("iep,jep,ep->eij", gradient[a], gradient[b], basis.dx)
            k = np.einsum("eikjl,ekl->eij", stiffness, h)
            for i in range(3):
                for j in range(3):
                    rows.append(3 * dofs[a] + i)
                    columns.append(3 * dofs[b] + j)
                    values.append(k[:, i, j])
    size = 3 * basis.N
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return csr_matrix(entries, (size, size))


def from_corners(tets, count):
    """Interpolation from the corners to all nodes, and the corners' node numbers."""
    corners = np.unique(tets[:, :4])
    number = np.full(count, -1)
    number[corners] = np.arange(len(corners))
    pairs = {int(n): (int(n), int(n)) for n in corners}
    for tet in tets:
        for k, (i, j) in enumerate(EDGES):
            pairs[int(tet[4 + k])] = (int(tet[i]), int(tet[j]))
    rows = np.array(sorted(pairs))
    ends = np.array([pairs[n] for n in rows])
    half = np.full(len(rows), 0.5)
    shape = (count, len(corners))
    return csr_matrix((np.r_[half, half], (np.r_[rows, rows], number[ends.T.ravel()])), shape)


class Preconditioner:
    """Chebyshev smoothing of degree three before and after a correction by four-node tetrahedra."""

    def __init__(self, matrix, prolongation):
        self.matrix, self.prolongation = matrix, prolongation
        self.inverse = 1.0 / matrix.diagonal()
        root = diags(np.sqrt(self.inverse))
        top = eigsh(root @ matrix @ root, k=1, which="LA", tol=1e-2, return_eigenvectors=False)[0]
        self.high, self.low = 1.1 * top, 0.1 * top
        coarse = (prolongation.T @ matrix @ prolongation).tocsc()
        self.coarse = splu(
            coarse, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )

    def smooth(self, r):
        """Chebyshev's iteration for D^-1 K x = D^-1 r from zero (Saad 2003, algorithm 12.1)."""
        middle, half = 0.5 * (self.high + self.low), 0.5 * (self.high - self.low)
        sigma = middle / half
        rho = 1.0 / sigma
        step = self.inverse * r / middle
        x = step.copy()
        for _ in range(2):
            new = 1.0 / (2.0 * sigma - rho)
            step = new * rho * step + 2.0 * new / half * (self.inverse * (r - self.matrix @ x))
            x += step
            rho = new
        return x

    def __call__(self, r):
        x = self.smooth(r)
        rest = self.prolongation.T @ (r - self.matrix @ x)
        x = x + self.prolongation @ self.coarse.solve(rest)
        return x + self.smooth(r - self.matrix @ x)


def balance(folder, model, x, tets, solution, stiffness, unknown, free, parts):
    """Does K u balance loads and interface forces in the free nodes?"""
    interfaces = Interfaces(x, model)
    contact = json.loads((folder / "contact.json").read_text())
    basis, elastic, counts = parts
    for load, state in zip(model["loads"], contact["cases"]):
        u = np.asarray(solution.point_data["displacement_" + load["name"]], float)
        _, _, traction = interfaces.tractions(state, contact["columns"])
        acting = interfaces.forces(traction, len(x))
        applied = np.zeros_like(x)
        for n, fx, fy, fz in load["forces"]:
            applied[int(n)] += (fx, fy, fz)
        by_unknown = np.zeros(3 * basis.N)
        by_unknown[unknown] = u
        inner = stiffness @ by_unknown
        # Of tightened screws the elements at the cut see more than the displacement: their part apart.
        more = seen(tets, u, model["preloads"], state["shortening_mm"]) - u[tets]
        own = np.flatnonzero(np.abs(more).max(axis=(1, 2)) > 0)
        if len(own):
            at = np.zeros(3 * basis.N)
            local = stiffness_of(basis.mesh, elastic, counts, own)
            moved = np.zeros_like(u)
            for screw, by in zip(model["preloads"], state["shortening_mm"]):
                moved[screw["pulled"]] += by * np.array(screw["axis"])
            at[unknown] = moved
            inner += local @ at
        outer = np.zeros(3 * basis.N)
        outer[unknown] = applied + acting
        off = np.linalg.norm((inner - outer)[free]) / np.linalg.norm(applied)
        print(f"{load['name']}: K u against loads and interface forces, {off:.1e} of the load")
        assert off < ACCEPTED
    print("an independent stiffness matrix agrees")


def main(folder):
    folder = pathlib.Path(folder)
    model = json.loads((folder / "model.json").read_text())
    bundle = meshio.read(folder / "mesh.vtu")
    solution = meshio.read(folder / "solution.vtu")
    tets = bundle.cells[0].data
    x = bundle.points.astype(float)
    material = np.asarray(bundle.cell_data["material"][0]).ravel().astype(int)

    # The quadratic mesh takes corners and midside nodes in VTK's order.
    mesh = MeshTet2(x.T, tets.T)
    counts = points_of(bundle)
    basis = Basis(mesh, ElementTetP2())

    # Which unknown belongs to which node: by position, element by element, since nodes of an interface are
    # two at one place.
    at = basis.doflocs.T[basis.element_dofs.T]
    distance = np.linalg.norm(at[:, :, None] - x[tets][:, None], axis=3)
    nearest = distance.argmin(axis=2)
    assert distance.min(axis=2).max() < 1e-9, f"the unknowns lie off the nodes by {distance.min(axis=2).max():.1e} mm"
    node = np.take_along_axis(tets, nearest, axis=1)
    unknown = np.full((len(x), 3), -1)
    unknown[node.ravel()] = 3 * basis.element_dofs.T.ravel()[:, None] + np.arange(3)
    assert (unknown >= 0).all(), "a node without unknowns"
    assert (unknown[node][:, :, 0] == 3 * basis.element_dofs.T).all(), "a node with several unknowns"

    # Elements keep their order, so a value an element is a row of an array.
    elastic = stiffnesses(bundle, model, material)
    start = time.time()
    stiffness = stiffness_of(mesh, elastic, counts, np.arange(len(tets)))
    held = np.unique(np.concatenate([unknown[np.ix_(s["nodes"], s["dofs"])].ravel() for s in model["fixed"]]))
    free = np.setdiff1d(np.arange(3 * basis.N), held)
    if model["interfaces"]:
        balance(folder, model, x, tets, solution, stiffness, unknown, free, (basis, elastic, counts))
        return
    inner = stiffness[free][:, free].tocsr()
    assembled = time.time()
    # Interpolation by unknowns instead of nodes, held ones left out.
    by_node = kron(from_corners(tets, len(x)), identity(3), format="csr")
    order = np.empty(3 * basis.N, int)
    order[unknown.ravel()] = np.arange(3 * basis.N)
    prolongation = by_node[order[free]]
    prolongation = prolongation[:, prolongation.getnnz(axis=0) > 0]
    precondition = LinearOperator(inner.shape, Preconditioner(inner, prolongation))
    print(f"{len(free)} unknowns: assembled in {assembled - start:.0f} s, set up in {time.time() - assembled:.0f} s")

    worst = 0.0
    for load in model["loads"]:
        force = np.zeros(3 * basis.N)
        for n, fx, fy, fz in load["forces"]:
            force[unknown[int(n)]] += (fx, fy, fz)
        found = np.zeros(3 * basis.N)
        steps = []
        found[free], info = cg(inner, force[free], rtol=1e-10, M=precondition, maxiter=200, callback=lambda _: steps.append(0))
        assert info == 0, f"{load['name']}: no convergence"
        residual = np.linalg.norm(force[free] - inner @ found[free]) / np.linalg.norm(force[free])
        ours = np.asarray(solution.point_data["displacement_" + load["name"]], float)
        theirs = found[unknown]
        size = np.linalg.norm(theirs, axis=1).max()
        off = np.linalg.norm(ours - theirs, axis=1).max() / size
        print(f"{load['name']}: largest displacement {size:.6g} mm, largest difference {off:.1e} of it"
              f" ({len(steps)} iterations to {residual:.1e})")
        worst = max(worst, off)
    assert worst < ACCEPTED, f"the solutions differ by {worst:.1e}"
    print("an independent solution agrees")


if __name__ == "__main__":
    main(sys.argv[1])
