"""A transmitter's frequency error: from a beat note against a reference, or from an I/Q feed."""

import numpy as np

from audiotest.errors import MeasureError
from audiotest.measure.iq import measure_fm
from audiotest.measure.tone import find_steady_tone, fit_sine
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.steps import Figure, Heard, Notebook, Step

LISTEN_S = 1.0
BEAT_NOTE = (
    "the receiver's own error and the sound card's clock fall out: both notes go through them; the reference "
    "must be good"
)
IQ_NOTE = "the receiver's own reference error is part of the figure"


def _book(nominal_mhz: float | None) -> Notebook:
    title = "Frequency error" if nominal_mhz is None else f"Frequency error on {nominal_mhz:g} MHz"
    return Notebook(procedure="frequency", title=title)


def _write(
    notebook: Notebook,
    error_hz: float,
    nominal_mhz: float | None,
    tolerance_hz: float | None,
    tolerance_source: str,
) -> None:
    notebook.figures.append(
        Figure(
            key="frequency_error_hz", label="frequency error", value=error_hz, unit="Hz",
            limit_low=None if tolerance_hz is None else -tolerance_hz, limit_high=tolerance_hz,
            limit_source="" if tolerance_hz is None else tolerance_source,
        )
    )  # fmt: skip
    if nominal_mhz is not None:
        notebook.figures.append(
            Figure(key="frequency_error_ppm", label="relative", value=error_hz / nominal_mhz, unit="ppm")
        )


def frequency_by_beat(
    *,
    nominal_mhz: float | None = None,
    lower_sideband: bool = False,
    tolerance_hz: float | None = None,
    tolerance_source: str = "",
) -> Guided:
    """Procedure: pitch of a reference on the nominal frequency, then of the set, in a receiver for CW or SSB.

    With the upper sideband a set that is high gives a higher note, with the lower a lower one.
    """

    def script(notebook: Notebook) -> Script:
        reference_hz = yield from measured(
            Step(
                prompt="Receiver to CW or SSB; reference carrier on the nominal frequency; tune to a note of "
                "about 1.2 kHz and leave the tuning alone from now on.",
                listen_s=LISTEN_S, feed="beat", wait=True,
            ),
            _pitch_hz,
        )  # fmt: skip
        set_hz = yield from measured(
            Step(
                prompt="Reference off. Key the set without modulation.", listen_s=LISTEN_S, keyed=True,
                feed="beat", wait=True,
            ),
            _pitch_hz,
        )  # fmt: skip
        error_hz = (reference_hz - set_hz) if lower_sideband else (set_hz - reference_hz)
        _write(notebook, error_hz, nominal_mhz, tolerance_hz, tolerance_source)
        notebook.notes.append(BEAT_NOTE)

    return Guided(script, _book(nominal_mhz))


def _pitch_hz(heard: Heard) -> float:
    audio = np.real(heard.samples)
    if find_steady_tone(audio, heard.rate_hz) is None:
        raise MeasureError(
            "there is no steady note between 300 and 3000 Hz", "tune for a clear note of about 1.2 kHz"
        )
    return fit_sine(audio, heard.rate_hz).frequency_hz


def frequency_by_iq(
    *, nominal_mhz: float | None = None, tolerance_hz: float | None = None, tolerance_source: str = ""
) -> Guided:
    """Procedure: mean frequency of the keyed set in an I/Q feed that is tuned to the nominal frequency."""

    def script(notebook: Notebook) -> Script:
        found = yield from measured(
            Step(
                prompt="I/Q receiver on the nominal frequency. Key the set without modulation.",
                listen_s=LISTEN_S, keyed=True, feed="iq",
            ),
            lambda heard: measure_fm(np.asarray(heard.samples, dtype=np.complex128), heard.rate_hz),
        )  # fmt: skip
        _write(notebook, found.offset_hz, nominal_mhz, tolerance_hz, tolerance_source)
        notebook.figures.append(
            Figure(key="residual_khz", label="deviation left, RMS", value=found.rms_khz, unit="kHz")
        )
        notebook.notes.append(IQ_NOTE)

    return Guided(script, _book(nominal_mhz))
