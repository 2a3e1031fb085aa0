"""Limiter drive by a known speech that is played into the microphone socket, or from two recordings of it."""

from collections.abc import Generator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import MeasureError, RequestError
from audiotest.measure.knownspeech import KnownDrive, KnownSpeechError, measure_known_drive
from audiotest.measure.level import overload_runs, rms_dbfs
from audiotest.records import Feed, LimitSet
from audiotest.tones.guided import Guided, Script, measured
from audiotest.tones.signals import Signal, speech
from audiotest.tones.speechsheet import Play, write_drive
from audiotest.tones.steps import Heard, Notebook, Report, Step

VOICE = "english_reading"
SECONDS = 9.0
USUAL_SPEECH_MV = 3.0
"""What a dynamic microphone gives close to the mouth: a few millivolts (common practice, no source)."""
LEAD_S, TAIL_S = 0.5, 0.6
"""Silence before the speech, so that a sound card's delay costs none of it, and listening after it."""
FADE_S = 0.02
CLEAR_DB = (5.0, 18.0)
"""Drives that one play measures well: enough is clipped, and the rest still shows the wave."""
AIM_DB = 11.0
MOST_UP_DB, LEAST_CHANGE_DB = 14.0, 2.0
MOST_PLAYS = 4
SILENT_DBFS = -70.0


def known_speech(voice: str = VOICE, seconds: float = SECONDS, *, start_s: float = 0.0) -> Signal:
    """A recorded voice with silence before it and soft edges; the RMS is that of its active speech.

    Raises
    ------
    RequestError
        No such voice, or it is over before ``start_s``.
    """
    spoken = speech(voice, seconds, start_s=start_s)
    samples = spoken.samples.copy()
    ramp = np.linspace(0.0, 1.0, round(FADE_S * spoken.rate_hz))
    samples[: len(ramp)] *= ramp
    samples[-len(ramp) :] *= ramp[::-1]
    led = np.concatenate([np.zeros(round(LEAD_S * spoken.rate_hz)), samples])
    return replace(spoken, samples=led, crest=float(np.max(np.abs(led))))


def drive_by_speech(
    feed: Feed | None,
    limits: LimitSet,
    *,
    speech_mv: float | None = None,
    own_mv: float | None = None,
    voice: str = VOICE,
    most_mv: float | None = None,
) -> Guided:
    """Procedure: play a known speech into the socket, and fit the set that explains what is heard.

    Parameters
    ----------
    feed : Feed or None
        Gives the peak deviation; the drive needs none.
    limits : LimitSet
        What the peak deviation is held against.
    speech_mv : float or None
        Level at which the speech is played, RMS of active speech at the socket; None is the technician's
        own, else three millivolts.
    own_mv : float or None
        The technician's own voice at the socket, where it was measured: the drive is stated for it.
    voice : str
        Which recording is played, by its name in `audiotest.radio.voices`.
    most_mv : float or None
        Peak that the output may give. With it the speech is played again louder where the limiter is hardly
        reached, and without it never; softer where it is driven very hard.

    Notes
    -----
    The levels of the plays are known against each other: the drive at one is that at another and the
    decibels between, as long as nothing before the limiter levels. Where two plays belie it, it is said.
    """
    signal = known_speech(voice)
    played_mv = speech_mv or own_mv or USUAL_SPEECH_MV
    asked_mv = own_mv or played_mv
    highest_mv = played_mv if most_mv is None else max(most_mv / signal.crest, played_mv)

    def script(notebook: Notebook) -> Script:
        plays: list[Play] = []
        try:
            yield from _plays(signal, played_mv, highest_mv, plays)
        finally:
            # Also of a run cut short: what has been heard is worth knowing.
            write_drive(notebook, plays, asked_mv, feed, limits, own=own_mv is not None)

    return Guided(script, _notebook())


