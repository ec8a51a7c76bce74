"""Opens an audit bundle with meshio and checks its contract.

Usage: reads.py FOLDER. The folder was written by `bicolumn export`. Checked here: node order and
positive volume of the ten-node tetrahedra, materials, supports, loads against the mesh, and the
equilibrium of the stored solution by an assembly that shares no code with the engine.

Where there are interfaces: their nodal forces are integrated anew from the tractions at their corners;
every body must be in equilibrium under loads, reactions and those
forces; pressures must press, shear must stay within friction, gaps must be closed where pressed and open
nowhere by less than nothing, as found from the stored displacements.
"""

import json
import pathlib
import sys

import meshio
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

EDGES = [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)]  # VTK's quadratic tetrahedron


def towards_corners(other, weight):
    """Four points, each nearer to one corner, with the same coordinate of the other three."""
    return np.full((4, 4), other) + (1 - 4 * other) * np.eye(4), np.full(4, weight)


def quadrature(count):
    """Barycentric points and weights that sum to one, of the rules that the bundle states."""
    if count == 4:
        return towards_corners((5 - 5**0.5) / 20, 1 / 4)
    if count == 5:
        points, weights = towards_corners(1 / 6, 9 / 20)
        return np.vstack([points, np.full(4, 1 / 4)]), np.append(weights, -4 / 5)
    assert count == 8, f"no rule of {count} points is stated"
    fours = towards_corners(0.328, 0.18038082625955745), towards_corners(0.07934353236929739, 0.06961917374044255)
    return np.vstack([f[0] for f in fours]), np.concatenate([f[1] for f in fours])


def points_of(mesh):
    """How many points the stiffness of each element takes."""
    return np.asarray(mesh.cell_data["stiffness_points"][0]).ravel().astype(int)


def shape_gradients(lam):
    """d(shape)/d(barycentric), 10 x 4."""
    g = np.zeros((10, 4))
    for i in range(4):
        g[i, i] = 4 * lam[i] - 1
    for k, (i, j) in enumerate(EDGES):
        g[4 + k, i] = 4 * lam[j]
        g[4 + k, j] = 4 * lam[i]
    return g


def stiffnesses(mesh, model, material):
    """Stiffness tensors of all elements, (elements, 3, 3, 3, 3): those of their materials, or their own where
    the mesh has them."""
    cell = lambda name: np.asarray(mesh.cell_data[name][0], float)
    if "axis" in mesh.cell_data:
        return about_axes(cell("axis"), *(cell(k).ravel() for k in CONSTANTS))
    if "young_mpa" in mesh.cell_data:
        e, nu = cell("young_mpa").ravel(), cell("poisson").ravel()
    else:
        table = model["materials"]
        e = np.array([table[str(m)]["young_mpa"] for m in material])
        nu = np.array([table[str(m)]["poisson"] for m in material])
    lam, mu = e * nu / ((1 + nu) * (1 - 2 * nu)), e / (2 * (1 + nu))
    one = np.eye(3)
    volume = np.einsum("ij,kl->ijkl", one, one)
    shape = np.einsum("ik,jl->ijkl", one, one) + np.einsum("il,jk->ijkl", one, one)
    return lam[:, None, None, None, None] * volume + mu[:, None, None, None, None] * shape


CONSTANTS = ["young_axial_mpa", "young_transverse_mpa", "shear_axial_mpa", "poisson_axial", "poisson_transverse"]


def about_axes(axis, el, et, g, nu_l, nu_t):
    """Transverse isotropy: the inverse of the compliance in local axes, the third along `axis`, turned."""
    c = np.zeros((len(axis), 3, 3, 3, 3))
    for k in range(len(axis)):
        s = np.zeros((6, 6))
        s[0, 0] = s[1, 1] = 1 / et[k]
        s[2, 2] = 1 / el[k]
        s[0, 1] = s[1, 0] = -nu_t[k] / et[k]
        s[0, 2] = s[2, 0] = s[1, 2] = s[2, 1] = -nu_l[k] / el[k]
        # Order 11 22 33 12 23 13, engineering shear.
        s[3, 3] = 2 * (1 + nu_t[k]) / et[k]
        s[4, 4] = s[5, 5] = 1 / g[k]
        c[k] = np.linalg.inv(s)[VOIGT[:, :, None, None], VOIGT[None, None]]
    assert np.abs(np.linalg.norm(axis, axis=1) - 1).max() < 1e-9, "an axis is no unit vector"
    beside = np.where(np.abs(axis[:, :1]) < 0.6, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    first = np.cross(axis, beside)
    first /= np.linalg.norm(first, axis=1)[:, None]
    # frame[e, l, i]: component i of local axis l.
    frame = np.stack([first, np.cross(axis, first), axis], axis=1)
    for _ in range(4):
        # Turns the first index and puts it last: four times, and all are back in place.
        c = np.einsum("eabcd,eai->ebcdi", c, frame)
    return c


VOIGT = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2]])


