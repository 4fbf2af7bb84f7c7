"""Writes openpyxl.xlsx: a workbook of another writer than ours (openpyxl 3.0.9,
MIT), with invented rows. Run again only to change it (Debian: python3-openpyxl):
  /usr/bin/python3 make.py"""
import datetime
import openpyxl

book = openpyxl.Workbook()
sheet = book.active
sheet.title = "Coag"
sheet.append(["HospNo", "TestCode", "Result", "Units", "Collected", "Day"])
sheet.append(["H0000001", "INR", 1.4, "", datetime.datetime(2026, 10, 1, 10, 15), datetime.date(2026, 10, 1)])
sheet.append(["H0000002", "FIBC", "<0.5", "g/L", datetime.datetime(2026, 3, 29, 2, 30, 15), datetime.date(2026, 3, 29)])
sheet.append([7, "INR", "=1+1", "", datetime.datetime(1900, 2, 28, 12, 0), datetime.date(1900, 3, 1)])
sheet.append(["H0000004", "INR", 1e-7, "", datetime.time(10, 15), None])
sheet.merge_cells("A5:A6")
sheet["B6"] = "FIBC"
sheet["C6"] = True
sheet["I6"] = "a remark"
book.create_sheet("Notes")["A1"] = "nothing here"
book.save("openpyxl.xlsx")
