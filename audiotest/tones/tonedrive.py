"""Onset and knee of the limiter by a tone in small steps; needs no scale, only millivolts at the socket."""

import math
from collections.abc import Generator, Sequence
from dataclasses import dataclass

import numpy as np

from audiotest.errors import MeasureError, RequestError
from audiotest.measure.level import overload_runs
from audiotest.measure.limiting import LimitingFit
from audiotest.measure.pathtones import CombTone
from audiotest.measure.steppedtone import (
    HarmonicNull,
    compressed_at,
    find_steps,
    fit_steps,
    harmonic_nulls,
)
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.level import USUAL_CEILING_MV
from audiotest.tones.limiting import KINDS, START_MV
from audiotest.tones.signals import RATE_HZ, Signal
from audiotest.tones.steps import Figure, Heard, Notebook, Step

TONE_HZ = 400.0
"""Its harmonics to the seventh lie below 3 kHz, and most receivers' high-passes below it."""
TONE_RANGE_HZ = (130.0, 1250.0)
REFERENCE_HZ = 1000.0
"""Where an onset is usually stated (common practice, no source)."""
COARSE_DB = 4.0
SEEN_DB = 2.5
"""Compressed by so much, and the limiter has been found."""
STEP_DB = 0.5
FINE_DB = (-8.0, 9.0)
AROUND_DB = (-20.0, -16.0, -12.0, -10.0, 11.0, 14.0, 18.0)
"""Steps beside the fine ones: they pin the straight line below and the ceiling above."""
REFERENCE_STEPS_DB = (
    -20.0, -16.0, -12.0, -8.0, -6.0, -4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0, 6.0, 9.0, 13.0,
)  # fmt: skip
TONE_S, BREAK_S, RAMP_S = 0.4, 0.12, 0.01
LEAD_S, TAIL_S = 0.5, 0.7
MOST_COARSE = 20
NULL_AGREES_DB = 0.6
"""Beyond it a null is not that of the fitted limiter: twice what half-decibel steps and noise leave open."""
ONSET_ERROR_DB, CLEAN_MISFIT_DB, MISFIT_ERROR_DB = 0.3, 0.15, 2.0
SPEECH_OVER_TONE_DB, SPEECH_SPREAD_DB = 13.6, 3.3
"""Drive of speech over that of a 1 kHz tone of the same RMS, for pre-emphasis of 530 to 750 µs behind a
200 Hz high-pass: mean and standard deviation of the six voices that the simulated radio speaks with."""


def staircase(hz: float, levels_db: Sequence[float]) -> Signal:
    """One tone at each level in turn, with soft edges and breaks; the RMS is that of the loudest step."""
    t = np.arange(round(TONE_S * RATE_HZ)) / RATE_HZ
    ramp = np.clip(np.minimum(t, t[-1] - t) / RAMP_S, 0.0, 1.0)
    tone = math.sqrt(2.0) * np.sin(2.0 * np.pi * hz * t) * 0.5 * (1.0 - np.cos(np.pi * ramp))
    rest = np.zeros(round(BREAK_S * RATE_HZ))
    parts = [np.zeros(round(LEAD_S * RATE_HZ))]
    for level_db in levels_db:
        parts += [10.0 ** ((level_db - max(levels_db)) / 20.0) * tone, rest]
    name = f"{hz:g} Hz in {len(levels_db)} steps" if len(levels_db) > 1 else f"{hz:g} Hz"
    return Signal(
        name=name, samples=np.concatenate(parts), rate_hz=RATE_HZ, crest=math.sqrt(2.0), tones_hz=(hz,)
    )


def drive_by_tone(
    *,
    tone_hz: float = TONE_HZ,
    start_mv: float = START_MV,
    most_mv: float | None,
    own_mv: float | None = None,
) -> Guided:
    """Procedure: look for the limiter in steps of 4 dB, then through it in steps of half a decibel.

    Parameters
    ----------
    tone_hz : float
        From 130 Hz to 1.25 kHz. The same is done at 1 kHz in coarser steps, where an onset is usually stated.
    start_mv : float
        First level at the socket.
    most_mv : float
        Peak that the output may give: the search ends there. None where no output is known, and nothing
        will be played either.
    own_mv : float or None
        The technician's voice at the socket; gives a rough drive of speech.

    Raises
    ------
    RequestError
        A tone outside that range, or a first level over what the output may give.
    """
    low_hz, high_hz = TONE_RANGE_HZ
    if not low_hz <= tone_hz <= high_hz:
        raise RequestError(
            f"a limiter is not stepped through at {tone_hz:g} Hz", f"take {low_hz:g} to {high_hz:g} Hz"
        )
    highest_mv = (USUAL_CEILING_MV if most_mv is None else most_mv) / math.sqrt(2.0)
    if start_mv > highest_mv:
        raise RequestError(
            f"{start_mv:g} mV is over what may be sent, {highest_mv:.3g} mV", "begin with a lower level"
        )

    def script(notebook: Notebook) -> Script:
        found = _Found()
        try:
            yield from _steps(notebook, found, tone_hz, start_mv, highest_mv)
        finally:
            # Also of a run cut short, as far as it came.
            _write(notebook, found, tone_hz, own_mv)

    return Guided(
        script,
        Notebook(
            procedure="drive-by-tone", title="Limiter's onset and knee by a stepped tone",
            x_label="input, mV RMS", y_label="fundamental, dB", x_logarithmic=True,
        ),
    )  # fmt: skip


