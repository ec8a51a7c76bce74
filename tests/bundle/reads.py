"""Opens an audit bundle with meshio and checks its contract.

Usage: reads.py FOLDER. The folder was written by `bicolumn export`. Checked here: node order and
positive volume of the ten-node tetrahedra, materials, supports, loads against the mesh, and the
equilibrium of the stored solution by an assembly that shares no code with the engine.
"""

import json
import pathlib
import sys

import meshio
import numpy as np

EDGES = [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)]  # VTK's quadratic tetrahedron


def quadrature():
    """Fourteen points, degree five (Walkington 2000), barycentric, weights summing to one."""
    points, weights = [], []
    for a, w in [(0.31088591926330060980, 0.11268792571801585080), (0.092735250310891226402, 0.073493043116361949544)]:
        for i in range(4):
            p = [a] * 4
            p[i] = 1 - 3 * a
            points.append(p)
            weights.append(w)
    a, w = 0.045503704125649649492, 0.042546020777081466438
    for i in range(4):
        for j in range(i):
            p = [a] * 4
            p[i] = p[j] = 0.5 - a
            points.append(p)
            weights.append(w)
    return np.array(points), np.array(weights)


def shape_gradients(lam):
    """d(shape)/d(barycentric), 10 x 4."""
    g = np.zeros((10, 4))
    for i in range(4):
        g[i, i] = 4 * lam[i] - 1
    for k, (i, j) in enumerate(EDGES):
        g[4 + k, i] = 4 * lam[j]
        g[4 + k, j] = 4 * lam[i]
    return g


def internal_forces(x, tets, lame_l, lame_m, u):
    """Nodal forces of a displacement field, shape (nodes, 3)."""
    f = np.zeros_like(x)
    volume = np.zeros(len(tets))
    points, weights = quadrature()
    for lam, w in zip(points, weights):
        g = shape_gradients(lam)
        g = g[:, 1:] - g[:, :1]
        xe = x[tets]
        jac = np.einsum("nak,ai->nki", xe, g)
        det = np.linalg.det(jac)
        assert (det > 0).all(), "an element is turned inside out"
        grad = np.einsum("ai,nik->nak", g, np.linalg.inv(jac))
        du = np.einsum("nak,nal->nkl", u[tets], grad)
        strain = 0.5 * (du + du.transpose(0, 2, 1))
        stress = 2 * lame_m[:, None, None] * strain
        trace = np.trace(strain, axis1=1, axis2=2) * lame_l
        for d in range(3):
            stress[:, d, d] += trace
        scale = w * det / 6
        volume += scale
        fe = np.einsum("n,nkl,nal->nak", scale, stress, grad)
        np.add.at(f, tets, fe)
    return f, volume


def main(folder):
    folder = pathlib.Path(folder)
    mesh = meshio.read(folder / "mesh.vtu")
    model = json.loads((folder / "model.json").read_text())
    solution = meshio.read(folder / "solution.vtu")
    assert [c.type for c in mesh.cells] == ["tetra10"], [c.type for c in mesh.cells]
    tets = mesh.cells[0].data
    x = mesh.points.astype(float)
    material = np.asarray(mesh.cell_data["material"][0]).ravel().astype(int)
    assert set(map(str, np.unique(material))) <= set(model["materials"]), "a material is missing"
    assert np.allclose(solution.points, x), "mesh and solution differ"

    young = {int(k): m["young_mpa"] for k, m in model["materials"].items()}
    poisson = {int(k): m["poisson"] for k, m in model["materials"].items()}
    e = np.array([young[m] for m in material])
    nu = np.array([poisson[m] for m in material])
    lame_l, lame_m = e * nu / ((1 + nu) * (1 - 2 * nu)), e / (2 * (1 + nu))

    held = np.zeros((len(x), 3), bool)
    for support in model["fixed"]:
        held[np.ix_(support["nodes"], support["dofs"])] = True
    assert held.any()
    names = [load["name"] for load in model["loads"]]
    assert names and model["interfaces"] == []
    for load in model["loads"]:
        u = np.asarray(solution.point_data["displacement_" + load["name"]], float)
        assert u.shape == x.shape
        stress = solution.point_data.get("stress_" + load["name"])
        if stress is None:
            stress = solution.cell_data["stress_" + load["name"]][0]
        assert np.asarray(stress).shape[1] == 6
        applied = np.zeros_like(x)
        for node, fx, fy, fz in load["forces"]:
            applied[int(node)] += (fx, fy, fz)
        inner, volume = internal_forces(x, tets, lame_l, lame_m, u)
        residual = (inner - applied)[~held]
        relative = np.linalg.norm(residual) / np.linalg.norm(applied)
        reaction = (inner - applied)[held.all(axis=1)].sum(axis=0)
        balance = np.linalg.norm(reaction + applied.sum(axis=0)) / max(np.abs(applied).sum(), 1e-30)
        print(f"{load['name']}: free residual {relative:.1e}, force balance {balance:.1e}")
        assert relative < 1e-6, "the stored solution does not solve the bundled model"
        assert balance < 1e-8
    print(f"{len(tets)} tetrahedra, {len(x)} nodes, {volume.sum():.1f} mm3, {len(names)} load cases: the bundle holds")


if __name__ == "__main__":
    main(sys.argv[1])
