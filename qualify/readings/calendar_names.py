"""Names of months and days of the week, as recorders and spreadsheets of five languages write them."""

from __future__ import annotations

_MONTHS_TEXT = """
    january jan januar jänner jän janvier janv enero ene gennaio gen
    february feb februar feber février fevrier févr fevr fév fev febrero febbraio
    march mar märz maerz mär mrz mars marzo
    april apr avril avr abril abr aprile
    may mai mayo maggio mag
    june jun juni juin junio giugno giu
    july jul juli juillet juil julio luglio lug
    august aug août aout agosto ago
    september sep sept septembre septiembre setiembre set settembre sett
    october oct oktober okt octobre octubre ottobre ott
    november nov novembre noviembre
    december dec dezember dez décembre decembre déc diciembre dic dicembre
"""
_WEEKDAYS_TEXT = """
    monday mon montag mo lundi lun lunes lunedì lunedi
    tuesday tue tues dienstag di mardi mar martes martedì martedi
    wednesday wed mittwoch mi mercredi mer miércoles miercoles mié mie mercoledì mercoledi
    thursday thu thur thurs donnerstag do jeudi jeu jueves jue giovedì giovedi gio
    friday fri freitag fr vendredi ven viernes vie venerdì venerdi
    saturday sat samstag sonnabend sa samedi sam sábado sabado sáb sab sabato
    sunday sun sonntag so dimanche dim domingo dom domenica
"""


def _numbered(text: str) -> dict[str, int]:
    lines = [line.split() for line in text.strip().splitlines()]
    return {name: number for number, names in enumerate(lines, start=1) for name in names}


def _any_of(names: dict[str, int]) -> str:
    """A pattern for any of the names in any case, also where the pattern's flags know ASCII only."""

    def either_case(letter: str) -> str:
        return f"[{letter}{letter.upper()}]"

    longest_first = sorted(names, key=len, reverse=True)
    return "(?:" + "|".join("".join(map(either_case, name)) for name in longest_first) + ")"


MONTHS = _numbered(_MONTHS_TEXT)
"""Number of the month (January = 1) of each name, case folded."""

WEEKDAYS = _numbered(_WEEKDAYS_TEXT)
"""Number of the day of the week (Monday = 1) of each name, case folded."""

MONTH_PATTERN = _any_of(MONTHS)
WEEKDAY_PATTERN = _any_of(WEEKDAYS)
