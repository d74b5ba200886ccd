"""What replicate runs say, line by line: value, interval, the live formula where one is simple, how."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from qualify.figures.absent import Absent, Maybe, present
from qualify.pack.workbook.run_tables import EXTREMES, KEPT, RunTable
from qualify.pack.workbook.words import DIFFERENCE, NUMBER

SQUARE, PER_RUN, RUNS = "°C² of difference", "°C of difference per run", "runs"
BALANCED = "; live from means and standard deviations on the run table, as no figure is missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One statement: in words alone, or a value in its unit with its interval.

    `formula` gives `value` live; `says` is a word, which `says_formula` gives live.
    """

    what: str
    value: Maybe | None = None
    formula: str | None = None
    low: Maybe | None = None
    high: Maybe | None = None
    unit: str = ""
    says: str = ""
    says_formula: str = ""
    remark: str = ""
    strong: bool = False
    chance: bool = False
    """Whether the value is a probability, never printed as certain."""

    @property
    def live(self) -> bool:
        """Whether it says that it agrees or differs."""
        return self.formula is not None and self.value is not None and present(self.value)


def lines_of_group(table: RunTable) -> list[tuple[str, list[Line]]]:
    """Every line of a group of runs under its heading."""
    found = table.group.statistics
    if isinstance(found, Absent):
        return [("Runs to come", [Line(what=f"nothing can be said: {found.reason}")])]
    parts = [("All limits together", _passing(found, table))]
    for key, words, _ in EXTREMES:
        parts.append((words, _figure(getattr(found, key), table, key, found)))
    parts.append(("What scatters: variances of the locations' means", _components(found, table)))
    parts.append(("Each location for itself", _locations(found)))
    return parts


def _absent(what: str, reason: Absent) -> Line:
    return Line(what=what, value=reason, remark=f"absent: {reason.reason}")


