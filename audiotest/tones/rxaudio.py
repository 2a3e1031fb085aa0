"""A receiver's audio on a signal generator: response, distortion, hum and noise."""

import math
from functools import partial

import numpy as np

from audiotest.measure.cycle import measure_cycle
from audiotest.measure.response import EMPHASIS_DB_PER_OCTAVE
from audiotest.measure.tone import measure_tone
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.sensitivity import STANDARD_SHARE, TONE_HZ, level_ask
from audiotest.tones.steps import Ask, Figure, Heard, Notebook, Step
from audiotest.tones.txaudio import (
    DISTORTION_LIMIT_PERCENT,
    DISTORTION_SOURCE,
    RESPONSE_SHARE,
    RESPONSE_TONES_HZ,
    hum_powers,
    write_hum,
    write_mask,
    write_response,
)

STRONG_DBM = -47.0
"""1 mV across 50 ohms: far above any receiver's noise (common practice, no source)."""
SETTLE_S, LISTEN_S, NOISE_S = 0.4, 0.6, 1.5


def _modulate(tone_hz: float, deviation_khz: float) -> tuple[Ask, ...]:
    return (
        Ask(setting="generator_tone_hz", words="modulate the generator", suggested=tone_hz, unit="Hz"),
        Ask(setting="generator_deviation_khz", words="its deviation", suggested=deviation_khz, unit="kHz"),
    )


def _strong() -> tuple[Ask, ...]:
    return (Ask(setting="squelch", words="open the squelch", suggested=0.0), level_ask(STRONG_DBM))


def rx_response(limit_khz: float) -> Guided:
    """Procedure: audio of twelve tones of one deviation, re 1 kHz, against -6 dB per octave."""

    def script(notebook: Notebook) -> Script:
        sizes: list[float] = []
        before = _strong()
        for hz in RESPONSE_TONES_HZ:
            asks = (*before, *_modulate(hz, RESPONSE_SHARE * limit_khz))
            before = ()
            cycle = yield from measured(
                Step(prompt=f"{hz:g} Hz.", asks=asks, settle_s=SETTLE_S, listen_s=LISTEN_S),
                partial(_cycle, tone_hz=hz),
            )
            sizes.append(cycle)
            notebook.plot("audio, dBFS", hz, 20.0 * math.log10(cycle))
            _write_so_far(notebook, sizes)
        write_response(notebook, RESPONSE_TONES_HZ, sizes, -EMPHASIS_DB_PER_OCTAVE)

    return Guided(
        script,
        Notebook(
            procedure="rx-response", title="Receiver audio response", x_label="tone, Hz",
            y_label="response re 1 kHz, dB", x_logarithmic=True,
        ),
    )  # fmt: skip


def _write_so_far(notebook: Notebook, sizes: list[float]) -> None:
    """Draw the response against its mask from the moment that 1 kHz has been measured."""
    measured_hz = RESPONSE_TONES_HZ[: len(sizes)]
    if TONE_HZ not in measured_hz:
        return
    if "response" not in notebook.curves:
        write_mask(notebook, RESPONSE_TONES_HZ, -EMPHASIS_DB_PER_OCTAVE)
    reference = sizes[measured_hz.index(TONE_HZ)]
    notebook.curves.pop("response", None)
    for hz, size in zip(measured_hz, sizes, strict=True):
        notebook.plot("response", hz, 20.0 * math.log10(size / reference), read=hz == measured_hz[-1])


def _cycle(heard: Heard, tone_hz: float) -> float:
    return measure_cycle(np.real(heard.samples), heard.rate_hz, tone_hz, high_hz=3600.0).fundamental


def rx_distortion(limit_khz: float) -> Guided:
    """Procedure: distortion and SINAD of a strong signal, 1 kHz at 60 % of the limit."""

    def script(notebook: Notebook) -> Script:
        def read(heard: Heard) -> None:
            tone = measure_tone(np.real(heard.samples), heard.rate_hz)
            notebook.figures += [
                Figure(
                    key="distortion_percent", label="distortion", value=tone.thd_percent, unit="%",
                    limit_high=DISTORTION_LIMIT_PERCENT, limit_source=DISTORTION_SOURCE, reference=True,
                ),
                Figure(key="sinad_db", label="SINAD", value=tone.sinad_db, unit="dB"),
                Figure(
                    key="sinad_psophometric_db", label="SINAD, O.41", value=tone.sinad_psophometric_db,
                    unit="dB",
                ),
            ]  # fmt: skip
            for order, level_db in enumerate(tone.harmonics_db, 2):
                if level_db is not None:
                    notebook.plot("harmonic, dB re fundamental", order * tone.frequency_hz, level_db)

        asks = (*_strong(), *_modulate(TONE_HZ, STANDARD_SHARE * limit_khz))
        yield from measured(
            Step(prompt="1 kHz at 60 %.", asks=asks, settle_s=SETTLE_S, listen_s=LISTEN_S), read
        )

    return Guided(
        script,
        Notebook(
            procedure="rx-distortion", title="Receiver distortion", x_label="Hz", y_label="dB re fundamental"
        ),
    )


def rx_hum_noise(limit_khz: float) -> Guided:
    """Procedure: audio of a strong bare carrier re 1 kHz at 60 % of the limit."""

    def script(notebook: Notebook) -> Script:
        asks = (*_strong(), *_modulate(TONE_HZ, STANDARD_SHARE * limit_khz))
        reference = yield from measured(
            Step(prompt="Reference: 1 kHz at 60 %.", asks=asks, settle_s=SETTLE_S, listen_s=LISTEN_S), _powers
        )
        bare = Ask(
            setting="generator_deviation_khz", words="switch the modulation off", suggested=0.0, unit="kHz"
        )
        rest = yield from measured(
            Step(prompt="Bare carrier.", asks=(bare,), settle_s=SETTLE_S, listen_s=NOISE_S), _powers
        )
        write_hum(notebook, limit_khz, reference, rest)
        notebook.notes.append("the generator's own hum and noise are part of it")

    return Guided(script, Notebook(procedure="rx-hum", title="Receiver hum and noise"))


def _powers(heard: Heard) -> tuple[float, float]:
    return hum_powers(np.real(heard.samples), heard.rate_hz)
