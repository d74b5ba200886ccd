"""Parquet files: one table whose columns have names and types, read with pyarrow where it is installed.

Numbers and times are taken as they are stored: no time passes through a fraction.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.findings import Doubt, RefusalKind
from qualify.inputs import InputFile
from qualify.readings.layout import SAMPLE_ROWS
from qualify.readings.model import IntArray, ReadOptions
from qualify.readings.numbers import POINT
from qualify.readings.table import Column, Faults, Head, Piece, text_column

if TYPE_CHECKING:
    import pyarrow as pa

PARQUET_NOT_INSTALLED = RefusalKind(
    "parquet-not-installed",
    what="reading .parquet needs a library that isn't installed",
    why="The readings can't be taken out of the file without it.",
    mend="run: pip install 'qualify[parquet]' (or save the table as .csv).",
)
PARQUET_DAMAGED = RefusalKind(
    "parquet-damaged",
    what="the .parquet file can't be read ({reason})",
    why="A part of it is lost or changed, and with it readings.",
    mend="copy the file again from where it was made, or save its table as .csv.",
)
PARQUET_EMPTY = RefusalKind(
    "parquet-empty",
    what="the .parquet file holds {rows} rows of {columns} columns",
    why="There is nothing to judge.",
    mend="save the table again, with its times and readings.",
)
PARQUET_COLUMN = RefusalKind(
    "parquet-column",
    what="the column holds {kind}",
    why="{why}",
    mend="{mend}.",
)

_MAGIC = b"PAR1"
_BATCH_ROWS = 1 << 16
_EXACT_WHOLE = 1 << 53
_UNITS_PER_SECOND = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}


def sniff(file: InputFile) -> str | None:
    """Tell why the file is no .parquet file, or None if it is."""
    if not file.content.startswith(_MAGIC):
        return "it doesn't start as every .parquet does"
    return (
        None if file.content.endswith(_MAGIC) and len(file.content) > 12 else "it is cut: its end is missing"
    )


def open_source(file: InputFile, options: ReadOptions) -> ParquetSource:
    """Open the table.

    Raises
    ------
    Refusal
        If pyarrow isn't installed, the file is damaged or empty, or a column holds no single values.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise PARQUET_NOT_INSTALLED(file=file.name) from None
    try:
        table = pq.ParquetFile(pa.BufferReader(file.data), page_checksum_verification=True)
        schema = table.schema_arrow
        rows = table.metadata.num_rows
        names = [str(name) for name in schema.names]
        if rows == 0 or len(names) < 2:
            raise PARQUET_EMPTY(file=file.name, rows=rows, columns=len(names))
        for field in schema:
            _must_be_single(file.name, field)
        first = next(iter(table.iter_batches(batch_size=SAMPLE_ROWS)), None)
        if first is None:
            raise PARQUET_EMPTY(file=file.name, rows=rows, columns=len(names))
        sample_columns = [
            _texts(_as_column(file.name, name, first.column(index), True)) for index, name in enumerate(names)
        ]
    except (pa.ArrowException, OSError, ValueError, UnicodeDecodeError) as error:
        raise PARQUET_DAMAGED(file=file.name, reason=type(error).__name__) from error
    head = Head(
        names=tuple(names),
        unit_cells=("",) * len(names),
        descriptions=("",) * len(names),
        preamble=(),
        sample=tuple(zip(*sample_columns, strict=True)),
        marks=POINT,
        words={"format": "parquet", "rows": "counted from 1 at the first row of data"},
    )
    return ParquetSource(file, table, head, rows)


def _must_be_single(file: str, field: pa.Field) -> None:
    """Refuse a column whose cells aren't single numbers, words or times."""
    import pyarrow as pa

    kind = _value_type(field.type)
    types = pa.types
    single = (
        types.is_floating(kind)
        or types.is_integer(kind)
        or types.is_decimal(kind)
        or types.is_boolean(kind)
        or types.is_string(kind)
        or types.is_large_string(kind)
        or types.is_string_view(kind)
        or types.is_temporal(kind)
        or types.is_null(kind)
    )
    if not single or types.is_interval(kind):
        raise PARQUET_COLUMN(
            file=file,
            column=field.name,
            kind=f"{kind} in each cell",
            why="Which number of a cell is the reading can't be told.",
            mend="save the table with one number, word or time a cell, or without this column",
        )


def _value_type(kind: pa.DataType) -> pa.DataType:
    import pyarrow as pa

    if pa.types.is_dictionary(kind) or pa.types.is_run_end_encoded(kind):
        return kind.value_type
    return kind


