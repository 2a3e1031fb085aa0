"""Plays the judge from outside: the tool on the other radio (`otherradio.py`) and voices it never met.

``python -m tests.benchmarks.accuracy.outside CORPUS OUT --overs 200`` (from the top of the repository) draws
plain overs of the test split's talkers, drives of −15 to +30 dB, carriers from clean down to 12 dB over the
noise, and writes ``OUT/outside.json``: the figures, with the feed's scale known and without a feed. Beside it
``outside-overs.json`` keeps every over's draw, truth and what the tool said.
"""

import argparse
import json
import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import scipy.signal
import soundfile as sf
from numpy.typing import NDArray

from tests.benchmarks.accuracy import score
from tests.benchmarks.accuracy.listening import measured
from tests.benchmarks.accuracy.otherradio import Moments, Monitor, Sender, hear, send
from tests.benchmarks.accuracy.sets import recordings, talkers_of

SEED = 2027
LIMITS_KHZ = (2.0, 2.5, 4.0, 5.0)
BANDWIDTHS_KHZ = (8.0, 9.0, 11.0, 12.5, 15.0, 20.0)
ROOM = 1.9
"""Half the channel filter over the ceiling: overshoot and a leaky integrator lift peaks by 3 dB and more."""
KINDS = ("bare", "tapped", "speaker", "line", "digital")
DISTURBANCES = ("overload", "if_narrow", "levelling", "not_voice", "not_speech", "codec")
"""What no over here has. A narrow link is named, as its documentation says, behind a steep digital filter."""
DRIVES_DB = {
    "drive under 3 dB": (-math.inf, score.BETWEEN_DB[0]),
    "drive 3 to 24 dB": score.BETWEEN_DB,
    "drive of 24 dB and more": (score.BETWEEN_DB[1], math.inf),
}
Rng = np.random.Generator


def log_uniform(low: float, high: float, rng: Rng) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def draw_sender(ceiling_khz: float, rng: Rng) -> Sender:
    """A transmitter at random."""
    splatter = str(rng.choice(["opamp", "rc", "switched"], p=[0.55, 0.2, 0.25]))
    order = {"opamp": (2, 7), "rc": (1, 4), "switched": (5, 8)}[splatter]
    limiter = str(rng.choice(["rails", "slow rails", "lopsided rails", "diodes"], p=[0.3, 0.25, 0.15, 0.3]))
    bend = {"diodes": (0.06, 0.2), "slow rails": (0.1, 0.5), "lopsided rails": (0.03, 0.12)}
    return Sender(
        drive_db=float(rng.uniform(-15.0, 30.0)),
        ceiling_khz=ceiling_khz,
        preemphasis_us=0.0 if rng.random() < 0.08 else log_uniform(150.0, 900.0, rng),
        upper_corner_hz=log_uniform(4000.0, 12000.0, rng),
        couplings_hz=tuple(log_uniform(30.0, 350.0, rng) for _ in range(int(rng.integers(1, 4)))),
        mic_headroom=float(rng.uniform(2.0, 6.0)),
        limiter=limiter,
        bend=float(rng.uniform(*bend.get(limiter, (0.1, 0.1)))),
        splatter=splatter,
        order=int(rng.integers(*order)),
        corner_hz=float(rng.uniform(2600.0, 3400.0)),
        tolerance=float(rng.choice([0.01, 0.05, 0.1])),
        integrator_hz=log_uniform(40.0, 250.0, rng) if rng.random() < 0.4 else 0.0,
        whine_hz=float(rng.uniform(350.0, 1400.0)),
        whine_share=10 ** (rng.uniform(-45.0, -30.0) / 20) if rng.random() < 0.2 else 0.0,
        pull_khz=float(rng.normal(0.0, 1.0)) if rng.random() < 0.3 else 0.0,
        ambient_db=float(rng.uniform(-50.0, -20.0)),
        seed=int(rng.integers(2**31)),
    )


