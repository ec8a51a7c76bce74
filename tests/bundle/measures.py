"""Computes responses of an audit bundle again, from the bundle alone, and compares them with `responses.json`.

Usage: measures.py FOLDER. The folder was written by `bicolumn export`. No code of the engine runs here, and samples lie
elsewhere than its own. Definitions are those of docs/reference/columns.md, files those of docs/reference/bundle.md.

Compared, for every load case:
- section forces and moments of every screw at every cut, from the nodal forces on the screw: 1e-6 of the largest of the
  load case, moments by a lever of 10 mm (both sides sum the same nodal forces);
- motion of the fracture, axial, shear and rotation, from samples of the faces at most 1 mm apart, as defined: 0.5 %, and
  3 % of motions below 10 um; printed beside it, samples half as far apart: what the rule itself is off by;
- the hot-spot beyond each plate's end, centres 0.25 mm apart, as defined: 1.5 % (balls filled by a finer lattice of its
  own);
- the stress at each plate's last screw, extrapolated to its wall, as defined: 1.5 % (ring on the facets of the intact
  bone's outside, thickness from their outlines);
- the hottest ball of the intact bone over the same centres: 1.5 %.
"""

import json
import pathlib
import sys

import meshio
import numpy as np
from reads import internal_forces, points_of, quadrature, seen, shape_gradients, stiffnesses
from scipy.spatial import cKDTree

EDGES = [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)]  # VTK's quadratic tetrahedron
BALL_MM = (3 / (2 * np.pi)) ** (1 / 3)  # its half holds 1 mm3
LEAST_MM3 = 0.25
COLLAR_MM = 1.0
MARGIN_MM = 5.0
SEARCH_MM, GRID_MM = 0.2, 0.1  # lattice that finds the hottest balls, and that fills them
REFILLED = 12
CENTRES_MM = 0.25
FACE_MM = 1.0
LEVER_MM = 10.0
DIRECTIONS, LINEAR, REACH_MM = 72, (0.4, 1.0), 12.0  # round the last screw; wall thicknesses from its wall
SCREWS, MOTION, SMALL_MOTION, SMALL_MM, HOTSPOT = 1e-6, 0.005, 0.03, 0.010, 0.015


class Model:
    """Mesh, construct and solution of one folder."""

    def __init__(self, folder):
        mesh = meshio.read(folder / "mesh.vtu")
        self.posed = json.loads((folder / "model.json").read_text())
        self.construct = json.loads((folder / "construct.json").read_text())
        self.solution = meshio.read(folder / "solution.vtu")
        self.x = mesh.points.astype(float)
        self.tets = mesh.cells[0].data.astype(int)
        number = np.asarray(mesh.cell_data["material"][0]).ravel().astype(int)
        self.part = np.array([self.construct["parts"][str(n)] for n in range(1, number.max() + 1)])[number - 1]
        self.stiffness = stiffnesses(mesh, self.posed, number)
        self.points = points_of(mesh)

    def total(self, case):
        """Displacements that stress and forces follow from."""
        return np.asarray(self.solution.point_data["displacement_" + case], float)

    def by_load(self, case):
        """Displacements by the loads alone: the same where nothing was tightened."""
        data = self.solution.point_data
        return np.asarray(data.get("displacement_by_load_" + case, data["displacement_" + case]), float)

    def facets(self, surface, accepted):
        """Six nodes of each facet of a surface whose part is accepted: corners, then the middles of 01, 12, 20."""
        rows = np.array(self.construct["surfaces"].get(surface, []), int).reshape(-1, 2)
        rows = rows[[accepted(p) for p in self.part[rows[:, 0]]]]
        middle = {frozenset(e): 4 + k for k, e in enumerate(EDGES)}
        local = []
        for opposite in range(4):
            a, b, c = [k for k in range(4) if k != opposite]
            local.append([a, b, c] + [middle[frozenset(e)] for e in [(a, b), (b, c), (c, a)]])
        return self.tets[rows[:, :1], np.array(local)[rows[:, 1]]]


