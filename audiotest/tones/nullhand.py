"""Carrier null by hand: carrier and sidebands as they come while somebody turns the deviation up."""

import math
from collections.abc import Callable, Generator
from functools import partial
from itertools import count

from audiotest.errors import MeasureError
from audiotest.measure.carriernull import IndexFit, fit_index
from audiotest.radio.micsocket import SetUnderTest, steady_tone
from audiotest.standards.fm import null_tone_hz
from audiotest.tones.carriernull import (
    FIRST_NULL,
    NULL_SHARE,
    pitch_and_size,
    plot_bessel,
    plot_lines,
    read_lines,
    tone_amplitude,
    write_scale,
)
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.signals import Signal, sine
from audiotest.tones.steps import Figure, Heard, Notebook, Step

LISTEN_S = 0.4
MOST_READINGS = 1500
CAUGHT_DB = -30.0
"""The null is caught here: the deviation is then within 2.5 % of it, |J1| being 0.52 at the zero of |J0|."""
AROUND_INDEX = 0.35
HELD = 2
"""Readings in a row, so that one that catches the control in motion does not count."""
PLOT_TO_INDEX = 4.0


def null_by_hand(
    limit_khz: float,
    *,
    wanted_khz: float | None = None,
    deemphasis_us: float | None = None,
    iq: bool = False,
) -> Guided:
    """Procedure: watch the carrier while somebody turns the deviation up, catch the null, read the FM feed.

    Nothing is sent: the tone comes from a generator, and its level or the set's deviation control is turned.

    Parameters
    ----------
    limit_khz : float
        Without ``wanted_khz`` the null is sought at 60 % of it.
    wanted_khz : float or None
        Deviation at the null; the tone follows from it: deviation = 2.4048 times the tone.
    deemphasis_us : float or None
        Of the FM feed, as for `carrier_null`.
    iq : bool
        See the carrier in an I/Q feed, instead of the audio of a receiver for CW or SSB.
    """
    deviation_khz = wanted_khz or NULL_SHARE * limit_khz
    tone_hz = null_tone_hz(deviation_khz)

    def script(notebook: Notebook) -> Script:
        pitch_hz, plain = yield from _plain(tone_hz, iq=iq)
        plot_bessel(notebook, 1e3 / tone_hz, PLOT_TO_INDEX * tone_hz / 1e3)
        deepest_db = yield from _watch(notebook, tone_hz, pitch_hz, plain, iq=iq)
        notebook.figures += [
            Figure(key="tone_hz", label="tone", value=tone_hz, unit="Hz"),
            Figure(key="deviation_khz", label="deviation at the null", value=deviation_khz, unit="kHz"),
            Figure(key="depth_db", label="carrier there", value=deepest_db, unit="dB"),
        ]
        amplitude = yield from measured(
            Step(
                prompt="Null. Touch nothing; receiver back to FM, volume as it will stay.", settle_s=0.3,
                listen_s=1.0, keyed=True, wait=True,
            ),
            partial(tone_amplitude, tone_hz=tone_hz),
        )  # fmt: skip
        write_scale(notebook, amplitude, deviation_khz, tone_hz, deemphasis_us)

    return Guided(
        script,
        Notebook(
            procedure="carrier-null", title="Carrier null by hand", x_label="deviation, kHz",
            y_label="re the unmodulated carrier",
        ),
    )  # fmt: skip


def _plain(tone_hz: float, *, iq: bool) -> Generator[Step, Heard, tuple[float | None, float]]:
    """Where the unmodulated carrier is, and its size."""
    if iq:
        lines = yield from measured(
            Step(
                prompt="I/Q receiver near the frequency. Key the set without modulation.", settle_s=0.3,
                listen_s=LISTEN_S, keyed=True, feed="iq", wait=True,
            ),
            partial(read_lines, tone_hz=tone_hz, pitch_hz=None),
        )  # fmt: skip
        return None, lines.carrier
    pitch_hz, plain = yield from measured(
        Step(
            prompt="Receiver to CW or SSB. Key the set without modulation; tune to a note of about 1.2 kHz "
            "and leave the tuning alone.",
            settle_s=0.3, listen_s=LISTEN_S, keyed=True, feed="beat", wait=True,
        ),
        partial(pitch_and_size, tone_hz=tone_hz),
    )  # fmt: skip
    return pitch_hz, plain


def _watch(
    notebook: Notebook, tone_hz: float, pitch_hz: float | None, plain: float, *, iq: bool
) -> Generator[Step, Heard, float]:
    """Look at the carrier until it has vanished and stays away; returns what is left of it in dB."""
    prompt = f"Tone of {tone_hz:.1f} Hz on. Turn the deviation up slowly from nothing."
    held = 0
    for _ in range(MOST_READINGS):
        lines = yield from measured(
            Step(
                prompt=prompt,
                settle_s=0.0,
                listen_s=LISTEN_S,
                keyed=True,
                live=True,
                feed="iq" if iq else "beat",
            ),
            partial(read_lines, tone_hz=tone_hz, pitch_hz=pitch_hz),
        )
        fit = fit_index(lines, plain)
        plot_lines(notebook, fit.deviation_khz, lines, plain)
        carrier_db = 20.0 * math.log10(max(lines.carrier / plain, 1e-6))
        near = abs(fit.index - FIRST_NULL) < AROUND_INDEX
        held = held + 1 if near and carrier_db < CAUGHT_DB else 0
        if held == HELD:
            return carrier_db
        prompt = _what_to_turn(fit, carrier_db, tone_hz)
    raise MeasureError("the carrier was not brought to its null", "turn the deviation until it vanishes")


def _what_to_turn(fit: IndexFit, carrier_db: float, tone_hz: float) -> str:
    """Up or down, as the sidebands tell.

    >>> _what_to_turn(IndexFit(index=3.1, deviation_khz=1.9, carrier_db=-10.0, misfit=0.0), -10.0, 624.0)
    'Past it: turn back. Carrier -10.0 dB, about 1.90 kHz.'
    """
    if fit.index > FIRST_NULL + 0.5 * AROUND_INDEX:
        way = "Past it: turn back."
    elif fit.index > FIRST_NULL - AROUND_INDEX:
        way = "Nearly: turn for the least."
    else:
        way = "Turn the deviation up."
    return f"{way} Carrier {carrier_db:.1f} dB, about {fit.deviation_khz:.2f} kHz."


def hand_for(
    unit: SetUnderTest, wanted_khz: float, *, readings_n: int = 16
) -> Callable[[Step], tuple[Signal, float] | None]:
    """A hand for the rehearsal that turns a generator up to the null in so many steps and holds it there."""
    tone_hz = null_tone_hz(wanted_khz)
    small_mv = 0.05 * unit.onset_mv
    # Below the limiter deviation follows the level.
    null_mv = small_mv * wanted_khz / steady_tone(unit, round(tone_hz), small_mv).fundamental_khz
    turn = count()

    def send(step: Step) -> tuple[Signal, float] | None:
        if step.wait and step.feed != "audio":
            return None
        share = min(1.0, (next(turn) + 1) / readings_n)
        return sine(tone_hz, step.settle_s + step.listen_s + 0.2), share * null_mv

    return send
