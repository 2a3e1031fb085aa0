"""Recordings: anything libsndfile reads, one channel of it, as a source of blocks."""

import os
import re
import stat
import threading
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
import scipy.fft
import soundfile
from numpy.typing import NDArray

from audiotest.errors import FileError
from audiotest.feeds.chatter import decoder_silenced, is_mpeg
from audiotest.feeds.protocol import Block
from audiotest.feeds.unfinished import finished_wav
from audiotest.measure.level import BEYOND_FS

NO_RECORDING = "not a recording that can be read"
"""How the refusal of a file ends that is no recording at all."""
BLOCK_N = 65536
STEP_N = 4096
"""A compressed file that breaks off gives an error for the step it breaks in: keep steps small."""
LOWEST_RATE_HZ = 6000
HIGHEST_RATE_HZ = 1_000_000
ALIKE_DB = 3.0
"""Channels whose speech-band levels differ by less than this count as equally live; the first is taken."""
SPEECH_BAND_HZ = (300.0, 3400.0)
SCAN_LONGEST_S = 600.0
DAMAGED_FS = 8.0
"""Beyond this a lossy decoder has run wild on damaged data (seen: peaks of 10**4 and more); no source."""
IMPOSSIBLE_FS = 100.0
"""Recorders that keep headroom above full scale in floats have some 20 dB of it; integer codes kept as floats
go up to 2**15 or 2**23."""
LOSSY_FORMATS = {"MP3", "OGG"}
LENGTH_UNKNOWN_N = 2**62
STREAMED_BYTES = 0x7FFF0000
"""Sizes from here on are what programs write when they do not know the length yet: not a promise."""

_PROMISES = (
    re.compile(r"^\s*(?:data|SSND)\s*:\s*(\d+)\s*\(should be (\d+)\)", re.MULTILINE),
    re.compile(r"frame count (?P<held>\d+) does not match value from 'ds64' chunk of (?P<said>\d+)"),
    re.compile(r"'COMM' chunk \((?P<said>\d+)\) not equal to frame count[\s*]+"
               r"calculated from length of 'SSND' chunk \((?P<held>\d+)\)"),
)  # fmt: skip
_W64_PROMISE = re.compile(
    r"^riff : (?P<said>\d+) \(should be (?P<held>\d+)\)$.*^data : (?P<data>\d+)$", re.MULTILINE | re.DOTALL
)
W64_HEAD_BYTES = 24
"""A chunk's own name and length, which W64 counts into its length."""


class _ForwardFile(soundfile.SoundFile):  # type: ignore[misc]
    """A recording that is only read forwards.

    soundfile seeks after every read of a file that can seek; in an MP3 of variable rate such a seek lands
    beside the place, and a tone comes out in pieces, half as strong.
    """

    def __init__(self, path: str) -> None:
        self._finished = finished_wav(path)
        self._chatters = self._finished is None and is_mpeg(path)
        # As bytes a name need not be UTF-8; Windows has its own way with names and needs the text.
        name = path if os.name == "nt" else os.fsencode(path)
        try:
            with decoder_silenced(self._chatters):
                super().__init__(name if self._finished is None else self._finished)
        except BaseException:
            if self._finished is not None:
                self._finished.close()
            raise

    @property
    def unfinished(self) -> bool:
        """Whether the header states no length although audio follows it."""
        return self._finished is not None

    def seekable(self) -> bool:
        return False

    def step(self) -> NDArray[np.float32]:
        """Read the next frames, shape (n, channels)."""
        with decoder_silenced(self._chatters):
            frames: NDArray[np.float32] = self.read(STEP_N, dtype="float32", always_2d=True)
        return frames

    def close(self) -> None:
        with decoder_silenced(self._chatters):
            super().close()
        if self._finished is not None:
            self._finished.close()


