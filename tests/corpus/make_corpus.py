"""Make the corpus: small invented logger files, one for each layout and each fault.

Run as `python tests/corpus/make_corpus.py`; the files are written to `files/` beside this script. Everything
is invented. Archive times are fixed, nothing is random but the one file of rubbish, whose seed is fixed, so a
second run writes the same text files byte for byte (the binary containers may differ with the library's
version, not in what they hold). What must be understood of each file stands in expected.toml.

xlwt, which writes the old .xls, is only needed here.
"""

from __future__ import annotations

import gzip
import io
import random
import zipfile
from collections.abc import Callable, Sequence
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "files"
START = datetime(2026, 3, 14, 8)
FIXED = (2026, 3, 14, 12, 0, 0)
NOTE = "Invented readings for tests"

# Ten rows of a heating oven, three places, 30 s apart; the same stands in expected.toml.
HEAT_UP = (
    ("20.5", "21.25", "19.75"),
    ("41.2", "40.6", "39.9"),
    ("63.8", "62.9", "61.05"),
    ("87.1", "86.35", "84.6"),
    ("110.4", "109.7", "107.95"),
    ("133.9", "132.8", "131.1"),
    ("156.2", "155.4", "153.8"),
    ("171.75", "170.9", "169.4"),
    ("179.3", "178.85", "177.95"),
    ("180.05", "179.9", "179.15"),
)
# A hot furnace, whose numbers need a thousands mark: whole degrees and tenths.
FURNACE = (
    ("987.5", "1012.5"),
    ("998.0", "1024.0"),
    ("1003.5", "1031.5"),
    ("1010.0", "1040.0"),
    ("1018.5", "1047.5"),
    ("1025.0", "1051.0"),
)

Rows = Sequence[Sequence[str]]
MADE: dict[str, bytes] = {}


def put(name: str, data: bytes) -> None:
    assert name not in MADE, name
    MADE[name] = data


def text(name: str, content: str, encoding: str = "utf-8") -> None:
    put(name, content.encode(encoding))


def stamps(form: str, *, start: datetime = START, step: float = 30, count: int = 10) -> list[str]:
    return [(start + timedelta(seconds=step * k)).strftime(form) for k in range(count)]


def marked(rows: Rows, mark: str = ".") -> list[list[str]]:
    return [[cell.replace(".", mark) for cell in row] for row in rows]


def with_times(times: Sequence[str], rows: Rows) -> list[list[str]]:
    return [[*cell.split("\x1f"), *row] for cell, row in zip(times, rows, strict=True)]


def lines(rows: Rows, delimiter: str = ",", end: str = "\n") -> str:
    return "".join(delimiter.join(row) + end for row in rows)


def wide(
    head: str, form: str = "%Y-%m-%dT%H:%M:%S", *, delimiter: str = ",", mark: str = ".", **how: Any
) -> str:
    """A header as given and the ten rows of the heating oven below it."""
    return head + lines(with_times(stamps(form, **how), marked(HEAT_UP, mark)), delimiter)


ISO_HEAD = "Time,T1 (°C),T2 (°C),T3 (°C)\n"
ISO_TEXT = wide(ISO_HEAD)


def encodings() -> None:
    text("utf-8-comma-iso.csv", f"# {NOTE}\n" + ISO_TEXT)
    text("utf-8-byte-order-mark.csv", ISO_TEXT, "utf-8-sig")
    text("utf-16-le-tab.txt", ISO_TEXT.replace(",", "\t"), "utf-16")
    put("utf-16-be-semicolon.csv", b"\xfe\xff" + ISO_TEXT.replace(",", ";").encode("utf-16-be"))
    text("utf-16-le-without-mark-told.csv", ISO_TEXT, "utf-16-le")
    german = f"Hinweis;{NOTE}\nGerät;Ofen Süd\n\nDatum;Zeit;Vorn links (°C);Mitte (°C);Hinten (°C)\n"
    text(
        "semicolon-comma-decimals-cp1252.csv",
        wide(german, "%d.%m.%Y\x1f%H:%M:%S", delimiter=";", mark=",").replace("\n", "\r\n"),
        "cp1252",
    )
    text(
        "cp1252-lone-degree-sign.csv",
        "Time,T1,T2,T3\n,°C,°C,°C\n" + ISO_TEXT.removeprefix(ISO_HEAD),
        "cp1252",
    )
    japanese = "試験データ（架空）\n日時,上段 (℃),中段 (℃),下段 (℃)\n" + ISO_TEXT.removeprefix(ISO_HEAD)
    text("shift-jis-told.csv", japanese, "shift_jis")
    text("shift-jis-not-told.csv", japanese, "shift_jis")
    text(
        "names-accents-and-quotes.csv",
        wide('Time,"Étagère ""haute"", à gauche (°C)",Über Tür (°C),Złącze [°C]\n'),
    )


