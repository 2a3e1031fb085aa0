"""A receiver on a signal generator: SINAD sensitivity and quieting."""

import math

import numpy as np

from audiotest.errors import MeasureError
from audiotest.measure.filters import bandpass
from audiotest.measure.level import overload_runs
from audiotest.measure.sensitivity import (
    QUIETING_20_DB,
    SINAD_12_DB,
    SINAD_20_DB,
    Crossing,
    LevelReading,
    level_crossing,
    rf_level,
    sinad_crossing,
)
from audiotest.measure.sinad import SinadReading, read_sinad
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.steps import GENERATOR_OFF_DBM, Ask, Figure, Heard, Notebook, Step

TONE_HZ = 1000.0
STANDARD_SHARE = 0.6
START_DBM = -95.0
SETTLE_S, LISTEN_S, LISTEN_NEAR_S = 0.5, 1.0, 3.0
"""Longer near the mark, where a few clicks a second are most of the noise."""
NEAR_DB = 8.0
LOWEST_DB = 7.0
"""The run down ends here: far enough below 12 dB for a fit."""
MOST_READINGS = 40
BAND_HZ = (300.0, 3400.0)
CELL_S = 0.02
METHOD = "1 kHz at 60 % of the limit; 12 dB SINAD is TIA-603's mark, 20 dB with O.41 ETSI's (from memory)"
PRACTICE = "common practice (no source): about 0.5 µV across 50 ohms for 12 dB is good for a 27 MHz FM set"


def level_ask(level_dbm: float) -> Ask:
    """Ask for a generator level; `GENERATOR_OFF_DBM` for none."""
    off = level_dbm == GENERATOR_OFF_DBM
    words = "switch the generator's output off" if off else "set the generator's level"
    return Ask(setting="generator_dbm", words=words, suggested=level_dbm, unit="" if off else "dBm")


def _next_drop_db(value_db: float, mark_db: float) -> float:
    """Large steps far above the mark, a decibel around it."""
    far = value_db - mark_db
    return 5.0 if far > 14.0 else 2.0 if far > 8.0 else 1.0


def _listen_s(value_db: float, mark_db: float) -> float:
    return LISTEN_NEAR_S if value_db - mark_db < NEAR_DB else LISTEN_S


def sensitivity(limit_khz: float, *, start_dbm: float = START_DBM, quieting: bool = True) -> Guided:
    """Procedure: SINAD at falling levels, the levels of 12 and 20 dB, then 20 dB quieting.

    The technician types the level that the generator really stands at; the suggestion is only one.
    """

    def script(notebook: Notebook) -> Script:
        readings: list[tuple[float, SinadReading]] = []
        try:
            yield from _sinad_run(notebook, STANDARD_SHARE * limit_khz, start_dbm, readings)
        finally:
            _write_marks(notebook, readings)
        if quieting:
            yield from _quieting(notebook, start_dbm)

    return Guided(
        script,
        Notebook(
            procedure="sensitivity", title="Receiver sensitivity", x_label="generator, dBm", y_label="dB"
        ),
    )


def _sinad_run(
    notebook: Notebook, deviation_khz: float, start_dbm: float, readings: list[tuple[float, SinadReading]]
) -> Script:
    asks: tuple[Ask, ...] = (
        Ask(setting="squelch", words="open the squelch", suggested=0.0),
        Ask(setting="generator_tone_hz", words="modulate the generator", suggested=TONE_HZ, unit="Hz"),
        Ask(setting="generator_deviation_khz", words="its deviation", suggested=deviation_khz, unit="kHz"),
    )
    level_dbm, value_db = start_dbm, math.inf
    for _ in range(MOST_READINGS):
        step = Step(
            prompt="SINAD at falling levels.", asks=(*asks, level_ask(level_dbm)), settle_s=SETTLE_S,
            listen_s=_listen_s(value_db, SINAD_20_DB if value_db > SINAD_20_DB else SINAD_12_DB),
        )  # fmt: skip
        heard_dbm, reading = yield from measured(
            step, _first_reading if not readings else _reading
        )  # fmt: skip
        asks = ()
        if reading.frequency_hz is None:
            # The tone has gone under in the noise: the run went past its lower end.
            return
        readings.append((heard_dbm, reading))
        for curve, value in (("SINAD", reading.sinad_db), ("SINAD, O.41", reading.psophometric_db)):
            if value is not None:
                notebook.plot(curve, heard_dbm, value, read=curve == "SINAD")
        value_db = reading.sinad_db if reading.sinad_db is not None else 60.0
        if value_db < LOWEST_DB:
            return
        level_dbm = heard_dbm - _next_drop_db(value_db, SINAD_12_DB)


def _reading(heard: Heard) -> tuple[float, SinadReading]:
    return heard.answers[-1], read_sinad(np.real(heard.samples), heard.rate_hz, tone_hz=TONE_HZ)


def _first_reading(heard: Heard) -> tuple[float, SinadReading]:
    """Without a tone at the first level the generator is not modulated, or far too low."""
    level_dbm, reading = _reading(heard)
    if reading.frequency_hz is None:
        raise MeasureError(reading.reason, "check the generator's modulation, level and cable")
    return level_dbm, reading


