"""What a single cell of a logger file can be: number, date, time, unit, or a word for "no reading".

The patterns here judge headers, samples and the few distinct words of a column that did not parse as
numbers; whole columns of readings are parsed by pandas, and whole columns of times by `times`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from enum import StrEnum
from functools import cache, lru_cache
from typing import Protocol

from qualify.readings.calendar_names import MONTH_PATTERN, MONTHS, WEEKDAY_PATTERN, WEEKDAYS
from qualify.readings.numbers import is_any_number, is_number  # noqa: F401
from qualify.units import TemperatureUnit, parse_unit


class CellKind(StrEnum):
    """What a cell looks like on its own."""

    BLANK = "blank"
    NUMBER = "number"
    STAMP = "date and time"
    DATE = "date"
    TIME = "time"
    ABSENT = "no reading"
    WORD = "word"


_WEEKDAY = rf"(?:(?P<weekday>{WEEKDAY_PATTERN})(?:\.?,\s*|\.?\s+))?"
_NUMERIC_DATE = r"(?P<first>\d{1,4})(?P<sep>[-/.])(?P<second>\d{1,2})(?P=sep)(?P<third>\d{1,4})"
_NAME_BETWEEN = (
    r"(?P<front>\d{1,4})(?:st|nd|rd|th|er)?(?P<gap>[-/._ ]?)\s*(?:de\s+)?"
    rf"(?P<month>{MONTH_PATTERN})\.?[-/._, ]?\s*(?:del?\s+)?(?P<back>\d{{1,4}})"
)
_NAME_IN_FRONT = (
    rf"(?P<month_in_front>{MONTH_PATTERN})\.?[-/_ ]?\s*(?P<day>\d{{1,2}})(?:st|nd|rd|th)?"
    r"(?:,\s*|[-/_]|\s+(?=\d{4}))(?P<year>\d{2,4})"
)
_COMPACT_DATE = r"(?P<compact>\d{8})"
_TIME = (
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second_of_minute>\d{2})(?:[.,](?P<fraction>\d{1,9}))?)?"
    r"(?:\s*(?P<half>[AaPp])\.?\s?[Mm]\.?)?"
)
_COMPACT_TIME = r"(?P<compact_time>\d{6})(?:[.,](?P<compact_fraction>\d{1,9}))?"
_OFFSET = (
    r"(?:\s*(?P<offset>[Zz]|UTC|GMT|(?P<sign>[+-])(?P<offset_hour>\d{2})(?::?(?P<offset_minute>\d{2}))?))?"
)
_DATE_OF_DIGITS = rf"(?:{_NUMERIC_DATE}|{_COMPACT_DATE})"
_DATE_WITH_NAMES = rf"{_WEEKDAY}(?:{_NUMERIC_DATE}|{_NAME_BETWEEN}|{_NAME_IN_FRONT}|{_COMPACT_DATE})"

# Between date and time; behind eight digits, six more need nothing between.
_BETWEEN = r"(?:[Tt]|\s+|[-_:]|,\s*|(?<=\d{8})(?=\d{6}(?!\d)))"
_ANY_TIME = rf"(?:{_TIME}|(?:(?<=\d{{8}}[-_ Tt])|(?<=\d{{8}})){_COMPACT_TIME})"


class CellPattern(Protocol):
    """What a cell must match as a whole."""

    def fullmatch(self, string: str, /) -> re.Match[str] | None:
        """The match, or None."""


class DatePattern:
    """Dates: of digits alone, or with the names of months and days.

    The pattern with all names takes long to compile, and most files never need it: it is tried only for
    cells that hold such a name.
    """

    def __init__(self, behind: str) -> None:
        self._digits = re.compile(rf"\s*{_DATE_OF_DIGITS}{behind}\s*", re.ASCII)
        self._with_names = rf"\s*{_DATE_WITH_NAMES}{behind}\s*"

    def fullmatch(self, string: str, /) -> re.Match[str] | None:
        """The match, or None."""
        match = self._digits.fullmatch(string)
        if match is not None or not any(word in _NAMES for word in _WORDS.findall(string.casefold())):
            return match
        return _compiled(self._with_names).fullmatch(string)


_NAMES = MONTHS.keys() | WEEKDAYS.keys()
_WORDS = re.compile(r"[^\W\d_]{2,}")


@cache
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern, re.ASCII)


STAMP = DatePattern(rf"{_BETWEEN}{_ANY_TIME}{_OFFSET}")
DATE = DatePattern("")
TIME = re.compile(rf"\s*{_TIME}{_OFFSET}\s*", re.ASCII)
TIME_IN_DIGITS = re.compile(rf"\s*{_COMPACT_TIME}{_OFFSET}\s*", re.ASCII)
DURATION = re.compile(
    r"\s*(?P<hour>\d{1,9}):(?P<minute>\d{2}):(?P<second_of_minute>\d{2})(?:[.,](?P<fraction>\d{1,9}))?\s*",
    re.ASCII,
)
DAYS_DURATION = re.compile(
    r"\s*(?:(?P<days>\d{1,5})(?:\s*[dD],?\s*|\.|\s+))?"
    r"(?P<hour>\d{1,9}):(?P<minute>\d{2}):(?P<second_of_minute>\d{2})(?:[.,](?P<fraction>\d{1,9}))?\s*",
    re.ASCII,
)
TWO_PART_DURATION = re.compile(
    r"\s*(?P<large>\d{1,9}):(?P<small>\d{2})(?:[.,](?P<fraction>\d{1,9}))?\s*", re.ASCII
)

_ABSENT_TEXT = """
    ol, +ol, -ol, ovl, ovld, overload, over, ovr, ovrng, overrange, over range, under, udr, undr, underrange,
    under range, open, open circuit, o.c., burnout, burn out, b.out, nan, +nan, -nan, na, n/a, n.a.,
    #n/a, #na, #num!, #value!, #ref!, #div/0!, null, none, nil, void, missing, no data, err, error, fault,
    fail, invalid, inf, +inf, -inf, infinity
