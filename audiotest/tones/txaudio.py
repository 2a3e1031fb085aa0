"""A transmitter's audio: response, distortion, hum and noise, two tones."""

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from audiotest.measure.filters import bandpass, deemphasis
from audiotest.measure.response import EMPHASIS_DB_PER_OCTAVE, MASK_SOURCE, judge_response, mask_db
from audiotest.measure.tone import measure_tone
from audiotest.measure.twotone import measure_two_tone
from audiotest.measure.weighting import apply_weighting
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.limiting import (
    LISTEN_S,
    REFERENCE_SHARE,
    SETTLE_S,
    SPARE_S,
    START_MV,
    TONE_HZ,
    find_level,
    tone_step,
)
from audiotest.tones.monitor import Monitor
from audiotest.tones.signals import two_tone
from audiotest.tones.steps import Figure, Heard, Notebook, Step

RESPONSE_TONES_HZ = (
    300.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 2750.0, 3000.0,
)  # fmt: skip
RESPONSE_SHARE = 0.15
"""Deviation at 1 kHz re the limit: a soft limiter takes off 0.2 dB there, and less where others are lower."""
DISTORTION_LIMIT_PERCENT = 5.0
DISTORTION_SOURCE = "TIA-603, 5 % at 60 %, 1 kHz (ETSI 10 %); from memory"
HUM_DEEMPHASIS_US = 750.0
HUM_BAND_HZ = (50.0, 3000.0)
RINGING_S = 0.05
HUM_LIMITS_DB = ((6.0, 34.0), (math.inf, 40.0))
"""Least ratio by the limit's deviation doubled, a measure of the channel: 34 dB narrow, 40 dB wide."""
HUM_SOURCE = "TIA-603, hum and noise below 60 %: 40 dB at 25 kHz, 34 dB at 12.5 kHz; from memory"
MASK_CURVES = ("mask low", "mask high")
TWO_TONES_HZ = (1000.0, 1600.0)
TWO_TONE_SHARE = 0.4
NOISE_S = 1.5


def audio_response(monitor: Monitor, limit_khz: float, *, start_mv: float = START_MV) -> Guided:
    """Procedure: deviation per millivolt of twelve tones, re 1 kHz, against +6 dB per octave.

    Above 1 kHz the level goes down as pre-emphasis lifts, so that no tone is nearer to the limiter.
    """

    def script(notebook: Notebook) -> Script:
        level_mv, plain = yield from find_level(monitor, RESPONSE_SHARE * limit_khz, start_mv=start_mv)
        write_mask(notebook, RESPONSE_TONES_HZ, EMPHASIS_DB_PER_OCTAVE)
        sizes = []
        for hz in RESPONSE_TONES_HZ:
            lowered = min(1.0, TONE_HZ / hz)
            cycle = yield from measured(
                tone_step(f"{hz:g} Hz, {lowered * level_mv:.2f} mV.", hz, lowered * level_mv),
                partial(monitor.cycle, tone_hz=hz),
            )
            sizes.append(cycle.fundamental / lowered)
            notebook.plot("deviation, kHz", hz, cycle.fundamental)
            # For now re the 1 kHz that the level was found with; the run has its own only half way.
            notebook.plot("response", hz, 20.0 * math.log10(sizes[-1] / plain.fundamental))
        write_response(notebook, RESPONSE_TONES_HZ, sizes, EMPHASIS_DB_PER_OCTAVE)
        notebook.notes.append("the monitor receiver's own filters are part of what is heard at both ends")

    return Guided(script, _response_book("response", "Transmitter audio response"))


def _response_book(procedure: str, title: str) -> Notebook:
    return Notebook(
        procedure=procedure, title=title, x_label="tone, Hz", y_label="response re 1 kHz, dB",
        x_logarithmic=True,
    )  # fmt: skip


def write_mask(notebook: Notebook, tones_hz: tuple[float, ...], slope_db_per_octave: float) -> None:
    """Draw the bounds of a response."""
    for hz in tones_hz:
        for curve, value in zip(MASK_CURVES, mask_db(hz, slope_db_per_octave), strict=True):
            notebook.plot(curve, hz, value, read=False)


