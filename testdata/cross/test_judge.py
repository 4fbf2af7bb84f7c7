"""The contract's own small vectors: python3 -m unittest discover testdata/cross"""

import datetime as dt
import unittest
from decimal import Decimal

from facts import DEFAULTS, HOUR, Clock, Patient, Result, Unit, instant
from judge import band, episodes_of, expected_change, ideal_weight, over, per_kg, plausible_weights, population, run_of_red_cells, under
from facts import WEIGHT_FOR_AGE

P = DEFAULTS
CLOCK = Clock("Europe/London")


def unit(number, issued, ended="", **more):
    return Unit(dict(unit_no=number, product_code="F", component="plasma", patient_id="P", fate="transfused", issued_at=issued,
                     ended_at=ended, nominal_ml="275", **more), P, CLOCK)


def result(value, bound="", at="2025-03-10T09:00Z"):
    return Result(dict(value=value, bound=bound, collected_at=at), CLOCK)


class Vectors(unittest.TestCase):
    def test_episode_number(self):
        patient = Patient()
        patient.units = [unit("A", "2025-07-01 09:00:00")]
        self.assertEqual(episodes_of("P", patient, P)[0].id, "3667024d825a9198")

    def test_gap_is_closed(self):
        for issued, count in (("2025-03-10T17:00Z", 1), ("2025-03-10T17:00:00.000001Z", 2), ("2025-03-10T17:01Z", 2)):
            patient = Patient()
            patient.units = [unit("A", "2025-03-10T09:00Z", "2025-03-10T11:00Z"), unit("B", issued)]
            self.assertEqual(len(episodes_of("P", patient, P)), count, issued)

    def test_dose_and_band(self):
        for ml, kg, want, where in ((550, 80, 6.875, "below"), (1100, 70, 15.714286, "within"), (800, 80, 10, "within"), (760, 80, 9.5, "within"),
                                    (1640, 80, 20.5, "within"), (800, 82, 9.756098, "within"), (1641, 80, 20.5125, "above"), (759, 80, 9.4875, "below")):
            x = per_kg(Decimal(ml), Decimal(kg))
            self.assertEqual((x, band(x, "adult", 2, P)), (want, where))

    def test_weight_by_formula(self):
        patient = Patient()
        patient.sex, patient.heights = "F", [(0, 0, Decimal(165), 0)]
        ideal = ideal_weight(patient, instant("2025-03-10T09:00Z"))
        doses = [round(1100 / kg, 2) for kg in (120, ideal + 0.4 * (120 - ideal), ideal)]
        self.assertEqual(doses, [9.17, 13.39, 19.33])

    def test_expected_after(self):
        self.assertEqual([round(inr + expected_change(inr, 2, P), 3) for inr in (2.0, 3.0)], [1.560, 1.957])
        self.assertEqual(expected_change(1.27, 4, P), 0)  # 0.37 × 1.27 is under 0.47

    def test_bounds_over(self):
        for value, bound, want in (("1.5", "", False), ("1.6", "", True), ("9", ">", True), ("2.0", "<", None), ("1.5", ">=", None), ("1.5", "<=", False),
                                   ("1.5", "<", False), ("1.5", ">", True), ("1.6", ">=", True), ("1.6", "<=", None), ("", "", True)):
            self.assertIs(over(result(value, bound), 1.5), want, (value, bound))

    def test_bounds_under(self):
        for value, bound, want in (("0.5", "<", True), ("1.5", "", False), ("1.4", "", True), ("1.5", "<", True), ("1.5", "<=", None), ("1.4", "<=", True),
                                   ("1.5", ">=", False), ("1.5", ">", False), ("1.4", ">", None), ("1.6", "<", None), ("", "", True)):
            self.assertIs(under(result(value, bound), 1.5), want, (value, bound))

    def test_population(self):
        birth = dt.date(2009, 3, 11)
        for day, want in ((dt.date(2009, 4, 7), "newborn"), (dt.date(2009, 4, 8), "child"), (dt.date(2025, 3, 10), "child"),
                          (dt.date(2025, 3, 11), "adult"), (dt.date(2009, 3, 10), "adult")):
            self.assertEqual(population(birth, day, P), want, day)

    def test_weights_out_of_line(self):
        day = lambda n: instant(f"2025-03-{n:02d}T08:00Z")
        patient = Patient()
        patient.birth = dt.date(1970, 1, 1)
        weight = lambda n, kg: (day(n), day(n), Decimal(kg), 0)
        for given, kept in (([(1, 70), (2, 71), (3, 155)], [70, 71]), ([(1, 70), (2, 155)], []), ([(1, 70), (2, 140)], [70, 140]),
                            ([(1, 19), (2, 70)], [70]), ([(1, 401), (2, 70)], [70])):
            patient.weights = [weight(*w) for w in given]
            self.assertEqual([w[2] for w in plausible_weights(patient, CLOCK, WEIGHT_FOR_AGE)], kept, given)

    def test_red_cells_across_the_episode(self):
        patient = Patient()
        patient.units = [unit("A", "2025-03-10T10:00Z", "2025-03-10T11:00Z")]
        e = episodes_of("P", patient, P)[0]
        near = [e.t0 + m * HOUR // 4 for m in range(4)]
        self.assertTrue(run_of_red_cells(e, near, 4, HOUR))
        self.assertFalse(run_of_red_cells(e, near, 5, HOUR))
        self.assertFalse(run_of_red_cells(e, [t + 2 * HOUR for t in near], 4, HOUR))   # all after it
        self.assertFalse(run_of_red_cells(e, [t - HOUR for t in near], 4, HOUR))       # all before it
        self.assertTrue(run_of_red_cells(e, [e.t0 - k * HOUR // 3 for k in range(4)], 4, HOUR))  # both edges

    def test_local_days(self):
        self.assertEqual(CLOCK.day(instant("2025-07-01T23:30Z")), dt.date(2025, 7, 2))
        self.assertEqual(CLOCK.day_end(instant("2025-10-25T23:00Z")), instant("2025-10-26T23:59:59.999999Z"))  # a day of 25 hours


if __name__ == "__main__":
    unittest.main()
