"""Every file of the corpus is understood as expected.toml says, or refused as it says."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from qualify.findings import Refusal
from qualify.readings import ReadOptions, read_recording
from tests.support.corpus import CASES, FILES, check_refused, check_understood, load, name, names_of, read

READ = [case for case in CASES if "refusal" not in case and "refused" not in case]
REFUSED = [case for case in CASES if case not in READ]
# Doubts that say "this was detected, not told": telling takes them away.
OF_DETECTION = {
    "time-unit-assumed",
    "encoding-guessed",
    "three-digits-behind-every-comma",
    "names-in-two-rows",
}


def test_every_file_of_the_corpus_has_its_case():
    named = [each for case in CASES for each in names_of(case)]
    assert sorted(named) == sorted(path.name for path in FILES.iterdir())
    assert len(named) == len(set(named)) >= 70


@pytest.mark.parametrize("case", READ, ids=name)
def test_a_file_is_understood(case: dict[str, Any]):
    check_understood(case, read(case))


@pytest.mark.parametrize("case", REFUSED, ids=name)
def test_a_file_is_refused(case: dict[str, Any]):
    with pytest.raises(Refusal) as caught:
        read(case)
    check_refused(case, caught.value)


@pytest.mark.parametrize("case", READ, ids=name)
def test_the_pins_alone_read_the_file_again(case: dict[str, Any]):
    """What was detected, told back as the only options, gives the same recording without a guess."""
    files = [load(each) for each in names_of(case)]
    before = read(case)
    assert set(before.pins) == set(before.rows)
    pins = {each: replace(pin) for each, pin in before.pins.items()}
    after = read_recording(files, ReadOptions(), pins)
    np.testing.assert_array_equal(after.raw_c, before.raw_c)
    np.testing.assert_array_equal(after.other_values, before.other_values)
    np.testing.assert_array_equal(after.seconds, before.seconds)
    assert after.start == before.start
    assert after.utc_offset == before.utc_offset
    assert after.channels == before.channels
    assert after.others == before.others
    assert after.units == before.units
    assert {each: rows.tolist() for each, rows in after.rows.items()} == {
        each: rows.tolist() for each, rows in before.rows.items()
    }
    assert [doubt for doubt in after.doubts if doubt.kind in OF_DETECTION] == []
    assert after.doubts == tuple(doubt for doubt in before.doubts if doubt.kind not in OF_DETECTION)
    assert after.pins == before.pins