@dataclass(slots=True)
class _Found:
    """What has been found so far."""

    fit: LimitingFit | None = None
    nulls: tuple[HarmonicNull, ...] = ()
    reference: LimitingFit | None = None
    tone_compressed_mv: float | None = None
    compressed_mv: float | None = None

    @property
    def knee_db(self) -> float | None:
        """Where 1 dB is lost, over the onset: by the fit, or off the curve where no clipper fits well."""
        if self.fit is None or self.fit.misfit_db <= CLEAN_MISFIT_DB:
            return None if self.fit is None else self.fit.knee_db
        if self.tone_compressed_mv is None:
            return None
        return 20.0 * math.log10(self.tone_compressed_mv / self.fit.onset_mv)


def _steps(notebook: Notebook, found: _Found, tone_hz: float, start_mv: float, most_mv: float) -> Script:
    near_mv = yield from _look_for(tone_hz, start_mv, most_mv)
    fine = np.arange(FINE_DB[0], FINE_DB[1] + 0.01, STEP_DB)
    levels_mv = _levels(near_mv, [*fine, *AROUND_DB], most_mv)
    steps = yield from _play(tone_hz, levels_mv)
    for mv, step in zip(levels_mv, steps, strict=True):
        if step is not None:
            notebook.plot(f"{tone_hz:g} Hz", mv, 20.0 * math.log10(max(float(abs(step.amplitudes[0])), 1e-9)))
    found.fit = fit_steps(steps, levels_mv)
    found.nulls = harmonic_nulls(steps, levels_mv, found.fit)
    found.tone_compressed_mv = compressed_at(steps, levels_mv)
    if tone_hz == REFERENCE_HZ:
        found.reference, found.compressed_mv = found.fit, found.tone_compressed_mv
        return
    near_mv = yield from _look_for(REFERENCE_HZ, found.fit.onset_mv / 8.0, most_mv)
    levels_mv = _levels(near_mv, REFERENCE_STEPS_DB, most_mv)
    steps = yield from _play(REFERENCE_HZ, levels_mv)
    found.reference = fit_steps(steps, levels_mv)
    found.compressed_mv = compressed_at(steps, levels_mv)


def _levels(near_mv: float, steps_db: Sequence[float], most_mv: float) -> list[float]:
    """Rising levels around one, none beyond what the output may give."""
    levels = [near_mv * 10.0 ** (db / 20.0) for db in sorted(steps_db)]
    return [mv for mv in levels if mv <= most_mv]


def _look_for(hz: float, start_mv: float, most_mv: float) -> Generator[Step, Heard, float]:
    """Level near the onset: where the fundamental has lost 2.5 dB against the straight line, less 3 dB.

    Raises
    ------
    MeasureError
        Nothing comes through, or nothing limits up to the most that may be sent.
    """
    gains: list[tuple[float, float]] = []
    level_mv = start_mv
    for _ in range(MOST_COARSE):
        (tone,) = yield from _play(hz, [level_mv], may_drown=True)
        if tone is not None and abs(tone.amplitudes[0]) > 30.0 * tone.errors[0]:
            gains.append((level_mv, 20.0 * math.log10(float(abs(tone.amplitudes[0])) / level_mv)))
            most_db = max(gain for _, gain in gains)
            if len(gains) > 1 and gains[-1][1] < most_db - SEEN_DB:
                lost = [(mv, most_db - gain) for mv, gain in gains]
                first = next(mv for mv, loss in lost if loss >= SEEN_DB)
                return float(first * 10.0 ** (-3.0 / 20.0))
        if level_mv >= most_mv:
            break
        level_mv = min(level_mv * 10.0 ** (COARSE_DB / 20.0), most_mv)
    if not gains:
        raise MeasureError(
            f"no {hz:g} Hz is heard", "check the tone's way into the socket, and that the set is keyed"
        )
    raise MeasureError(
        f"nothing limits up to {level_mv:.3g} mV", "allow a higher ceiling when the output is learned"
    )


