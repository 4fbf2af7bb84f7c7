"""Writes the damaged exports of this folder: invented laboratory results, one
damage each. cmd/thawline/torture_test.go says what must come out of each. Run
again only to change them (Debian: python3-openpyxl, zstd):

  cd testdata/torture && /usr/bin/python3 make.py
"""
import datetime
import gzip
import io
import subprocess
import zipfile

import openpyxl

HEADER = "patient_id,test,value_raw,unit_raw,collected_at"
ROWS = [
    "H1,INR,1.4,,2026-10-01T10:15",
    "H2,INR,2.1,,2026-10-01T11:15",
    "H3,FIBC,1.9,g/L,2026-10-01T12:15",
    "H4,K,4.1,mmol/L,2026-10-01T13:15",  # potassium: none of our business
]
GOOD = "\n".join([HEADER] + ROWS) + "\n"


def put(name, content):
    with open(name, "wb") as f:
        f.write(content.encode() if isinstance(content, str) else content)


def lines(*rows):
    return "\n".join([HEADER, *rows]) + "\n"


def packed(text, mtime=0):
    out = io.BytesIO()
    with gzip.GzipFile(fileobj=out, mode="wb", mtime=mtime) as z:
        z.write(text.encode())
    return out.getvalue()


def zstd(text):
    return subprocess.run(["zstd", "-q", "-c"], input=text.encode(), stdout=subprocess.PIPE, check=True).stdout


# Whole, in every dress.
put("good.csv", GOOD)
put("good-crlf.csv", GOOD.replace("\n", "\r\n"))
put("good-no-last-line-break.csv", GOOD.rstrip("\n"))
put("good-bom.csv", "\ufeff" + GOOD)
put("good-utf-16le.csv", b"\xff\xfe" + GOOD.encode("utf-16-le"))
put("good-utf-16be.csv", b"\xfe\xff" + GOOD.encode("utf-16-be"))
put("good-tab.csv", GOOD.replace(",", "\t"))
put("good-pipe.csv", GOOD.replace(",", "|"))
put("good.csv.gz", packed(GOOD))
put("good-two-members.csv.gz", packed(GOOD[:70]) + packed(GOOD[70:]))
put("good.csv.zst", zstd(GOOD))

# The name says another thing than the content.
put("packed-named-plain.csv", packed(GOOD))
put("plain-named-packed.csv.gz", GOOD)
put("page-named-export.csv", "<!DOCTYPE html><html><body>Your session has ended. Please log in.</body></html>\n")
put("pdf-named-export.csv", b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
put("old-workbook.csv", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504))

# Byte order marks, NUL bytes, encodings.
put("bom-twice.csv", "\ufeff\ufeff" + GOOD)
put("bom-inside.csv", "\ufeff" + GOOD + "\ufeff" + lines("H9,INR,1.1,,2026-10-02T10:15"))  # cat a.csv b.csv
put("nul-byte.csv", GOOD.replace("H2,", "H2\0,"))
put("nul-padding.csv", GOOD.encode() + bytes(512))
put("utf-16-unmarked.csv", GOOD.encode("utf-16-le"))
put("utf-16-odd.csv", (b"\xff\xfe" + GOOD.encode("utf-16-le"))[:-1])
put("utf-16-half-pair.csv", b"\xff\xfe" + GOOD.encode("utf-16-le").replace(b"2\0.\0001\0", b"2\0\x34\xd81\0"))
put("windows-1252.csv", lines("H\u00fc1,INR,1.4,,2026-10-01T10:15", "H2,INR,1.5,,2026-10-01T10:15").encode("cp1252"))
put("mixed-encodings.csv", lines("H\u00fc1,INR,1.4,,2026-10-01T10:15").encode() + "H\u00fc2,INR,1.5,,2026-10-01T10:15\n".encode("cp1252"))
put("stated-windows-1252.csv", lines("H\u00fc1,INR,1.4,,2026-10-01T10:15", "H\u20ac2,INR,1.5,,2026-10-01T10:15").encode("cp1252"))
put("stated-but-utf-8.csv", lines("H\u00fc1,INR,1.4,,2026-10-01T10:15"))
put("stated-but-marked.csv", "\ufeff" + lines("H\u00fc1,INR,1.4,,2026-10-01T10:15"))

