"""Episodes and marks, computed from the contract's text alone. The numbers in
the comments are its sections."""

import hashlib
import math
from collections import Counter
from decimal import Decimal, ROUND_HALF_UP
from fractions import Fraction

from facts import DAY, HOUR, told

TESTS = ("inr", "pt_ratio", "aptt_ratio", "viscoelastic", "fibrinogen", "hb", "platelets")
CRITERIA = ("inr", "pt_ratio", "aptt_ratio", "viscoelastic", "fibrinogen")


def span(amount, unit):
    return round(amount * unit)


class Episode:
    """Plasma units of one patient, issued close together in time (2)."""

    def __init__(self, number, units):
        self.number, self.units = number, units
        self.given = [u for u in units if u.given]
        self.first = units[0].issued
        self.t0 = min((u.begin for u in self.given), default=min(u.issued for u in units))
        self.t1 = max((u.finish for u in self.given), default=self.t0)
        self.id = hashlib.sha256(f"{number}|{told(self.first)}|{units[0].unit_no}".encode()).hexdigest()[:16]
        if self.given:
            self.outcome = "transfused"
        elif any(u.fate_unknown for u in units):
            self.outcome = "unknown"
        elif any(u.fate == "discarded" for u in units):
            self.outcome = "lost"
        else:
            self.outcome = "returned"

    def indications(self):
        return {u.indication for u in self.units if u.indication}


def episodes_of(number, patient, p):
    plasma = sorted((u for u in patient.units if u.component == "plasma" and u.issued is not None),
                    key=lambda u: (u.issued, u.unit_no, u.product_code, u.bag_no))
    groups, touch = [], None
    for u in plasma:
        if touch is None or u.issued - touch > span(p["episode_gap_h"], HOUR):
            groups.append([])
        groups[-1].append(u)
        touched = u.finish if u.given else u.issued
        touch = touched if touch is None else max(touch, touched)
    return [Episode(number, g) for g in groups]


# Dose (3)

def age(birth, day):
    """Whole days and whole years, or None without a birth date by that day."""
    if birth is None or birth > day:
        return None
    return (day - birth).days, day.year - birth.year - ((day.month, day.day) < (birth.month, birth.day))


def population(birth, day, p):
    old = age(birth, day)
    if old is None:
        return "adult"
    return "newborn" if old[0] < 28 else "child" if old[1] < p["adult_from_years"] else "adult"


def median(values):
    s = sorted(values)
    middle = len(s) // 2
    return Fraction(s[middle]) if len(s) % 2 else (Fraction(s[middle - 1]) + Fraction(s[middle])) / 2


def plausible_weights(patient, clock, table):
    """Weights possible for the age, and not out of line with those around."""
    possible = []
    for w in patient.weights:
        old = age(patient.birth, clock.day(w[0])) or (10**6, 10**3)  # without a birth date judged as adult
        for days, years, low, high in table:
            if days is not None and old[0] < days or years is not None and old[1] < years or days is None and years is None:
                break
        if not low <= float(w[2]) <= high:
            continue
        possible.append(w)
    kept = []
    for w in possible:
        others = [o[2] for o in possible if o is not w and o[0] <= w[1] + 30 * DAY and o[1] >= w[0] - 30 * DAY]
        if others:
            usual = median(others)
            if Fraction(w[2]) > 2 * usual or 2 * Fraction(w[2]) < usual:
                continue
        kept.append(w)
    return kept


def actual_weight(weights, t0, group, p):
    """The weight that counts, as (low, high, kg, rank), or None."""
    before, after = span(p["weight_before_d_" + group], DAY), span(p["weight_after_d_" + group], DAY)
    earlier = [w for w in weights if w[0] <= t0 and w[1] >= t0 - before]
    if earlier:
        return min(earlier, key=lambda w: (-w[0], w[3]))
    later = [w for w in weights if t0 < w[0] <= t0 + after]
    return min(later, key=lambda w: (w[0], w[3])) if later else None


