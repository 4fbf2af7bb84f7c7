"""The findings, section 10 of the contract, of episodes that the judge made: from
the contract's table alone. Each rule gives True (fired), False (clear) or None
(not known); what it does not judge it does not give. Those that fired are
compared.
"""

from collections import defaultdict
from decimal import Decimal

from facts import DAY, HOUR, Unit, instant, told
from judge import age, over, span

APART = ("plasma_exchange", "circuit_prime", "major_haemorrhage")
RATIOS = ("inr", "pt_ratio", "aptt_ratio")
SAFETY = {"abo_incompatible", "given_to_other", "after_expiry", "thaw_overrun", "reaction_after", "volume_risk"}
DATA = {"response_confounded", "bleeding_inferred", "weight_missing", "weight_stale", "weight_basis_decides", "birth_date_missing", "patient_missing",
        "times_assumed", "indication_missing", "indication_unmapped", "volume_assumed", "fate_unknown"}
NEEDS = dict(
    abo_incompatible=("patients",), abo_emergency_a=("patients",), ab_plasma_spent=("patients",), birth_date_missing=("patients",),
    reaction_after=("events",), cirrhosis_number=("events",), exchange_reason=("events",),
    volume_risk=("measures",), over_dose=("measures",), two_units_below_band=("measures",), small_dose_answered=("measures",),
    small_dose_stopped=("measures",), weight_missing=("measures",), weight_stale=("measures",), weight_basis_decides=("measures",),
    less_than_expected=("medicines",), reversal_without_concentrate=("medicines",), doac_given_plasma=("medicines",), response_confounded=("medicines",))


def severity(name):
    return "safety" if name in SAFETY else "data" if name in DATA else "practice"


def day_end(row, column, clock):
    """A time as told, and the end of its day where it was told as a date alone."""
    at = instant(row.get(column))
    if at is not None and column in (row.get("date_only") or "").split():
        return clock.day_end(at)
    return at


def any_of(*values):
    """True if any is, False if all are, else not known."""
    return True if any(v is True for v in values) else None if any(v is None for v in values) else False


def both(a, b):
    return False if a is False or b is False else None if a is None or b is None else True


