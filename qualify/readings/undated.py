"""Times of day without a date: the day that was told or stands above the header, and midnights passed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

import numpy as np

from qualify.findings import Doubt, DoubtKind, Refusal, RefusalKind
from qualify.readings.cells import DATE, DURATION, STAMP, TIME, TWO_PART_DURATION
from qualify.readings.elapsed import CLOCK_FORMS, read_durations
from qualify.readings.instants import (
    DAY,
    EPOCH,
    SECOND,
    Instants,
    TimeColumns,
    clock_at,
    in_series,
)
from qualify.readings.model import BoolArray, IntArray, ReadOptions
from qualify.readings.stamps import cut, date_in_words, time_of_day, utc_offsets
from qualify.readings.table import Cells, Column

DATE_CONTRADICTS = RefusalKind(
    "date-contradicts",
    what="the date {date} was told, but {trouble}",
    why="A told date belongs to times of day that have none; here it would move the record or do nothing.",
    mend="{mend}",
)
CLOCK_WITHOUT_DATE = DoubtKind(
    "clock-without-date",
    "times of day without a date: they were read as elapsed time, so printed times count from the "
    "first reading; --date YYYY-MM-DD gives them their day",
)
DATE_ABOVE_UNUSED = DoubtKind(
    "date-above-unused",
    "the date above the header ('{line}') was not used: {reason}; --date YYYY-MM-DD settles it",
)
BEFORE_START = DoubtKind(
    "before-start",
    "the first time of day lies {by:.6g} s before the start that the file names above its header ('{line}'), "
    "so the record may have begun on another day; --date YYYY-MM-DD settles it",
)
MIDNIGHT_PASSED = DoubtKind(
    "midnight-passed",
    "the time of day falls against row {previous}, so midnight was taken to have passed and a day was "
    "added{more}; a stop of more than a day would not show",
)

_LABELS_TEXT = """
    date, start date, test date, start, start time, start date and time, start date/time, date/time, started,
    started at, start of test, start of recording, test start, test started, recorded, recorded on,
    recording date, recording start, recording started, log start, log started, log date, logging start,
    logging started, begin, began, begin time, first reading, first record, day, run date, run start,
    datum, startdatum, start datum, startzeit, startzeitpunkt, prüfdatum, messdatum, messbeginn, messstart,
    beginn, aufzeichnungsbeginn, aufzeichnung ab, beginn der messung, beginn der aufzeichnung,
    date de début, date début, date du test, date de l'essai, date d'essai, début, debut, date de debut,
    début de l'enregistrement, heure de début, démarrage,
    fecha, fecha de inicio, fecha inicio, inicio, fecha de ensayo, fecha del ensayo, inicio del registro,
    data, data di inizio, data inizio, inizio, data prova, data della prova, inizio registrazione
