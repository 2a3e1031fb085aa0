"""Carrier null as a guided procedure: deviation without a deviation meter, and a feed's scale from it."""

from dataclasses import replace
from functools import partial

import numpy as np
from scipy.special import jn_zeros, jv

from audiotest.errors import MeasureError
from audiotest.measure.carriernull import Lines, find_null, fm_lines
from audiotest.measure.cycle import measure_cycle
from audiotest.measure.filters import emphasis_response
from audiotest.measure.tone import find_steady_tone, fit_sine
from audiotest.standards.fm import null_tone_hz
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.limiting import LISTEN_S, SETTLE_S, SPARE_S, START_MV, tone_step
from audiotest.tones.signals import sine
from audiotest.tones.steps import Figure, Heard, Notebook, Step

NULL_SHARE = 0.6
"""Deviation to be found, re the limit: below the limiter, where it follows the level."""
RISE = 10.0 ** (1.5 / 20.0)
MOST_STEPS = 45
LOW_SHARE, BACK_SHARE = 0.25, 0.3
"""The carrier has to fall below the first and come back over the second, re unmodulated."""
BEAT_BAND_HZ = (320.0, 2900.0)
CLEAN_HZ = 25.0
FIRST_NULL = float(jn_zeros(0, 1)[0])
BESSEL_POINTS = 60


def carrier_null(
    limit_khz: float, *, deemphasis_us: float | None = None, start_mv: float = START_MV
) -> Guided:
    """Procedure: raise a tone until the carrier vanishes in a receiver for CW or SSB; then read the FM feed.

    The tone is chosen so that its first null is at 60 % of the limit: deviation = 2.4048 times the tone.
    ``deemphasis_us`` of the FM feed carries the scale from the tone to 1 kHz; None leaves it at the tone.
    Without a null, or without a steady note, the procedure raises `MeasureError`.
    """
    wanted_khz = NULL_SHARE * limit_khz
    tone_hz = null_tone_hz(wanted_khz)

    def script(notebook: Notebook) -> Script:
        pitch_hz, plain = yield from measured(
            Step(
                prompt="Receiver to CW or SSB. Key the set without modulation; tune to a note of about "
                "1.2 kHz and leave the tuning alone.",
                settle_s=0.5, listen_s=0.5, keyed=True, feed="beat", wait=True,
            ),
            partial(pitch_and_size, tone_hz=tone_hz),
        )  # fmt: skip
        drive, sizes = [0.0], [plain]
        level_mv, fallen = start_mv, False
        for _ in range(MOST_STEPS):
            lines = yield from measured(
                _beat_step(
                    f"{tone_hz:.1f} Hz, {level_mv:.2f} mV: the carrier's note fades.", tone_hz, level_mv
                ),
                partial(read_lines, tone_hz=tone_hz, pitch_hz=pitch_hz),
            )
            size = lines.carrier
            drive.append(level_mv)
            sizes.append(size)
            plot_lines(notebook, level_mv, lines, plain)
            fallen = fallen or size < LOW_SHARE * plain
            if fallen and size > BACK_SHARE * plain:
                break
            level_mv *= RISE
        else:
            raise MeasureError(
                "the carrier did not vanish and come back", "is the limiter below this deviation?"
            )
        found = find_null(drive, sizes, tone_hz, unmodulated=plain)
        plot_bessel(notebook, FIRST_NULL / found.at, drive[-1])
        notebook.figures += [
            Figure(key="null_mv", label="first carrier null at", value=found.at, unit="mV"),
            Figure(key="tone_hz", label="tone", value=tone_hz, unit="Hz"),
            Figure(key="deviation_khz", label="deviation there", value=found.deviation_khz, unit="kHz"),
            Figure(key="depth_db", label="depth of the null", value=found.depth_db, unit="dB"),
        ]
        amplitude = yield from measured(
            tone_step(
                "Receiver back to FM, volume as it will stay: the same tone at the null's level.",
                tone_hz,
                found.at,
                wait=True,
            ),
            partial(tone_amplitude, tone_hz=tone_hz),
        )
        write_scale(notebook, amplitude, found.deviation_khz, tone_hz, deemphasis_us)

    return Guided(
        script,
        Notebook(
            procedure="carrier-null", title="Carrier null", x_label="input, mV RMS",
            y_label="re the unmodulated carrier", x_logarithmic=True,
        ),
    )  # fmt: skip


