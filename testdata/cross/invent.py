#!/usr/bin/env python3
"""Invents tables of the layer current, full of edges: invent.py FOLDER SEED PATIENTS

Times lie mostly on a grid of half hours, and values on the limits, so that
windows are often met exactly; a good part of the facts is missing, told as a
date alone, or contradicts another. It looks like no hospital, and is not meant
to: every path of the judge has to be walked, the rare ones too.
"""

import csv
import datetime as dt
import os
import random
import sys
import zoneinfo

LONDON = zoneinfo.ZoneInfo("Europe/London")
UTC = dt.timezone.utc
START = dt.datetime(2025, 1, 1)
YEAR = 365 * 24 * 60

INDICATIONS = ["bleeding", "major_haemorrhage", "procedure", "plasma_exchange", "circuit_prime", "anticoagulant_reversal", "liver_disease", "dic",
               "factor_deficiency"]
VALUES = dict(inr=[1.1, 1.27, 1.4, 1.5, 1.5, 1.6, 1.8, 1.8, 1.9, 2.0, 2.1, 2.6, 3.4], pt_ratio=[1.1, 1.5, 1.6, 1.8, 2.0, 2.1], aptt_ratio=[1.1, 1.5, 1.6, 1.9],
              fibrinogen=[0.5, 0.9, 1.0, 1.4, 1.5, 2.2], hb=[65, 75, 85, 95, 105], platelets=[20, 150], viscoelastic=[60, 80, 95], pt_s=[13, 20])