def ideal_weight(patient, t0):
    """Devine: 50 kg (men) or 45.5 kg (women) and 2.3 kg an inch over 60."""
    base = {"M": 50.0, "F": 45.5}.get(patient.sex)
    by = [h for h in patient.heights if h[0] <= t0]
    first = [h for h in patient.heights if h[0] > t0]
    if base is None or not (by or first):
        return None
    height = min(by, key=lambda h: (-h[0], h[3])) if by else min(first, key=lambda h: (h[0], h[3]))
    ideal = base + 2.3 * (float(height[2]) / 2.54 - 60)
    return ideal if ideal > 0 else None


def grams(kg):
    """A weight by a formula, kept as weights are: to the gram."""
    return None if kg is None else Decimal(str(kg)).quantize(Decimal("0.001"), ROUND_HALF_UP)


def per_kg(ml, kg):
    return float((ml / Decimal(str(kg))).quantize(Decimal("0.000001"), ROUND_HALF_UP))


def band(x, group, given, p):
    low, high = (p["dose_low"], p["dose_high"]) if group == "adult" else (p["child_dose_low"], p["child_dose_high"])
    if x < low - p["dose_tolerance"]:
        return "within" if p["full_dose_units"] is not None and given >= p["full_dose_units"] else "below"
    return "above" if x > high + p["dose_tolerance"] else "within"


def dose(e, patient, weights, group, p):
    """weight_kg, weight_at, delivered_ml, possible_ml, dose, dose_possible, dose_band."""
    scale = actual_weight(weights, e.t0, group, p)
    actual = scale[2] if scale else None
    ideal = ideal_weight(patient, e.t0) if group == "adult" else None
    adjusted = ideal + 0.4 * (float(actual) - ideal) if ideal is not None and actual is not None else None
    weight = actual
    if group == "adult" and p["weight_basis"] != "actual":
        weight = grams(ideal if p["weight_basis"] == "ideal" else adjusted)
    delivered = sum((u.given_ml for u in e.units), Decimal(0))
    possible = delivered + sum((u.volume for u in e.units if u.fate_unknown), Decimal(0))
    facts = dict(weight_kg=weight, weight_at=scale[0] if scale else None, delivered_ml=delivered, possible_ml=possible, dose=None, dose_possible=None, dose_band="not_known")
    if e.outcome != "transfused" or weight is None:
        return facts
    if group == "newborn" and any((u.given and not u.has_transfused_ml or u.fate_unknown) and not u.recorded_volume
                                  and not (u.nominal is not None and u.nominal < 100) for u in e.units):
        return facts

    def common_band(kg):
        bands = {band(per_kg(ml, kg), group, len(e.given), p) for ml in (delivered, possible)}
        return bands.pop() if len(bands) == 1 else "not_known"

    facts["basis_decides"] = False
    facts.update(dose=per_kg(delivered, weight), dose_possible=per_kg(possible, weight), dose_band=common_band(weight))
    if ideal is not None and actual is not None and float(actual) > 1.2 * ideal and common_band(actual) != common_band(grams(adjusted)):
        facts["dose_band"], facts["basis_decides"] = "not_known", True
    return facts


# Laboratory (4)

def around(e, patient, previous, following, p):
    """The result before and after of each test."""
    before, after = {}, {}
    first, last = e.t0 - span(p["before_h"], HOUR), e.t1 + span(p["after_h"], HOUR)
    for test in TESTS:
        counted = [r for r in patient.results[test] if p["use_point_of_care"] or not r.poc]
        earlier = [r for r in counted if r.at <= e.t0 and r.high >= first and (previous is None or r.high > previous.t1)]
        if earlier:
            before[test] = min(earlier, key=lambda r: (-r.at, r.poc))
        later = [r for r in counted if not r.date_alone and e.t1 < r.at <= last and (following is None or r.at < following.t0)]
        if later:
            after[test] = min(later, key=lambda r: (r.at, r.poc))
    return before, after


def expected_change(inr, units, p):
    left = inr
    for _ in range(units):
        fall = p["expected_inr_slope"] * left - p["expected_inr_offset"]
        if fall <= 0:
            break
        left -= fall
    return left - inr


