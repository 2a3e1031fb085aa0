"""A receiver's squelch on a signal generator: where it opens, where it shuts."""

import math
from collections.abc import Callable, Generator

import numpy as np

from audiotest.errors import MeasureError
from audiotest.measure.sensitivity import squelch_levels
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.sensitivity import level_ask
from audiotest.tones.steps import Ask, Figure, Heard, Notebook, Step

OPEN_OVER_MUTED_DB = 10.0
SQUELCH_STEPS_DB = (1.0, 0.5)
SQUELCH_SPAN_DB = 45.0
SQUELCH_START_DBM = -130.0


def squelch(*, start_dbm: float = SQUELCH_START_DBM) -> Guided:
    """Procedure: the squelch's opening and closing level, up and down twice, the second time finer."""

    def script(notebook: Notebook) -> Script:
        first = Ask(setting="squelch", words="set the squelch as it is used", suggested=1.0)
        muted_dbfs = yield from measured(
            Step(prompt="The squelch has to be shut now.", asks=(first, level_ask(start_dbm)), settle_s=0.5),
            lambda heard: _loudness_dbfs(heard),
        )
        log: list[tuple[float, bool]] = [(start_dbm, False)]

        def at(level_dbm: float) -> Generator[Step, Heard, bool]:
            step = Step(prompt="Level by level.", asks=(level_ask(level_dbm),), settle_s=0.6, listen_s=0.3)
            heard_dbm, loud_dbfs = yield from measured(
                step, lambda heard: (heard.answers[-1], _loudness_dbfs(heard))
            )
            is_open = loud_dbfs > muted_dbfs + OPEN_OVER_MUTED_DB
            log.append((heard_dbm, is_open))
            notebook.plot("up and down", heard_dbm, float(is_open))
            return is_open

        level_dbm = start_dbm
        fine_from = 0
        for step_db in SQUELCH_STEPS_DB:
            # The first pass finds the marks, the finer last one is the reading.
            fine_from = len(log) - 1
            turned_dbm = yield from _until(at, level_dbm, step_db, wanted=True)
            level_dbm = yield from _until(at, turned_dbm, -step_db, wanted=False)
            level_dbm -= step_db
        found = squelch_levels(log[fine_from:])
        step_db = found.step_db or 0.0
        for key, label, value, back_db in (
            ("opening_dbm", "opens at", found.opening_dbm, -step_db),
            ("closing_dbm", "shuts at", found.closing_dbm, step_db),
        ):
            low, high = (None, None) if value is None else sorted((value, value + back_db))
            notebook.figures.append(Figure(key=key, label=label, value=value, unit="dBm", low=low, high=high))
        notebook.figures.append(
            Figure(key="hysteresis_db", label="hysteresis", value=found.hysteresis_db, unit="dB")
        )

    return Guided(
        script,
        Notebook(procedure="squelch", title="Squelch", x_label="generator, dBm", y_label="open"),
    )


def _until(
    at: Callable[[float], Generator[Step, Heard, bool]], level_dbm: float, step_db: float, *, wanted: bool
) -> Generator[Step, Heard, float]:
    """Change the level step by step until the squelch is as wanted; returns that level."""
    for _ in range(math.ceil(SQUELCH_SPAN_DB / abs(step_db))):
        level_dbm += step_db
        if (yield from at(level_dbm)) == wanted:
            return level_dbm
    raise MeasureError(
        f"the squelch does not {'open' if wanted else 'shut'} within {SQUELCH_SPAN_DB:g} dB",
        "set it so that it is shut without a signal",
    )


def _loudness_dbfs(heard: Heard) -> float:
    return 10.0 * math.log10(max(float(np.mean(np.square(np.real(heard.samples)))), 1e-12))