def seen(tets, u, preloads, shortening):
    """What the elements see of a displacement, (elements, 10, 3): those at the cut of a tightened screw see
    their pulled nodes moved along its axis beside."""
    ue = u[tets]
    for screw, by in zip(preloads, shortening):
        own = np.array(screw["tets"])
        pulled = np.isin(tets[own], screw["pulled"])
        ue[own] += by * pulled[:, :, None] * np.array(screw["axis"])
    return ue


def triangle_rule():
    """Seven points, degree five (Radon 1948), barycentric, weights summing to one: the rule that the bundle
    states. On a curved facet the integrand is no polynomial, and another rule moves the forces a little."""
    root = 15**0.5
    points, weights = [[1 / 3] * 3], [9 / 40]
    for sign in (1, -1):
        a = (6 + sign * root) / 21
        for i in range(3):
            p = [a] * 3
            p[i] = 1 - 2 * a
            points.append(p)
            weights.append((155 + sign * root) / 1200)
    return np.array(points), np.array(weights)


def facet_shapes(lam):
    """The six shape functions of a quadratic triangle, and their derivatives by two coordinates."""
    a, b, c = lam
    n = np.array([a * (2 * a - 1), b * (2 * b - 1), c * (2 * c - 1), 4 * a * b, 4 * b * c, 4 * c * a])
    # Columns: along corner 0 to 1, and 0 to 2.
    d = np.array(
        [
            [1 - 4 * a, 1 - 4 * a],
            [4 * b - 1, 0],
            [0, 4 * c - 1],
            [4 * (a - b), -4 * b],
            [4 * c, 4 * b],
            [-4 * c, 4 * (a - c)],
        ]
    )
    return n, d