# Bleeding evidence (5)

class Piece:
    """One row of evidence."""
    __slots__ = ("source", "at", "detail")

    def __init__(self, source, at, detail=None):
        self.source, self.at, self.detail = source, at, detail

    @property
    def inferred(self):
        return self.source in ("red_cells", "hb_fall")

    @property
    def minor(self):
        return self.source == "event" and self.detail == "minor"


def gather_evidence(e, patient, group, p):
    """Pieces of evidence."""
    rows = []
    start = e.t0 - span(p["bleeding_before_h"], HOUR)
    for x in patient.events:
        if x.kind == "bleeding" and x.meets(start, e.t1):
            rows.append(Piece("event", x.at, x.detail))
    for u in e.units:
        if u.indication in ("bleeding", "major_haemorrhage"):
            rows.append(Piece("indication", u.issued))
    near = e.t0 - span(p["activation_before_h"], HOUR)
    calls = [(x.at, x.detail == "stood_down") for x in patient.events if x.kind == "activation" and x.meets(near, e.t1)]
    bags = [u for u in patient.units if u.activation and u.issued is not None]
    in_window = [u for u in bags if u.issued <= e.t1 and u.issued_high >= near]
    order = sorted(calls + [(u.issued, False) for u in in_window])
    if not (order and order[-1][1]):
        rows += [Piece("activation", at) for at, _ in calls]
        rows += [Piece("activation", u.issued) for u in bags if u in in_window or u in e.units]
    red = [u for u in patient.units if u.component == "red_cells" and u.given]
    if group == "adult":
        side = span(p["red_cell_h"], HOUR)
        near_red = [u for u in red if u.issued is not None and u.issued <= e.t0 + side and u.issued_high >= e.t0 - side]
        if len(near_red) >= p["red_cell_units"]:
            rows.append(Piece("red_cells", min(u.issued for u in near_red), len(near_red)))
        fall = largest_fall(e, patient, red, start, p)
        if fall is not None:
            rows.append(Piece("hb_fall", fall[1], fall[0]))
    return rows


def largest_fall(e, patient, red, start, p):
    """The largest fall of haemoglobin, and when its later sample was taken."""
    hb = [r for r in patient.results["hb"] if r.bound is None and r.at <= e.t0 and r.high >= start and (p["use_point_of_care"] or not r.poc)]
    plasma = [u for u in patient.units if u.component == "plasma" and u.given and u.begin is not None]
    best = None
    for a in hb:
        for b in hb:
            if a.poc != b.poc or a.high >= b.at or any(u.begin < b.high and u.finish > a.at for u in plasma):
                continue
            between = sum(1 for u in red if u.begin is not None and a.at <= u.begin < b.at)
            fall = a.value - b.value + p["hb_per_red_cell_g_l"] * between
            if fall >= p["hb_fall_g_l"] and (best is None or (fall, -b.at) > (best[0], -best[1])):
                best = (fall, b.at)
    return best


def would_be_seen(e, patient, group, recorded, clock, p):
    start = e.t0 - span(p["bleeding_before_h"], HOUR)
    if group != "adult" and any(u.component == "red_cells" and u.given and u.begin is not None and start <= u.begin <= e.t1 for u in patient.units):
        return False
    feeds = p["bleeding_recorded_in"].split()
    if "events" in feeds and recorded.covers(clock.day(start), clock.day(e.t1)):
        return True
    return "indication" in feeds and e.indications() == {"raised_inr"}


# Basis of use (6)

def run_of_red_cells(e, times, units, within):
    """Whether that many times lie that close together, across the episode."""
    times = sorted(times)
    for i, first in enumerate(times):
        inside = [t for t in times[i:] if t - first <= within]
        if len(inside) >= units and first <= e.t1 and inside[-1] >= e.t0:
            return True
    return False


