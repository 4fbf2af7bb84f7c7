"""Plasma units and bags: sections 1 and 11 of the contract on episodes, read from
the current issues alone. Neither looks at an episode; which episode a unit
belongs to comes from the judge.
"""

from collections import defaultdict

from facts import HOUR, Unit, instant

# Of a bag's rows, the first of these fates that any row tells.
FATES = ("transfused", "presumed", "discarded", "transferred", "unknown", "returned")
AVOIDABLE = {"expired_after_thaw", "out_of_temperature", "no_longer_needed", "wrong_unit"}


def key_of(row):
    """Bag and issue of a row, as exported by either."""
    return row["bag"], instant(row.get("issued_at"))


def units(issues, policy, clock, episodes):
    """Plasma units by bag and issue; episodes holds an episode's number by the same."""
    found = {}
    for row in issues:
        if row["component"] != "plasma":
            continue
        u = Unit(row, policy, clock)
        found[key_of(row)] = dict(
            unit_no=u.unit_no, product_code=u.product_code, bag_no=row.get("bag_no") or None, patient_id=u.patient, fate=u.fate, given=u.given,
            episode_id=episodes.get(key_of(row)), volume=u.volume, volume_basis=u.volume_basis, given_ml=u.given_ml, begin=u.begin,
            finish=u.finish, times_basis=u.times_basis, source_file=row["source_file"], source_row=row["source_row"])
    return found


def bags(issues, clock):
    """Plasma bags that were thawed, issued or discarded, by identity."""
    rows = defaultdict(list)
    for row in issues:
        if row["component"] == "plasma":
            rows[row["bag"]].append(row)
    return {bag: one_bag(told, clock) for bag, told in rows.items()}


def one_bag(rows, clock):
    def first(column):
        return min((instant(r.get(column)) for r in rows if r.get(column)), default=None)

    thawed, issued, discarded = first("thawed_at"), first("issued_at"), first("discarded_at")
    fates = {r["fate"] for r in rows}
    fate = next(f for f in FATES if f in fates)
    since = next(t for t in (thawed, issued, discarded) if t is not None)
    # The last issue; what was told without one comes after it where it tells of a discard.
    last = max(rows, key=lambda r: (bool(not r.get("issued_at") and r.get("discarded_at")), instant(r.get("issued_at")) or 0))
    reason = next((r["discard_reason"] for r in rows if r["fate"] == "discarded" and r.get("discard_reason")), None) if fate == "discarded" else None
    end = next((instant(last[c]) for c in ("started_at", "discarded_at", "returned_at") if last.get(c)), None)
    return dict(
        unit_no=last["unit_no"], product_code=last["product_code"], bag_no=last.get("bag_no") or None, product=last.get("product") or None,
        unit_abo=last.get("unit_abo") or None, location=last.get("location") or None, month=clock.local(since).strftime("%Y-%m"), fate=fate,
        frozen_loss=fate == "discarded" and thawed is None and issued is None and last.get("product") not in ("liquid", "dried"),
        reason=reason, avoidable=reason in AVOIDABLE if reason else None, thawed_at=thawed,
        hours_thaw_to_fate=(end - thawed) / HOUR if end is not None and thawed is not None else None)
