"""``audiotest send``: one test signal out of the sound card, or into a WAV file."""

import argparse
import io
import sys
import time
import wave
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from rich.console import Console

from audiotest.errors import FileError, RequestError
from audiotest.radio.voices import voice_names
from audiotest.replacing import refuse_to_replace
from audiotest.terminal.card import make_console
from audiotest.terminal.consent import ask_leave
from audiotest.terminal.shown import shown
from audiotest.tones import signals
from audiotest.tones.level import (
    LEARN_DBFS,
    OUTPUT_FILE,
    USUAL_CEILING_MV,
    OutputScale,
    learn_output,
    load_output,
    prepare,
    save_output,
)
from audiotest.tones.output import SoundOutput

USUAL_S = 5.0
OWN_LENGTH = ("steps", "keys", "call", "burst")
"""Signals whose length is their own."""
LEARN_S = 10.0
LEARN_HZ = 1000.0
STEP_S = 1.0
LEAD_S, TRAIL_S = 0.3, 0.3


def run(arguments: argparse.Namespace) -> int:
    """Make the signal, set its level, ask for leave, play it; or write it down."""
    if arguments.signal == "learn":
        return _learn(arguments)
    _check(arguments)
    signal = make_signal(arguments.signal, arguments.values, arguments.seconds or USUAL_S)
    if arguments.millivolt is None:
        raise RequestError("no level", "give --millivolt, RMS at the socket")
    if arguments.wav == "":
        # A script with an empty name wants a file: nothing may sound instead.
        raise RequestError("the name of the WAV file is empty", "name a new file after --wav")
    if not arguments.output:
        raise RequestError(
            "the output's millivolts are not known",
            "learn them with 'audiotest send learn', then give --output",
        )
    scale = load_output(arguments.output)
    samples = prepare(signal, arguments.millivolt, scale)
    console = make_console()
    if arguments.wav is not None:
        write_wav(Path(arguments.wav), samples, signal.rate_hz)
        console.print(f"{arguments.wav}: {signal.name}, {signal.seconds:.1f} s. Full scale is 1.0: no level.")
        return 0
    what = (
        f"{signal.name}, {arguments.millivolt:g} mV RMS at the socket, {signal.seconds:.1f} s, then silence."
    )
    ask_leave(console, what, transmits=True, confirmed=arguments.confirmed, longest_s=signal.seconds)
    _play(samples, signal.rate_hz, arguments.device or scale.device or None)
    console.print("Silent again. Unkey the set.")
    return 0


def _check(arguments: argparse.Namespace) -> None:
    """Refuse what would do nothing; `RequestError` names it."""
    if arguments.ceiling_mv is not None:
        raise RequestError(
            "--ceiling-mv goes with learn, which writes it into the output's file",
            "leave it out, or learn the output again",
        )
    if arguments.seconds is not None and arguments.signal in OWN_LENGTH:
        raise RequestError(
            f"--seconds does not go with {arguments.signal}, whose length is its own", "leave it out"
        )
    if arguments.device is not None and arguments.wav is not None:
        raise RequestError("--device is for the sound card, and --wav writes a file", "leave one of them out")


def make_signal(name: str, values: list[str], seconds: float) -> signals.Signal:
    """The signal of a name and its values; `RequestError` when they do not fit."""

    def numbers(count: int | None) -> list[float]:
        if count is None and not values:
            raise RequestError(f"{name} needs one value or more", "give Hz")
        try:
            found = [float(value) for value in values]
        except ValueError as error:
            raise RequestError(f"{name}: {' '.join(values)!r} are no frequencies", "give Hz") from error
        if count is not None and len(found) != count:
            raise RequestError(f"{name} needs {count} value{'s' * (count > 1)}, not {len(found)}", "give Hz")
        return found

    def words(count: int, remedy: str) -> list[str]:
        if len(values) != count:
            raise RequestError(
                f"{name} needs {count} value{'s' * (count > 1)}, not {len(values)}", f"give {remedy}"
            )
        return values

    def alone(signal: Callable[[], signals.Signal]) -> signals.Signal:
        if values:
            raise RequestError(f"{name} takes no value, and {' '.join(values)!r} is one", "leave it out")
        return signal()

    makers: dict[str, Callable[[], signals.Signal]] = {
        "tone": lambda: signals.sine(numbers(1)[0], seconds),
        "two-tone": lambda: signals.two_tone(numbers(2)[0], numbers(2)[1], seconds),
        "steps": lambda: signals.stepped(numbers(None), STEP_S),
        "sweep": lambda: signals.swept(numbers(2)[0], numbers(2)[1], seconds),
        "noise": lambda: alone(lambda: signals.speech_noise(seconds)),
        "voice": lambda: signals.speech(words(1, f"one of {', '.join(voice_names())}")[0], seconds),
        "keys": lambda: signals.dtmf(words(1, "the keys as one word, like 159D")[0]),
        "call": lambda: signals.five_tone(*words(2, "a set and the digits, like ZVEI-1 12345")),
        "subaudible": lambda: signals.subaudible(numbers(1)[0], seconds),
        "burst": lambda: alone(signals.burst),
    }
    return makers[name]()