"""
_ABSENT_WORDS = frozenset(word.strip() for word in _ABSENT_TEXT.split(","))
_ABSENT_MARKS = re.compile(r"[-*#_.?=~+—–]+")

_OTHER_UNITS_TEXT = """
    %, %rh, %rf, %r.h., %r.f., % rh, % r.h., % rf, % r.f., rh, ppm, ppb, vol.-%, vol%, vol. %, vol %, vol,
    v, mv, µv, μv, uv, kv, a, ma, ka, ω, ohm, kω, hz, khz, w, kw, mw, va, kva, wh, kwh, j, kj, mj, n, kn,
    pa, hpa, kpa, mpa, mbar, bar, psi, psig, psia, inhg, mmhg, torr, inwc, atm, g, kg, mg, t, lb, mol, nm3,
    m, cm, mm, µm, μm, um, km, in, ft, l, ml, m2, m3, m², m³, lpm, slm, slpm, sccm, cfm, scfm, gpm, rpm,
    s, sec, secs, second, seconds, min, mins, minute, minutes, h, hr, hrs, hour, hours, ms, d, day, days,
    on/off, bool, state, -, —, 1, lx, lux, db, deg, rad, yyyy-mm-dd, yyyy/mm/dd, dd.mm.yyyy, dd/mm/yyyy,
    mm/dd/yyyy, hh:mm:ss, hh:mm, h:mm:ss, mm:ss
"""
_OTHER_UNITS = frozenset(word.strip() for word in _OTHER_UNITS_TEXT.split(","))
_EXPONENT = re.compile(r"(?:\^?-?[23]|[²³])$")

UNIT_LABEL = re.compile(
    r"\s*(?:temp(?:erature)?\.?\s*)?(?:units?|scale|einheit)(?:\s+of\s+temperature)?\s*[:=]?\s*(?P<unit>.*?)\s*",
    re.IGNORECASE,
)

TIME_UNIT_SECONDS = (
    dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sekunden"), 1.0)
    | dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), 60.0)
    | dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "stunden"), 3600.0)
    | dict.fromkeys(("ms", "msec", "milliseconds"), 0.001)
)


def is_absent_word(text: str) -> bool:
    """Whether loggers write `text` where they have no reading (facts: OL, OPEN, NaN, ---, blank)."""
    word = text.strip().casefold()
    return not word or word in _ABSENT_WORDS or _ABSENT_MARKS.fullmatch(word) is not None


@lru_cache(maxsize=8192)
def kind_of(text: str) -> CellKind:
    """Tell what one cell looks like, whichever decimal mark it uses."""
    if not text.strip():
        return CellKind.BLANK
    if is_any_number(text):
        return CellKind.NUMBER
    if STAMP.fullmatch(text):
        return CellKind.STAMP
    if DATE.fullmatch(text):
        return CellKind.DATE
    if any(pattern.fullmatch(text) for pattern in (TIME, DURATION, TWO_PART_DURATION, DAYS_DURATION)):
        return CellKind.TIME
    return CellKind.ABSENT if is_absent_word(text) else CellKind.WORD


def usual_kind(kinds: Iterable[CellKind]) -> CellKind:
    """Tell the commonest kind; blanks and words for "no reading" count only where nothing else stands.

    Where a word is as common as a value, the value wins.
    """
    count = Counter(kinds)
    telling = {kind: n for kind, n in count.items() if kind not in (CellKind.BLANK, CellKind.ABSENT)}
    if not telling:
        return CellKind.ABSENT if count[CellKind.ABSENT] else CellKind.BLANK
    return max(telling, key=lambda kind: (telling[kind], kind is not CellKind.WORD))


def is_other_unit(text: str) -> bool:
    """Whether `text` is a unit, or a quotient of units, that isn't one of temperature."""
    word = text.strip().casefold()
    if word in _OTHER_UNITS:
        return True
    parts = word.split("/")
    return len(parts) == 2 and all(_EXPONENT.sub("", part) in _OTHER_UNITS for part in parts)


def is_unit(text: str) -> bool:
    """Whether `text` is a unit of any kind."""
    return parse_unit(text) is not None or is_other_unit(text)


def first_unit(words: Sequence[str]) -> TemperatureUnit | None:
    """Tell the temperature unit of the first word, if all of `words` are temperature units; else None."""
    units = [parse_unit(word) for word in words if word.strip()]
    return units[0] if units and None not in units else None


def unit_of_line(row: Sequence[str]) -> TemperatureUnit | None:
    """Tell the unit that a line above the header names for the whole table, such as "Units;°C"."""
    cells = [cell.strip() for cell in row if cell.strip()]
    match = UNIT_LABEL.fullmatch(cells[0]) if cells and len(cells) <= 2 else None
    if match is None:
        return None
    return parse_unit(match["unit"] if len(cells) == 1 else cells[1])