class Hospital:
    def __init__(self, seed):
        self.r = random.Random(seed)
        self.tables = {n: [] for n in ("issues", "labs", "measures", "events", "medicines", "patients")}
        self.calls = 0
        self.edges = []  # begin and end of the plasma of the admission at hand

    def maybe(self, share):
        return self.r.random() < share

    def near(self, middle, before, after):
        """Minutes near a moment: often on a grid of half hours, or exactly at the edge of a window."""
        if self.edges and self.maybe(0.25):
            return self.r.choice(self.edges) + self.r.choice([0, 0, -120, -360, -1440, 360, 480, 1440])
        minute = middle + self.r.randrange(-before, after + 1)
        return minute if self.maybe(0.25) else minute // 30 * 30

    def add(self, table, times, **row):
        """A row; one of its times may be told as a date alone."""
        alone = []
        for name, minute in times.items():
            if minute is None:
                row[name] = ""
                continue
            at = START + dt.timedelta(minutes=minute)
            if self.maybe(0.03) and name not in ("issued_at", "started_at", "ended_at", "requested_at", "resulted_at"):
                local = at.replace(tzinfo=UTC).astimezone(LONDON)
                at = dt.datetime(local.year, local.month, local.day, tzinfo=LONDON).astimezone(UTC).replace(tzinfo=None)
                alone.append(name)
            row[name] = at.strftime("%Y-%m-%d %H:%M:%S")
            if name == "issued_at":
                row["issued_local"] = at.replace(tzinfo=UTC).astimezone(LONDON).strftime("%Y-%m-%d %H:%M:%S")
        rows = self.tables[table]
        row.update(date_only=" ".join(sorted(alone)), source_file=table + ".csv", source_row=len(rows) + 2)
        rows.append(row)

    def issue(self, patient, component, at, start=None, **more):
        """One unit; gives its begin and end where it was given."""
        number = f"N{len(self.tables['issues']):06d}"
        code = "F" if component == "plasma" else "R"
        fate = self.r.choices(["transfused", "presumed", "returned", "discarded", "unknown", "transferred"], [72, 9, 6, 6, 5, 2])[0]
        if start is None and fate == "transfused" and self.maybe(0.85):
            start = at + self.r.choice([0, 10, 10, 30, 55])
        end = (start if start is not None else at) + self.r.choice([30, 50, 60, 90]) if fate == "transfused" and self.maybe(0.85) else None
        row = dict(unit_no=number, product_code=code, bag_code=code, bag=f"{number}|{code}|", is_batch="false", component=component,
                   product="fresh_frozen" if code == "F" else "", nominal_ml=self.r.choice([275, 275, 275, 60, ""]),
                   volume_ml=self.r.choice([275, 280.5, 250, 200, "", ""]), transfused_ml=self.r.choice(["", "", "", 0, 100, 33.3]) if fate == "transfused" else "",
                   patient_id=patient, fate=fate)
        row.update(more)
        if row["fate"] == "transfused" and "fate" in more:
            start = start if start is not None else at
            end = start + 50
        self.add("issues", dict(issued_at=at, started_at=start, ended_at=end, requested_at=at - self.r.choice([0, 30, 90, 300]) if self.maybe(0.5) else None), **row)
        if row["fate"] != "transfused":
            return []
        return [start if start is not None else at, end if end is not None else start + 60 if start is not None else at + 90]

    def admission(self, p, t):
        r, self.edges = self.r, []
        about = r.choice(["", "", "", "dose", "procedure", "red cells"])  # what it has more of than chance gives
        told = r.choice(INDICATIONS) if self.maybe(0.3) else r.choice(["other", "other", "raised_inr", ""])
        one_call = ""
        if self.maybe(0.06):
            self.calls += 1
            one_call = f"CALL{self.calls}"
        if about == "procedure":
            told, one_call = r.choice(["procedure", "liver_disease", "liver_disease", "other"]), ""
        more = {}
        if about == "dose":  # to the edge of the band in 80 kg
            ml, count = r.choice([(380, 2), (190, 4), (410, 4), (400, 4), (960, 1)])
            more = dict(volume_ml=ml, transfused_ml="", fate="transfused")
        for _ in range(count if more else r.choice([1, 2, 2, 2, 3, 4])):
            self.edges += self.issue(p, "plasma", self.near(t, 0, 120), indication=told if self.maybe(0.9) else "",
                                     activation_id=one_call if self.maybe(0.5) else "", **more)
        if self.edges:
            self.edges = [min(self.edges), max(self.edges)]
        if about == "red cells":  # quick ones that end or begin where the plasma does
            base, step = r.choice((self.edges or [t])) + r.choice([0, -60]), r.choice([20, 20, 25])
            for k in range(4):
                self.issue(p, "red_cells", base + step * k, start=base + step * k, fate="transfused")
        if self.maybe(0.35):  # a second lot, about where the gap ends
            self.issue(p, "plasma", self.near(t + r.choice([360, 450, 510, 900]), 60, 60), indication="other")
        if self.maybe(0.3):
            for _ in range(r.choice([1, 2, 3, 4, 5, 12])):
                self.issue(p, "red_cells", self.near(t, 500, 300), activation_id=one_call if self.maybe(0.1) else "")
        kg = 80 if about == "dose" else r.choice([0.9, 3.2, 3.4, 12, 25, 55, 70, 72, 80, 110, 160])
        for _ in range(r.choice([0, 1, 1, 2, 3])):
            at = self.near(t - r.choice([0, 0, 1440 * 3, 1440 * 30, 1440 * 90]), 3000, 9000)
            for method in r.sample(["measured", "stated", "estimated", ""], r.choice([1, 1, 1, 2])):
                times = r.choices([1, 2.2046, 2, 1.03], [80, 6, 6, 8])[0]
                self.add("measures", dict(measured_at=at), patient_id=p, kind="weight", value=round(kg * times, 3), method=method)
        if self.maybe(0.4):
            self.add("measures", dict(measured_at=self.near(t, 5000, 5000)), patient_id=p, kind="height", value=r.choice([150, 165, 180]), method="measured")
        for test in VALUES:
            for _ in range(r.choice([0, 0, 1, 1, 2]) if test != "hb" else r.choice([0, 1, 3])):
                self.result(p, test, self.near(t, 1500, 800))
        shares = dict(bleeding=0.02 if about == "procedure" else 0.25, procedure=0.7 if about == "procedure" else 0.3, activation=0.08, diagnosis=0.2, reaction=0.05, exchange=0.02, death=0.03)
        details = dict(bleeding=["major", "minor", ""], procedure=["high", "low", ""], activation=["", "stood_down"],
                       diagnosis=["liver_disease", "liver_disease", "ttp", "dic"], reaction=["allergic", "overload"])
        for kind, share in shares.items():
            for _ in range(r.choice([1, 1, 2]) if self.maybe(share) else 0):
                at = self.near(t, 1600, 1500) if kind != "diagnosis" else self.near(t, 50000, 25000)
                self.add("events", dict(at=at, until=at + r.choice([30, 120, 600]) if self.maybe(0.35) else None),
                         patient_id=p, kind=kind, detail=r.choice(details.get(kind, [""])))
        for medicine, share in dict(vitamin_k_antagonist=0.12, heparin=0.15, prothrombin_complex=0.06, direct_oral_anticoagulant=0.04, vitamin_k=0.05).items():
            if self.maybe(share):
                self.add("medicines", dict(given_at=self.near(t, r.choice([1500, 10200]), 600)), patient_id=p, medicine=medicine)

    def result(self, p, test, at):
        value, bound, none = self.r.choice(VALUES[test]), "", ""
        if self.maybe(0.1):
            bound = self.r.choice(["<", ">", "<=", ">="])
        elif self.maybe(0.05):
            value, none = "", self.r.choice(["unclottable", "pending", "clotted"])
        self.add("labs", dict(collected_at=at, resulted_at=at + self.r.choice([20, 30, 60]) if self.maybe(0.85) else None), patient_id=p, test=test, value=value,
                 bound=bound, no_value=none, point_of_care="true" if self.maybe(0.2) else "false", status=self.r.choice(["final", "final", "preliminary"]))

    def patient(self, number):
        admissions = [self.r.randrange(40, 330) * 24 * 60 + self.r.randrange(0, 1440) for _ in range(self.r.choice([1, 1, 2]))]
        born = self.r.choices([dt.date(1940, 1, 1), dt.date(2025, 1, 1), dt.date(2008, 6, 1)], [75, 5, 10])[0] + dt.timedelta(days=self.r.randrange(350))
        if self.maybe(0.1):  # about four weeks old, or sixteen
            first = (START + dt.timedelta(minutes=admissions[0])).date() - dt.timedelta(days=self.r.choice([3, 20, 27, 28, 29]))
            born = first if self.maybe(0.7) else dt.date(2025 - 16, first.month, min(28, first.day))
        if self.maybe(0.95):
            self.add("patients", {}, patient_id=number, birth_date=born if self.maybe(0.96) else "", sex=self.r.choice(["F", "M", "F", "M", "X", ""]), abo="A")
        for t in admissions:
            self.admission(number, t)

    def write(self, folder):
        os.makedirs(folder, exist_ok=True)
        # In the layer current a key stands once.
        keys = dict(labs=("patient_id", "test", "collected_at", "point_of_care"), measures=("patient_id", "kind", "measured_at", "method"),
                    events=("patient_id", "kind", "at", "detail"), medicines=("patient_id", "medicine", "given_at"))
        for name, rows in self.tables.items():
            if name in keys:
                rows = list({tuple(row[k] if k != "detail" or row["kind"] == "diagnosis" else "" for k in keys[name]): row for row in rows}.values())
            columns = sorted({c for row in rows for c in row})
            self.r.shuffle(rows)
            with open(os.path.join(folder, name + ".csv"), "w", newline="", encoding="utf-8") as f:
                out = csv.DictWriter(f, columns, restval="")
                out.writeheader()
                out.writerows(rows)


def main():
    folder, seed, patients = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    hospital = Hospital(seed)
    for n in range(patients):
        hospital.patient(f"P{n:05d}")
    hospital.write(folder)


if __name__ == "__main__":
    main()