def _learn(arguments: argparse.Namespace) -> int:
    """Play 1 kHz at a fixed level, ask for the meter's reading, write the output's file."""
    if not arguments.output:
        raise RequestError("where to write the learned output", "give --output OUTPUT.toml")
    if arguments.wav is not None:
        raise RequestError("--wav does not go with learn, which has to sound", "leave it out")
    for name in ("millivolt", "seconds"):
        if getattr(arguments, name) is not None:
            raise RequestError(f"--{name} does not go with learn, which has its own", "leave it out")
    if arguments.values:
        raise RequestError("learn takes no value", f"leave out {' '.join(arguments.values)!r}")
    refuse_to_replace(arguments.output, OUTPUT_FILE)
    console = make_console()
    signal = signals.sine(LEARN_HZ, LEARN_S)
    # Full scale is 1000 "mV" of an unknown kind here: the level is relative, 20 dB down.
    unknown = OutputScale(name="unknown", full_scale_mv=1000.0, ceiling_mv=2000.0)
    samples = prepare(signal, 1000.0 * 10.0 ** (LEARN_DBFS / 20.0), unknown)
    what = (
        f"1 kHz, {-LEARN_DBFS:.0f} dB below the output's most, for {LEARN_S:.0f} s. Read an AC voltmeter at "
        "the socket's plug. Keep the transmitter unkeyed: its level is not known yet."
    )
    ask_leave(console, what, transmits=True, confirmed=arguments.confirmed, longest_s=None)
    _play(samples, signal.rate_hz, arguments.device)
    console.print("What did the meter read, in millivolts RMS? ", end="")
    typed = sys.stdin.readline().strip().replace(",", ".")
    try:
        metered_mv = float(typed)
    except ValueError as error:
        raise RequestError(f"{typed!r} is no reading", "play it again and type the millivolts") from error
    ceiling_mv = USUAL_CEILING_MV if arguments.ceiling_mv is None else arguments.ceiling_mv
    scale = learn_output(metered_mv, name=Path(arguments.output).stem, ceiling_mv=ceiling_mv)
    scale = replace(scale, device=arguments.device or "")
    kept = save_output(scale, arguments.output)
    _say_learned(console, arguments.output, scale)
    if kept is not None:
        console.print(f"The output that was in that file is kept as {shown(str(kept))}.")
    return 0


def _say_learned(console: Console, path: str, scale: OutputScale) -> None:
    console.print(
        f"{path}: full scale is {scale.full_scale_mv:.4g} mV RMS at the socket; nothing over "
        f"{scale.ceiling_mv:g} mV peak will be sent. It holds while volume and attenuator stay as they are."
    )


def _play(samples: NDArray[np.float32], rate_hz: int, device: str | None) -> None:
    """Play to the end; an interruption fades out at once."""
    output = SoundOutput(device, rate_hz)
    try:
        # What a sound server drops while an output gets going is silence then, and not the soft start.
        output.play(np.concatenate([np.zeros(round(LEAD_S * rate_hz), dtype=np.float32), samples]))
        while output.playing:
            time.sleep(0.02)
        time.sleep(TRAIL_S)
    finally:
        output.close()


def write_wav(path: Path, samples: NDArray[np.float32], rate_hz: int) -> None:
    """Write one channel of 16 bits, full scale 1.0, whole or not at all; a file that is there stays."""
    codes = np.clip(np.round(samples * 32767.0), -32768, 32767).astype("<i2")
    made = io.BytesIO()
    with wave.open(made, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(codes.tobytes())
    try:
        with path.open("xb") as raw:
            try:
                raw.write(made.getvalue())
                raw.flush()
            except BaseException:
                # A drive that is full, or somebody who stops it: half a tone is no file to play.
                path.unlink()
                raise
    except OSError as error:
        raise FileError(
            f"{path}: cannot be written: {error.strerror or error}", "name a new file in a folder of yours"
        ) from error
