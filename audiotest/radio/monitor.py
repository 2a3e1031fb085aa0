"""What the demo and the practice set are heard through: a monitor receiver and a sound card."""

from audiotest.radio.settings import Receiver, SoundCard

SCALE_KHZ_PER_FS = 8.0
LISTENER = Receiver(
    if_bandwidth_khz=8.0, cnr_db=26.0, deemphasis_us=750.0, highpass_hz=250.0, highpass_order=2,
    lowpass_hz=3200.0, scale_khz_per_fs=SCALE_KHZ_PER_FS,
)  # fmt: skip
CARD = SoundCard(sample_rate_hz=48000)