# Quotes and line breaks.
put("half-a-quote.csv", lines("H1,INR,1.4,,2026-10-01T10:15", 'H2,INR,"1.5,,2026-10-01T10:15', *ROWS[2:]))
put("quote-inside.csv", lines('H1",INR,1.4,"s"ec,2026-10-01T10:15'))
put("line-break-in-quotes.csv", lines('"H1","INR",1.4,"a\nb",2026-10-01T10:15', 'H2,INR,,,never'))
put("quotes-that-are-none.csv", lines('H1,INR,1.4,"stat,2026-10-01T10:15', *ROWS[1:3], 'H4,INR,1.5,"stat,2026-10-01T10:15', *ROWS[3:]))
put("quote-alone-in-its-cell.csv", lines('H1,INR,1.4,"stat,2026-10-01T10:15', *ROWS[1:3], 'H4,INR,1.5,",2026-10-01T10:15', *ROWS[3:]))
put("two-quotes-in-one-line.csv", lines('H1,INR,"1.4,"stat,2026-10-01T10:15', *ROWS[1:]))
put("whole-lines-quoted.csv", "\n".join('"' + line + '"' for line in GOOD.splitlines()) + "\n")
put("carriage-returns-alone.csv", GOOD.replace("\n", "\r"))
put("line-ends-mixed.csv", GOOD.replace("\n", "\r\n", 2))
put("old-end-of-file.csv", GOOD.replace("\n", "\r\n") + "\x1a")
put("blank-lines-between.csv", GOOD.replace("\n", "\n\n \n"))

# The shape of the table.
put("empty.csv", "")
put("empty-bom.csv", "\ufeff\r\n")
put("empty.csv.gz", packed(""))
put("header-only.csv", HEADER + "\n")
put("header-missing.csv", "\n".join(ROWS) + "\n")
put("header-twice.csv", GOOD + lines("H9,INR,1.1,,2026-10-02T10:15"))
put("header-names-twice.csv", lines(*ROWS).replace("unit_raw", "value_raw"))
put("header-in-capitals.csv", lines(*ROWS).replace(HEADER, " " + HEADER.upper().replace(",", " , ")))
put("title-above.csv", "Coagulation export\nOctober 2026\n\n" + GOOD)
put("total-below.csv", GOOD + "Total,4\n")
put("ragged.csv", lines("H1,INR,1.4,,2026-10-01T10:15", "H2,INR,1.5", "H3,FIBC,1,9,g/L,2026-10-01T12:15"))
put("trailing-delimiters.csv", lines(*[row + ",," for row in ROWS]))
put("trailing-delimiter-everywhere.csv", GOOD.replace("\n", ",\n"))
put("columns-swapped.csv", lines(*ROWS).replace("test,value_raw", "value_raw,test"))
put("delimiter-in-doubt.csv", GOOD.replace("value_raw", "value;raw"))
put("sep-line.csv", "sep=;\r\n" + GOOD.replace(",", ";").replace("\n", "\r\n"))
put("row-again.csv", lines(ROWS[0], ROWS[0], ROWS[1]))

# What is in the cells.
put("decimal-comma.csv", lines(*ROWS).replace(",", ";").replace(".", ","))
put("thousands.csv", lines('H1,FIBC,"1,900",mg/L,2026-10-01T10:15', "H2,FIBC,1.900,mg/L,2026-10-01T10:15"))
put("thin-spaces.csv", lines("\u00a0H1\u2009,INR\u202f,\u20091.4\u00a0,,2026-10-01T10:15", "\u200eH2\u200b,\ufeffINR,1.5,,2026-10-01T10:15"))
put("minus-and-signs.csv", lines("H1,INR,<0.9,,2026-10-01T10:15", "H2,INR,\u2265 8,,2026-10-01T10:15", "H3,INR,\u22121.4,,2026-10-01T10:15", "H4,INR,>>9,,2026-10-01T10:15"))
put("sheet-errors.csv", lines("#N/A,INR,1.4,,2026-10-01T10:15", "H2,INR,#VALUE!,,2026-10-01T10:15", "H3,INR,1.6,,#REF!"))
put("rounded-numbers.csv", lines("1.23457E+11,INR,1.4,,2026-10-01T10:15", "123457000000,INR,1.4,,2026-10-01T10:15"))
put("times-that-are-none.csv", lines("H1,INR,1.4,,01/10/2026 10:15", "H2,INR,1.4,,2026-02-30T10:15", "H3,INR,1.4,,2026-03-29T01:30", "H4,INR,1.4,,1.10.", "H5,INR,1.4,,2026-10-01"))
put("times-in-basic-forms.csv", lines("H1,INR,1.4,,20261001T1015", "H2,INR,1.4,,20261001", "H3,INR,1.4,,2026-10-01T10", "H4,INR,1.4,,2026-10-01T24:00"))
put("ends-of-the-calendar.csv", lines("H1,INR,1.4,,0000-01-01T00:00", "H2,INR,1.4,,0001-01-01T00:00", "H3,INR,1.4,,9999-12-31T23:59:59", "H4,INR,1.4,,9999-12-31T23:59:59-02:00"))
put("beyond-the-analyser.csv", lines("H1,INR,>,,2026-10-01T10:15", "H2,INR,off scale,,2026-10-01T10:15", "H3,FIBC,>,g/L,2026-10-01T10:15"))
put("hostile.csv", lines('=HYPERLINK(0),INR,1.4,,2026-10-01T10:15', "<script>alert(1)</script>,INR,1.4,,2026-10-01T10:15", "'; DROP TABLE labs; --,INR,1.4,,2026-10-01T10:15", "../../etc/passwd,INR,1.4,,2026-10-01T10:15", "\x1b[31mH5\x07,INR,1.4,,2026-10-01T10:15"))