def find_basis(e, patient, evidence, seen, p):
    told_for = e.indications()
    hours = lambda name: span(p[name], HOUR)
    exchange = any(x.kind == "exchange" and x.meets(e.t0 - hours("exchange_h"), e.t1 + hours("exchange_h"))
                   or x.kind == "diagnosis" and x.detail == "ttp"
                   and x.meets(e.t0 - span(p["ttp_before_d"], DAY), e.t1 + span(p["ttp_after_d"], DAY)) for x in patient.events)
    if exchange or "plasma_exchange" in told_for:
        return "plasma_exchange"
    if "circuit_prime" in told_for:
        return "circuit_prime"
    red = [u for u in patient.units if u.component == "red_cells" and u.given]
    if (any(x.source == "activation" for x in evidence) or "major_haemorrhage" in told_for
            or run_of_red_cells(e, [u.issued for u in red if u.issued is not None], p["massive_red_cell_units"], hours("massive_red_cell_h"))
            or run_of_red_cells(e, [u.started for u in red if u.started is not None], p["rapid_red_cell_units"], hours("rapid_red_cell_h"))):
        return "major_haemorrhage"
    if "factor_deficiency" in told_for:
        return "factor_deficiency"
    if evidence:
        return "bleeding_minor" if all(x.minor for x in evidence) else "bleeding"
    low, high = e.t0 - hours("procedure_before_h"), e.t0 + hours("procedure_after_h")
    risks = set()
    for x in patient.events:
        if x.kind != "procedure":
            continue
        ends = max(x.high, x.at + hours("procedure_assumed_h")) if x.open_end else x.high
        if x.low <= high and ends >= low:
            risks.add(x.detail)
    if "high" in risks:
        return "procedure_high"
    if risks - {"low"} or not risks and "procedure" in told_for:
        return "procedure"
    if risks:
        return "procedure_low" if seen else "not_known"
    return "none_found" if seen else "not_known"


# Coagulopathy (7)

def over(r, limit):
    """Whether every value that the result allows is over the limit."""
    if r.bound == "unclottable":
        return True
    if r.bound is None:
        return r.value > limit
    if r.bound == ">" and r.value >= limit or r.bound == ">=" and r.value > limit:
        return True
    return False if r.bound in ("<", "<=") and r.value <= limit else None


def under(r, limit):
    if r.bound == "unclottable":
        return True
    if r.bound is None:
        return r.value < limit
    if r.bound == "<" and r.value <= limit or r.bound == "<=" and r.value < limit:
        return True
    return False if r.bound in (">", ">=") and r.value >= limit else None


def limits_of(e, patient, basis, p):
    """The limits that hold for the episode: over (INR and PT), under."""
    if not basis.startswith("procedure"):
        return p["over_bleeding"], p["fibrinogen_under_bleeding"]
    liver = "liver_disease" in e.indications() or any(
        x.kind == "diagnosis" and x.detail == "liver_disease" and x.low <= e.t1 for x in patient.events)
    return p["over_liver_procedure" if liver else "over_procedure"], p["fibrinogen_under_procedure"]


def weigh_criteria(before, patient, limit, floor, medicines, clock, p):
    c = dict.fromkeys(CRITERIA)
    for test in ("inr", "pt_ratio"):
        if test in before:
            c[test] = over(before[test], limit)
    if "viscoelastic" in before and p["viscoelastic_over"] is not None:
        c["viscoelastic"] = over(before["viscoelastic"], p["viscoelastic_over"])
    if "fibrinogen" in before:
        c["fibrinogen"] = under(before["fibrinogen"], floor)
    if "aptt_ratio" in before:
        sample = before["aptt_ratio"]
        day_before = sample.at - DAY
        heparin = any(m.kind == "heparin" and m.meets(day_before, sample.high) for m in patient.medicines)
        told_of = medicines.covers(clock.day(day_before), clock.day(sample.high))
        if not heparin and (told_of or any(v is True for v in c.values())):
            c["aptt_ratio"] = over(sample, p["aptt_ratio_over"])
    return c


# Not known, since every sample that would decide came too early.
TOO_OLD = "not_known, too old"


