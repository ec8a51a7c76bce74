"""Runs the Python code of a guide in a folder of results, as a reader would paste it: one block after the other.

The three ways to read results.csv must find the same numbers, and no row of a point without a result.
Usage: runs.py GUIDE FOLDER
"""

import contextlib
import csv
import io
import json
import math
import os
import re
import sys
from pathlib import Path


def same(found, wanted, way):
    assert found.keys() == wanted.keys(), (way, found, wanted)
    for layout, by_stagger in wanted.items():
        assert found[layout].keys() == by_stagger.keys(), (way, found, wanted)
        for stagger, value in by_stagger.items():
            assert math.isclose(found[layout][stagger], value, rel_tol=1e-12), (way, layout, stagger)


guide, folder = Path(sys.argv[1]), Path(sys.argv[2])
blocks = re.findall(r"```python\n(.*?)```", guide.read_text(), re.DOTALL)
os.chdir(folder)
names = {}
said = io.StringIO()
with contextlib.redirect_stdout(said):
    for block in blocks:
        exec(compile(block, str(guide), "exec"), names)

# By the file's own text, without the guide.
rows = list(csv.DictReader(open("results/first-look/results.csv", newline="")))
assert any(row["status"] != "done" for row in rows), "the study lacks a row without a result"
wanted = {}
for row in rows:
    if row["status"] == "done":
        by_stagger = wanted.setdefault(row["construct.layout"], {})
        by_stagger[float(row["plates.stagger_mm"])] = float(row["last_screw_max_mpa"])
assert len(wanted) == 2 and all(len(of) == 2 for of in wanted.values()), wanted

same({layout: dict(of) for layout, of in names["table"].items()}, wanted, "csv")
same({layout: of.dropna().to_dict() for layout, of in names["wide"].iterrows()}, wanted, "pandas")
frame = names["frame"]
found = {}
for layout, stagger, value in frame.select("construct.layout", "plates.stagger_mm", "last_screw_max_mpa").iter_rows():
    found.setdefault(layout, {})[float(stagger)] = value
same(found, wanted, "polars")
assert "construct.layout" in set(names["axial"]["term"]), names["axial"]
columns = json.load(open("results/first-look/columns.json"))
definition = next(c["definition"] for c in columns if c["name"] == "last_screw_max_mpa")
assert definition and definition in said.getvalue(), said.getvalue()
assert len(blocks) == 3, f"{len(blocks)} blocks of Python"
print(f"{guide.name}: {len(blocks)} blocks of Python run; csv, pandas and polars agree on {len(rows)} rows")