class Interfaces:
    """The operators of an audit bundle's interfaces, from their facet pairs alone."""

    def __init__(self, x, model):
        self.model = model["interfaces"]
        pairs = [np.array(i["pairs"]).reshape(-1, 12) for i in self.model]
        of_set = np.concatenate([np.full(len(p), k) for k, p in enumerate(pairs)])
        pairs = np.concatenate(pairs)
        self.a, self.b = pairs[:, :6], pairs[:, 6:]
        assert np.abs(x[self.a] - x[self.b]).max() < 1e-9, "the nodes of a pair do not match"
        # A corner is a node of side a over one of side b.
        keys = np.stack([np.repeat(of_set, 3), self.a[:, :3].ravel(), self.b[:, :3].ravel()], axis=1)
        self.corners, number = np.unique(keys, axis=0, return_inverse=True)
        self.number = number.reshape(-1, 3)
        # mass[f, c, m]: integral of the hat of corner c times the shape function of node m.
        self.mass = np.zeros((len(pairs), 3, 6))
        self.normal = np.zeros((len(self.corners), 3))
        for lam, w in zip(*triangle_rule()):
            n, d = facet_shapes(lam)
            slope = np.einsum("fmi,mk->fki", x[self.a], d)
            cross = np.cross(slope[:, 0], slope[:, 1])
            area = np.linalg.norm(cross, axis=1)
            self.mass += w * 0.5 * area[:, None, None] * lam[None, :, None] * n[None, None, :]
            for c in range(3):
                np.add.at(self.normal, self.number[:, c], w * 0.5 * lam[c] * cross)
        self.area = np.zeros(len(self.corners))
        np.add.at(self.area, self.number, self.mass.sum(axis=2))

    def first(self):
        """The first corner of each patch."""
        return np.unique(self.patch, return_index=True)[1]

    def over_patches(self, values):
        """Sums over each patch, at all its corners."""
        sums = np.zeros((self.patch.max() + 1, values.shape[1]))
        np.add.at(sums, self.patch, values)
        return sums[self.patch]

    def forces(self, traction, nodes):
        """Nodal forces of tractions at the corners that act on side b, and oppositely on side a."""
        f = np.zeros((nodes, 3))
        at_nodes = np.einsum("fcm,fci->fmi", self.mass, traction[self.number])
        np.add.at(f, self.b, at_nodes)
        np.add.at(f, self.a, -at_nodes)
        return f

    def jump(self, u):
        """Mean displacement of side b against side a over the patch of each corner."""
        moved = np.einsum("fcm,fmi->fci", self.mass, u[self.b] - u[self.a])
        sum_ = np.zeros((len(self.corners), 3))
        np.add.at(sum_, self.number, moved)
        return self.over_patches(sum_) / self.over_patches(self.area[:, None])

    def tractions(self, state, columns):
        """Checks what the corners are said to carry; returns the tractions on side b."""
        table = np.array(state["corners"], float)
        column = {name: k for k, name in enumerate(columns)}
        assert (table[:, :3].astype(int) == self.corners).all(), "the corners are others, or in another order"
        assert np.abs(table[:, column["area_mm2"]] / self.area - 1).max() < 1e-9, "areas"
        # Corners of one patch carry the same, about the patch's mean normal.
        _, self.patch = np.unique(table[:, column["patch"]].astype(int), return_inverse=True)
        for k in range(column["pressure_mpa"], len(columns)):
            assert (table[:, k] == table[self.first(), k][self.patch]).all(), f"{columns[k]} differs in a patch"
        normal = table[:, column["normal_x"] : column["normal_x"] + 3]
        mean = self.over_patches(self.normal)
        assert np.abs(normal - mean / np.linalg.norm(mean, axis=1)[:, None]).max() < 1e-9, "normals"
        pressure = table[:, column["pressure_mpa"]]
        shear = table[:, column["shear_x_mpa"] : column["shear_x_mpa"] + 3]
        largest = max(pressure.max(), 1e-30)
        for k, interface in enumerate(self.model):
            own = self.corners[:, 0] == k
            size = np.linalg.norm(shear[own], axis=1)
            if interface["law"] == "apart":
                assert (pressure[own] == 0).all() and (size == 0).all(), interface["name"]
            elif interface["law"] != "bonded":
                assert pressure[own].min() >= -1e-9 * largest, f"{interface['name']} pulls"
                held = interface["friction"] * pressure[own]
                if interface["law"] == "threaded":
                    # Friction bounds the part round the screw alone, but for the tip.
                    axis = np.array(interface["axis"])
                    on_mantle = np.abs(normal[own] @ axis) <= 0.5
                    round_ = np.cross(normal[own], axis)
                    round_ /= np.maximum(np.linalg.norm(round_, axis=1), 1e-30)[:, None]
                    size = np.where(on_mantle, np.abs(np.einsum("ci,ci->c", shear[own], round_)), size)
                assert (size <= held + 1e-6 * largest).all(), f"{interface['name']} holds more than friction"
        return table, column, pressure[:, None] * normal + shear


def check_gaps(interfaces, state, table, column, u):
    """Are gaps those of the displacements, closed where pressed, and nowhere below nothing?"""
    gap = table[:, column["gap_mm"]]
    normal = table[:, column["normal_x"] : column["normal_x"] + 3]
    pressure = table[:, column["pressure_mpa"]]
    found = np.einsum("ci,ci->c", interfaces.jump(u), normal)
    first = gap - found
    touching = np.array([i["law"] not in ("apart", "bonded") for i in interfaces.model])[interfaces.corners[:, 0]]
    # What the job leaves between the sides beforehand is one number for each interface.
    spread = max(np.ptp(first[interfaces.corners[:, 0] == k]) for k in range(len(interfaces.model)))
    pressed = touching & (pressure > 0)
    closed = np.abs(gap[pressed]).max() if pressed.any() else 0.0
    through = -gap[touching].min()
    print(f"    gaps as displaced to {spread:.1e} mm, closed to {closed:.1e} mm, overlap at most {max(through, 0):.1e} mm")
    assert spread < 1e-9 and closed < 1e-8 and through < 1e-8


