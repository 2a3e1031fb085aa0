"""SINAD as it comes, until somebody stops: for turning a generator or an adjustment by hand."""

import numpy as np

from audiotest.errors import MeasureError
from audiotest.measure.sinad import SinadReading, read_sinad
from audiotest.tones.guided import Guided, Script
from audiotest.tones.steps import Figure, Notebook, Step

TONE_HZ = 1000.0
LISTEN_S = 0.5
MOST_READINGS = 2400
"""Twenty minutes: longer than anybody turns a core."""


def live_sinad(tone_hz: float = TONE_HZ) -> Guided:
    """Procedure without an end of its own: two readings a second of SINAD, flat and through O.41."""

    def script(notebook: Notebook) -> Script:
        time_s = 0.0
        prompt = f"Generator on, {tone_hz:g} Hz at 60 %. Turn; stop when you are done."
        for _ in range(MOST_READINGS):
            heard = yield Step(prompt=prompt, settle_s=0.0, listen_s=LISTEN_S)
            time_s += LISTEN_S
            try:
                reading = read_sinad(np.real(heard.samples), heard.rate_hz, tone_hz=tone_hz)
            except MeasureError as error:
                prompt = f"{error}."
                continue
            if reading.frequency_hz is None or reading.level_dbfs is None:
                prompt = f"{reading.reason[:1].upper()}{reading.reason[1:]}. Stop when you are done."
            else:
                said = f"{reading.frequency_hz:.1f} Hz, {reading.level_dbfs:.1f} dBFS"
                prompt = f"{said}. Stop when you are done."
            _write(notebook, time_s, reading)

    return Guided(
        script,
        Notebook(procedure="sinad", title="SINAD, live", x_label="time, s", y_label="dB", open_ended=True),
    )


def _write(notebook: Notebook, time_s: float, reading: SinadReading) -> None:
    for curve, value in (("SINAD, O.41", reading.psophometric_db), ("SINAD", reading.sinad_db)):
        if value is not None:
            notebook.plot(curve, time_s, value)
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
