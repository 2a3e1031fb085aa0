"""What can stand on a job sheet, and how a typed reading becomes a number with a known unit.

The plausible ranges are wide: they catch a slip of the finger or a forgotten prefix, not a bad set.
"""

import math
import re
from dataclasses import dataclass
from typing import Literal

from audiotest.errors import RequestError

Dimension = Literal["Hz", "V", "A", "W", "%", "dB", ""]


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One line of the sheet: its unit, the digits it is shown with, and what can be believed."""

    key: str
    label: str
    unit: str
    dimension: Dimension
    scale: float
    digits: int
    lowest: float
    highest: float
    signed: bool = False
    pointed: bool = False


def _quantity(
    key: str, label: str, unit: str, digits: int, lowest: float, highest: float,
    *, signed: bool = False, pointed: bool = False,
) -> Quantity:  # fmt: skip
    dimension, scale = _UNITS[unit]
    return Quantity(
        key=key, label=label, unit=unit, dimension=dimension, scale=scale, digits=digits, lowest=lowest,
        highest=highest, signed=signed, pointed=pointed,
    )  # fmt: skip


_UNITS: dict[str, tuple[Dimension, float]] = {
    "Hz": ("Hz", 1.0), "kHz": ("Hz", 1e3), "MHz": ("Hz", 1e6), "V": ("V", 1.0), "mV": ("V", 1e-3),
    "µV": ("V", 1e-6), "A": ("A", 1.0), "W": ("W", 1.0), "%": ("%", 1.0), "dB": ("dB", 1.0), "": ("", 1.0),
}  # fmt: skip

QUANTITIES: dict[str, Quantity] = {
    quantity.key: quantity
    for quantity in (
        _quantity("supply-voltage", "supply voltage", "V", 1, 1.0, 60.0),
        _quantity("current-receive", "supply current, receiving", "A", 3, 0.005, 10.0),
        _quantity("current-transmit", "supply current, transmitting", "A", 2, 0.02, 100.0),
        _quantity("power", "carrier power", "W", 2, 1e-3, 1500.0),
        _quantity("swr", "SWR", "", 2, 1.0, 50.0),
        _quantity("frequency", "carrier frequency", "MHz", 6, 0.1, 3000.0),
        _quantity("frequency-error", "frequency error", "Hz", 0, -20e3, 20e3, signed=True),
        _quantity("deviation", "peak deviation", "kHz", 2, 0.05, 15.0),
        _quantity("drive", "drive into the limiter", "dB", 1, -40.0, 60.0, signed=True),
        _quantity("clipped", "speech time clipped", "%", 0, 0.0, 100.0),
        _quantity("mic-level", "microphone level for 60 % deviation", "mV", 1, 0.05, 2000.0),
        _quantity("sensitivity", "sensitivity, 12 dB SINAD", "µV", 2, 0.01, 1000.0),
        _quantity("squelch-opens", "squelch opens at", "µV", 2, 0.01, 1000.0),
        _quantity("squelch-closes", "squelch closes at", "µV", 2, 0.01, 1000.0),
        _quantity("s-meter", "S-meter reads", "µV", 2, 0.01, 1e6, pointed=True),
        _quantity("quieting", "quieting", "dB", 1, -5.0, 100.0),
        _quantity("snr", "signal to noise", "dB", 1, -10.0, 120.0),
        _quantity("sinad", "SINAD", "dB", 1, -10.0, 120.0),
        _quantity("hum", "hum below speech", "dB", 1, -20.0, 120.0),
        _quantity("distortion", "distortion (THD)", "%", 1, 0.0, 100.0),
        _quantity("transmit-hum", "transmitter hum, below 60 %", "dB", 1, 0.0, 100.0),
        _quantity("receive-distortion", "receiver distortion", "%", 1, 0.0, 100.0),
        _quantity("receive-hum", "receiver hum, below 60 %", "dB", 1, 0.0, 100.0),
        _quantity("audio-power", "audio power", "W", 2, 1e-3, 100.0),
        _quantity("speech-level", "speech level, dBFS", "dB", 1, -120.0, 0.0, signed=True),
    )
}
"""In the order in which a sheet shows them."""

_PREFIXES = {"": 1.0, "k": 1e3, "K": 1e3, "m": 1e-3, "M": 1e6, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "n": 1e-9}
_NUMBER = re.compile(r"^([+-]?(?:\d+\.?\d*|\.\d+))\s*(.*)$")
_LETTER_POINT = re.compile(r"^([+-]?\d+)([kKMmuµμVAWR])(\d+)\s*([A-Za-z]*)$")
_RATIO = re.compile(r"^(\d+\.?\d*)\s*:\s*(\d+\.?\d*)$")
_THOUSANDS = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}(?!\d)")
"""1,350 is a thousand and a bit to one reader and a good one to another."""
_POINT = re.compile(r"^S[0-9](?:\+[1-6]0)?$")
_OHMS = 50.0
LONGEST_TEXT = 40


def get_quantity(key: str) -> Quantity:
    """Look a quantity up by its key; `RequestError` names those there are."""
    found = QUANTITIES.get(key.strip().lower().replace("_", "-"))
    if found is None:
        raise RequestError(f"no reading is called {key!r}", f"choose one of {', '.join(QUANTITIES)}")
    return found


def parse_reading(key: str, text: str, *, nominal_mhz: float | None = None) -> float:
    """Turn a typed reading into a number in the quantity's own unit.

    Parameters
    ----------
    key : str
        Which quantity.
    text : str
        As one writes it: ``1.8 kHz``, ``2k5``, ``0,35 uV``, ``13V8``, ``-107 dBm`` (50 ohms),
        ``0.7 uV emf``, ``1.4:1``, ``12 ppm`` (of the channel's frequency).
    nominal_mhz : float or None
        The channel's frequency, which a frequency error in ppm is of.

    Raises
    ------
    RequestError
        It is no number, has no unit or the wrong one.

    >>> parse_reading("deviation", "2k5"), parse_reading("sensitivity", "0,35 uV")
    (2.5, 0.35)
    >>> round(parse_reading("sensitivity", "-107 dBm"), 3), parse_reading("frequency", "27M60125")
    (0.999, 27.60125)
    """
    quantity = get_quantity(key)
    tidy = _tidy(quantity, text)
    value = _read(quantity, tidy, nominal_mhz)
    if value is None or not math.isfinite(value):
        raise RequestError(
            f"{quantity.label}: {text!r} is not such a reading", f"write it like {example(key)}"
        )
    # Prefix times number leaves a last digit that nobody typed.
    return float(f"{value:.10g}")


def implausible(key: str, value: float) -> str | None:
    """Say why a value cannot be believed, or None when it can.

    >>> implausible("deviation", 2500.0)
    'peak deviation of 2500 kHz: expected 0.05 to 15 kHz'
    """
    quantity = get_quantity(key)
    if quantity.lowest <= value <= quantity.highest:
        return None
    unit = f" {quantity.unit}" if quantity.unit else ""
    return f"{quantity.label} of {value:g}{unit}: expected {quantity.lowest:g} to {quantity.highest:g}{unit}"


def impossible(key: str, value: float) -> str | None:
    """Say why no set can give this value, whatever one believes; None when one could.

    >>> impossible("swr", 0.8)
    'SWR is never below 1'
    """
    quantity = get_quantity(key)
    if not math.isfinite(value):
        return f"{quantity.label} is not a finite number"
    if key == "swr" and value < 1.0:
        return "SWR is never below 1"
    if quantity.dimension in ("V", "A", "W") and value < 0.0:
        return f"{quantity.label} is never below 0"
    if quantity.dimension == "%" and not 0.0 <= value <= 1000.0:
        return f"{quantity.label} of {value:g} % cannot be"
    if quantity.dimension == "Hz" and not quantity.signed and value <= 0.0:
        return f"{quantity.label} is above 0"
    return None


def check_point(key: str, point: str) -> str:
    """Check the point that an S-meter reading belongs to, such as S9 or S9+20; others have none.

    What is no such point raises `RequestError`.

    >>> check_point("s-meter", "s9+20")
    'S9+20'
    """
    quantity = get_quantity(key)
    tidy = point.strip().upper()
    if quantity.pointed and not _POINT.match(tidy):
        raise RequestError(
            f"{quantity.label}: {point!r} is no point of the scale", "write it like s-meter@S9='50 uV'"
        )
    if not quantity.pointed and tidy:
        raise RequestError(f"{quantity.label} has no points such as {point!r}", "leave the @ out")
    return tidy


def show(key: str, value: float) -> str:
    """A value with its unit, in the digits that are worth reading.

    >>> show("deviation", 2.3149), show("frequency-error", 312.4), show("swr", 1.5)
    ('2.31 kHz', '+312 Hz', '1.50')
    """
    quantity = get_quantity(key)
    sign = "+" if quantity.signed else ""
    digits = quantity.digits
    if quantity.unit == "µV":
        # Over six decades of signal three figures are as many as a generator's attenuator is good for.
        digits -= sum(abs(value) >= edge for edge in (10.0, 100.0))
    return f"{value:{sign}.{digits}f} {quantity.unit}".strip()


def sheet_order(key: tuple[str, str]) -> tuple[int, str]:
    """Sort key of a quantity with its point: the order in which a sheet shows them."""
    return list(QUANTITIES).index(key[0]), key[1]


def example(key: str) -> str:
    """Spell one reading of a quantity that will be understood."""
    quantity = get_quantity(key)
    examples = {
        "swr": "1.4", "frequency": "27.60125 MHz", "frequency-error": "-350 Hz",
        "deviation": "1.8 kHz or 2k5", "power": "4 W or 500 mW", "supply-voltage": "13.8 V or 13V8",
        "mic-level": "10 mV", "current-receive": "350 mA", "current-transmit": "1.2 A",
        "speech-level": "-20 dB",
    }  # fmt: skip
    if key in examples:
        return examples[key]
    return {"V": "0.35 uV", "dB": "12 dB", "%": "3 %", "W": "1.5 W"}.get(quantity.dimension, "2.5")


def _tidy(quantity: Quantity, text: str) -> str:
    if len(text) > LONGEST_TEXT:
        raise RequestError(
            f"{quantity.label}: {text[:20]!r}... is too long", f"write {example(quantity.key)}"
        )
    tidy = text.strip().replace("−", "-").replace("\u202f", " ").replace("\xa0", " ")
    if "," in tidy:
        if "." in tidy or tidy.count(",") > 1 or _THOUSANDS.match(tidy):
            raise RequestError(f"{quantity.label}: {text!r} can be read in two ways", "use one decimal point")
        tidy = tidy.replace(",", ".")
    return tidy


def _read(quantity: Quantity, text: str, nominal_mhz: float | None) -> float | None:
    """Read a tidied text in the quantity's unit; None when it is not understood."""
    if quantity.dimension == "" and (ratio := _RATIO.match(text)):
        first, second = float(ratio[1]), float(ratio[2])
        return max(first, second) / min(first, second) if min(first, second) > 0.0 else None
    if pointed := _LETTER_POINT.match(text):
        return _read_letter_point(quantity, pointed)
    found = _NUMBER.match(text)
    if found is None:
        return None
    number, unit = float(found[1]), found[2].strip()
    if quantity.dimension == "":
        return number if not unit else None
    if not unit:
        raise RequestError(
            f"{quantity.label}: {text!r} has no unit", f"write it like {example(quantity.key)}"
        )
    if unit.lower() == "ppm" and quantity.key == "frequency-error":
        if nominal_mhz is None:
            raise RequestError("frequency error in ppm: the channel is not known", "give the error in Hz")
        return number * nominal_mhz
    base = _base_value(quantity.dimension, number, unit)
    return None if base is None else base / quantity.scale


def _read_letter_point(quantity: Quantity, pointed: "re.Match[str]") -> float | None:
    """2k5, 13V8, 4W5: the letter stands where the decimal point would (IEC 60062 writes values so)."""
    number = float(f"{pointed[1]}.{pointed[3]}")
    letter, unit = pointed[2], pointed[4]
    if letter in ("V", "A", "W"):
        return number / quantity.scale if letter == quantity.dimension and not unit else None
    if letter == "R" or quantity.dimension not in ("Hz", "V", "A", "W"):
        return None
    base = _base_value(quantity.dimension, number, letter + (unit or quantity.dimension))
    return None if base is None else base / quantity.scale


def _base_value(dimension: Dimension, number: float, unit: str) -> float | None:
    """A number with a written unit in the bare SI unit of its dimension."""
    words = unit.split()
    half = 1.0
    if dimension == "V" and len(words) == 2 and words[1].lower() in ("emf", "pd"):
        # A matched input sees half of the generator's open-circuit voltage.
        half = 0.5 if words[1].lower() == "emf" else 1.0
    elif len(words) != 1:
        return None
    word = words[0]
    if word.lower() == "dbm" and dimension in ("V", "W") and abs(number) < 300.0:
        watts = 1e-3 * 10.0 ** (number / 10.0)
        return watts if dimension == "W" else half * math.sqrt(watts * _OHMS)
    if dimension in ("%", "dB"):
        return (
            number if word.lower() in (dimension.lower(), {"dB": "dbfs", "%": "percent"}[dimension]) else None
        )
    if not word.lower().endswith(dimension.lower()):
        return None
    prefix = word[: len(word) - len(dimension)]
    if dimension == "Hz" and prefix == "m":
        prefix = "M"  # nobody measures a carrier in millihertz
    factor = _PREFIXES.get(prefix)
    return None if factor is None else half * number * factor