"""
_LABELS = frozenset(word.strip() for word in _LABELS_TEXT.split(","))
_COMMENT = re.compile(r"^[\s#;%*!/\"']+")
_LABEL_AND_REST = re.compile(r"(?P<label>[^\W\d_][^:=\d]*?)\s*(?:[:=]\s*|\s+(?=\d))(?P<rest>.*)", re.DOTALL)
_LONGEST_STEP_NS = 600 * SECOND
_NEAR_NS = 600 * SECOND
_MOST_MIDNIGHTS = 3
_FIRST_EARLY_NS = 60 * SECOND


def read_times_of_day(
    file: str,
    time: TimeColumns,
    cells: Column,
    rows: IntArray,
    options: ReadOptions,
    preamble: Sequence[Cells],
    series: IntArray | None,
) -> Instants:
    """Read a column of h:mm:ss: as times of day where their date is known, else as elapsed time.

    Parameters
    ----------
    file
        The file's name, for messages.
    time
        The column, with the form that was told or named.
    cells, rows : (n,)
        Text cells and their row numbers.
    options
        What the user told.
    preamble
        The rows of text cells above the header.
    series : (n,) int64
        The series that each row belongs to; None where all are one.

    Raises
    ------
    Refusal
        If a time can't be read, or a told date doesn't fit.
    """
    form = CLOCK_FORMS.get(time.unit.replace(" ", ""), "")
    says_elapsed = bool(options.time_unit) or "elapsed" in time.header.casefold() or form == "mm:ss"
    if options.date is not None:
        if says_elapsed:
            raise DATE_CONTRADICTS(
                file=file,
                row=int(rows[0]),
                column=time.header,
                date=options.date.isoformat(),
                trouble="the times are elapsed ones",
                mend="leave --date off, or leave --time-unit off if they are times of day.",
            )
        return _on_day(file, time, cells, rows, series, options.date, "as told")
    if says_elapsed or not TIME.fullmatch(str(cells[0])):
        return read_durations(file, time, cells, rows, form, elapsed=says_elapsed or bool(form))
    first = _first_of_day(str(cells[0]))
    doubts: list[Doubt] = []
    found, trouble = _day_above(preamble, options.dates)
    if trouble is not None:
        line, reason = trouble
        doubts.append(DATE_ABOVE_UNUSED(file=file, column=time.header, line=line, reason=reason))
    if found is not None and first is not None:
        day, clock, line = found
        near = clock is not None and min(abs(first - clock), DAY - abs(first - clock)) <= _NEAR_NS
        if TWO_PART_DURATION.fullmatch(str(cells[0])) and form != "h:mm" and not near:
            # Read as h:mm where mm:ss was meant, it would last sixty times as long.
            return _without_date(file, time, cells, rows, series, form, doubts)
        if first <= _NEAR_NS and not near:
            reason = "the times begin near zero and not near its clock, so they were read as elapsed time"
            doubts.append(DATE_ABOVE_UNUSED(file=file, column=time.header, line=line, reason=reason))
        else:
            return _with_start_checked(
                file,
                time,
                _on_day(file, time, cells, rows, series, day, f"above the header ('{line}')"),
                rows,
                found,
            )
    return _without_date(file, time, cells, rows, series, form, doubts)


def must_fit(file: str, column: str, instants: Instants, rows: IntArray, told: date | None) -> None:
    """Refuse a told date beside times that have another one, or none because they are elapsed.

    Raises
    ------
    Refusal
        If the told date isn't the day of the first reading.
    """
    if told is None or (instants.start is not None and instants.start.date() == told):
        return
    if instants.start is None:
        trouble, mend = "the times are elapsed ones", "leave --date off."
    else:
        trouble = f"the first reading carries the date {instants.start.date().isoformat()}"
        mend = "leave --date off, or correct it."
    raise DATE_CONTRADICTS(
        file=file, row=int(rows[0]), column=column, date=told.isoformat(), trouble=trouble, mend=mend
    )


def _first_of_day(cell: str) -> int | None:
    """Nanoseconds since midnight of a first cell; None where it is no time of day."""
    column, row = np.array([cell], dtype=object), np.zeros(1, dtype=np.int64)
    try:
        fields = cut("", "", column, row, TIME, "a time of day")
        return int(time_of_day("", "", fields, column, row, limit=True)[0])
    except Refusal:
        return None


def _on_day(
    file: str,
    time: TimeColumns,
    cells: Column,
    rows: IntArray,
    series: IntArray | None,
    day: date,
    source: str,
) -> Instants:
    """Times of day from a known day on."""
    fields = cut(file, time.header, cells, rows, TIME, "a time of day")
    clock = time_of_day(file, time.header, fields, cells, rows, limit=True)
    clock, doubts = _over_midnights(file, time.header, clock, rows, series)
    offset, utc_offset, offset_doubts = utc_offsets(file, time.header, fields, cells, rows)
    local = clock + (day - EPOCH.date()).days * DAY
    words = {"time format": "time of day" + (", AM/PM" if "half" in fields else "")}
    words |= {"date order": "none", "date": f"{day.isoformat()}, {source}"}
    told = {"date": day}
    return Instants(
        local - offset, clock_at(int(local[0])), utc_offset, words, (*doubts, *offset_doubts), told
    )


def _with_start_checked(
    file: str, time: TimeColumns, instants: Instants, rows: IntArray, found: tuple[date, int | None, str]
) -> Instants:
    """Doubt a day whose named start lies behind the first time of day."""
    day, clock, line = found
    assert instants.start is not None
    if clock is None:
        return instants
    start = EPOCH + timedelta(days=(day - EPOCH.date()).days, microseconds=clock // 1000)
    by = (start - instants.start).total_seconds()
    if by * SECOND <= _FIRST_EARLY_NS:
        return instants
    doubt = BEFORE_START(file=file, row=int(rows[0]), column=time.header, by=by, line=line)
    return Instants(
        instants.nanoseconds,
        instants.start,
        instants.utc_offset,
        instants.words,
        (*instants.doubts, doubt),
        instants.told,
    )


def _without_date(
    file: str,
    time: TimeColumns,
    cells: Column,
    rows: IntArray,
    series: IntArray | None,
    form: str,
    doubts: list[Doubt],
) -> Instants:
    """Times of day, or elapsed times, of which only the differences are known."""
    first = str(cells[0])
    fields = None
    if DURATION.fullmatch(first) or TWO_PART_DURATION.fullmatch(first):
        instants = read_durations(file, time, cells, rows, form, elapsed=bool(form))
        clock, words, told = instants.nanoseconds, dict(instants.words), dict(instants.told)
    else:
        fields = cut(file, time.header, cells, rows, TIME, "a time of day")
        clock = time_of_day(file, time.header, fields, cells, rows, limit=True)
        words, told = {"time format": "time of day", "date order": "none"}, {}
    clock, passed = _over_midnights(file, time.header, clock, rows, series)
    doubts += passed
    if passed or (not form and clock[0] != 0):
        doubts.append(CLOCK_WITHOUT_DATE(file=file, column=time.header))
        words["time format"] = "time of day without a date"
        told = {}
    if fields is not None:
        offset, _, offset_doubts = utc_offsets(file, time.header, fields, cells, rows)
        clock = clock - offset
        doubts += offset_doubts
    return Instants(clock, None, None, words, tuple(doubts), told)


def _over_midnights(
    file: str, column: str, clock: IntArray, rows: IntArray, series: IntArray | None
) -> tuple[IntArray, tuple[Doubt, ...]]:
    """Add a day at every fall of the time of day behind which time goes on at its usual pace."""
    days = np.zeros(len(clock), dtype=np.int64)
    before = np.full(len(clock), -1, dtype=np.int64)
    # Rows that go from series to series and back stand in order of time: midnight passes for all at once,
    # also for one that joins later. Series one behind the other each have midnights of their own.
    falls_at_midnight = bool((_midnights(clock) == (np.diff(clock) < 0)).all())
    parts = in_series(None if falls_at_midnight and not _one_by_one(series) else series, len(clock))
    for members in parts:
        passed = _midnights(clock[members])
        days[members[1:]] = np.cumsum(passed)
        before[members[1:][passed]] = members[:-1][passed]
    at = np.flatnonzero(before >= 0)
    if not len(at):
        return clock, ()
    shown = at if len(at) <= _MOST_MIDNIGHTS else at[:1]
    more = "" if len(at) <= _MOST_MIDNIGHTS else f", and likewise {len(at) - 1} times below"
    doubts = tuple(
        MIDNIGHT_PASSED(
            file=file, row=int(rows[index]), column=column, previous=int(rows[before[index]]), more=more
        )
        for index in shown.tolist()
    )
    return clock + days * DAY, doubts


def _one_by_one(series: IntArray | None) -> bool:
    """Whether the rows of each series stand together."""
    return series is not None and int((np.diff(series) != 0).sum()) == len(np.unique(series)) - 1


def _midnights(clock: IntArray) -> BoolArray:
    """Which steps of a clock pass midnight: falls behind which time goes on at its usual pace."""
    steps = np.diff(clock)
    rising = steps[steps > 0]
    usual = float(np.median(rising)) if len(rising) else 0.0
    limit = max(10 * usual, _LONGEST_STEP_NS)
    if (steps >= DAY - limit).any():
        # A leap of nearly a day beside a fall is what rows in a wrong order look like at midnight.
        return np.zeros(len(steps), dtype=bool)
    return np.asarray((steps < 0) & (steps + DAY <= limit) & (clock[:-1] < DAY))


def _day_above(
    preamble: Sequence[Cells], told: str | None
) -> tuple[tuple[date, int | None, str] | None, tuple[str, str] | None]:
    """The day, time of day [ns] and line that a labelled line above the header gives; else why none is."""
    found: list[tuple[date, int | None, str]] = []
    for line, words in _labelled(preamble):
        try:
            stands = _only_date(words, told)
        except Refusal as refusal:
            return None, (line, refusal.what)
        if stands is not None:
            days, clock = stands
            found.append((EPOCH.date() + timedelta(days=days), clock, line))
    if not found:
        return None, None
    for other in found[1:]:
        if other[0] != found[0][0]:
            return None, (found[0][2], f"another line names another day ('{other[2]}')")
    with_clock = [each for each in found if each[1] is not None]
    return (with_clock or found)[0], None


def _labelled(preamble: Sequence[Cells]) -> Iterator[tuple[str, list[str]]]:
    """Lines above the header whose label tells the day of the recording: the line, and what it says."""
    for row in preamble:
        cells = [_COMMENT.sub("", cell).strip() for cell in row]
        cells = [cell for cell in cells if cell]
        if not cells:
            continue
        label, words = cells[0].rstrip(":= \t"), cells[1:]
        if label.casefold() not in _LABELS:
            match = _LABEL_AND_REST.fullmatch(cells[0])
            if match is None:
                # A month's name may begin the date, as in "Start Mar 2 2026".
                continue
            label, words = match["label"], [match["rest"].strip(), *cells[1:]]
        if label.casefold() in _LABELS:
            yield " ".join(cells), [word for word in words if word]


def _only_date(words: list[str], told: str | None) -> tuple[int, int | None] | None:
    """The one date or stamp among a line's words, its time of day from a cell beside it; None if not one."""
    joined = ", ".join(words)
    if DATE.fullmatch(joined) or STAMP.fullmatch(joined):
        return date_in_words(joined, told)
    dates = [word for word in words if DATE.fullmatch(word) or STAMP.fullmatch(word)]
    if len(dates) != 1:
        return None
    found = date_in_words(dates[0], told)
    clocks = [word for word in words if TIME.fullmatch(word)]
    if found is None or found[1] is not None or len(clocks) != 1:
        return found
    return found[0], _first_of_day(clocks[0])
