"""Damaged files: never a traceback, never a changed number without a doubt at its row.

Good text files (those of the corpus and random layouts) are cut, have lines and blocks doubled, lines and
cells swapped, marks and delimiters changed, bytes and quotation marks inserted, bytes deleted, bits flipped,
line ends removed or inserted. Two thousand here; twenty thousand and more by `python
tests/support/long_run.py damage 20000 --seed N`.

**What must be seen.** The damaged file is refused, or whatever differs from the undamaged file (a reading
with another value, a reading that is gone, a row that wasn't there) stands in a doubt at its row and column,
or at its row.

**What nobody can see by form**, and is counted apart as "traceless":

- a cell that after the damage is itself an honest number in the file's own notation: a digit lost, added or
  changed, a sign lost, a decimal mark lost (20.15 becomes 2015) or moved; two numbers of one row swapped.
  Screening may doubt such a reading by its size or step; the reader can't.
- likewise a mark that comes into a file of whole numbers, which shows no decimal mark of its own.
- a time that keeps its form (the same marks between its digits); that times rise refuses most of these.
- rows behind a clean cut, since a shorter record is an honest record.
- two names of the header swapped; a letter changed in a name, a word of state (open, shut) or a remark; or
  one that makes another honest unit of a unit (°C, °K).

The judge (`tests/support/damage.py`) decides this from the lines of text alone, with a splitter and a notion
of "number" of its own, not from what the reader says of them.
"""

from __future__ import annotations

from collections import Counter

import pytest

from qualify.findings import Refusal
from qualify.readings import read_recording
from tests.support.corpus import CASES, load, logger_file, told
from tests.support.damage import KINDS, check_damaged, random_damage
from tests.support.layouts import RandomChooser

SEED = 20260314


@pytest.mark.parametrize("part", range(4))
def test_damaged_text_is_refused_or_doubted(part: int):
    outcomes: Counter[str] = Counter()
    kinds: Counter[str] = Counter()
    for number in range(part * 500, (part + 1) * 500):
        damaged = random_damage(RandomChooser(f"{SEED}-{number}"))
        try:
            outcomes[check_damaged(damaged)] += 1
        except Exception as error:
            error.add_note(f"damage {SEED}-{number}")
            raise
        kinds[damaged.kind if damaged is not None else ""] += 1
    # The judge must have had something to judge.
    assert outcomes["refused"] > 100
    assert outcomes["doubted"] > 20
    assert outcomes["not read"] < 25
    assert set(KINDS) <= set(kinds)


CONTAINERS = [
    case
    for case in CASES
    if "file" in case
    and "refusal" not in case
    and "refused" not in case
    and case["file"].endswith((".xlsx", ".xls", ".ods", ".parquet", ".gz", ".zip"))
]


@pytest.mark.parametrize("case", CONTAINERS, ids=lambda case: case["file"])
def test_a_damaged_container_is_refused_or_read(case: dict):
    """Cut, flipped and overwritten bytes of a container: a refusal or a recording, nothing else.

    Archives carry check sums, so there a change is refused; the old .xls and .parquet carry none over their
    numbers, and a flipped bit in one is another honest number.
    """
    whole = load(case["file"]).data
    options = told(case)
    choose = RandomChooser(f"{SEED}-{case['file']}")
    refused = 0
    for _ in range(25):
        at = choose.whole(0, len(whole) - 1)
        damage = choose.one_of(["cut", "flip", "overwrite", "delete", "insert"])
        data = {
            "cut": whole[:at],
            "flip": whole[:at] + bytes([whole[at] ^ (1 << choose.whole(0, 7))]) + whole[at + 1 :],
            "overwrite": whole[:at] + bytes(choose.whole(0, 255) for _ in range(16)) + whole[at + 16 :],
            "delete": whole[:at] + whole[at + choose.whole(1, 40) :],
            "insert": whole[:at] + bytes(choose.whole(0, 255) for _ in range(4)) + whole[at:],
        }[damage]
        try:
            read_recording([logger_file(data, case["file"])], options)
        except Refusal:
            refused += 1
    assert refused > 5