def write_response(
    notebook: Notebook, tones_hz: tuple[float, ...], sizes: list[float], slope_db_per_octave: float
) -> None:
    """Write a response with its mask into the notebook: curves, each point's figure, the worst margin."""
    found = judge_response(tones_hz, sizes, slope_db_per_octave)
    for curve in ("response", *MASK_CURVES):
        notebook.curves.pop(curve, None)
    write_mask(notebook, tones_hz, slope_db_per_octave)
    for point in found.points:
        notebook.plot("response", point.frequency_hz, point.response_db, read=False)
        notebook.figures.append(
            Figure(
                key=f"response_{point.frequency_hz:g}_hz_db", label=f"{point.frequency_hz:g} Hz",
                value=point.response_db, unit="dB", limit_low=point.low_db, limit_high=point.high_db,
                limit_source=MASK_SOURCE, reference=True,
            )
        )  # fmt: skip
    notebook.figures.append(
        Figure(
            key="worst_margin_db", label=f"least margin, at {found.worst.frequency_hz:g} Hz",
            value=found.worst.margin_db, unit="dB", limit_low=0.0, limit_source=MASK_SOURCE, reference=True,
        )
    )  # fmt: skip


def tx_distortion(monitor: Monitor, limit_khz: float, *, start_mv: float = START_MV) -> Guided:
    """Procedure: distortion of 1 kHz at 60 % of the limit, and SINAD through O.41."""

    def script(notebook: Notebook) -> Script:
        level_mv, _ = yield from find_level(monitor, REFERENCE_SHARE * limit_khz, start_mv=start_mv)
        step = tone_step(f"1 kHz at 60 %, {level_mv:.2f} mV.", TONE_HZ, level_mv)

        def read(heard: Heard) -> None:
            khz = monitor.deviation_khz(heard)
            plain = measure_tone(khz, heard.rate_hz)
            flat = measure_tone(deemphasis(khz, heard.rate_hz, HUM_DEEMPHASIS_US), heard.rate_hz)
            notebook.figures += [
                Figure(key="level_60_mv", label="input for 60 %", value=level_mv, unit="mV"),
                Figure(
                    key="distortion_percent", label="distortion, de-emphasised", value=flat.thd_percent,
                    unit="%", limit_high=DISTORTION_LIMIT_PERCENT, limit_source=DISTORTION_SOURCE,
                    reference=True,
                ),
                Figure(
                    key="distortion_flat_percent", label="distortion, flat", value=plain.thd_percent, unit="%"
                ),
                Figure(
                    key="sinad_psophometric_db", label="SINAD, O.41", value=flat.sinad_psophometric_db,
                    unit="dB",
                ),
            ]  # fmt: skip
            for order, level_db in enumerate(flat.harmonics_db, 2):
                if level_db is not None:
                    notebook.plot("harmonic, dB re fundamental", order * flat.frequency_hz, level_db)

        yield from measured(step, read)

    return Guided(
        script,
        Notebook(
            procedure="distortion", title="Transmitter distortion", x_label="Hz", y_label="dB re fundamental"
        ),
    )


def hum_powers(samples: NDArray[np.floating], rate_hz: int) -> tuple[float, float]:
    """Power of `samples`, shape (n,), in 50-3000 Hz, plain and through O.41.

    What the filters make of the ends is left out: where a tone is cut off at its crest, de-emphasis and the
    band's lower edge ring with more power than hum has.
    """
    band = bandpass(samples, rate_hz, *HUM_BAND_HZ)
    weighted = apply_weighting(band, rate_hz, "psophometric")
    inner = slice(round(RINGING_S * rate_hz), -round(RINGING_S * rate_hz))
    return float(np.mean(band[inner] ** 2)), float(np.mean(weighted[inner] ** 2))


