"""Both channels of a sound-card input, for I/Q: a stretch of known length, recorded at once."""

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import DeviceError
from audiotest.feeds.soundcard import _sounddevice, list_inputs, stream_closed, stream_opened

LONGEST_S = 60.0
BLOCK_S = 0.1


def record_stereo(device: str | None, seconds: float, rate_hz: int) -> NDArray[np.float32]:
    """Record left and right for `seconds`; shape (n, 2), full scale 1.0.

    Raises
    ------
    DeviceError
        No such input, fewer than two channels, or it loses samples: I and Q must stay in step.
    """
    if not 0.0 < seconds <= LONGEST_S:
        raise DeviceError(f"{seconds:g} s cannot be recorded", f"ask for up to {LONGEST_S:g} s")
    index = _chosen(device)
    sd = _sounddevice()
    parts, wanted_n = [], round(seconds * rate_hz)
    stream_opened()
    try:
        with sd.InputStream(
            device=index, samplerate=rate_hz, channels=2, dtype="float32", latency="high"
        ) as stream:
            block_n = round(BLOCK_S * rate_hz)
            held_n = 0
            while held_n < wanted_n:
                block, overflowed = stream.read(min(block_n, wanted_n - held_n))
                if overflowed:
                    raise DeviceError("the input lost samples", "close what else keeps the computer busy")
                parts.append(np.array(block))
                held_n += len(block)
    except (sd.PortAudioError, ValueError) as error:
        raise DeviceError(
            f"two channels cannot be recorded: {error}", "an I/Q feed needs a stereo input"
        ) from error
    finally:
        stream_closed()
    return np.concatenate(parts)


def _chosen(device: str | None) -> int | None:
    if not device:
        return None
    wanted = device.strip().casefold()
    inputs = list_inputs()
    exact = [found for found in inputs if wanted in (str(found.index), found.name.casefold())]
    found = exact or [each for each in inputs if wanted in f"{each.name}, {each.host_api}".casefold()]
    if len(found) != 1:
        raise DeviceError(f"{device!r} names {len(found)} inputs", "'audiotest inputs' lists them")
    return found[0].index
