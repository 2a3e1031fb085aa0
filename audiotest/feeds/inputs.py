"""What a sound-card input is called, and which one is meant."""

from dataclasses import dataclass

from audiotest.errors import DeviceError


@dataclass(frozen=True, slots=True, kw_only=True)
class InputDevice:
    """A sound-card input as PortAudio lists it."""

    index: int
    name: str
    channels: int
    default_rate_hz: int
    host_api: str
    high_latency_s: float = 0.0


def find_input(device: str | int | None, inputs: tuple[InputDevice, ...], default: int | None) -> InputDevice:
    """Find the one input that is meant; `DeviceError` when there is none or more than one.

    Parameters
    ----------
    device : str, int or None
        Number, whole name or a part of the name that only one input has; None is the default.
    inputs : tuple of InputDevice
        Those that are there.
    default : int or None
        Number of the system's default input, if it names one.
    """
    if not inputs:
        raise DeviceError("there is no sound-card input", "plug one in, or check that it is switched on")
    listed = "'audiotest inputs' lists them"
    if device is None:
        usual = [found for found in inputs if found.index == default]
        if not usual:
            raise DeviceError("the system names no default input", f"name an input; {listed}")
        return usual[0]
    wanted = str(device).strip()
    if isinstance(device, int) or wanted.isdecimal():
        by_number = [found for found in inputs if found.index == int(wanted)]
        if not by_number:
            raise DeviceError(f"there is no input number {wanted}", listed)
        return by_number[0]
    key = wanted.casefold()
    whole = [found for found in inputs if found.name.casefold() == key]
    matches = whole or [
        found for found in inputs if key and key in f"{found.name}, {found.host_api}".casefold()
    ]
    if not matches:
        raise DeviceError(f"there is no input {wanted!r}", listed)
    if len(matches) > 1:
        # Some systems list every input once for each of their sound interfaces: take the default's.
        usual_api = next((found.host_api for found in inputs if found.index == default), None)
        same_api = [found for found in matches if found.host_api == usual_api]
        if len({found.name for found in matches}) > 1 or len(same_api) != 1:
            names = ", ".join(f"{found.index} {found.name} ({found.host_api})" for found in matches)
            raise DeviceError(f"{wanted!r} fits several inputs: {names}", "name it by its number")
        return same_api[0]
    return matches[0]