def _beat_step(prompt: str, tone_hz: float, level_mv: float) -> Step:
    return Step(
        prompt=prompt, signal=sine(tone_hz, SETTLE_S + LISTEN_S + SPARE_S), level_mv=level_mv,
        settle_s=SETTLE_S, listen_s=LISTEN_S, keyed=True, feed="beat",
    )  # fmt: skip


def pitch_and_size(heard: Heard, tone_hz: float) -> tuple[float, float]:
    """Pitch of the unmodulated carrier's note, and its size; raises `MeasureError` without a usable note."""
    audio = np.real(heard.samples)
    if find_steady_tone(audio, heard.rate_hz) is None:
        raise MeasureError("there is no steady note", "tune for a clear note of about 1.2 kHz")
    pitch_hz = fit_sine(audio, heard.rate_hz).frequency_hz
    if abs(2.0 * pitch_hz / tone_hz - round(2.0 * pitch_hz / tone_hz)) * tone_hz < 2.0 * CLEAN_HZ:
        # A lower sideband folded at 0 Hz would fall on the carrier.
        raise MeasureError(f"a note of {pitch_hz:.0f} Hz would hide a sideband", "tune it 100 Hz away")
    return pitch_hz, read_lines(heard, tone_hz, pitch_hz).carrier


def read_lines(heard: Heard, tone_hz: float, pitch_hz: float | None) -> Lines:
    """Carrier and sidebands of one step, sizes per sample, so that steps of any length compare.

    ``pitch_hz`` is where the carrier was unmodulated; None for I/Q, whose symmetry shows it.
    """
    if np.iscomplexobj(heard.samples):
        lines = fm_lines(heard.samples, heard.rate_hz, tone_hz)
    else:
        low_hz, high_hz = BEAT_BAND_HZ
        audio = np.real(heard.samples)
        lines = fm_lines(audio, heard.rate_hz, tone_hz, carrier_hz=pitch_hz, low_hz=low_hz, high_hz=high_hz)
    # A spectrum's sums grow with the length squared in power.
    count = len(heard.samples)
    sidebands = tuple(None if size is None else size / count for size in lines.sidebands)
    return replace(lines, carrier=lines.carrier / count, sidebands=sidebands)


def plot_lines(notebook: Notebook, x: float, lines: Lines, plain: float) -> None:
    """Add one step's carrier and first sidebands, re the unmodulated carrier."""
    first = lines.sidebands[0]
    if first is not None:
        notebook.plot("first sidebands", x, first / plain, read=False)
    notebook.plot("carrier", x, lines.carrier / plain)


def plot_bessel(notebook: Notebook, index_per_x: float, x_to: float) -> None:
    """Draw what carrier and first sidebands are by theory: |J0| and |J1| of the index (textbook)."""
    for order in (0, 1):
        notebook.curves.pop(f"|J{order}|", None)
        for x in np.linspace(x_to / BESSEL_POINTS, x_to, BESSEL_POINTS):
            value = abs(float(jv(order, index_per_x * x)))
            notebook.plot(f"|J{order}|", float(x), value, read=False)


def tone_amplitude(heard: Heard, tone_hz: float) -> float:
    """Amplitude of the tone in the FM feed."""
    return measure_cycle(np.real(heard.samples), heard.rate_hz, tone_hz, high_hz=3600.0).fundamental


def write_scale(
    notebook: Notebook, amplitude: float, deviation_khz: float, tone_hz: float, deemphasis_us: float | None
) -> None:
    """Write the FM feed's full scale from a tone of known deviation."""
    lift = 1.0
    if deemphasis_us:
        lift = float(np.abs(emphasis_response(np.array([tone_hz]), deemphasis_us))[0])
    notebook.figures.append(
        Figure(
            key="scale_khz_per_fs", label="full scale of the FM feed", unit="kHz",
            value=deviation_khz / (amplitude * lift),
        )
    )  # fmt: skip
    if deemphasis_us is None:
        notebook.notes.append(f"de-emphasis not stated: the scale holds at {tone_hz:.0f} Hz only")
