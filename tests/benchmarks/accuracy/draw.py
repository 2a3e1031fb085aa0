"""Draws everything about one simulated over at random: talker, microphone, transmitter, receiver, sound card.

The factors and their ranges are common practice for 27 MHz and land-mobile FM sets, no source. Two splatter
families (elliptic, Bessel) and one limiter (diode) are *held out*: an over that has one says so, and a model
that is to be judged is trained without them. Most overs are `plain`; each other carries one confounder that
looks like a driven limiter and is none.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

SPLITTERS = ("butterworth", "chebyshev")
HELD_OUT_SPLITTERS = ("bessel", "elliptic")
HELD_OUT_LIMITER = "diode"
CONFOUNDERS = (
    "soundcard_overload",
    "if_clipping",
    "compressed_source",
    "soundcard_agc",
    "codec",
    "levelling",
)
HELD_OUT_SHARE = {"train": 0.2, "tune": 0.3, "test": 0.5}
CONFOUNDER_SHARE = {"train": 0.2, "tune": 0.25, "test": 0.35}
LIMITS_KHZ = (2.0, 2.5, 4.0, 5.0)


@dataclass(frozen=True, kw_only=True)
class Mouth:
    """From the talker's recording to the microphone's output."""

    talker: str
    seconds: float
    start: float
    """Where the stretch begins, 0 … 1 of what the recording leaves."""
    pitch: float
    """Playing speed: pitch and formants move together."""
    tilt_db_octave: float
    rolloff_hz: float
    """Where the microphone and its amplifier begin to fall off; 0: not below 8 kHz."""
    rolloff_order: int
    bump_hz: float
    bump_db: float
    wander_db: float
    """Standard deviation of a talker's slowly changing distance."""
    reverberation_s: float
    """Time to −60 dB of a room's tail; 0 without."""
    direct_db: float
    """Direct sound over the tail."""
    squeeze_db: float
    """How far a source was compressed and clipped beforehand; 0 for every vetted source."""
    seed: int


@dataclass(frozen=True, kw_only=True)
class Over:
    """One draw: keyword arguments of the simulated radio's dataclasses, ready to be written as JSON."""

    id: str
    kind: str
    """`plain` or one of `CONFOUNDERS`."""
    held_out: bool
    limit_khz: float
    mouth: Mouth
    transmitter: dict[str, Any]
    receiver: dict[str, Any]
    soundcard: dict[str, Any]
    timing: dict[str, Any]
    seed: int


def draw_mouth(talkers: list[dict[str, Any]], kind: str, rng: np.random.Generator) -> Mouth:
    """A talker (natural ones half of the time, by the root of their minutes) and a microphone."""
    natural = [t for t in talkers if t["natural"]]
    made = [t for t in talkers if not t["natural"]]
    pool = natural if natural and (not made or rng.random() < 0.5) else made
    weights = np.sqrt([t["minutes"] for t in pool])
    talker = pool[int(rng.choice(len(pool), p=weights / np.sum(weights)))]
    return Mouth(
        talker=talker["id"],
        seconds=float(np.exp(rng.uniform(np.log(4.0), np.log(20.0)))),
        start=float(rng.random()),
        pitch=float(rng.uniform(0.85, 1.18)),
        tilt_db_octave=float(rng.normal(0.0, 2.0)),
        rolloff_hz=float(rng.uniform(3000.0, 7000.0)) if rng.random() < 0.7 else 0.0,
        rolloff_order=int(rng.integers(1, 4)),
        bump_hz=float(np.exp(rng.uniform(np.log(400.0), np.log(4000.0)))),
        bump_db=float(rng.normal(0.0, 3.0)),
        wander_db=float(rng.choice([0.0, 1.5, 3.0], p=[0.6, 0.25, 0.15])),
        reverberation_s=float(rng.uniform(0.1, 0.5)) if rng.random() < 0.35 else 0.0,
        direct_db=float(rng.uniform(3.0, 15.0)),
        squeeze_db=float(rng.uniform(8.0, 20.0)) if kind == "compressed_source" else 0.0,
        seed=int(rng.integers(2**31)),
    )