def facet_samples(x, facets, spacing):
    """Points of six-node facets, each for a small triangle of at most that size: facet, shape functions (n, 6), place,
    area."""
    size = np.max([np.linalg.norm(x[facets[:, i]] - x[facets[:, j]], axis=1) for i, j in [(0, 1), (1, 2), (2, 0)]], axis=0)
    count = np.ceil(size / spacing).astype(int)
    which, shapes, places, areas = [], [], [], []
    for n in np.unique(count):
        own = np.flatnonzero(count == n)
        up = [((i + 1 / 3) / n, (j + 1 / 3) / n) for i in range(n) for j in range(n - i)]
        down = [((i + 2 / 3) / n, (j + 2 / 3) / n) for i in range(n) for j in range(n - i - 1)]
        for l1, l2 in up + down:
            l0 = 1 - l1 - l2
            shape = np.array([l0 * (2 * l0 - 1), l1 * (2 * l1 - 1), l2 * (2 * l2 - 1), 4 * l0 * l1, 4 * l1 * l2, 4 * l2 * l0])
            d1 = np.array([1 - 4 * l0, 4 * l1 - 1, 0, 4 * (l0 - l1), 4 * l2, -4 * l2])
            d2 = np.array([1 - 4 * l0, 0, 4 * l2 - 1, -4 * l1, 4 * l1, 4 * (l0 - l2)])
            at = x[facets[own]]
            cross = np.cross(np.einsum("a,fai->fi", d1, at), np.einsum("a,fai->fi", d2, at))
            which.append(own)
            shapes.append(np.tile(shape, (len(own), 1)))
            places.append(np.einsum("a,fai->fi", shape, at))
            areas.append(np.linalg.norm(cross, axis=1) / (2 * n * n))
    return np.concatenate(which), np.concatenate(shapes), np.concatenate(places), np.concatenate(areas)


# Screws


def keys(x):
    """Places by their bits."""
    return [p.tobytes() for p in np.ascontiguousarray(x)]


def off_axis(screw, x):
    """Distance from the axis, and along it from the entry."""
    r = x - np.array(screw["entry"])
    along = r @ np.array(screw["direction"])
    return np.linalg.norm(r - along[:, None] * np.array(screw["direction"]), axis=1), along


def on_heads_side(model, screw, nodes, places):
    """Nodes of a screw in its plate or in its head, not beyond the bone's surface."""
    x = model.x[nodes]
    off, along = off_axis(screw, x)
    beside = off > 0.5 * screw["diameter_mm"] + 0.01
    if screw["head"] == "on_bone":
        rim = set()
        for surface in model.construct["surfaces"]:
            facets = model.facets(surface, lambda p: p == screw["name"])
            if len(facets):
                middle = model.x[facets[:, :3]].mean(axis=1)
                facets = facets[off_axis(screw, middle)[0] > 0.5 * screw["diameter_mm"] + 0.01]
                rim.update(keys(model.x[facets.ravel()]))
        beside |= np.array([k in rim for k in keys(x)])
    bone, plate = (np.array([k in places[kind] for k in keys(x)]) for kind in ("bone", "plate"))
    return beside | (~bone & (plate | (along < 0)))


def cut(model, screw, name):
    """A point of the axis at a cut, and the function that tells nodes beyond it; `None` for nodes by the head's side."""
    entry, direction = np.array(screw["entry"]), np.array(screw["direction"])
    if name == "plate_underside":
        plate = next(p for p in model.construct["plates"] if p["name"] == screw["plate"])
        return entry - plate["stand_off_mm"] * direction, None
    if name == "bone_surface":
        return entry, None
    fracture = model.construct["fracture"]
    at, normal = (
        (np.array(fracture["centre"]), np.array(fracture["normal"]))
        if name == "fracture"
        else (np.array(fracture["split"]["at"]), np.array(fracture["split"]["normal"]))
    )
    side = lambda x: (x - at) @ normal
    tip = entry + screw["length_mm"] * direction
    head, end = side(entry), side(tip)
    return entry + (tip - entry) * head / (head - end), lambda x: side(x) * end > 0


