"""Sets two solutions of one bundle side by side.

Usage: agrees.py FOLDER AGAIN. FOLDER was written by `bicolumn export`, AGAIN by `bicolumn solve FOLDER`. The second has
nothing but mesh.vtu and model.json to start from: where it finds the displacements and tensions of the first, these
two files pose the whole problem, contact and tightened screws included.
"""

import json
import pathlib
import sys

import meshio
import numpy as np

# Contact is solved to a residual of 1e-6, in another order of interfaces' unknowns at most.
ACCEPTED = 1e-5


def main(folder, again):
    folder, again = pathlib.Path(folder), pathlib.Path(again)
    first, second = (meshio.read(f / "solution.vtu") for f in (folder, again))
    record = json.loads((again / "solution.json").read_text())
    worst = 0.0
    for name in second.point_data:
        u, v = first.point_data[name], second.point_data[name]
        off = np.abs(u - v).max() / np.abs(u).max()
        worst = max(worst, off)
        print(f"{name}: {off:.1e} of the largest displacement apart")
    assert len(second.point_data) == len(record["loads"]) > 0
    assert worst < ACCEPTED, f"{worst:.1e} apart, {ACCEPTED:.0e} accepted"
    contact = folder / "contact.json"
    if not contact.exists():
        return
    for before, after in zip(json.loads(contact.read_text())["cases"], record["loads"], strict=True):
        assert before["name"] == after["name"]
        tension = np.array(before["tension_n"]), np.array(after["tension_n"])
        print(f"{before['name']}: tension {tension[0]} and {tension[1]} N")
        assert tension[0].size > 0 and np.allclose(*tension, rtol=1e-4), tension


main(*sys.argv[1:])
