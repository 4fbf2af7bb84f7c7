"""Reads exported tables into facts a judge can use: times as whole
microseconds since 1970 (UTC), codes as text, an empty cell as None.

Nothing here comes from Thawline's own code: what a column means is taken
from the contract's text, so that the two can be held against each other.
"""

import calendar
import csv
import datetime as dt
import json
import os
from bisect import bisect_right
from collections import defaultdict
from decimal import Decimal
from functools import lru_cache

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR

TABLES = ("issues", "labs", "measures", "events", "medicines", "patients", "recorded")
REQUIRED = ("issues", "labs")

# Policy names that the judge asks for; a policy that lacks one is refused.
DEFAULTS = dict(
    default_unit_ml=250, assumed_infusion_min=60, assumed_issue_to_end_min=90, presumed_is_transfused=True,
    episode_gap_h=6, use_point_of_care=True, before_h=24, after_h=8, weight_basis="actual",
    weight_before_d_adult=90, weight_before_d_child=30, weight_before_d_newborn=3,
    weight_after_d_adult=7, weight_after_d_child=3, weight_after_d_newborn=1,
    adult_from_years=16, bleeding_recorded_in="events", bleeding_before_h=24, activation_before_h=6,
    red_cell_units=3, red_cell_h=6, hb_fall_g_l=20, hb_per_red_cell_g_l=10,
    massive_red_cell_units=10, massive_red_cell_h=24, rapid_red_cell_units=4, rapid_red_cell_h=1,
    procedure_before_h=2, procedure_after_h=24, procedure_assumed_h=6, exchange_h=6, ttp_before_d=30, ttp_after_d=14,
    vka_d=7, over_bleeding=1.5, over_procedure=1.8, over_liver_procedure=2.0, aptt_ratio_over=1.5, viscoelastic_over=None,
    fibrinogen_under_bleeding=1.5, fibrinogen_under_procedure=1.0, decides_h=6,
    concentrate_stocked="not stated", fibrinogen_source_stocked="not stated",
    dose_low=10, dose_high=20, dose_tolerance=0.5, child_dose_low=10, child_dose_high=20, full_dose_units=None,
    expected_inr_slope=0.37, expected_inr_offset=0.47,
)

# Weight by age: (under days, under years, low kg, high kg).
WEIGHT_FOR_AGE = [(28, None, 0.3, 8), (None, 1, 0.3, 18), (None, 2, 4, 25), (None, 5, 5, 55),
                  (None, 10, 9, 115), (None, 16, 14, 250), (None, None, 20, 400)]


class Refused(Exception):
    """An input that cannot be used; the message says which and what to do."""


@lru_cache(maxsize=1 << 20)
def instant(text):
    """Microseconds of a UTC time as exported, or None for an empty cell."""
    if not text:
        return None
    t = text.replace("T", " ").rstrip("Z")
    clock = t[11:] or "00:00"
    day = dt.date(int(t[:4]), int(t[5:7]), int(t[8:10]))
    parts = clock.split(":")
    seconds, _, fraction = (parts[2] if len(parts) > 2 else "0").partition(".")
    whole = calendar.timegm((day.year, day.month, day.day, int(parts[0]), int(parts[1]), int(seconds)))
    return whole * SECOND + int((fraction + "000000")[:6])


def told(us):
    """A time as text, the fraction only where it is not zero."""
    whole, fraction = divmod(us, SECOND)
    t = dt.datetime(1970, 1, 1) + dt.timedelta(seconds=whole)
    return t.strftime("%Y-%m-%dT%H:%M:%S") + (f".{fraction:06d}" if fraction else "") + "Z"


def real(text):
    return float(text) if text else None


def exact(text):
    return Decimal(text) if text else None


def truth(text):
    return (text or "").lower() in ("true", "yes", "1")


def date(text):
    return dt.date.fromisoformat(text[:10]) if text else None


