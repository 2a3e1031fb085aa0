"""SINAD as it comes, until somebody stops: for turning a generator or an adjustment by hand."""

import numpy as np

from audiotest.measure.sinad import EVERY_S, SinadMeter, SinadReading
from audiotest.tones.guided import Guided, Script
from audiotest.tones.steps import Figure, Notebook, Step

TONE_HZ = 1000.0
MOST_READINGS = 6000
"""Twenty minutes: longer than anybody turns a core."""


def live_sinad(tone_hz: float = TONE_HZ) -> Guided:
    """Procedure without an end of its own: five readings a second of SINAD, flat and through O.41.

    Each is over the last second of an audio that runs on without a gap.
    """

    def script(notebook: Notebook) -> Script:
        meter: SinadMeter | None = None
        prompt = f"Generator on, {tone_hz:g} Hz at 60 %. Turn; stop when you are done."
        for _ in range(MOST_READINGS):
            heard = yield Step(prompt=prompt, settle_s=0.0, listen_s=EVERY_S, live=True, onward=True)
            meter = meter or SinadMeter(heard.rate_hz, tone_hz=tone_hz)
            for reading in meter.push(np.real(heard.samples)):
                prompt = f"{_said(reading)}. Stop when you are done."
                _write(notebook, reading)

    return Guided(
        script,
        Notebook(procedure="sinad", title="SINAD, live", x_label="time, s", y_label="dB", open_ended=True),
    )


def _said(reading: SinadReading) -> str:
    if reading.frequency_hz is None or reading.level_dbfs is None:
        return f"{reading.reason[:1].upper()}{reading.reason[1:]}"
    return f"{reading.frequency_hz:.1f} Hz, {reading.level_dbfs:.1f} dBFS"


def _write(notebook: Notebook, reading: SinadReading) -> None:
    for curve, value in (("SINAD, O.41", reading.psophometric_db), ("SINAD", reading.sinad_db)):
        if value is not None:
            notebook.plot(curve, reading.time_s, value)
    notebook.figures[:] = [
        _figure("sinad_db", "SINAD, last", reading.sinad_db, reading.sinad_sd_db),
        _figure("sinad_psophometric_db", "O.41, last", reading.psophometric_db, reading.psophometric_sd_db),
        Figure(key="tone_hz", label="tone", value=reading.frequency_hz, unit="Hz"),
    ]


def _figure(key: str, label: str, value: float | None, sd_db: float | None) -> Figure:
    """With twice the standard deviation on either side."""
    if value is None:
        return Figure(key=key, label=label, value=None, unit="dB")
    reach = 2.0 * (sd_db or 0.0)
    return Figure(key=key, label=label, value=value, unit="dB", low=value - reach, high=value + reach)