def check_screws(model, case, shortening, places):
    """Forces and moments beyond each cut; the largest difference over the largest value."""
    ue = seen(model.tets, model.total(case["name"]), model.posed["preloads"], shortening)
    found = []
    for entry in case["screws"]:
        screw = next(s for s in model.construct["screws"] if s["name"] == entry["name"])
        own = np.flatnonzero(model.part == screw["name"])
        f, _ = internal_forces(model.x, model.tets[own], model.stiffness[own], ue[own], model.points[own])
        nodes = np.unique(model.tets[own])
        at, beyond = cut(model, screw, entry["cut"])
        is_beyond = beyond(model.x[nodes]) if beyond else ~on_heads_side(model, screw, nodes, places)
        far = nodes[is_beyond]
        moment = np.cross(model.x[far] - at, f[far]).sum(axis=0)
        assert np.abs(at - entry["at"]).max() < 1e-9, f"{entry['name']} is cut elsewhere"
        found.append((f[far].sum(axis=0), moment))
    ours = [np.array([entry[name] for entry in case["screws"]]) for name in ("force_n", "moment_nmm")]
    largest = [np.linalg.norm(o, axis=1).max() for o in ours]
    size = max(largest[0], largest[1] / LEVER_MM)
    off = [np.abs(o - np.array([f[k] for f in found])).max() for k, o in enumerate(ours)]
    return max(off[0], off[1] / LEVER_MM) / size


# Motion of the fracture


def rotation(places, weights, u):
    """Rotation of the rigid motion that fits best."""
    centre = weights @ places / weights.sum()
    r = places - centre
    inertia = np.einsum("n,nij->ij", weights, np.einsum("nk,nk->n", r, r)[:, None, None] * np.eye(3) - r[:, :, None] * r[:, None])
    return np.linalg.solve(inertia, weights @ np.cross(r, u))


