"""A random table in a random layout reads back as it was written: the same numbers, times, units and names.

Two thousand and more layouts in all, spread over several tests so that two cores share them. A hundred
thousand are read by `python tests/support/long_run.py layouts 100000 --seed N`.
"""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.layouts import DrawnChooser, Written, check, check_pins, random_layout, read

QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large]


@st.composite
def layouts(draw: st.DrawFn, container: str | None = None) -> Written:
    return random_layout(DrawnChooser(draw), container)


def reads_back(written: Written, *, pinned: bool = False) -> None:
    recording = read(written)
    check(recording, written)
    if pinned:
        check_pins(recording, written)


@settings(max_examples=510, deadline=None, suppress_health_check=QUIET)
@given(written=layouts("text"))
def test_text_layouts_1(written: Written):
    reads_back(written)


@settings(max_examples=510, deadline=None, suppress_health_check=QUIET)
@given(written=layouts("text"))
def test_text_layouts_2(written: Written):
    reads_back(written)


@settings(max_examples=510, deadline=None, suppress_health_check=QUIET)
@given(written=layouts("text"))
def test_text_layouts_3(written: Written):
    reads_back(written, pinned=True)


@settings(max_examples=510, deadline=None, suppress_health_check=QUIET)
@given(written=st.sampled_from(["gzip", "zip", "xlsx", "xls", "ods", "parquet"]).flatmap(layouts))
def test_layouts_in_containers(written: Written):
    reads_back(written, pinned=True)