def decide_coagulopathy(e, patient, before, criteria, basis, group, evidence, p):
    if group == "newborn":
        return "not_known"
    if any(v is True for v in criteria.values()):
        return "shown"
    deciding = [before[t] for t in ("inr", "pt_ratio") if criteria[t] is False]
    if not deciding:
        return "not_known"
    if basis in ("bleeding", "bleeding_minor", "procedure_high", "procedure"):
        seen = min((x.at for x in evidence if x.source in ("event", "activation")), default=None)
        begun = [x.at for x in patient.events if x.kind == "procedure" and x.at < e.t0]

        def spent(r):
            # One told as a date alone is too old only where all of its day is.
            return seen is not None and r.high < seen or any(r.high < at for at in begun) or e.t0 - r.high > span(p["decides_h"], HOUR)
        if all(spent(r) for r in deciding):
            return TOO_OLD
    return "not_known" if "viscoelastic" in before and criteria["viscoelastic"] is None else "not_shown"


# Two more facts (8)

STOCKED = {"yes": "stocked", "no": "none", "not stated": "not_stated"}


def find_alternative(e, patient, criteria, shown_by, p):
    vka = any(m.kind == "vitamin_k_antagonist" and m.meets(e.t0 - span(p["vka_d"], DAY), e.t0) for m in patient.medicines)
    concentrate = any(m.kind == "prothrombin_complex" and m.meets(e.t0 - DAY, e.t0 + DAY) for m in patient.medicines)
    if (vka or "anticoagulant_reversal" in e.indications()) and (criteria["inr"] or criteria["pt_ratio"]) and not concentrate:
        return STOCKED[p["concentrate_stocked"]]
    if shown_by == ["fibrinogen"]:
        return STOCKED[p["fibrinogen_source_stocked"]]
    return "none"


def find_course(e, patient, dose_band, criteria, after, limit):
    if dose_band != "below":
        return "none"
    if any(criteria[t] is True and t in after and over(after[t], limit) is False for t in ("inr", "pt_ratio")):
        return "answered"
    if any(x.kind in ("reaction", "death") and x.meets(e.t0, e.t1 + DAY) for x in patient.events):
        return "stopped"
    return "stopped" if any(u.fate in ("returned", "discarded") for u in e.units) else "none"


def look_up(marks, facts):
    for number, (conditions, mark, because) in enumerate(marks, 1):
        if all(allowed is None or facts[k] in allowed for k, allowed in conditions.items()):
            return mark, number, because
    raise ValueError("the decision table has no row for a combination")


