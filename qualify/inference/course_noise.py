"""Noise with memory about a fitted curve: which memories are likely, and what the curve leaves under each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.readings.model import FloatArray

_MEMORIES = np.concatenate((np.linspace(0.0, 0.9, 19), [0.93, 0.95]))
# The grid is finer near its upper end: each value counts for the stretch of memories around it. No memory at
# all is taken for twice as likely as some.
_PRIOR = np.gradient(_MEMORIES)
_PRIOR[0] = 0.0
_PRIOR /= _PRIOR.sum()
_PRIOR[0] = 2.0
_WAVES = 4
_SAME = 1e-6


def slow_waves(seconds: FloatArray, course: FloatArray) -> FloatArray:
    """Cosines of half to two periods along the course and along time, alternating, the slowest first."""
    along = [(part - part.min()) / max(float(np.ptp(part)), 1e-300) for part in (course, seconds)]
    return np.column_stack(
        [np.cos(np.pi * number * part) for number in range(1, _WAVES + 1) for part in along]
    )


def whitened(columns: FloatArray, memory: float, steps: FloatArray) -> FloatArray:
    """Take the remembered part out of each reading and bring all to one variance: (n,) or (n, k)."""
    kept = np.power(memory, steps) if memory > 0.0 else np.zeros(steps.size)
    scale = np.sqrt(1.0 - kept**2)
    if columns.ndim == 2:
        kept, scale = kept[:, None], scale[:, None]
    return np.concatenate((columns[:1], (columns[1:] - kept * columns[:-1]) / scale))


@dataclass(frozen=True, slots=True)
class Noise:
    """What the readings say of their noise, and of what the curve leaves.

    Attributes
    ----------
    memory
        Likeliest share that the next reading keeps [1].
    p_slow, p_jump
        Chance of so large a slow departure and of so large a jump, averaged over the likely memories [1].
    departure : (n,) float64
        The slow departure, weighted as the readings are.
    waves
        Slow waves looked for [1].
    jump, jump_at
        Largest jump under the likeliest memory, weighted as the readings are; its reading.
    covariance : (p, p) float64
        Of the coefficients, averaged over the likely memories.
    """

    memory: float
    p_slow: float
    p_jump: float
    departure: FloatArray
    waves: int
    jump: float
    jump_at: int
    covariance: FloatArray


def noise_of(residuals: FloatArray, tangent: FloatArray, waves: FloatArray, steps: FloatArray) -> Noise:
    """Go through the possible memories of the noise: likelihood, test and covariance under each."""
    from scipy.special import fdtrc, stdtr

    n, p = tangent.shape
    lengths = np.linalg.norm(tangent, axis=0)
    tangent = tangent / lengths
    likelihoods, slow_chances, jump_chances, covariances = [], [], [], []
    outcome: list[tuple[FloatArray, int, float, int]] = []
    for memory in _MEMORIES:
        curve = whitened(tangent, float(memory), steps)
        rest = whitened(residuals, float(memory), steps)
        slow_columns = whitened(waves, float(memory), steps)
        basis, triangle = np.linalg.qr(curve)
        rest = rest - basis @ (basis.T @ rest)
        slow_columns = slow_columns - basis @ (basis.T @ slow_columns)
        directions, sizes, turned = np.linalg.svd(slow_columns, full_matrices=False)
        used = sizes > _SAME * sizes[0]
        directions, sizes, turned = directions[:, used], sizes[used], turned[used]
        along = directions.T @ rest
        count, degrees = along.size, n - p - int(along.size)
        left = rest - directions @ along
        noise = max(float(np.sum(left**2)), 1e-300)
        ratio = float(np.sum(along**2)) / count / (noise / degrees)
        slow_chances.append(float(fdtrc(count, degrees, ratio)))
        kept = np.power(float(memory), steps) if memory > 0 else np.zeros(steps.size)
        likelihoods.append(
            -0.5 * degrees * np.log(noise)
            - 0.5 * float(np.sum(np.log1p(-(kept**2))))
            - float(np.sum(np.log(np.abs(np.diag(triangle)))))
            - float(np.sum(np.log(sizes)))
        )
        free = np.maximum(1.0 - np.sum(basis**2, axis=1) - np.sum(directions**2, axis=1), 1e-9)
        square = left**2 / free / (noise / degrees)
        worst = int(np.argmax(square))
        away = np.sqrt(square[worst] * (degrees - 1) / max(degrees - float(square[worst]), 1e-9))
        jump_chances.append(min(1.0, 2.0 * n * float(stdtr(degrees - 1, -away))))
        innovation = float(left[worst] / free[worst])
        if worst:
            innovation *= float(np.sqrt(1.0 - kept[worst - 1] ** 2))
        inverse = np.linalg.inv(triangle) / lengths[:, None]
        covariances.append(inverse @ inverse.T * float(np.sum(rest**2)) / (n - p))
        # The departure in readings, the part that the curve itself could take up left out.
        shape = waves @ (turned.T @ (along / sizes))
        shape = shape - tangent @ np.linalg.lstsq(tangent, shape, rcond=None)[0]
        outcome.append((shape, count, innovation, worst))
    shares = np.exp(np.array(likelihoods) - max(likelihoods))
    shares *= _PRIOR
    best = int(np.argmax(shares))
    shares /= shares.sum()
    return Noise(
        memory=float(_MEMORIES[best]),
        p_slow=float(shares @ np.array(slow_chances)),
        p_jump=float(shares @ np.array(jump_chances)),
        departure=outcome[best][0],
        waves=outcome[best][1],
        jump=outcome[best][2],
        jump_at=outcome[best][3],
        covariance=np.einsum("g,gij->ij", shares, np.array(covariances)),
    )