def of_episode(row, clock, others):
    """Rules of one transfused episode: name → fired, clear or not known."""
    e, p, patient, basis, group = row["episode"], row["policy"], row["patient"], row["basis"], row["population"]
    before, after, newborn, dosed = row["before"], row["after"], group == "newborn", basis not in APART
    found, events, medicines = {}, patient.events, patient.medicines
    diagnosed = lambda detail: any(x.kind == "diagnosis" and x.detail == detail and x.low <= e.t1 for x in events)
    limits = dict(overload=12, lung_injury=6)
    found["reaction_after"] = any(x.kind == "reaction" and x.meets(e.t0, e.t1 + limits.get(x.detail, 24) * HOUR) for x in events)
    found["bleeding_inferred"] = basis == "bleeding" and all(x.inferred or x.minor for x in row["pieces"])
    old = age(patient.birth, clock.day(e.t0))
    found["birth_date_missing"] = old is None
    in_window = row["weight_at"] is not None
    older = any(w[0] <= e.t0 for w in row["weights"])
    found["weight_missing"], found["weight_stale"] = not in_window and not older, not in_window and older
    found["weight_basis_decides"] = row.get("basis_decides", False)
    if basis == "plasma_exchange":
        found["exchange_reason"] = not any(x.kind == "diagnosis" and x.detail == "ttp" and x.meets(e.t0 - span(p["ttp_before_d"], DAY), e.t1 + span(p["ttp_after_d"], DAY)) for x in events)
    if not newborn:
        found["test_too_old"] = row["too_old"]
        holds = [t for t in ("inr", "pt_ratio", "aptt_ratio", "viscoelastic", "fibrinogen") if row["criterion_" + t]]
        if basis.startswith("procedure") or basis in ("none_found", "not_known"):
            known = [row[t + "_before_known"] for t in holds]
            found["result_not_awaited"] = both(row["coagulopathy"] == "shown", False if True in known else None if None in known else True)
        liver = diagnosed("liver_disease") or "liver_disease" in e.indications()
        found["cirrhosis_number"] = (liver and (basis.startswith("procedure") or basis == "none_found") and row["coagulopathy"] == "shown"
                                     and set(holds) <= {"inr", "pt_ratio"})
    if not dosed:
        return found
    band, course = row["dose_band"], row["course"]
    band_is = lambda b: None if band == "not_known" else band == b
    found["over_dose"] = band_is("above")
    found["two_units_below_band"] = both(len(e.given) == 2, band_is("below"))
    found["small_dose_stopped"] = None if band == "not_known" else course == "stopped"
    found["no_test_before"] = not any(t in before for t in RATIOS)
    found["no_test_after"] = not any(t in after for t in RATIOS)
    found["doac_given_plasma"] = any(m.kind == "direct_oral_anticoagulant" and m.meets(e.t0 - 2 * DAY, e.t0) for m in medicines)
    confounded = response_confounded(row, patient)
    found["response_confounded"] = confounded
    large = any_of(row["possible_ml"] >= Decimal(str(p["risk_volume_ml"])), None if row["dose_possible"] is None else row["dose_possible"] > p["risk_dose"],
                   rate_over(row, p))
    risk = any_of(diagnosed("heart_failure") or diagnosed("renal_failure") or (False if others["events"] else None),
                  None if old is None else old[1] >= p["risk_age"])
    found["volume_risk"] = both(large, risk)
    if newborn:
        return found
    found["small_dose_answered"] = None if band == "not_known" else course == "answered"
    found["still_prolonged"] = any_of(*(both(over(before[t], row["limit"]) if t in before else None, over(after[t], row["limit"]) if t in after else None)
                                        for t in ("inr", "pt_ratio")))
    found["fibrinogen_only"] = None if row["coagulopathy"] == "not_known" else row["shown_by"] == "fibrinogen"
    vka = any(m.kind == "vitamin_k_antagonist" and m.meets(e.t0 - span(p["vka_d"], DAY), e.t0) for m in medicines) or "anticoagulant_reversal" in e.indications()
    concentrate = any(m.kind == "prothrombin_complex" and m.meets(e.t0 - DAY, e.t0 + DAY) for m in medicines)
    found["reversal_without_concentrate"] = vka and not concentrate and any_of(row["criterion_inr"], row["criterion_pt_ratio"])
    if not basis.startswith("bleeding"):
        found["less_than_expected"] = less_than_expected(row, p, confounded)
    return found


def rate_over(row, p):
    """A given unit with recorded times ran too fast for the weight."""
    rates = []
    for u in row["members"]:
        if u.given and u.times_basis == "recorded" and u.finish > u.begin:
            if row["weight_kg"] is None:
                return None
            ml_per_kg_h = float(u.given_ml) / ((u.finish - u.begin) / HOUR) / float(row["weight_kg"])
            rates.append(round(ml_per_kg_h, 6) > p["risk_rate_ml_kg_h"])
    return any(rates)


def response_confounded(row, patient):
    pairs = [(row["before"][t].at, row["after"][t].at) for t in ("inr", "pt_ratio", "aptt_ratio", "fibrinogen") if t in row["before"] and t in row["after"]]
    for first, last in pairs:
        if any(m.kind in ("prothrombin_complex", "fibrinogen_concentrate") and m.meets(first, last) or m.kind == "vitamin_k" and m.meets(first - 12 * HOUR, last)
               for m in patient.medicines):
            return True
        if any(u.component == "cryoprecipitate" and u.given and u.begin is not None and first <= u.begin <= last for u in patient.units):
            return True
    return False


def less_than_expected(row, p, confounded):
    before, after = row["before"].get("inr"), row["after"].get("inr")
    if before is not None and before.bound is None and before.value < p["response_from_inr"]:
        return False
    if confounded:
        return False
    if row["change_inr"] is None or row["expected_change_inr"] is None or before.poc or after.poc:
        return None
    return row["change_inr"] > 0.5 * row["expected_change_inr"]