def _write_marks(notebook: Notebook, readings: list[tuple[float, SinadReading]]) -> None:
    flat, weighted = [], []
    for dbm, r in readings:
        if r.sinad_db is not None:
            flat.append(LevelReading(level_dbm=dbm, value_db=r.sinad_db, sd_db=r.sinad_sd_db or 0.0))
        if r.psophometric_db is not None:
            sd_db = r.psophometric_sd_db or 0.0
            weighted.append(LevelReading(level_dbm=dbm, value_db=r.psophometric_db, sd_db=sd_db))
    for key, label, rows, mark_db in (
        ("sinad_12", "12 dB SINAD", flat, SINAD_12_DB), ("sinad_20", "20 dB SINAD", flat, SINAD_20_DB),
        ("sinad_20_psophometric", "20 dB SINAD, O.41", weighted, SINAD_20_DB),
    ):  # fmt: skip
        _write(notebook, key, label, _crossing(notebook, rows, mark_db, label))
    notebook.notes += [METHOD, PRACTICE]
    notebook.notes.append("the intervals hold the readings' scatter; the generator's error comes on top")


def _crossing(notebook: Notebook, readings: list[LevelReading], mark_db: float, name: str) -> Crossing | None:
    try:
        return sinad_crossing(readings, mark_db)
    except MeasureError as error:
        notebook.notes.append(f"{name}: {error}")
        return None


def _write(notebook: Notebook, key: str, label: str, found: Crossing | None) -> None:
    """The level in dBm, in microvolts across the load and behind the source, each with its interval."""
    bounds = () if found is None else (found.level_dbm, found.low_dbm, found.high_dbm)
    levels = [rf_level(dbm) for dbm in bounds]
    for part, words, unit in (
        ("dbm", "", "dBm"), ("microvolt_pd", ", across 50 ohms", "µV"), ("microvolt_emf", ", e.m.f.", "µV"),
        ("dbuv_emf", ", e.m.f.", "dBµV"),
    ):  # fmt: skip
        value, low, high = [getattr(level, part) for level in levels] or (None, None, None)
        notebook.figures.append(
            Figure(key=f"{key}_{part}", label=label + words, value=value, unit=unit, low=low, high=high)
        )


def _noise_dbfs(heard: Heard) -> tuple[float, float]:
    """Level of the audio between 300 and 3400 Hz and its standard deviation, in dB."""
    if overload_runs(np.real(heard.samples)) > 0:
        # Clipped hiss is too quiet, and would make the receiver look deaf.
        raise MeasureError("the hiss overloads the sound card", "lower the volume or the input level")
    audio = bandpass(np.real(heard.samples), heard.rate_hz, *BAND_HZ)
    cell_n = round(CELL_S * heard.rate_hz)
    cells = np.mean(np.square(audio[: len(audio) // cell_n * cell_n]).reshape(-1, cell_n), axis=1)
    mean = float(np.mean(cells))
    if mean <= 1e-20:
        raise MeasureError("there is no audio", "check the cable, the volume and the squelch")
    sd_db = 10.0 / math.log(10.0) * float(np.std(cells, ddof=1)) / math.sqrt(len(cells)) / mean
    return 10.0 * math.log10(mean), sd_db


def _quieting(notebook: Notebook, start_dbm: float) -> Script:
    """Noise with the generator off over noise with a bare carrier, at falling levels."""
    bare = Ask(
        setting="generator_deviation_khz", words="switch the modulation off", suggested=0.0, unit="kHz"
    )
    off_dbfs, off_sd_db = yield from measured(
        Step(
            prompt="Noise without a signal.", asks=(bare, level_ask(GENERATOR_OFF_DBM)), settle_s=SETTLE_S,
            listen_s=LISTEN_NEAR_S,
        ),
        _noise_dbfs,
    )  # fmt: skip
    readings: list[LevelReading] = []
    level_dbm, quiet_db = start_dbm, math.inf
    for _ in range(MOST_READINGS):
        heard_dbm, (noise_dbfs, sd_db) = yield from measured(
            Step(
                prompt="Noise under a bare carrier, at falling levels.", asks=(level_ask(level_dbm),),
                settle_s=SETTLE_S, listen_s=_listen_s(quiet_db, QUIETING_20_DB),
            ),
            lambda heard: (heard.answers[-1], _noise_dbfs(heard)),
        )  # fmt: skip
        quiet_db = off_dbfs - noise_dbfs
        both_sd_db = math.hypot(sd_db, off_sd_db)
        readings.append(LevelReading(level_dbm=heard_dbm, value_db=quiet_db, sd_db=both_sd_db))
        notebook.plot("quieting", heard_dbm, quiet_db)
        if quiet_db < QUIETING_20_DB - 5.0:
            break
        level_dbm = heard_dbm - _next_drop_db(quiet_db, QUIETING_20_DB)
    try:
        found: Crossing | None = level_crossing(readings, QUIETING_20_DB)
    except MeasureError as error:
        found = None
        notebook.notes.append(f"20 dB quieting: {error}")
    _write(notebook, "quieting_20", "20 dB quieting", found)