class Clock:
    """The hospital's clock, by zone name or by a list of its offsets."""

    def __init__(self, name, folder=None):
        listed = os.path.join(folder, "zone.csv") if folder else ""
        self.zone = self.offsets = None
        if os.path.exists(listed):
            rows = sorted((instant(r["from_utc"]), int(r["offset_s"])) for r in rows_of(listed))
            self.starts, self.offsets = [r[0] for r in rows], [r[1] for r in rows]
            return
        try:
            import zoneinfo
            self.zone = zoneinfo.ZoneInfo(name)
        except Exception as fault:
            raise Refused(f"time zone {name!r} is not known here ({fault}); put zone.csv (from_utc, offset_s) beside the tables") from fault

    @lru_cache(maxsize=1 << 18)
    def local(self, us):
        """Wall-clock time, without zone, of an instant (to the second)."""
        utc = dt.datetime(1970, 1, 1) + dt.timedelta(seconds=us // SECOND)
        if self.offsets is not None:
            return utc + dt.timedelta(seconds=self.offsets[max(0, bisect_right(self.starts, us) - 1)])
        return utc.replace(tzinfo=dt.timezone.utc).astimezone(self.zone).replace(tzinfo=None)

    def day(self, us):
        return self.local(us).date()

    @lru_cache(maxsize=1 << 16)
    def day_end(self, us):
        """Last microsecond of the local day that holds an instant."""
        today = self.day(us)
        low, high = us, us + 2 * DAY  # the day ends somewhere between
        while high - low > 1:
            middle = (low + high) // 2
            if self.day(middle) <= today:
                low = middle
            else:
                high = middle
        return low


def rows_of(path):
    with open(path, encoding="utf-8-sig", newline="") as f:
        for row in csv.DictReader(f):
            # An export guards text that a spreadsheet would run as a formula
            # with a quote before it.
            yield {k: v[1:] if len(v) > 1 and v[0] == "'" and v[1] in "=+-@\t\r" else v for k, v in row.items()}


def load_tables(folder):
    """Rows of each exported table; an optional table without a file is None."""
    tables = {}
    for name in TABLES:
        path = os.path.join(folder, name + ".csv")
        if os.path.exists(path):
            tables[name] = list(rows_of(path))
        elif name in REQUIRED:
            raise Refused(f"{path}: not there; export the table {name} of the current layer to it")
        else:
            tables[name] = None
    return tables


def load_policy(path, folder):
    """Policy periods in order of date, and the weight-for-age table."""
    with open(path, encoding="utf-8") as f:
        periods = json.load(f)
    periods = periods if isinstance(periods, list) else [periods]
    for p in periods:
        missing = sorted(set(DEFAULTS) - set(p))
        if missing:
            raise Refused(f"{path}: lacks {', '.join(missing)}; export the whole table policy")
        p["from"] = date(p.get("from_date"))
    periods.sort(key=lambda p: (p["from"] is not None, p["from"] or dt.date.min))
    weights, listed = WEIGHT_FOR_AGE, os.path.join(folder, "weight_for_age.csv")
    if os.path.exists(listed):
        weights = [(int(r["under_days"]) if r["under_days"] else None, int(r["under_years"]) if r["under_years"] else None,
                    float(r["low_kg"]), float(r["high_kg"])) for r in rows_of(listed)]
        # From the narrowest age up; the open row last.
        weights.sort(key=lambda w: w[0] if w[0] is not None else w[1] * 366 if w[1] is not None else 10**6)
    return periods, weights


def load_marks(path):
    """Decision table: rows of (conditions by column, mark, because)."""
    table = []
    for row in rows_of(path):
        conditions = {k: None if row[k] == "*" else set(row[k].split("|"))
                      for k in ("outcome", "basis", "coagulopathy", "alternative", "dose_band", "course")}
        table.append((conditions, row["mark"], row["because"]))
    return table


class Span:
    """Something that happened, and the times between which it may have."""
    __slots__ = ("kind", "detail", "at", "low", "high", "open_end")

    def __init__(self, row, kind, at_name, clock):
        alone = (row.get("date_only") or "").split()
        self.kind, self.detail = kind, row.get("detail") or None
        self.at = self.low = instant(row[at_name])
        until = instant(row.get("until"))
        self.open_end = until is None
        self.high = until if until is not None else self.at
        if until is not None and "until" in alone:
            self.high = clock.day_end(until)
        if at_name in alone:
            self.high = max(self.high, clock.day_end(self.at))

    def meets(self, low, high):
        return self.low <= high and self.high >= low


class Recorded:
    """From when to when a feed was kept, and the months it skipped."""

    def __init__(self, days):
        self.first, self.last = (min(days), max(days)) if days else (None, None)
        self.months = {(d.year, d.month) for d in days}

    @classmethod
    def told(cls, rows):
        """From the program's own list of months, which counts rows that are no longer current."""
        return cls({date(row[name][:10]) for row in rows for name in ("first_day", "last_day")})

    def covers(self, first, last):
        if self.first is None or first < self.first or last > self.last:
            return False
        day = first
        while day <= last:
            if (day.year, day.month) not in self.months:
                return False
            day += dt.timedelta(days=1)
        return True


class Unit:
    """One issue of one unit, as section 1 reads it."""
    __slots__ = ("bag", "unit_no", "product_code", "bag_no", "component", "patient", "nominal", "volume", "recorded_volume", "volume_basis",
                 "location", "specialty", "requester", "indication", "activation", "requested", "issued", "issued_high", "started",
                 "fate", "given", "given_ml", "has_transfused_ml", "begin", "finish", "times_basis")

    def __init__(self, row, p, clock):
        get = row.get
        self.bag, self.unit_no, self.product_code, self.bag_no = get("bag"), row["unit_no"], row["product_code"], get("bag_no") or ""
        self.component, self.patient = row["component"], get("patient_id") or None
        self.nominal = exact(get("nominal_ml"))
        volume = exact(get("volume_ml"))
        self.recorded_volume = volume is not None
        self.volume_basis = "recorded" if volume is not None else "nominal" if self.nominal is not None else "assumed"
        self.location, self.specialty, self.requester = get("location") or None, get("specialty") or None, get("requester") or None
        self.volume = volume if volume is not None else self.nominal if self.nominal is not None else Decimal(str(p["default_unit_ml"]))
        self.indication, self.activation = get("indication") or None, get("activation_id") or None
        self.requested, self.issued, self.started = instant(get("requested_at")), instant(get("issued_at")), instant(get("started_at"))
        self.issued_high = self.issued
        if self.issued is not None and "issued_at" in (get("date_only") or "").split():
            self.issued_high = clock.day_end(self.issued)
        ended = instant(get("ended_at"))
        self.fate = row["fate"]
        self.given = self.fate == "transfused" or self.fate == "presumed" and p["presumed_is_transfused"]
        transfused = exact(get("transfused_ml"))
        self.has_transfused_ml = transfused is not None
        self.given_ml = Decimal(0) if not self.given else transfused if transfused is not None else self.volume
        self.begin = self.started if self.started is not None else self.issued
        self.finish = ended
        self.times_basis = "recorded" if self.started is not None and ended is not None else "assumed"
        if ended is None and self.started is not None:
            self.finish = self.started + round(p["assumed_infusion_min"] * MINUTE)
        elif ended is None and self.issued is not None:
            self.finish = self.issued + round(p["assumed_issue_to_end_min"] * MINUTE)

    @property
    def fate_unknown(self):
        return self.fate == "unknown" or self.fate == "presumed" and not self.given


class Result:
    """A laboratory result that holds a value, a limit, or no clot."""
    __slots__ = ("value", "bound", "at", "high", "resulted", "poc")

    def __init__(self, row, clock):
        self.value = real(row.get("value"))
        self.bound = row.get("bound") or None
        if self.value is None:
            self.bound = "unclottable"
        self.at = instant(row["collected_at"])
        self.high = self.at
        if "collected_at" in (row.get("date_only") or "").split():
            self.high = clock.day_end(self.at)
        self.resulted = instant(row.get("resulted_at"))
        self.poc = truth(row.get("point_of_care"))

    @property
    def date_alone(self):
        return self.high != self.at


class Patient:
    """Everything that the tables tell of one patient."""

    def __init__(self):
        self.birth = self.sex = None
        self.units, self.events, self.medicines = [], [], []
        self.results = defaultdict(list)   # test → results
        self.weights, self.heights = [], []  # (low, high, kg or cm as Decimal, rank of the method)


# Tests that no episode keeps: times stand as ratios.
UNUSED = {"pt_s", "aptt_s", "hct"}
METHODS = {"measured": 0, "stated": 1, "estimated": 2}


def gather(tables, policy, clock):
    """Patients by number, and when bleeding and medicines were recorded."""
    # Only patients who were issued plasma have episodes; the rest of the
    # tables only tells when bleeding and medicines were recorded.
    plasma = {row["patient_id"] for row in tables["issues"] if row["component"] == "plasma" and row.get("patient_id")}
    patients = defaultdict(Patient)
    for row in tables["patients"] or []:
        if row["patient_id"] not in plasma:
            continue
        p = patients[row["patient_id"]]
        p.birth, p.sex = date(row.get("birth_date")), row.get("sex") or None
    for row in tables["issues"]:
        if row.get("patient_id") in plasma:
            patients[row["patient_id"]].units.append(Unit(row, policy, clock))
    for row in tables["labs"]:
        if row["patient_id"] not in plasma or row["test"] in UNUSED or row.get("status") == "cancelled":
            continue
        if not row.get("value") and row.get("no_value") != "unclottable":
            continue
        patients[row["patient_id"]].results[row["test"]].append(Result(row, clock))
    for row in tables["measures"] or []:
        if not row.get("value") or row["patient_id"] not in plasma:
            continue
        low = instant(row["measured_at"])
        high = clock.day_end(low) if "measured_at" in (row.get("date_only") or "").split() else low
        p = patients[row["patient_id"]]
        (p.weights if row["kind"] == "weight" else p.heights).append((low, high, exact(row["value"]), METHODS.get(row.get("method"), 3)))
    bleeding_days, medicine_days = set(), set()
    for row in tables["events"] or []:
        e = Span(row, row["kind"], "at", clock)
        if row["patient_id"] in plasma:
            patients[row["patient_id"]].events.append(e)
        if e.kind == "bleeding":
            bleeding_days.add(clock.day(e.at))
    for row in tables["medicines"] or []:
        m = Span(row, row["medicine"], "given_at", clock)
        if row["patient_id"] in plasma:
            patients[row["patient_id"]].medicines.append(m)
        medicine_days.add(clock.day(m.at))
    if tables.get("recorded"):
        rows = tables["recorded"]
        return patients, *(Recorded.told([row for row in rows if row["what"] == what]) for what in ("bleeding", "medicines"))
    return patients, Recorded(bleeding_days), Recorded(medicine_days)
