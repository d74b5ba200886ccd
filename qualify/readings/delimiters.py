"""What stands between the cells of a text: the delimiter under which it reads best as a table."""

from __future__ import annotations

import csv
import re

from qualify.readings.layout import body_score, has_readings
from qualify.readings.text import Text

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
BLANKS = {"spaces": rb"[ \t]{2,}|\t", "space": rb"[ \t]+"}
"""Runs of blanks as delimiters: two or more (or a tab), and one or more."""
_HEAD_BYTES = 1 << 18
_ENOUGH = 0.5
_CLEARLY = 0.9
_BETTER_BY = 0.1


def best_table(text: Text, wanted: int, told: str | None) -> tuple[str, Text, list[list[str]]]:
    """Choose the delimiter under which the first lines read best as a table.

    Blanks are tried only where no other sign gives a table, since they stand in names and stamps too. A
    text delimited by blanks comes back with a tab in place of each run.
    """
    scores: dict[str, float] = {}
    tables: dict[str, list[list[str]]] = {}
    texts: dict[str, Text] = {}

    def attempt(word: str) -> None:
        texts[word] = text if word in DELIMITERS else _tabbed(text, BLANKS[word])
        sign = DELIMITERS.get(word, "\t")
        rows = [split(line, sign) for line in first_lines(texts[word], wanted)]
        if told is not None or has_readings(rows):
            tables[word], scores[word] = rows, body_score(rows)

    for word in DELIMITERS if told is None else (told,):
        attempt(word)
    signs = max(scores.values(), default=0.0)
    if told is None and signs < _CLEARLY:
        for word in BLANKS:
            attempt(word)
            if scores.get(word, 0.0) >= max(_ENOUGH, signs + _BETTER_BY):
                break
            scores.pop(word, None)
    best = max(scores, key=lambda word: scores[word], default=None)
    if best is None or (scores[best] < _ENOUGH and told is None):
        # Say what is wrong by the rules of the likeliest delimiter; most often there is only a header.
        if best is None or best in BLANKS:
            best = next((word for word in DELIMITERS if word in scores), "comma")
            if best not in tables:
                attempt(best)
                tables.setdefault(best, [[line] for line in first_lines(text, wanted)])
        if scores.get(best, 0.0) < 0.2:
            tables[best] = [[""] for _ in tables[best]]
    return best, texts.get(best, text), tables[best]


def _tabbed(text: Text, blanks: bytes) -> Text:
    """The text with one tab for each run of blanks outside quotation marks, and none at a line's ends."""
    pattern = re.compile(rb'"[^"\n]*"|^[ \t]+|[ \t]+(?=\r?$)|' + blanks, re.MULTILINE)

    def replace(match: re.Match[bytes]) -> bytes:
        found = match[0]
        if found.startswith(b'"'):
            return found
        at_edge = match.start() == 0 or match.string[match.start() - 1 : match.start()] == b"\n"
        behind = match.string[match.end() : match.end() + 1]
        return b"" if at_edge or behind in (b"", b"\n", b"\r") else b"\t"

    return Text(pattern.sub(replace, text.data[text.start :]), 0, text.encoding, text.codec, text.doubts)


def split(line: str, delimiter: str) -> list[str]:
    """Split one line into its cells, quotation marks taken off."""
    if '"' in line:
        return next(csv.reader([line], delimiter=delimiter), [""])
    return line.split(delimiter)


def first_lines(text: Text, wanted: int) -> list[str]:
    """The first lines as text, whole ones only unless the file ends there."""
    size = max(_HEAD_BYTES, wanted * 1024)
    stop = len(text.data)
    if stop - text.start > size:
        stop = text.data.rfind(b"\n", text.start, text.start + size) + 1
    head = text.data[text.start : stop].decode("utf-8")
    lines = [line.removesuffix("\r") for line in head.split("\n")]
    if lines and not lines[-1]:
        lines.pop()
    return lines[:wanted]
