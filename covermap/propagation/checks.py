"""Checks of single arguments that the public functions of propagation share."""

import math

from covermap.errors import InputError

POLARIZATIONS = ("horizontal", "vertical")


def finite(name: str, value: float) -> float:
    """Return value as a float, or raise InputError when it is not a finite number."""
    try:
        number = float(value)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} must be a number, got {value!r}.") from error
    if not math.isfinite(number):
        raise InputError(f"{name} must be a finite number, got {value!r}.")
    return number


def positive(name: str, value: float) -> float:
    """Return value as a float, or raise InputError when it is not above 0."""
    number = finite(name, value)
    if number <= 0.0:
        raise InputError(f"{name} must be greater than 0, got {value!r}.")
    return number


def not_negative(name: str, value: float) -> float:
    """Return value as a float, or raise InputError when it is below 0."""
    number = finite(name, value)
    if number < 0.0:
        raise InputError(f"{name} must not be negative, got {value!r}.")
    return number


def within(name: str, value: float, low: float, high: float) -> float:
    """Return value as a float, or raise InputError when it is outside low to high (both allowed)."""
    number = finite(name, value)
    if not low <= number <= high:
        raise InputError(f"{name} must be from {low:g} to {high:g}, got {value!r}.")
    return number


def percent(name: str, value: float) -> float:
    """Return value as a float, or raise InputError when it is not above 0 and below 100."""
    number = finite(name, value)
    if not 0.0 < number < 100.0:
        raise InputError(f"{name} must be above 0 and below 100, got {value!r}.")
    return number


def is_vertical(polarization: str) -> bool:
    """Return True for "vertical", False for "horizontal", else raise InputError."""
    if polarization not in POLARIZATIONS:
        raise InputError(f"polarization must be one of {', '.join(POLARIZATIONS)}, got {polarization!r}.")
    return polarization == "vertical"
