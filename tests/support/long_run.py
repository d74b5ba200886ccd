"""The long runs: many random layouts, or many damaged files, with the count, the failures and the seconds.

`python tests/support/long_run.py layouts 100000 --seed 1`
`python tests/support/long_run.py damage 20000 --seed 1`

Each case has its own seed, `SEED-NUMBER`, so that a failure can be made again alone with `--only NUMBER`.
"""

from __future__ import annotations

import argparse
import sys
import time
import traceback
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))


def one_layout(seed: str) -> str:
    from tests.support.layouts import RandomChooser, check, check_pins, random_layout, read

    written = random_layout(RandomChooser(seed))
    recording = read(written)
    check(recording, written)
    if seed.endswith(("0", "5")):
        check_pins(recording, written)
    return str(written.layout["container"])


def one_damage(seed: str) -> str:
    from tests.support.damage import check_damaged, random_damage
    from tests.support.layouts import RandomChooser

    return check_damaged(random_damage(RandomChooser(seed)))


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=["layouts", "damage"])
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="make this case alone and show its failure in full")
    parser.add_argument("--show", type=int, default=20, help="how many failures to show")
    told = parser.parse_args()
    one = one_layout if told.what == "layouts" else one_damage
    if told.only is not None:
        print(one(f"{told.seed}-{told.only}"))
        return 0
    began, failures, kinds = time.perf_counter(), 0, Counter[str]()
    grouped: Counter[str] = Counter()
    for number in range(told.count):
        try:
            kinds[one(f"{told.seed}-{number}")] += 1
        except Exception as error:
            failures += 1
            place = traceback.extract_tb(error.__traceback__)[-1]
            code = getattr(error, "code", "")
            grouped[f"{type(error).__name__} {code} {Path(place.filename).name}:{place.lineno}"] += 1
            if failures <= told.show:
                print(f"case {number}: {type(error).__name__}: {str(error)[:300]}")
    seconds = time.perf_counter() - began
    print(f"{told.count} {told.what}, seed {told.seed}: {failures} failures, {seconds:.0f} s")
    for kind, count in sorted(kinds.items()):
        print(f"  {kind}: {count}")
    for kind, count in grouped.most_common():
        print(f"  failed, {kind}: {count}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
