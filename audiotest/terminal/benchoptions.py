"""The options of ``audiotest bench``, ``send``, ``sinad``, ``heard``, ``iq``; imports no measuring."""

import argparse
from typing import Any

from audiotest.errors import RequestError
from audiotest.terminal.helptext import listed
from audiotest.terminal.optiontypes import from_one, positive, within

PROCEDURES = {
    "limiting": "modulation limiting: onset, knee, +20 dB, the worst tone",
    "response": "transmitter's audio response against +6 dB per octave",
    "distortion": "transmitter's distortion at 60 %",
    "hum": "transmitter's hum and noise",
    "two-tone": "transmitter's intermodulation of two tones",
    "balance": "talk and turn until mic gain and deviation stand right",
    "drive-by-speech": "limiter drive by a known speech into the socket",
    "drive-by-tone": "limiter's onset and knee by a tone in half decibels",
    "frequency": "frequency error by beat note against a reference",
    "frequency-iq": "the same from I and Q on a stereo input: I left, Q right",
    "carrier-null": "deviation by carrier null, and the FM feed's scale",
    "carrier-null-hand": "the same by hand, live: the carrier while you turn",
    "sensitivity": "receiver's 12 and 20 dB SINAD and 20 dB quieting",
    "squelch": "receiver's squelch: opening, closing, hysteresis",
    "rx-response": "receiver's audio response against -6 dB per octave",
    "rx-distortion": "receiver's distortion and SINAD on a strong signal",
    "rx-hum": "receiver's hum and noise",
}
SIGNALS = {
    "tone": "one tone: HZ",
    "two-tone": "two tones at once: HZ HZ",
    "steps": "tones one after the other: HZ HZ ...",
    "sweep": "a gliding tone: HZ HZ",
    "noise": "noise with the spectrum of speech (ITU-T G.227)",
    "voice": "a recorded voice: NAME",
    "keys": "dual-tone keys: KEYS",
    "call": "a five-tone call: SET DIGITS",
    "subaudible": "a sub-audible tone: HZ",
    "burst": "the 1750 Hz burst",
    "learn": "1 kHz at -20 dB, to learn the output's millivolts with a meter",
}


millivolts = within(0.001, 20000.0, "mV")
"""What a socket is given at all: the ceiling of an output is no higher."""
test_tone_hz = within(20.0, 6000.0, "Hz")


def refuse_beside_recording(**given: object) -> None:
    """`RequestError` for an option of the sound card where a recording is measured: it would do nothing."""
    for name, value in given.items():
        if value is not None:
            raise RequestError(
                f"--{name} is for the sound card, and a FILE is named", "leave one of them out"
            )


def _add_json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="machine-readable, on standard output")


def _add_confirmed(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--confirmed", action="store_true",
        help="the cautions have been read and are kept: send without asking",
    )  # fmt: skip


def add_bench(commands: Any) -> None:
    """Declare ``audiotest bench``."""
    bench = commands.add_parser(
        "bench", help="guided measurements of a set, with prompts and figures", epilog=listed(PROCEDURES),
    )  # fmt: skip
    bench.add_argument("procedure", choices=sorted(PROCEDURES), metavar="PROCEDURE", help="see below")
    bench.add_argument(
        "--rehearse", action="store_true", help="on the simulated radio, with nothing attached"
    )
    bench.add_argument("--feed", metavar="F", help="learned feed (FEED.toml) of the monitor receiver")
    bench.add_argument("--limits", metavar="L", default="uk-27fm", help="limit set by id (default uk-27fm)")
    bench.add_argument("--device", metavar="D", help="input, as 'audiotest inputs' lists it")
    bench.add_argument("--channel", type=from_one, metavar="N", help="channel of the input, from 1")
    bench.add_argument("--output", metavar="OUTPUT.toml", help="learned output ('audiotest send learn')")
    bench.add_argument("--start-mv", type=millivolts, metavar="MV", help="first level at the socket (0.3)")
    bench.add_argument(
        "--start-dbm", type=within(-140.0, 0.0, "dBm"), metavar="DBM",
        help="sensitivity: first generator level (-95)",
    )  # fmt: skip
    bench.add_argument("--nominal-mhz", type=positive, metavar="MHZ", help="nominal frequency, gives ppm")
    bench.add_argument("--tolerance-hz", type=positive, metavar="HZ", help="allowed frequency error")
    bench.add_argument("--lower-sideband", action="store_true", help="the beat note is in the lower sideband")
    _add_null(bench)
    _add_drive(bench)
    _add_confirmed(bench)
    _add_json(bench)
    bench.set_defaults(module="audiotest.terminal.bench")


def _add_null(bench: argparse.ArgumentParser) -> None:
    """What the carrier null and I/Q feeds may be told."""
    bench.add_argument(
        "--deemphasis-us", type=within(0.0, 5000.0, "µs"), metavar="US",
        help="carrier-null, -hand: de-emphasis of the feed",
    )  # fmt: skip
    bench.add_argument(
        "--feed-out", metavar="FEED.toml", help="carrier-null, -hand: write the feed's scale here"
    )
    bench.add_argument(
        "--wanted-khz", type=within(0.5, 6.0, "kHz"), metavar="KHZ",
        help="carrier-null-hand: deviation to find (60 %% of the limit)",
    )  # fmt: skip
    bench.add_argument("--iq", action="store_true", help="carrier-null-hand: see it in I and Q, stereo input")
    bench.add_argument("--swapped", action="store_true", help="I and Q: I is right and Q left")