def _as_column(file: str, name: str, array: Any, as_text: bool) -> Column:
    """A column of numbers where it holds nothing else; else text, blank where there is no value."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if array.type != _value_type(array.type):
        array = pc.cast(array, _value_type(array.type))
    kind, types = array.type, pa.types
    if types.is_floating(kind):
        numbers = np.asarray(pc.cast(array, pa.float64()).to_numpy(zero_copy_only=False), dtype=np.float64)
        absent = np.asarray(pc.is_null(array).to_numpy(zero_copy_only=False), dtype=bool)
        if not as_text and not np.isnan(numbers).any():
            return numbers
        words = np.array(list(map(repr, numbers.tolist())), dtype=object)
        words[np.isnan(numbers)] = "NaN"
        words[absent] = ""
        return words
    if types.is_integer(kind):
        return _whole_numbers(file, name, array, as_text)
    if types.is_timestamp(kind):
        return _stamps(file, name, array)
    if types.is_duration(kind):
        return _durations(array)
    if types.is_boolean(kind):
        spelled = {True: "True", False: "False", None: ""}
        return text_column([spelled[value] for value in array.to_pylist()])
    if types.is_null(kind):
        return text_column([""] * len(array))
    texts = pc.fill_null(pc.cast(array, pa.string()), "")
    column = text_column(texts.to_pylist())
    if types.is_decimal(kind) and not as_text and all(column):
        return column.astype(np.float64)
    return column


def _whole_numbers(file: str, name: str, array: Any, as_text: bool) -> Column:
    import pyarrow as pa
    import pyarrow.compute as pc

    if as_text or array.null_count:
        texts = pc.fill_null(pc.cast(array, pa.string()), "")
        return text_column(texts.to_pylist())
    numbers = array.to_numpy(zero_copy_only=False)
    if numbers.dtype.itemsize == 8 and len(numbers):
        most = max(int(numbers.max()), -int(numbers.min()))
        if most > _EXACT_WHOLE:
            raise PARQUET_COLUMN(
                file=file,
                column=name,
                kind=f"whole numbers such as {most}, beyond {_EXACT_WHOLE}",
                why="They can't be kept to the last digit; as times they would move.",
                mend="save times as time stamps, and other columns as numbers of ordinary size",
            )
    return np.asarray(numbers, dtype=np.float64)


def _stamps(file: str, name: str, array: Any) -> Column:
    """ISO text of time stamps, with the UTC offset of their zone where they have one; in whole numbers."""
    import pyarrow as pa
    import pyarrow.compute as pc

    unit = array.type.unit
    utc = _whole(array)
    local = utc
    zone = array.type.tz
    if zone is not None:
        try:
            local = _whole(pc.local_timestamp(array))
        except pa.ArrowException:
            raise PARQUET_COLUMN(
                file=file,
                column=name,
                kind=f"times of the zone '{zone}', which isn't known here",
                why="Their wall-clock times can't be told.",
                mend="save the times in UTC or with a fixed offset",
            ) from None
    per_second = _UNITS_PER_SECOND[unit]
    resolution = unit
    for coarser in ("s", "ms", "us"):
        step = per_second // _UNITS_PER_SECOND[coarser] if _UNITS_PER_SECOND[coarser] <= per_second else 0
        if step and not (local % step).any():
            resolution, local_shown = coarser, local // step
            break
    else:
        local_shown = local
    words = np.datetime_as_string(local_shown.view(f"datetime64[{resolution}]"), unit=resolution)
    column = words.astype(object)
    if zone is not None:
        minutes = (local - utc) // (per_second * 60)
        offsets, member = np.unique(minutes, return_inverse=True)
        worded = np.array([_offset(int(each)) for each in offsets], dtype=object)
        column = column + worded[member]
    column[np.asarray(pc.is_null(array).to_numpy(zero_copy_only=False), dtype=bool)] = ""
    return column


def _whole(array: Any) -> IntArray:
    """The stored whole numbers, 0 where there is none."""
    import pyarrow as pa
    import pyarrow.compute as pc

    numbers = pc.fill_null(pc.cast(array, pa.int64()), 0).to_numpy(zero_copy_only=False)
    return np.array(numbers, dtype=np.int64)


def _offset(minutes: int) -> str:
    hours, rest = divmod(abs(minutes), 60)
    return f"{'-' if minutes < 0 else '+'}{hours:02d}:{rest:02d}"


def _durations(array: Any) -> Column:
    """Elapsed times as h:mm:ss with their fraction, from whole numbers."""
    import pyarrow.compute as pc

    per_second = _UNITS_PER_SECOND[array.type.unit]
    digits = len(str(per_second)) - 1
    counts = _whole(array)
    seconds, fraction = np.divmod(np.abs(counts), per_second)
    signs = np.where(counts < 0, "-", "")
    words = np.char.add(signs, np.char.add((seconds // 3600).astype(str), ":"))
    words = np.char.add(words, np.char.add(np.char.zfill((seconds // 60 % 60).astype(str), 2), ":"))
    words = np.char.add(words, np.char.zfill((seconds % 60).astype(str), 2))
    if digits and fraction.any():
        words = np.char.add(words, np.char.add(".", np.char.zfill(fraction.astype(str), digits)))
    column = words.astype(object)
    column[np.asarray(pc.is_null(array).to_numpy(zero_copy_only=False), dtype=bool)] = ""
    return column


def _texts(column: Column) -> list[str]:
    return [str(cell) for cell in column.tolist()]


class ParquetSource:
    """The rows of one parquet file."""

    def __init__(self, file: InputFile, table: Any, head: Head, rows: int) -> None:
        self.file = file.name
        self.head = head
        self.told: Mapping[str, object] = {}
        self.doubts: tuple[Doubt, ...] = ()
        self.faults = Faults()
        self.most_rows = rows
        self._table = table

    def pieces(self, as_text: frozenset[int]) -> Iterator[Piece]:
        """Hand over the rows, some ten thousand at a time.

        Raises
        ------
        Refusal
            If a part of the file is damaged, or a number can't be kept to the last digit.
        """
        import pyarrow as pa

        row = 1
        try:
            for batch in self._table.iter_batches(batch_size=_BATCH_ROWS):
                columns = [
                    _as_column(self.file, name, batch.column(index), index in as_text)
                    for index, name in enumerate(self.head.names)
                ]
                yield Piece(np.arange(row, row + batch.num_rows, dtype=np.int64), columns, {})
                row += batch.num_rows
        except (pa.ArrowException, OSError) as error:
            raise PARQUET_DAMAGED(file=self.file, reason=type(error).__name__) from error
        self.faults.seen = row - 1