def delimiters() -> None:
    text(
        "tab-comma-decimals.tsv",
        wide(ISO_HEAD.replace(",", "\t"), "%Y-%m-%d %H:%M:%S", delimiter="\t", mark=","),
    )
    text("bar-points.txt", wide(ISO_HEAD.replace(",", "|"), delimiter="|"))
    text("semicolon-points.csv", wide(ISO_HEAD.replace(",", ";"), delimiter=";"))
    aligned = "".join(
        f"{cells[0]:>8}{cells[1]:>10}{cells[2]:>10}{cells[3]:>10}\n"
        for cells in [
            ["Time", "T1", "T2", "T3"],
            ["s", "C", "C", "C"],
            *with_times([str(30 * k) for k in range(10)], HEAT_UP),
        ]
    )
    text("blanks-aligned-elapsed.txt", aligned)
    text(
        "blanks-date-and-time.txt",
        "Date        Time      T1_C    T2_C    T3_C\n"
        + "".join("   ".join(row) + "\n" for row in with_times(stamps("%Y-%m-%d\x1f%H:%M:%S"), HEAT_UP)),
    )
    quoted = [
        [f'"{cell}"' for cell in row] for row in with_times(stamps("%Y-%m-%d %H:%M:%S"), marked(HEAT_UP, ","))
    ]
    text("comma-with-quoted-comma-decimals.csv", ISO_HEAD + lines(quoted))
    text("trailing-delimiters.csv", ISO_TEXT.replace(",", ";").replace("\n", ";\n"))
    text("separator-line-first.csv", "sep=;\n" + wide(ISO_HEAD.replace(",", ";"), delimiter=";", mark=","))
    text("blanks-round-the-cells.csv", ISO_TEXT.replace(",", " , "))


def marks() -> None:
    def furnace(thousands: str, mark: str) -> list[list[str]]:
        def cell(number: str) -> str:
            return f"{float(number):,.1f}".translate(str.maketrans({",": thousands, ".": mark}))

        return with_times(
            stamps("%Y-%m-%d %H:%M:%S", count=6), [[cell(each) for each in row] for row in FURNACE]
        )

    head = "Time;Crown (°C);Hearth (°C)\n"
    text("thousands-point-decimal-comma.csv", head + lines(furnace(".", ","), ";"))
    text("thousands-blank-decimal-comma.csv", head + lines(furnace(" ", ","), ";"))
    text("thousands-no-break-space.csv", head + lines(furnace("\u202f", ","), ";"))
    text("thousands-apostrophe.csv", head + lines(furnace("'", "."), ";"))
    quoted = [[f'"{cell}"' for cell in row] for row in furnace(",", ".")]
    text("thousands-comma-quoted.csv", head.replace(";", ",") + lines(quoted))
    whole = with_times(
        stamps("%Y-%m-%d %H:%M:%S", count=6),
        [[f"{round(float(cell)):,}" for cell in row] for row in FURNACE],
    )
    text("thousands-or-decimals-unclear.csv", head + lines(whole, ";"))
    text("thousands-told-whole-numbers.csv", head + lines(whole, ";"))
    # Every number has three digits behind its one comma: 1,012 may be a little over 1 or a little over 1000.
    three = with_times(stamps("%Y-%m-%d %H:%M:%S", count=6), [[f"1,{k}12", f"1,{k}55"] for k in range(6)])
    text("three-digits-behind-every-comma.csv", head + lines(three, ";"))
    text("three-digits-told-decimal-comma.csv", head + lines(three, ";"))
    mixed = wide(ISO_HEAD.replace(",", ";"), delimiter=";", mark=",").replace("155,4", "155.4")
    text("marks-mixed-in-one-cell.csv", mixed)
    text("exponents.csv", ISO_TEXT.replace("110.4", "1.104E+02").replace("109.7", "1.097e2"))
    text("plus-signs-and-bare-points.csv", ISO_TEXT.replace("20.5,", "+20.5,").replace("180.05", "180.05000"))


def preambles() -> None:
    sheet = (
        f"Remark: {NOTE}\nInstrument: bench recorder\nSerial number: none\nChannels: 3\nInterval: 30 s\n"
        "Operator: nobody\nStarted: 2026-03-14 08:00:00\nBattery: 87 %\n\n"
    )
    text("preamble-colon-lines.csv", sheet + ISO_TEXT)
    text("preamble-hash-lines.csv", "".join(f"# {line}\n" for line in sheet.splitlines()) + ISO_TEXT)
    padded = f"Remark,{NOTE},,\nInterval,30,s,\nChannels,3,,\nLimits,175.0,185.0,\n,,,\n"
    text("preamble-padded-to-the-width.csv", padded + ISO_TEXT)
    text(
        "preamble-with-a-small-table.csv",
        f"{NOTE}\nChannel,Serial,Offset\nT1,S-1,0.10\nT2,S-2,-0.05\nT3,S-3,0.00\n\n" + ISO_TEXT,
    )
    text(
        "preamble-unit-line-fahrenheit.csv",
        f"Remark;{NOTE}\nUnits;°F\n\nTime;T1;T2\n"
        + lines(
            with_times(
                stamps("%Y-%m-%d %H:%M:%S", count=5), [(f"{212 + 9 * k}", f"{32 + 18 * k}") for k in range(5)]
            ),
            ";",
        ),
    )
    text("preamble-of-blank-lines.csv", "\n\n\n" + ISO_TEXT)


def headers() -> None:
    body = lines(with_times(stamps("%Y-%m-%d %H:%M:%S"), HEAT_UP))
    names, units = "Time,T1,T2,T3\n", ",°C,°C,°C\n"
    words = "of record,front left,centre,rear right\n"
    text("header-names-units.csv", names + units + body)
    text("header-units-names.csv", units + names + body)
    text("header-names-descriptions-units.csv", names + words + units + body)
    text("header-names-units-descriptions.csv", names + units + words + body)
    text("header-descriptions-names-units-told.csv", words + names + units + body)
    text("header-units-names-descriptions.csv", units + names + words + body)
    text("header-two-name-rows-told.csv", "Time,front left,centre,rear right\n" + names + units + body)
    text("header-missing.csv", body)
    text("header-only.csv", f"{NOTE}\n" + ISO_HEAD)
    text(
        "header-quoted-with-line-break.csv",
        'Time,"T1\n(°C)",T2 (°C),T3 (°C)\n' + ISO_TEXT.removeprefix(ISO_HEAD),
    )
    text("names-numbers.csv", "Time,101,102,103\n" + body)
    text("names-double.csv", "Time,T1 (°C),T1 (°C),T3 (°C)\n" + body)
    text("name-missing.csv", "Time,T1 (°C),,T3 (°C)\n,°C,°C,°C\n" + body)


