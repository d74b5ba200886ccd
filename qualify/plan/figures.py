"""Figures that a requirement of the plan may limit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Requirable:
    """A figure by its word in the plan: field of the record, wording, whether it is a time."""

    field: str
    text: str
    is_time: bool = False
    is_probability: bool = False


REQUIRABLE = {
    "overshoot": Requirable("overshoot_c", "overshoot at any location"),
    "undershoot": Requirable("undershoot_c", "undershoot at any location"),
    "stability": Requirable("stability_c", "stability (half range) at any location"),
    "spread": Requirable("spread_max_c", "spread between locations at any instant"),
    "spread_of_means": Requirable("spread_of_means_c", "spread of the locations' means"),
    "high_excess": Requirable("high_excess_c", "any reading of the record above the upper limit"),
    "time_to_stabilize": Requirable("time_to_stabilize_s", "time to stabilize", is_time=True),
    "time_to_band": Requirable("time_to_band_s", "time to come inside the limits", is_time=True),
    "recovery": Requirable("recovery_s", "recovery after the door was closed", is_time=True),
    "recording_interval": Requirable("recording_interval_s", "recording interval", is_time=True),
    "indication_error": Requirable("error_mean_c", "mean indication error of any display"),
    "conformance_probability": Requirable(
        "conformance_probability",
        "probability that all watched locations kept the limits in the window",
        is_probability=True,
    ),
}

VARIANT = "variant:"
"""Before the id of a document's own figure, where a requirement limits that."""


def requirable(figure: str) -> Requirable:
    """A figure by its word in the plan; that of a document stands among the variants."""
    if figure.startswith(VARIANT):
        return Requirable(figure, f"figure '{figure.removeprefix(VARIANT)}' by its document's definition")
    return REQUIRABLE[figure]