class Judge:
    """Turns patients into rows of episodes, by column name."""

    def __init__(self, periods, weight_for_age, marks, clock, bleeding, medicines):
        self.periods, self.weight_for_age, self.marks = periods, weight_for_age, marks
        self.clock, self.bleeding, self.medicines = clock, bleeding, medicines

    def policy_of(self, day):
        p = self.periods[0]
        for later in self.periods[1:]:
            if later["from"] is None or later["from"] <= day:
                p = later
        return p

    def patient(self, number, patient):
        episodes = episodes_of(number, patient, self.periods[0])
        if not episodes:
            return
        weights = plausible_weights(patient, self.clock, self.weight_for_age)
        for i, e in enumerate(episodes):
            previous = next((x for x in reversed(episodes[:i]) if x.outcome == "transfused"), None)
            following = next((x for x in episodes[i + 1:] if x.outcome == "transfused"), None)
            row = self.episode(e, patient, weights, previous, following)
            row.update(members=e.units, patient=patient, policy=self.policy_of(self.clock.local(e.first).date()), episode=e, weights=weights)
            yield row

    def episode(self, e, patient, weights, previous, following):
        local = self.clock.local(e.first)
        p = self.policy_of(local.date())
        group = population(patient.birth, self.clock.day(e.t0), p)
        first = e.units[0]
        row = dict(episode_id=e.id, patient_id=e.number, location=first.location, specialty=first.specialty, requester=first.requester,
                   policy_hash=p["policy_hash"], units=" ".join(sorted(u.unit_no for u in e.units)), month=local.strftime("%Y-%m"), weekday=local.isoweekday(),
                   hour=local.hour, first_issued_at=e.first, t0=e.t0, t1=e.t1, outcome=e.outcome, population=group, units_issued=len(e.units))
        fates = Counter(u.fate for u in e.units)
        for fate in ("transfused", "presumed", "returned", "discarded", "transferred", "unknown"):
            row["units_" + fate] = fates[fate]
        row.update(dose(e, patient, weights, group, p))
        before, after = around(e, patient, previous, following, p)
        asked = min((u.requested for u in e.units if u.requested is not None), default=e.first)
        for test in TESTS:
            b, a = before.get(test), after.get(test)
            row[test + "_before"], row[test + "_before_bound"] = (b.value, b.bound) if b else (None, None)
            row[test + "_before_at"] = b.at if b else None
            row[test + "_before_point_of_care"], row[test + "_after_point_of_care"] = b.poc if b else None, a.poc if a else None
            row[test + "_before_hours"] = (e.t0 - b.at) / HOUR if b else None
            row[test + "_before_known"] = b.resulted <= asked if b and b.resulted is not None else None
            row[test + "_after"], row[test + "_after_bound"] = (a.value, a.bound) if a else (None, None)
            row[test + "_after_at"] = a.at if a else None
            row[test + "_after_hours"] = (a.at - e.t1) / HOUR if a else None
        b, a = before.get("inr"), after.get("inr")
        row["change_inr"] = a.value - b.value if a and b and a.bound is None and b.bound is None else None
        row["expected_change_inr"] = None
        if b and b.bound is None and group == "adult" and e.outcome == "transfused" and p["expected_inr_slope"] * b.value > p["expected_inr_offset"]:
            row["expected_change_inr"] = expected_change(b.value, len(e.given), p)
        row["before"], row["after"] = before, after
        evidence = gather_evidence(e, patient, group, p)
        row["evidence"] = " ".join(sorted(x.source for x in evidence))
        row["pieces"] = evidence
        row.update(self.judged(e, patient, row["dose_band"], group, before, after, evidence, p))
        # The headline also stands with inferred evidence left out.
        recorded = [x for x in evidence if not x.inferred]
        row["mark_recorded"] = self.judged(e, patient, row["dose_band"], group, before, after, recorded, p)["mark"]
        row["shortfall_units"] = None
        if row["mark"] == "under-dosed":
            low = p["dose_low"] if group == "adult" else p["child_dose_low"]
            mean = Fraction(sum(u.volume for u in e.given)) / len(e.given)
            missing = Fraction(str(low)) * Fraction(str(row["weight_kg"])) - Fraction(row["delivered_ml"])
            row["shortfall_units"] = math.ceil(missing / mean)
        return row

    def judged(self, e, patient, dose_band, group, before, after, evidence, p):
        seen = would_be_seen(e, patient, group, self.bleeding, self.clock, p)
        basis = find_basis(e, patient, evidence, seen, p)
        limit, floor = limits_of(e, patient, basis, p)
        criteria = weigh_criteria(before, patient, limit, floor, self.medicines, self.clock, p)
        coagulopathy = decide_coagulopathy(e, patient, before, criteria, basis, group, evidence, p)
        too_old = coagulopathy == TOO_OLD
        if too_old:
            coagulopathy = "not_known"
        shown_by = [t for t in CRITERIA if criteria[t]] if coagulopathy == "shown" else []
        facts = dict(outcome=e.outcome, basis=basis, coagulopathy=coagulopathy, dose_band=dose_band,
                     alternative=find_alternative(e, patient, criteria, shown_by, p),
                     course=find_course(e, patient, dose_band, criteria, after, limit))
        facts["mark"], facts["mark_row"], facts["because"] = look_up(self.marks, facts)
        facts["shown_by"] = " ".join(shown_by) or None
        facts["limit"], facts["too_old"] = limit, too_old
        for test in CRITERIA:
            facts["criterion_" + test] = criteria[test]
        return facts
