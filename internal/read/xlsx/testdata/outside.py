"""Prints the cells of workbooks as openpyxl reads them, a sheet a line, in the
form of the Go test: blank rows left out, a row as wide as the first."""
import datetime
import json
import sys
import openpyxl

DAY = datetime.timedelta(days=1)


def clock(value):
    ms = round(value / datetime.timedelta(milliseconds=1))
    text = "%02d:%02d:%02d" % (ms // 3600000, ms // 60000 % 60, ms // 1000 % 60)
    return text + (".%03d" % (ms % 1000) if ms % 1000 else "")


def text(cell):
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime.datetime):
        since = value - datetime.datetime(1, 1, 1)
        days, rest = since // DAY, since % DAY
        if round(rest / datetime.timedelta(milliseconds=1)) == 86400000:
            days, rest = days + 1, datetime.timedelta(0)
        date = (datetime.date(1, 1, 1) + days * DAY).isoformat()
        shows_time = any(c in cell.number_format.lower() for c in "hs")
        return date + ("T" + clock(rest) if rest or shows_time else "")
    if isinstance(value, datetime.time):
        return clock(datetime.timedelta(hours=value.hour, minutes=value.minute, seconds=value.second, microseconds=value.microsecond))
    if isinstance(value, (int, float)):
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        plain = repr(value)
        return plain if "e" not in plain else format(__import__("decimal").Decimal(plain), "f")
    return value


def show(path):
    book = openpyxl.load_workbook(path, data_only=True)
    for sheet in book.worksheets:
        rows, width = [], None
        for row in sheet.iter_rows():
            cells = [text(c) for c in row]
            if not any(c.strip() for c in cells):
                continue
            if width is None:
                while not cells[-1].strip():
                    cells.pop()
                width = len(cells)
            cells = [c if c.strip() else "" for c in cells[:width]]
            rows.append("|".join(cells + [""] * (width - len(cells))))
        json.dump({"File": path, "Sheet": sheet.title, "Rows": rows}, sys.stdout)
        print()


for path in sys.argv[1:]:
    show(path)