def times() -> None:
    dmy = "Date,Time,T1 (°C),T2 (°C),T3 (°C)\n"
    text("day-first-dots.csv", wide(dmy, "%d.%m.%Y\x1f%H:%M:%S"))
    text("day-first-slashes-by-a-day-over-12.csv", wide(dmy, "%d/%m/%Y\x1f%H:%M:%S"))
    second = datetime(2026, 3, 2, 8)
    text("dates-ambiguous.csv", wide(dmy, "%d/%m/%Y\x1f%H:%M:%S", start=second))
    text("dates-ambiguous-told-month-first.csv", wide(dmy, "%d/%m/%Y\x1f%H:%M:%S", start=second))
    text(
        "dates-contradict.csv",
        wide(dmy, "%d/%m/%Y\x1f%H:%M:%S").replace("14/03/2026,08:02:00", "03/14/2026,08:02:00"),
    )
    text("month-first-am-pm.csv", wide(ISO_HEAD, "%m/%d/%Y %I:%M:%S %p", start=datetime(2026, 3, 14, 11, 58)))
    text(
        "half-days-over-midnight.csv",
        wide(ISO_HEAD, "%Y-%m-%d %I:%M:%S %p", start=datetime(2026, 3, 14, 23, 58)),
    )
    text("year-first-slashes.csv", wide(ISO_HEAD, "%Y/%m/%d %H:%M:%S"))
    text("year-of-two-digits-told.csv", wide(dmy, "%y-%m-%d\x1f%H:%M:%S", start=datetime(2026, 3, 4, 8)))
    text("month-names.csv", wide(ISO_HEAD, "%d-%b-%Y %H:%M:%S"))
    text("digits-run-together.csv", wide(dmy, "%Y%m%d\x1f%H%M%S"))
    tenths = [
        cell[:-5]
        for cell in stamps("%Y-%m-%d %H:%M:%S.%f", start=datetime(2026, 3, 14, 23, 59, 59, 500000), step=0.1)
    ]
    text("fractions-of-a-second.csv", ISO_HEAD + lines(with_times(tenths, HEAT_UP)))
    text(
        "fractions-with-a-comma.csv",
        ISO_HEAD.replace(",", ";")
        + lines(with_times([cell.replace(".", ",") for cell in tenths], marked(HEAT_UP, ",")), ";"),
    )
    text("offset-in-every-stamp.csv", wide(ISO_HEAD, "%Y-%m-%dT%H:%M:%S+05:30"))
    text("zulu-times.csv", wide(ISO_HEAD, "%Y-%m-%dT%H:%M:%SZ"))
    text("offset-in-some-stamps.csv", wide(ISO_HEAD, "%Y-%m-%dT%H:%M:%SZ").replace("08:02:00Z", "08:02:00"))
    # The clock goes back an hour between the fifth and the sixth row; in the spring it goes forward.
    autumn = [
        *stamps("%Y-%m-%d %H:%M:%S", start=datetime(2026, 10, 25, 2, 57, 30), count=5),
        *stamps("%Y-%m-%d %H:%M:%S", start=datetime(2026, 10, 25, 2, 0), count=5),
    ]
    for name in ("clock-back-in-autumn-told-zone.csv", "clock-back-in-autumn-not-told.csv"):
        text(name, ISO_HEAD + lines(with_times(autumn, HEAT_UP)))
    spring = [
        *stamps("%Y-%m-%d %H:%M:%S", start=datetime(2026, 3, 29, 1, 57, 30), count=5),
        *stamps("%Y-%m-%d %H:%M:%S", start=datetime(2026, 3, 29, 3, 0), count=5),
    ]
    text("clock-forward-in-spring-told-zone.csv", ISO_HEAD + lines(with_times(spring, HEAT_UP)))
    epoch = 1_773_475_200  # 2026-03-14T08:00:00Z
    unix = [str(epoch + 30 * k) for k in range(10)]
    text("unix-seconds-told.csv", "epoch" + ISO_HEAD.removeprefix("Time") + lines(with_times(unix, HEAT_UP)))
    text("unix-seconds-not-told.csv", ISO_HEAD + lines(with_times(unix, HEAT_UP)))
    thousandths = [str(1000 * (epoch + 30 * k) + 250) for k in range(10)]
    text("unix-milliseconds-told.csv", ISO_HEAD + lines(with_times(thousandths, HEAT_UP)))
    serial = [f"{46095 + (8 * 3600 + 30 * k) / 86400:.9f}" for k in range(10)]
    text("serial-days-told.csv", ISO_HEAD + lines(with_times(serial, HEAT_UP)))
    head = ISO_HEAD.removeprefix("Time")
    text(
        "elapsed-seconds.csv",
        "Elapsed (s)" + head + lines(with_times([f"{30 * k}.0" for k in range(10)], HEAT_UP)),
    )
    text(
        "elapsed-minutes.csv",
        "Time [min]" + head + lines(with_times([f"{0.5 * k}" for k in range(10)], HEAT_UP)),
    )
    text(
        "elapsed-without-a-unit.csv",
        "Time" + head + lines(with_times([f"{30 * k}" for k in range(10)], HEAT_UP)),
    )
    hours = [
        f"{(86100 + 30 * k) // 3600}:{(86100 + 30 * k) // 60 % 60:02d}:{30 * k % 60:02d}" for k in range(12)
    ]
    text("elapsed-hours-over-a-day.csv", "Elapsed" + head + lines(with_times(hours[:10], HEAT_UP)))
    two_parts = [f"{k // 2}:{30 * (k % 2):02d}" for k in range(10)]
    text("elapsed-two-parts-named.csv", "Elapsed (mm:ss)" + head + lines(with_times(two_parts, HEAT_UP)))
    text("elapsed-two-parts-unclear.csv", "Elapsed" + head + lines(with_times(two_parts, HEAT_UP)))
    text("elapsed-two-parts-told.csv", "Elapsed" + head + lines(with_times(two_parts, HEAT_UP)))
    text(
        "date-in-preamble.txt",
        f"Remark: {NOTE}\nDate: 2026-03-14\n\n" + wide(ISO_HEAD, "%H:%M:%S"),
    )
    text(
        "date-in-preamble-midnight.txt",
        f"Remark\t{NOTE}\nStart date\t14.03.2026\n\n"
        + wide(ISO_HEAD.replace(",", "\t"), "%H:%M:%S", start=datetime(2026, 3, 14, 23, 58), delimiter="\t"),
    )
    for name in ("time-of-day-midnight-date-told.csv", "time-of-day-midnight-no-date.csv"):
        text(name, wide(ISO_HEAD, "%H:%M:%S", start=datetime(2026, 3, 14, 23, 58)))
    text("time-of-day-no-date.csv", wide(ISO_HEAD, "%H:%M:%S"))
    text("time-repeated.csv", ISO_TEXT.replace("08:02:30", "08:02:00"))
    text("time-backward.csv", ISO_TEXT.replace("08:02:30", "08:00:10"))
    text("time-damaged.csv", ISO_TEXT.replace("08:02:30", "08:0x:30"))
    text(
        "gap-of-minutes.csv",
        "".join(
            line
            for line in ISO_TEXT.splitlines(keepends=True)
            if not any(each in line for each in ("08:01:30", "08:02:00", "08:02:30"))
        ),
    )
    text(
        "no-time-column.csv", "Name,T1 (°C),T2 (°C)\n" + "".join(f"reading,{a},{b}\n" for a, b, _ in HEAT_UP)
    )