def drive_from_recordings(
    sent: NDArray[np.floating],
    sent_rate_hz: int,
    heard: NDArray[np.floating],
    heard_rate_hz: int,
    feed: Feed | None,
    limits: LimitSet,
    *,
    speech_mv: float | None = None,
    own_mv: float | None = None,
) -> Report:
    """The same from a recording of what went into the socket and one of what the receiver made of it.

    `sent` and `heard` have shape (n,) and (m,), any unit; levels in millivolts as in `drive_by_speech`.

    Raises
    ------
    RequestError
        The level of the technician's voice is given, but not that of the speech that was played.
    MeasureError
        See `compare`.
    """
    if own_mv is not None and speech_mv is None:
        raise RequestError(
            "the level of the speech that was played is not known", "give --speech-mv beside --own-mv"
        )
    notebook = _notebook()
    known = compare(sent, sent_rate_hz, heard, heard_rate_hz)
    play = Play(level_mv=speech_mv, known=known, samples=heard, rate_hz=heard_rate_hz)
    write_drive(notebook, [play], own_mv or speech_mv, feed, limits, own=own_mv is not None)
    return notebook.report(complete=True)


def _notebook() -> Notebook:
    return Notebook(
        procedure="drive-by-speech", title="Limiter drive by a known speech", x_label="speech, mV RMS",
        y_label="speech time clipped, %", x_logarithmic=True,
    )  # fmt: skip


def _plays(signal: Signal, level_mv: float, highest_mv: float, plays: list[Play]) -> Script:
    """Play at the level asked for, then where the limiter shows best."""
    for _ in range(MOST_PLAYS):
        play = yield from _play(signal, level_mv, quieter_than=highest_mv)
        plays.append(play)
        change_db = _change_db(play.known)
        room_db = 20.0 * np.log10(highest_mv / level_mv)
        change_db = min(change_db, float(room_db))
        if abs(change_db) < LEAST_CHANGE_DB:
            return
        level_mv *= 10.0 ** (change_db / 20.0)


def _change_db(known: KnownDrive | None) -> float:
    """How much louder to play next; 0 where this play will do."""
    if known is None or known.drive_db is None:
        return MOST_UP_DB
    low, high = CLEAR_DB
    return 0.0 if low <= known.drive_db <= high else AIM_DB - known.drive_db


def _play(signal: Signal, level_mv: float, *, quieter_than: float) -> Generator[Step, Heard, Play]:
    step = Step(
        prompt=f"{signal.name}, {level_mv:.2f} mV, {signal.seconds:.0f} s.", signal=signal, level_mv=level_mv,
        settle_s=0.0, listen_s=signal.seconds + TAIL_S, keyed=True,
    )  # fmt: skip

    def read(heard: Heard) -> Play:
        samples = np.real(heard.samples)
        try:
            known = compare(signal.samples, signal.rate_hz, samples, heard.rate_hz)
        except KnownSpeechError as error:
            # Faint in noise: louder speech is what helps, if there is room for it.
            if error.reason == "noisy" and level_mv * 10.0 ** (LEAST_CHANGE_DB / 20.0) < quieter_than:
                return Play(level_mv=level_mv, known=None, samples=samples, rate_hz=heard.rate_hz)
            raise
        return Play(level_mv=level_mv, known=known, samples=samples, rate_hz=heard.rate_hz)

    return (yield from measured(step, read))


def compare(
    sent: NDArray[np.floating], sent_rate_hz: int, heard: NDArray[np.floating], heard_rate_hz: int
) -> KnownDrive:
    """Drive from what was sent, shape (n,), and what was heard, shape (m,), after a look at the recording.

    Raises
    ------
    MeasureError
        The recording is silent or overloaded, or `measure_known_drive` refuses it.
    """
    level_dbfs = rms_dbfs(heard)
    if level_dbfs is None or level_dbfs < SILENT_DBFS:
        raise MeasureError("the recording is silent", "check the input, its channel and the volume")
    overload = KnownSpeechError(
        "overload", "the sound card overloads", "lower the receiver's volume or the input level"
    )
    try:
        known = measure_known_drive(sent, sent_rate_hz, heard, heard_rate_hz)
    except KnownSpeechError as error:
        if error.reason in ("noisy", "levelled") and overload_runs(heard) > 0:
            raise overload from error
        raise
    # Only where the speech is: the hiss of an open squelch around it is louder, and does no harm.
    start_n = max(round(known.delay_s * heard_rate_hz), 0)
    end_n = round((known.delay_s + len(sent) / sent_rate_hz) * heard_rate_hz)
    if overload_runs(heard[start_n:end_n]) > 0:
        raise overload
    return known
