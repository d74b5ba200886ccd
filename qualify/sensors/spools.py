"""One certificate for a spool of wire: the mean of its samples, and what they leave open."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np

from qualify.findings import RefusalKind
from qualify.sensors.certificate import Certificate
from qualify.sensors.corrections import Step

TOO_FEW_SAMPLES = RefusalKind(
    "spool-too-few-samples",
    what="{name} holds {count} sample: {samples}",
    why="One sample does not show that the wire is the same from one end of the spool to the other.",
    mend="add the points of a sample from the other end, each with its serial in the column sample; or "
    "calibrate each sensor.",
)
SAMPLES_DIFFER = RefusalKind(
    "spool-points-differ",
    what="{name}: sample '{one}' has points at {at_one} °C, sample '{other}' at {at_other} °C",
    why="The mean of the samples needs every sample at every point.",
    mend="give each sample the same points, or take out those that not every sample has.",
)
RANGE_TOO_WIDE = RefusalKind(
    "spool-range",
    what="{name}: at {temperature:g} °C its samples lie {found:.3g} °C apart, more than the plan's limit of "
    "{limit:.3g} °C (spool_range)",
    why="The wire is not alike along the spool, so that one certificate can't stand for every sensor cut "
    "from it.",
    mend="calibrate each sensor by itself, or use only the part of the spool whose samples agree.",
)
SAME_POINT_C = 1.0
"""Points of two samples this close are one point of the spool."""


def spool_step(
    certificates: Sequence[Certificate], steps: Sequence[Step], *, range_limit_c: float | None
) -> Step:
    """Make the step of every sensor that is cut from a spool.

    At each point the correction is the mean of the samples', the certificate's own U the largest of them
    (shared by all sensors of the spool), and half their range a rectangular half-width, added once to each
    sensor and independent from sensor to sensor: u = half range/√3 (JCGM 100:2008, 4.3.7).

    Parameters
    ----------
    certificates, steps
        Each sample, and its points as a step.
    range_limit_c
        The largest range [°C] of the samples that the plan accepts; None accepts any.

    Raises
    ------
    Refusal
        With fewer than two samples, samples at different points, or a range above the limit.
    """
    first = certificates[0]
    number = f"certificate {first.number} of " if first.number else ""
    name = f"{number}spool '{first.spool}'"
    file, row = first.file, first.points[0].row
    if len(certificates) < 2:
        samples = f"'{first.sample}'" if first.sample else "without a serial"
        raise TOO_FEW_SAMPLES(name=name, count=len(certificates), samples=samples, file=file, row=row)
    for certificate, step in zip(certificates[1:], steps[1:], strict=True):
        if not _same_points(steps[0], step):
            at_one, at_other = (", ".join(f"{t:g}" for t in item.temperature_c) for item in (steps[0], step))
            raise SAMPLES_DIFFER(
                name=name,
                one=first.sample,
                other=certificate.sample,
                at_one=at_one,
                at_other=at_other,
                file=certificate.file,
                row=certificate.points[0].row,
            )
    corrections = np.stack([step.correction_c for step in steps])
    temperature_c = np.stack([step.temperature_c for step in steps]).mean(axis=0)
    range_c = corrections.max(axis=0) - corrections.min(axis=0)
    widest = int(range_c.argmax())
    if range_limit_c is not None and range_c[widest] > range_limit_c + 1e-9:
        raise RANGE_TOO_WIDE(
            name=name,
            temperature=float(temperature_c[widest]),
            found=float(range_c[widest]),
            limit=range_limit_c,
            file=file,
            row=row,
        )
    expanded = np.stack([step.expanded_uncertainty_c for step in steps])
    factor = np.stack([step.coverage_factor for step in steps])
    standard = expanded / factor
    # An uncertainty that one sample lacks is not known for the spool either.
    largest = np.where(
        np.isnan(standard).any(axis=0), np.isnan(standard).argmax(axis=0), standard.argmax(axis=0)
    )
    column = np.arange(temperature_c.size)
    return Step(
        of=first.of,
        temperature_c=temperature_c,
        correction_c=corrections.mean(axis=0),
        expanded_uncertainty_c=expanded[largest, column],
        coverage_factor=factor[largest, column],
        rows=steps[0].rows,
        private_uncertainty_c=range_c / 2 / sqrt(3.0),
        shared_key=name,
        certificates=tuple(certificates),
    )


def _same_points(one: Step, other: Step) -> bool:
    """Whether two samples were calibrated at the same points, by their indication or by the reference."""
    if one.temperature_c.size != other.temperature_c.size:
        return False
    indicated = np.abs(one.temperature_c - other.temperature_c)
    reference = np.abs(one.temperature_c + one.correction_c - other.temperature_c - other.correction_c)
    return bool((np.minimum(indicated, reference) <= SAME_POINT_C).all())