def worst_body(x, tets, acting, held):
    """Largest imbalance of force and moment over the bodies that nothing holds, in N and N mm; how many
    they are. Bodies are what shares no node."""
    rows = np.repeat(tets[:, 0], 9)
    graph = coo_matrix((np.ones(len(rows)), (rows, tets[:, 1:].ravel())), (len(x), len(x)))
    count, body = connected_components(graph, directed=False)
    force, moment, loose = 0.0, 0.0, 0
    for k in range(count):
        own = body == k
        if held[own].any():
            continue
        loose += 1
        force = max(force, np.linalg.norm(acting[own].sum(axis=0)))
        arm = x[own] - x[own].mean(axis=0)
        moment = max(moment, np.linalg.norm(np.cross(arm, acting[own]).sum(axis=0)))
    return count, loose, force, moment


def internal_forces(x, tets, stiffness, ue, counts):
    """Nodal forces of the displacements that the elements see, shape (nodes, 3), and the elements' volumes; each
    element by as many points as `counts` says."""
    f = np.zeros_like(x)
    volume = np.zeros(len(tets))
    for count in np.unique(counts):
        own = np.flatnonzero(counts == count)
        for lam, w in zip(*quadrature(count)):
            g = shape_gradients(lam)
            g = g[:, 1:] - g[:, :1]
            jac = np.einsum("nak,ai->nki", x[tets[own]], g)
            det = np.linalg.det(jac)
            assert (det > 0).all(), "an element is turned inside out"
            grad = np.einsum("ai,nik->nak", g, np.linalg.inv(jac))
            du = np.einsum("nak,nal->nkl", ue[own], grad)
            strain = 0.5 * (du + du.transpose(0, 2, 1))
            stress = np.einsum("nijkl,nkl->nij", stiffness[own], strain)
            scale = w * det / 6
            volume[own] += scale
            np.add.at(f, tets[own], np.einsum("n,nkl,nal->nak", scale, stress, grad))
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

    stiffness = stiffnesses(mesh, model, material)

    held = np.zeros((len(x), 3), bool)
    for support in model["fixed"]:
        held[np.ix_(support["nodes"], support["dofs"])] = True
    assert held.any()
    names = [load["name"] for load in model["loads"]]
    assert names
    interfaces, contact = None, None
    if model["interfaces"]:
        interfaces = Interfaces(x, model)
        contact = json.loads((folder / "contact.json").read_text())
        assert [c["name"] for c in contact["cases"]] == names
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
        pushed, shortening = np.zeros_like(x), []
        if interfaces:
            state = next(c for c in contact["cases"] if c["name"] == load["name"])
            assert state["converged"], load["name"]
            shortening = state["shortening_mm"]
            table, column, traction = interfaces.tractions(state, contact["columns"])
            pushed = interfaces.forces(traction, len(x))
        sees = seen(tets, u, model["preloads"], shortening)
        inner, volume = internal_forces(x, tets, stiffness, sees, points_of(mesh))
        if interfaces:
            # What acts on the bodies: loads, and forces across interfaces.
            count, loose, force, moment = worst_body(x, tets, applied + pushed, held)
            size = np.abs(applied).sum()
            print(f"{load['name']}: {count} bodies, {loose} held by interfaces alone: out of balance by {force / size:.1e} of the load, by {moment / size:.1e} mm of it")
            # The engine lets the residual be 1e-7 of the load, as a norm.
            assert loose > 0 and force < 1e-7 * size and moment < 1e-5 * size
            check_gaps(interfaces, state, table, column, u)
        applied = applied + pushed
        residual = (inner - applied)[~held]
        relative = np.linalg.norm(residual) / np.linalg.norm(applied - pushed)
        reaction = (inner - applied)[held.all(axis=1)].sum(axis=0)
        balance = np.linalg.norm(reaction + applied.sum(axis=0)) / max(np.abs(applied).sum(), 1e-30)
        print(f"{load['name']}: free residual {relative:.1e}, force balance {balance:.1e}")
        assert relative < 1e-6, "the stored solution does not solve the bundled model"
        # Contact is solved to 1e-7 at best.
        assert balance < (1e-6 if interfaces else 1e-8)
    print(f"{len(tets)} tetrahedra, {len(x)} nodes, {volume.sum():.1f} mm3, {len(names)} load cases: the bundle holds")


if __name__ == "__main__":
    main(sys.argv[1])
