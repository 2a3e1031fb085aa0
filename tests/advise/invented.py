"""Overs of given drive and peaks, and a limit set to hold them against."""

from audiotest.records import Deviation, Level, Limiter, LimitSet, Noise, Over

LIMITS = LimitSet(
    id="uk-27fm", title="", deviation_khz=2.5, spacing_khz=10.0, audio_high_hz=3000.0, channels="", source=""
)


def an_over(
    drive_db: float | None = 4.0,
    peak_khz: float | None = 2.2,
    *,
    half_db: float = 1.0,
    kind: str = "voice",
    conditions: tuple[str, ...] = (),
    clipped: float | None = 0.2,
) -> Over:
    low, high = (None, None) if drive_db is None else (drive_db - half_db, drive_db + half_db)
    return Over(
        start_s=0.0,
        end_s=10.0,
        kind=kind,
        speech_start_s=0.5,
        speech_end_s=9.5,
        level=Level(active_speech_dbfs=-20.0, activity=0.8, crest_db=14.0),
        deviation=Deviation(
            peak_khz=peak_khz,
            p999_khz=peak_khz,
            rms_khz=None if peak_khz is None else peak_khz / 4,
            positive_khz=peak_khz,
            negative_khz=peak_khz,
            limit_khz=2.5,
        ),
        limiter=Limiter(
            drive_db=drive_db,
            drive_low_db=low,
            drive_high_db=high,
            clipped_fraction=clipped,
            reached=None if drive_db is None else drive_db > 0,
        ),
        noise=Noise(quieting_db=30.0, snr_db=40.0, hum_hz=None, hum_db=None),
        tone=None,
        subaudible=None,
        end_beep=None,
        overload_runs=0,
        conditions=conditions,
        notes=(),
    )
