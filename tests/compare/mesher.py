"""The mesher against a general tetrahedral mesher on the same surfaces, in one run.

    target/release/bicolumn export --point 1 --out BUNDLE JOB
    ../compare-venv/bin/python tests/compare/mesher.py BUNDLE JOB --point 1 [--bicolumn PATH]

Ours: `bicolumn mesh` of the design point, one thread: from the implicit shapes to curved ten-node tetrahedra, surfaces and
quality checks included, of the lattice that was taken. Theirs: TetGen (constrained Delaunay) with the facets of our mesh, all interfaces between parts
among them, as given triangles that it may not change; it fills them with four-node tetrahedra, none larger than twice
our mean. So theirs is spared the surfaces and the curves.
"""

import argparse
import json
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import meshio
import numpy as np
import tetgen

FACES = np.array([[1, 2, 3], [0, 3, 2], [0, 1, 3], [0, 2, 1]])


def surfaces(tets, part):
    """Triangles between parts and on the boundary."""
    faces = tets[:, FACES].reshape(-1, 3)
    owner = np.repeat(part, 4)
    _, first, number, count = np.unique(np.sort(faces, axis=1), axis=0, return_index=True, return_inverse=True, return_counts=True)
    number = number.ravel()
    low, high = np.full(len(first), owner.max() + 1), np.full(len(first), -1)
    np.minimum.at(low, number, owner)
    np.maximum.at(high, number, owner)
    return faces[first[(count == 1) | (low != high)]]


def dihedral_angles(x, tets):
    """Six angles of each tetrahedron, degree."""
    normals = []
    for face in FACES:
        a, b, c = (x[tets[:, k]] for k in face)
        n = np.cross(b - a, c - a)
        normals.append(n / np.linalg.norm(n, axis=1)[:, None])
    pairs = [(i, j) for i in range(4) for j in range(i)]
    cosines = [np.clip(-np.einsum("ni,ni->n", normals[i], normals[j]), -1, 1) for i, j in pairs]
    return np.degrees(np.arccos(np.array(cosines)))


def told(name, count, seconds, angles):
    low, high = angles.min(axis=0), angles.max(axis=0)
    print(
        f"{name}: {count} tetrahedra in {seconds:.2f} s, {count / seconds / 1000:.0f} thousand a second; dihedral angles"
        f" {low.min():.1f} to {high.max():.1f} degrees, 1 % of tetrahedra below {np.quantile(low, 0.01):.1f}",
        flush=True,
    )
    return count / seconds


def ours(arguments):
    """Tetrahedra, seconds of the lattice that was taken, and whether others were tried before it."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        command = [arguments.bicolumn, "mesh", arguments.job, "--point", str(arguments.point), "--out", out]
        text = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        quality = json.loads((out / "quality.json").read_text())
    stages = re.search(r"^seconds: (.*)$", text, re.M)
    seconds = sum(float(s.split()[-1]) for s in stages[1].split(","))
    print(f"ours: {stages[0]}; lattices before the one taken: {quality['fallback']}")
    return quality["tets"], seconds


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("bundle", type=Path)
    parser.add_argument("job")
    parser.add_argument("--point", type=int, default=1)
    parser.add_argument("--bicolumn", default="target/release/bicolumn")
    arguments = parser.parse_args()
    mesh = meshio.read(arguments.bundle / "mesh.vtu")
    corners = mesh.cells_dict["tetra10"][:, :4].astype(int)
    part = mesh.cell_data["material"][0].astype(int).ravel()
    used, corners = np.unique(corners, return_inverse=True)
    x, corners = mesh.points[used], corners.reshape(-1, 4)
    triangles = surfaces(corners, part)
    edges = x[corners]
    volume = np.abs(np.einsum("ni,ni->n", edges[:, 1] - edges[:, 0], np.cross(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 0]))) / 6

    count, seconds = ours(arguments)
    rate = told("ours", count, seconds, dihedral_angles(x, corners))
    general = tetgen.TetGen(x, triangles)
    start = time.perf_counter()
    general.tetrahedralize(switches=f"pYq1.4/18a{2 * volume.mean():.6f}Q")
    seconds = time.perf_counter() - start
    other = told("TetGen", len(general.elem), seconds, dihedral_angles(general.node, general.elem))
    print(f"\n{len(triangles)} triangles given; rate of ours over theirs: {rate / other:.2f}")


if __name__ == "__main__":
    sys.exit(main())
