#!/usr/bin/env python3
"""Kills `bicolumn run` and `bicolumn report` with SIGKILL at random moments of their work.

After every kill each record that was finished before is there and whole; at the end the run completes, results.csv is
identical to that of an undisturbed run, and no temporary file is left.

    python3 tests/kill/sweep.py [RUN_KILLS [REPORT_KILLS]]

Needs a built target/release/bicolumn. Records of the job are made once; a kill of `run` finds some points of it taken away
at random, so that there is always something to do, and the records of a cache, so that filing, copying and tables are met
as often as solving."""

import csv
import json
import os
import pathlib
import random
import shutil
import subprocess
import sys
import time

HERE = pathlib.Path(__file__).resolve().parent
TARGET = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", HERE.parent.parent / "target"))
BICOLUMN = TARGET / "release" / "bicolumn"
JOB = HERE.parent / "slurm" / "job.toml"
WORK = TARGET / "kill"
KILLS = [int(n) for n in sys.argv[1:3]] + [20, 20][len(sys.argv) - 1 :]
random.seed(11)


def command(*words):
    return [str(BICOLUMN), *map(str, words)]


def rows(folder):
    with open(folder / "results.csv", newline="") as file:
        return [{k: v for k, v in row.items() if "seconds" not in k} for row in csv.DictReader(file)]


def finished(folder):
    """Records that are done, by digest; one that is no JSON ends the sweep."""
    found = {}
    for path in [*folder.glob("points/*/record.json"), *folder.glob("earlier/*/record.json")]:
        record = json.loads(path.read_text())
        if record["status"]["state"] == "done":
            found[record["digest"]] = path
    return found


def temporary(folder):
    names = (p.name for p in folder.rglob("*"))
    return [n for n in names if n.startswith((".writing-", "at-work", "held")) or n == "intact"]


def killed(words, seconds):
    """Starts a command and kills it after so many seconds; its own processes end with it."""
    process = subprocess.Popen(command(*words), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        process.wait(seconds)
        return False
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        return True


def main():
    shutil.rmtree(WORK, ignore_errors=True)
    WORK.mkdir(parents=True)
    whole, cut, cache = WORK / "whole", WORK / "cut", WORK / "cache"
    begin = time.time()
    subprocess.run(command("run", JOB, "--out", whole, "--cache", cache, "--quiet"), check=True)
    print(f"undisturbed: {time.time() - begin:.0f} s")
    asked = ["run", JOB, "--out", cut, "--quiet"]
    cached = [*asked, "--cache", cache]
    begin = time.time()
    subprocess.run(command(*cached), check=True)
    quick = time.time() - begin
    hits = 0
    for n in range(KILLS[0]):
        have = finished(cut)
        # Something to do: points lost, the order of the job's points changed by a level.
        for path in random.sample(list(have.values()), k=random.randint(1, len(have)) if have else 0):
            shutil.rmtree(path.parent)
        have = finished(cut)
        levels = random.choice(["[80, 85, 90, 95]", "[85, 80, 90, 95]", "[80, 85, 90]"])
        words = [*cached, "--set", f"factors.plates.end_level_mm={levels}"]
        # Every tenth solves for itself.
        if n % 10 == 9:
            hits += killed([*asked, "--point-minutes", "10"], random.uniform(0, 20))
        else:
            hits += killed(words, random.uniform(0, quick))
        lost = have.keys() - finished(cut).keys()
        assert not lost, f"kill {n}: finished records are lost: {lost}"
    subprocess.run(command(*cached), check=True)
    assert rows(cut) == rows(whole), "the tables differ"
    assert not temporary(cut), temporary(cut)
    print(f"run: {hits} of {KILLS[0]} killed while they worked; nothing lost, the table identical")

    begin = time.time()
    subprocess.run(command("report", cut), check=True, stdout=subprocess.DEVNULL)
    quick = time.time() - begin
    hits = 0
    have = finished(cut)
    for n in range(KILLS[1]):
        hits += killed(["report", cut], random.uniform(0, quick))
        assert finished(cut).keys() == have.keys(), f"kill {n}: finished records are lost"
        assert rows(cut) == rows(whole), f"kill {n}: the table is not whole"
    subprocess.run(command("report", cut), check=True, stdout=subprocess.DEVNULL)
    assert rows(cut) == rows(whole), "the tables differ"
    assert not temporary(cut), temporary(cut)
    print(f"report: {hits} of {KILLS[1]} killed while they worked; the table identical")


main()