def draw_drive(kind: str, rng: np.random.Generator) -> float:
    """Drive −15 … 25 dB; mostly near or under the threshold where a confounder must not pass for clipping."""
    if kind in ("plain", "levelling"):
        return float(rng.uniform(-15.0, -3.0) if rng.random() < 0.22 else rng.uniform(-3.0, 25.0))
    if kind == "if_clipping":
        return float(rng.uniform(-7.0, 0.0) if rng.random() < 0.7 else rng.uniform(0.0, 20.0))
    return float(rng.uniform(-12.0, 0.0) if rng.random() < 0.65 else rng.uniform(0.0, 25.0))


def draw_limiter(kind: str, held_out: bool, rng: np.random.Generator) -> dict[str, Any]:
    """Limiter kind with knee, lopsidedness and levelling times."""
    if kind == "levelling":
        limiter = "levelling"
    elif held_out and rng.random() < 0.4:
        limiter = HELD_OUT_LIMITER
    else:
        limiter = str(rng.choice(["hard", "soft", "lopsided", "levelling+hard"], p=[0.5, 0.3, 0.14, 0.06]))
    return {
        "limiter": limiter,
        "knee": float(np.exp(rng.uniform(np.log(2.0), np.log(16.0)))),
        "asymmetry": float(rng.uniform(0.02, 0.15)) if limiter == "lopsided" else 0.0,
        "attack_s": float(np.exp(rng.uniform(np.log(0.0005), np.log(0.02)))),
        "release_s": float(np.exp(rng.uniform(np.log(0.05), np.log(1.0)))),
    }


def draw_splatter(held_out: bool, rng: np.random.Generator) -> tuple[str, int, float]:
    """Splatter filter: family, order and corner in Hz."""
    family = str(rng.choice(HELD_OUT_SPLITTERS if held_out else SPLITTERS))
    order = int(rng.integers(3, 6)) if family == "elliptic" else int(rng.integers(2, 8))
    return family, order, float(rng.uniform(2550.0, 3500.0))


def draw_transmitter(
    kind: str, held_out: bool, drive_db: float, ceiling_khz: float, rng: np.random.Generator
) -> dict[str, Any]:
    """Keyword arguments of the transmitter."""
    which = rng.random()
    corner_us = rng.uniform(400.0, 800.0) if which < 0.75 else rng.uniform(50.0, 400.0)
    hum, tone, beep = rng.random() < 0.25, rng.random() < 0.2, rng.random() < 0.15
    return {
        "drive_db": drive_db,
        "mic_gain_db": None,
        "ceiling_khz": ceiling_khz,
        "preemphasis_us": None if which > 0.9 else float(corner_us),
        "mic_highpass_hz": float(rng.uniform(80.0, 350.0)),
        **draw_limiter(kind, held_out, rng),
        "splatter": draw_splatter(held_out, rng),
        "hum_hz": float(rng.choice([50.0, 60.0, 100.0, 120.0])) if hum else None,
        "hum_khz": float(ceiling_khz * 10 ** (rng.uniform(-45, -25) / 20)) if hum else 0.0,
        "subaudible_hz": float(rng.choice([67.0, 88.5, 100.0, 123.0, 156.7, 203.5])) if tone else None,
        "subaudible_khz": float(rng.uniform(0.1, 0.18) * ceiling_khz) if tone else 0.0,
        "end_beep_hz": float(rng.uniform(700.0, 2200.0)) if beep else None,
        "ambient_db": float(rng.uniform(-45.0, -15.0)),
    }


def draw_passband(kind: str, drive_db: float, rng: np.random.Generator) -> tuple[float, float, float, float]:
    """IF noise bandwidth, mistuning, service limit and ceiling in kHz that go together.

    A plain over keeps ceiling plus overshoot inside the IF filter's half bandwidth; one in eight grazes it;
    the confounder `if_clipping` swings well past it on the loudest syllables.
    """
    band = float(rng.uniform(7.0, 10.0 if kind == "if_clipping" else 16.0))
    mistune = float(rng.normal(0.0, 0.1) if rng.random() < 0.5 else rng.uniform(-1.0, 1.0))
    room = band / 2 - abs(mistune)
    limit = float(rng.choice([k for k in LIMITS_KHZ if k <= room or k == 2.0]))
    if kind == "if_clipping":
        return band, mistune, limit, float(room * rng.uniform(1.4, 2.6) / min(1.0, 10 ** (drive_db / 20)))
    most = room * (1.0 if rng.random() < 0.12 else 0.78)
    return band, mistune, limit, float(min(limit * rng.uniform(0.4, 1.4), most))


