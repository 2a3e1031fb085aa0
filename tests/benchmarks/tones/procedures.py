"""How far off the procedures are: ``python -m tests.benchmarks.tones.procedures COUNT [NAME]``.

Each is rehearsed from end to end on sets and receivers drawn at random, and held against the simulated
radio's truth. `TOLERANCES` is what is promised; the tests hold a few draws of each to it, this more of them.
"""

import math
import sys
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from audiotest.measure.iq import measure_am
from audiotest.measure.signalling import hear_subaudible
from audiotest.measure.sinad import sinad_readings
from audiotest.radio.bench import ReceiverUnderTest, receive_tone, true_levels
from audiotest.radio.iq import IqReceiver, am_tone_iq
from audiotest.radio.micsocket import SetUnderTest, response_db, socket_truth
from audiotest.radio.settings import LimiterKind, Receiver, SoundCard
from audiotest.tones.guided import carry_out
from audiotest.tones.level import OutputScale
from audiotest.tones.limiting import modulation_limiting
from audiotest.tones.monitor import Monitor
from audiotest.tones.rehearsal import MONITOR_FEED, MONITOR_RECEIVER, Rehearsal
from audiotest.tones.sensitivity import sensitivity
from audiotest.tones.steps import Report
from audiotest.tones.txaudio import RESPONSE_TONES_HZ, audio_response
from tests.benchmarks.knownsource.draws import draw_transmitter
from tests.benchmarks.tones.subaudible import RECEIVERS, over

LIMIT_KHZ = 2.5
OUTPUT = OutputScale(name="simulated", full_scale_mv=3000.0, ceiling_mv=4000.0)
QUIET_DB = (40.0, 60.0)
"""A set's own noise below its onset. A level control acts on both together; the fit undoes that."""
TOLERANCES = {
    "onset dB": 0.3, "response dB": 0.3, "SINAD dB": 0.2, "sensitivity dB": 0.3, "sub-audible Hz": 0.3,
    "AM depth %": 1.0,
}  # fmt: skip


def _rng(name: str, seed: int) -> np.random.Generator:
    return np.random.default_rng([20261130, sum(name.encode()), seed])


def _bench(rng: np.random.Generator, seed: int, limiters: tuple[LimiterKind, ...]) -> Rehearsal:
    """A random set with one of these limiters, a workshop's monitor, a sound card."""
    sender = draw_transmitter(rng, 0.0, float(rng.uniform(1.8, 3.2)))
    limiter = limiters[int(rng.integers(len(limiters)))]
    lopsided = float(rng.uniform(0.02, 0.15)) if limiter == "lopsided" else 0.0
    onset_mv = float(np.exp(rng.uniform(np.log(1.0), np.log(20.0))))
    unit = SetUnderTest(
        transmitter=replace(
            sender, limiter=limiter, asymmetry=lopsided, preemphasis_us=float(rng.uniform(300.0, 800.0))
        ),
        onset_mv=onset_mv, noise_mv=onset_mv * 10.0 ** (-float(rng.uniform(*QUIET_DB)) / 20.0),
        offset_hz=float(rng.normal(0.0, 200.0)),
    )  # fmt: skip
    return Rehearsal(
        unit=unit, monitor_receiver=replace(MONITOR_RECEIVER, cnr_db=float(rng.uniform(30.0, 45.0))),
        card=SoundCard(noise_dbfs=float(rng.uniform(-90.0, -75.0))), output=OUTPUT, seed=1000 * seed,
    )  # fmt: skip


def _values(report: Report) -> dict[str, float | None]:
    return {figure.key: figure.value for figure in report.figures}


def _db(ratio: float) -> float:
    return 20.0 * math.log10(ratio)


def onset(seed: int) -> float:
    """Of modulation limiting, clippers and level controls; re the level at which the truth's line bends."""
    bench = _bench(_rng("onset", seed), seed, ("hard", "soft", "levelling"))
    found = _values(carry_out(modulation_limiting(Monitor(feed=MONITOR_FEED), LIMIT_KHZ, ""), bench))
    return _db((found["onset_mv"] or math.nan) / socket_truth(bench.unit).onset_mv)


def response(seed: int) -> float:
    """The worst of twelve tones re 1 kHz."""
    bench = _bench(_rng("response", seed), seed, ("hard", "soft", "lopsided", "diode", "levelling"))
    found = _values(carry_out(audio_response(Monitor(feed=MONITOR_FEED), LIMIT_KHZ), bench))
    off = [(found[f"response_{hz:g}_hz_db"] or 0.0) - response_db(bench.unit, hz) for hz in RESPONSE_TONES_HZ]
    return max(off, key=abs)