# Archives.
whole = packed(GOOD * 50)
put("truncated.csv.gz", whole[: len(whole) // 2])
put("truncated-checksum.csv.gz", whole[:-3])
put("bytes-after-the-end.csv.gz", packed(GOOD) + b"and these are no archive")
put("wrong-checksum.csv.gz", packed(GOOD)[:-8] + bytes(4) + packed(GOOD)[-4:])
put("packed-twice.csv.gz", gzip.compress(packed(GOOD), mtime=0))
put("truncated.csv.zst", zstd(GOOD * 50)[:-20])


# Messages: two files put together, one of lines, one as the standard has it.
MESSAGE = "\n".join(["MSH|^~\\&|LIS|NOWHERE|||20261001120000||ORU^R01|1|P|2.5.1", "PID|||H1", "OBR|1|||COAG|||202610011015", "OBX|1|NM|INR||1.4||||||F", "OBX|2|NM|INR|||||>|||F|||202610011115", ""])
put("ends-of-segments.hl7", MESSAGE + MESSAGE.replace("\n", "\r") + MESSAGE.replace("\n", "\r\n"))


# Workbooks.
def book(rows, sheet="Labs", epoch=None):
    b = openpyxl.Workbook()
    b.active.title = sheet
    if epoch:
        b.epoch = epoch
    for row in rows:
        b.active.append(row)
    stamp = datetime.datetime(2026, 11, 1)
    b.properties.created = b.properties.modified = stamp
    return b


def saved(b):
    out = io.BytesIO()
    b.save(out)
    # The clock of the day is in the archive: take it out.
    fixed = io.BytesIO()
    with zipfile.ZipFile(out) as old, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(zipfile.ZipInfo(name, (2026, 11, 1, 0, 0, 0)), old.read(name), zipfile.ZIP_DEFLATED)
    return fixed.getvalue()


at = datetime.datetime
TABLE = [
    HEADER.split(","),
    ["H1", "INR", 1.4, None, at(2026, 10, 1, 10, 15)],
    ["H2", "INR", 2.1, None, at(2026, 10, 1, 11, 15)],
    ["H3", "FIBC", 1.9, "g/L", at(2026, 10, 1, 12, 15)],
    ["H4", "K", 4.1, "mmol/L", at(2026, 10, 1, 13, 15)],
]
put("good.xlsx", saved(book(TABLE)))
put("good-1904.xlsx", saved(book(TABLE, epoch=openpyxl.utils.datetime.CALENDAR_MAC_1904)))
put("workbook-named.csv", saved(book(TABLE)))
put("blank-rows.xlsx", saved(book([[], [], TABLE[0], [], *TABLE[1:3], [None, " "], *TABLE[3:], []])))
put("no-rows.xlsx", saved(book(TABLE[:1])))
put("blank.xlsx", saved(book([])))
two = book(TABLE)
two.create_sheet("Codes").append(["Code"])
put("two-sheets.xlsx", saved(two))
put("stated-sheet.xlsx", saved(two))
hidden = book(TABLE)
hidden.create_sheet("Codes").sheet_state = "hidden"
put("hidden-sheet.xlsx", saved(hidden))
merged = book([TABLE[0], ["H1", "INR", 1.4, None, at(2026, 10, 1, 10, 15)], [None, "FIBC", 1.9, "g/L", at(2026, 10, 1, 10, 15)]])
merged.active.merge_cells("A2:A3")
put("merged.xlsx", saved(merged))
put("formulas-not-calculated.xlsx", saved(book([TABLE[0], ["=H1", "INR", 1.4, None, at(2026, 10, 1, 10, 15)], ["H2", "INR", "=1+1", None, at(2026, 10, 1, 10, 15)]])))
days = book([TABLE[0], ["H1", "INR", 1.4, None, 60], ["H2", "INR", 1.4, None, 0.5], ["H3", "INR", 1.4, None, 46296]])
for cell in days.active["E"][1:]:
    cell.number_format = "dd/mm/yyyy hh:mm"  # day 60 of the 1900 system is 29 February 1900
put("days-that-were-not.xlsx", saved(days))
good = saved(book(TABLE))
put("truncated.xlsx", good[: len(good) // 2])
zipped = io.BytesIO()
with zipfile.ZipFile(zipped, "w") as z:
    z.writestr(zipfile.ZipInfo("good.csv", (2026, 11, 1, 0, 0, 0)), GOOD)
put("zipped.csv.zip", zipped.getvalue())
ods = io.BytesIO()
with zipfile.ZipFile(ods, "w") as z:
    for part in ("mimetype", "content.xml"):
        z.writestr(zipfile.ZipInfo(part, (2026, 11, 1, 0, 0, 0)), "application/vnd.oasis.opendocument.spreadsheet")
put("open-document.ods", ods.getvalue())