def _play(
    hz: float, levels_mv: Sequence[float], *, may_drown: bool = False
) -> Generator[Step, Heard, tuple[CombTone | None, ...]]:
    """Play a staircase and take its steps apart."""
    signal = staircase(hz, [20.0 * math.log10(mv) for mv in levels_mv])
    loudest_mv = max(levels_mv)
    range_words = f"{loudest_mv:.2f} mV" if len(levels_mv) == 1 else f"up to {loudest_mv:.2f} mV"
    step = Step(
        prompt=f"{signal.name}, {range_words}, {signal.seconds:.0f} s.", signal=signal, level_mv=loudest_mv,
        settle_s=0.0, listen_s=signal.seconds + TAIL_S, keyed=True,
    )  # fmt: skip

    def read(heard: Heard) -> tuple[CombTone | None, ...]:
        samples = np.real(heard.samples)
        if overload_runs(samples) > 0:
            raise MeasureError("the sound card overloads", "lower the receiver's volume")
        try:
            return find_steps(samples, heard.rate_hz, len(levels_mv), tone_hz=hz, every_s=TONE_S + BREAK_S)
        except MeasureError:
            if may_drown:
                return (None,) * len(levels_mv)
            raise

    return (yield from measured(step, read))


def _write(notebook: Notebook, found: _Found, tone_hz: float, own_mv: float | None) -> None:
    fit, reference = found.fit, found.reference
    onset_mv = None if reference is None else reference.onset_mv
    if tone_hz != REFERENCE_HZ:
        notebook.figures.append(_onset_figure("onset_tone_mv", f"onset at {tone_hz:g} Hz", fit))
    notebook.figures += [
        _onset_figure("onset_mv", "onset at 1 kHz", reference),
        Figure(key="compression_1db_mv", label="1 dB down at 1 kHz", value=found.compressed_mv, unit="mV"),
        Figure(
            key="knee_db", label="1 dB down, over onset", unit="dB",
            value=found.knee_db,
        ),
    ]  # fmt: skip
    for null in found.nulls:
        notebook.figures.append(
            Figure(
                key=f"null_{null.order}_at_{null.expected_db:.1f}_db", unit="dB",
                label=f"harmonic {null.order} vanishes", value=null.measured_db,
            )
        )  # fmt: skip
    if own_mv is not None:
        notebook.figures.append(_speech_figure(onset_mv, own_mv))
    if fit is not None:
        notebook.notes += _remarks(fit, found.nulls, own_mv)


def _onset_figure(key: str, label: str, fit: LimitingFit | None) -> Figure:
    """An onset with its interval, which is wide where no limiter of one ceiling fits the curve well."""
    onset_mv = None if fit is None else fit.onset_mv
    half_db = ONSET_ERROR_DB if fit is None or fit.misfit_db <= CLEAN_MISFIT_DB else MISFIT_ERROR_DB
    ratio = 10.0 ** (half_db / 20.0)
    return Figure(
        key=key, label=label, unit="mV", value=onset_mv,
        low=None if onset_mv is None else onset_mv / ratio,
        high=None if onset_mv is None else onset_mv * ratio,
    )  # fmt: skip


def _speech_figure(onset_mv: float | None, own_mv: float) -> Figure:
    """The drive of a voice, whose peaks over its level are only known on average."""
    drive_db = None if onset_mv is None else 20.0 * math.log10(own_mv / onset_mv) + SPEECH_OVER_TONE_DB
    half_db = 2.0 * SPEECH_SPREAD_DB
    return Figure(
        key="speech_drive_db", label=f"drive of {own_mv:.3g} mV speech", value=drive_db, unit="dB",
        low=None if drive_db is None else drive_db - half_db,
        high=None if drive_db is None else drive_db + half_db,
    )  # fmt: skip


def _remarks(fit: LimitingFit, nulls: tuple[HarmonicNull, ...], own_mv: float | None) -> list[str]:
    knee = "hard" if math.isinf(fit.knee) else f"exponent {fit.knee:.2g}"
    said = [f"{KINDS[fit.kind]}, {knee}; the curve fits within {fit.misfit_db:.1f} dB"]
    if fit.kind == "levelling":
        said = [f"{KINDS[fit.kind]}; the curve fits within {fit.misfit_db:.1f} dB"]
    if fit.misfit_db > CLEAN_MISFIT_DB:
        said.append(
            "no clipper of one ceiling fits well: diodes let the wave go on growing; take the 1 dB point"
        )
    if nulls:
        off = max((null.measured_db - null.expected_db for null in nulls), key=abs)
        said.append(
            f"harmonics vanish where this limiter makes them, within {abs(off):.1f} dB"
            if abs(off) <= NULL_AGREES_DB
            else f"a harmonic vanishes {off:+.1f} dB from where this limiter would make it: lopsided, or the "
            "receiver bends the tone too"
        )
    if own_mv is not None:
        said.append("the drive of speech is a rough one: voices differ; bench drive-by-speech measures it")
    return said