class FractureFaces:
    """Points of the distal face with those straight across."""

    def __init__(self, model, spacing):
        normal = np.array(model.construct["fracture"]["normal"])
        self.hand = 1.0 if model.construct["side"] == "right" else -1.0
        lateral = np.array([0, 0, self.hand])
        lateral -= normal * (lateral @ normal)
        lateral /= np.linalg.norm(lateral)
        anterior = np.cross(normal, lateral)
        anterior *= np.sign(anterior[0])
        self.axes = np.array([normal, lateral, anterior])
        self.distal = model.facets("fracture.distal", lambda p: p.startswith("bone.distal"))
        self.proximal = model.facets("fracture.proximal", lambda p: p.startswith("bone.proximal"))
        self.of_distal = facet_samples(model.x, self.distal, spacing)
        self.of_proximal = facet_samples(model.x, self.proximal, spacing)
        plane = self.axes[1:].T
        # The proximal facets are flat: corners in the plane, and which of them holds a point.
        corners = model.x[self.proximal[:, :3]] @ plane
        at = self.of_distal[2] @ plane
        self.partner = np.full(len(at), -1)
        self.shape = np.zeros((len(at), 6))
        tree = cKDTree(at)
        middle = corners.mean(axis=1)
        reach = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
        for f, near in enumerate(tree.query_ball_point(middle, reach * 1.01)):
            near = np.array(near, int)
            if len(near) == 0:
                continue
            a, b, c = corners[f]
            l12 = np.linalg.solve(np.column_stack([b - a, c - a]), (at[near] - a).T).T
            l = np.column_stack([1 - l12.sum(axis=1), l12])
            inside = (l > -1e-9).all(axis=1)
            l, own = l[inside], near[inside]
            self.partner[own] = f
            self.shape[own, :3] = l * (2 * l - 1)
            self.shape[own, 3:] = 4 * l * np.roll(l, -1, axis=1)
        self.matched = self.partner >= 0
        self.plane = at[self.matched]

    def motion(self, model, u):
        """Responses by name, mm and degree."""
        moved = lambda facets, samples: np.einsum("na,nai->ni", samples[1], u[facets[samples[0]]])
        distal, proximal = moved(self.distal, self.of_distal), moved(self.proximal, self.of_proximal)
        turn = rotation(self.of_proximal[2], self.of_proximal[3], proximal)
        own = self.matched
        across = self.proximal[self.partner[own]]
        partner_u = np.einsum("na,nai->ni", self.shape[own], u[across])
        partner_x = np.einsum("na,nai->ni", self.shape[own], model.x[across])
        d = distal[own] - partner_u - np.cross(turn, self.of_distal[2][own] - partner_x)
        axial = -d @ self.axes[0]
        shear = np.linalg.norm(d + axial[:, None] * self.axes[0], axis=1)
        weights = self.of_distal[3][own]
        (l0, a0), (l1, a1) = self.plane.min(axis=0), self.plane.max(axis=0)
        l, a = self.plane.T
        regions = {
            "medial": l <= l0 + (l1 - l0) / 4,
            "lateral": l >= l1 - (l1 - l0) / 4,
            "anterior": a >= a1 - (a1 - a0) / 4,
            "posterior": a <= a0 + (a1 - a0) / 4,
            "mean": np.ones(len(l), bool),
        }
        found = {}
        for name, of in [("axial", axial), ("shear", shear)]:
            for region, inside in regions.items():
                found[f"motion_{name}_{region}_mm"] = np.average(of[inside], weights=weights[inside])
        found["motion_axial_max_mm"] = axial[np.abs(axial).argmax()]
        found["motion_shear_max_mm"] = shear.max()
        spin = (rotation(self.of_distal[2], self.of_distal[3], distal) - turn) * self.hand
        for axis, name in zip(self.axes, ["axial", "sagittal", "coronal"]):
            found[f"motion_rotation_{name}_deg"] = np.degrees(spin @ axis)
        return found


# Stress at a plate's end


class Cortex:
    """Recovered stress of the proximal fragment's cortex."""

    def __init__(self, model):
        self.model = model
        self.own = np.flatnonzero(model.part == "bone.proximal.cortical")
        self.tets = model.tets[self.own]
        self.corners = model.x[self.tets[:, :4]]
        # Stress is sampled at four points and carried to the nodes by the linear field through them.
        samples, _ = quadrature(4)
        nodes = np.vstack([np.eye(4), [0.5 * (np.eye(4)[i] + np.eye(4)[j]) for i, j in EDGES]])
        self.to_nodes = nodes @ np.linalg.inv(samples)
        self.gradients, self.volume = [], np.zeros(len(self.own))
        for lam in samples:
            g = shape_gradients(lam)
            g = g[:, 1:] - g[:, :1]
            jac = np.einsum("nak,ai->nki", model.x[self.tets], g)
            self.gradients.append(np.einsum("ai,nik->nak", g, np.linalg.inv(jac)))
            self.volume += np.linalg.det(jac) / 24

    def stress(self, u):
        """Stress at the mesh's nodes, (nodes, 3, 3): means over the elements around, weighted by volume."""
        at_samples = []
        for grad in self.gradients:
            du = np.einsum("nak,nal->nkl", u[self.tets], grad)
            strain = 0.5 * (du + du.transpose(0, 2, 1))
            at_samples.append(np.einsum("nijkl,nkl->nij", self.model.stiffness[self.own], strain))
        at_nodes = np.einsum("as,snij->naij", self.to_nodes, np.array(at_samples))
        sums, weights = np.zeros((len(self.model.x), 3, 3)), np.zeros(len(self.model.x))
        np.add.at(sums, self.tets, at_nodes * self.volume[:, None, None, None])
        np.add.at(weights, self.tets, self.volume[:, None])
        return sums / np.maximum(weights, 1e-300)[:, None, None]

    def lattice(self, low, high, step):
        """Lattice points of the cortex in a box: place, element (row of `tets`), barycentric coordinates."""
        box = self.corners.min(axis=1), self.corners.max(axis=1)
        near = np.flatnonzero((box[0] < high).all(axis=1) & (box[1] > low).all(axis=1))
        indices, element, coordinates = [], [], []
        for e in near:
            first = np.ceil(np.maximum(box[0][e], low) / step)
            last = np.floor(np.minimum(box[1][e], high) / step)
            index = np.stack(np.meshgrid(*map(np.arange, first, last + 1), indexing="ij"), axis=-1).reshape(-1, 3)
            a = self.corners[e]
            l = np.linalg.solve((a[1:] - a[0]).T, (step * index - a[0]).T).T
            l = np.column_stack([1 - l.sum(axis=1), l])
            inside = (l > -1e-9).all(axis=1)
            indices.append(index[inside])
            element.append(np.full(inside.sum(), e))
            coordinates.append(l[inside])
        # A point on a face lies in two elements.
        indices, first = np.unique(np.concatenate(indices), axis=0, return_index=True)
        return step * indices, np.concatenate(element)[first], np.concatenate(coordinates)[first]


