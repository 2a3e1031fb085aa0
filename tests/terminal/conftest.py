"""Invented overs to print, and a way to run the program as a user does."""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from audiotest.records import Deviation, Level, Limiter, LimitSet, Noise, Over, Tone

REPOSITORY = Path(__file__).parents[2]


@pytest.fixture
def limits() -> LimitSet:
    return LimitSet(
        id="uk-27fm",
        title="UK 27 MHz FM",
        deviation_khz=2.5,
        spacing_khz=10.0,
        audio_high_hz=3000.0,
        channels="1-40",
        source="invented for the test",
    )


@pytest.fixture
def voice_over() -> Over:
    return Over(
        start_s=1.0,
        end_s=9.3,
        kind="voice",
        speech_start_s=1.4,
        speech_end_s=9.1,
        level=Level(active_speech_dbfs=-19.8, activity=0.78, crest_db=13.2),
        deviation=Deviation(
            peak_khz=2.31, p999_khz=2.1, rms_khz=0.61, positive_khz=2.31, negative_khz=2.2, limit_khz=2.5
        ),
        limiter=Limiter(
            drive_db=13.1, drive_low_db=10.0, drive_high_db=16.2, clipped_fraction=0.24, reached=True
        ),
        noise=Noise(quieting_db=32.0, snr_db=41.0, hum_hz=None, hum_db=None),
        tone=None,
        subaudible=None,
        end_beep=None,
        overload_runs=0,
        conditions=(),
        notes=("de-emphasis of the feed judged from its noise: 750 µs",),
    )


@pytest.fixture
def unscaled_over(voice_over: Over) -> Over:
    nothing = Deviation(
        peak_khz=None, p999_khz=None, rms_khz=None, positive_khz=None, negative_khz=None, limit_khz=2.5
    )
    notes = ("deviation unknown: no feed scale; learn one with 'audiotest feed learn'",)
    return replace(voice_over, deviation=nothing, notes=notes)


@pytest.fixture
def tone_over(voice_over: Over) -> Over:
    nothing = Limiter(
        drive_db=None, drive_low_db=None, drive_high_db=None, clipped_fraction=None, reached=None
    )
    return replace(
        voice_over,
        kind="tone",
        limiter=nothing,
        level=Level(active_speech_dbfs=None, activity=None, crest_db=None),
        tone=Tone(
            frequency_hz=1000.0,
            level_dbfs=-12.3,
            sinad_db=24.5,
            sinad_psophometric_db=26.0,
            thd_percent=1.2,
            harmonics_db=(-45.0, -40.0, None, None, None, None, None, None, None),
        ),
        conditions=("not_voice",),
        notes=(),
    )


@pytest.fixture
def audiotest(tmp_path: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the program in a process of its own, outputs piped; keyword arguments go to the environment."""

    def run(
        *arguments: str, timeout_s: float = 120.0, **environment: str
    ) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "audiotest", *arguments],
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=timeout_s,
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(REPOSITORY), "PYTHONIOENCODING": "utf-8", **environment},
            check=False,
        )

    return run
