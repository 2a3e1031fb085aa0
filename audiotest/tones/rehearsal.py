"""A bench without instruments: the simulated radio carries out a procedure's steps, its truth beside it."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import RequestError
from audiotest.radio.bench import ReceiverUnderTest, receive_levels
from audiotest.radio.iq import IqReceiver, beat_note, fm_iq
from audiotest.radio.micsocket import SetUnderTest, monitor, transmit
from audiotest.radio.settings import Receiver, SoundCard, Transmitter
from audiotest.records import Feed
from audiotest.tones.level import OutputScale, prepare
from audiotest.tones.steps import Ask, Heard, Step

SCALE_KHZ_PER_FS = 8.0
MONITOR_RECEIVER = Receiver(
    if_bandwidth_khz=16.0, cnr_db=45.0, deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None,
    scale_khz_per_fs=SCALE_KHZ_PER_FS,
)  # fmt: skip
"""A flat discriminator output close to the set: what a workshop's monitor is."""
MONITOR_FEED = Feed(
    name="simulated monitor", method="tone", scale_khz_per_fs=SCALE_KHZ_PER_FS, scale_uncertainty_db=0.1,
    deemphasis_us=0.0, tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None,
    learned="simulated",
)  # fmt: skip
CARD = SoundCard(sample_rate_hz=48000, bits=16, noise_dbfs=-85.0)
OUTPUT = OutputScale(name="simulated output", full_scale_mv=500.0, ceiling_mv=700.0)
PITCH_HZ = 1200.0

DEMO_SET = SetUnderTest(
    transmitter=Transmitter(
        ceiling_khz=2.1, preemphasis_us=750.0, limiter="hard", splatter=("butterworth", 3, 3200.0),
        mic_highpass_hz=150.0, hum_hz=100.0, hum_khz=0.004,
    ),
    onset_mv=4.0, noise_mv=0.01, offset_hz=180.0,
)  # fmt: skip
DEMO_RECEIVER = ReceiverUnderTest(
    receiver=Receiver(if_bandwidth_khz=8.0, deemphasis_us=750.0, highpass_hz=250.0, lowpass_hz=3200.0),
    noise_figure_db=8.0, squelch_open_dbm=-121.0, squelch_close_dbm=-123.5,
)  # fmt: skip
"""Invented sets: no real one has these figures."""