def mises(stress):
    deviator = stress - np.trace(stress, axis1=1, axis2=2)[:, None, None] / 3 * np.eye(3)
    return np.sqrt(1.5 * np.einsum("nij,nij->n", deviator, deviator))


class Balls:
    """Means of the von Mises stress over balls round centres, filled with lattice points."""

    def __init__(self, cortex, centres, step):
        self.cortex = cortex
        places, self.element, l = cortex.lattice(centres.min(axis=0) - BALL_MM, centres.max(axis=0) + BALL_MM, step)
        edges = np.array([4 * l[:, i] * l[:, j] for i, j in EDGES]).T
        self.shape = np.hstack([l * (2 * l - 1), edges])
        self.inside = cKDTree(places).query_ball_point(centres, BALL_MM)
        self.enough = np.array([len(i) * step**3 >= LEAST_MM3 for i in self.inside])

    def means(self, stress):
        """By centre, of a field of Cortex.stress."""
        at_nodes = stress[self.cortex.tets[self.element]]
        values = mises(np.einsum("na,naij->nij", self.shape, at_nodes))
        return np.array([values[i].mean() if ok else np.nan for i, ok in zip(self.inside, self.enough)])


def hottest(cortex, centres, search, stress):
    """Largest mean over a ball, and its centre: of the hottest by a wide lattice, each filled again by a finer one."""
    means = search.means(stress)
    order = np.argsort(-np.nan_to_num(means))[:REFILLED]
    fine = [Balls(cortex, centres[k : k + 1], GRID_MM).means(stress)[0] for k in order]
    k = np.nanargmax(fine)
    return fine[k], centres[order[k]]


def radius(model, surface, level):
    """Of the circle whose area the outline of a surface of the bone at a level has."""
    facets = model.facets(surface, lambda p: p.endswith("cortical"))
    small = facets[:, [[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]]].reshape(-1, 3)
    x = model.x[small]
    x = x[(x[:, :, 1].min(axis=1) < level) & (x[:, :, 1].max(axis=1) >= level)]
    ends = []
    for i, j in [(0, 1), (1, 2), (2, 0)]:
        a, b = x[:, i], x[:, j]
        crosses = (a[:, 1] < level) != (b[:, 1] < level)
        t = (level - a[crosses, 1]) / (b[crosses, 1] - a[crosses, 1])
        ends.append(a[crosses] + t[:, None] * (b[crosses] - a[crosses]))
    ends = np.concatenate(ends)[:, [0, 2]] - np.array(model.construct["shaft_axis_at"])[[0, 2]]
    ends = ends[np.argsort(np.arctan2(ends[:, 1], ends[:, 0]))]
    after = np.roll(ends, -1, axis=0)
    area = 0.5 * np.abs((ends[:, 0] * after[:, 1] - ends[:, 1] * after[:, 0]).sum())
    return np.sqrt(area / np.pi)


