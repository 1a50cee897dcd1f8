"""Which of several media types a caller would rather have: RFC 9110 section 12.5.1."""

from __future__ import annotations

from collections.abc import Sequence


def preferred_type(accept: Sequence[str], offered: Sequence[str]) -> str:
    """The offered type of the highest weight; of equal ones the first that is offered.

    That is also what is sent to a caller who takes none of them, which section 12.4.1 leaves open.
    A type that is named outweighs ``type/*``, and that ``*/*``, as far as weights are looked up; a
    weight that cannot be read counts as 1.
    """
    weights = _weights(accept)
    return max(offered, key=lambda one: _weight(weights, one))


def _weights(accept: Sequence[str]) -> dict[str, float]:
    found: dict[str, float] = {}
    for entry in ",".join(accept).split(","):
        name, *parameters = (part.strip().lower() for part in entry.split(";"))
        if name:
            found[name] = _quality(parameters)
    return found or {"*/*": 1.0}


def _quality(parameters: Sequence[str]) -> float:
    for parameter in parameters:
        key, _, value = parameter.partition("=")
        if key.strip() == "q":
            try:
                weight = float(value)
            except ValueError:
                return 1.0
            return weight if 0 <= weight <= 1 else 1.0
    return 1.0


def _weight(weights: dict[str, float], offered: str) -> float:
    ranges = (offered, f"{offered.partition('/')[0]}/*", "*/*")
    return next((weights[one] for one in ranges if one in weights), 0.0)
