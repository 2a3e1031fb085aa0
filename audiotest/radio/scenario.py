"""The demo's story: one invented 27 MHz set on the bench, and a technician who turns its two controls.

Nothing in it is a real set, person or reading. The set came in sounding harsh although its deviation read
right; the cause is the mic gain, and backing off the deviation control had hidden it.
"""

from dataclasses import dataclass

from audiotest.radio.link import Simulation, simulate
from audiotest.radio.monitor import CARD, LISTENER
from audiotest.radio.settings import Timing, Transmitter
from audiotest.radio.voices import load_voice

TIMING = Timing(before_s=0.8, bare_carrier_s=0.4, after_s=0.2, end_s=0.6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One over of the story: what the technician does before it, who speaks, how the set is adjusted."""

    action: str
    voice: str
    start_s: float
    seconds: float
    transmitter: Transmitter
    seed: int


def demo_steps(seed: int = 1) -> tuple[Step, ...]:
    """The three overs of the demo: as found, mic gain turned down, deviation turned up too far."""

    def step(k: int, action: str, drive_db: float, ceiling_khz: float) -> Step:
        transmitter = Transmitter(
            drive_db=drive_db, ceiling_khz=ceiling_khz, splatter=("butterworth", 3, 2900.0), ambient_db=-38.0
        )
        return Step(
            action=action, voice="english_reading", start_s=8.0 * k, seconds=8.0,
            transmitter=transmitter, seed=seed + k,
        )  # fmt: skip

    return (
        step(0, "Set on the bench as it came in: harsh voice, deviation reads right on a meter.", 19.0, 1.6),
        step(1, "Mic gain turned down until the voice sounds clean. Deviation left alone.", 5.0, 1.6),
        step(2, "To see what happens: deviation control turned well up.", 5.0, 2.6),
    )


def demo_simulation(step: Step) -> Simulation:
    """The over of one step as the sound card of the listening station hears it."""
    voice, rate_hz = load_voice(step.voice)
    start = round(step.start_s * rate_hz)
    speech = voice[start : start + round(step.seconds * rate_hz)]
    return simulate(speech, rate_hz, step.transmitter, LISTENER, CARD, TIMING, seed=step.seed)
