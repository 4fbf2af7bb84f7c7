#!/usr/bin/env python3
"""Computes every episode a second time, by other code in another language,
and compares.

  recompute.py compare FOLDER MARKS.csv ZONE [--episodes FILE]
  recompute.py worked FOLDER MARKS.csv

compare wants in FOLDER: issues.csv and labs.csv, and as far as the store has
them measures, events, medicines, patients (columns of the contract, from
`thawline query --as csv`); policy.json (the table policy, from `--as json`);
weight_for_age.csv where the site changed it; zone.csv (from_utc, offset_s)
where Python has no zone data; episodes.csv, the program's answer; and, to
compare the rows of evidence too, evidence.csv. Prints disagreements by
column, with the first few episode numbers: these lead to a person, so keep
the output where the store is.

worked holds this program itself against the episodes worked by hand.

Exit code: 0 all agree, 1 something differs, 2 an input cannot be used.
"""

import argparse
import os
import sys
import time
from collections import defaultdict

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from facts import Clock, Refused, gather, instant, load_marks, load_policy, load_tables, rows_of, truth  # noqa: E402
from judge import CRITERIA, TESTS, Judge  # noqa: E402

WORDS = ["month", "outcome", "population", "dose_band", "basis", "coagulopathy", "shown_by", "alternative", "course", "mark", "because", "mark_recorded"]
WHOLE = ["weekday", "hour", "mark_row", "shortfall_units"] + [
    "units_" + f for f in ("issued", "transfused", "presumed", "returned", "discarded", "transferred", "unknown")]
TIMES = ["first_issued_at", "t0", "t1"]
NUMBERS = ["weight_kg", "delivered_ml", "possible_ml", "dose", "dose_possible", "change_inr", "expected_change_inr"]
TRUTHS = ["criterion_" + t for t in CRITERIA]
for test in TESTS:
    NUMBERS += [test + "_before", test + "_after", test + "_before_hours", test + "_after_hours"]
    WORDS += [test + "_before_bound", test + "_after_bound"]
    TIMES += [test + "_before_at", test + "_after_at"]
    TRUTHS += [test + "_before_known"]
# Evidence that several units of one issue give may stand as one row or as
# several; of the rest every row counts.
ONCE = ("indication", "activation")


def equal(column, ours, theirs):
    if ours is None or theirs == "":
        return ours is None and theirs == ""
    if column in WORDS:
        return ours == theirs
    if column in TIMES:
        return ours == instant(theirs)
    if column in TRUTHS:
        return ours == truth(theirs)
    if column in WHOLE:
        return ours == int(theirs)
    return abs(float(ours) - float(theirs)) <= 1.5e-6


def rows_of_evidence(sources):
    return " ".join(sorted([s for s in sources if s not in ONCE] + list({s for s in sources if s in ONCE})))


def compare(folder, marks, zone, episodes):
    clock = Clock(zone, folder)
    periods, weight_for_age = load_policy(os.path.join(folder, "policy.json"), folder)
    patients, bleeding, medicines = gather(load_tables(folder), periods[0], clock)
    judge = Judge(periods, weight_for_age, load_marks(marks), clock, bleeding, medicines)
    ours = {r["episode_id"]: r for number, p in list(patients.items()) for r in judge.patient(number, p)}
    theirs = {r["episode_id"]: r for r in rows_of(episodes)}
    if not theirs:
        raise Refused(f"{episodes}: no episodes; mark the store and export them first")
    columns = WORDS + WHOLE + TIMES + NUMBERS + TRUTHS
    missing = [c for c in columns if c not in next(iter(theirs.values()))]
    if missing:
        raise Refused(f"{episodes}: lacks the columns {', '.join(missing)}; export SELECT * FROM episodes")
    differ = defaultdict(list)
    for key in sorted(set(ours) | set(theirs)):
        if key not in ours or key not in theirs:
            differ["episode (only here)" if key in ours else "episode (only there)"].append((key, "", ""))
            continue
        for c in columns:
            if not equal(c, ours[key][c], theirs[key][c]):
                differ[c].append((key, ours[key][c], theirs[key][c]))
    listed = os.path.join(folder, "evidence.csv")
    if os.path.exists(listed):
        columns = columns + ["evidence"]
        sources = defaultdict(list)
        for row in rows_of(listed):
            sources[row["episode_id"]].append(row["source"])
        for key in sorted(set(ours) & set(theirs)):
            mine, told = rows_of_evidence(ours[key]["evidence"].split()), rows_of_evidence(sources[key])
            if mine != told:
                differ["evidence"].append((key, mine, told))
    for column in ["episode (only here)", "episode (only there)"] + columns:
        if differ[column]:
            first = "; ".join(f"{k} here {a!r} there {b!r}" if column in columns else k for k, a, b in differ[column][:3])
            print(f"{column}: {len(differ[column])} differ: {first}")
    wrong = {k for rows in differ.values() for k, _, _ in rows}
    if wrong:
        print(f"{len(wrong)} of {len(set(ours) | set(theirs))} episodes differ")
        return 1
    print(f"{len(ours)} episodes agree in {len(columns)} columns" + ("" if "evidence" in columns else "; evidence.csv not there, its rows not compared"))
    return 0


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    verbs = parser.add_subparsers(dest="verb", required=True)
    verb = verbs.add_parser("compare")
    verb.add_argument("folder")
    verb.add_argument("marks")
    verb.add_argument("zone")
    verb.add_argument("--episodes", help="the program's answer; FOLDER/episodes.csv if not given")
    verb = verbs.add_parser("worked")
    verb.add_argument("folder")
    verb.add_argument("marks")
    args = parser.parse_args()
    began = time.monotonic()
    try:
        if args.verb == "worked":
            from worked import check
            return 1 if check(args.folder, load_marks(args.marks), "Europe/London") else 0
        code = compare(args.folder, args.marks, args.zone, args.episodes or os.path.join(args.folder, "episodes.csv"))
        print(f"{time.monotonic() - began:.1f} s", file=sys.stderr)
        return code
    except (Refused, OSError) as fault:
        print(f"recompute: {fault}", file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main())
