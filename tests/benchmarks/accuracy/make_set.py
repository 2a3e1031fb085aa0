"""Renders drawn overs through the simulated radio into shards that keep the audio, so features can be redone.

``python -m tests.benchmarks.accuracy.make_set CORPUS OUT --split train --overs 3000 --seed 1`` (from the top
of the repository) writes ``OUT/<split>-NNNN.npz`` of `SHARD_N` overs each and, beside each, the same name
with ``.json``: one record per over with the draw, the truth and the place of its samples. In the npz,
``audio`` is int16, shape (n,), all overs end to end (full scale 32768); an over is
``audio[first_n : first_n + count_n]``.
A shard that exists already is left alone, so a broken run goes on where it stopped.
"""

import argparse
import json
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from audiotest.radio.link import Simulation, simulate
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from tests.benchmarks.accuracy.draw import Over, draw_over
from tests.benchmarks.accuracy.mouth import RATE_HZ, at_the_microphone
from tests.benchmarks.accuracy.sets import recordings, talkers_of

SHARD_N = 50
BASEBAND_HZ = {"train": 96000, "tune": 192000, "test": 192000}
"""Judging gets the full rate; for training half of it is enough (and a clipper's images stay 30 dB down)."""


def render(over: Over, recording: NDArray[np.float64], baseband_rate_hz: int) -> Simulation:
    """One over through the simulated radio."""
    source = at_the_microphone(recording, over.mouth)
    return simulate(
        source,
        round(RATE_HZ * over.mouth.pitch),
        Transmitter(**over.transmitter),
        Receiver(**over.receiver),
        SoundCard(**over.soundcard),
        Timing(**over.timing),
        seed=over.seed,
        baseband_rate_hz=baseband_rate_hz,
    )


def overloaded(audio: NDArray[np.int16], sample_rate_hz: int, truth: dict[str, Any]) -> int:
    """Samples at full scale while the talker speaks: what the sound card clipped (or noise clicks)."""
    start, end = int(truth["speech_start_s"] * sample_rate_hz), int(truth["speech_end_s"] * sample_rate_hz)
    speech = audio[start:end].astype(np.int32)
    return int(np.sum((speech >= 32500) | (speech <= -32512)))


def rendered(
    overs: list[Over], talkers: dict[str, Path]
) -> Iterator[tuple[NDArray[np.int16], dict[str, Any]]]:
    """Samples and record of each over; one that cannot be rendered is said and left out."""
    recordings: dict[str, NDArray[np.float64]] = {}
    for over in overs:
        talker = over.mouth.talker
        if talker not in recordings:
            recordings[talker] = sf.read(talkers[talker], dtype="float64")[0]
        simulation = render(over, recordings[talker], BASEBAND_HZ[over.id.split("-")[0]])
        truth = asdict(simulation.truth[0])
        audio = np.clip(np.round(simulation.audio * 32768.0), -32768, 32767).astype(np.int16)
        record = asdict(over) | {"truth": truth, "sample_rate_hz": simulation.sample_rate_hz}
        record["full_scale_n"] = overloaded(audio, simulation.sample_rate_hz, truth)
        yield audio, record


def write_shard(path: Path, overs: list[Over], talkers: dict[str, Path]) -> float:
    """Render a shard, return the seconds of audio in it."""
    parts, records, first_n, audio_s = [], [], 0, 0.0
    for audio, record in rendered(overs, talkers):
        records.append(record | {"shard": path.name, "first_n": first_n, "count_n": len(audio)})
        parts.append(audio)
        first_n += len(audio)
        audio_s += len(audio) / record["sample_rate_hz"]
    path.with_suffix(".json").write_text(json.dumps(records))
    half_done = path.with_suffix(".part")
    with half_done.open("wb") as file:
        np.savez(file, audio=np.concatenate(parts))
    half_done.rename(path)
    return audio_s


def main() -> None:
    """Render a split of a set."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path, help="folder that `voices.py` filled")
    parser.add_argument("out", type=Path)
    parser.add_argument("--split", choices=("train", "tune", "test"), required=True)
    parser.add_argument("--overs", type=int, default=600)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    talkers, files = talkers_of(options.corpus, options.split), recordings(options.corpus)
    for shard in range(-(-options.overs // SHARD_N)):
        path = options.out / f"{options.split}-{shard:04d}.npz"
        if path.exists():
            continue
        rng = np.random.default_rng([options.seed, ("train", "tune", "test").index(options.split), shard])
        names = [f"{options.split}-{shard * SHARD_N + i:05d}" for i in range(SHARD_N)]
        began = time.perf_counter()
        audio_s = write_shard(path, [draw_over(n, options.split, talkers, rng) for n in names], files)
        took_s = time.perf_counter() - began
        print(f"{path.name}: {SHARD_N} overs, {audio_s:.0f} s of audio in {took_s:.0f} s", flush=True)


if __name__ == "__main__":
    main()
