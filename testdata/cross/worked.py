"""The worked episodes as input: the judge is held against answers worked by
hand before it is held against the program.

Three things that belong to taking files in are done here in short, for these
cases only, and each is said when it is: rows of one key (the later stands, and
a cancellation takes out what is above it), a ward's record joined by unit and
patient, and wall-clock times of London's second pass of the repeated hour,
which equal UTC.
"""

import csv
import glob
import io
import os
import re

from facts import DEFAULTS, Refused, TABLES, WEIGHT_FOR_AGE, Clock, gather, instant, told
from judge import Judge

KEYS = dict(labs=("patient_id", "test", "collected_at"), patients=("patient_id",), events=("patient_id", "kind", "at"),
            measures=("patient_id", "kind", "measured_at", "method"), medicines=("patient_id", "medicine", "given_at"))
RANK = {"corrected": 2, "final": 1, "": 1, "preliminary": 0}


def parts_of(path):
    with open(path, encoding="utf-8") as f:
        pieces = re.split(r"^-- (.+) --\n", f.read(), flags=re.M)
    return dict(zip(pieces[1::2], pieces[2::2]))


def one_row_a_key(name, rows):
    if name not in KEYS:
        return rows
    groups = {}
    for row in rows:
        groups.setdefault(tuple(row.get(k) or "" for k in KEYS[name]), []).append(row)
    kept = []
    for group in groups.values():
        if name == "labs":
            group.sort(key=lambda r: r.get("resulted_at") or "")
            gone = max((i for i, r in enumerate(group) if r.get("status") == "cancelled"), default=-1)
            group = sorted(group[gone + 1:], key=lambda r: RANK[r.get("status") or ""])
        kept += group[-1:]
    return kept


def tables_of(parts, notes):
    tables = dict.fromkeys(TABLES)
    for name in TABLES:
        if name + ".csv" in parts:
            rows = list(csv.DictReader(io.StringIO(parts[name + ".csv"])))
            tables[name] = one_row_a_key(name, rows)
            if len(tables[name]) < len(rows):
                notes.add(f"{len(rows) - len(tables[name])} superseded row of {name} left out")
    products = dict(re.findall(r"^  (\w+): \{component: (\w+)", parts["site.yaml"], flags=re.M))
    nominal = dict(re.findall(r"^  (\w+): .*nominal_ml: (\d+)", parts["site.yaml"], flags=re.M))
    wards = list(csv.DictReader(io.StringIO(parts.get("bedside.csv", ""))))
    for row in tables["issues"]:
        row["component"], row["nominal_ml"] = products[row["product_code"]], nominal[row["product_code"]]
        if not row["issued_at"].endswith("Z"):
            notes.add("wall-clock times taken as the second pass of the repeated hour")
        for ward in wards:
            if (ward["unit_no"], ward["patient_id"]) == (row["unit_no"], row["patient_id"]):
                row.update({k: ward[k] for k in ("started_at", "ended_at", "transfused_ml")}, fate="transfused")
                notes.add("ward's record joined by unit and patient")
        if not row["fate"]:
            row["fate"] = next((fate for column, fate in (("started_at", "transfused"), ("discarded_at", "discarded"), ("returned_at", "returned"),
                                                          ("issued_at", "presumed")) if row.get(column)), "unknown")
    for row in tables["labs"]:
        raw = re.fullmatch(r"([<>]=?)(.+)", row.get("value_raw") or "")
        if raw:
            row["bound"], row["value"] = raw.groups()
    return tables


def same(got, want):
    if got is None or got == "":
        return want == ""
    if isinstance(got, bool):
        return want == str(got).lower()
    try:
        return abs(float(got) - float(want)) < 1.5e-6
    except ValueError:
        return str(got) == want


def check(folder, marks, zone):
    """Prints what differs; returns the number of differences."""
    files = sorted(glob.glob(os.path.join(folder, "*.txtar")))
    if not files:
        raise Refused(f"{folder}: no worked episodes there")
    episodes = facts = wrong = 0
    for path in files:
        parts = parts_of(path)
        for name in sorted(n for n in parts if n.startswith("want")):
            notes = set()
            policy = dict(DEFAULTS, policy_hash="", **{"from": None})
            setting = re.fullmatch(r"want (\w+)=(.+)\.txt", name)
            if setting:
                policy[setting[1]] = setting[2]
            clock = Clock(zone)
            patients, bleeding, medicines = gather(tables_of(parts, notes), policy, clock)
            judge = Judge([policy], WEIGHT_FOR_AGE, marks, clock, bleeding, medicines)
            rows = {r["units"]: r for number, p in list(patients.items()) for r in judge.patient(number, p)}
            blocks = [dict(line.split("=", 1) for line in b.split("\n") if line) for b in parts[name].strip().split("\n\n")]
            place = os.path.basename(path)[:-len(".txtar")] + (f" ({setting[1]}={setting[2]})" if setting else "")
            for note in sorted(notes):
                print(f"{place}: {note}")
            if set(rows) != {b["units"] for b in blocks}:
                wrong += 1
                print(f"{place}: episodes are {sorted(rows)}, want {sorted(b['units'] for b in blocks)}")
            for block in blocks:
                row = rows.get(block["units"])
                if row is None:
                    continue
                episodes += 1
                for column, want in block.items():
                    if column == "findings":  # rules are not recomputed
                        continue
                    got = row[column]
                    if column in ("t0", "t1", "first_issued_at"):
                        got, want = told(got), told(instant(want))
                    facts += 1
                    if not same(got, want):
                        wrong += 1
                        print(f"{place}: {block['units']}: {column} is {got!r}, want {want!r}")
    print(f"{episodes} worked episodes, {facts} facts, {wrong} differ (findings not recomputed)")
    return wrong
