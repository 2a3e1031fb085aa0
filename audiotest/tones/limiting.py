"""Modulation limiting: deviation against input level, 20 dB beyond it, and the worst tone."""

from collections.abc import Generator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError
from audiotest.measure.cycle import Cycle
from audiotest.measure.limiting import fit_limiting
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.monitor import Monitor
from audiotest.tones.signals import sine, step_up
from audiotest.tones.steps import Figure, Heard, Notebook, Step

TONE_HZ = 1000.0
REFERENCE_SHARE = 0.6
SMALL_SHARE = 0.15
"""Of the limit: well below any limiter, well above the noise."""
OVERLOAD_DB = 20.0
JUMP_S = 0.9
"""Before the jump: longer than a sound card takes to be heard."""
RUN_DB = (-16.0, -12.0, -8.0, -6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 17.0, 20.0)
WORST_TONES_HZ = (300.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3000.0)
METHOD = "TIA-603 modulation limiting, 20 dB above the level for 60 %, 300 to 3000 Hz; from memory"
START_MV = 0.3
SPARE_S = 0.8
"""A sound card plays later than it is told to, and the soft stop is not to be measured."""
MOST_STEPS = 12
CLOSE_DB = 0.3
KINDS = {
    "clipping": "the limiter clips",
    "levelling": "the limiter is a level control, which keeps the wave's shape",
}
LISTEN_S, SETTLE_S = 0.4, 0.2


def tone_step(prompt: str, hz: float, level_mv: float, *, wait: bool = False) -> Step:
    """A step that sends one tone to a keyed transmitter and listens to it."""
    signal = sine(hz, SETTLE_S + LISTEN_S + SPARE_S)
    return Step(
        prompt=prompt,
        signal=signal,
        level_mv=level_mv,
        settle_s=SETTLE_S,
        listen_s=LISTEN_S,
        keyed=True,
        wait=wait,
    )


def find_level(
    monitor: Monitor, wanted_khz: float, *, hz: float = TONE_HZ, start_mv: float = START_MV
) -> Generator[Step, Heard, tuple[float, Cycle]]:
    """Level at the socket for a wanted deviation of the fundamental, approached from below.

    Raises
    ------
    MeasureError
        The deviation cannot be reached: the limiter holds it, or nothing comes through.
    """
    level_mv = start_mv
    for _ in range(MOST_STEPS):
        prompt = f"Looking for {wanted_khz:.2f} kHz at {hz:g} Hz: {level_mv:.2f} mV."
        cycle = yield from measured(tone_step(prompt, hz, level_mv), lambda heard: monitor.cycle(heard, hz))
        ratio = wanted_khz / cycle.fundamental
        if abs(ratio - 1.0) < 10.0 ** (CLOSE_DB / 20.0) - 1.0:
            return level_mv, cycle
        # Never more than 12 dB up at once: the first reading may be mostly noise.
        level_mv *= min(max(ratio, 0.05), 4.0)
    raise MeasureError(
        f"a deviation of {wanted_khz:.2f} kHz at {hz:g} Hz is not reached",
        "check the tone's way into the socket; or the deviation control stands too low",
    )


def modulation_limiting(
    monitor: Monitor, limit_khz: float, limit_source: str, *, start_mv: float = START_MV
) -> Guided:
    """Procedure: deviation over level at 1 kHz, onset and knee, +20 dB, the worst of eleven tones."""

    def script(notebook: Notebook) -> Script:
        yield from _limiting(notebook, monitor, limit_khz, limit_source, start_mv)

    return Guided(
        script,
        Notebook(
            procedure="limiting", title="Modulation limiting", x_label="input, mV RMS",
            y_label="peak deviation, kHz", x_logarithmic=True,
        ),
    )  # fmt: skip


def _limiting(
    notebook: Notebook, monitor: Monitor, limit_khz: float, limit_source: str, start_mv: float
) -> Script:
    small_mv, small = yield from find_level(monitor, SMALL_SHARE * limit_khz, start_mv=start_mv)
    # 60 % of the limit by proportion: with the deviation control low, the limiter would hold it below.
    reference_mv = small_mv * REFERENCE_SHARE * limit_khz / small.fundamental
    notebook.figures.append(
        Figure(key="level_60_mv", label="input for 60 % of the limit", value=reference_mv, unit="mV")
    )
    levels: list[float] = []
    sizes: list[float] = []
    try:
        for step_db in RUN_DB:
            level_mv = reference_mv * 10.0 ** (step_db / 20.0)
            cycle = yield from measured(
                tone_step(f"1 kHz, {level_mv:.2f} mV ({step_db:+.0f} dB).", TONE_HZ, level_mv),
                partial(monitor.cycle, tone_hz=TONE_HZ),
            )
            levels.append(level_mv)
            sizes.append(cycle.fundamental)
            notebook.plot("positive", level_mv, cycle.positive)
            notebook.plot("negative", level_mv, cycle.negative)
    finally:
        # Also of a run cut short, as far as it came.
        _write_fit(notebook, levels, sizes, REFERENCE_SHARE * limit_khz)
    _write_overload(notebook, cycle, limit_khz, limit_source)
    yield from _worst_tone(notebook, monitor, level_mv, limit_khz, limit_source)
    yield from _first_peak(notebook, monitor, level_mv, limit_khz, limit_source)


