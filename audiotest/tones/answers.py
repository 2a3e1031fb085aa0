"""What a technician types when asked what was set: read, and refused where it cannot be."""

from audiotest.errors import RequestError
from audiotest.tones.steps import Setting

BOUNDS: dict[Setting, tuple[float, float]] = {
    "generator_dbm": (-174.0, 30.0), "mic_gain_db": (-80.0, 80.0), "deviation_factor": (0.01, 100.0),
}  # fmt: skip
"""What a setting can be at all: no generator goes below thermal noise in a hertz or above a watt, and no
control turns a deviation to nothing or below it."""
ANY = (-1e6, 1e6)


def read_answer(typed: str, setting: Setting) -> float:
    """The number that was typed, with a comma or a point; `RequestError` for what cannot be.

    >>> read_answer("−7,5", "mic_gain_db")
    -7.5
    """
    try:
        value = float(typed.strip().replace(",", ".").replace("−", "-"))
    except ValueError as error:
        raise RequestError(f"{typed!r} is not a number", "type what it is set to") from error
    low, high = BOUNDS.get(setting, ANY)
    # Written so that NaN is refused as well.
    if not low <= value <= high:
        raise RequestError(f"{typed} is not from {low:g} to {high:g}", "type what it is set to")
    return value
