"""From a procedure's name to a bench with instruments: what is said before, and what is opened."""

import math
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from audiotest.errors import AudiotestError, MeasureError, RequestError
from audiotest.feeds.soundcard import open_input
from audiotest.records import Feed
from audiotest.tones.carrierbench import CarrierBench
from audiotest.tones.catalogue import Entry
from audiotest.tones.cautions import before_reception, before_transmission
from audiotest.tones.iqinput import record_stereo
from audiotest.tones.keying import LONGEST_KEYED_S
from audiotest.tones.level import OutputScale
from audiotest.tones.live import IqBench, LiveBench, Technician
from audiotest.tones.output import SoundOutput
from audiotest.tones.signals import RATE_HZ
from audiotest.tones.steps import Report

IQ_PROCEDURE = "frequency-iq"
NULL_UNCERTAINTY_DB = 0.3
"""What a null found between steps of 1.5 dB leaves open, and the receiver's filters at the tone."""


def announcement(entry: Entry) -> str:
    """What will happen, in a line."""
    return f"{entry.words}: sound into the microphone socket." if entry.sends else f"{entry.words}."


def cautions_for(entry: Entry) -> tuple[str, ...]:
    """What has to be read before a procedure starts on real instruments."""
    return before_transmission(LONGEST_KEYED_S) if entry.keys else before_reception()


def require_output(procedure: str, entry: Entry, scale: OutputScale | None, remedy: str) -> None:
    """Refuse a procedure that sends without a learned output; `RequestError`."""
    if entry.sends and scale is None:
        raise RequestError(f"{procedure} sends at known millivolts and needs a learned output", remedy)


def most_mv(scale: OutputScale | None) -> float | None:
    """The peak that an output may and can give at the socket."""
    return None if scale is None else min(scale.ceiling_mv, scale.full_scale_mv * math.sqrt(2.0))


def open_bench(
    procedure: str,
    entry: Entry,
    technician: Technician,
    *,
    device: str | None,
    channel: int | None,
    scale: OutputScale | None,
    swapped: bool = False,
    iq: bool = False,
) -> LiveBench | IqBench | CarrierBench:
    """Open what a procedure needs: a stereo input for I and Q, or an input and, if it sends, the output.

    With ``iq`` the carrier is seen on that stereo input, and the audio is opened once it is listened to.
    Nothing sounds by this. Ask for leave before: whoever opens may send.

    Raises
    ------
    DeviceError
        An input or output cannot be opened; nothing stays open then.
    """
    if procedure == IQ_PROCEDURE or iq:

        def record(seconds: float) -> NDArray[np.float32]:
            return record_stereo(device, seconds, RATE_HZ)

        carrier = IqBench(record, RATE_HZ, technician, swapped=swapped)
        if procedure == IQ_PROCEDURE:
            return carrier
        return CarrierBench(carrier, lambda: LiveBench(open_input(device, channel=channel), technician))
    source = open_input(device, channel=channel)
    player = None
    if entry.sends and scale is not None:
        try:
            player = SoundOutput(scale.device or None, RATE_HZ)
        except AudiotestError:
            source.close()
            raise
    return LiveBench(source, technician, player=player, scale=scale)


def null_feed(report: Report, name: str, deemphasis_us: float | None) -> Feed:
    """The feed that a carrier null has taught.

    Raises
    ------
    MeasureError
        The procedure did not come to the scale.
    """
    values = {figure.key: figure.value for figure in report.figures}
    scale = values.get("scale_khz_per_fs")
    if scale is None:
        raise MeasureError("the carrier null has given no scale", "run it to its end")
    return Feed(
        name=name, method="carrier-null", scale_khz_per_fs=scale, scale_uncertainty_db=NULL_UNCERTAINTY_DB,
        deemphasis_us=deemphasis_us, tone_hz=values["tone_hz"], deviation_khz=values["deviation_khz"],
        if_bandwidth_khz=None, hiss_dbfs=None, learned=datetime.now().isoformat(timespec="seconds"),
    )  # fmt: skip