def radii(intact, level):
    """Outer and inner, of circles of the areas of the tube's outlines."""
    return tuple(radius(intact, surface, level) for surface in ("bone.outer", "bone.inner"))


def is_apart(x, construct, screws, wall):
    """As far as `wall` from the walls of some screws and, where a plate touches the bone, 1 mm from its edge and from
    empty holes."""
    inside = np.zeros(len(x), bool)
    for s in screws:
        r, direction = x - np.array(s["entry"]), np.array(s["direction"])
        along = np.clip(r @ direction, -10, s["length_mm"])
        inside |= np.linalg.norm(r - along[:, None] * direction, axis=1) < 0.5 * s["diameter_mm"] + wall
    for p in construct["plates"]:
        if p["stand_off_mm"] > 0:
            continue
        along, across, depth = locate(p, x)
        half = 0.5 * p["width_mm"]
        beyond = np.maximum(np.abs(along - 0.5 * p["length_mm"]) - (0.5 * p["length_mm"] - half), 0)
        inside |= (np.abs(np.hypot(beyond, across) - half) < COLLAR_MM) & (depth < 7)
        for h in p["holes"]:
            if h["screw"] is None:
                r, axis = x - np.array(h["centre"]), np.array(h["axis"])
                up = r @ axis
                wall = np.linalg.norm(r - up[:, None] * axis, axis=1) - 0.5 * h["diameter_mm"]
                inside |= (np.abs(up) < 5) & (np.abs(wall) < COLLAR_MM)
    return ~inside


def locate(plate, x):
    """Along and across a plate, and below its tangent plane; beyond its ends the end tangents go on."""
    line = np.array(plate["centre_line"])
    along, at, tangent, normal = line[:, 0], line[:, 1:4], line[:, 4:7], line[:, 7:10]
    step = along[1] - along[0]
    _, near = cKDTree(at).query(x)
    s = np.einsum("ni,ni->n", x - at[near], tangent[near])
    last = len(along) - 1
    s = np.where(near == 0, np.minimum(s, step), np.where(near == last, np.maximum(s, -step), np.clip(s, -step, step)))
    r = x - at[near] - s[:, None] * tangent[near]
    across = np.einsum("ni,ni->n", r, np.cross(tangent[near], normal[near]))
    return along[near] + s, across, -np.einsum("ni,ni->n", r, normal[near])


def centres_beyond(model, intact, plate):
    """Points of the outer cortex beyond a plate's end, screws' neighbourhoods apart."""
    level = plate["end_level_mm"]
    outer, inner = radii(intact, level)
    facets = model.facets("bone.outer", lambda p: p == "bone.proximal.cortical")
    y = model.x[facets[:, :3], 1]
    facets = facets[(y.min(axis=1) <= level + 2 * outer) & (y.max(axis=1) >= level)]
    x = facet_samples(model.x, facets, CENTRES_MM)[2]
    x = x[(x[:, 1] - level <= 2 * outer) & (x[:, 1] >= level)]
    end, tangent, normal = (np.array(plate[k]) for k in ("end", "tangent", "normal"))
    axis = np.column_stack([np.full(len(x), model.construct["shaft_axis_at"][0]), x[:, 1], np.zeros(len(x))])
    x = x[(x - axis) @ normal > 0]
    across = (x - end) @ np.cross(tangent, normal)
    x = x[np.abs(across) <= 0.5 * (plate["width_mm"] + MARGIN_MM)]
    return x[is_apart(x, model.construct, model.construct["screws"], outer - inner)]