def draw_monitor(kind: str, bandwidth_khz: float, mistune_khz: float, rng: Rng) -> Monitor:
    """A receiver of a kind at random; one tapped at its discriminator has no squelch."""
    tapped = kind in ("bare", "tapped")
    low = {"tapped": (5.0, 60.0), "speaker": (150.0, 320.0), "line": (30.0, 200.0), "digital": (200.0, 320.0)}
    high = {"tapped": (7e3, 12e3), "speaker": (2800.0, 3600.0), "line": (3400.0, 6e3)}
    return Monitor(
        kind=kind,
        bandwidth_khz=bandwidth_khz,
        mistune_khz=mistune_khz,
        cnr_db=60.0 if rng.random() < 0.15 else float(rng.uniform(12.0, 45.0)),
        curve_khz=float(rng.uniform(20.0, 40.0)) if kind != "digital" and rng.random() < 0.5 else 0.0,
        deemphasis_us=0.0 if tapped else float(rng.choice([530.0, 750.0])),
        low_hz=float(rng.uniform(*low.get(kind, (1.0, 1.0)))),
        low_order=int(rng.integers(1, 4)) if kind in ("speaker", "line") else 1,
        high_hz=float(rng.uniform(*high.get(kind, (2900.0, 3400.0)))),
        high_order=int(rng.integers(1, 5)) if kind == "speaker" else 1,
        squelched=not tapped and bool(rng.random() < 0.6),
        opens_s=float(rng.uniform(0.01, 0.08)),
        tail_s=float(rng.uniform(0.0, 0.3)),
        rate_hz=int(rng.choice([48000, 44100], p=[0.7, 0.3])),
        coupling_hz=log_uniform(1.0, 20.0, rng),
        level_dbfs=float(rng.uniform(-28.0, -8.0)),
        drift_db=float(rng.normal(0.0, 0.2)),
        noise_dbfs=float(rng.uniform(-92.0, -70.0)),
        seed=int(rng.integers(2**31)),
    )


def draw_case(number: int, talkers: list[str]) -> dict[str, Any]:
    """Everything about one over, drawn from its number alone."""
    rng = np.random.default_rng([SEED, number])
    limit_khz = float(rng.choice(LIMITS_KHZ))
    ceiling_khz = limit_khz * float(rng.uniform(0.4, 1.5))
    mistune_khz = float(rng.normal(0.0, 0.25))
    # Overshoot and sidebands want room: this is no check of narrow IF filters.
    fitting = [b for b in BANDWIDTHS_KHZ if b / 2 - abs(mistune_khz) > ROOM * ceiling_khz]
    bandwidth_khz = float(rng.choice(fitting)) if fitting else BANDWIDTHS_KHZ[-1]
    ceiling_khz = min(ceiling_khz, (bandwidth_khz / 2 - abs(mistune_khz)) / ROOM)
    return {
        "id": f"outside-{number:04d}",
        "kind": "plain",
        "limit_khz": limit_khz,
        "talker": str(rng.choice(talkers)),
        "seconds": log_uniform(4.0, 16.0, rng),
        "starts": rng.random(8).tolist(),
        "speed": float(rng.uniform(0.88, 1.15)),
        "presence_db": float(rng.uniform(0.0, 8.0)),
        "presence_hz": float(rng.uniform(2200.0, 4200.0)),
        "rolloff_hz": log_uniform(3500.0, 8000.0, rng),
        "sway_db": float(rng.uniform(0.0, 2.5)),
        "sender": draw_sender(ceiling_khz, rng),
        "monitor": draw_monitor(KINDS[number % len(KINDS)], bandwidth_khz, mistune_khz, rng),
        "moments": Moments(
            before_s=float(rng.uniform(0.4, 1.2)), lead_s=float(rng.uniform(0.15, 0.8)),
            after_s=float(rng.uniform(0.05, 0.3)), end_s=float(rng.uniform(0.4, 0.8)),
        ),
    }  # fmt: skip