@dataclass(slots=True, kw_only=True)
class Rehearsal:
    """Carries out steps on the simulated radio; a `Bench`.

    ``unit`` is the transmitter under test, ``receiver`` the receiver under test. ``played_s`` adds up how
    long sound went out, ``silent`` says that none does. ``on_step`` is called before each step; whatever it
    raises interrupts the procedure, which is how tests interrupt one.
    """

    unit: SetUnderTest = DEMO_SET
    receiver: ReceiverUnderTest = DEMO_RECEIVER
    monitor_receiver: Receiver = MONITOR_RECEIVER
    card: SoundCard = CARD
    output: OutputScale = OUTPUT
    seed: int = 1
    on_step: Callable[[Step], None] = lambda step: None
    silent: bool = True
    played_s: float = 0.0
    squelch_open: bool = False
    tone_hz: float = 1000.0
    deviation_khz: float = 1.5
    level_dbm: float | None = None
    carrier_hz: float | None = None
    answered: list[tuple[str, float]] = field(default_factory=list)

    def perform(self, step: Step) -> Heard:
        """Set what is asked for as suggested, send the signal, and return what the receiver makes of it."""
        self.silent = step.signal is None
        self.on_step(step)
        answers = tuple(self._set(ask) for ask in step.asks)
        self.seed += 1
        samples, rate_hz = self._hear(step) if step.listen_s > 0.0 else (np.zeros(0), 48000)
        self.silent = True
        skip = round(step.settle_s * rate_hz)
        return Heard(samples=samples[skip:], rate_hz=rate_hz, answers=answers)

    def silence(self) -> None:
        """Nothing sounds after this."""
        self.silent = True

    def _set(self, ask: Ask) -> float:
        value = ask.suggested
        if ask.setting == "generator_dbm":
            self.level_dbm = value if value > -200.0 else None
        elif ask.setting == "generator_tone_hz":
            self.tone_hz = value
        elif ask.setting == "generator_deviation_khz":
            self.deviation_khz = value
        elif ask.setting == "carrier":
            self.carrier_hz = self.unit.offset_hz if value > 0.0 else 0.0
        elif ask.setting == "mic_gain_db":
            self.unit = replace(self.unit, onset_mv=self.unit.onset_mv * 10.0 ** (-value / 20.0))
        elif ask.setting == "deviation_factor":
            ceiling_khz = self.unit.transmitter.ceiling_khz * value
            self.unit = replace(
                self.unit, transmitter=replace(self.unit.transmitter, ceiling_khz=ceiling_khz)
            )
        elif ask.setting == "squelch_open":
            value = float(self._squelch())
        self.answered.append((ask.setting, value))
        return value

    def _squelch(self) -> bool:
        """Open or shut as the technician would see it: the level's history decides between the two marks."""
        opens, shuts = self.receiver.squelch_open_dbm, self.receiver.squelch_close_dbm
        if opens is None or shuts is None:
            return True
        if self.level_dbm is None or self.level_dbm < shuts:
            self.squelch_open = False
        elif self.level_dbm >= opens:
            self.squelch_open = True
        return self.squelch_open

    def _hear(self, step: Step) -> tuple[NDArray[np.inexact], int]:
        seconds = step.settle_s + step.listen_s
        if step.keyed:
            return self._transmitted(step, seconds)
        if self.carrier_hz is not None:
            return self._carrier(step, seconds)
        heard = receive_levels(
            [self.level_dbm], seconds, self.tone_hz, self.deviation_khz,
            replace(self.receiver, squelch_open_dbm=None, squelch_close_dbm=None), self.card, seed=self.seed,
        )  # fmt: skip
        return heard.audio, heard.sample_rate_hz

    def _transmitted(self, step: Step, seconds: float) -> tuple[NDArray[np.inexact], int]:
        rate_hz = 48000
        signal_mv = np.zeros(round(seconds * rate_hz))
        if step.signal is not None:
            rate_hz = step.signal.rate_hz
            # Through the same gate as the sound card: the ceiling is refused here too.
            sent = prepare(step.signal, step.level_mv, self.output)[: round(seconds * rate_hz)]
            signal_mv = np.zeros(round(seconds * rate_hz))
            signal_mv[: len(sent)] = sent * self.output.full_scale_mv * np.sqrt(2.0)
            self.played_s += len(sent) / rate_hz
        modulation = transmit(signal_mv, rate_hz, self.unit, seed=self.seed)
        if step.feed == "iq":
            receiver = IqReceiver(offset_hz=self.unit.offset_hz)
            made = fm_iq(modulation.deviation_khz, modulation.rate_hz, receiver, seed=self.seed)
            return made.iq, made.sample_rate_hz
        heard = monitor(modulation, self.unit, self.monitor_receiver, self.card, seed=self.seed)
        return heard, self.card.sample_rate_hz

    def _carrier(self, step: Step, seconds: float) -> tuple[NDArray[np.inexact], int]:
        """An unmodulated carrier: the set's own, or the reference on the nominal frequency."""
        if self.carrier_hz is None:
            raise RequestError("no carrier", "name one")
        receiver = IqReceiver(sample_rate_hz=48000, offset_hz=self.carrier_hz)
        made = fm_iq(np.zeros(round(seconds * 192000)), 192000, receiver, seed=self.seed)
        if step.feed == "iq":
            return made.iq, made.sample_rate_hz
        return beat_note(made.iq, made.sample_rate_hz, PITCH_HZ), made.sample_rate_hz