# Stress at a plate's last screw


class Ring:
    """Balls round the uppermost shaft screw of a plate, on the outside of the bone, at two distances from its wall."""

    def __init__(self, model, intact, cortex, plate):
        screws = model.construct["screws"]
        own = [s for s in screws if s["plate"] == plate["name"] and s["row"] == "shaft"]
        screw = max(own, key=lambda s: s["entry"][1])
        outer, inner = radii(intact, screw["entry"][1])
        axis = np.array(screw["direction"])
        up = np.array([0.0, 1.0, 0.0]) - axis * axis[1]
        up /= np.linalg.norm(up)
        angle = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
        radial = np.outer(np.cos(angle), up) + np.outer(np.sin(angle), np.cross(axis, up))
        self.distances = np.array(LINEAR) * (outer - inner)
        off = (0.5 * screw["diameter_mm"] + self.distances)[:, None, None] * radial
        starts = (np.array(screw["entry"]) - REACH_MM * axis + off).reshape(-1, 3)
        centres = enter(intact, starts, axis)
        others = [s for s in screws if s is not screw]
        self.counts = ~np.isnan(centres[:, 0])
        self.counts[self.counts] = is_apart(centres[self.counts], model.construct, others, 0.0)
        self.balls = Balls(cortex, centres[self.counts], GRID_MM)

    def largest(self, stress):
        """Stress at the wall by the straight line through both distances, the largest of all directions."""
        means = np.full(len(self.counts), np.nan)
        means[self.counts] = self.balls.means(stress)
        near, far = means.reshape(2, DIRECTIONS)
        first, second = self.distances
        return np.nanmax(near + (near - far) * first / (second - first))


def enter(intact, starts, direction):
    """Points where lines enter the bone's facets, each cut to sixteen flat triangles; not a number where one misses."""
    facets = intact.facets("bone.outer", lambda p: p.endswith("cortical"))
    near = np.linalg.norm(np.cross(intact.x[facets[:, 0]] - starts.mean(axis=0), direction), axis=1) < 2 * REACH_MM
    x = intact.x[facets[near]]
    # Sixteen flat triangles for each curved facet.
    corners = []
    n = 4
    for i in range(n):
        for j in range(n - i):
            corners.append([(i, j), (i + 1, j), (i, j + 1)])
            if i + j < n - 1:
                corners.append([(i + 1, j), (i + 1, j + 1), (i, j + 1)])
    l1, l2 = np.moveaxis(np.array(corners), 2, 0) / n
    l0 = 1 - l1 - l2
    shape = np.stack([l0 * (2 * l0 - 1), l1 * (2 * l1 - 1), l2 * (2 * l2 - 1), 4 * l0 * l1, 4 * l1 * l2, 4 * l2 * l0], axis=-1)
    a, b, c = np.moveaxis(np.einsum("tva,fai->ftvi", shape, x).reshape(-1, 3, 3), 1, 0)
    found = np.full((len(starts), 3), np.nan)
    for k, start in enumerate(starts):
        # Moeller and Trumbore 1997, J Graph Tools 2:21.
        p = np.cross(direction, c - a)
        det = np.einsum("ni,ni->n", b - a, p)
        det = np.where(np.abs(det) < 1e-12, np.inf, det)
        u = np.einsum("ni,ni->n", start - a, p) / det
        q = np.cross(start - a, b - a)
        v = q @ direction / det
        along = np.einsum("ni,ni->n", c - a, q) / det
        hit = (u > -1e-9) & (v > -1e-9) & (u + v < 1 + 1e-9) & (along > 0) & (along < 2 * REACH_MM)
        if hit.any():
            found[k] = start + along[hit].min() * direction
    return found