def draw_receiver(
    kind: str, held_out: bool, band_khz: float, mistune_khz: float, rng: np.random.Generator
) -> dict[str, Any]:
    """Keyword arguments of the receiver but for the scale."""
    return {
        "if_bandwidth_khz": band_khz,
        "if_order": int(rng.integers(3, 7)),
        "mistune_khz": mistune_khz,
        "cnr_db": float(rng.uniform(6.0, 18.0) if rng.random() < 0.25 else rng.uniform(18.0, 45.0)),
        "deemphasis_us": float(rng.choice([0.0, 530.0, 750.0], p=[0.4, 0.2, 0.4])),
        "highpass_hz": float(rng.uniform(60.0, 350.0)),
        "highpass_order": int(rng.integers(1, 7)),
        "lowpass_hz": float(rng.uniform(2800.0, 5000.0)),
        "lowpass_order": int(rng.integers(1, 7)),
        "lowpass": str(rng.choice([*SPLITTERS, HELD_OUT_SPLITTERS[0]] if held_out else SPLITTERS)),
        "squelch": "closed" if kind == "codec" or rng.random() < 0.5 else "open",
    }


def draw_soundcard(kind: str, rng: np.random.Generator) -> dict[str, Any]:
    """Keyword arguments of the sound card; only the confounder overloads it, is levelled or is coded."""
    hum = rng.random() < 0.2
    return {
        "sample_rate_hz": int(rng.choice([48000, 44100, 8000], p=[0.74, 0.16, 0.10])),
        "noise_dbfs": float(rng.uniform(-90.0, -65.0)),
        "dc_fs": float(rng.normal(0.0, 0.01)) if rng.random() < 0.3 else 0.0,
        "mains_hz": float(rng.choice([50.0, 60.0])),
        "mains_dbfs": float(rng.uniform(-75.0, -50.0)) if hum else None,
        "gain_db": 0.0,
        "bits": 8 if rng.random() < 0.04 else 16,
        "agc": kind == "soundcard_agc",
        "codec": kind == "codec",
    }


def draw_over(name: str, split: str, talkers: list[dict[str, Any]], rng: np.random.Generator) -> Over:
    """One over of a split; `talkers` are the corpus's entries of that split."""
    kind = str(rng.choice(CONFOUNDERS)) if rng.random() < CONFOUNDER_SHARE[split] else "plain"
    held_out = bool(rng.random() < HELD_OUT_SHARE[split])
    drive_db = draw_drive(kind, rng)
    band, mistune, limit, ceiling = draw_passband(kind, drive_db, rng)
    transmitter = draw_transmitter(kind, held_out, drive_db, ceiling, rng)
    receiver = draw_receiver(kind, held_out, band, mistune, rng)
    # The scale puts the expected peak of the received audio (about 1.3 ceilings with the limiter saturated)
    # at a drawn level under full scale, or as far over it as an overloaded sound card is.
    peak_khz = 1.3 * ceiling * min(1.0, 10 ** (drive_db / 20))
    # De-emphasis takes about 5 dB off the peaks of speech.
    peak_khz *= 0.56 if receiver["deemphasis_us"] else 1.0
    peak_dbfs = rng.uniform(5.0, 15.0) if kind == "soundcard_overload" else rng.uniform(-30.0, -5.0)
    receiver["scale_khz_per_fs"] = float(peak_khz / 10 ** (peak_dbfs / 20))
    return Over(
        id=name,
        kind=kind,
        held_out=held_out,
        limit_khz=limit,
        mouth=draw_mouth(talkers, kind, rng),
        transmitter=transmitter,
        receiver=receiver,
        soundcard=draw_soundcard(kind, rng),
        timing={
            "before_s": float(rng.uniform(0.4, 0.9)),
            "bare_carrier_s": float(rng.uniform(0.15, 0.8)),
            "after_s": float(rng.uniform(0.05, 0.4)),
            "end_s": 0.4,
        },
        seed=int(rng.integers(2**31)),
    )