def write_hum(
    notebook: Notebook, limit_khz: float, reference: tuple[float, float], rest: tuple[float, float]
) -> None:
    """Figures from two powers each, flat and through O.41: of the reference tone, and of what is left."""
    least = next(db for most, db in HUM_LIMITS_DB if 2.0 * limit_khz <= most)
    flat_db, weighted_db = (
        10.0 * math.log10(tone / left) if left > 0.0 else None
        for tone, left in zip(reference, rest, strict=True)
    )
    notebook.figures += [
        Figure(
            key="hum_noise_db", label="below 60 %, 50-3000 Hz", value=flat_db, unit="dB",
            limit_low=least, limit_source=HUM_SOURCE, reference=True,
        ),
        Figure(key="hum_noise_psophometric_db", label="the same, O.41", value=weighted_db, unit="dB"),
    ]  # fmt: skip


def tx_hum_noise(monitor: Monitor, limit_khz: float, *, start_mv: float = START_MV) -> Guided:
    """Procedure: what is left when the tone stops, re 1 kHz at 60 %, through 750 µs de-emphasis."""

    def script(notebook: Notebook) -> Script:
        wanted_khz = REFERENCE_SHARE * limit_khz
        level_mv, found = yield from find_level(monitor, wanted_khz, start_mv=start_mv)
        # The level is found to 0.3 dB, and the figure is for 60 % sharp.
        miss = (wanted_khz / found.fundamental) ** 2

        def powers(heard: Heard) -> tuple[float, float]:
            khz = deemphasis(monitor.deviation_khz(heard), heard.rate_hz, HUM_DEEMPHASIS_US)
            return hum_powers(khz, heard.rate_hz)

        reference = yield from measured(
            tone_step(f"Reference: 1 kHz at 60 %, {level_mv:.2f} mV.", TONE_HZ, level_mv),
            powers,
        )
        rest = yield from measured(
            Step(
                prompt="The tone is off; keep the set keyed and the socket connected.", settle_s=0.5,
                listen_s=NOISE_S, keyed=True,
            ),
            powers,
        )  # fmt: skip
        write_hum(notebook, limit_khz, (miss * reference[0], miss * reference[1]), rest)
        notebook.figures += [
            Figure(
                key="residual_khz", label="deviation left, RMS, de-emphasised", value=math.sqrt(rest[0]),
                unit="kHz",
            ),
        ]  # fmt: skip
        notebook.notes.append("the monitor receiver's own noise is part of it: take a strong signal")

    return Guided(script, Notebook(procedure="hum", title="Transmitter hum and noise"))


def tx_two_tone(monitor: Monitor, limit_khz: float, *, start_mv: float = START_MV) -> Guided:
    """Procedure: intermodulation of 1000 and 1600 Hz, each at a fifth of the limit's deviation."""

    def script(notebook: Notebook) -> Script:
        single_mv, _ = yield from find_level(monitor, TWO_TONE_SHARE / 2.0 * limit_khz, start_mv=start_mv)
        signal = two_tone(*TWO_TONES_HZ, SETTLE_S + LISTEN_S + SPARE_S)
        step = Step(
            prompt=f"{signal.name}, {single_mv:.2f} mV each.", signal=signal,
            level_mv=single_mv * math.sqrt(2.0), settle_s=SETTLE_S, listen_s=LISTEN_S, keyed=True,
        )  # fmt: skip
        found = yield from measured(
            step, lambda heard: measure_two_tone(monitor.deviation_khz(heard), heard.rate_hz, *TWO_TONES_HZ)
        )
        notebook.figures += [
            Figure(key="each_mv", label="each tone", value=single_mv, unit="mV"),
            Figure(key="low_khz", label=f"{TWO_TONES_HZ[0]:g} Hz", value=found.low, unit="kHz"),
            Figure(key="high_khz", label=f"{TWO_TONES_HZ[1]:g} Hz", value=found.high, unit="kHz"),
            Figure(key="second_order_db", label="second order", value=found.second_order_db, unit="dB"),
            Figure(key="third_order_db", label="third order", value=found.third_order_db, unit="dB"),
        ]
        for hz, level_db in found.products_db:
            notebook.plot("product, dB re both tones", hz, level_db)
        notebook.notes.append("no limit: no published one for two tones in an FM set is known here")

    return Guided(
        script,
        Notebook(
            procedure="two-tone",
            title="Transmitter intermodulation",
            x_label="Hz",
            y_label="dB re both tones",
        ),
    )