def _receiver(rng: np.random.Generator) -> ReceiverUnderTest:
    return ReceiverUnderTest(
        receiver=Receiver(
            if_bandwidth_khz=float(rng.uniform(7.0, 12.0)), if_order=int(rng.integers(3, 6)),
            deemphasis_us=float(rng.choice([530.0, 750.0])), highpass_hz=float(rng.uniform(150.0, 350.0)),
            highpass_order=int(rng.integers(1, 4)), lowpass_hz=float(rng.uniform(2700.0, 4000.0)),
            mistune_khz=float(rng.normal(0.0, 0.1)), scale_khz_per_fs=15.0,
        ),
        noise_figure_db=float(rng.uniform(4.0, 14.0)),
    )  # fmt: skip


def sinad(seed: int) -> float:
    """Mean of forty seconds at the level that is truly 12 or 20 dB: a second alone scatters by more."""
    unit = _receiver(_rng("sinad", seed))
    levels = true_levels(unit)
    mark_db, level_dbm = [(12.0, levels.sinad_12_dbm), (20.0, levels.sinad_20_dbm)][seed % 2]
    heard = receive_tone(level_dbm or math.nan, 1000.0, 1.5, 40.5, unit, seed=seed)
    rows = sinad_readings(heard.audio[24000:], heard.sample_rate_hz, window_s=2.0, every_s=2.0)
    return float(np.mean([row.sinad_db for row in rows if row.sinad_db is not None])) - mark_db


def sensitivities(seed: int) -> float:
    """The worst of 12 and 20 dB SINAD and 20 dB quieting."""
    unit = _receiver(_rng("sensitivity", seed))
    bench = Rehearsal(receiver=unit, card=SoundCard(), seed=1000 * seed)
    start_dbm = float(_rng("start", seed).uniform(-100.0, -90.0))
    found = _values(carry_out(sensitivity(LIMIT_KHZ, start_dbm=start_dbm), bench))
    true = true_levels(unit)
    off = [
        (found[f"{key}_dbm"] or math.nan) - (level or math.nan)
        for key, level in (
            ("sinad_12", true.sinad_12_dbm), ("sinad_20", true.sinad_20_dbm),
            ("quieting_20", true.quieting_20_dbm),
        )
    ]  # fmt: skip
    return max(off, key=abs)


def subaudible(seed: int) -> float:
    """Of a tone under two seconds of speech, through one of the receivers in turn."""
    true_hz, heard, _, rate_hz = over(list(RECEIVERS)[seed % len(RECEIVERS)], 500 + seed)
    found = hear_subaudible(heard, rate_hz)
    return math.nan if found is None else found.frequency_hz - true_hz


def am_depth(seed: int) -> float:
    """The worst of up, down and both, in percentage points."""
    rng = _rng("am", seed)
    up = float(rng.uniform(0.1, 1.0))
    # One cosine and its second harmonic make no tone that is more lopsided than 5 to 3.
    down = up * float(rng.uniform(0.62, 1.0)) if seed % 2 else up
    chain = IqReceiver(
        sample_rate_hz=48000, offset_hz=float(rng.uniform(-800.0, 800.0)),
        cnr_db=float(rng.uniform(25.0, 50.0)),
    )  # fmt: skip
    made = am_tone_iq(float(rng.uniform(300.0, 2000.0)), up, 1.0, chain, seed=seed, negative_depth=down)
    found = measure_am(made.iq, made.sample_rate_hz)
    off = [
        found.positive_percent - 100.0 * up, found.negative_percent - 100.0 * down,
        found.depth_percent - 100.0 * (up + down) / (2.0 + up - down),
    ]  # fmt: skip
    return max(off, key=abs)


ERRORS: dict[str, Callable[[int], float]] = {
    "onset dB": onset, "response dB": response, "SINAD dB": sinad, "sensitivity dB": sensitivities,
    "sub-audible Hz": subaudible, "AM depth %": am_depth,
}  # fmt: skip


def main(count: int, only: str) -> None:
    """Print RMS, the worst and the promise of each."""
    for name, error in ERRORS.items():
        if not name.startswith(only):
            continue
        off = np.array([error(seed) for seed in range(100, 100 + count)])
        inside = float(np.mean(np.abs(off) <= TOLERANCES[name]))
        print(
            f"{name}: {count} sets, RMS {np.sqrt(np.nanmean(off**2)):.3f}, worst "
            f"{np.nanmax(np.abs(off)):.3f}, {np.sum(np.isnan(off))} not read; {inside:.0%} within "
            f"{TOLERANCES[name]:g}",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else "")
