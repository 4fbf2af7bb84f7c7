"""Makes the workbook of this folder: invented results in a sheet a month, a
list of weights, a sheet of notes, and a hidden one. Debian's python3-openpyxl."""
import datetime

from openpyxl import Workbook

book = Workbook()
for name, month in (("September", 9), ("October", 10)):
    sheet = book.create_sheet(name)
    sheet.append(["patient_id", "test", "value_raw", "unit_raw", "collected_at"])
    for day in range(1, 21):
        sheet.append([f"P{day:03}", "INR", 1 + day / 10, "1", datetime.datetime(2025, month, day, 8, 30)])
        sheet.append([f"P{day:03}", "HB", 90 + day, "g/L", datetime.datetime(2025, month, day, 8, 30)])
weights = book.create_sheet("Weights")
weights.append(["patient_id", "kind", "value_raw", "unit_raw", "measured_at"])
for day in range(1, 21):
    weights.append([f"P{day:03}", "WT", 60 + day, "kg", datetime.datetime(2025, 9, day, 7)])
notes = book.create_sheet("Notes")
notes.append([20250901])
hidden = book.create_sheet("Lists")
hidden.append(["Code"])
hidden.sheet_state = "hidden"
book.remove(book["Sheet"])
book.save("quarter.xlsx")