def long_tables() -> None:
    def rows(units: Sequence[str] = ("°C", "°C", "°C"), readings: Rows = HEAT_UP) -> list[list[str]]:
        return [
            [stamp, f"T{place + 1}", cell, units[place]]
            for stamp, row in zip(stamps("%Y-%m-%d %H:%M:%S"), readings, strict=True)
            for place, cell in enumerate(row)
        ]

    text("long-table-units-column.csv", "Time,Channel,Value,Unit\n" + lines(rows()))
    text(
        "long-table-unit-in-the-header.csv",
        "Time,Sensor,Temperature (°C)\n" + lines([row[:3] for row in rows()]),
    )
    mixed = [[f"{float(a) * 1.8 + 32:.3f}", b, f"{20.9 - k}"] for k, (a, b, _) in enumerate(HEAT_UP)]
    text("long-table-mixed-units.csv", "Time,Channel,Value,Unit\n" + lines(rows(("°F", "°C", "%"), mixed)))
    text(
        "long-table-told-columns.csv",
        "when;what;how much;remark\n"
        + lines([[row[0], row[1], row[2].replace(".", ","), "ok"] for row in rows()], ";"),
    )
    twice = rows()
    twice.insert(14, [*twice[12][:2], "111.0", "°C"])
    text("long-table-a-reading-twice.csv", "Time,Channel,Value,Unit\n" + lines(twice))
    lacking = rows()
    lacking.pop(13)
    lacking[18][2] = "OL"
    text("long-table-with-holes.csv", "Time,Channel,Value,Unit\n" + lines(lacking))
    late = [
        [stamp, *row]
        for stamp, row in zip(
            ["23:59:30", "00:00:30", "00:00:30", "00:01:30", "00:01:30"],
            [["A", "20.5"], ["A", "21.5"], ["B", "31.5"], ["A", "22.5"], ["B", "32.5"]],
            strict=True,
        )
    ]
    text("long-table-channel-joins-after-midnight.csv", "Time,Sensor,Value (°C)\n" + lines(late))
    by_channel = sorted(rows(), key=lambda row: row[1])
    text(
        "long-table-channel-by-channel.csv",
        "Channel,Time,Value,Unit\n" + lines([[r[1], r[0], *r[2:]] for r in by_channel]),
    )


def several_files() -> None:
    for place, name in enumerate(("front", "centre", "rear")):
        body = lines(with_times(stamps("%Y-%m-%d %H:%M:%S"), [[row[place]] for row in HEAT_UP]))
        above = f"{NOTE}\nSensor,S-{place + 1}\n\nTime,"
        text(f"one-file-a-channel-{name}.csv", f"{above}{name.capitalize()} (°C)\n" + body)
        text(f"one-name-in-all-files-{name}.csv", f"{above}Temperature (°C)\n" + body)
        text(f"one-name-loggers-told-{name}.csv", f"{above}Temperature (°C)\n" + body)
    body = lines(with_times(stamps("%Y-%m-%d %H:%M:%S"), HEAT_UP)).splitlines(keepends=True)
    text("end-to-end-first.csv", ISO_HEAD + "".join(body[:4]))
    text("end-to-end-second.csv", ISO_HEAD + "".join(body[4:]))
    text(
        "side-by-side-celsius.csv",
        "Time,T1 (°C)\n" + lines(with_times(stamps("%Y-%m-%d %H:%M:%S"), [row[:1] for row in HEAT_UP])),
    )
    other = with_times(
        stamps("%d.%m.%Y %H:%M:%S"),
        [[f"{float(row[1]) * 1.8 + 32:.3f}".replace(".", ","), row[2].replace(".", ",")] for row in HEAT_UP],
    )
    text("side-by-side-fahrenheit.csv", "Zeit;T2 (°F);T3 (°C)\n" + lines(other, ";"))