class RecordedSource:
    """One channel of an opened recording; read once from start to end.

    ``notes`` says which channel of several was taken and, once the blocks have been read, whether the
    file breaks off. Channels are never mixed: the sum of a live and a dead or an inverted channel would
    move every level. Made by `open_recording`.
    """

    def __init__(self, path: str, sound: _ForwardFile, channel: int, notes: tuple[str, ...]) -> None:
        self.name = Path(path).name
        self.sample_rate_hz: int = sound.samplerate
        self.channel = channel
        self.notes = notes
        self._path = path
        self._sound = sound
        self._lock = threading.Lock()

    def blocks(self) -> Iterator[Block]:
        """Yield the channel in blocks of up to 65536 samples; `FileError` on samples that are no numbers."""
        read_n = 0
        beyond = 0.0
        pieces = _frames(self._sound)
        while True:
            with self._lock:
                frames = None if self._sound.closed else next(pieces, None)
            if frames is None:
                break
            samples = np.ascontiguousarray(frames[:, self.channel - 1])
            finite = np.isfinite(samples)
            if not finite.all():
                at_s = (read_n + int(np.argmin(finite))) / self.sample_rate_hz
                raise FileError(
                    f"{self._path}: the sample at {at_s:.3f} s of channel {self.channel} is no finite number",
                    "write the recording again as 16-bit or 24-bit WAV or FLAC",
                )
            beyond = max(beyond, float(np.max(np.abs(samples))))
            self._refuse_impossible(beyond)
            read_n += len(samples)
            yield Block(samples=samples)
        if self._sound.closed:
            return
        if read_n == 0:
            raise _no_audio(self._path)
        self._note_end(read_n, beyond)

    def _refuse_impossible(self, peak_fs: float) -> None:
        lossy = self._sound.format in LOSSY_FORMATS
        if peak_fs <= (DAMAGED_FS if lossy else IMPOSSIBLE_FS):
            return
        what = f"{self._path}: samples go up to {peak_fs:.3g} times full scale"
        if lossy:
            raise FileError(f"{what}: the file is damaged", "record or copy it again")
        raise FileError(
            f"{what}: these are not the codes of a sound card",
            "write it again as 16-bit or 24-bit WAV or FLAC, or divide the samples by the largest code",
        )

    def close(self) -> None:
        """Close the file, which ends its blocks; safe to call twice and from another thread."""
        with self._lock:
            self._sound.close()

    def _note_end(self, read_n: int, beyond: float) -> None:
        promised_n = _promised_n(self._sound)
        if promised_n is not None and promised_n - read_n > 0.05 * self.sample_rate_hz:
            rate = self.sample_rate_hz
            self.notes += (
                f"the file breaks off: it promises {promised_n / rate:.1f} s, "
                f"{read_n / rate:.1f} s could be read and are measured",
            )
        if beyond > BEYOND_FS:
            self.notes += (
                f"samples go up to {beyond:.3g} times full scale: not the codes of a sound card; a scale "
                "learned from one does not hold for them",
            )


def open_recording(path: str | os.PathLike[str], channel: int | None = None) -> RecordedSource:
    """Open a recording (WAV, RF64, FLAC, Ogg, MP3, AIFF and the others of libsndfile) as a source.

    Parameters
    ----------
    path : path
        The file, at 6 kHz to 1 MHz sample rate.
    channel : int or None
        Channel to take, from 1. None takes the one with the highest level in 300-3400 Hz, and of channels
        alike within 3 dB the first.

    Raises
    ------
    FileError
        When the file is missing, not readable, empty, no audio, or has no such channel.
    """
    text = os.fspath(path)
    _refuse_unreadable(text)
    try:
        sound = _ForwardFile(text)
    except (soundfile.SoundFileError, TypeError, ValueError) as error:
        raise FileError(
            f"{text}: {NO_RECORDING}",
            "use WAV, FLAC, Ogg or MP3; if it is one, it is damaged: record or copy it again",
        ) from error
    try:
        _refuse_unusable(text, sound, channel)
        notes: tuple[str, ...] = ()
        if sound.unfinished:
            notes = ("the header was never finished and states no length: all that follows it is measured",)
        if sound.channels == 1:
            return RecordedSource(text, sound, 1, notes)
        if channel is None:
            channel, why = _livelier_channel(text)
        else:
            why = "as asked"
        notes += (f"channel {channel} of {sound.channels} taken: {why}",)
        return RecordedSource(text, sound, channel, notes)
    except BaseException:
        sound.close()
        raise


def _refuse_unreadable(path: str) -> None:
    if not path:
        raise FileError("the name of the recording is empty", "name a file")
    try:
        status = os.stat(path)
        if stat.S_ISDIR(status.st_mode):
            raise FileError(f"{path}: is a directory", "name the recordings in it")
        if not stat.S_ISREG(status.st_mode):
            raise FileError(f"{path}: is not an ordinary file", "copy the recording into a file first")
        with open(path, "rb"):
            pass
    except FileNotFoundError as error:
        raise FileError(f"{path}: no such file", "check the name and the directory") from error
    except PermissionError as error:
        raise FileError(f"{path}: permission denied", "give yourself the right to read it") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(
            f"{path}: cannot be read ({reason})", "check the name and the drive it is on"
        ) from error
    if status.st_size == 0:
        raise FileError(f"{path}: the file is empty (0 bytes)", "record or copy it again")


