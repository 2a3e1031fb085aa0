"""Signalling told over noise, and false alarms: ``python -m tests.benchmarks.tones.signalling``.

Keys, five-tone calls, the 1750 Hz burst, the end beep and the digital code over a simulated 12.5 kHz link at
falling carrier to noise ratios; then all the voices and an open squelch, in which nothing of the kind is.
"""

from collections.abc import Callable, Iterator

import numpy as np
import soxr
from scipy.signal import butter, sosfilt

from audiotest.measure.beep import find_end_beep
from audiotest.measure.digitalcode import BIT_RATE_HZ, code_word, find_digital_code
from audiotest.measure.dtmf import find_dtmf
from audiotest.measure.sequences import find_burst, find_calls
from audiotest.measure.toneruns import find_tone_runs
from audiotest.radio.link import BASEBAND_RATE_HZ, laboratory_hiss
from audiotest.radio.receiver import discriminate, receive
from audiotest.radio.settings import Receiver, SoundCard
from audiotest.radio.voices import load_voice
from audiotest.standards.tones import DTMF_KEYS, FIVE_TONE_SETS
from audiotest.tones.signals import burst, dtmf, five_tone

CNRS_DB = (4.0, 6.0, 8.0, 10.0, 12.0, 16.0, 25.0)
RUNS = 5
RATE = 48000
DEVIATION_KHZ = 1.5
CODE_KHZ = 0.3
VOICES = (
    "arabic_male", "english_address", "english_reading", "german_male", "italian_male", "russian_female",
)  # fmt: skip
CODES = ("023", "114", "245", "365", "627")
OVER_S = 3.0