def _add_drive(bench: argparse.ArgumentParser) -> None:
    """What drive-by-speech and drive-by-tone may be told."""
    bench.add_argument(
        "--own-mv", type=millivolts, metavar="MV",
        help="drive-by-speech, -tone: your own voice at the socket, RMS while you speak, if measured",
    )  # fmt: skip
    bench.add_argument(
        "--speech-mv", type=millivolts, metavar="MV",
        help="drive-by-speech: level played (own voice's, or 3)",
    )  # fmt: skip
    bench.add_argument("--tone-hz", type=positive, metavar="HZ", help="drive-by-tone: the tone (400)")
    bench.add_argument("--voice", metavar="NAME", help="drive-by-speech: voice played (english_reading)")
    bench.add_argument(
        "--sent", metavar="FILE", help="drive-by-speech: what went into the socket, instead of playing"
    )
    bench.add_argument("--heard", metavar="FILE", help="drive-by-speech: what the receiver made of it")


def add_send(commands: Any) -> None:
    """Declare ``audiotest send``."""
    send = commands.add_parser(
        "send", help="one test signal out of the sound card, or into a file", epilog=listed(SIGNALS),
    )  # fmt: skip
    send.add_argument("signal", choices=list(SIGNALS), metavar="SIGNAL", help="one of those below")
    send.add_argument("values", nargs="*", metavar="VALUE", help="what the signal needs")
    send.add_argument("--millivolt", type=positive, metavar="MV", help="RMS at the socket")
    send.add_argument("--seconds", type=positive, metavar="S", help="length, up to 60 (5)")
    send.add_argument("--output", metavar="OUTPUT.toml", help="learned output; 'learn' writes it")
    send.add_argument("--device", metavar="D", help="output by number or part of its name")
    send.add_argument(
        "--ceiling-mv", type=within(0.01, 20000.0, "mV"), metavar="MV",
        help="with 'learn': peak that nothing may exceed (100)",
    )  # fmt: skip
    send.add_argument("--wav", metavar="FILE", help="write a WAV file instead of playing")
    _add_confirmed(send)
    send.set_defaults(module="audiotest.terminal.send")


def add_heard(commands: Any) -> None:
    """Declare ``audiotest heard``."""
    heard = commands.add_parser("heard", help="signalling tones in a recording: sub-audible, keys, calls")
    heard.add_argument("file", metavar="FILE", help="recording of one over")
    heard.add_argument("--feed", metavar="F", help="learned feed (FEED.toml); gives deviations")
    heard.add_argument("--channel", type=from_one, metavar="N", help="channel of the recording, from 1")
    _add_json(heard)
    heard.set_defaults(module="audiotest.terminal.heard")


def add_sinad(commands: Any) -> None:
    """Declare ``audiotest sinad``."""
    sinad = commands.add_parser("sinad", help="SINAD of a test tone, five readings a second")
    sinad.add_argument("file", nargs="?", metavar="FILE", help="recording; without it the sound card")
    sinad.add_argument("--device", metavar="D", help="input, as 'audiotest inputs' lists it")
    sinad.add_argument("--channel", type=from_one, metavar="N", help="channel, from 1")
    sinad.add_argument(
        "--tone-hz", type=within(300.0, 3000.0, "Hz"), metavar="HZ", default=1000.0,
        help="the tone (1000)",
    )  # fmt: skip
    sinad.add_argument(
        "--rehearse", action="store_true",
        help="on the simulated radio, whose generator is turned down and up (60 s)",
    )  # fmt: skip
    sinad.add_argument("--seconds", type=positive, metavar="S", help="stop after S seconds")
    _add_json(sinad)
    sinad.set_defaults(module="audiotest.terminal.sinad")


def add_iq(commands: Any) -> None:
    """Declare ``audiotest iq``."""
    iq = commands.add_parser("iq", help="deviation, offset, bandwidth, AM depth from an I/Q recording")
    iq.add_argument("file", nargs="?", metavar="FILE", help="two channels: I left, Q right")
    iq.add_argument("--device", metavar="D", help="without FILE: a stereo input, as 'audiotest inputs' lists")
    iq.add_argument("--seconds", type=positive, metavar="S", help="without FILE: how long to listen (2)")
    iq.add_argument("--swapped", action="store_true", help="I is right and Q left")
    iq.add_argument("--am", action="store_true", help="the emission is AM: measure depth, not deviation")
    iq.add_argument("--tone-hz", type=test_tone_hz, metavar="HZ", help="the modulating tone, if known")
    iq.add_argument(
        "--channel-khz", type=within(1.0, 250.0, "kHz"), metavar="KHZ", default=12.5,
        help="width kept (12.5); FM takes 12 or more, AM 9",
    )  # fmt: skip
    _add_json(iq)
    iq.set_defaults(module="audiotest.terminal.iq")