def _refuse_unusable(path: str, sound: soundfile.SoundFile, channel: int | None) -> None:
    if sound.frames <= 0:
        raise _no_audio(path)
    if not LOWEST_RATE_HZ <= sound.samplerate <= HIGHEST_RATE_HZ:
        raise FileError(
            f"{path}: its sample rate is {sound.samplerate} Hz, outside {LOWEST_RATE_HZ} Hz to 1 MHz",
            "record at 8 kHz or more, best at 48 kHz",
        )
    if channel is not None and not 1 <= channel <= sound.channels:
        if sound.channels == 1:
            raise FileError(f"{path}: has one channel, no channel {channel}", "leave --channel out")
        count = f"{sound.channels} channels, no channel {channel}"
        raise FileError(f"{path}: has {count}", f"name one from 1 to {sound.channels}")


def _no_audio(path: str) -> FileError:
    return FileError(
        f"{path}: holds no audio",
        "nothing was recorded, or the recording program never finished the file: record it again",
    )


def _steps(sound: _ForwardFile) -> Iterator[NDArray[np.float32]]:
    """Yield frames in small steps, shape (n, channels), up to the end or to where decoding fails."""
    while True:
        try:
            step = sound.step()
        except soundfile.SoundFileError:
            return
        if len(step):
            yield step
        if len(step) < STEP_N:
            return


def _frames(sound: _ForwardFile) -> Iterator[NDArray[np.float32]]:
    """Yield frames in blocks, shape (n, channels)."""
    steps = _steps(sound)
    at_once = max(1, BLOCK_N // STEP_N // sound.channels)
    while parts := list(islice(steps, at_once)):
        yield np.concatenate(parts)


def _livelier_channel(path: str) -> tuple[int, str]:
    """Channel, from 1, with the highest speech-band level in the first ten minutes, and why in words."""
    with _ForwardFile(path) as sound:
        energy = np.zeros(sound.channels)
        length_n = 0
        for frames in _frames(sound):
            energy += _speech_energy(frames, sound.samplerate)
            length_n += len(frames)
            if length_n > SCAN_LONGEST_S * sound.samplerate:
                break
    loudest = float(np.max(energy))
    if loudest <= 0.0:
        return 1, "all are silent"
    alike = energy >= loudest * 10.0 ** (-ALIKE_DB / 10.0)
    channel = int(np.argmax(alike)) + 1
    several = np.count_nonzero(alike) > 1
    return channel, "the first of several alike" if several else "it has the highest level"


def _speech_energy(frames: NDArray[np.float32], rate_hz: int) -> NDArray[np.float64]:
    """Energy in 300-3400 Hz of `frames`, shape (n, channels), in any unit; shape (channels,)."""
    sane = np.nan_to_num(frames.astype(np.float64), nan=0.0, posinf=0.0, neginf=0.0)
    # A window, or hum and a shifted zero would spill into the band from the jump between the block's ends.
    lines = scipy.fft.rfft(sane * np.hanning(len(sane) + 2)[1:-1, np.newaxis], axis=0)
    hz = scipy.fft.rfftfreq(len(sane), 1.0 / rate_hz)
    inside = lines[(hz >= SPEECH_BAND_HZ[0]) & (hz <= SPEECH_BAND_HZ[1])]
    return np.asarray(np.sum(inside.real**2 + inside.imag**2, axis=0) / len(sane))


def _promised_n(sound: soundfile.SoundFile) -> int | None:
    """Frames that the file's header promises; None when it promises none."""
    log: str = sound.extra_info
    for pattern in _PROMISES:
        found = pattern.search(log)
        if found is None:
            continue
        if "said" in pattern.groupindex:
            return int(found["said"])
        said, held = int(found[1]), int(found[2])
        if said >= STREAMED_BYTES or held <= 0:
            return None
        return int(sound.frames) * said // held
    found = _W64_PROMISE.search(log)
    if found is not None:
        # The library looks at the length of the whole file only; what it lacks is missing from the audio.
        promised_bytes = int(found["data"]) - W64_HEAD_BYTES
        held_bytes = promised_bytes - (int(found["said"]) - int(found["held"]))
        if promised_bytes < LENGTH_UNKNOWN_N and 0 < held_bytes < promised_bytes:
            return int(sound.frames) * promised_bytes // held_bytes
    frames = int(sound.frames)
    return frames if frames < LENGTH_UNKNOWN_N else None