def of_unit(row, u, p, clock, basis, patient, abo, bag_patients):
    """Rules of one plasma unit and issue."""
    found = {"volume_assumed": u.volume_basis == "assumed", "fate_unknown": u.fate_unknown}
    started, ended = instant(row.get("started_at")), instant(row.get("ended_at"))
    expires = instant(row.get("expires_at"))
    if started is not None and expires is not None:
        found["after_expiry"] = started > expires
    thawed = day_end(row, "thawed_at", clock)
    if started is not None and thawed is not None:
        life = p["thawed_life_h_thawed"] if row.get("product") == "thawed" else p["thawed_life_h"]
        found["thaw_overrun"] = started > thawed + span(life, HOUR)
    if u.patient is not None and u.issued is not None:
        found["indication_missing"] = u.indication is None and not row.get("indication_raw")
        found["indication_unmapped"] = u.indication is None and bool(row.get("indication_raw"))
    if not u.given:
        return found
    found["patient_missing"], found["times_assumed"] = u.patient is None, u.times_basis == "assumed"
    if ended is not None and started is not None:
        left = day_end(row, "left_storage_at", clock)
        found["late_finish"] = ended > (left if left is not None else u.issued) + span(p["storage_to_end_h"], HOUR)
    if u.fate == "transfused":
        found["given_to_other"] = len(bag_patients[u.bag]) > 1 if u.patient is not None else None
    group = row.get("unit_abo") or None
    transplant = patient is not None and any(x.kind == "diagnosis" and x.detail == "stem_cell_transplant" and x.low <= u.begin for x in patient.events)
    if group is not None:
        may = dict(O="O A B AB", A="A AB", B="B AB", AB="AB").get(abo, "AB").split()
        wrong = None if u.patient is None else not transplant and group not in may
        emergency = group == "A" and basis == "major_haemorrhage"
        found["abo_incompatible"], found["abo_emergency_a"] = both(wrong, not emergency), both(wrong, emergency)
        if group == "AB" and basis != "major_haemorrhage":
            found["ab_plasma_spent"] = None if u.patient is None or abo is None else abo != "AB"
    return found


def findings(ours, patients, tables, clock, policy_of, run):
    """Fired findings: (finding, key, severity)."""
    fired, by_unit = set(), {}
    for key, row in ours.items():
        for u in row["members"]:
            by_unit[(u.bag, u.issued)] = row
        if row["outcome"] == "transfused":
            for name, result in of_episode(row, clock, {"events": "events" in run}).items():
                if result:
                    fired.add((name, key, severity(name)))
    abo = {r["patient_id"]: r.get("abo") or None for r in tables["patients"] or []}
    bag_patients = defaultdict(set)
    plasma = [r for r in tables["issues"] if r["component"] == "plasma"]
    for r in plasma:
        if r["fate"] == "transfused" and r.get("patient_id"):
            bag_patients[r["bag"]].add(r["patient_id"])
    for r in plasma:
        issued = instant(r.get("issued_at"))
        since = next((instant(r[c]) for c in ("issued_at", "thawed_at", "discarded_at") if r.get(c)))
        p = policy_of(clock.local(since).date())
        u = Unit(r, p, clock)
        episode = by_unit.get((r["bag"], issued))
        if episode is not None:
            p = episode["policy"]
        found = of_unit(r, u, p, clock, episode["basis"] if episode else None, patients.get(u.patient), abo.get(u.patient), bag_patients)
        key = "|".join((u.unit_no, u.product_code, u.patient or "", told(issued) if issued is not None else ""))
        for name, result in found.items():
            if result:
                how = "practice" if name == "abo_incompatible" and u.fate == "presumed" else severity(name)
                fired.add((name, key, how))
    absent = {name for name, feeds in NEEDS.items() if any(f not in run for f in feeds)}
    return {f for f in fired if f[0] not in absent}