def several_loggers() -> None:
    form = "%Y-%m-%d %H:%M:%S"
    front, rear = [row[:2] for row in HEAT_UP], [row[2:] for row in HEAT_UP]
    text("clock-right.csv", "Time,T1 (°C),T2 (°C)\n" + lines(with_times(stamps(form), front)))
    late = stamps(form, start=START + timedelta(seconds=37))
    text("clock-37-s-ahead-told.csv", "Time,T3 (°C)\n" + lines(with_times(late, rear)))
    text("every-30-s.csv", "Time,T1 (°C),T2 (°C)\n" + lines(with_times(stamps(form), front)))
    minutes = with_times(stamps(form, step=60, count=5), rear[::2])
    text("every-minute-interpolation-told.csv", "Time,T3 (°C)\n" + lines(minutes))
    text("shares-no-instant-a.csv", "Time,T1 (°C),T2 (°C)\n" + lines(with_times(stamps(form), front)))
    text("shares-no-instant-b.csv", "Time,T3 (°C)\n" + lines(with_times(late, rear)))
    text("overlap-equal-first.csv", ISO_HEAD + "".join(ISO_TEXT.splitlines(keepends=True)[1:8]))
    text("overlap-equal-second.csv", ISO_HEAD + "".join(ISO_TEXT.splitlines(keepends=True)[5:]))
    first = ISO_HEAD + "".join(ISO_TEXT.splitlines(keepends=True)[1:8])
    text("overlap-differs-first.csv", first.replace("133.9", "134.0"))
    text("overlap-differs-second.csv", ISO_HEAD + "".join(ISO_TEXT.splitlines(keepends=True)[5:]))
    text("units-differ-first.csv", ISO_HEAD + "".join(ISO_TEXT.splitlines(keepends=True)[1:5]))
    second = "Time,T1 (°C),T2 (°F),T3 (°C)\n" + "".join(ISO_TEXT.splitlines(keepends=True)[5:])
    text("units-differ-second.csv", second)


def restarts_and_ends() -> None:
    rows = ISO_TEXT.splitlines(keepends=True)
    text("restart-header-again.csv", "".join([*rows[:6], rows[0], *rows[6:]]))
    block = f"{NOTE}\nRecorder started\n\n"
    text(
        "restart-preamble-and-header-again.csv",
        block + "".join(rows[:6]) + "\n" + block + "".join([rows[0], *rows[6:]]),
    )
    text(
        "restart-header-of-other-columns.csv",
        "".join([*rows[:6], "Time,T3 (°C),T1 (°C),T2 (°C)\n", *rows[6:]]),
    )
    elapsed = [f"{30 * k}" for k in range(5)] * 2
    body = lines(with_times(elapsed, HEAT_UP)).splitlines(keepends=True)
    head = ISO_HEAD.replace("Time", "Time (s)")
    text("restart-elapsed-from-zero.csv", "".join([head, *body[:5], head, *body[5:]]))
    summary = "Minimum,20.5,21.25,19.75\nMaximum,180.05,179.9,179.15\nAverage,114.42,113.87,112.47\n"
    text("summary-rows-below.csv", ISO_TEXT + summary)
    text("summary-rows-below-a-blank-row.csv", ISO_TEXT + "\n" + summary)
    text("end-marker-below.csv", ISO_TEXT + "*** end of file ***\n")
    text("truncated-last-line.csv", ISO_TEXT[:-9])
    text("last-line-without-line-end.csv", ISO_TEXT[:-1])
    text("blank-rows-between.csv", "".join([*rows[:4], "\n", *rows[4:7], ",,,\n", *rows[7:]]))
    text("carriage-returns-only.csv", ISO_TEXT.replace("\n", "\r"))
    text(
        "line-ends-mixed.csv",
        "".join(row.replace("\n", "\r") if k % 2 else row for k, row in enumerate(rows)),
    )
    text(
        "carriage-return-and-line-feed-mixed.csv",
        "".join(row.replace("\n", "\r\n") if k % 2 else row for k, row in enumerate(rows)),
    )
    text("row-short.csv", ISO_TEXT.replace(",109.7,107.95\n", "\n"))
    text("row-long.csv", ISO_TEXT.replace(",109.7,107.95\n", ",109.7,107.95,99.5\n"))
    text("two-rows-run-together.csv", ISO_TEXT.replace("107.95\n", "107.95"))
    text("quotation-mark-astray.csv", ISO_TEXT.replace("109.7", '"109.7'))
    text(
        "two-tables-one-above-the-other.csv",
        ISO_TEXT + "\nTime,P1 (bar),P2 (bar)\n2026-03-14T08:00:00,1.0,1.1\n2026-03-14T08:00:30,1.0,1.2\n",
    )


