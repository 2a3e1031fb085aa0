"""A whole link: speech into the transmitter's microphone, samples out of the sound card, and the truth."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from audiotest.radio.receiver import CARRIER_RAMP_S, discriminate, receive
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.transmitter import FRAME_S, Array, Modulation, modulate, select

BASEBAND_RATE_HZ = 192000


@dataclass(frozen=True, slots=True, kw_only=True)
class OverTruth:
    """What was sent in one over; times in seconds of the audio, deviations of the speech alone.

    ``speech_start_s`` and ``speech_end_s`` are the talker's, however loud the room is; the drive and the
    deviations are taken over the active frames of the limiter input, the room's noise included.
    """

    start_s: float
    end_s: float
    speech_start_s: float | None
    speech_end_s: float | None
    drive_db: float
    clipped_fraction: float
    ceiling_khz: float
    peak_khz: float
    p999_khz: float
    rms_khz: float
    positive_khz: float
    negative_khz: float
    cnr_db: float
    scale_khz_per_fs: float
    limiter: str
    hum_hz: float | None
    hum_khz: float
    subaudible_hz: float | None
    subaudible_khz: float
    end_beep_hz: float | None
    end_beep_start_s: float | None
    end_beep_end_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulation:
    """Audio of shape (n,), full scale 1.0, with the truth of each over in it."""

    audio: NDArray[np.float32]
    sample_rate_hz: int
    truth: tuple[OverTruth, ...]


def _truth(sent: Modulation, start_s: float, tx: Transmitter, rx: Receiver, card: SoundCard) -> OverTruth:
    speech = sent.speech_khz
    beep = sent.beep_n
    active, spoken = sent.active.copy(), sent.spoken.copy()
    if beep is not None:
        # The tail of the filters reaches into the beep, and the beep is no speech.
        last = beep[0] // round(sent.rate_hz * FRAME_S)
        active[last:] = spoken[last:] = False
    heard = select(speech, active, sent.rate_hz)
    size = np.abs(heard) if len(heard) else np.zeros(1)
    where = np.flatnonzero(spoken)
    return OverTruth(
        start_s=start_s,
        end_s=start_s + len(speech) / sent.rate_hz,
        speech_start_s=float(start_s + where[0] * FRAME_S) if len(where) else None,
        speech_end_s=float(start_s + (where[-1] + 1) * FRAME_S) if len(where) else None,
        drive_db=sent.drive_db,
        clipped_fraction=sent.clipped_fraction,
        ceiling_khz=tx.ceiling_khz,
        peak_khz=float(np.max(size)),
        p999_khz=float(np.quantile(size, 0.999)),
        rms_khz=float(np.sqrt(np.mean(size**2))),
        positive_khz=float(np.max(heard)) if len(heard) else 0.0,
        negative_khz=float(np.max(-heard)) if len(heard) else 0.0,
        cnr_db=rx.cnr_db,
        scale_khz_per_fs=rx.scale_khz_per_fs / 10 ** (card.gain_db / 20),
        limiter=tx.limiter,
        hum_hz=tx.hum_hz,
        hum_khz=tx.hum_khz,
        subaudible_hz=tx.subaudible_hz,
        subaudible_khz=tx.subaudible_khz,
        end_beep_hz=tx.end_beep_hz,
        end_beep_start_s=None if beep is None else start_s + beep[0] / sent.rate_hz,
        end_beep_end_s=None if beep is None else start_s + beep[1] / sent.rate_hz,
    )


def carrier_gate(segments: Sequence[tuple[int, bool]], rate_hz: int) -> Array:
    """Carrier amplitude over (length, on) segments, with ramps of 2 ms."""
    gate = np.concatenate([np.full(count, float(on)) for count, on in segments])
    ramp = max(1, round(CARRIER_RAMP_S * rate_hz))
    edges = np.flatnonzero(np.diff(gate))
    for edge in edges:
        low, high = max(int(edge) + 1 - ramp // 2, 0), min(int(edge) + 1 + ramp // 2, len(gate))
        gate[low:high] = np.linspace(gate[edge], gate[edge + 1], high - low)
    return gate


def _squelch(carrier: Array, rx: Receiver, rate_hz: int) -> Array:
    """Squelch gate: opens a while after the carrier came up, shuts a while after it dropped."""
    if rx.squelch == "open":
        return np.ones(len(carrier))
    on = np.concatenate([[0.0], (carrier > 0.5).astype(float), [0.0]])
    gate = np.zeros(len(carrier))
    for up, down in zip(np.flatnonzero(np.diff(on) > 0), np.flatnonzero(np.diff(on) < 0), strict=True):
        opens = up + round(rx.squelch_attack_s * rate_hz)
        gate[opens : down + round(rx.squelch_tail_s * rate_hz)] = 1.0
    return gate


def simulate_session(
    overs: Sequence[tuple[NDArray[np.floating], int, Transmitter]],
    receiver: Receiver,
    soundcard: SoundCard,
    timing: Timing,
    *,
    seed: int,
    baseband_rate_hz: int = BASEBAND_RATE_HZ,
) -> Simulation:
    """Several overs in one stream.

    Parameters
    ----------
    overs : sequence of (samples, sample_rate_hz, Transmitter)
        What is spoken in each over, shape (n,), full scale 1.0, and the set that sends it.
    receiver, soundcard, timing : Receiver, SoundCard, Timing
        The rest of the link; ``timing`` holds for every over.
    seed : int
        Equal seeds give equal samples.
    baseband_rate_hz : int
        Rate of the complex baseband; 192 kHz keeps the limiter's harmonics from folding back.

    Returns
    -------
    Simulation
        Audio at the sound card's rate and one `OverTruth` per over.
    """
    rng = np.random.default_rng(seed)
    rate = baseband_rate_hz
    silent_before = round(timing.before_s * rate)
    segments: list[tuple[int, bool]] = []
    deviation: list[Array] = []
    truth = []
    at = 0
    for samples, source_rate_hz, tx in overs:
        sent = modulate(
            samples,
            source_rate_hz,
            tx,
            rate_hz=rate,
            lead_s=timing.bare_carrier_s,
            trail_s=timing.after_s,
            rng=rng,
        )
        segments += [(silent_before, False), (len(sent.deviation_khz), True)]
        deviation += [np.zeros(silent_before), sent.deviation_khz]
        at += silent_before
        truth.append(_truth(sent, at / rate, tx, receiver, soundcard))
        at += len(sent.deviation_khz)
    end_n = round(timing.end_s * rate)
    segments.append((end_n, False))
    deviation.append(np.zeros(end_n))
    carrier = carrier_gate(segments, rate)
    heard = discriminate(np.concatenate(deviation), carrier, receiver, rate, rng)
    audio = receive(heard, _squelch(carrier, receiver, rate), receiver, soundcard, rate, rng)
    return Simulation(audio=audio, sample_rate_hz=soundcard.sample_rate_hz, truth=tuple(truth))


def simulate(
    source: NDArray[np.floating],
    source_rate_hz: int,
    transmitter: Transmitter,
    receiver: Receiver,
    soundcard: SoundCard,
    timing: Timing,
    *,
    seed: int,
    baseband_rate_hz: int = BASEBAND_RATE_HZ,
) -> Simulation:
    """One over of speech `source`, shape (n,), full scale 1.0; see `simulate_session`."""
    return simulate_session(
        [(source, source_rate_hz, transmitter)], receiver, soundcard, timing,
        seed=seed, baseband_rate_hz=baseband_rate_hz,
    )  # fmt: skip


def laboratory_tone(
    tone_hz: float,
    deviation_khz: float,
    seconds: float,
    receiver: Receiver,
    soundcard: SoundCard,
    *,
    seed: int,
    timing: Timing | None = None,
) -> Simulation:
    """A signal generator's tone of exact deviation: no microphone, no emphasis, no limiter."""
    timing = timing or Timing(before_s=0.0, bare_carrier_s=0.0, after_s=0.0, end_s=0.0)
    rng = np.random.default_rng(seed)
    rate = BASEBAND_RATE_HZ
    lead, tone_n, trail = (round(s * rate) for s in (timing.bare_carrier_s, seconds, timing.after_s))
    tone = deviation_khz * np.sin(2 * np.pi * tone_hz * np.arange(tone_n) / rate)
    speech = np.concatenate([np.zeros(lead), tone, np.zeros(trail)])
    before, end = round(timing.before_s * rate), round(timing.end_s * rate)
    carrier = carrier_gate([(before, False), (len(speech), True), (end, False)], rate)
    whole = np.concatenate([np.zeros(before), speech, np.zeros(end)])
    heard = discriminate(whole, carrier, receiver, rate, rng)
    audio = receive(heard, _squelch(carrier, receiver, rate), receiver, soundcard, rate, rng)
    frame_n = round(rate * FRAME_S)
    active = np.zeros(len(speech) // frame_n, dtype=bool)
    active[lead // frame_n : (lead + tone_n) // frame_n] = True
    sent = Modulation(
        deviation_khz=speech, speech_khz=speech, rate_hz=rate, drive_db=0.0, clipped_fraction=0.0,
        active=active, spoken=active, beep_n=None,
    )  # fmt: skip
    made = _truth(
        sent, before / rate, Transmitter(ceiling_khz=deviation_khz, limiter="none"), receiver, soundcard
    )
    return Simulation(
        audio=audio, sample_rate_hz=soundcard.sample_rate_hz, truth=(replace(made, peak_khz=deviation_khz),)
    )


def laboratory_hiss(seconds: float, receiver: Receiver, soundcard: SoundCard, *, seed: int) -> Simulation:
    """Open squelch and no carrier at all."""
    rng = np.random.default_rng(seed)
    count = round(seconds * BASEBAND_RATE_HZ)
    heard = discriminate(np.zeros(count), np.zeros(count), receiver, BASEBAND_RATE_HZ, rng)
    audio = receive(heard, np.ones(count), receiver, soundcard, BASEBAND_RATE_HZ, rng)
    return Simulation(audio=audio, sample_rate_hz=soundcard.sample_rate_hz, truth=())
