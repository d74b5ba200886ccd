"""Make the demo's logger files and certificates from a physical model of an oven.

Everything that this script writes is invented: the firm, the oven, the sensors, the laboratory and
every reading. Run it as `python demo_surveys/make_surveys.py`; it rewrites the data files beside
itself, byte for byte the same each time. `oven_model.py` holds the model, `stage_files.py` what the
plan of three stages needs; README.md in this folder gives the equations.

Only numpy and the standard library are used, and nothing of qualify: what qualify computes from
these files can therefore be held against them.
"""

from __future__ import annotations

import sys
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from oven_model import (
    CALIBRATION_POINTS_C,
    EXPANDED_UNCERTAINTY_C,
    PLACES,
    Recorded,
    Run,
    Stretch,
    record,
    true_error,
)
from stage_files import stage_files

SEED = 420

# After the duct was refitted badly its joint blows on the rear upper right corner.
REFIT_OFFSETS = {"RUR": 0.0296, "RUL": 0.0035, "FLL": -0.0105, "WR": 0.0062}

REQUALIFICATION = Run(
    start=datetime(2026, 3, 10, 8, 0, 0),
    interval_s=30,
    room_c=21.6,
    stretches=(
        Stretch(20.0, 10.0, heating=False),
        Stretch(60.0, 84.0),
        Stretch(120.0, 86.0),
        Stretch(180.0, 88.0),
        Stretch(40.0, 25.0, damper_open=True),
    ),
    offsets={},
)
AFTER_DUCT_REFIT = Run(
    start=datetime(2026, 3, 24, 13, 0, 0),
    interval_s=20,
    room_c=22.3,
    stretches=(Stretch(20.0, 6.0, heating=False), Stretch(180.0, 84.0)),
    offsets=REFIT_OFFSETS,
)


# --- The files ----------------------------------------------------------------------------------


def certificate_lines(noise: np.random.RandomState) -> list[str]:
    """One line a calibration point; the laboratory finds the true error to within its uncertainty."""
    lines = ["channel,sensor,temperature,correction,expanded_uncertainty,coverage_factor,unit"]
    for place in PLACES.values():
        expanded = EXPANDED_UNCERTAINTY_C[place.sensor[0]]
        for true_c, uncertainty in zip(CALIBRATION_POINTS_C, expanded, strict=True):
            error = float(true_error(place.sensor, np.array([true_c]))[0])
            found = error + 0.15 * uncertainty * float(noise.standard_normal())
            correction = -round(found, 2) + 0.0
            point = f"{true_c - correction:.2f},{correction:.2f},{uncertainty:.2f},2,C"
            lines.append(f"{place.channel},{place.sensor},{point}")
    return lines


def requalification_text(run: Run, recorded: Recorded) -> str:
    """Semicolons, decimal comma, date and time apart, lines of preamble."""
    lines = [
        "INVENTED DATA of an invented oven: made by demo_surveys/make_surveys.py, no oven was measured",
        "Lantern Quay Optics (invented);Oven OV-3;nitrogen;420 L",
        "Logger;invented 16-channel logger LG-1;interval 30 s",
        "Date;Time;"
        + ";".join(f"{place.channel} [°C]" for place in PLACES.values())
        + ";SP [°C];PV [°C];O2 [%]",
    ]
    for row, second in enumerate(recorded.seconds):
        when = run.start + timedelta(seconds=int(second))
        values = [f"{value:.1f}" for value in recorded.locations_c[row]]
        values += [f"{recorded.setpoint_c[row]:.1f}", f"{recorded.display_c[row]:.1f}"]
        values += [f"{recorded.oxygen_percent[row]:.2f}"]
        lines.append(f"{when:%d.%m.%Y};{when:%H:%M:%S};" + ";".join(values).replace(".", ","))
    return "\r\n".join(lines) + "\r\n"


def after_duct_refit_text(run: Run, recorded: Recorded) -> str:
    """ISO times, commas, decimal points; the channels in the order in which they were plugged in."""
    order = sorted(range(len(PLACES)), key=lambda column: (column + 6) % len(PLACES))
    channels = [place.channel for place in PLACES.values()]
    lines = ["Time,SP (°C),PV (°C)," + ",".join(f"{channels[column]} (°C)" for column in order) + ",O2 (%)"]
    for row, second in enumerate(recorded.seconds):
        when = run.start + timedelta(seconds=int(second))
        values = [f"{recorded.setpoint_c[row]:.1f}", f"{recorded.display_c[row]:.1f}"]
        values += [f"{recorded.locations_c[row, column]:.1f}" for column in order]
        values += [f"{recorded.oxygen_percent[row]:.2f}"]
        lines.append(f"{when.isoformat()}," + ",".join(values))
    return "\n".join(lines) + "\n"


def make(folder: Path) -> list[Path]:
    """Write the certificates and the logger files into `folder`; give their paths."""
    # RandomState, not default_rng: numpy promises that its stream never changes.
    noise = np.random.RandomState(SEED)
    certificates = "\n".join(certificate_lines(noise)) + "\n"
    empty = record(REQUALIFICATION, noise)
    contents = {
        "certificates-invented.csv": certificates.encode("ascii"),
        "ov3-requalification-invented.csv": requalification_text(REQUALIFICATION, empty).encode("cp1252"),
        "ov3-after-duct-refit-invented.csv": after_duct_refit_text(
            AFTER_DUCT_REFIT, record(AFTER_DUCT_REFIT, noise)
        ).encode("utf-8"),
        **stage_files(REQUALIFICATION.start, empty),
    }
    paths = []
    for name, content in contents.items():
        path = folder / name
        path.write_bytes(content)
        paths.append(path)
    return paths


if __name__ == "__main__":
    for written in make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent):
        sys.stdout.write(f"{written.name}: {written.stat().st_size} bytes\n")
