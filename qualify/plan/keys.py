"""Reading keys of a plan: right type, right spelling, every key accounted for."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any

from qualify.findings import Refusal, RefusalKind, nearest

UNKNOWN_KEY = RefusalKind(
    "plan-unknown-key",
    what="the plan has no key of this name here{near}",
    why="A misspelt key would be ignored, and the plan would ask for less than its author meant.",
    mend="correct the spelling; known here: {known}.",
)
MISSING_KEY = RefusalKind(
    "plan-missing-key",
    what="the key is missing",
    why="{why}",
    mend="add it to the plan.",
)
WRONG_VALUE = RefusalKind(
    "plan-wrong-value",
    what="{text} is not {expected}",
    why="A value that is read otherwise than it was meant changes what is judged.",
    mend="correct the value.",
)


LARGEST = 1e12
"""No temperature, time or size in a plan comes near this."""


class Keys:
    """One table of a plan; every key must be taken before `done` is called."""

    def __init__(self, file: str, text: str, path: str, table: Mapping[str, Any]) -> None:
        self.file = file
        self._text = text
        self.path = path
        self._table = dict(table)
        self._known: list[str] = []

    def __contains__(self, key: str) -> bool:
        return key in self._table

    def where(self, key: str) -> dict[str, Any]:
        """Place of a key for a finding; with its line where the name stands once in the file."""
        lines = [
            number
            for number, line in enumerate(self._text.splitlines(), start=1)
            if re.match(rf"\s*\"?{re.escape(key)}\"?\s*=|\s*\[+[^\]]*\b{re.escape(key)}\]", line)
        ]
        full = f"{self.path}.{key}" if self.path else key
        return {"file": self.file, "key": full, "row": lines[0] if len(lines) == 1 else None}

    def wrong(self, key: str, expected: str) -> Refusal:
        """Make the refusal for a value that is not what the key asks for."""
        return WRONG_VALUE(text=_shown(self._table.get(key)), expected=expected, **self.where(key))

    def missing(self, key: str, why: str) -> Refusal:
        """Make the refusal for a key that must be there, or for the misspelt one that stands there."""
        for found in self._table:
            if found not in self._known and nearest(found, [key]):
                return UNKNOWN_KEY(near=nearest(found, [key]), known=key, **self.where(found))
        return MISSING_KEY(why=why, **self.where(key))

    def take(self, key: str) -> Any:
        """Raw value of a key, None where it is absent; the key counts as known and taken."""
        self._known.append(key)
        return self._table.get(key)

    def text(self, key: str, *, why: str = "") -> str:
        """Text; "" where absent, refused where absent and `why` says why it is needed."""
        value = self.take(key)
        if value is None:
            if why:
                raise self.missing(key, why)
            return ""
        if not isinstance(value, str):
            raise self.wrong(key, "text in quotation marks")
        if why and not value.strip():
            raise self.wrong(key, "a text that says something")
        return value.strip()

    def choice(self, key: str, words: list[str], default: str | None = None) -> str | None:
        """One of the words."""
        value = self.take(key)
        if value is None:
            return default
        if value not in words:
            near = nearest(value, words) if isinstance(value, str) else ""
            raise self.wrong(key, f"one of {', '.join(words)}{near}")
        return str(value)

    def number(self, key: str, *, default: float | None = None, least: float | None = None) -> float | None:
        """A finite number, not below `least`."""
        value = self.take(key)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.wrong(key, "a number")
        if not abs(value) < LARGEST:
            raise self.wrong(key, "a number that can be meant")
        if least is not None and value < least:
            raise self.wrong(key, f"a number of at least {least:g}")
        return float(value)

    def numbers(self, key: str) -> tuple[float, ...]:
        """A list of finite numbers; a single one counts as a list of one."""
        value = self.take(key)
        items = value if isinstance(value, list) else [] if value is None else [value]
        for item in items:
            if isinstance(item, bool) or not isinstance(item, (int, float)) or not abs(item) < math.inf:
                raise self.wrong(key, "a list of numbers")
        return tuple(float(item) for item in items)

    def whole(self, key: str, *, least: int = 1) -> int | None:
        """A whole number from `least`."""
        value = self.take(key)
        if value is not None and (isinstance(value, bool) or not isinstance(value, int) or value < least):
            raise self.wrong(key, f"a whole number from {least}")
        return value

    def yes_or_no(self, key: str) -> bool:
        """Whether the key says true; false where it is absent."""
        value = self.take(key)
        if value is not None and not isinstance(value, bool):
            raise self.wrong(key, "true or false")
        return bool(value)

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts; a single text counts as a list of one."""
        value = self.take(key)
        if value is None:
            return ()
        items = [value] if isinstance(value, str) else value
        if not isinstance(items, list) or not all(isinstance(item, str) for item in items):
            raise self.wrong(key, "a list of texts")
        return tuple(items)

    def moment(self, key: str) -> str | None:
        """A TIME: ISO 8601 as text or as a TOML date-time, or seconds from the first reading."""
        value = self.take(key)
        if value is None:
            return None
        if isinstance(value, (datetime, date, time)):
            return value.isoformat()
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            raise self.wrong(key, "a time (ISO 8601, or seconds from the first reading)")
        return str(value)

    def day(self, key: str) -> date | None:
        """A date, as a TOML date or ISO 8601 text."""
        value = self.take(key)
        if isinstance(value, datetime):
            return value.date()
        if value is None or isinstance(value, date):
            return value
        try:
            return date.fromisoformat(value)
        except (TypeError, ValueError):
            raise self.wrong(key, "a date such as 2026-03-02") from None

    def table(self, key: str) -> Keys | None:
        """A table below this one."""
        value = self.take(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            raise self.wrong(key, "a table")
        return Keys(self.file, self._text, f"{self.path}.{key}" if self.path else key, value)

    def tables(self, key: str) -> list[Keys]:
        """A list of tables; a single table counts as a list of one."""
        value = self.take(key)
        if value is None:
            return []
        items = [value] if isinstance(value, dict) else value
        if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
            raise self.wrong(key, "a list of tables")
        path = f"{self.path}.{key}" if self.path else key
        return [
            Keys(self.file, self._text, f"{path}[{number}]", item)
            for number, item in enumerate(items, start=1)
        ]

    def words(self, key: str) -> dict[str, str]:
        """A table of free words: every value as it is printed."""
        value = self.take(key)
        if value is None:
            return {}
        if not isinstance(value, dict):
            raise self.wrong(key, "a table")
        return {str(name): _shown(content).strip('"') for name, content in value.items()}

    def everything_as_words(self) -> dict[str, str]:
        """All keys of this table as free words."""
        self._known.extend(self._table)
        return {str(name): _shown(content).strip('"') for name, content in self._table.items()}

    def done(self) -> None:
        """Refuse the first key that nobody took."""
        for key in self._table:
            if key not in self._known:
                raise UNKNOWN_KEY(
                    near=nearest(key, self._known), known=", ".join(self._known), **self.where(key)
                )


def _shown(value: Any) -> str:
    """A plan's value as a person would write it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return ", ".join(_shown(item).strip('"') for item in value)
    if isinstance(value, (datetime, date, time)):
        return value.isoformat()
    return str(value)