def units() -> None:
    rows = [[f"{float(a) * 1.8 + 32:.3f}", b, f"{float(d) + 273.15:.2f}"] for a, b, d in HEAT_UP]
    body = lines(with_times(stamps("%Y-%m-%d %H:%M:%S"), rows))
    text("units-mixed-in-headers.csv", "Time,T1 [°F],T2 [°C],T3 [K]\n" + body)
    text("units-mixed-in-a-row.csv", "Time,T1,T2,T3\n,degF,degC,K\n" + body)
    bare = "Time,T1,T2,T3\n" + lines(with_times(stamps("%Y-%m-%d %H:%M:%S"), HEAT_UP))
    text("unit-unknown.csv", bare)
    text("unit-told.csv", bare)
    text("units-told-by-column.csv", "Time,T1,T2,T3\n" + body)
    text("unit-strange.csv", bare.replace("T1,T2,T3", "T1 (°C),T2 (°C),T3 (°R)"))
    text("units-contradict.csv", "Time,T1 (°C),T2 (°C),T3 (°C)\n,°C,°F,°C\n" + bare.split("\n", 1)[1])
    text(
        "scale-column.csv",
        "Time,T1,T2,Scale\n"
        + lines(with_times(stamps("%Y-%m-%d %H:%M:%S"), [[r[0], r[0], "F"] for r in rows])),
    )
    # Type K with its junction at 25 °C (1.000 mV): 25, 50, 100, 200, 300 and 400 °C by the reference tables.
    millivolts = [
        ("0.000", "0.000"),
        ("1.023", "1.023"),
        ("3.096", "3.096"),
        ("7.138", "7.138"),
        ("11.209", "11.209"),
        ("15.397", "15.397"),
    ]
    body = with_times(stamps("%Y-%m-%d %H:%M:%S", count=6), millivolts)
    for name in ("millivolts-junction-told.csv", "millivolts-not-told.csv"):
        text(name, f"{NOTE}\nTime,K1 (mV),K2 (mV)\n" + lines(body))
    text(
        "millivolts-junction-recorded.csv",
        "Time,K1 (mV),K2 (mV),Terminal (°C)\n" + lines([[*row, "25.0"] for row in body]),
    )
    rest = [
        [
            a,
            f"{20.9 - 2 * k:.1f}",
            f"{1013 + k}",
            f"{120.5 + k:.1f}",
            "open" if k in (3, 4) else "shut",
            "180",
            f"{100 - 9 * k}",
        ]
        for k, (a, _, _) in enumerate(HEAT_UP)
    ]
    text(
        "other-quantities-come-along.csv",
        "Time,Chamber (°C),Oxygen (%),Pressure (hPa),Flow (l/min),Door,Set point (°C),Output (%)\n"
        + lines(with_times(stamps("%Y-%m-%d %H:%M:%S"), rest)),
    )


def not_readings() -> None:
    words = ("OL", "OPEN", "---", "NaN", "*****", "#N/A", "OVLD", "")
    rows = [list(row) for row in HEAT_UP]
    for k, word in enumerate(words):
        rows[k + 1][k % 3] = word
    text("open-circuit-words.csv", ISO_HEAD + lines(with_times(stamps("%Y-%m-%dT%H:%M:%S"), rows)))
    rows = [list(row) for row in HEAT_UP]
    rows[2][0], rows[3][1], rows[4][2], rows[5][0], rows[6][1] = (
        "9.91E+37",
        "-9.9E37",
        "9.9e37",
        "1E30",
        "-300.5",
    )
    text("over-range-numbers.csv", ISO_HEAD + lines(with_times(stamps("%Y-%m-%dT%H:%M:%S"), rows)))
    rows = [list(row) for row in HEAT_UP]
    rows[2][0], rows[4][1] = "32767", "-9999"
    text("codes-told-to-be-no-readings.csv", ISO_HEAD + lines(with_times(stamps("%Y-%m-%dT%H:%M:%S"), rows)))
    text("a-word-no-one-knows.csv", ISO_TEXT.replace("132.8", "reboot"))
    text(
        "a-dead-channel.csv",
        ISO_HEAD + lines(with_times(stamps("%Y-%m-%dT%H:%M:%S"), [[a, "OL", d] for a, _, d in HEAT_UP])),
    )


def rubbish() -> None:
    put("empty.csv", b"")
    put("nothing-but-line-ends.csv", b"\r\n\r\n\n")
    source = random.Random(20260314)
    put("binary-rubbish.csv", bytes(source.randrange(256) for _ in range(600)))
    put("nul-bytes-inside.csv", ISO_TEXT.encode().replace(b"109.7", b"1\x00\x009.7"))
    text("words-only.txt", f"{NOTE}: this text holds no table at all.\nIt is here to be refused.\n")
    text("control-character-inside.csv", ISO_TEXT.replace("109.7", "1\x0109.7"))