def talks(stretch: NDArray[np.float64], recording: NDArray[np.float64], rate_hz: int) -> bool:
    """Whether half of a stretch's 20 ms frames are within 30 dB of the recording's loud ones."""
    n = rate_hz // 50
    loud, part = (np.std(x[: len(x) // n * n].reshape(-1, n), axis=1) for x in (recording, stretch))
    return bool(np.mean(part > np.quantile(loud, 0.98) * 10 ** (-30 / 20)) > 0.5)


def at_the_mouthpiece(recording: NDArray[np.float64], rate_hz: int, case: dict[str, Any]) -> tuple[Any, int]:
    """The drawn stretch through a moving mouth and a microphone with a peak; samples and their rate."""
    played_hz = round(rate_hz * case["speed"])
    count = min(round(case["seconds"] * played_hz), len(recording))
    room = len(recording) - count
    # Whoever is asked for a test over does talk: of the drawn stretches the first with speech in it.
    stretches = [recording[round(share * room) :][:count] for share in case["starts"]]
    x = next((s for s in stretches if talks(s, recording, rate_hz)), max(stretches, key=np.std))
    t = np.arange(count) / played_hz
    x = x * 10 ** (case["sway_db"] * np.sin(2 * np.pi * 0.15 * t + 1.0) / 20)
    peak = scipy.signal.iirpeak(min(case["presence_hz"], 0.4 * played_hz), 1.5, fs=played_hz)
    x = x + (10 ** (case["presence_db"] / 20) - 1.0) * scipy.signal.lfilter(*peak, x)
    fall = scipy.signal.butter(1, min(case["rolloff_hz"], 0.45 * played_hz), fs=played_hz)
    return scipy.signal.lfilter(*fall, x), played_hz


def render(
    case: dict[str, Any], recording: NDArray[np.float64], rate_hz: int
) -> tuple[NDArray[np.float32], dict[str, Any]]:
    """Samples of one case and its record, in the form that `listening.py` and `score.py` take."""
    voice, voice_hz = at_the_mouthpiece(recording, rate_hz, case)
    sent = send(voice, voice_hz, case["sender"], case["moments"])
    monitor = case["monitor"]
    samples, truth = hear(sent, monitor, case["moments"], case["limit_khz"])
    drawn = {name: case[name] for name in ("id", "kind", "limit_khz", "talker", "seconds", "speed")}
    receiver = asdict(monitor) | {"if_bandwidth_khz": monitor.bandwidth_khz}
    return samples, drawn | {
        "sender": asdict(case["sender"]), "receiver": receiver, "truth": truth,
        "sample_rate_hz": monitor.rate_hz,
    }  # fmt: skip


def judged(number: int, corpus: Path) -> dict[str, Any]:
    """One over with what the tool said of it, by a feed whose scale is known and without a feed."""
    talkers = [talker["id"] for talker in talkers_of(corpus, "test")]
    case = draw_case(number, talkers)
    samples, record = render(case, *sf.read(recordings(corpus)[case["talker"]], dtype="float64"))
    return record | {"scaled": measured(record, samples), "feedless": measured(record, samples, scaled=False)}


Said = dict[str, score.Prediction]


def rows(records: list[dict[str, Any]]) -> list[tuple[str, list[dict[str, Any]]]]:
    """The overs by what may matter."""
    names = [("all", records)]
    for label, (low_db, high_db) in DRIVES_DB.items():
        names.append((label, [r for r in records if low_db <= r["truth"]["drive_db"] < high_db]))
    names += [(f"receiver: {k}", [r for r in records if r["receiver"]["kind"] == k]) for k in KINDS]
    for part, key in (("limiter", "limiter"), ("splatter filter", "splatter")):
        for value in sorted({r["sender"][key] for r in records}):
            names.append((f"{part}: {value}", [r for r in records if r["sender"][key] == value]))
    leaky = [r for r in records if r["sender"]["integrator_hz"] > 0.0]
    return [*names, ("phase modulator", leaky)]


def advice_of(
    records: list[dict[str, Any]], said: Said, controls: tuple[str, ...]
) -> dict[str, dict[str, int]]:
    """Outcomes over all clear cases, by control."""
    found = {}
    for control in controls:
        wants = ("raise", "keep", "lower", "keep or lower" if control == "mic_gain" else "unknown")
        parts = [score.advice_row(records, said, control, wanted) for wanted in wants]
        found[control] = {key: sum(part[key] for part in parts) for key in parts[0]}
    return found


def outran(record: dict[str, Any]) -> bool:
    """Whether the peaks did swing past the receiver's filter, overshoot being more than was allowed for."""
    receiver = record["receiver"]
    return record["truth"]["peak_khz"] + abs(receiver["mistune_khz"]) > receiver["bandwidth_khz"] / 2


def summary(records: list[dict[str, Any]]) -> dict[str, Any]:
    """All figures that the page shows."""
    scaled: Said = {r["id"]: r["scaled"] for r in records}
    feedless: Said = {r["id"]: r["feedless"] for r in records}
    return {
        "n": len(records),
        "talkers": len({r["talker"] for r in records}),
        "drive": {name: score.drive_row(part, scaled) for name, part in rows(records)},
        "deviation": {
            name: {key: score.deviation_row(part, scaled, key) for key in ("p999_khz", "peak_khz")}
            for name, part in rows(records)
        },
        "scaled": advice_of(records, scaled, ("mic_gain", "deviation")),
        # Without a scale nobody says anything of the deviation.
        "feedless": advice_of(records, feedless, ("mic_gain",)),
        "named": {
            name: sum(name in r["scaled"].get("conditions", ()) and not outran(r) for r in records)
            for name in DISTURBANCES
        },
        "not_one_over": sum(r["scaled"]["overs"] != 1 for r in records),
        "missed": sum("kind" not in r["scaled"] for r in records),
    }


def main() -> None:
    """Judge, keep, sum up."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--overs", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--again", action="store_true", help="only sum up the overs that OUT holds")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    kept = options.out / "outside-overs.json"
    numbers = range(options.first, options.first + options.overs)
    if not options.again:
        with ProcessPoolExecutor(options.workers) as pool:
            kept.write_text(json.dumps(list(pool.map(partial(judged, corpus=options.corpus), numbers))))
    records = json.loads(kept.read_text())
    found = summary(records)
    (options.out / "outside.json").write_text(json.dumps(found))
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