def main(folder):
    folder = pathlib.Path(folder)
    model, intact = Model(folder), Model(folder / "intact")
    told = json.loads((folder / "responses.json").read_text())["cases"]
    contact = folder / "contact.json"
    contact = {c["name"]: c for c in json.loads(contact.read_text())["cases"]} if contact.exists() else {}
    assert [c["name"] for c in told] == [load["name"] for load in model.posed["loads"]]
    assert model.construct["screws"] and model.construct["plates"] and model.construct["fracture"]

    places = {}
    for kind in ("bone", "plate"):
        own = np.char.startswith(model.part, kind + ".")
        places[kind] = set(keys(model.x[np.unique(model.tets[own])]))
    faces, finer = FractureFaces(model, FACE_MM), FractureFaces(model, 0.5 * FACE_MM)
    cortex, intact_cortex = Cortex(model), Cortex(intact)
    ends = []
    for plate in model.construct["plates"]:
        name = "medial" if plate["name"] == "plate.medial" else "other"
        centres = centres_beyond(model, intact, plate)
        searches = Balls(cortex, centres, SEARCH_MM), Balls(intact_cortex, centres, SEARCH_MM)
        ring = Ring(model, intact, cortex, plate)
        ends.append((name, centres, *searches, ring))

    failed = []
    for case in told:
        value = {r["name"]: r["value"] for r in case["responses"]}
        place = {r["name"]: r["at"] for r in case["responses"]}
        shortening = contact[case["name"]]["shortening_mm"] if case["name"] in contact else []

        def compare(what, off, accepted):
            if not off <= accepted:
                failed.append(f"{case['name']}: {what} is off by {off:.2e}, accepted {accepted:.1e}")

        off = check_screws(model, case, shortening, places)
        compare("a screw", off, SCREWS)
        worst = {"large": 0.0, "small": 0.0, "rule": 0.0}
        u = model.by_load(case["name"])
        by_finer = finer.motion(model, u)
        for name, found in faces.motion(model, u).items():
            ours = value[name]
            is_small = abs(ours) < SMALL_MM and name.endswith("_mm")
            change = abs(found - ours) / abs(ours)
            compare(name, change, SMALL_MOTION if is_small else MOTION)
            kind = "small" if is_small else "large"
            worst[kind] = max(worst[kind], change)
            if not is_small:
                worst["rule"] = max(worst["rule"], abs(by_finer[name] - ours) / abs(ours))
        hot = []
        stress = cortex.stress(model.total(case["name"]))
        bare_stress = intact_cortex.stress(intact.total(case["name"]))
        for name, centres, search, bare_search, ring in ends:
            response, bare = f"beyond_end_{name}_mpa", f"beyond_end_intact_{name}_mpa"
            found, centre = hottest(cortex, centres, search, stress)
            compare(response, abs(found / value[response] - 1), HOTSPOT)
            there, _ = hottest(intact_cortex, centres, bare_search, bare_stress)
            compare(bare, abs(there / value[bare] - 1), HOTSPOT)
            at_screw = f"last_screw_{name}_mpa"
            by_ring = ring.largest(stress) / value[at_screw] - 1
            compare(at_screw, abs(by_ring), HOTSPOT)
            hot.append(
                f"{name} {value[response]:.3f} MPa {100 * (found / value[response] - 1):+.2f} %,"
                f" {np.linalg.norm(centre - place[response]):.2f} mm away, intact {100 * (there / value[bare] - 1):+.2f} %,"
                f" last screw {value[at_screw]:.3f} MPa {100 * by_ring:+.2f} %"
            )
        print(
            f"{case['name']}: {len(case['screws'])} screw cuts {off:.1e}; motions {100 * worst['large']:.2f} %,"
            f" below {1000 * SMALL_MM:.0f} um {100 * worst['small']:.2f} %, by finer samples {100 * worst['rule']:.2f} %;"
            f" hot-spots {'; '.join(hot)}"
        )
    assert not failed, "\n".join(failed)
    print("responses computed again from the bundle agree")


if __name__ == "__main__":
    main(sys.argv[1])