def heard(deviation_khz: np.ndarray, cnr_db: float, seed: int, *, flat: bool = False) -> np.ndarray:
    """A deviation in kHz at 48 kHz, over the air and through a receiver; ``flat`` is its discriminator."""
    quiet = np.zeros(RATE // 5)
    at_rate = soxr.resample(np.concatenate([quiet, deviation_khz, quiet]), RATE, BASEBAND_RATE_HZ)
    chain = Receiver(cnr_db=cnr_db, deemphasis_us=0.0, highpass_hz=300.0, lowpass_hz=3000.0)
    if flat:
        chain = Receiver(cnr_db=cnr_db, deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None)
    rng = np.random.default_rng([20261129, seed])
    there = np.ones(len(at_rate))
    found = discriminate(at_rate, there, chain, BASEBAND_RATE_HZ, rng)
    return np.asarray(receive(found, there, chain, SoundCard(), BASEBAND_RATE_HZ, rng))


def voice_at(name: str, seconds: float, start_s: float = 0.0) -> np.ndarray:
    """A voice at 48 kHz above 300 Hz whose peaks are 1."""
    samples, rate_hz = load_voice(name)
    part = samples[round(start_s * rate_hz) :][: round(seconds * rate_hz)].astype(float)
    x = np.asarray(soxr.resample(part, rate_hz, RATE))
    x = sosfilt(butter(4, 300.0, "highpass", fs=RATE, output="sos"), x)
    return np.asarray(x / np.quantile(np.abs(x), 0.999))


def keys(cnr_db: float, seed: int) -> Iterator[str]:
    """Sixteen keys of 80 ms."""
    sent = "".join(np.random.default_rng(seed).permutation(list("".join(DTMF_KEYS))))
    signal = dtmf(sent)
    found = "".join(
        key.key for key in find_dtmf(heard(signal.samples / signal.crest * 1.5, cnr_db, seed), RATE)
    )
    missed = len(sent) - sum(key in found for key in sent)
    yield from ["right"] * (len(sent) - missed) + ["missed"] * missed
    yield from ["wrong"] * max(len(found) - len(sent) + missed, 0)


def calls(cnr_db: float, seed: int) -> Iterator[str]:
    """A call of each set."""
    for k, tones in enumerate(FIVE_TONE_SETS):
        digits = "".join(str(d) for d in np.random.default_rng([seed, k]).integers(0, 10, 5))
        signal = five_tone(tones.name, digits)
        x = heard(DEVIATION_KHZ / signal.crest * signal.samples, cnr_db, 10 * seed + k)
        found = find_calls(find_tone_runs(x, RATE))
        right = [(call.set_name, call.digits) for call in found] == [(tones.name, digits)]
        yield "right" if right else "wrong" if found else "missed"


def bursts(cnr_db: float, seed: int) -> Iterator[str]:
    """The burst, then speech."""
    signal = burst()
    sent = [DEVIATION_KHZ / signal.crest * signal.samples, 2.0 * voice_at(VOICES[seed % 6], 2.0)]
    found = find_burst(find_tone_runs(heard(np.concatenate(sent), cnr_db, seed), RATE))
    yield "missed" if found is None else "right" if found.good else "wrong"


def beeps(cnr_db: float, seed: int) -> Iterator[str]:
    """Speech, then a beep of 150 ms."""
    hz = float(np.random.default_rng(seed).uniform(600.0, 2200.0))
    tone = DEVIATION_KHZ * np.sin(2.0 * np.pi * hz * np.arange(round(0.15 * RATE)) / RATE)
    found = find_end_beep(
        heard(np.concatenate([2.0 * voice_at(VOICES[seed % 6], 2.0), tone]), cnr_db, seed), RATE
    )
    yield "missed" if found is None else "right" if abs(found.frequency_hz - hz) < 10.0 else "wrong"


def codes(cnr_db: float, seed: int) -> Iterator[str]:
    """A digital code under two seconds of speech, on the discriminator."""
    code = CODES[seed % len(CODES)]
    word = code_word(code)
    at = (np.arange(2 * RATE) / RATE * BIT_RATE_HZ + seed).astype(int) % 23
    square = np.array([1.0 if word >> k & 1 else -1.0 for k in range(23)])[at]
    kernel = np.hanning(round(0.004 * RATE))
    sent = CODE_KHZ * np.convolve(square, kernel / kernel.sum(), mode="same")
    found = find_digital_code(
        heard(sent + 1.7 * voice_at(VOICES[seed % 6], 2.0), cnr_db, seed, flat=True), RATE
    )
    yield "missed" if found is None else "right" if code in found.codes + found.inverted else "wrong"


TRIALS: dict[str, Callable[[float, int], Iterator[str]]] = {
    "keys": keys, "five-tone calls": calls, "1750 Hz burst": bursts, "end beep": beeps, "digital code": codes,
}  # fmt: skip


def false_alarms(audio: np.ndarray, flat: np.ndarray) -> dict[str, int]:
    """What is made up in audio, and in a discriminator's output, that hold nothing of the kind."""
    runs = find_tone_runs(audio, RATE)
    overs = [audio[at : at + round(OVER_S * RATE)] for at in range(0, len(audio), round(OVER_S * RATE))]
    flats = [flat[at : at + round(OVER_S * RATE)] for at in range(0, len(flat), round(OVER_S * RATE))]
    return {
        "keys": len(find_dtmf(audio, RATE)),
        "five-tone calls": len(find_calls(runs)),
        "1750 Hz burst": int(find_burst(runs) is not None),
        "end beep": sum(find_end_beep(over, RATE) is not None for over in overs),
        "digital code": sum(find_digital_code(over, RATE) is not None for over in flats),
    }


def main() -> None:
    """Print shares by carrier to noise ratio, then the false alarms."""
    for name, trial in TRIALS.items():
        for cnr_db in CNRS_DB:
            says = [word for seed in range(RUNS) for word in trial(cnr_db, seed)]
            told = ", ".join(f"{says.count(word)} {word}" for word in ("right", "missed", "wrong"))
            print(f"{name} at {cnr_db:g} dB: {told}", flush=True)
    total, seconds = dict.fromkeys(TRIALS, 0), 0.0
    for k, (name, cnr_db) in enumerate((name, cnr_db) for name in VOICES for cnr_db in (10.0, 25.0)):
        speech = 2.0 * voice_at(name, 60.0)
        seconds += len(speech) / RATE
        alarms = false_alarms(heard(speech, cnr_db, k), heard(speech, cnr_db, k, flat=True))
        total = {key: total[key] + alarms[key] for key in total}
    print(f"false alarms in {seconds:.0f} s of speech: {total}")
    hiss = [
        laboratory_hiss(60.0, Receiver(scale_khz_per_fs=15.0, **chain), SoundCard(), seed=3).audio  # type: ignore[arg-type]
        for chain in ({}, {"deemphasis_us": 0.0, "highpass_hz": None, "lowpass_hz": None})
    ]
    print(f"false alarms in 60 s of an open squelch: {false_alarms(*hiss)}")


if __name__ == "__main__":
    main()