def _sentence(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


def _percent(share: float) -> str:
    return f"{100 * share:g} %"


# --- passes and fails


def _passing(found: Any, table: RunTable) -> list[Line]:
    passing = found.passing
    if isinstance(passing, Absent):
        return [_absent("Runs that kept their limits", passing)]
    kept = f'COUNTIF({table.row_of_runs(table.kept_row)},"{KEPT}")'
    return _shares(passing, kept)


def _shares(passing: Any, formula: str | None) -> list[Line]:
    return [
        Line(
            what=f"Runs that kept the limits, of {passing.n}",
            value=float(passing.passed),
            formula=formula,
            unit=RUNS,
            strong=True,
        ),
        Line(
            what="Share of runs that keep them: shown, with its interval",
            value=passing.share,
            low=passing.low,
            high=passing.high,
            unit=NUMBER,
            remark=_sentence(f"{_percent(passing.confidence)}: {passing.method}", passing.note),
        ),
        Line(
            what=f"Share of runs that keep them: at least, confidence {_percent(passing.confidence)}",
            value=passing.at_least,
            unit=NUMBER,
            remark="what passes and fails alone show",
        ),
    ]


# --- one figure over the runs


def _figure(own: Any, table: RunTable, key: str, found: Any) -> list[Line]:
    upper = key == "highest"
    limit = own.limit_high_c if upper else own.limit_low_c
    lines = _tolerance(own.tolerance, table, key, limit)
    lines += _next_run(own.next_run, table, key)
    if isinstance(own.passing, Absent):
        lines.append(_absent("Runs that kept the limit", own.passing))
    else:
        lines.append(_shares(own.passing, None)[0])
    lines += _needed(own.runs_needed)
    lines += _outlying(own, table, key, found.runs)
    lines += _trend(own.trend, table, key, own.n == len(found.runs))
    lines += _capability(own.capability, table, key, limit)
    lines += _control(own.control, found.runs)
    return lines


def _tolerance(tolerance: Any, table: RunTable, key: str, limit: float | None) -> list[Line]:
    if isinstance(tolerance, Absent):
        return [_absent("Tolerance limits for runs to come", tolerance)]
    shares = f"{_percent(tolerance.content)} of future runs, confidence {_percent(tolerance.confidence)}"
    lines = [
        Line(
            what=f"Mean of {tolerance.n} runs",
            value=tolerance.mean_c,
            formula=table.mean(key),
            unit=DIFFERENCE,
        ),
        Line(what="Standard deviation s", value=tolerance.sd_c, formula=table.sd(key), unit=DIFFERENCE),
        Line(
            what=f"Factor k, n = {tolerance.n}",
            value=tolerance.factor,
            unit=NUMBER,
            remark=f"{tolerance.side}; {tolerance.method}",
        ),
    ]
    note = tolerance.note
    for word, value, is_upper in (("below", tolerance.low_c, False), ("above", tolerance.high_c, True)):
        if not present(value):
            continue
        cell = table.limit(key, upper=is_upper)
        held = limit is not None and is_upper == (key == "highest")
        says, says_formula = "", ""
        if held and limit is not None:
            beyond = value > limit + 1e-9 if is_upper else value < limit - 1e-9
            says = "beyond the limit" if beyond else "within the limit"
            test = f"{cell}>{limit!r}+1E-9" if is_upper else f"{cell}<{limit!r}-1E-9"
            says_formula = f'IF({test},"beyond the limit","within the limit")'
        lines.append(
            Line(
                what=f"Tolerance limit {word}: {shares}",
                value=value,
                formula=cell,
                unit=DIFFERENCE,
                says=says,
                says_formula=says_formula,
                remark=_sentence("mean ± k·s", f"limit {_signed(limit)} °C" if held and limit else "", note),
                strong=True,
            )
        )
        note = ""
    return lines


def _signed(value: float) -> str:
    return f"{value:+.6g}".replace("-", "−")


def _next_run(found: Any, table: RunTable, key: str) -> list[Line]:
    if isinstance(found, Absent):
        return [_absent("The next run", found)]
    outside = 1.0 - found.confidence
    count = table.count(key)
    half = f"TINV({outside!r},{count}-1)*{table.sd(key)}*SQRT(1+1/{count})"
    lines = [
        Line(
            what=f"The next run: {word} end, {_percent(found.confidence)}",
            value=value,
            formula=f"{table.mean(key)}{sign}{half}",
            unit=DIFFERENCE,
            remark=_sentence(found.method) if word == "lower" else "",
        )
        for word, value, sign in (("lower", found.low_c, "-"), ("upper", found.high_c, "+"))
    ]
    if isinstance(found.chance, Absent):
        return [*lines, _absent("Chance that the next run keeps the limit", found.chance)]
    lines.append(
        Line(what="Chance that the next run keeps the limit", value=found.chance, unit=NUMBER, chance=True)
    )
    lines.append(
        Line(
            what="Share of all future runs that keep the limit: estimate",
            value=found.share,
            low=found.share_low,
            high=found.share_high,
            unit=NUMBER,
            chance=True,
            remark=found.share_method,
        )
    )
    at_least = f"Share of all future runs that keep it: at least, confidence {_percent(found.confidence)}"
    lines.append(Line(what=at_least, value=found.share_at_least, unit=NUMBER, chance=True, remark=found.note))
    return lines


def _needed(found: Any) -> list[Line]:
    shares = f"{_percent(found.content)} of all, confidence {_percent(found.confidence)}"
    by_scatter = found.by_scatter
    lines = [
        Line(
            what=f"Runs needed that all pass, to show {shares}",
            value=float(found.passing_alone),
            unit=RUNS,
            remark="from passes alone",
        )
    ]
    what = "Runs needed if mean and s stayed as they are"
    if isinstance(by_scatter, Absent):
        lines.append(_absent(what, by_scatter))
    else:
        remark = "until the tolerance limit lies within the limit"
        lines.append(Line(what=what, value=float(by_scatter), unit=RUNS, remark=remark))
    return lines


def _outlying(own: Any, table: RunTable, key: str, runs: Sequence[str]) -> list[Line]:
    one, several = own.outlying, own.several_outlying
    lines = []
    if isinstance(one, Absent):
        lines.append(_absent("Outlying run (Grubbs)", one))
    else:
        cells = table.row_of_runs(table.extreme_rows[key])
        mean = table.mean(key)
        lines.append(
            Line(
                what=f"Outlying run (Grubbs): {runs[one.run]}, farthest from the mean, in s",
                value=one.statistic,
                formula=f"MAX(MAX({cells})-{mean},{mean}-MIN({cells}))/{table.sd(key)}",
                unit=NUMBER,
                says="outlying" if one.outlying else "no sign of it",
                remark=_sentence(
                    f"outlying above {one.critical:.4g}; p {_chance(one.p_value)}, level {one.level:g}",
                    one.note,
                ),
            )
        )
    if isinstance(several, Absent):
        lines.append(_absent("Several outlying runs", several))
    else:
        named = ", ".join(runs[run] for run in several.runs)
        lines.append(
            Line(
                what=f"Several outlying runs, at most {several.most}",
                value=float(len(several.runs)),
                unit=RUNS,
                says=named or "no sign of any",
                remark=_sentence(several.method, several.note),
            )
        )
    return lines


def _chance(p_value: float) -> str:
    return "below 0.0001" if p_value < 0.0001 else f"{p_value:.4f}"


def _trend(trend: Any, table: RunTable, key: str, every_run: bool) -> list[Line]:
    if isinstance(trend, Absent):
        return [_absent("Trend over the runs", trend)]
    cells, order = table.row_of_runs(table.extreme_rows[key]), table.row_of_runs(table.order_row)
    return [
        Line(
            what=f"Trend over the runs, {_percent(trend.confidence)} interval",
            value=trend.slope_c_per_run,
            formula=f"SLOPE({cells},{order})" if every_run else None,
            low=trend.low_c_per_run,
            high=trend.high_c_per_run,
            unit=PER_RUN,
            says="a trend" if trend.significant else "no sign of one",
            remark=_sentence(f"p {_chance(trend.p_value)}, level {trend.level:g}", trend.method),
        )
    ]


def _capability(found: Any, table: RunTable, key: str, limit: float | None) -> list[Line]:
    if isinstance(found, Absent):
        return [_absent("Capability", found)]
    formula = None
    if limit is not None:
        room = f"{limit!r}-{table.mean(key)}" if key == "highest" else f"{table.mean(key)}-{_literal(limit)}"
        formula = f"({room})/(3*{table.sd(key)})"
    lines = []
    for what, index, live, note in (
        ("Capability Ppk, s of all runs", found.ppk, formula, found.note),
        ("Capability Cpk, s of neighbouring runs", found.cpk, None, ""),
        ("Capability Pp", found.pp, None, ""),
        ("Capability Cp", found.cp, None, ""),
    ):
        if isinstance(index, Absent):
            lines.append(_absent(what, index))
            continue
        lines.append(
            Line(
                what=f"{what}, {_percent(found.confidence)} interval",
                value=index.value,
                formula=live,
                low=index.low,
                high=index.high,
                unit=NUMBER,
                remark=_sentence(index.method, note),
            )
        )
    return lines


def _literal(value: float) -> str:
    return f"({value!r})" if value < 0 else repr(value)


def _control(found: Any, runs: Sequence[str]) -> list[Line]:
    if isinstance(found, Absent):
        return [_absent("Control limits of single runs", found)]
    beyond = ", ".join(runs[run] for run in found.beyond)
    steps = ", ".join(runs[run] for run in found.ranges_beyond)
    return [
        Line(
            what="Control limits of single runs: centre, and limits",
            value=found.mean_c,
            low=found.low_c,
            high=found.high_c,
            unit=DIFFERENCE,
            says=beyond or "no run beyond",
            remark=_sentence(found.method, found.note),
        ),
        Line(
            what="Step from run to run: mean, and upper control limit",
            value=found.range_mean_c,
            high=found.range_high_c,
            unit=DIFFERENCE,
            says=steps or "no step beyond",
        ),
    ]


# --- components


def _components(found: Any, table: RunTable) -> list[Line]:
    lines: list[Line] = []
    anova, likelihood = found.components, found.likelihood
    names = (
        ("run", "Run: moves all locations alike"),
        ("location", "Location: how far apart the places lie"),
        ("residual", "Rest: one location in one run"),
        ("run_to_run", "Run and rest: one location from run to run"),
    )
    if isinstance(anova, Absent):
        lines.append(_absent("By analysis of variance", anova))
    else:
        live = _live_components(table) if table.complete else {}
        note = BALANCED if live else ""
        for at, (key, words) in enumerate(names):
            remark = anova.method + note if at == 0 else ""
            lines.append(_component(words, getattr(anova, key), live.get(key), remark))
        for words, p_value in (
            ("Chance of so large a scatter of runs if there were none", anova.run_p_value),
            ("Chance of so large a scatter of locations if there were none", anova.location_p_value),
        ):
            if isinstance(p_value, Absent):
                lines.append(_absent(words, p_value))
            else:
                lines.append(Line(what=words, value=p_value, unit=NUMBER, chance=True))
    if isinstance(likelihood, Absent):
        lines.append(_absent("By restricted likelihood", likelihood))
        return lines
    for at, (key, words) in enumerate(names[:3]):
        remark = f"second opinion: {likelihood.method}" if at == 0 else ""
        lines.append(_component(f"{words}, by likelihood", getattr(likelihood, key), None, remark))
    return lines


def _component(words: str, found: Any, formula: str | None, remark: str) -> Line:
    if isinstance(found, Absent):
        return _absent(words, found)
    return Line(
        what=words,
        value=found.variance_c2,
        formula=formula,
        low=found.low_c2,
        high=found.high_c2,
        unit=SQUARE,
        says=f"sd {found.sd_c:.3f} °C ({found.sd_low_c:.3f} to {found.sd_high_c:.3f})",
        remark=_sentence(remark, found.note),
    )


def _live_components(table: RunTable) -> dict[str, str]:
    """Components of a complete table from standard deviations: each mean square by one of them.

    With m locations and k runs: S_run² = m·s²(means of the runs), S_location² = k·s²(means of the
    locations), and the mean of the locations' own s² is (S_run² + (m − 1)·S_rest²)/m.
    """
    m, k = len(table.group.locations), len(table.group.runs)
    deviations = table.deviations_of_locations()
    own = f"SUMPRODUCT({deviations},{deviations})/{m}"
    run = f"{m}*STDEV({table.row_of_runs(table.mean_row)})^2"
    location = f"{k}*STDEV({table.means_of_locations()})^2"
    rest = f"({m}*{own}-{run})/{m - 1}"
    return {
        "run": f"MAX(0,({run}-{rest})/{m})",
        "location": f"MAX(0,({location}-{rest})/{k})",
        "residual": f"MAX(0,{rest})",
        "run_to_run": own,
    }


# --- each location


def _locations(found: Any) -> list[Line]:
    limits = found.locations
    if isinstance(limits, Absent):
        return [_absent("Tolerance limits of each location", limits)]
    return [
        Line(
            what="Standard deviation of one location from run to run",
            value=limits.sd_c,
            unit=DIFFERENCE,
            remark=_sentence(
                f"{limits.locations} locations, {limits.runs} runs",
                f"worth {limits.degrees:.3g} degrees of freedom",
                limits.method,
                limits.note,
            ),
        ),
        Line(
            what=f"Limits for {_percent(limits.content)} of a location's future runs, confidence "
            f"{_percent(limits.confidence)} each",
            remark="mean ± k·s, a row a location: on the run table",
        ),
    ]
