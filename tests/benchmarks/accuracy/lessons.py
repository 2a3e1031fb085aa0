"""Renders training overs through the simulated radio and keeps what the drive model is shown, with the truth.

``python -m tests.benchmarks.accuracy.lessons CORPUS OUT --splits train,tune --overs 12000`` writes shards
``OUT/lesson-NNNN.npz``; with ``--exam SET --exam-split test`` it writes ``OUT`` from a rendered set instead,
for judging. The radio runs at 48 kHz: enough for training, not for judging. Filters and limiters that
`draw.py` holds out never occur. The truth goes down to every 20 ms frame: how far above the threshold the
limiter's input was there, which is what makes a few talkers go a long way.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy.fft
import scipy.ndimage
import scipy.signal
import soundfile as sf
from numpy.typing import NDArray

import audiotest.radio.transmitter as transmitter
from audiotest.measure.activity import find_activity
from audiotest.measure.drivefeatures import drive_features
from audiotest.measure.driveviews import RATE_HZ, DriveViews, drive_views
from audiotest.measure.filters import undo_deemphasis
from audiotest.measure.path import GRID_HZ, undo_path
from audiotest.measure.subaudible import without_tone
from audiotest.measure.views import AUDIO_HIGH_HZ
from audiotest.radio.link import simulate
from audiotest.radio.receiver import audio_response
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.transmitter import analogue_lowpass
from audiotest.records import PathResponse
from tests.benchmarks.accuracy.draw import CONFOUNDERS, Over, draw_over
from tests.benchmarks.accuracy.mouth import RATE_HZ as VOICE_HZ
from tests.benchmarks.accuracy.mouth import at_the_microphone
from tests.benchmarks.accuracy.sets import read_set, recordings, talkers_of

BASEBAND_HZ = 48000
FINER = 4
KINDS = ("plain", *CONFOUNDERS)
SHARD_N = 100
EDGE_S = 0.05
PATH_KINDS = ("plain", "if_clipping", "compressed_source", "levelling")
"""What a path is learnt over: neither an automatic gain nor a codec lets one."""
PATH_ERROR_DB, PATH_ERROR_RAD = 0.3, 0.04
DELAY_BAND_HZ = (400.0, 2500.0)
BARE_SHARE = 0.12
"""Of the lessons: receivers that filter nothing, which `draw.py` never draws."""
OVERDRIVEN_SHARE, OVERDRIVEN_DB = 0.25, (18.0, 34.0)
"""Of the lessons: `draw.py` ends at 25 dB, and what learns that there is an end reads all near it too low."""
Row = dict[str, NDArray[Any]]
Record = dict[str, Any]


def livened(x: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """A talker who is not in the corpus: dynamics widened or narrowed, phases smeared, other sibilants."""
    if rng.random() < 0.65:
        width = int(VOICE_HZ * np.exp(rng.uniform(np.log(0.015), np.log(0.3))))
        power = np.maximum(scipy.ndimage.uniform_filter1d(x**2, width), 0.0)  # rounding leaves less than none
        envelope = np.sqrt(power) + 1e-4 * np.max(np.abs(x))
        x = x * (envelope / np.max(envelope)) ** rng.uniform(-0.35, 0.4)
    if rng.random() < 0.5:
        for _ in range(int(rng.integers(1, 5))):
            angle, radius = rng.uniform(0.05, 1.2), rng.uniform(0.6, 0.97)
            a = [1.0, -2 * radius * np.cos(angle), radius**2]
            x = scipy.signal.lfilter(a[::-1], a, x)
    if rng.random() < 0.6:  # hissing or dull: sibilants decide what the 99.9th percentile is
        spectrum = scipy.fft.rfft(x)
        hz = np.arange(len(spectrum)) * VOICE_HZ / len(x)
        edge = np.clip(
            np.log2(np.maximum(hz, 1.0) / rng.uniform(1500.0, 4500.0)) / rng.uniform(0.3, 1.5), 0, 1
        )
        x = scipy.fft.irfft(spectrum * 10 ** (rng.uniform(-8.0, 12.0) * edge / 20), len(x))
    return x


def transmission(over: Over, source: NDArray[np.float32]) -> tuple[Any, NDArray[np.float64]]:
    """The over as received at 8 kHz, and the limiter's input, threshold 1, at 48 kHz."""
    seen: list[NDArray[np.float64]] = []
    limit = transmitter.limit

    def watched(v: Any, rate_hz: int, tx: Transmitter) -> Any:
        seen.append(v)
        # At 48 kHz the limiter's harmonics would fold back, and a model would learn the drive from that.
        n = scipy.fft.next_fast_len(len(v), real=True)
        fine = scipy.fft.irfft(scipy.fft.rfft(v, n), FINER * n)[: FINER * len(v)] * FINER
        limited = limit(fine, FINER * rate_hz, tx)
        spectrum = scipy.fft.rfft(limited, FINER * n)[: n // 2 + 1]
        return scipy.fft.irfft(spectrum, n)[: len(v)] / FINER

    transmitter.limit = watched
    try:
        made = simulate(
            source, round(VOICE_HZ * over.mouth.pitch), Transmitter(**over.transmitter),
            Receiver(**over.receiver), replace(SoundCard(**over.soundcard), sample_rate_hz=RATE_HZ),
            Timing(**over.timing), seed=over.seed, baseband_rate_hz=BASEBAND_HZ,
        )  # fmt: skip
    finally:
        transmitter.limit = limit
    return made, seen[0]


def path_of(record: Record, rng: np.random.Generator) -> PathResponse:
    """The path behind the limiter as it might have been learnt: the truth with that method's errors."""
    hz = np.array(GRID_HZ)
    family, order, corner_hz = record["transmitter"]["splatter"]
    rx = Receiver(**record["receiver"])
    response = analogue_lowpass(family, order, corner_hz, hz) * audio_response(rx, hz)
    octave = np.log2(hz / 1000.0)
    wobble = [np.cos(k * octave + rng.uniform(0.0, 2 * np.pi)) for k in (1.0, 2.0, 4.0)]
    gain_db = 20 * np.log10(np.abs(response)) + PATH_ERROR_DB * rng.standard_normal(3) @ wobble
    phase = np.unwrap(np.angle(response))
    inside = (hz > DELAY_BAND_HZ[0]) & (hz < DELAY_BAND_HZ[1])
    slope, offset = np.polyfit(hz[inside], phase[inside], 1)
    phase = phase - slope * hz - np.pi * np.round(offset / np.pi)
    phase = phase + PATH_ERROR_RAD * rng.standard_normal(3) @ wobble
    nought = tuple(np.zeros(len(hz)))
    return PathResponse(
        hz=GRID_HZ, gain_db=tuple(gain_db - np.interp(1000.0, hz, gain_db)), phase_rad=tuple(phase),
        gain_error_db=nought, phase_error_rad=nought, drive_db=25.0, softness_db=0.0, even_db=None,
        tones_hz=(),
    )  # fmt: skip


def ceiling_fs(record: Record) -> float:
    """The limiter's threshold where `path_of` has the path undone, in full scale."""
    family, order, corner_hz = record["transmitter"]["splatter"]
    hz = np.array([1000.0])
    response = analogue_lowpass(family, order, corner_hz, hz) * audio_response(
        Receiver(**record["receiver"]), hz
    )
    ceiling_khz, scale = record["transmitter"]["ceiling_khz"], record["receiver"]["scale_khz_per_fs"]
    return float(ceiling_khz / scale * np.abs(response[0]))


@dataclass(frozen=True)
class Seen:
    """What the model is shown of one over, and what else of it the lessons keep."""

    views: DriveViews
    active: NDArray[np.bool_]
    after_s: float
    """Where the active frames start, from the carrier's start."""
    heard_fs: float
    """The heard 99.9th percentile."""
    has_hiss: bool
    told_fs: float | None
    """The 99.9th percentile with the path undone; None where none was learnt."""


def shown(
    audio: NDArray[np.floating], rate_hz: int, record: Record, rng: np.random.Generator | None,
    path: PathResponse | None = None,
) -> Seen | None:  # fmt: skip
    """What the model is shown of an over whose edges are known; None when too little of it is active.

    With `rng` the conditions vary: emphasis not quite known, noise not heard, hiss short.
    """
    truth = record["truth"]
    tau_us = record["receiver"]["deemphasis_us"]
    if rng is not None and rng.random() < 0.3 and tau_us > 0.0:
        tau_us = 750.0 if rng.random() < 0.5 else tau_us * rng.uniform(0.9, 1.1)

    def between(start_s: float, end_s: float) -> NDArray[np.float64]:
        part = np.asarray(audio[round(start_s * rate_hz) : round(end_s * rate_hz)], dtype=np.float64)
        return undo_deemphasis(part, rate_hz, tau_us, high_hz=AUDIO_HIGH_HZ) if len(part) > 64 else part

    is_open = record["receiver"]["squelch"] == "open"
    start_s = truth["start_s"] + (EDGE_S if is_open else 0.12)
    end_s = (truth["end_beep_start_s"] or truth["end_s"]) - 0.02
    x = between(start_s, end_s)
    if truth["subaudible_hz"] is not None:
        x = without_tone(x, rate_hz, truth["subaudible_hz"])
    x = x - np.mean(x)
    noise: NDArray[np.float64] | None = between(
        start_s, truth["start_s"] + record["timing"]["bare_carrier_s"] - 0.02
    )
    if noise is not None:
        noise = None if len(noise) < 0.06 * rate_hz else noise - np.mean(noise)
    part = find_activity(x, rate_hz, noise=noise)
    active = np.asarray(part.select(x))
    if len(active) < 1.2 * rate_hz:
        return None
    noise_db = None
    if noise is not None and (rng is None or rng.random() < 0.85):
        noise_db = float(20 * np.log10((np.std(noise) + 1e-7) / np.sqrt(np.mean(active**2))))
    hiss = None
    if is_open:
        hiss = between(0.02, truth["start_s"] - 0.03)
        if rng is None or rng.random() < 0.5:
            hiss = np.concatenate([hiss, between(truth["end_s"] + 0.03, truth["end_s"] + 0.38)])
    limited, told_fs = None, None
    if path is not None:
        raw = np.asarray(audio[round(start_s * rate_hz) : round(end_s * rate_hz)], dtype=np.float64)
        if truth["subaudible_hz"] is not None:
            raw = without_tone(raw, rate_hz, truth["subaudible_hz"])
        limited = undo_path(raw - np.mean(raw), rate_hz, path)
        told_fs = float(np.quantile(np.abs(part.select(limited)), 0.999))
    views = drive_views(x, rate_hz, part.active, noise_db=noise_db, hiss=hiss, limited=limited)
    heard_fs = float(np.quantile(np.abs(active), 0.999))
    return Seen(views, part.active, start_s - truth["start_s"], heard_fs, hiss is not None, told_fs)


def row_of(seen: Seen, record: Record) -> Row:
    """Inputs and targets of one over, frames' levels still missing."""
    truth = record["truth"]
    features = drive_features(seen.views)
    heard_khz = seen.heard_fs * truth["scale_khz_per_fs"]
    told_db = np.nan if seen.told_fs is None else 20 * np.log10((seen.told_fs + 1e-9) / ceiling_fs(record))
    targets = [
        truth["drive_db"], truth["clipped_fraction"], truth["p999_khz"] / heard_khz,
        truth["peak_khz"] / heard_khz, truth["cnr_db"], float(KINDS.index(record["kind"])),
        float(seen.has_hiss), float(record["held_out"]), float(record["mouth"]["talker"].startswith("nat_")),
        told_db,
    ]  # fmt: skip
    return {
        "frames": features.frames.astype(np.float16),
        "whole": features.whole,
        "frame_db": np.zeros(len(features.frames), dtype=np.float16),
        "targets": np.array(targets, dtype=np.float32),
    }


def bared(over: Over, rng: np.random.Generator) -> Over:
    """The over as a discriminator gives it that nothing follows."""
    receiver = over.receiver | {
        "deemphasis_us": 0.0, "highpass_hz": float(rng.uniform(1.0, 20.0)), "highpass_order": 1,
        "lowpass_hz": float(rng.uniform(6000.0, 15000.0)), "lowpass_order": int(rng.integers(1, 4)),
    }  # fmt: skip
    return replace(over, receiver=receiver)


def overdriven(over: Over, rng: np.random.Generator) -> Over:
    """The over with the gain far up: the ceiling rules the deviation before and after."""
    return replace(over, transmitter=over.transmitter | {"drive_db": float(rng.uniform(*OVERDRIVEN_DB))})


def lessons_of(over: Over, recording: NDArray[np.float64]) -> list[Row]:
    """One over rendered for training, seen without and with the path learnt; empty for too little speech."""
    rng = np.random.default_rng(over.seed + 1)
    mouth = replace(over.mouth, pitch=over.mouth.pitch * float(rng.uniform(0.88, 1.12)))
    over = replace(over, mouth=mouth)
    if rng.random() < BARE_SHARE:
        over = bared(over, rng)
    # What is drawn above the threshold has its level at the sound card set for a ceiling that is reached.
    is_limited = over.kind in ("plain", "levelling") and over.transmitter["drive_db"] > 0.0
    if is_limited and rng.random() < OVERDRIVEN_SHARE:
        over = overdriven(over, rng)
    source = at_the_microphone(recording, mouth).astype(np.float64)
    if over.kind != "compressed_source":
        source = livened(source, rng)
    made, v = transmission(over, (0.5 * source / np.max(np.abs(source))).astype(np.float32))
    record = asdict(over) | {"truth": asdict(made.truth[0])}
    rows = []
    for path in (None, path_of(record, rng)) if over.kind in PATH_KINDS else (None,):
        seen = shown(made.audio, RATE_HZ, record, rng, path)
        if seen is None:
            return []
        row = row_of(seen, record)
        row["frame_db"] = frame_levels(v, seen.active, seen.after_s)
        rows.append(row)
    return rows


def frame_levels(v: NDArray[np.float64], active: NDArray[np.bool_], after_s: float) -> NDArray[np.float16]:
    """How far above the threshold the limiter's input was in each active frame, in dB."""
    size_n = BASEBAND_HZ // 50
    size = np.abs(v[round(after_s * BASEBAND_HZ) :])
    size = np.pad(size, (0, max(0, len(active) * size_n - len(size))))[: len(active) * size_n]
    per_frame = np.sort(size.reshape(-1, size_n), axis=1)[active]
    return np.asarray(20 * np.log10(per_frame[:, int(0.95 * size_n)] + 1e-3)).astype(np.float16)


def write(path: Path, rows: list[Row], talkers: list[str]) -> None:
    """One shard; complete or not there at all."""
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.savez(
            file,
            frames=np.concatenate([r["frames"] for r in rows]),
            frame_db=np.concatenate([r["frame_db"] for r in rows]),
            counts=np.array([len(r["frames"]) for r in rows]),
            whole=np.array([r["whole"] for r in rows]),
            targets=np.array([r["targets"] for r in rows]),
            talkers=np.array(talkers),
        )
    part.rename(path)


def exam(folder: Path, split: str, out: Path) -> None:
    """What the model is shown of a set that `make_set.py` rendered, in one shard."""
    rows, talkers = [], []
    for record, audio in read_set(folder, split):
        seen = shown(audio, record["sample_rate_hz"], record, None)
        if seen is not None:
            rows.append(row_of(seen, record))
            talkers.append(record["mouth"]["talker"])
    write(out, rows, talkers)


_recordings: dict[str, NDArray[np.float64]] = {}


def shard(job: tuple[str, str, str, int, int]) -> str:
    """Render one shard; a line that says what it holds."""
    corpus, out, splits, seed, number = job
    path = Path(out) / f"lesson-{number:04d}.npz"
    if path.exists():
        return f"{path.name}: there"
    talkers, files = talkers_of(Path(corpus), *splits.split(",")), recordings(Path(corpus))
    rng = np.random.default_rng([seed, number])
    rows: list[Row] = []
    names: list[str] = []
    while len(rows) < SHARD_N:
        over = draw_over(f"lesson-{number}-{len(rows)}", "train", talkers, rng)
        if over.held_out:
            continue
        talker = over.mouth.talker
        if talker not in _recordings:
            _recordings[talker] = sf.read(files[talker], dtype="float64")[0]
        made = lessons_of(over, _recordings[talker])
        rows += made
        names += [talker] * len(made)
    write(path, rows, names)
    return path.name


def main() -> None:
    """Render all shards."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path, help="folder that `voices.py` filled")
    parser.add_argument("out", type=Path)
    parser.add_argument("--splits", default="train")
    parser.add_argument("--overs", type=int, default=12000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--exam", type=Path, help="folder that `make_set.py` filled")
    parser.add_argument("--exam-split", default="test")
    options = parser.parse_args()
    if options.exam is not None:
        exam(options.exam, options.exam_split, options.out)
        return
    options.out.mkdir(parents=True, exist_ok=True)
    jobs = [
        (str(options.corpus), str(options.out), options.splits, options.seed, k)
        for k in range(-(-options.overs // SHARD_N))
    ]
    with ProcessPoolExecutor(options.workers) as pool:
        for said in pool.map(shard, jobs):
            print(said, flush=True)


if __name__ == "__main__":
    main()
