"""How often screening cries wolf on honest invented recordings, and how often it finds planted faults.

Honest recordings: seeded; white, autoregressive (0.8) and cycling readings, rounded to 0.1 or 1 °C, every
5 to 60 s at 4 to 16 locations, through ambient, heat-up, soak and cool-down. Each planted fault is put
into such a recording, at the size that its case states; 60 a kind. The counts are printed: `pytest -s`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from tests.support.screened import Array, Invented, honest, screening_doubts, survey_of

HONEST = 200
PLANTED = 60
SEED = 20260302


def doubted(made: Invented, values_c: Array) -> list[tuple[str, str]]:
    """Screening's doubts; the window is declared, so that a fault can't move it."""
    start_s = float(made.seconds[made.steady])
    return screening_doubts(survey_of(made.seconds, values_c, made.setpoint_c, start_s=start_s))


def test_honest_recordings_are_hardly_ever_doubted() -> None:
    kinds: Counter[str] = Counter()
    any_doubt = 0
    for number in range(HONEST):
        made = honest(np.random.default_rng([SEED, number]))
        found = doubted(made, made.values_c)
        kinds.update({kind for kind, _ in found})
        any_doubt += bool(found)
    print(f"honest: {any_doubt} of {HONEST} with any screening doubt; {dict(kinds)}")
    assert any_doubt < 0.02 * HONEST


@dataclass(frozen=True)
class Planted:
    """A fault: its kind, what it is in words, and how it is put into readings."""

    kind: str
    words: str
    plant: Callable[[Invented, np.random.Generator], Array]


def whole_noise_c(made: Invented) -> float:
    """Noise of the readings [°C], rounding included."""
    return float(np.hypot(made.noise_c, made.step_c / np.sqrt(12)))


def spike(readings: int) -> Callable[[Invented, np.random.Generator], Array]:
    def plant(made: Invented, random: np.random.Generator) -> Array:
        values = made.values_c.copy()
        size = max(2.5, 18 * whole_noise_c(made), 10 * made.step_c) * random.choice([-1, 1])
        at = int(random.integers(5, made.seconds.size - 5))
        values[at : at + readings, int(random.integers(values.shape[1]))] += size
        return made.rounded(values)

    return plant


def stuck(from_hold: bool) -> Callable[[Invented, np.random.Generator], Array]:
    def plant(made: Invented, random: np.random.Generator) -> Array:
        values = made.values_c.copy()
        column = int(random.integers(values.shape[1]))
        if from_hold:
            first = int(random.integers(made.steady, made.cool_down))
            values[first:, column] = values[first, column]
        else:
            step_s = made.seconds[1]
            first = made.heat_start + int(random.uniform(60, 400) / step_s)
            last = first + int(max(900 / step_s, 20))
            values[first:last, column] = values[first, column]
        return values

    return plant


def jump(made: Invented, random: np.random.Generator) -> Array:
    values = made.values_c.copy()
    step_s = float(made.seconds[1])
    usual = np.quantile(np.abs(np.diff(values, axis=0)), 0.999) / step_s
    size = 1.5 * step_s * max(1.0, 10 * float(usual))
    at = int(random.integers(5, made.seconds.size - 20))
    values[at : at + 3, int(random.integers(values.shape[1]))] += size
    return made.rounded(values)


def open_circuit(made: Invented, random: np.random.Generator) -> Array:
    values = made.values_c.copy()
    column = int(random.integers(values.shape[1]))
    at = int(random.integers(made.steady, made.cool_down))
    length = int(random.integers(3, 20))
    rail = made.setpoint_c + random.uniform(80.0, 900.0)
    ramp = np.linspace(0.0, rail - values[at, column], length)
    values[at : at + length, column] += ramp[: values.shape[0] - at]
    values[at + length :, column] = rail
    return made.rounded(values)


def moved(made: Invented, random: np.random.Generator) -> Array:
    values = made.values_c.copy()
    size = max(3.0, 8 * made.step_c, 12 * whole_noise_c(made)) * random.choice([-1, 1])
    margin = max(int(300 / made.seconds[1]), 15)
    at = int(random.integers(made.steady + margin, made.cool_down - margin))
    values[at:, int(random.integers(values.shape[1]))] += size
    return made.rounded(values)


def junction(made: Invented, random: np.random.Generator) -> Array:
    values = made.values_c.copy()
    size = max(4.0, 8 * made.step_c) * random.choice([-1, 1])
    at = int(random.integers(made.steady, made.cool_down - 10))
    values[at:] += size
    return made.rounded(values)


def ambient(made: Invented, random: np.random.Generator) -> Array:
    values = made.values_c.copy()
    values[:, int(random.integers(values.shape[1]))] += 5.0 * random.choice([-1, 1])
    return made.rounded(values)


CASES = (
    Planted("spike", "one reading, 18 × noise, at least 2.5 °C and 10 steps", spike(1)),
    Planted("spike", "two readings, 18 × noise, at least 2.5 °C and 10 steps", spike(2)),
    Planted("stuck-value", "15 min in heat-up", stuck(from_hold=False)),
    Planted("stuck-value", "from the hold through the cool-down", stuck(from_hold=True)),
    Planted("impossible-rate", "3 readings away by 1.5 × the threshold an interval", jump),
    Planted("open-circuit-ramp", "3 to 20 readings to a rail 80 to 900 °C up", open_circuit),
    Planted("sensor-moved", "12 × noise, at least 3 °C and 8 steps", moved),
    Planted("junction-step", "all channels, at least 4 °C and 8 steps", junction),
    Planted("disagrees-at-ambient", "5 °C", ambient),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.kind}: {case.words}")
def test_planted_faults_are_found(case: Planted) -> None:
    found = 0
    others: Counter[str] = Counter()
    for number in range(PLANTED):
        random = np.random.default_rng([SEED + 1, number])
        made = honest(random)
        kinds = {kind for kind, _ in doubted(made, case.plant(made, random))}
        found += case.kind in kinds
        others.update(kinds - {case.kind})
    print(f"{case.kind} ({case.words}): {found} of {PLANTED} found; also {dict(others)}")
    assert found >= 0.95 * PLANTED