def xlsx(
    fill: Callable[[Any, Any], None],
    *,
    mend: Callable[[str], str] | None = None,
    calculated: bool = True,
    **options: Any,
) -> bytes:
    """A workbook with fixed times; `mend` may change the sheets' XML before it is packed.

    The writer asks for its formulas to be calculated when the book is opened; a book that a spreadsheet
    program saved (`calculated`) doesn't.
    """
    import xlsxwriter

    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, **options})
    book.set_properties({"comments": NOTE, "created": datetime(*FIXED)})
    fill(book, book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"}))
    book.close()
    with zipfile.ZipFile(buffer) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    if calculated:
        members["xl/workbook.xml"] = members["xl/workbook.xml"].replace(b' fullCalcOnLoad="1"', b"")
    if mend is not None:
        members = {
            name: mend(data.decode()).encode() if name.startswith("xl/worksheets/") else data
            for name, data in members.items()
        }
    return packed(members)


def packed(members: dict[str, bytes], stored: Sequence[str] = ()) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in members.items():
            info = zipfile.ZipInfo(name, FIXED)
            info.compress_type = zipfile.ZIP_STORED if name in stored else zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            archive.writestr(info, data)
    return buffer.getvalue()


def table_on(
    sheet: Any, moment: Any, *, top: int = 0, head: Sequence[str] | None = None, readings: Rows = HEAT_UP
) -> None:
    for column, name in enumerate(head or ("Time", "T1 (°C)", "T2 (°C)", "T3 (°C)")):
        sheet.write_string(top, column, name)
    for k, row in enumerate(readings):
        sheet.write_datetime(top + 1 + k, 0, START + timedelta(seconds=30 * k), moment)
        for column, cell in enumerate(row, start=1):
            sheet.write_number(top + 1 + k, column, float(cell))


def workbooks() -> None:
    def plain(book: Any, moment: Any) -> None:
        table_on(book.add_worksheet("Readings"), moment)

    def titled(book: Any, moment: Any) -> None:
        sheet = book.add_worksheet("Readings")
        sheet.merge_range(0, 0, 0, 3, NOTE, book.add_format({"bold": True}))
        sheet.write_row(1, 0, ["Interval", 30, "s"])
        table_on(sheet, moment, top=3)
        book.add_worksheet("Notes").write_string(0, 0, "no table here")

    def formulas(book: Any, moment: Any) -> None:
        sheet = book.add_worksheet("Readings")
        table_on(sheet, moment)
        for row in (4, 5):
            sheet.write_formula(row, 2, f"=B{row + 1}-0.75", None, "")

    def valued(book: Any, moment: Any) -> None:
        sheet = book.add_worksheet("Readings")
        table_on(sheet, moment)
        for row, value in ((4, 86.35), (5, 109.7)):
            sheet.write_formula(row, 2, f"=B{row + 1}-0.75", None, value)

    def merged(book: Any, moment: Any) -> None:
        sheet = book.add_worksheet("Readings")
        table_on(sheet, moment)
        form = book.add_format({"align": "center"})
        sheet.merge_range(4, 2, 5, 2, "", form)
        sheet.write_number(4, 2, 86.35, form)

    def two(book: Any, moment: Any) -> None:
        table_on(book.add_worksheet("Run 1"), moment)
        table_on(book.add_worksheet("Run 2"), moment, readings=HEAT_UP[::-1])

    def durations(book: Any, moment: Any) -> None:
        sheet = book.add_worksheet("Readings")
        table_on(sheet, moment, head=("Elapsed", "T1 (°C)", "T2 (°C)", "T3 (°C)"))
        long = book.add_format({"num_format": "[h]:mm:ss"})
        for k in range(10):
            sheet.write_number(1 + k, 0, (86100 + 30 * k) / 86400, long)

    def as_text(book: Any, moment: Any) -> None:
        sheet = book.add_worksheet("Readings")
        for column, name in enumerate(("Date", "Time", "T1 [°C]", "T2 [°C]", "T3 [°C]")):
            sheet.write_string(0, column, name)
        for k, row in enumerate(HEAT_UP):
            stamp = START + timedelta(seconds=30 * k)
            for column, cell in enumerate((stamp.strftime("%d.%m.%Y"), stamp.strftime("%H:%M:%S"), *row)):
                sheet.write_string(1 + k, column, cell)

    def two_columns(book: Any, moment: Any) -> None:
        sheet = book.add_worksheet("Readings")
        day, clock = (
            book.add_format({"num_format": "dd/mm/yyyy"}),
            book.add_format({"num_format": "hh:mm:ss"}),
        )
        sheet.write_row(0, 0, ["Date", "Time", "T1", "T2", "T3"])
        sheet.write_row(1, 2, ["°C", "°C", "°C"])
        for k, row in enumerate(HEAT_UP):
            stamp = datetime(2026, 3, 2, 23, 58) + timedelta(seconds=30 * k)
            sheet.write_datetime(2 + k, 0, datetime.combine(stamp.date(), time()), day)
            sheet.write_datetime(2 + k, 1, stamp.time(), clock)
            sheet.write_row(2 + k, 2, [float(cell) for cell in row])

    def errors(book: Any, moment: Any) -> None:
        sheet = book.add_worksheet("Readings")
        table_on(sheet, moment)
        sheet.write_formula(4, 1, "=1/0", None, "#DIV/0!")
        sheet.write_string(5, 2, "OL")
        sheet.write_blank(6, 3, None)
        sheet.write_blank(6, 3, None, moment)

    put("sheet-plain.xlsx", xlsx(plain))
    put("sheet-title-merged-and-notes.xlsx", xlsx(titled))
    put(
        "sheet-formulas-without-values.xlsx",
        xlsx(formulas, mend=lambda xml: xml.replace("<v></v>", "").replace(' t="str"', "")),
    )
    put("sheet-formulas-with-values.xlsx", xlsx(valued))
    put("sheet-formulas-never-calculated.xlsx", xlsx(valued, calculated=False))
    put("sheet-merged-readings.xlsx", xlsx(merged))
    put("sheets-two-with-readings.xlsx", xlsx(two))
    put("sheets-two-with-readings-told.xlsx", xlsx(two))
    put("sheet-durations-over-a-day.xlsx", xlsx(durations))
    put("sheet-all-as-text.xlsx", xlsx(as_text))
    put("sheet-date-and-time-columns.xlsx", xlsx(two_columns))
    put("sheet-calendar-from-1904.xlsx", xlsx(plain, date_1904=True))
    put("sheet-errors-and-blanks.xlsx", xlsx(errors))
    put("sheet-cut.xlsx", xlsx(plain)[:-400])
    put("sheet-called-csv.csv", xlsx(plain))


def old_workbook() -> None:
    import xlwt

    book = xlwt.Workbook()
    sheet = book.add_sheet("Readings")
    moment = xlwt.easyxf(num_format_str="yyyy-mm-dd hh:mm:ss")
    sheet.write(0, 0, NOTE)
    for column, name in enumerate(("Time", "T1 (°C)", "T2 (°C)", "T3 (°C)")):
        sheet.write(2, column, name)
    for k, row in enumerate(HEAT_UP):
        sheet.write(3 + k, 0, START + timedelta(seconds=30 * k), moment)
        for column, cell in enumerate(row, start=1):
            sheet.write(3 + k, column, float(cell) if (k, column) != (4, 2) else "OL")
    buffer = io.BytesIO()
    book.save(buffer)
    put("old-workbook.xls", buffer.getvalue())
    text("text-called-xls.xls", ISO_TEXT.replace(",", "\t"))


def open_document() -> None:
    space = (
        'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"'
    )

    def cell(kind: str, content: str) -> str:
        return f"<table:table-cell {kind}><text:p>{content}</text:p></table:table-cell>"

    def word(content: str) -> str:
        return f'<table:table-cell office:value-type="string"><text:p>{content}</text:p></table:table-cell>'

    def number(content: str) -> str:
        return cell(f'office:value-type="float" office:value="{content}"', content)

    def moment(content: str) -> str:
        return cell(f'office:value-type="date" office:date-value="{content}"', content)

    def sheet(*, repeated: bool) -> bytes:
        rows = [
            [word(NOTE)],
            ["<table:table-cell/>"],
            [word(name) for name in ("Time", "T1 (°C)", "T2 (°C)", "T3 (°C)")],
        ]
        for k, row in enumerate(HEAT_UP):
            cells = [number(cell) for cell in row]
            if repeated and k == 4:
                # Two equal cells beside each other are stored once, with their number.
                cells = [
                    number(row[0]),
                    number("108.0").replace(
                        "<table:table-cell ", '<table:table-cell table:number-columns-repeated="2" '
                    ),
                ]
            rows.append([moment((START + timedelta(seconds=30 * k)).isoformat()), *cells])
        body = "".join(f"<table:table-row>{''.join(cells)}</table:table-row>" for cells in rows)
        blank = '<table:table-cell table:number-columns-repeated="1024"/>'
        body += f'<table:table-row table:number-rows-repeated="1048563">{blank}</table:table-row>'
        content = (
            f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {space} office:version="1.2">'
            '<office:body><office:spreadsheet><table:table table:name="Readings">'
            f"{body}</table:table></office:spreadsheet></office:body></office:document-content>"
        )
        kind = "application/vnd.oasis.opendocument.spreadsheet"
        manifest = (
            '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest '
            'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.2">'
            f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
            '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
            "</manifest:manifest>"
        )
        return packed(
            {
                "mimetype": kind.encode(),
                "content.xml": content.encode(),
                "META-INF/manifest.xml": manifest.encode(),
            },
            stored=["mimetype"],
        )

    put("open-document.ods", sheet(repeated=False))
    put("open-document-repeated-cells.ods", sheet(repeated=True))


def parquet() -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    def table(times: Any) -> bytes:
        columns = {"Time": times} | {
            f"T{place + 1} (°C)": pa.array(
                [None if (k, place) == (4, 1) else float(row[place]) for k, row in enumerate(HEAT_UP)]
            )
            for place in range(3)
        }
        buffer = io.BytesIO()
        pq.write_table(pa.table(columns), buffer)
        return buffer.getvalue()

    moments = [START + timedelta(seconds=30 * k) for k in range(10)]
    put("columns-with-stamps.parquet", table(pa.array(moments, pa.timestamp("ms"))))
    put("columns-with-a-zone.parquet", table(pa.array(moments, pa.timestamp("us", tz="UTC"))))
    put("columns-with-times-as-text.parquet", table(pa.array([moment.isoformat() for moment in moments])))
    put("columns-cut.parquet", table(pa.array(moments, pa.timestamp("ms")))[:-20])


def archives() -> None:
    def zipped(data: bytes) -> bytes:
        return gzip.compress(data, mtime=0)

    put("text-in-gzip.csv.gz", zipped(ISO_TEXT.encode()))
    put("gzip-cut.csv.gz", zipped(ISO_TEXT.encode())[:-30])
    put("text-in-zip.zip", packed({"record.csv": ISO_TEXT.encode()}))
    both = {"record.csv": ISO_TEXT.encode(), "other.csv": wide("Time,P1 (°C),P2 (°C),P3 (°C)\n").encode()}
    put("zip-of-two.zip", packed(both))
    put("zip-of-two-told.zip", packed(both))
    put("workbook-in-zip.zip", packed({"record.xlsx": MADE["sheet-plain.xlsx"]}))
    put("open-document-in-gzip.ods.gz", zipped(MADE["open-document.ods"]))
    put("zip-of-nothing.zip", packed({"readme.txt": b"Invented; no table here.\n"}))


PARTS = (
    encodings, delimiters, marks, preambles, headers, times, long_tables, several_files, several_loggers,
    restarts_and_ends,
    units, not_readings, rubbish, workbooks, old_workbook, open_document, parquet, archives,
)  # fmt: skip


def main() -> None:
    for part in PARTS:
        part()
    FOLDER.mkdir(exist_ok=True)
    for name, data in MADE.items():
        (FOLDER / name).write_bytes(data)
    print(f"{len(MADE)} files")


if __name__ == "__main__":
    main()
