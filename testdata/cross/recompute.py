#!/usr/bin/env python3
"""Computes every episode a second time, by other code in another language,
and compares.

  recompute.py compare FOLDER MARKS.csv ZONE [--episodes FILE]
  recompute.py worked FOLDER MARKS.csv

compare wants in FOLDER: issues.csv and labs.csv, and as far as the store has
them measures, events, medicines, patients (columns of the contract, from
`thawline query --as csv`); policy.json (the table policy, from `--as json`);
weight_for_age.csv where the site changed it; zone.csv (from_utc, offset_s)
where Python has no zone data; episodes.csv, the program's answer; and as far
as they are to be compared evidence.csv, units.csv and bags.csv. Prints
disagreements by column, with the first few numbers: these lead to a person,
so keep the output where the store is.

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
from bags import bags, key_of, units  # noqa: E402
from judge import CRITERIA, TESTS, Judge  # noqa: E402
from rules import findings  # noqa: E402

WORDS = ["patient_id", "location", "specialty", "requester", "policy_hash", "month", "outcome", "population", "dose_band", "basis", "coagulopathy", "shown_by", "alternative", "course", "mark", "because", "mark_recorded"]
WHOLE = ["weekday", "hour", "mark_row", "shortfall_units"] + [
    "units_" + f for f in ("issued", "transfused", "presumed", "returned", "discarded", "transferred", "unknown")]
TIMES = ["first_issued_at", "t0", "t1", "weight_at"]
NUMBERS = ["weight_kg", "delivered_ml", "possible_ml", "dose", "dose_possible", "change_inr", "expected_change_inr"]
TRUTHS = ["criterion_" + t for t in CRITERIA]
for test in TESTS:
    NUMBERS += [test + "_before", test + "_after", test + "_before_hours", test + "_after_hours"]
    WORDS += [test + "_before_bound", test + "_after_bound"]
    TIMES += [test + "_before_at", test + "_after_at"]
    TRUTHS += [test + "_before_known", test + "_before_point_of_care", test + "_after_point_of_care"]
EPISODE = WORDS + WHOLE + TIMES + NUMBERS + TRUTHS
UNIT = ["unit_no", "product_code", "bag_no", "patient_id", "episode_id", "fate", "given", "volume", "volume_basis", "given_ml", "begin", "finish",
        "times_basis", "source_file", "source_row"]
BAG = ["unit_no", "product_code", "bag_no", "product", "unit_abo", "location", "month", "fate", "frozen_loss", "reason", "avoidable", "thawed_at",
       "hours_thaw_to_fate"]
# Every other column of a table that is told is a fault of this comparison, but for these.
LEFT = {"episodes": {"episode_id"}, "units": {"bag", "issued_at"}, "bags": {"bag", "thawed_local"}}
IS_TIME = {*TIMES, "begin", "finish", "thawed_at"}


def equal(column, ours, theirs):
    if ours is None or theirs == "":
        return ours is None and theirs == ""
    if column in IS_TIME:
        return ours == instant(theirs)
    if isinstance(ours, str):
        return ours == theirs
    if isinstance(ours, bool):
        return ours == truth(theirs)
    if isinstance(ours, int):
        return ours == int(theirs)
    return abs(float(ours) - float(theirs)) <= 1.5e-6


def piece_of(source, at, detail):
    """A row of evidence as it is compared. What several units of one issue tell may stand as one row or as several."""
    if source in ("red_cells", "hb_fall"):
        return source, at, f"{float(detail):.6f}"
    return source, at, detail or "" if source == "event" else ""


def strength_of(source):
    return "inferred" if source in ("red_cells", "hb_fall") else "recorded"


class Comparison:
    """Counts what agrees, and prints what does not."""

    def __init__(self):
        self.wrong, self.said = set(), []

    def differ(self, table, column, cases):
        if cases:
            self.wrong |= {(table, key) for key, _, _ in cases}
            first = "; ".join(f"{k} here {a!r} there {b!r}" for k, a, b in cases[:3])
            print(f"{table}.{column}: {len(cases)} differ: {first}")

    def table(self, name, columns, ours, theirs):
        """Two tables by key, each row by column."""
        told = next(iter(theirs.values()), None)
        if told is None:
            raise Refused(f"{name}.csv: no rows; mark the store and export them first")
        missing, more = [c for c in columns if c not in told], sorted(set(told) - set(columns) - LEFT[name])
        if missing or more:
            raise Refused(f"{name}.csv: lacks {missing or 'nothing'}, and has {more or 'nothing'} that is not computed here; export SELECT * FROM {name}")
        self.differ(name, "(only here)", [(k, "a row", "none") for k in sorted(set(ours) - set(theirs), key=str)])
        self.differ(name, "(only there)", [(k, "none", "a row") for k in sorted(set(theirs) - set(ours), key=str)])
        both = sorted(set(ours) & set(theirs), key=str)
        for c in columns:
            self.differ(name, c, [(k, ours[k][c], theirs[k][c]) for k in both if not equal(c, ours[k][c], theirs[k][c])])
        self.said.append(f"{len(both)} {name} in {len(columns)} columns")


def compare(folder, marks, zone, episodes):
    clock = Clock(zone, folder)
    periods, weight_for_age = load_policy(os.path.join(folder, "policy.json"), folder)
    tables = load_tables(folder)
    patients, bleeding, medicines = gather(tables, periods[0], clock)
    judge = Judge(periods, weight_for_age, load_marks(marks), clock, bleeding, medicines)
    ours = {r["episode_id"]: r for number, p in list(patients.items()) for r in judge.patient(number, p)}
    theirs = {r["episode_id"]: r for r in rows_of(episodes)}
    result = Comparison()
    result.table("episodes", EPISODE, ours, theirs)
    evidence(result, folder, ours, theirs)
    listed = {name: os.path.join(folder, name + ".csv") for name in ("units", "bags")}
    if os.path.exists(listed["units"]):
        of = {(u.bag, u.issued): key for key, row in ours.items() for u in row["members"]}
        result.table("units", UNIT, units(tables["issues"], periods[0], clock, of), {key_of(r): r for r in rows_of(listed["units"])})
    if os.path.exists(listed["bags"]):
        result.table("bags", BAG, bags(tables["issues"], clock), {r["bag"]: r for r in rows_of(listed["bags"])})
    noticed(result, folder, ours, patients, tables, judge)
    reached = defaultdict(set)
    for row in ours.values():
        for column in ("mark_row", "basis", "coagulopathy", "alternative", "dose_band", "course", "population"):
            reached[column].add(row[column])
    print("reached: " + "; ".join(f"{len(v)} {c}" for c, v in reached.items()) + f"; {len({r['policy_hash'] for r in ours.values()})} periods of the policy")
    if result.wrong:
        print(f"{len(result.wrong)} rows differ of {', '.join(result.said)}")
        return 1
    print(f"all agree: {', '.join(result.said)}")
    return 0


def noticed(result, folder, ours, patients, tables, judge):
    """The findings that fired, where they are told."""
    listed, ran = os.path.join(folder, "findings.csv"), os.path.join(folder, "rules_run.csv")
    if not os.path.exists(listed) or not os.path.exists(ran):
        return
    rules = {r["finding"]: r for r in rows_of(ran)}
    present = {table for table in ("measures", "events", "medicines", "patients") if not any(table in (r["why_not"] or "") for r in rules.values())}
    mine = findings(ours, patients, tables, judge.clock, judge.policy_of, present)
    told = {(r["finding"], r["key"], r["severity"]) for r in rows_of(listed)}
    for name in sorted(rules):
        a, b = {x for x in mine if x[0] == name}, {x for x in told if x[0] == name}
        result.differ("findings", name, [(k[1], "fired, " + k[2] if k in a else "not", "fired, " + k[2] if k in b else "not") for k in sorted(a ^ b)])
    result.said.append(f"{len(told)} findings of {len({x[0] for x in told})} of {len(rules)} rules")


def evidence(result, folder, ours, theirs):
    """The pieces of each episode, where they are told."""
    listed = os.path.join(folder, "evidence.csv")
    if not os.path.exists(listed):
        return
    told = defaultdict(set)
    for row in rows_of(listed):
        told[row["episode_id"]].add(piece_of(row["source"], instant(row["at"]), row["detail"]))
        if row["strength"] != strength_of(row["source"]):
            result.differ("evidence", "strength", [(row["episode_id"], strength_of(row["source"]), row["strength"])])
    mine = {key: {piece_of(x.source, x.at, x.detail) for x in row["pieces"]} for key, row in ours.items()}
    result.differ("evidence", "source, at, detail", [(k, sorted(mine[k] - told[k]), sorted(told[k] - mine[k])) for k in sorted(set(ours) & set(theirs)) if mine[k] != told[k]])
    result.said.append(f"{sum(len(p) for p in mine.values())} evidence in 4 columns")


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