def _write_fit(
    notebook: Notebook, levels_mv: list[float], sizes_khz: list[float], reference_khz: float
) -> None:
    values: tuple[float | None, ...] = (None, None, None, None)
    try:
        fit = fit_limiting(levels_mv, sizes_khz)
    except MeasureError as error:
        notebook.notes.append(f"onset and knee: {error}")
    else:
        values = (fit.onset_mv, fit.gain_khz_per_mv, fit.threshold_khz, fit.knee_db)
        notebook.notes.append(KINDS[fit.kind])
        if fit.threshold_khz < reference_khz:
            notebook.notes.append("it limits below 60 % of the limit: the input for 60 % is by proportion")
    named = (
        ("onset_mv", "limiting sets in at", "mV"), ("gain_khz_per_mv", "gain below", "kHz/mV"),
        ("threshold_khz", "deviation there", "kHz"), ("knee_db", "1 dB compressed, above onset", "dB"),
    )  # fmt: skip
    for (key, label, unit), value in zip(named, values, strict=True):
        notebook.figures.append(Figure(key=key, label=label, value=value, unit=unit))


def _write_overload(notebook: Notebook, cycle: Cycle, limit_khz: float, limit_source: str) -> None:
    for key, label, value in (
        ("overload_positive_khz", "+20 dB, up", cycle.positive),
        ("overload_negative_khz", "+20 dB, down", cycle.negative),
    ):
        notebook.figures.append(
            Figure(
                key=key, label=label, value=value, unit="kHz", limit_high=limit_khz, limit_source=limit_source
            )
        )


def _first_peak(
    notebook: Notebook, monitor: Monitor, level_mv: float, limit_khz: float, limit_source: str
) -> Script:
    """Largest deviation when 1 kHz jumps up by 20 dB: what a slow limiter lets through before it acts."""
    step = Step(
        prompt="1 kHz jumps up by 20 dB.", signal=step_up(TONE_HZ, OVERLOAD_DB, JUMP_S, LISTEN_S + SPARE_S),
        level_mv=level_mv, settle_s=SETTLE_S, listen_s=JUMP_S + LISTEN_S - SETTLE_S, keyed=True,
    )  # fmt: skip
    peak_khz: float | None = None
    try:
        peak_khz = yield from measured(
            step, lambda heard: float(np.max(np.abs(_without_mean(monitor.deviation_khz(heard)))))
        )
    except MeasureError as error:
        notebook.notes.append(f"first peak: {error}")
    notebook.figures.append(
        Figure(
            key="first_peak_khz", label="first peak of a 20 dB jump", value=peak_khz, unit="kHz",
            limit_high=limit_khz, limit_source=limit_source,
        )
    )  # fmt: skip


def _without_mean(khz: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(khz - np.mean(khz))


def _worst_tone(
    notebook: Notebook, monitor: Monitor, level_mv: float, limit_khz: float, limit_source: str
) -> Script:
    worst_khz, worst_hz = 0.0, 0.0
    for hz in WORST_TONES_HZ:
        cycle = yield from measured(
            tone_step(f"+20 dB held, {hz:g} Hz.", hz, level_mv),
            partial(monitor.cycle, tone_hz=hz),
        )
        peak = max(cycle.positive, cycle.negative)
        notebook.plot("peak over tone, Hz", hz, peak)
        if peak > worst_khz:
            worst_khz, worst_hz = peak, hz
    notebook.figures += [
        Figure(
            key="worst_khz", label="largest of 300-3000 Hz", value=worst_khz, unit="kHz",
            limit_high=limit_khz, limit_source=limit_source,
        ),
        Figure(key="worst_tone_hz", label="at", value=worst_hz, unit="Hz"),
    ]  # fmt: skip
    notebook.notes.append(METHOD)
